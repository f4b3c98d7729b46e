// Any bytes as a zip archive of release files, and as a workbook with tables.
#include <cstdint>

#include "teasel/formats/archive.h"
#include "teasel/formats/input_formats.h"
#include "teasel/formats/workbook.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  teasel::Diagnostics diagnostics;
  ArchiveAllowance allowance{.files = 100, .bytes = 10'000'000};
  if (is_archive(bytes)) (void)read_archive(bytes, "fuzz", allowance, diagnostics);
  if (is_workbook(bytes)) {
    (void)kinds_of(bytes);
    (void)read_placement(bytes, "fuzz", diagnostics);
    (void)read_bom(bytes, "fuzz", diagnostics);
  }
  return 0;
}
