// The board as the next revision is compared with it.
#include "build.h"

namespace teasel {

formats::BuiltBoard built_board(const Board& board, const Job& job) {
  formats::BuiltBoard out;
  out.name = board.name;
  out.revision = board.revision;
  out.thickness = board.thickness;
  out.outline = board.outline;
  for (const BuildVariant& variant : job.parts.variants) out.variants.push_back(variant.name);
  Table<NetId, formats::BuiltNetId> built(board.nets.size());
  for (const NetId net : board.nets.ids())
    if (!board.nets[net].unconnected) built[net] = out.nets.add(board.nets[net].name.text());
  for (const HoleId hole : board.tooling)
    out.tooling.push_back({.at = board.holes[hole].at, .diameter = board.holes[hole].diameter});
  for (const Component& part : board.components)
    out.parts.push_back({.name = part.name.text(),
                         .value = part.value,
                         .side = part.side,
                         .height = part.height,
                         .height_confirmed = part.height_known == Known::confirmed,
                         .fitted = part.fitted,
                         .fitted_in = part.fitted_in,
                         .body = part.body});
  // Pads and parts keep their numbers: the built board has the rows of this one in the same order.
  for (const Feature& feature : board.features)
    out.pads.push_back({.name = feature.name.text(),
                        .pin = feature.pin,
                        .kind = to_string(feature.kind),
                        .net = feature.net ? built[feature.net] : formats::BuiltNetId{},
                        .component = formats::BuiltPartId::of_number(feature.component.number()),
                        .at = feature.at,
                        .hole = feature.hole,
                        .bare = {}});
  for (const Exposure& exposure : board.exposures)
    if (!exposure.proposed)
      out.pads[formats::BuiltPadId{exposure.feature.index()}].bare[exposure.side].add(bounds(exposure.copper));
  return out;
}

}  // namespace teasel
