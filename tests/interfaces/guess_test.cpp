// Guesses from resistances. Sources: IEEE Std 1149.1-2013 (undriven TDI and TMS read as logic 1, so they are pulled
// up); a two-wire bus needs pull-ups on both lines (its open specification); debug clock pulled down, data pulled up:
// common practice, no source.
#include <catch2/catch.hpp>

#include "../../src/board/build.h"
#include "teasel/interfaces.h"

using namespace teasel;

namespace {
BenchGuess guess(const std::string& readings) {
  Job job;
  job.pads_file = "p";
  job.continuity_file = "c";
  Sources s;
  Diagnostics d;
  s.pads = formats::read_pad_list(
      "pad,side,x_mm,y_mm,width_mm\nG,bottom,0,0,1\nV,bottom,2,0,1\nA,bottom,4,0,1\nB,bottom,6,0,1\nC,bottom,8,0,1\nD,"
      "bottom,10,0,1\nG2,bottom,40,0,1\nG3,bottom,50,0,1\n",
      "p", d);
  s.continuity = formats::read_continuity("pad_a,pad_b,ohms\nG,G2,0.1\nG,G3,0.1\nG,V,2k\n" + readings, "c", d);
  Board b;
  add_bench(b, job, s, d);
  REQUIRE_FALSE(d.failed());
  return guess_interfaces(b, read_interfaces(*shipped("interfaces", "standard"), "interfaces", d));
}
bool found(const BenchGuess& g, const std::string& interface) {
  return std::any_of(g.groups.begin(), g.groups.end(), [&](const PadGroup& p) { return p.interface == interface; });
}
Pull pull_of(const BenchGuess& g, int net) {
  for (const auto& l : g.lines)
    if (l.net == net) return l.pull;
  return Pull::unknown;
}
}  // namespace

TEST_CASE(
    "ground, supply and pulls follow from readings, and a debug port is guessed from them (common practice, "
    "no source)") {
  const BenchGuess g = guess("A,V,47k\nA,G,49k\nB,G,51k\nB,V,53k\nC,V,10k\nC,G,12k\n");
  CHECK(g.ground == 0);
  REQUIRE(g.supplies.size() == 1);
  CHECK(g.supplies[0] == 1);
  CHECK(pull_of(g, 2) == Pull::up);
  CHECK(pull_of(g, 3) == Pull::down);
  CHECK(found(g, "two-wire debug"));
  CHECK_FALSE(found(g, "two-wire bus"));
  for (const auto& p : g.groups) CHECK((p.confidence == "fair" || p.confidence == "weak"));
  // The last pad was never read against a rail: it is asked for.
  CHECK(std::any_of(g.missing.begin(), g.missing.end(), [](const NextReading& n) { return n.pad_a == "D"; }));
}

TEST_CASE(
    "two equal pull-ups look like a two-wire bus, two with two more lines like a 1149.1 port (the bus's open "
    "specification; IEEE Std 1149.1-2013)") {
  CHECK(found(guess("A,V,4k7\nA,G,6k7\nB,V,4k7\nB,G,6k7\n"), "two-wire bus"));
  const BenchGuess port = guess("A,V,10k\nA,G,12k\nB,V,11k\nB,G,13k\nC,G,10k\nC,V,12k\nD,G,OL\nD,V,OL\n");
  CHECK(found(port, "1149.1"));
  CHECK(pull_of(port, 5) == Pull::none);
}

TEST_CASE("without readings nothing is guessed (law: nothing follows from nothing)") {
  Board b;
  Diagnostics d;
  CHECK(guess_interfaces(b, read_interfaces(*shipped("interfaces", "standard"), "interfaces", d)).groups.empty());
}
