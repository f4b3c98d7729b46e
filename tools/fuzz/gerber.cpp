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
  Diagnostics diagnostics;
  const formats::GerberFile file = formats::read_gerber(
      bytes, "fuzz", diagnostics, size % 2 ? std::optional(formats::GerberUnit::mm) : std::nullopt);
  if (diagnostics.failed()) return 0;
  (void)formats::layer_facts(file);
  if (file.objects.size() > 2000) return 0;
  (void)layer_svg(file);
  try {
    (void)formats::composited_area(file);
    const Box box = formats::extents(file);
    const CopperHole hole{
        .at = {0, 0}, .end = {1, 1}, .diameter = Mm{0.5}, .plated = true, .first_layer = 0, .last_layer = 0};
    const CopperNets nets({{1, &file, size % 3 == 0, {}}}, {hole}, box.valid() ? box : Box{0, 0, 1, 1});
    (void)nets.net_at(0, {0, 0});
  } catch (const std::length_error&) {  // refused as too dense: a documented outcome
  }
  return 0;
}
