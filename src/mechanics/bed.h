// The pressed board as contacts on a plate, and its states.
#pragma once
#include <memory>
#include <optional>

#include "teasel/mechanics.h"
#include "teasel/mechanics/contact.h"
#include "teasel/mechanics/moving_plate.h"

namespace teasel::mechanics {

/// How far a ball grid, which stiffens the board under it, raises the strain at its corners: measured values of 1.0 to
/// 1.45 beside stiff parts (from memory), the largest.
inline constexpr double kBesideStiff = 1.45;

/// A place whose strain is watched: the corner of a part.
struct Gauge {
  ComponentId component;
  BoardPoint at;
  double raised = 1;  ///< times the strain of the bare plate: a stiff part raises it beside its corners
  double limit{};     ///< a share of the length, as the kernel works on it: 1e-6 is one microstrain
  std::vector<std::pair<std::size_t, double>> triangles;  ///< weights that add up to one
  std::array<Terms, 3> curvature;                         ///< their mean
};

/// A moment of the closing. Heights are those over the place at work.
struct Moment {
  double share{};          ///< of the closing: 0 nothing touches yet, 1 closed
  double to_go{};          ///< mm that the upper plate stands over its place, at the board's middle
  double pressure{};       ///< MPa on the board, towards the side that lies down
  bool long_only = false;  ///< the half stage: short probes hang free
  Lying lying = Lying::at_work;
  double raised{};  ///< mm of the moving plate; found where it floats
};
/// The board lies on its stops and what stands over it is down: where its travel is judged.
inline Moment closed(double pressure) {
  return {.share = 1, .to_go = 0, .pressure = pressure, .long_only = false, .lying = Lying::at_work, .raised = 0};
}

/// What is tried out on a bed.
struct Variation {
  double force = 1;                ///< of every probe's springs
  std::vector<ProbeId> without{};  ///< left out
};

class BedModel {
 public:
  /// Probes first, supports after them. `fine`: loads are spread over their feet, with nodes about each; else loads are
  /// points.
  BedModel(const Planned& in, std::vector<PlacedSupport> supports, Mm mesh_size, bool fine,
           const Variation& variation = {});
  /// The same bed with some of its supports.
  BedModel(const BedModel& whole, const std::vector<char>& present);
  [[nodiscard]] bool ok() const { return press_ && press_->ok(); }
  [[nodiscard]] const PressedPlate& press() const { return *press_; }
  [[nodiscard]] const std::vector<PlacedSupport>& supports() const { return supports_; }
  [[nodiscard]] std::vector<char> all_supports() const { return std::vector<char>(supports_.size(), 1); }
  [[nodiscard]] std::size_t probes() const { return probes_; }
  [[nodiscard]] const std::vector<Gauge>& gauges() const { return *gauges_; }
  /// `present`: by support. `bend`: share of the bow and twist that are reckoned with. Where the moving plate floats,
  /// its stops stand as high as with no load on its springs.
  [[nodiscard]] PressState state(const Moment& moment, FreeShape shape, const std::vector<char>& present,
                                 double bend = 1) const;
  [[nodiscard]] const std::optional<MovingPlate>& moving() const { return moving_; }
  /// Probe or support over the board, or on the side that lies down.
  [[nodiscard]] bool is_over(std::size_t contact) const;
  /// How much nearer than at the board's middle what stands over this contact is while a lid closes; 1 without one.
  [[nodiscard]] double slant(std::size_t contact) const;
  /// mm that a tip reaches over the place of the board's face at work; what stands up on its target counts with it.
  [[nodiscard]] double reach(std::size_t probe) const { return strokes_[probe].nominal.v; }
  [[nodiscard]] const Stroke& stroke(std::size_t probe) const { return strokes_[probe]; }
  [[nodiscard]] bool is_known(std::size_t contact) const { return known_[contact] != 0; }
  /// Supports that stand on the moving plate.
  [[nodiscard]] bool is_carried(std::size_t contact) const;
  /// At a gauge, from all unknowns of the plate.
  [[nodiscard]] static Curvature curvature(const Gauge& gauge, const std::vector<double>& unknowns);
  /// The largest strain there, as a share of the length.
  [[nodiscard]] double elongation(const Gauge& gauge, const std::vector<double>& unknowns) const;
  /// By node, of the free board; empty: flat.
  [[nodiscard]] const std::vector<double>& free_shape(FreeShape shape) const {
    return shapes_[static_cast<std::size_t>(shape)];
  }
  [[nodiscard]] const PlateStiffness& stiffness() const { return stiffness_; }

 private:
  void add_contacts(const Polygons& board, Mm mesh_size, bool fine, const Variation& variation);
  void add_gauges(Mm mesh_size, bool fine);
  std::vector<double> shape_by_node(FreeShape shape) const;

  [[nodiscard]] BoardPoint place_of(std::size_t contact) const;

  const Planned& in_;
  std::vector<PlacedSupport> supports_;
  std::optional<MovingPlate> moving_;
  std::vector<char> on_part_;          ///< by support: it presses on a part
  PerSide<const StylePlate*> holder_;  ///< on which stops or fingers of the side stand
  std::size_t probes_ = 0;
  std::vector<Stroke> strokes_;  ///< by probe
  PlateStiffness stiffness_;
  std::vector<char> known_;  ///< by contact: it has a place on the mesh
  std::shared_ptr<const std::vector<Gauge>> gauges_ = std::make_shared<std::vector<Gauge>>();
  std::array<std::vector<double>, kFreeShapes> shapes_;
  std::unique_ptr<PressedPlate> press_;
};

/// Triangles of the figures that count: the rule set's, and down to half of that where a board is so small that it
/// costs little.
Mm fine_mesh(const Planned& in);
/// N/mm of the moving plate's springs; never so soft that where the plate stands would be open.
double spring_rate(const MovingPlate& moving);
/// At ball grids: the job's, else by the time in which the bed closes where that is stated, else the rule set's.
Microstrain strain_limit(const Planned& in);
/// At the corners of a part: the job's own for it, or by its kind.
Microstrain strain_limit(const Planned& in, const Component& component);
/// Of the free board, as a share: the job's where it was measured.
double bow_of(const Planned& in);
/// Pads under the body, or a multilayer ceramic by its reference letter and its two surface pads.
bool is_sensitive(const Component& component);
/// Pressure on the board at full stroke, towards the side that lies down; 0 without vacuum.
MPa vacuum_of(const Planned& in);

/// margins.cpp. Each fills its part of the result.
void vacuum_margins(const Planned& in, Mechanics& out);
/// A lid turns about its hinge: tips of its bed come down on an arc.
void scrub_of(const Planned& in, Mechanics& out);
/// `unknowns`: of a flat board at full stroke.
void lifted_regions(const std::vector<double>& unknowns, Mechanics& out);

/// The board pressed from one free shape, in one moment.
struct Solved {
  Moment moment;
  ContactForces forces;
  MPa pressure;
  std::vector<double> bending;  ///< empty until bend()
  std::vector<double> strains;  ///< by gauge, as shares of the length; likewise
  double worst{};               ///< of all gauges: strain as a share of its limit; likewise
};
/// pressing.cpp. Forces and travels; what they do to the board is left to bend(). The moving plate stands where
/// `moment` says. `supports`: which are present. `guess`: what contacts are taken to do at first. `likeness`: of
/// moments that are pressed one after the other.
Solved press_shape(const BedModel& model, const Moment& moment, FreeShape shape, const std::vector<char>& supports,
                   const std::vector<char>& guess, double bend = 1, PressedPlate::Likeness* likeness = nullptr);

/// pressing.cpp. How the board bends, all at once: for many it takes little longer than for one.
void bend(const BedModel& model, const std::vector<Solved*>& pressed);

/// The gauge that comes nearest to its limit, or goes farthest beyond it, and the moment in which it does.
struct WorstGauge {
  const Solved* solved = nullptr;  ///< null: there is no gauge
  std::size_t gauge = 0;
  double share = -1;  ///< of its limit
  [[nodiscard]] Microstrain strain() const { return Microstrain{solved->strains[gauge] * 1e6}; }
};
/// pressing.cpp
WorstGauge worst_gauge(const BedModel& model, const std::vector<Solved>& moments);

/// closing.cpp. How the bed closes: the upper plate comes down, or air is drawn, and the moving plate follows its
/// springs and its loads.
class Closing {
 public:
  /// `supports`: those of the model that are present.
  Closing(const Planned& in, const BedModel& model, std::vector<char> supports);
  /// Of the closing, as its moment stands before it is known what the moving plate does.
  [[nodiscard]] Moment at(double share) const;
  /// Finds what the moving plate does; without bend(). `like`: a moment nearby; `likeness`: of moments pressed before.
  [[nodiscard]] Solved press(double share, FreeShape shape, const Solved* like = nullptr, double bend = 1,
                             PressedPlate::Likeness* likeness = nullptr) const;
  /// At each share of the closing.
  [[nodiscard]] std::vector<Solved> press_all(const std::vector<double>& shares, FreeShape shape) const;
  /// Each shape's moments: see below.
  [[nodiscard]] std::vector<std::vector<Solved>> follow(const std::vector<FreeShape>& shapes, double bend = 1,
                                                        std::size_t most_finer = 14) const;
  /// Evenly spaced, closed last; then more about the peak of `Solved::worst`, until its neighbours do the same as it
  /// does or are too near to matter. Between two moments at which every contact does the same, curvature changes in
  /// proportion, so that strain, a convex measure of it, peaks at one of the two.
  [[nodiscard]] std::vector<Solved> follow(FreeShape shape) const;
  /// The most strained of such moments.
  [[nodiscard]] static const Solved& peak(const std::vector<Solved>& moments);
  /// How far the peak of such moments may lie beside the one found: half of the way to the next that does otherwise.
  [[nodiscard]] Mm peak_within(const std::vector<Solved>& moments) const;
  [[nodiscard]] bool by_air() const { return by_air_; }

 private:
  const Planned& in_;
  const BedModel& model_;
  std::vector<char> supports_;
  [[nodiscard]] std::vector<char> first_guess(const Moment& moment) const;
  /// Without bend().
  [[nodiscard]] std::vector<Solved> press_each(const std::vector<double>& shares, FreeShape shape, double bend,
                                               PressedPlate::Likeness& likeness) const;
  void bend_all(std::vector<Solved>& moments) const;
  bool by_air_ = false;   ///< nothing stands over the board
  bool spacers_ = false;  ///< between upper plate and moving plate
  double way_{};          ///< mm of the upper plate from where nothing touches
  std::vector<double> even_;
};

/// Whether a travel, with the tolerance of its chain, lies in the window of the probe's class.
bool in_window(const Planned& in, const BedModel& model, ProbeId probe, Mm travel);
/// bow.cpp. What of bow and twist the bed tolerates. `shapes`: every free shape through its closing.
BowMargin bow_margin(const Planned& in, const Closing& closing, const BedModel& model,
                     const std::vector<std::vector<Solved>>& shapes);

/// margins.cpp. Whether a flat board, by its deflection at full stroke, turns over what holds it rather than bends.
bool turns_over(const BedModel& model, const std::vector<double>& unknowns);

/// changes.cpp. Changes that a test engineer can make where a flat board is strained too much or not held, each tried;
/// the best first. Softer springs and fewer probes on these supports, other places of supports laid out anew.
std::vector<TriedChange> try_changes(const Planned& in, const Mechanics& mechanics);

/// layout.cpp. The fewest supports found that keep every probe in its window of travel and every part below its limit.
std::vector<PlacedSupport> lay_out(const Planned& in, std::size_t& candidates, Diagnostics& diagnostics);

}  // namespace teasel::mechanics
