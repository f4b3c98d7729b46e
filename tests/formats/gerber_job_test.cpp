// Facts: the published Gerber job format by its keys, as real writers use them.
#include <catch2/catch.hpp>

#include "teasel/formats/gerber_job.h"

using namespace teasel;
using namespace teasel::formats;

TEST_CASE(
    "a job file gives roles, size, thickness and the number of layers (the published Gerber job format, by "
    "its keys)") {
  const std::string text = R"({"Header": {"CreationDate": "2026-01-01T00:00:00+00:00"},
    "GeneralSpecs": {"ProjectId": {"Name": "x", "Revision": "B"}, "Size": {"X": 95.6, "Y": 65.6},
      "LayerNumber": 4, "BoardThickness": 1.6,
      "Finish": "ENIG", "ViaProtection": "Ia"},
    "FilesAttributes": [{"Path": "x-F_Cu.gbr", "FileFunction": "Copper,L1,Top", "FilePolarity": "Positive"},
                        {"Path": "x-F_Mask.gbr", "FileFunction": "SolderMask,Top", "FilePolarity": "Negative"},
                        {"Path": "x-F_Paste.gbr", "FileFunction": "SolderPaste,Top", "FilePolarity": "Positive"}],
    "MaterialStackup": [{"Type": "SolderMask", "Thickness": 0.01}, {"Type": "Copper", "Thickness": 0.035},
      {"Type": "Dielectric", "Thickness": 1.51}, {"Type": "Copper", "Thickness": 0.035}]})";
  REQUIRE(looks_like_gerber_job(text));
  Diagnostics diagnostics;
  const GerberJob j = read_gerber_job(text, "x.gbrjob", diagnostics);
  CHECK(diagnostics.all().empty());
  CHECK(j.thickness->v == Approx(1.6));
  CHECK(j.size->x == Approx(95.6));
  CHECK(j.copper_layers == 4);
  CHECK(j.revision == "B");
  REQUIRE(j.files.size() == 3);
  CHECK(j.files[1].function == "Soldermask,Top");  // the layer files' spelling
  CHECK(j.files[1].negative);
  CHECK(j.files[2].function == "Paste,Top");
}

TEST_CASE("the early form with TJ attributes, and the form that says Overall (real writers)") {
  Diagnostics diagnostics;
  const std::string early = "G04 job*\n%TF.FileFunction,JobInfo*%\n%TJ.B_LayerNum,2*%\n%TJ.B_Thickness,1.57*%\nM02*\n";
  REQUIRE(looks_like_gerber_job(early));
  const GerberJob a = read_gerber_job(early, "a", diagnostics);
  CHECK(a.copper_layers == 2);
  CHECK(a.thickness->v == Approx(1.57));
  const std::string overall =
      R"({"Header": {}, "Overall": {"BoardThickness": "1.57", "LayerNumber": 2, "Size": {"X": 25, "Y": 32}}})";
  REQUIRE(looks_like_gerber_job(overall));
  const GerberJob b = read_gerber_job(overall, "b", diagnostics);
  CHECK(b.thickness->v == Approx(1.57));
  CHECK(b.size->y == Approx(32));
  CHECK(diagnostics.all().empty());
}

TEST_CASE(
    "paths out of the folder, numbers with their unit, damaged JSON and deep nesting are refused or left out "
    "(constructed faults)") {
  auto code = [](const std::string& text) {
    Diagnostics diagnostics;
    read_gerber_job(text, "j", diagnostics);
    return diagnostics.all().empty() ? std::string() : diagnostics.all()[0].code;
  };
  CHECK(code(R"({"FilesAttributes": [{"Path": "../secret.gbr", "FileFunction": "Copper,L1,Top"}]})") ==
        "gbrjob-bad-path");
  CHECK(code(R"({"FilesAttributes": [{"Path": "/etc/x", "FileFunction": "Copper,L1,Top"}]})") == "gbrjob-bad-path");
  CHECK(code(R"({"GeneralSpecs": {"BoardThickness": "1.6mm"}})") == "gbrjob-bad-number");
  CHECK(code(R"({"GeneralSpecs": {"BoardThickness": 1.6)") == "gbrjob-bad-json");
  CHECK(code("{\"a\": " + std::string(200'000, '[') + std::string(200'000, ']') + "}").empty());
}
