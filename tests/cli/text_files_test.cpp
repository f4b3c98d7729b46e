// Marks of byte order, UTF-16, and unfinished merges in every text that a job names.
#include <algorithm>
#include <catch2/catch.hpp>

#include "run_command.h"

using namespace test;

namespace {
/// The demo's job beside its files, so that each can be changed.
void write_job(const fs::path& folder) {
  fs::copy(source() + "/data/demo", folder, fs::copy_options::recursive);
  std::string text = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  const std::string there = "../../data/demo/";
  for (std::size_t at = text.find(there); at != text.npos; at = text.find(there)) text.erase(at, there.size());
  std::ofstream(folder / "job.toml", std::ios::binary) << text;
}
std::string utf16(const std::string& ascii, bool big) {
  std::string out = big ? "\xFE\xFF" : "\xFF\xFE";
  for (const char letter : ascii) {
    const auto pair = big ? std::string{'\0', letter} : std::string{letter, '\0'};
    out += pair;
  }
  return out;
}
void write(const fs::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}
bool is_ascii(const std::string& text) {
  return std::all_of(text.begin(), text.end(), [](char letter) { return static_cast<unsigned char>(letter) < 0x80; });
}
}  // namespace

TEST_CASE("a mark of byte order and UTF-16 change nothing that is understood (RFC 3629, RFC 2781)") {
  Folder folder;
  write_job(folder.path / "demo");
  const Result before = run(teasel() + "check job.toml", folder.path / "demo");
  REQUIRE(before.status == 0);
  std::size_t files = 0;
  for (const auto& entry : fs::directory_iterator(folder.path / "demo")) {
    const std::string name = entry.path().filename().string();
    if (name[0] == '.' || entry.path().extension() == ".md") continue;
    std::string text = slurp(entry.path());
    const bool plain = is_ascii(text) && entry.path().extension() != ".toml";
    write(entry.path(), plain ? utf16(text, files % 2 == 0) : "\xEF\xBB\xBF" + text);
    ++files;
  }
  CHECK(files == 21);
  const Result after = run(teasel() + "check job.toml", folder.path / "demo");
  INFO(after.err);
  CHECK(after.status == 0);
  CHECK(after.out == before.out);
  write(folder.path / "demo/placement.csv",
        "\xFF\xFE"
        "a");
  CHECK(run(teasel() + "check job.toml", folder.path / "demo").err.find("file-utf16") != std::string::npos);
}

TEST_CASE("the marks of an unfinished merge are refused in every input, with their line (constructed faults)") {
  Folder folder;
  write_job(folder.path / "demo");
  std::size_t files = 0;
  for (const auto& entry : fs::directory_iterator(folder.path / "demo")) {
    const std::string name = entry.path().filename().string();
    const bool drawn = name.find("Silk") != std::string::npos;  // of which a job makes nothing
    if (name[0] == '.' || entry.path().extension() == ".md" || drawn) continue;
    INFO(name);
    const std::string text = slurp(entry.path());
    const std::size_t second = text.find('\n') + 1;
    write(entry.path(), text.substr(0, second) + "<<<<<<< HEAD\n=======\n>>>>>>> other\n" + text.substr(second));
    const Result result = run(teasel() + "check job.toml", folder.path / "demo");
    CHECK(result.status == 1);
    CHECK(result.err.find(name + ":2: error file-conflict") != std::string::npos);
    write(entry.path(), text);
    ++files;
  }
  CHECK(files == 19);
  write(folder.path / "demo/placement.csv", slurp(folder.path / "demo/placement.csv") + ">>>>>>> other\r\n");
  CHECK(run(teasel() + "start . -o new.toml", folder.path / "demo").status == 1);
  CHECK_FALSE(fs::exists(folder.path / "demo/new.toml"));
}
