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
  job.inputs.pads_file = "p";
  job.inputs.continuity_file = "c";
  Sources sources;
  Diagnostics diagnostics;
  sources.pads = formats::read_pad_list(
      "pad,side,x_mm,y_mm,width_mm\nG,bottom,0,0,1\nV,bottom,2,0,1\nA,bottom,4,0,1\nB,bottom,6,0,1\nC,bottom,8,0,1\nD,"
      "bottom,10,0,1\nG2,bottom,40,0,1\nG3,bottom,50,0,1\n",
      "p", diagnostics);
  sources.continuity =
      formats::read_continuity("pad_a,pad_b,ohms\nG,G2,0.1\nG,G3,0.1\nG,V,2k\n" + readings, "c", diagnostics);
  Board board;
  add_bench(board, job, sources, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  return guess_interfaces(board, read_interfaces(*shipped("interfaces", "standard"), "interfaces", diagnostics));
}
bool found(const BenchGuess& guess, const std::string& interface) {
  return std::any_of(guess.groups.begin(), guess.groups.end(),
                     [&](const PadGroup& group_found) { return group_found.interface == interface; });
}
Pull pull_of(const BenchGuess& guess, NetId net) {
  for (const auto& line : guess.lines)
    if (line.net == net) return line.pull;
  return Pull::unknown;
}
}  // namespace

TEST_CASE(
    "ground, supply and pulls follow from readings, and a debug port is guessed from them (common practice, "
    "no source)") {
  const BenchGuess made = guess("A,V,47k\nA,G,49k\nB,G,51k\nB,V,53k\nC,V,10k\nC,G,12k\n");
  CHECK(made.ground == NetId{0});
  REQUIRE(made.supplies.size() == 1);
  CHECK(made.supplies[0] == NetId{1});
  CHECK(pull_of(made, NetId{2}) == Pull::up);
  CHECK(pull_of(made, NetId{3}) == Pull::down);
  CHECK(found(made, "two-wire debug"));
  CHECK_FALSE(found(made, "two-wire bus"));
  for (const auto& group_found : made.groups)
    CHECK((group_found.confidence == "fair" || group_found.confidence == "weak"));
  // The last pad was never read against a rail: it is asked for.
  CHECK(
      std::any_of(made.missing.begin(), made.missing.end(), [](const NextReading& next) { return next.pad_a == "D"; }));
}

TEST_CASE(
    "two equal pull-ups look like a two-wire bus, two with two more lines like a 1149.1 port (the bus's open "
    "specification; IEEE Std 1149.1-2013)") {
  CHECK(found(guess("A,V,4k7\nA,G,6k7\nB,V,4k7\nB,G,6k7\n"), "two-wire bus"));
  const BenchGuess port = guess("A,V,10k\nA,G,12k\nB,V,11k\nB,G,13k\nC,G,10k\nC,V,12k\nD,G,OL\nD,V,OL\n");
  CHECK(found(port, "1149.1"));
  CHECK(pull_of(port, NetId{5}) == Pull::none);
}

TEST_CASE("without readings nothing is guessed (law: nothing follows from nothing)") {
  Board board;
  Diagnostics diagnostics;
  CHECK(guess_interfaces(board, read_interfaces(*shipped("interfaces", "standard"), "interfaces", diagnostics))
            .groups.empty());
}
