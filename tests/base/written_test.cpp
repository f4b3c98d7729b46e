// Text from outside in files and on the terminal.
#include "teasel/written.h"

#include <catch2/catch.hpp>
#include <random>

using namespace teasel;
using namespace std::string_literals;

namespace {
/// A cell as a reader of RFC 4180 sees it.
std::string unquoted(const std::string& cell) {
  if (cell.empty() || cell[0] != '"') return cell;
  std::string out;
  for (std::size_t i = 1; i + 1 < cell.size(); ++i) {
    if (cell[i] == '"') ++i;
    out += cell[i];
  }
  return out;
}
std::string cell(std::string_view text) {
  return Csv::cell(text).text();
}
}  // namespace

TEST_CASE("what a terminal would obey is shown byte by byte (ECMA-48, Unicode 15 Bidi_Control, RFC 3629)") {
  CHECK(visible("plain \xC2\xB5 \xE2\x84\xA6 \xF0\x9F\x98\x80") == "plain \xC2\xB5 \xE2\x84\xA6 \xF0\x9F\x98\x80");
  CHECK(visible("\x1b[31mred") == "\\x1b[31mred");
  CHECK(visible("a\r\nb\tc\x7f\0d"s) == "a\\x0d\\x0ab\\x09c\\x7f\\x00d");
  CHECK(visible("\xC2\x9B"
                "0m") ==
        "\\xc2\\x9b"
        "0m");  // CSI in eight bits
  CHECK(visible("\xE2\x80\xAE"
                "exe") ==
        "\\xe2\\x80\\xae"
        "exe");                                         // right-to-left override
  CHECK(visible("\xE2\x80\xA8") == "\\xe2\\x80\\xa8");  // end of a line
  for (const char* bad : {"\x9B", "\xC0\xAF", "\xE0\x80\xAF", "\xED\xA0\x80", "\xF4\x90\x80\x80", "\xE2\x82"})
    CHECK(visible(bad).find_first_not_of("\\xabcdef0123456789") == std::string::npos);
  CHECK(visible_lines("a\nb\x1b") == "a\nb\\x1b");
  CHECK(visible(visible("\x1b\\x1b")) == visible("\x1b\\x1b"));
  CHECK(first_bytes("a\xC2\xB5", 2) == "a");
  CHECK(visible_json("{\"a\":\"\xC2\x9B\xC2\xB5\"}") == "{\"a\":\"\\u009b\xC2\xB5\"}");
}

TEST_CASE("a TOML text is one value whatever it holds (TOML 1.0.0)") {
  CHECK(Toml::text("a \"b\" \\ c").text() == R"("a \"b\" \\ c")");
  CHECK(Toml::text("x\"\n[[ban]]\nnet = \"*\r\x01").text() == R"("x\"\n[[ban]]\nnet = \"*\u000d\u0001")");
  CHECK(Toml::text("\x9b").text() == R"("\\x9b")");
  CHECK(Toml::comment("a\n[[ban]]").text() == "# a\\x0a[[ban]]");
  CHECK(Toml::keys("inputs.a b").text() == "inputs.\"a b\"");
}

TEST_CASE("a cell that a spreadsheet would run gets an apostrophe; names and numbers stay (by hand)") {
  for (const char* stays : {"+5V", "-12V_A", "-0.25", "1e-05", "+/- 0.02", "NET1", "'A", "a=b", "U1-3", "+3V3;-5V",
                            "\xC2\xB5"
                            "A",
                            "-", "+"})
    CHECK(cell(stays) == stays);
  CHECK(cell("=1+1") == "'=1+1");
  CHECK(cell("@SUM(A1)") == "'@SUM(A1)");
  CHECK(cell("+cmd|' /C calc'!A0") == "'+cmd|' /C calc'!A0");
  CHECK(cell("-2+3+f(1)") == "'-2+3+f(1)");
  CHECK(cell(" =1") == "' =1");
  CHECK(cell("\xEF\xBC\x9D"
             "1") ==
        "'\xEF\xBC\x9D"
        "1");  // the wide form
  CHECK(cell("\t=1") == "\\x09=1");
  CHECK(cell("A;=f()") == "A;'=f()");
  CHECK(cell("a,\"b") == "\"a,\"\"b\"");
  CHECK(cell("=f(1,\"x\")") == "\"'=f(1,\"\"x\"\")\"");
}

TEST_CASE("no two texts give the same cell, and each comes back (random texts, seed 5)") {
  std::mt19937 random(5);
  const std::string letters = "=+-@';\\x0a9 ,\"\n\t\x1b\x80(|A";
  for (int round = 0; round < 20000; ++round) {
    std::string text;
    for (unsigned i = 0; i < random() % 9; ++i) text += letters[random() % letters.size()];
    const std::string written = cell(text);
    INFO(written);
    REQUIRE(Csv::from_cell(unquoted(written)) == text);
    // No piece begins as a formula that does more than letters, digits and these signs can.
    const std::string seen = unquoted(written);
    for (std::size_t at = 0; at != std::string::npos; at = seen.find(';', at)) {
      if (seen[at] == ';') ++at;
      const std::size_t first = seen.find_first_not_of(' ', at);
      const std::string piece = seen.substr(at, seen.find(';', at) - at);
      if (first == std::string::npos || std::string_view("=+-@").find(seen[first]) == std::string_view::npos) continue;
      CHECK(std::string_view("+-").find(seen[first]) != std::string_view::npos);
      CHECK(piece.find_first_of("()|!'\"=@\\,") == std::string::npos);
    }
  }
}

TEST_CASE("markup and machine files take text as text (XML 1.0, DXF Release 12)") {
  CHECK(Xml::text("<script a='1' b=\"2\">&amp;\x1b").text() ==
        "&lt;script a=&#39;1&#39; b=&quot;2&quot;&gt;&amp;amp;\\x1b");
  CHECK(Machine::text("a\n  0\nEOF \xC2\xB5\r").text() == "a\\x0a  0\\x0aEOF ?\\x0d");
}
