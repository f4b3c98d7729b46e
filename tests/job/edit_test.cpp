// Edits of a job file's text. What TOML allows is checked against TOML 1.0.0 (toml.io): tables, dotted keys, inline
// tables, lists of tables, comments, both line ends.
#include <catch2/catch.hpp>

#include "teasel/job.h"
#include "teasel/job/edit.h"
#include "teasel/written.h"

using namespace teasel;

namespace {
std::string edit(const std::string& text, std::vector<JobEdit> edits) {
  Diagnostics diagnostics;
  auto out = edited_text(text, "job.toml", edits, diagnostics);
  for (const Finding& f : diagnostics.all()) UNSCOPED_INFO(to_string(f));
  REQUIRE(out);
  CHECK_FALSE(diagnostics.failed());
  return *out;
}
std::string refused(const std::string& text, const JobEdit& e) {
  Diagnostics diagnostics;
  CHECK_FALSE(edited_text(text, "job.toml", {e}, diagnostics));
  REQUIRE(diagnostics.failed());
  return diagnostics.all()[0].code;
}
constexpr auto kSet = JobEdit::Kind::set, kRemove = JobEdit::Kind::remove, kAppend = JobEdit::Kind::append;
}  // namespace

TEST_CASE("a path has one plain spelling, and none that no job file needs (TOML 1.0.0, by hand)") {
  CHECK(plain_path("inputs.netlist.\"file\"") == "inputs.netlist.file");
  CHECK(plain_path("\"fixture\".\"kit\"") == "fixture.kit");
  CHECK(plain_path("fixture.most.\"50 mil\"") == "fixture.most.\"50 mil\"");
  CHECK(plain_path("lock[02].net") == "lock[2].net");
  for (const char* none : {"", ".", "a.", "a..b", "a[", "a[x]", "a[-1]", "a b", "\"a", "a[0]b", "a[0][0][0][0][0]"}) {
    INFO(none);
    CHECK_FALSE(plain_path(none));
  }
  std::string deep = "a";
  for (int i = 0; i < 20000; ++i) deep += ".a";
  CHECK_FALSE(plain_path(deep));
  CHECK(refused("schema = 1\n", {kSet, deep, "1"}) == "edit-path");
}

TEST_CASE("a table that goes into a list of plain values ends in a text or in an error (by hand)") {
  for (const auto kind : {JobEdit::Kind::insert, JobEdit::Kind::append})
    for (const char* path :
         {"fixture.classes[0]", "fixture.classes", "fixture.style", "fixture.style[0]", "schema[0]"}) {
      INFO(path);
      Diagnostics diagnostics;
      const auto text = edited_text("schema = 1\n[fixture]\nclasses = [\"a\"]\nstyle = \"x\"\n", "job.toml",
                                    {{kind, path, "{ a = 1 }"}}, diagnostics);
      CHECK(text.has_value() != diagnostics.failed());
    }
  CHECK(refused("[fixture]\nclasses = [\"a\"]\n", {JobEdit::Kind::insert, "fixture.classes[0]", "{ a = 1 }"}) ==
        "edit-not-possible");
}

TEST_CASE("a value is replaced where it stands, and nothing else (TOML 1.0.0, written by hand)") {
  const std::string text =
      "# head\nschema = 1 # one\n\n[fixture]   # shop\n  style =   \"vacuum\"  # kept\nclasses = [\n  \"100 mil\", # "
      "big\n  \"75 mil\"\n]\n";
  CHECK(edit(text, {{kSet, "fixture.style", "\"moving-plate\""}}) ==
        "# head\nschema = 1 # one\n\n[fixture]   # shop\n  style =   \"moving-plate\"  # kept\nclasses = [\n  \"100 "
        "mil\", # big\n  \"75 mil\"\n]\n");
  CHECK(edit(text, {{kSet, "fixture.classes", "[\"50 mil\"]"}}) ==
        "# head\nschema = 1 # one\n\n[fixture]   # shop\n  style =   \"vacuum\"  # kept\nclasses = [\"50 mil\"]\n");
  CHECK(edit(text, {{kSet, "fixture.classes[1]", "\"50 mil\""}}).find("\"100 mil\", # big\n  \"50 mil\"\n]") !=
        std::string::npos);
}

TEST_CASE("a new key goes to its table's end, a new table to the file's (TOML 1.0.0, written by hand)") {
  CHECK(edit("[fixture]\nstyle = \"a\" # why\n\n# next\n[plan]\nseed = 1\n", {{kSet, "fixture.sides", "\"both\""}}) ==
        "[fixture]\nstyle = \"a\" # why\nsides = \"both\"\n\n# next\n[plan]\nseed = 1\n");
  CHECK(edit("[fixture]\n[plan]\nseed = 1", {{kSet, "fixture.sides", "\"both\""}}) ==
        "[fixture]\nsides = \"both\"\n[plan]\nseed = 1");
  CHECK(edit("[plan]\nseed = 1", {{kSet, "plan.proof", "true"}}) == "[plan]\nseed = 1\nproof = true\n");
  CHECK(edit("schema = 1", {{kSet, "fixture.style", "\"a\""}}) == "schema = 1\n\n[fixture]\nstyle = \"a\"\n");
  CHECK(edit("", {{kSet, "fixture.most.\"50 mil\"", "20"}}) == "[fixture]\nmost.\"50 mil\" = 20\n");
  // A table that only one below it makes gets its own head; one made by dotted keys does not.
  CHECK(edit("[rule_changes.limits]\nweb = \"1 mm\"\n", {{kSet, "rule_changes.cost.unmet", "1.0"}}) ==
        "[rule_changes.limits]\nweb = \"1 mm\"\n\n[rule_changes]\ncost.unmet = 1.0\n");
  CHECK(edit("fixture.style = \"a\"\n[plan]\nseed = 2\n", {{kSet, "fixture.sides", "\"top\""}}) ==
        "fixture.style = \"a\"\nfixture.sides = \"top\"\n[plan]\nseed = 2\n");
  CHECK(
      edit("[rule_changes]\nrule.slot.least = \"1 mm\"\n", {{kSet, "rule_changes.rule.slot.preferred", "\"2 mm\""}}) ==
      "[rule_changes]\nrule.slot.least = \"1 mm\"\nrule.slot.preferred = \"2 mm\"\n");
  CHECK(edit("[fixture]\nmost = { \"50 mil\" = 2 }\n", {{kSet, "fixture.most.\"75 mil\"", "3"}}) ==
        "[fixture]\nmost = { \"50 mil\" = 2, \"75 mil\" = 3 }\n");
}

TEST_CASE("lists of tables: one more, one less, in both ways of writing (TOML 1.0.0, written by hand)") {
  const std::string text =
      "schema = 1\n\n# why A\n[[lock]]\nnet = \"A\"\ntarget = \"TP1\"\n\n[[lock]]\nnet = \"B\"\ntarget = "
      "\"TP2\"\n\n[plan]\nseed = 1\n";
  CHECK(edit(text, {{kAppend, "lock", "{ net = \"C\", target = \"TP3\", side = \"top\" }"}}) ==
        "schema = 1\n\n# why A\n[[lock]]\nnet = \"A\"\ntarget = \"TP1\"\n\n[[lock]]\nnet = \"B\"\ntarget = "
        "\"TP2\"\n\n[[lock]]\nnet = \"C\"\ntarget = \"TP3\"\nside = \"top\"\n\n[plan]\nseed = 1\n");
  CHECK(edit(text, {{kRemove, "lock[1]", {}}}) ==
        "schema = 1\n\n# why A\n[[lock]]\nnet = \"A\"\ntarget = \"TP1\"\n\n[plan]\nseed = 1\n");
  CHECK(edit(text, {{kSet, "lock[1].target", "\"TP9\""}}).find("net = \"B\"\ntarget = \"TP9\"\n") != std::string::npos);
  CHECK(edit(text, {{kSet, "lock[0].class", "\"50 mil\""}}).find("target = \"TP1\"\nclass = \"50 mil\"\n\n[[lock]]") !=
        std::string::npos);
  CHECK(edit(text, {{kRemove, "lock[1].target", {}}}).find("net = \"B\"\n\n[plan]") != std::string::npos);
  CHECK(edit("lock = [ { net = \"A\", target = \"T\" } ]\n", {{kAppend, "lock", "{ net = \"B\", target = \"U\" }"}}) ==
        "lock = [ { net = \"A\", target = \"T\" }, { net = \"B\", target = \"U\" } ]\n");
  CHECK(edit("lock = [ { net = \"A\" }, { net = \"B\" } ]\n", {{kRemove, "lock[0]", {}}}) ==
        "lock = [ { net = \"B\" } ]\n");
  CHECK(edit("lock = [ { net = \"A\" }, { net = \"B\" } ]\n", {{kRemove, "lock[1]", {}}}) ==
        "lock = [ { net = \"A\" } ]\n");
  CHECK(edit("schema = 1\n", {{kAppend, "ban", "{ target = \"R1-1\" }"}, {kRemove, "ban[0]", {}}}) == "schema = 1\n");
  const std::string before = edit(text, {{JobEdit::Kind::insert, "lock[0]", "{ net = \"C\", target = \"TP3\" }"}});
  CHECK(before.rfind("schema = 1\n\n[[lock]]\nnet = \"C\"\ntarget = \"TP3\"\n\n# why A\n[[lock]]\nnet = \"A\"", 0) ==
        0);
  CHECK(edit("schema = 1\n", {{JobEdit::Kind::insert, "need[0]", "{ nets = \"A\" }"}}) ==
        "schema = 1\n\n[[need]]\nnets = \"A\"\n");
  CHECK(edit("need = [ { nets = \"*\" } ]\n", {{JobEdit::Kind::insert, "need[0]", "{ nets = \"A\" }"}}) ==
        "need = [ { nets = \"A\" }, { nets = \"*\" } ]\n");
  CHECK(refused(text, {JobEdit::Kind::insert, "lock[7]", "{ net = \"C\" }"}) == "edit-not-possible");
  // A block with tables below it goes whole.
  CHECK(edit("[[interface]]\nkind = \"UART\"\n[interface.lines]\nTX = \"A\"\n\n[plan]\nseed = 1\n",
             {{kRemove, "interface[0]", {}}}) == "[plan]\nseed = 1\n");
}

TEST_CASE("line ends, letters beyond ASCII and odd texts stay as they are (TOML 1.0.0, written by hand)") {
  CHECK(edit("[plan]\r\nseed = 1\r\n", {{kSet, "plan.proof", "true"}}) == "[plan]\r\nseed = 1\r\nproof = true\r\n");
  CHECK(edit("[board]\nname = \"\xC3\xA9t\xC3\xA9\" # \xE2\x82\xAC\nrevision = \"B\"\n",
             {{kSet, "board.name", "\"x\""}}) == "[board]\nname = \"x\" # \xE2\x82\xAC\nrevision = \"B\"\n");
  CHECK(edit("\xEF\xBB\xBF[plan]\nseed = 1\n", {{kSet, "plan.seed", "2"}}) == "\xEF\xBB\xBF[plan]\nseed = 2\n");
  const std::string odd = "a \"quoted\" [[lock]]\n# not a comment\\";
  const std::string text = edit("note = \"\"\"\n[[lock]]\nnet = 'no'\n\"\"\"\n",
                                {{kAppend, "lock", "{ net = " + Toml::text(odd).text() + " }"}});
  CHECK(text.rfind("note = \"\"\"\n[[lock]]\nnet = 'no'\n\"\"\"\n\n[[lock]]\n", 0) == 0);
  Diagnostics diagnostics;
  CHECK(read_job(text, "job.toml", diagnostics).decisions.locks.at(0).net == odd);
}

TEST_CASE("letters beyond ASCII outside of quotes are refused, each with its line (TOML 1.0.0: bare keys are ASCII)") {
  for (const std::string text : {"\xEF\xB3\xBF be~ = 1\n", "v = \"\"\"a \\\n \xEF\xBB\xBF b\"\"\"\n",
                                 "ok = 1\n\xC3\xA4 = 2\n", "v = \xE4\xB8\xAD\n"}) {
    Diagnostics diagnostics;
    read_job(text, "j.toml", diagnostics);
    REQUIRE(diagnostics.failed());
    CHECK(diagnostics.all()[0].code == "job-syntax");
    CHECK(diagnostics.all()[0].message.find("not ASCII") != std::string::npos);
    CHECK(diagnostics.all()[0].place.line == (text[0] == 'o' ? 2u : 1u));
    CHECK(toml_as_json(text).empty());
  }
  // In texts and comments they may stand, and a mark of byte order before all.
  CHECK(toml_as_json("\xEF\xBB\xBFname = \"\xC3\xA4\"  # \xC3\xB6\n\"\xC3\xBC\" = '\xE4\xB8\xAD'\n").find("name") !=
        std::string::npos);
}

TEST_CASE("a job file is shown as JSON, and a torn one as nothing (TOML 1.0.0)") {
  CHECK(toml_as_json("a = [ \"x\", 1 ]\nb.c = true\n").find("\"c\" : true") != std::string::npos);
  CHECK(toml_as_json("a = [").empty());
}

TEST_CASE("what cannot be done in place is refused (constructed faults)") {
  CHECK(refused("a = 1\n", {kSet, "a b", "1"}) == "edit-path");
  CHECK(refused("a = 1\n", {kSet, "a", "1\nb = 2"}) == "edit-value");
  CHECK(refused("a = 1\n", {kSet, "a", ""}) == "edit-value");
  CHECK(refused("a = 1\n", {kAppend, "lock", "3"}) == "edit-value");
  CHECK(refused("[a]\nb = 1\n", {kSet, "a", "1"}) == "edit-not-possible");
  CHECK(refused("[[lock]]\nnet = \"A\"\n", {kRemove, "lock[1]", {}}) == "edit-not-possible");
  CHECK(refused("a = [1\n", {kSet, "a", "1"}) == "job-syntax");
}

TEST_CASE("edits in any order leave a file that reads as the edits say (round trip beside a list, seed 7)") {
  // The same list of locks kept beside the text; every state is read back.
  unsigned seed = 7;
  auto roll = [&](unsigned n) {
    seed = seed * 1664525u + 1013904223u;
    return (seed >> 8) % n;
  };
  for (const char* start : {"schema = 1\n", "lock = [ ]\nschema = 1\n", "# c\r\nschema = 1\r\n[plan]\r\nseed = 1",
                            "[board]\nname = \"x\"\n[[ban]]\ntarget = \"R*\" # all\n\n\n# end\n"}) {
    std::string text = start;
    std::vector<std::string> nets;
    for (int i = 0; i < 120; ++i) {
      const unsigned what = roll(4);
      if (what < 2 || nets.empty()) {
        nets.push_back("N" + std::to_string(i));
        text = edit(text, {{kAppend, "lock", "{ net = " + Toml::text(nets.back()).text() + ", target = \"T\" }"}});
      } else if (what == 2) {
        const unsigned k = roll(static_cast<unsigned>(nets.size()));
        nets.erase(nets.begin() + k);
        text = edit(text, {{kRemove, "lock[" + std::to_string(k) + "]", {}}});
      } else {
        const unsigned k = roll(static_cast<unsigned>(nets.size()));
        nets[k] = "M" + std::to_string(i);
        text = edit(text, {{kSet, "lock[" + std::to_string(k) + "].net", Toml::text(nets[k]).text()}});
      }
      Diagnostics diagnostics;
      const Job job = read_job(text, "job.toml", diagnostics);
      INFO(text);
      REQUIRE(diagnostics.all().size() == 1);
      REQUIRE(diagnostics.all()[0].code == "job-no-nets");
      std::vector<std::string> read;
      for (const Lock& l : job.decisions.locks) read.push_back(l.net);
      REQUIRE(read == nets);
    }
    while (!nets.empty()) {
      text = edit(text, {{kRemove, "lock[0]", {}}});
      nets.erase(nets.begin());
    }
    if (std::string(start) == "schema = 1\n") CHECK(text == start);
  }
}
