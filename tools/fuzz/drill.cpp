// Any bytes as a drill program or as its side file.
#include <cstdint>

#include "teasel/formats/drill.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  teasel::Diagnostics diagnostics;
  (void)looks_like_drill(bytes);
  const DrillFile file = read_drill(bytes, "fuzz", diagnostics);
  if (!diagnostics.failed()) {
    (void)holes_of(file, file.format);
    for (auto zeros : {ZeroRule::leading_kept, ZeroRule::trailing_kept})
      (void)holes_of(file, {size % 2 == 0, zeros, 8, 8});
  }
  (void)looks_like_drill_notes(bytes);
  teasel::Diagnostics of_notes;
  (void)read_drill_notes(bytes, "fuzz", of_notes);
  return 0;
}
