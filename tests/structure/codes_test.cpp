// The table of finding codes against the sources that raise them. The sources are read as tokens, not compiled.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cctype>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/finding_codes.h"

namespace fs = std::filesystem;
using teasel::finding_code;
using teasel::finding_codes;
using teasel::FindingCode;

namespace {
struct Token {
  std::string text;  ///< of a literal: what stands between its quotes
  bool literal = false;
};

bool is_letter(char c) {
  return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '_';
}

/// Words, signs and string literals of a source, without comments. Literals that the compiler joins are one token.
std::vector<Token> tokens_of(const std::string& source) {
  std::vector<Token> tokens;
  auto literal = [&](const std::string& text) {
    if (!tokens.empty() && tokens.back().literal)
      tokens.back().text += text;
    else
      tokens.push_back({text, true});
  };
  for (std::size_t i = 0; i < source.size();) {
    const char letter = source[i];
    if (source.compare(i, 2, "//") == 0) {
      i = std::min(source.find('\n', i), source.size());
    } else if (source.compare(i, 2, "/*") == 0) {
      i = std::min(source.find("*/", i), source.size() - 2) + 2;
    } else if (source.compare(i, 2, "R\"") == 0 && (i == 0 || !is_letter(source[i - 1]))) {
      const std::size_t open = source.find('(', i);
      const std::string close = ")" + source.substr(i + 2, open - i - 2) + "\"";
      const std::size_t end = source.find(close, open);
      REQUIRE(end != source.npos);
      literal(source.substr(open + 1, end - open - 1));
      i = end + close.size();
    } else if (letter == '"' || letter == '\'') {
      std::size_t end = i + 1;
      while (end < source.size() && source[end] != letter) end += source[end] == '\\' ? 2 : 1;
      REQUIRE(end < source.size());
      if (letter == '"')
        literal(source.substr(i + 1, end - i - 1));
      else
        tokens.push_back({"'", false});
      i = end + 1;
    } else if (is_letter(letter)) {
      // A quote inside a number only groups its digits.
      std::size_t end = i;
      const bool number = std::isdigit(static_cast<unsigned char>(letter)) != 0;
      while (end < source.size() && (is_letter(source[end]) || (number && source[end] == '\''))) ++end;
      tokens.push_back({source.substr(i, end - i), false});
      i = end;
    } else {
      if (!std::isspace(static_cast<unsigned char>(letter))) tokens.push_back({std::string(1, letter), false});
      ++i;
    }
  }
  return tokens;
}

/// Small letters and digits with single dashes between.
bool is_kebab(std::string_view text) {
  if (text.empty() || text.front() == '-' || text.back() == '-' || text.find("--") != text.npos) return false;
  return std::all_of(text.begin(), text.end(), [](char c) {
    return c == '-' || std::islower(static_cast<unsigned char>(c)) || std::isdigit(static_cast<unsigned char>(c));
  });
}

bool is_sign(const std::vector<Token>& tokens, std::size_t at, const char* sign) {
  return at < tokens.size() && !tokens[at].literal && tokens[at].text == sign;
}

/// What a code is raised as, from all places together.
struct Raised {
  std::set<std::string> severities;
  bool complained = false;  ///< at one place at least through complain(), which asks [checks] accept
  std::string first_file;
};
using RaisedCodes = std::map<std::string, Raised>;

/// What raises a finding, and as what. The private helpers of the readers take the code as an argument of its own.
const std::map<std::string, std::string>& severity_of_call() {
  static const std::map<std::string, std::string> severities = {
      {"error", "error"},  {"complain", "error"}, {"fail", "error"},        {"Cells", "error"},    {"cells_", "error"},
      {"warn", "warning"}, {"once", "warning"},   {"warn_once", "warning"}, {"report", "warning"}, {"note", "note"}};
  return severities;
}

/// The codes of every `.code = ...`, also where it is chosen by a condition.
std::vector<std::string> designated_codes(const std::vector<Token>& tokens, std::size_t from, std::size_t to) {
  std::vector<std::string> codes;
  for (std::size_t i = from; i + 3 < to; ++i) {
    if (!is_sign(tokens, i, ".") || !is_sign(tokens, i + 1, "code") || !is_sign(tokens, i + 2, "=")) continue;
    if (is_sign(tokens, i + 3, "=")) continue;  // a comparison
    for (std::size_t k = i + 3; k < to && !is_sign(tokens, k, ",") && !is_sign(tokens, k, "}"); ++k)
      if (tokens[k].literal) codes.push_back(tokens[k].text);
  }
  return codes;
}

/// The argument that is a code: one literal alone, of words with dashes between.
std::vector<std::string> argument_codes(const std::vector<Token>& tokens, std::size_t open, std::size_t close) {
  std::vector<std::string> codes;
  int depth = 0;
  for (std::size_t i = open + 1; i < close; ++i) {
    const std::string& sign = tokens[i].literal ? std::string() : tokens[i].text;
    if (sign == "(" || sign == "{" || sign == "[") ++depth;
    if (sign == ")" || sign == "}" || sign == "]") --depth;
    const bool alone =
        (i == open + 1 || is_sign(tokens, i - 1, ",")) && (i + 1 == close || is_sign(tokens, i + 1, ","));
    if (depth == 0 && alone && tokens[i].literal && is_kebab(tokens[i].text) &&
        tokens[i].text.find('-') != std::string::npos)
      codes.push_back(tokens[i].text);
  }
  return codes;
}

std::size_t closing_bracket(const std::vector<Token>& tokens, std::size_t open) {
  int depth = 0;
  for (std::size_t i = open; i < tokens.size(); ++i) {
    if (is_sign(tokens, i, "(")) ++depth;
    if (is_sign(tokens, i, ")") && --depth == 0) return i;
  }
  return tokens.size();
}

/// Adds what one source raises; returns every `.code = "..."` of it, whoever raises it.
std::vector<std::string> scan(const std::string& source, const std::string& file, RaisedCodes& raised) {
  const std::vector<Token> tokens = tokens_of(source);
  for (std::size_t i = 0; i + 2 < tokens.size(); ++i) {
    const auto call = tokens[i].literal ? severity_of_call().end() : severity_of_call().find(tokens[i].text);
    if (call == severity_of_call().end()) continue;
    const std::size_t open = call->first == "Cells" ? i + 2 : i + 1;  // a variable's name stands between
    if (!is_sign(tokens, open, "(")) continue;
    const std::size_t close = closing_bracket(tokens, open);
    std::vector<std::string> codes = designated_codes(tokens, open, close);
    if (codes.empty()) codes = argument_codes(tokens, open, close);
    for (const std::string& code : codes) {
      Raised& entry = raised[code];
      entry.severities.insert(call->second);
      entry.complained |= call->first == "complain";
      if (entry.first_file.empty()) entry.first_file = file;
    }
  }
  return designated_codes(tokens, 0, tokens.size());
}

struct Scanned {
  RaisedCodes raised;
  std::set<std::string> designated;
  int files = 0;
};

const Scanned& scanned() {
  static const Scanned all = [] {
    Scanned out;
    const fs::path root = fs::path(TEASEL_SOURCE) / "src";
    for (const auto& entry : fs::recursive_directory_iterator(root)) {
      const fs::path& path = entry.path();
      if (!entry.is_regular_file() || (path.extension() != ".cpp" && path.extension() != ".h")) continue;
      if (path.filename() == "finding_codes.cpp") continue;  // the table itself
      std::ifstream in(path);
      std::ostringstream text;
      text << in.rdbuf();
      for (std::string& code : scan(text.str(), fs::relative(path, root).generic_string(), out.raised))
        out.designated.insert(std::move(code));
      ++out.files;
    }
    return out;
  }();
  return all;
}

std::set<std::string> severities_of(const FindingCode& row) {
  std::set<std::string> severities;
  std::istringstream words{std::string(row.severity)};
  for (std::string word; words >> word;)
    if (word != "or") severities.insert(word);
  return severities;
}

/// One sentence or more: a capital letter first, a full stop last, and three words at least.
bool is_sentence(std::string_view text) {
  return !text.empty() && std::isupper(static_cast<unsigned char>(text.front())) && text.back() == '.' &&
         std::count(text.begin(), text.end(), ' ') >= 2 && text.find("  ") == text.npos;
}
}  // namespace

TEST_CASE("the scan finds codes in calls, in helpers and behind conditions, and none in comments (written by hand)") {
  RaisedCodes raised;
  const std::vector<std::string> designated = scan(
      "d.warn({.code = \"one-thing\", .at = at(\"no-code\")}); // .code = \"left-out\"\n"
      "d.error({.code = deep ? \"two-a\" : \"two-b\", .message = \"x\"});\n"
      "complain(job, d, {.code = \"three\"});\n"
      "constexpr int kMost = 12'000; const char quote = '\"';\n"
      "return fail(\"four-\" \"fold\", f(\"not-this\"), line);\n"
      "Cells cells(table, d, \"five-cells\");\n"
      "if (finding.code == \"six-compared\") note(text);\n",
      "sample", raised);
  CHECK(designated == std::vector<std::string>{"one-thing", "two-a", "two-b", "three"});
  std::string text;
  for (const auto& [code, entry] : raised)
    for (const std::string& severity : entry.severities)
      text += code + " " + severity + (entry.complained ? " accepted; " : "; ");
  CHECK(text ==
        "five-cells error; four-fold error; one-thing warning; three error accepted; two-a error; two-b error; ");
}

TEST_CASE("every code that is raised has a row, and every row is raised (the sources)") {
  const Scanned& all = scanned();
  REQUIRE(all.files > 100);
  REQUIRE(all.raised.size() >= 300);
  REQUIRE(all.designated.size() >= 200);
  for (const auto& [code, entry] : all.raised) {
    INFO(code << " in " << entry.first_file);
    CHECK(finding_code(code) != nullptr);
  }
  for (const std::string& code : all.designated) {
    INFO(code);
    CHECK(all.raised.count(code) == 1);
    CHECK(finding_code(code) != nullptr);
  }
  for (const FindingCode& row : finding_codes()) {
    INFO(row.code);
    CHECK(all.raised.count(std::string(row.code)) == 1);
  }
}

TEST_CASE("severity and acceptance in the table are those of the calls (the sources)") {
  const RaisedCodes& raised = scanned().raised;
  REQUIRE(raised.size() >= 300);
  for (const FindingCode& row : finding_codes()) {
    const auto found = raised.find(std::string(row.code));
    if (found == raised.end()) continue;  // told by the test above
    INFO(row.code << " in " << found->second.first_file);
    CHECK(severities_of(row) == found->second.severities);
    CHECK(row.acceptable == found->second.complained);
  }
}

TEST_CASE("rows are in order, and each says in sentences what it means and what to do (DEVELOPERS.md)") {
  const auto rows = finding_codes();
  REQUIRE(rows.size() >= 300);
  CHECK(std::adjacent_find(rows.begin(), rows.end(), [](const FindingCode& one, const FindingCode& next) {
          return one.code >= next.code;
        }) == rows.end());
  for (const FindingCode& row : rows) {
    INFO(row.code);
    CHECK(is_kebab(row.code));
    CHECK(finding_code(row.code) == &row);
    CHECK(is_sentence(row.meaning));
    if (row.severity.find("error") != row.severity.npos) CHECK_FALSE(row.remedy.empty());
    if (!row.remedy.empty()) CHECK(is_sentence(row.remedy));
    if (row.acceptable) CHECK(row.severity.find("error") != row.severity.npos);
  }
  CHECK(finding_code("no-such-code") == nullptr);
  CHECK(finding_code("") == nullptr);
}

namespace {
std::string text_of(const fs::path& path) {
  std::ifstream file(path);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// Whether some source but the one with the table says "prefix::name".
bool is_used(const std::string& qualified, const fs::path& table) {
  for (const auto& entry : fs::recursive_directory_iterator(TEASEL_SOURCE "/src")) {
    if (entry.path().extension() != ".cpp" || entry.path().filename() == table) continue;
    const std::string source = text_of(entry.path());
    for (std::size_t at = source.find(qualified); at != source.npos; at = source.find(qualified, at + 1))
      if (!is_letter(source[at + qualified.size()])) return true;
  }
  return false;
}
}  // namespace

TEST_CASE("every reason and kind of plate hole is made somewhere, not only named (the sources)") {
  const struct {
    const char *header, *head, *prefix, *table;
  } enums[] = {{"access.h", "enum class Reason : std::uint8_t {", "Reason::", "reasons.cpp"},
               {"fixture.h", "enum class Kind : std::uint8_t {", "PlateHole::Kind::", "hole_kinds.cpp"}};
  for (const auto& row : enums) {
    const std::string header = text_of(std::string(TEASEL_SOURCE "/include/teasel/") + row.header);
    const std::size_t head = header.find(row.head);
    REQUIRE(head != header.npos);
    const std::size_t from = head + std::string_view(row.head).size();
    int names = 0;
    for (const Token& token : tokens_of(header.substr(from, header.find('}', from) - from))) {
      if (!is_letter(token.text[0])) continue;
      ++names;
      INFO(row.prefix << token.text);
      CHECK(is_used(row.prefix + token.text, row.table));
    }
    CHECK(names > 5);
  }
}
