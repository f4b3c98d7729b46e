// Any bytes as a placement, height or pad table.
#include <cstdint>

#include "teasel/formats/bench.h"
#include "teasel/formats/tables.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  teasel::Diagnostics d;
  if (looks_like_placement(bytes)) (void)read_placement(bytes, "fuzz", d);
  if (looks_like_heights(bytes)) (void)read_heights(bytes, "fuzz", d);
  if (looks_like_pad_list(bytes)) (void)read_pad_list(bytes, "fuzz", d);
  return 0;
}
