// The pressed board as contacts on a plate, and its states.
#pragma once
#include <memory>
#include <optional>

#include "teasel/mechanics.h"
#include "teasel/mechanics/contact.h"

namespace teasel::mechanics {

/// A place whose strain is watched: the corner of a part.
struct Gauge {
  ComponentId component;
  BoardPoint at;
  double limit{};  ///< a share of the length, as the kernel works on it: 1e-6 is one microstrain
  std::vector<std::pair<std::size_t, double>> triangles;  ///< weights that add up to one
  std::array<Terms, 3> curvature;                         ///< their mean
};

/// A state of the press: how far each plate still is from its place at work.
struct Stage {
  std::string name;
  double share{};          ///< of the way from first touch (0) to full stroke (1)
  bool long_only = false;  ///< short probes hang free
};
inline constexpr const char* kFullStroke = "full stroke";
std::vector<Stage> stages_of(const Planned& in);

class BedModel {
 public:
  /// Probes first, supports after them. `fine`: loads are spread over their feet, with nodes about each, and probes let
  /// go; else loads are points, and probes linear.
  BedModel(const Planned& in, std::vector<PlacedSupport> supports, Mm mesh_size, bool fine);
  [[nodiscard]] bool ok() const { return press_ && press_->ok(); }
  [[nodiscard]] const PressedPlate& press() const { return *press_; }
  [[nodiscard]] const std::vector<PlacedSupport>& supports() const { return supports_; }
  [[nodiscard]] std::size_t probes() const { return probes_; }
  [[nodiscard]] const std::vector<Gauge>& gauges() const { return gauges_; }
  /// `present`: by support. `share`: of the bow and twist that are reckoned with.
  [[nodiscard]] PressState state(const Stage& stage, FreeShape shape, const std::vector<char>& present,
                                 double share = 1) const;
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
  void add_contacts(const Polygons& board, Mm mesh_size, bool fine);
  void add_gauges();
  void add_gauge(ComponentId component, BoardPoint corner, const class TriangleCells& cells);
  std::vector<double> shape_by_node(FreeShape shape) const;

  const Planned& in_;
  std::vector<PlacedSupport> supports_;
  std::size_t probes_ = 0;
  PlateStiffness stiffness_;
  std::vector<char> known_;  ///< by contact: it has a place on the mesh
  std::vector<Gauge> gauges_;
  std::array<std::vector<double>, kFreeShapes> shapes_;
  std::unique_ptr<PressedPlate> press_;
};

Microstrain strain_limit(const Planned& in);
/// Of the free board, as a share: the job's where it was measured.
double bow_of(const Planned& in);
/// Pads under the body, or a ceramic two-pole by its reference letter.
bool is_sensitive(const Component& component);
/// Pressure on the board at full stroke, towards the side that lies down; 0 without vacuum.
MPa vacuum_of(const Planned& in);

/// margins.cpp. Each fills its part of the result.
void vacuum_margins(const Planned& in, Mechanics& out);
/// A lid turns about its hinge: tips of its bed come down on an arc.
void scrub_of(const Planned& in, Mechanics& out);
/// `unknowns`: of a flat board at full stroke.
void lifted_regions(const std::vector<double>& unknowns, Mechanics& out);

/// The board pressed from one free shape.
struct Solved {
  ContactForces forces;
  std::vector<double> bending;
  std::vector<double> strains;  ///< by gauge, as shares of the length
};
/// pressing.cpp. On all supports. `guess`: what contacts are taken to do at first; `share`: of the bow and twist.
Solved press_shape(const BedModel& model, const Stage& stage, FreeShape shape, const std::vector<char>& guess,
                   double share = 1);
/// Whether a travel lies in the window of the probe's class.
bool in_window(const Planned& in, ProbeId probe, Mm travel);
/// bow.cpp. What of bow and twist the bed tolerates. `full`: every free shape at full stroke.
BowMargin bow_margin(const Planned& in, const BedModel& model, const std::vector<Solved>& full);

/// layout.cpp. The fewest supports found that keep every probe in its window of travel and every part below its limit.
std::vector<PlacedSupport> lay_out(const Planned& in, std::size_t& candidates, Diagnostics& diagnostics);

}  // namespace teasel::mechanics
