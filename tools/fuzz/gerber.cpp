// Any bytes as a Gerber layer: reading, facts, drawing, compositing, tracing.
#include <cstdint>
#include <stdexcept>

#include "teasel/board/copper.h"
#include "teasel/formats/layer.h"
#include "teasel/report.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  (void)formats::looks_like_gerber(bytes);
  Diagnostics d;
  const formats::GerberFile f =
      formats::read_gerber(bytes, "fuzz", d, size % 2 ? std::optional(formats::GerberUnit::mm) : std::nullopt);
  if (d.failed()) return 0;
  (void)formats::layer_facts(f);
  if (f.objects.size() > 2000) return 0;
  (void)layer_svg(f);
  try {
    (void)formats::composited_area(f);
    const Box box = formats::extents(f);
    CopperNets nets({{1, &f, size % 3 == 0, {}}}, {{{0, 0}, {1, 1}, 0.5, true, 0, 0}},
                    box.valid() ? box : Box{0, 0, 1, 1});
    (void)nets.net_at(0, {0, 0});
  } catch (const std::length_error&) {  // refused as too dense: a documented outcome
  }
  return 0;
}
