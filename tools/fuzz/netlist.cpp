// Any bytes as an IPC-D-356 netlist.
#include <cstdint>

#include "teasel/formats/netlist.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  teasel::Diagnostics diagnostics;
  (void)looks_like_netlist(bytes);
  (void)read_netlist(bytes, "fuzz", size % 2 ? std::optional(NetlistUnit::mm_001) : std::nullopt, diagnostics);
  return 0;
}
