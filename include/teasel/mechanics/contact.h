// A plate pressed between things that can only push: stops and fingers of fixed height, and probes with their springs.
// The forces of least energy are a quadratic program with complementarity: a contact that pushes touches, and one that
// does not touch does not push (A. Signorini, 1959). Its energy is convex and quadratic in pieces: Newton steps over
// the compliance of the plate on its springs, each followed as far as the energy falls, end in finitely many steps (J.
// Sun, J. Optim. Theory Appl. 91, 1997, from memory). Stops and fingers yield by 10 nm a newton, and probes that take
// up their preload or stand at their end by 100 nm.
#pragma once
#include <memory>
#include <utility>
#include <vector>

#include "teasel/mechanics/plate.h"

namespace teasel {

/// Heights are deflections of the plate: mm over its flat, free place, positive towards the viewer.
struct PressContact {
  Patch patch;             ///< where it pushes
  bool from_below = true;  ///< pushes towards the viewer
  Newton preload;          ///< of a probe: as soon as it moves
  NewtonPerMm rate;        ///< of a probe
  Mm full;                 ///< of a probe: to its end stop. Rate 0: rigid
};
/// One state of the press.
struct PressState {
  std::vector<double> touch;  ///< by contact: deflection of the plate at which it just touches
  std::vector<char> present;  ///< by contact
  std::vector<double> shape;  ///< by node: of the free plate; empty: flat
  MPa pressure;               ///< on all of it, towards the viewer
  /// By contact; empty: none. Rigid contacts of one side that stand on a plate which is free to slide on springs: it
  /// gives way by `carrier_yield` for each newton that they bear together. `touch` is theirs while they bear nothing.
  std::vector<char> carried;
  double carrier_yield{};  ///< mm/N; 0: the plate stands
  /// Probes that are present push by preload and rate at any depth: true where they are in their travel, and quick.
  bool linear = false;
};
/// The part of a state that does not depend on which contacts are present.
struct PreparedState {
  /// By contact: the free plate's height there; touch from there; N up of its spring at no deflection.
  std::vector<double> own, touch, idle;
  MPa pressure;
  bool linear = false;
  std::vector<char> carried;  ///< by contact; empty where no plate gives way
  double carrier_yield{};
  std::vector<double> base;  ///< by contact; linear states only: deflection by the springs in the plate alone
};
struct ContactForces {
  std::vector<double> force;       ///< N, by contact; never below zero
  std::vector<double> travel;      ///< mm that it is pressed in; below zero: the gap to it
  std::vector<double> deflection;  ///< mm of the plate's surface at each contact, shape included
  std::vector<double> extra;       ///< N, by contact, in its own direction, besides what a working spring does
  std::vector<double> up;          ///< N towards the viewer, by contact: what bends the plate with its springs in it
  std::vector<char> does;          ///< by contact: 0 nothing, 1 held at its height, 2 pressed in, 3 at its end stop
  int rounds = 0;
  bool settled = true;  ///< false: no pattern of states was found that agrees with itself
};
/// Changes of force by one contact more or less, as long as all others go on doing what they do.
struct Exchanges {
  std::vector<std::size_t> rows;  ///< contacts with a force of their own
  std::vector<std::vector<double>>
      up;  ///< by contact asked: N towards the viewer on every row, its own last; empty: nothing changes
};

namespace contact {
class ActiveSystem;
}

class PressedPlate {
 public:
  /// What is kept from one state for the next ones that are like it, one after the other. It changes no result by more
  /// than rounding.
  class Likeness {
   public:
    Likeness();
    ~Likeness();
    contact::ActiveSystem& system(const PreparedState& state, std::size_t ground);

   private:
    struct Parts;
    std::unique_ptr<Parts> p_;
  };
  /// `lies_on_top`: the top side lies down. It changes no result, only how quickly moments are worked out in which the
  /// probes of that side do not touch yet.
  PressedPlate(PlateMesh mesh, const PlateStiffness& stiffness, std::vector<PressContact> contacts,
               bool lies_on_top = false);
  /// The same plate with some of its contacts, by number and ascending. All that have springs are among them.
  PressedPlate(const PressedPlate& whole, const std::vector<std::size_t>& kept);
  ~PressedPlate();
  [[nodiscard]] bool ok() const;
  [[nodiscard]] const ElasticPlate& plate() const;
  [[nodiscard]] const std::vector<PressContact>& contacts() const;
  [[nodiscard]] PreparedState prepare(const PressState& state) const;
  /// `guess`: ContactForces::does of a state like this one, or nothing; it saves rounds.
  [[nodiscard]] ContactForces solve(const PreparedState& state, const std::vector<char>& present,
                                    const std::vector<char>& guess = {}, int most_rounds = 500,
                                    Likeness* like = nullptr) const;
  [[nodiscard]] ContactForces solve(const PressState& state) const { return solve(prepare(state), state.present); }
  /// All unknowns of the plate under those forces, its free shape not included: what bends it.
  [[nodiscard]] std::vector<double> bending(const ContactForces& forces, MPa pressure) const;
  /// The same of many states at once: of each, its forces and the pressure.
  [[nodiscard]] std::vector<std::vector<double>> bending(
      const std::vector<std::pair<const ContactForces*, MPa>>& states) const;
  /// The effect of adding each of these rigid contacts that are absent, or of removing each of these that hold, one at
  /// a time.
  [[nodiscard]] Exchanges joining(const PreparedState& state, const ContactForces& forces,
                                  const std::vector<std::size_t>& contacts) const;
  [[nodiscard]] Exchanges leaving(const PreparedState& state, const ContactForces& forces,
                                  const std::vector<std::size_t>& contacts) const;
  /// Deflection at one contact from one newton up at another.
  [[nodiscard]] double compliance(std::size_t i, std::size_t j) const;
  struct Parts;  ///< of this module's own

 private:
  class Steps;
  std::unique_ptr<Parts> p_;
};

}  // namespace teasel
