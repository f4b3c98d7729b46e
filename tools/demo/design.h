// The invented demo product: a telemetry node for a harbour buoy. Parts, pads and nets, in millimetres.
#pragma once
#include <map>
#include <string>
#include <vector>

namespace demo {

inline constexpr double kWidth = 100;
inline constexpr double kHeight = 70;
inline constexpr double kGrid = 0.25;  // routing grid

struct Pad {
  std::string component, pin, net;
  double x{}, y{}, w{}, h{};  ///< h = 0: round
  double drill{};             ///< 0: surface pad
  bool top = true;            ///< surface pads
  bool plated = true;
  std::string function;  ///< .AperFunction
  bool mask_open = true;
};

struct Part {
  std::string name, value, package;
  double x{}, y{}, rotation{};
  bool top = true, holes_only = false;
  double height{};
};

struct Design {
  std::vector<Part> parts;
  std::vector<Pad> pads;
  std::vector<Pad> holes;      ///< unplated
  std::vector<Pad> open_vias;  ///< vias with a mask opening, placed by hand
};

Design make_design();
/// Revision G; make_design() is F.
Design next_revision(Design design);

}  // namespace demo
