// Edits as the live page sends them, and the lines that it shows as changed.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>

#include "../../src/view/live.h"

using namespace teasel;
using namespace teasel::view;

namespace {
std::vector<std::string> split(const std::string& text) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t end = std::min(text.find('\n', i), text.size());
    out.push_back(text.substr(i, end - i));
    i = end + 1;
  }
  return out;
}
/// `before` with the changes worked in that the lines tell.
std::vector<std::string> patched(const std::string& before, const std::vector<std::string>& changes) {
  auto old = split(before);
  std::vector<std::string> now;
  std::size_t taken = 0;
  for (const std::string& change : changes) {
    const std::size_t colon = change.find(": "), line = std::stoul(change.substr(2, colon - 2));
    const std::string text = change.substr(colon + 2);
    if (change[0] == '-') {
      while (taken + 1 < line) now.push_back(old[taken++]);
      CHECK(old[taken++] == text);
    } else {
      while (now.size() + 1 < line) now.push_back(old[taken++]);
      now.push_back(text);
    }
  }
  while (taken < old.size()) now.push_back(old[taken++]);
  return now;
}
bool open(const char* edit, const std::string& job = "job.toml") {
  std::string why;
  const auto made = edit_of(Json::parse(edit), job, why);
  CHECK(made.has_value() == why.empty());
  return made.has_value();
}
}  // namespace

TEST_CASE(
    "the lines shown as changed turn one text into the other, and are no more than need be (random texts, seed 3)") {
  std::mt19937 random(3);
  for (int round = 0; round < 400; ++round) {
    std::string before, after;
    for (unsigned i = 0; i < random() % 12; ++i) before += std::string(1, static_cast<char>('a' + random() % 4)) + "\n";
    for (const std::string& line : split(before))
      if (random() % 4)
        after += line + "\n";
      else if (random() % 2)
        after += "new " + std::to_string(random() % 3) + "\n";
    const auto lines = changed_lines(before, after);
    REQUIRE(patched(before, lines) == split(after));
    // The fewest changes follow from the length of the longest common subsequence, here by the plain recurrence.
    const auto a = split(before), b = split(after);
    std::vector<std::vector<std::size_t>> common(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
    for (std::size_t i = 1; i <= a.size(); ++i)
      for (std::size_t j = 1; j <= b.size(); ++j)
        common[i][j] = a[i - 1] == b[j - 1] ? common[i - 1][j - 1] + 1 : std::max(common[i - 1][j], common[i][j - 1]);
    CHECK(lines.size() == a.size() + b.size() - 2 * common[a.size()][b.size()]);
  }
}

TEST_CASE("a value as TOML reads back as the same value (TOML 1.0.0)") {
  for (const char* text : {"\"a \\\"b\\\" \\\\ \\u00e9\\n\"", "12", "-3.5", "true", "[1, 2]",
                           "[[\"1 mm\", \"2 mm\"], [\"3 mm\", \"4 mm\"]]", "{\"a b\": 1, \"c\": {\"d\": [\"x\"]}}"}) {
    const Json value = Json::parse(text);
    CHECK(Json::parse(toml_as_json("v = " + to_toml(value)))["v"] == value);
  }
  CHECK(to_toml(Json()).empty());
  CHECK(to_toml(Json::parse("[1, null]")).empty());
}

TEST_CASE("the page changes what it is for, and names no file outside the job's folder (constructed faults)") {
  CHECK(open(R"({"do":"append","path":"lock","value":{"net":"A","target":"B"}})"));
  CHECK(open(R"({"do":"remove","path":"keep_out[3]"})"));
  CHECK(open(R"({"do":"set","path":"fixture.most.\"50 mil\"","value":3})"));
  CHECK(open(R"({"do":"set","path":"rule_changes.limits.web","value":"1 mm"})"));
  for (const char* edit :
       {R"({"do":"set","path":"inputs.netlist.file","value":"x"})",
        R"({"do":"set","path":"fixture","value":{"rules":"x"}})", R"({"do":"set","path":"locks","value":1})",
        R"({"do":"set","path":"plan.proof","value":true})", R"({"do":"move","path":"lock[0]"})",
        R"({"do":"set","path":"lock[0].net"})", R"({"path":"lock"})", R"(7)"})
    CHECK_FALSE(open(edit));
  const auto folder = std::filesystem::temp_directory_path() / "teasel-edits-test";
  std::filesystem::create_directories(folder / "sub");
  std::ofstream(folder / "own.toml") << "name = \"x\"\n";
  std::filesystem::remove(folder / "out.toml");
  std::filesystem::create_symlink("/etc/hostname", folder / "out.toml");
  const std::string job = (folder / "job.toml").string();
  for (const char* good : {"moving-plate", "own.toml", "sub/../own.toml", "not-there-yet.toml"})
    CHECK(open((std::string(R"({"do":"set","path":"fixture.style","value":")") + good + "\"}").c_str(), job));
  for (const char* bad : {"/etc/hostname", "../own.toml", "sub/../../x.toml", "out.toml", ".", "", ".."})
    CHECK_FALSE(open((std::string(R"({"do":"set","path":"fixture.style","value":")") + bad + "\"}").c_str(), job));
  CHECK(open(R"({"do":"set","path":"fixture.kit","value":""})", job));
  std::filesystem::remove_all(folder);
}

TEST_CASE("no spelling of a key and no value leads round what the page may change (constructed faults)") {
  for (const char* edit : {R"({"do":"set","path":"inputs.netlist.\"file\"","value":"x"})",
                           R"({"do":"set","path":"\"inputs\".netlist.file","value":"x"})",
                           R"({"do":"set","path":"fixture.\"kit\"","value":"/etc/hostname"})",
                           R"({"do":"set","path":"\"fixture\".prices","value":"../x.toml"})",
                           R"({"do":"set","path":"fixture.kit[0]","value":"/etc/hostname"})",
                           R"({"do":"set","path":"fixture.kit","value":{"a":"/etc/hostname"}})"}) {
    INFO(edit);
    CHECK_FALSE(open(edit));
  }
  std::string why;
  Json nested = 1;
  for (int i = 0; i < 20000; ++i) nested = Json::array({std::move(nested)});
  CHECK_FALSE(edit_of(Json{{"do", "set"}, {"path", "keep_out"}, {"value", nested}}, "job.toml", why));
  CHECK(to_toml(nested).empty());
  CHECK(to_toml(Json(std::vector<int>(30000, 1))).empty());
  std::string path = "need";
  for (int i = 0; i < 20000; ++i) path += ".a";
  CHECK_FALSE(edit_of(Json{{"do", "set"}, {"path", path}, {"value", 1}}, "job.toml", why));
}

TEST_CASE("the page remembers so many steps and so much text, and the last step always (by hand)") {
  History history("begin");
  for (int i = 0; i < 10000; ++i) history.add("text " + std::to_string(i));
  CHECK(history.steps_back() == History::kMostTexts);
  CHECK(history.before() == "text 9998");
  const std::string large(History::kMostBytes / 4, 'x');
  for (int i = 0; i < 12; ++i) history.add(large + std::to_string(i));
  CHECK(history.steps_back() <= 4);
  history.add(std::string(2 * History::kMostBytes, 'y'));
  history.add("z");
  CHECK(history.steps_back() == 1);
  CHECK(history.before()[0] == 'y');
  history.undo();
  CHECK_FALSE(history.can_undo());
  history.redo();
  CHECK(history.now() == "z");
}
