// The board as the next revision is compared with it.
#include "build.h"

namespace teasel {

formats::BuiltBoard built_board(const Board& b, const Job& job) {
  formats::BuiltBoard out;
  out.name = b.name;
  out.revision = b.revision;
  out.thickness = b.thickness;
  out.outline = b.outline;
  for (const BuildVariant& v : job.variants) out.variants.push_back(v.name);
  std::vector<int> number(b.nets.size(), -1);
  for (std::size_t i = 0; i < b.nets.size(); ++i)
    if (!b.nets[i].unconnected) {
      number[i] = static_cast<int>(out.nets.size());
      out.nets.push_back(b.nets[i].name);
    }
  for (const int h : b.tooling)
    out.tooling.push_back({b.holes[static_cast<std::size_t>(h)].at, b.holes[static_cast<std::size_t>(h)].diameter});
  for (const Component& c : b.components)
    out.parts.push_back(
        {c.name, c.value, c.side, c.height, c.height_known == Known::confirmed, c.fitted, c.fitted_in, c.body});
  for (const Feature& f : b.features)
    out.pads.push_back({f.name,
                        f.pin,
                        to_string(f.kind),
                        f.net < 0 ? -1 : number[static_cast<std::size_t>(f.net)],
                        f.component,
                        f.at,
                        f.hole,
                        {}});
  for (const Exposure& e : b.exposures)
    if (!e.proposed)
      out.pads[static_cast<std::size_t>(e.feature)].bare[static_cast<std::size_t>(e.side)].add(bounds(e.copper));
  return out;
}

}  // namespace teasel
