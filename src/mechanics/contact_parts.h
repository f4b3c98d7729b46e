// What a pressed plate is made of, and the equations of the contacts that carry a force of their own.
#pragma once
#include <Eigen/Dense>
#include <array>
#include <map>

#include "teasel/mechanics/contact.h"

namespace teasel {

namespace contact {
inline std::size_t index(Eigen::Index i) {
  return static_cast<std::size_t>(i);
}
inline Eigen::Index row(std::size_t i) {
  return static_cast<Eigen::Index>(i);
}

enum class Does : char { nothing, held, working, bottomed };

inline constexpr double kYields = 1e-5;  // mm/N of a rigid contact: two in one place stay apart in the equations by it
inline constexpr double kYieldsSpring = 1e-4;  // mm/N of a probe while it takes up its preload, or at its end stop:
                                               // sharp corners take many rounds
inline constexpr double kForce = 1e-5, kGap = 1e-7;  // N, mm: less is rounding

/// Contacts with a force of their own, and how far each is pressed in by one newton of another.
struct Active {
  std::vector<std::size_t> rows;
  Eigen::MatrixXd depth;
};

/// What of a contact the equations need, in N and mm.
struct ContactSpring {
  double preload, rate, full;
  [[nodiscard]] double at(double depth) const { return rate > 0 ? preload + rate * depth : 0; }
};

/// The plate with some of the springs in it: those carry a force of their own only where they do not work, all others
/// only where they touch.
struct Ground {
  std::vector<char> holds;         ///< by contact: its spring is in the plate
  Eigen::MatrixXd compliance;      ///< deflection at i from one newton up at j; symmetric
  Eigen::VectorXd under_pressure;  ///< deflection at i from 1 MPa
};

/// A plate that gives way under the contacts that stand on it.
struct Carrier {
  explicit Carrier(const PreparedState& state) : carried(state.carried), yield(state.carrier_yield) {}
  /// mm that i goes back from one newton on j, by the plate's giving way alone.
  [[nodiscard]] double gives(std::size_t i, std::size_t j) const {
    return !carried.empty() && carried[i] && carried[j] ? yield : 0;
  }
  const std::vector<char>& carried;
  double yield;
};
}  // namespace contact

struct PressedPlate::Parts {
  std::vector<PressContact> contacts;
  std::vector<contact::ContactSpring> springs;  // by contact
  std::shared_ptr<const ElasticPlate> plate;
  std::vector<contact::Ground> grounds;  // with all springs; without those of the side that lies down, where that helps

  [[nodiscard]] double sign(std::size_t i) const { return contacts[i].from_below ? 1 : -1; }
  [[nodiscard]] double mean(std::size_t i, const std::vector<double>& by_node) const {
    double sum = 0;
    if (!by_node.empty())
      for (const NodeWeight& part : contacts[i].patch)
        sum += part.weight * by_node[static_cast<std::size_t>(part.node)];
    return sum;
  }
  /// Deflection by contact if the springs in the plate work and nothing else pushes.
  [[nodiscard]] Eigen::VectorXd base_on(const contact::Ground& ground, const PreparedState& state) const;
  /// Takes the springs of these contacts out of the plate.
  void add_ground_without(const std::vector<std::size_t>& out);
};

namespace contact {
/// The equations of one state on one ground.
struct Equations {
  const PressedPlate::Parts& p;
  const Ground& ground;
  const Carrier& carrier;
  bool linear;   ///< springs that are present work at any depth
  double yield;  ///< mm/N of springs that are held or at their end

  [[nodiscard]] bool is_active(std::size_t i, Does what) const;
  /// mm that i is pressed in less by one newton of j.
  [[nodiscard]] double pressed_in(std::size_t i, std::size_t j) const {
    return p.sign(i) * ground.compliance(row(i), row(j)) * p.sign(j) + carrier.gives(i, j);
  }
  [[nodiscard]] double own_yield(std::size_t i, Does what) const;
  /// Depth by its own force while it is held; a spring's rate works along.
  [[nodiscard]] double held_yield(std::size_t i) const;
  [[nodiscard]] Does does_at(std::size_t i, double depth, bool present) const;
  /// Force at a depth besides what a spring that is in the plate pushes.
  [[nodiscard]] double extra_at(std::size_t i, double depth, bool present) const;
  /// What the equation of a contact has on its right, with the depth it would have if it had no force of its own.
  [[nodiscard]] double right_side(std::size_t i, Does what, double free) const;
  /// Depths by the forces of the active contacts, each with what its own force yields.
  [[nodiscard]] Active active(const std::vector<Does>& what) const;
  /// Likewise, those first whose own force presses them in; only the lower half of `depth`. Their number.
  std::size_t signs_apart(const std::vector<Does>& what, Active& out) const;
  /// Active contacts among these.
  [[nodiscard]] std::size_t count(const std::vector<Does>& what) const;
};

/// Factors of a symmetric matrix [A B'; B -D] with A and D positive definite (R. J. Vanderbei, Symmetric quasidefinite
/// matrices, SIAM J. Optim. 5, 1995): those of A, and those of D + B A^-1 B'.
class QuasiDefinite {
 public:
  /// Of the lower half; `positive`: rows of A.
  void compute(const Eigen::MatrixXd& lower, Eigen::Index positive);
  [[nodiscard]] Eigen::MatrixXd solve(const Eigen::MatrixXd& side) const;

 private:
  Eigen::LLT<Eigen::MatrixXd> a_, rest_;
  Eigen::MatrixXd b_;  // B
  Eigen::Index positive_ = 0, size_ = 0;
};

/// The active contacts' equations from round to round, and from one moment to the next: most rounds change few of them,
/// and then border the last factors.
class ActiveSystem {
 public:
  /// Forces by contact. The ground and the carrier of the equations are always the same.
  template <class RightSide>
  std::vector<double> solve(const Equations& e, const std::vector<Does>& what, const RightSide& right_side) {
    std::vector<Change> changed = was_.empty() ? std::vector<Change>{} : changes(e, what);
    // Each change costs a row of the factors.
    if (was_.empty() || 5 * changed.size() > active_.rows.size()) {
      factor(e, what);
      changed.clear();
    }
    const auto size = static_cast<Eigen::Index>(active_.rows.size());
    Eigen::VectorXd side(size);
    for (Eigen::Index i = 0; i < size; ++i) side(i) = right_side(active_.rows[index(i)], was_[active_.rows[index(i)]]);
    Eigen::VectorXd inside = size > 0 ? Eigen::VectorXd(factors_.solve(side)) : side;
    Eigen::VectorXd fresh(static_cast<Eigen::Index>(changed.size()));
    for (std::size_t k = 0; k < changed.size(); ++k)
      fresh(row(k)) = changed[k].joins ? right_side(changed[k].contact, what[changed[k].contact]) : 0;
    const Eigen::VectorXd border = changed.empty() ? Eigen::VectorXd() : bordered(e, changed, what, fresh, inside);
    std::vector<double> forces(what.size());
    for (Eigen::Index i = 0; i < size; ++i) forces[active_.rows[index(i)]] = inside(i);
    for (const auto& [joins, contact] : changed)
      if (!joins) forces[contact] = 0;
    for (std::size_t k = 0; k < changed.size(); ++k)
      if (changed[k].joins) forces[changed[k].contact] = border(row(k));
    return forces;
  }

 private:
  /// Those that join first: they were not in the factors, or not as what they are now. The others are in them, but no
  /// longer so.
  struct Change {
    bool joins;
    std::size_t contact;
  };
  void factor(const Equations& e, const std::vector<Does>& what);
  Eigen::VectorXd bordered(const Equations& e, const std::vector<Change>& changed, const std::vector<Does>& what,
                           const Eigen::VectorXd& side, Eigen::VectorXd& inside);
  [[nodiscard]] std::vector<Change> changes(const Equations& e, const std::vector<Does>& what) const;
  Eigen::MatrixXd through_factors(const std::vector<Change>& changed, const Eigen::MatrixXd& columns);

  Active active_;
  std::vector<Does> was_;  // by contact, when the factors were made
  QuasiDefinite factors_;
  std::array<std::map<std::size_t, Eigen::VectorXd>, 2>
      columns_;  // leaving and joining, by contact: through the factors
};
}  // namespace contact

/// The last equations of states like one another: by ground.
struct PressedPlate::Likeness::Parts {
  std::array<contact::ActiveSystem, 2> systems;
  std::vector<char> carried;
  double carrier_yield{};
};

}  // namespace teasel
