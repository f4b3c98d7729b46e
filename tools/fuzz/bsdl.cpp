// Any bytes as a boundary-scan description.
#include <cstdint>

#include "teasel/formats/bsdl.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  teasel::Diagnostics diagnostics;
  (void)teasel::formats::read_bsdl({reinterpret_cast<const char*>(data), size}, "fuzz", diagnostics);
  return 0;
}
