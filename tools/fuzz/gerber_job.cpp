// Any bytes as a Gerber job file.
#include <cstdint>

#include "teasel/formats/gerber_job.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  teasel::Diagnostics diagnostics;
  (void)looks_like_gerber_job(bytes);
  (void)read_gerber_job(bytes, "fuzz", diagnostics);
  return 0;
}
