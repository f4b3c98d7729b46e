// Every input file that a job can name is read: a name that leads nowhere is told.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <set>

#include "teasel/formats/input_formats.h"
#include "teasel/pipeline/output_table.h"
#include "teasel/pipeline/run.h"

using namespace teasel;

namespace {
/// "inputs.gerber[].file" as a job file states it.
std::string stated(const std::string& key, const std::string& file) {
  const std::size_t dot = key.rfind('.');
  std::string table = key.substr(0, dot);
  const bool list = table.ends_with("[]");
  if (list) table.resize(table.size() - 2);
  const std::string last = key.substr(dot + 1);
  std::string text = (list ? "[[" : "[") + table + (list ? "]]\n" : "]\n") + last + " = ";
  text += last == "files" ? "[\"" + file + "\"]\n" : "\"" + file + "\"\n";
  if (key == "inputs.gerber[].file") text += "role = \"copper top\"\n";
  if (key == "inputs.bsdl[].file") text += "component = \"U1\"\n";
  return text;
}
/// Every "NAME.csv" or 'NAME.csv' of a source.
std::set<std::string> lists_in(const char* source, char quote) {
  std::ifstream file(std::string(TEASEL_SOURCE) + source);
  const std::string text{std::istreambuf_iterator<char>(file), {}}, end = std::string(".csv") + quote;
  std::set<std::string> names;
  for (std::size_t at = text.find(end); at != text.npos; at = text.find(end, at + 1)) {
    const std::size_t from = text.rfind(quote, at) + 1;
    names.insert(text.substr(from, at - from) + ".csv");
  }
  return names;
}
}  // namespace

TEST_CASE("the lists of the page are written before it, and each has its title (law: three places, one set of names)") {
  std::set<std::string> of_page = lists_in("/src/report/page_data.cpp", '"');
  REQUIRE(of_page.size() > 10);
  std::set<std::string> titled = lists_in("/src/report/page/lists.js", '\'');
  titled.erase("blocked-pads.csv");  // the name under which the page saves its own list
  CHECK(of_page == titled);
  of_page.erase("measure-first.csv");  // made for the page alone
  for (const std::string& name : of_page) {
    INFO(name);
    const auto rows = pipeline::output_table();
    CHECK(std::any_of(rows.begin(), rows.end(),
                      [&](const pipeline::OutputRow& row) { return row.name == name && row.on_page; }));
  }
}

TEST_CASE("a job that names a missing file of any format is told so (law: every key of the format table is read)") {
  const std::string job = (std::filesystem::temp_directory_path() / "teasel-inputs-test.toml").string();
  for (const formats::InputFormat& format : formats::input_formats()) {
    if (*format.job_key == 0) continue;
    const std::string missing = "no-such-file.of-any-kind";
    std::string text = stated(format.job_key, missing);
    const bool names_nets = format.id == formats::FileKind::netlist || format.id == formats::FileKind::pads ||
                            format.id == formats::FileKind::cad || format.id == formats::FileKind::gerber;
    if (!names_nets) text += "[inputs.netlist]\nfile = \"another-one\"\n";
    pipeline::Run run;
    pipeline::load_text(run, text, job, [](const char*, double) {});
    INFO(format.job_key);
    const auto& all = run.diagnostics.all();
    CHECK(std::any_of(all.begin(), all.end(), [&](const Finding& finding) {
      return finding.severity == Severity::error &&
             (finding.place.file + finding.found + finding.message).find(missing) != std::string::npos;
    }));
  }
}
