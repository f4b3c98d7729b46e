// The table of input formats against what it must agree with.
#include <algorithm>
#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

#include "teasel/formats/input_formats.h"
#include "teasel/job.h"

using teasel::formats::input_formats;
using teasel::formats::InputFormat;

namespace {
bool names_a_file(const std::string& key) {
  const std::string last = key.substr(key.rfind('.') + 1);
  return key.starts_with("inputs.") && !key.starts_with("inputs.outline.") &&
         (last == "file" || last == "files" || last == "board" || last == "library");
}
}  // namespace

TEST_CASE(
    "every key of a job that names an input file is the key of a format, and the other way round (law: one table)") {
  for (const teasel::Option& option : teasel::job_options()) {
    if (!names_a_file(option.path)) continue;
    INFO(option.path);
    CHECK(std::any_of(input_formats().begin(), input_formats().end(),
                      [&](const InputFormat& format) { return std::string(format.job_key) == option.path; }));
  }
  for (const InputFormat& format : input_formats()) {
    INFO(format.name);
    CHECK((*format.job_key == 0 || teasel::job_option(format.job_key)));
    // Of a file that the table reads by itself, the job's reader knows as well that its name is all.
    if (const teasel::Option* key = teasel::job_option(format.job_key))
      CHECK(key->lone_file == (format.read != nullptr));
  }
}

TEST_CASE("the manual describes every format under its name (law: one table)") {
  std::ifstream file(TEASEL_SOURCE "/data/manual/formats.md");
  REQUIRE(file);
  std::stringstream page;
  page << file.rdbuf();
  for (const InputFormat& format : input_formats()) {
    INFO(format.name);
    CHECK((*format.name == 0 || page.str().find("\n## " + std::string(format.name)) != std::string::npos));
  }
}
