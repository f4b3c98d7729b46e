// Any bytes as a boundary-scan description.
#include <cstdint>

#include "teasel/formats/bsdl.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  teasel::Diagnostics d;
  (void)teasel::formats::read_bsdl({reinterpret_cast<const char*>(data), size}, "fuzz", d);
  return 0;
}
