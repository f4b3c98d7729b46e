// Any bytes as a drill program or as its side file.
#include <cstdint>

#include "teasel/formats/drill.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  teasel::Diagnostics d;
  (void)looks_like_drill(bytes);
  const DrillFile f = read_drill(bytes, "fuzz", d);
  if (!d.failed()) {
    (void)holes_of(f, f.format);
    for (auto zeros : {ZeroRule::leading_kept, ZeroRule::trailing_kept})
      (void)holes_of(f, {size % 2 == 0, zeros, 8, 8});
  }
  (void)looks_like_drill_notes(bytes);
  teasel::Diagnostics n;
  (void)read_drill_notes(bytes, "fuzz", n);
  return 0;
}
