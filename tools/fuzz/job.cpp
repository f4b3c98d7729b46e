// Any bytes as a job file, and as each of the shop's files.
#include <cstdint>

#include "teasel/job.h"
#include "teasel/job/edit.h"
#include "teasel/job/shop.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace teasel;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  Diagnostics of_job;
  const Job job = read_job(bytes, "fuzz.toml", of_job);
  (void)toml_as_json(bytes);
  if (!of_job.failed()) (void)write_first_job(job, {});
  Diagnostics of_rules, of_catalogue;
  const Rules rules = read_rules(*shipped("rules", "standard"), "standard", of_rules, bytes, "fuzz.toml");
  const Catalogue catalogue = read_catalogue(bytes, "fuzz", of_catalogue);
  Diagnostics rest;
  if (!of_job.failed() && !of_rules.failed() && !of_catalogue.failed()) check_together(job, catalogue, rules, rest);
  (void)read_rules(bytes, "fuzz", rest);
  (void)read_kit(bytes, "fuzz", rest);
  (void)read_interface_block(bytes, "fuzz", rest);
  (void)read_prices(bytes, "fuzz", rest);
  (void)read_style(bytes, "fuzz", rest);
  (void)read_interfaces(bytes, "fuzz", rest);
  return 0;
}
