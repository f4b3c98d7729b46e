// Rows of the board model, by kind.
#pragma once
#include "teasel/ids.h"

namespace teasel {

struct Net;
struct Feature;
struct Component;
struct BoardHole;
struct Exposure;
struct PlaceInPanel;
using NetId = Id<Net>;
using FeatureId = Id<Feature>;
using ComponentId = Id<Component>;
using HoleId = Id<BoardHole>;  ///< of a hole drilled in the board
using ExposureId = Id<Exposure>;
using PlaceId = Id<PlaceInPanel>;  ///< of one board of a panel

}  // namespace teasel
