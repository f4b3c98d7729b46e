// Any bytes as a zip archive of release files, and as a workbook with tables. An input that begins with "%% NAME" is
// packed first: checksums would hide what stands in a zip.
#include <cstdint>
#include <set>

#include "../../tests/zip_maker.h"
#include "files.h"
#include "teasel/formats/archive.h"
#include "teasel/formats/input_formats.h"
#include "teasel/formats/tables.h"
#include "teasel/formats/workbook.h"

namespace {
/// A name that can be packed: others stand in inputs that are zips.
bool plain(std::string_view name) {
  return !name.empty() && name.back() != '/' &&
         std::all_of(name.begin(), name.end(), [](char letter) { return letter > ' ' && letter < 0x7F; });
}

std::string packed(std::string_view input) {
  std::vector<ZipEntry> entries;
  std::set<std::string_view> names;
  for (const auto& [name, bytes] : files_of(input))
    if (plain(name) && names.insert(name).second) entries.push_back({std::string(name), std::string(bytes)});
  return entries.empty() ? std::string() : make_zip(entries);
}
}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel::formats;
  std::string bytes(reinterpret_cast<const char*>(data), size);
  if (bytes.starts_with("%% ")) bytes = packed(bytes);
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
