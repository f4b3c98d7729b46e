// The command `layers`: layer files by themselves.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/formats/layer.h"

namespace teasel::cli {

/// What the command is asked for.
struct LayersWanted {
  std::vector<std::string> files;
  std::string folder = ".";
  bool area = false, drawings = true;
  std::optional<formats::GerberUnit> unit;  ///< for files that state none, or state a wrong one
};
/// Reads every file and returns its facts. Unless an error was found, it also writes FOLDER/<file name>.svg for each.
std::vector<formats::LayerFacts> layers(const LayersWanted& wanted, Diagnostics& diagnostics);

}  // namespace teasel::cli
