// Any bytes as a job file, and as each of the shop's files.
#include <cstdint>

#include "teasel/job.h"
#include "teasel/job/edit.h"
#include "teasel/job/shop.h"

namespace {
using namespace teasel;

void read_shop_file(std::string_view bytes) {
  Diagnostics diagnostics;
  switch (bytes.size() % 7) {
    case 0: (void)read_catalogue(bytes, "fuzz", diagnostics); break;
    case 1: (void)read_rules(bytes, "fuzz", diagnostics); break;
    case 2: (void)read_kit(bytes, "fuzz", diagnostics); break;
    case 3: (void)read_interface_block(bytes, "fuzz", diagnostics); break;
    case 4: (void)read_prices(bytes, "fuzz", diagnostics); break;
    case 5: (void)read_style(bytes, "fuzz", diagnostics); break;
    default: (void)read_interfaces(bytes, "fuzz", diagnostics);
  }
}
}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  read_shop_file(bytes);
  Diagnostics diagnostics;
  const Job job = read_job(bytes, "fuzz.toml", diagnostics);
  (void)toml_as_json(bytes);
  if (diagnostics.failed()) return 0;
  (void)write_first_job(job, {});
  const std::string_view standard = *shipped("rules", "standard");
  static const Rules rules = read_rules(standard, "standard", diagnostics);
  static const Catalogue catalogue = read_catalogue(*shipped("catalogues", "standard"), "standard", diagnostics);
  check_together(job, catalogue, rules, diagnostics);
  if (bytes.find("rule_changes") != bytes.npos) (void)read_rules(standard, "standard", diagnostics, bytes, "fuzz.toml");
  return 0;
}
