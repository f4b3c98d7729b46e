// How a fixture that stands is altered: rework.cpp finds what is cut and wired, rework_steps.cpp puts the work in
// order, rework_cost.cpp says what it takes.
#pragma once
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "teasel/respin.h"

namespace teasel::reworking {

inline bool is_pin(PlateHole::Kind kind) {
  return kind == PlateHole::Kind::tooling_pin || kind == PlateHole::Kind::orientation_pin;
}
inline bool is_support(const std::string& kind) {
  return kind == to_string(PlateHole::Kind::stop) || kind == to_string(PlateHole::Kind::finger);
}

class Workshop {
 public:
  Workshop(const BuildInputs& in, const formats::FixtureFile& file, const ReworkSource& planned, Respin& out,
           Diagnostics& diagnostics)
      : in_(in), fixture_(in.standing), file_(file), plan_(planned), out_(out), diagnostics_(diagnostics) {}
  void run() {
    for (const Plate& made : plan_.plates) plate(made);
    wires();
    tips();
    steps();
    cost();
    materials();
    self_test();
  }

 private:
  void plate(const Plate& planned);
  bool serves(const PlateHole& planned, const StandingPlateHole& old, const std::string& stem);
  [[nodiscard]] Mm least_web(const std::string& a, const std::string& b) const;
  void check_webs(const Plate& made, const std::vector<PlateHole>& fresh, const StandingPlate& standing);
  void wires();
  void tips();
  void steps();
  /// What is made and fitted, counted.
  struct Work {
    double receptacles = 0, probes = 0, new_plates = 0;  ///< money
    double milled = 0, metres = 0;                       ///< cm3 of pockets; metres of wire
    std::size_t pressed = 0, nets = 0, plates = 0, drilled = 0, plugged = 0, supports = 0;
  };
  [[nodiscard]] Work work() const;
  void line(const char* group, std::string item, double quantity, std::string unit, Money price);
  void cost();
  void materials();
  void self_test();
  void add(ReworkStep step) {
    step.number = static_cast<int>(out_.steps.size()) + 1;
    out_.steps.push_back(std::move(step));
  }
  void take_apart();
  void engrave();
  void put_together();
  [[nodiscard]] bool opens(const PlateRework& rework) const;
  void take_off();
  void plug();
  void make_and_drill();
  void mill();
  void fit();
  void wire();
  [[nodiscard]] const Plate* holds_probes(Side side) const;
  [[nodiscard]] std::string probe_plate(Side side) const;
  [[nodiscard]] std::optional<PlatePoint> place_of(const std::string& probe, Side side) const;

  const BuildInputs& in_;
  const StandingFixture& fixture_;
  const formats::FixtureFile& file_;
  const ReworkSource& plan_;
  Respin& out_;
  Diagnostics& diagnostics_;
  std::vector<const StandingWire*> off_;
  std::vector<const Wire*> on_;
  struct Swap {
    std::string probe, before, after;
  };
  std::vector<Swap> swaps_;
  std::map<std::string, std::string> net_of_;  ///< by probe, as it was wired
};

}  // namespace teasel::reworking
