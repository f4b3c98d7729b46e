// Any bytes as an IPC-2581 file.
#include <cstdint>

#include "teasel/formats/ipc2581.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  teasel::Diagnostics diagnostics;
  (void)read_ipc2581({reinterpret_cast<const char*>(data), size}, "fuzz", {}, diagnostics);
  return 0;
}
