// Any bytes as an IDF board file, and what follows a NUL as its library.
#include <cstdint>

#include "teasel/formats/bodies.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  const std::size_t cut = bytes.find('\0');
  teasel::Diagnostics diagnostics;
  (void)read_idf(bytes.substr(0, cut), "board", cut == bytes.npos ? std::string_view() : bytes.substr(cut + 1),
                 "library", diagnostics);
  return 0;
}
