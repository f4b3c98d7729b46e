// Ways in which release files go wrong. Each keeps to one file's text; what cannot be done to a file leaves it as it
// is.
#pragma once
#include <functional>
#include <random>
#include <string>
#include <vector>

namespace torture {

using Dice = std::mt19937;

struct Damage {
  std::string name;
  bool geometric = false;  ///< moves copper, holes or pads: if it is taken, plates may be wrong
  std::function<std::string(const std::string& text, Dice&)> apply;
};
/// All that work on one file by itself.
const std::vector<Damage>& damages();
/// damage_release.cpp: after these every file is still well-formed.
const std::vector<Damage>& release_damages();

/// Rewrites every coordinate pair of a Gerber, drill or IPC-D-356 file: numbers behind X and Y.
std::string with_coordinates(const std::string& text, const std::function<double(char axis, double value)>& f);

}  // namespace torture
