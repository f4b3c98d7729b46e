// Any bytes as a placement, height, pad, reference, continuity or net table or bill of materials.
#include <cstdint>

#include "teasel/formats/bench.h"
#include "teasel/formats/net_table.h"
#include "teasel/formats/tables.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  teasel::Diagnostics diagnostics;
  if (looks_like_placement(bytes)) (void)read_placement(bytes, "fuzz", diagnostics);
  if (looks_like_bom(bytes)) (void)read_bom(bytes, "fuzz", diagnostics);
  if (looks_like_references(bytes)) (void)read_references(bytes, "fuzz", diagnostics);
  if (looks_like_continuity(bytes)) (void)read_continuity(bytes, "fuzz", diagnostics);
  if (looks_like_heights(bytes)) (void)read_heights(bytes, "fuzz", diagnostics);
  if (looks_like_net_table(bytes)) (void)read_net_table(bytes, "fuzz", diagnostics);
  if (looks_like_pad_list(bytes)) (void)read_pad_list(bytes, "fuzz", diagnostics);
  return 0;
}
