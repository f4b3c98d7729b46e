// Who says that a place is a test point of the designer.
#include <catch2/catch.hpp>

#include "teasel/board.h"

using namespace teasel;

TEST_CASE(
    "test points are marked by a file, by the aperture function TestPad and by their designator (Gerber Layer Format "
    "Specification 2023.08, 5.6.10; by hand)") {
  auto line = [](std::string content) { return content + std::string(80 - content.size(), ' ') + "\n"; };
  const std::string text = line("P  UNITS CUST 1") +
                           line("327N1               R1    -1          A01X+005000Y+005000X1000Y1000R000 S1") +
                           line("327N2               R1    -2          A01X+015000Y+005000X1000Y1000R000 S1") +
                           line("327N3               TP1   -1          A01X+005000Y+008000X1000Y1000R000 S1") +
                           line("327N4               C1    -1          A01X+015000Y+008000X1000Y1000R000 S1") +
                           line("389BOARD_EDGE         X0Y0 X20000 Y10000 X0 Y0") + line("999");
  Diagnostics diagnostics;
  Sources sources;
  sources.netlist = formats::read_netlist(text, "n.ipc", std::nullopt, diagnostics);
  REQUIRE(sources.netlist->records.size() == 4);
  sources.netlist->records[1].test_point = true;  // as of an IPC-2581 file
  sources.gerbers.push_back(formats::read_gerber(
      "%FSLAX46Y46*%\n%MOMM*%\n%TF.FileFunction,Copper,L1,Top*%\n%TA.AperFunction,SMDPad,CuDef*%\n%ADD10R,1X1*%\n"
      "%TA.AperFunction,TestPad*%\n%ADD11R,1X1*%\n%TD*%\nD10*\nX5000000Y5000000D03*\nX15000000Y5000000D03*\n"
      "X5000000Y8000000D03*\nD11*\nX15000000Y8000000D03*\nM02*\n",
      "top.gbr", diagnostics));
  Job job;
  job.inputs.netlist_file = "n.ipc";
  job.inputs.gerbers.emplace_back();
  job.inputs.gerbers[0].file = "top.gbr";
  job.inputs.gerbers[0].role = LayerRole::copper_top;
  const Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
  unfold(job, sources, diagnostics);
  const Board board = assemble(job, rules, sources, diagnostics);
  for (const Finding& finding : diagnostics.all()) UNSCOPED_INFO(to_string(finding));
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(board.features.size() == 4);
  CHECK(board.features[FeatureId{0}].mark == TestMark::none);
  CHECK(board.features[FeatureId{1}].mark == TestMark::cad_file);
  CHECK(board.features[FeatureId{2}].mark == TestMark::designator);
  CHECK(board.features[FeatureId{3}].mark == TestMark::attribute);
  CHECK(board.features[FeatureId{2}].kind == FeatureKind::test_pad);
}
