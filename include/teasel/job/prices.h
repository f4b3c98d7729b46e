// What material, work and machines cost, as a shop enters it. The shipped list is invented; a shop's own wins.
#pragma once
#include <map>
#include <string>

#include "teasel/units.h"

namespace teasel {

/// Money in the list's currency, time in the unit that each name says.
struct Prices {
  std::string name, currency;
  struct Hour {
    Money shop, engineer, operator_;
  } hour;
  std::map<std::string, Money> kit;        ///< by Kit::kind; "none": what a bed without a kit stands on
  std::map<std::string, Money> plate_dm2;  ///< by material; "other": any that is not named
  /// Of a square decimetre.
  [[nodiscard]] Money plate_price(const std::string& material) const {
    const auto found = plate_dm2.find(material), other = plate_dm2.find("other");
    if (found != plate_dm2.end()) return found->second;
    return other == plate_dm2.end() ? Money{} : other->second;
  }
  Minutes plate_setup, hole, pocket_per_cm3;
  Money printed_cm3;  ///< of a plate that is printed, with the time of the printer
  struct Part {
    Money tooling_pin, guide_pin, board_stop, push_finger, screw, wire_metre, relay;
  } part;
  struct Work {
    Minutes receptacle, wire, support, net;
    Minutes rework;  ///< on top of a new hole, in a fixture that stands: taking it apart, setting up on its holes
    Hours engineering, proving, program;  ///< program: of a test, before any net of it
    Hours second_bed;                     ///< of engineering that a bed on the second side takes besides
    Mm wire_length;                       ///< of a wire in a bed without a kit, where no pin says how far it goes
  } work;
  struct Bed {
    Seconds load, test, net;  ///< net: for each net that is measured
    Seconds part, program;    ///< for each part that is measured; for each interface through which is programmed
    Money station_hour;
  } bed;
  /// A machine whose heads fly from land to land. Times between lands follow a trapezoid of speed.
  struct Flying {
    Hours setup;
    Minutes net, part_program;  ///< of programming, for each net and each part
    Seconds part;               ///< settling and measuring at a part, both of its ends touched
    Money machine_hour;
    Seconds load, turn, touch;
    MmPerSecond speed;
    MmPerSecond2 acceleration;
    int heads = 2;            ///< that touch at the same time, on all sides together
    bool both_sides = false;  ///< heads on both sides: nobody turns the board over
    Mm smallest_land;         ///< that a head can hit
  } flying;
  struct Spare {
    double probe_share{}, receptacle_share{};
    int probe_least{}, receptacle_least{};
  } spare;
  /// How far off each share of the cost may be: 0.3 is 30 % either way.
  struct Uncertain {
    double work{}, material{}, bed_time{}, flying_time{};
  } uncertain;
  Touches life;                                ///< touches of a probe whose class states none
  Minutes clean;                               ///< of one bed
  std::map<std::string, Touches> clean_every;  ///< by surface of the target
};

}  // namespace teasel
