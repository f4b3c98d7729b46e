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
    double shop{}, engineer{}, operator_{};
  } hour;
  std::map<std::string, double> kit;        ///< by Kit::kind; "none": what a bed without a kit stands on
  std::map<std::string, double> plate_dm2;  ///< by material; "other": any that is not named
  double plate_setup_minutes{}, hole_minutes{}, pocket_minutes_per_cm3{};
  struct Part {
    double tooling_pin{}, guide_pin{}, board_stop{}, push_finger{}, screw{}, wire_metre{}, relay{};
  } part;
  struct Work {
    double receptacle_minutes{}, wire_minutes{}, wire_metre{}, support_minutes{}, engineering_hours{}, net_minutes{},
        proving_hours{};
  } work;  ///< wire_metre: length of a wire without a kit
  struct Bed {
    double load_seconds{}, test_seconds{}, net_milliseconds{}, station_hour{};
  } bed;
  /// A machine whose heads fly from land to land. Times between lands follow a trapezoid of speed.
  struct Flying {
    double setup_hours{}, net_minutes{}, machine_hour{}, load_seconds{}, turn_seconds{}, touch_milliseconds{};
    double speed{}, acceleration{};  ///< mm/s, mm/s^2
    int heads = 2;                   ///< that touch at the same time, on all sides together
    bool both_sides = false;         ///< heads on both sides: nobody turns the board over
    Mm smallest_land;                ///< that a head can hit
  } flying;
  struct Spare {
    double probe_share{}, receptacle_share{};
    int probe_least{}, receptacle_least{};
  } spare;
  double life{};                              ///< touches of a probe whose class states none
  double clean_minutes{};                     ///< of one bed
  std::map<std::string, double> clean_every;  ///< touches, by surface of the target
};

}  // namespace teasel
