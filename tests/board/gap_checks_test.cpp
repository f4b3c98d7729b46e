// A few places that a layer file leaves out, by construction.
#include <catch2/catch.hpp>

#include "../../src/board/build.h"

using namespace teasel;

namespace {
std::string layer(const std::vector<Point>& pads) {
  std::string text = "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1.0*%\nD10*\n";
  for (const Point pad : pads)
    text +=
        "X" + std::to_string(std::llround(pad.x * 1e6)) + "Y" + std::to_string(std::llround(pad.y * 1e6)) + "D03*\n";
  return text + "M02*\n";
}
std::vector<Point> row(int count) {
  std::vector<Point> out;
  for (int i = 0; i < count; ++i) out.push_back({3.0 + 3 * i, 5});
  return out;
}
struct Files {
  std::vector<Point> copper = row(20), mask = row(20), paste = row(20);
  FeatureKind kind = FeatureKind::smd_pad;
  std::vector<std::string> found() const {
    Board board;
    board.outline = {{{0, 0}, {70, 0}, {70, 10}, {0, 10}}, {}};
    Component part;
    part.name = PartName("U1");
    const ComponentId id = board.components.add(part);
    for (const Point at : row(20)) {
      Feature feature;
      feature.name = PadName("U1-" + std::to_string(board.features.size() + 1));
      feature.kind = kind;
      feature.at = at;
      feature.component = id;
      feature.land[Side::top] = {.present = true, .width = Mm{1}, .height = Mm{}, .round = true};
      board.features.push_back(feature);
    }
    Diagnostics diagnostics;
    Sources sources;
    for (const auto& [role, pads] :
         {std::pair{LayerRole::copper_top, &copper}, {LayerRole::mask_top, &mask}, {LayerRole::paste_top, &paste}}) {
      sources.gerbers.push_back(formats::read_gerber(layer(*pads), to_string(role), diagnostics));
      GerberInput input;
      input.file = to_string(role);
      input.role = role;
      sources.layers.push_back(input);
    }
    check_gaps_in_files(board, images(sources), diagnostics);
    std::vector<std::string> out;
    for (const Finding& finding : diagnostics.all()) out.push_back(finding.code + ": " + finding.found);
    return out;
  }
};
}  // namespace

TEST_CASE("files that are whole are not spoken of (by construction)") {
  CHECK(Files{}.found().empty());
}

TEST_CASE("a mask that lost two openings, and paste over it (by construction)") {
  Files files;
  files.mask.resize(18);
  const auto found = files.found();
  REQUIRE(found.size() == 2);
  CHECK(found[0] == "check-mask-gaps: U1-19, U1-20");
  CHECK(found[1] == "check-paste-gaps: (57, 5); (60, 5)");
}

TEST_CASE("a few leads under the mask are told, half of them are meant so (by construction)") {
  Files files;
  files.kind = FeatureKind::lead;
  files.paste.clear();
  files.mask.resize(18);
  CHECK(files.found() == std::vector<std::string>{"check-mask-gaps: U1-19, U1-20"});
  files.mask.resize(10);
  CHECK(files.found().empty());
}

TEST_CASE("copper that lost its last land (by construction)") {
  Files files;
  files.copper.resize(19);
  const auto found = files.found();
  REQUIRE(found.size() == 2);
  CHECK(found[0] == "check-paste-gaps: (60, 5)");
  CHECK(found[1] == "check-openings-bare: (60, 5)");
}

TEST_CASE("files of another board are left to the checks of whole files (by construction)") {
  Files files;
  files.mask.resize(10);
  CHECK(files.found().empty());
}
