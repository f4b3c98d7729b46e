// Files of one release that do not lie on one another, or say something else than the job or the netlist.
#include <catch2/catch.hpp>
#include <random>

#include "../../src/board/build.h"

using namespace teasel;

namespace {
/// Pads of a row of fine pitch and some scattered ones.
std::vector<Point> places() {
  std::mt19937 rng(17);
  std::uniform_real_distribution<double> x(2, 78), y(12, 48);
  std::vector<Point> points;
  for (int i = 0; i < 20; ++i) points.push_back({10 + 0.5 * i, 5});
  for (int i = 0; i < 40; ++i) points.push_back({x(rng), y(rng)});
  return points;
}

std::string count(double mm) {
  return std::to_string(std::llround(mm * 1e6));
}
/// A layer of round pads of 0.3 mm.
std::string layer(const std::vector<Point>& pads, double diameter = 0.3, const std::string& head = {}) {
  std::string text = "%FSLAX46Y46*%\n%MOMM*%\n" + head + "%ADD10C," + std::to_string(diameter) + "*%\nD10*\n";
  for (const Point pad : pads) text += "X" + count(pad.x) + "Y" + count(pad.y) + "D03*\n";
  return text + "M02*\n";
}
std::vector<Point> moved(std::vector<Point> points, Point shift, double scale = 1) {
  for (Point& point : points) point = scale * point + shift;
  return points;
}

/// A release of one side with its netlist, holes, and what is found in it.
struct Release {
  Board board;
  Job job;
  Sources sources;
  Diagnostics diagnostics;

  void pads(const std::vector<Point>& points, double width = 0.3) {
    for (const Point point : points) {
      Feature feature;
      feature.name = PadName("P" + std::to_string(board.features.size()));
      feature.kind = FeatureKind::smd_pad;
      feature.at = point;
      feature.land[Side::top] = {.present = true, .width = Mm{width}, .height = Mm{}, .round = true};
      board.features.push_back(feature);
    }
  }
  void add(const std::string& file, LayerRole role, const std::string& text) {
    sources.gerbers.push_back(formats::read_gerber(text, file, diagnostics));
    GerberInput input;
    input.file = file;
    input.role = role;
    sources.layers.push_back(input);
    job.inputs.gerbers.push_back(input);
  }
  void hole(Point at, double diameter, double listed) {
    sources.netlist.emplace();
    sources.drills.resize(1);
    BoardHole drilled;
    drilled.at = drilled.end = at;
    drilled.diameter = Mm{diameter};
    drilled.plating = formats::Plating::unplated;
    board.holes.push_back(drilled);
    Feature feature;
    feature.kind = FeatureKind::unplated_hole;
    feature.netlist_hole = Mm{listed};
    feature.at = at;
    board.features.push_back(feature);
  }
  std::string found(const std::string& code) {
    const Layers layers = images(sources);
    check_layers_lie_together(board, layers, job, diagnostics);
    check_statements(board, layers, job, sources, diagnostics);
    for (const Finding& finding : diagnostics.all())
      if (finding.code == code) return finding.message + ": " + finding.found;
    return {};
  }
  std::size_t findings() {
    found("");
    return diagnostics.all().size();
  }
};
bool holds(const std::string& text, const char* part) {
  INFO(text);
  return text.find(part) != text.npos;
}
}  // namespace

TEST_CASE("layers that lie on one another are not spoken of (by construction)") {
  Release release;
  release.pads(places());
  release.add("cu", LayerRole::copper_top, layer(places()));
  release.add("mask", LayerRole::mask_top, layer(places(), 0.4));
  CHECK(release.findings() == 0);
}

TEST_CASE("a mask that is shifted by 0.2 mm, or stretched by 1.005, is told with its measure (by construction)") {
  for (const Point shift : {Point{0.2, 0}, Point{-0.1, 0.15}}) {
    Release release;
    release.add("cu", LayerRole::copper_top, layer(places()));
    release.add("mask", LayerRole::mask_top, layer(moved(places(), shift), 0.4));
    const std::string text = release.found("check-mask-shifted");
    CHECK(holds(text, ("shifted by (" + short_number(shift.x, 3) + ", " + short_number(shift.y, 3) + ") mm").c_str()));
    CHECK(release.diagnostics.failed());
  }
  Release release;
  release.add("cu", LayerRole::copper_top, layer(places()));
  release.add("mask", LayerRole::mask_top, layer(moved(places(), {}, 1.005), 0.4));
  CHECK(holds(release.found("check-mask-shifted"), "stretched by a factor of 1.005"));
}

TEST_CASE("copper that is shifted by 0.2 mm against the netlist is told, and may be accepted (by construction)") {
  for (const bool accepted : {false, true}) {
    Release release;
    release.pads(places());
    release.add("cu", LayerRole::copper_top, layer(moved(places(), {0, 0.2})));
    if (accepted) release.job.inputs.accept = {"check-copper-shifted"};
    CHECK(holds(release.found("check-copper-shifted"), "shifted by (0, 0.2) mm"));
    CHECK(release.diagnostics.failed() != accepted);
  }
}

TEST_CASE("a layer of other pads is not called shifted (by construction, another seed)") {
  Release release;
  std::mt19937 rng(5);
  std::uniform_real_distribution<double> at(2, 78);
  std::vector<Point> other;
  for (int i = 0; i < 60; ++i) other.push_back({at(rng), at(rng)});
  release.add("cu", LayerRole::copper_top, layer(places()));
  release.add("mask", LayerRole::mask_top, layer(other, 0.4));
  CHECK(release.found("check-mask-shifted").empty());
}

TEST_CASE("a role that the file itself denies is an error, a drawing is anybody's (Gerber format, .FileFunction)") {
  Release release;
  release.add("mask", LayerRole::paste_top, layer(places(), 0.4, "%TF.FileFunction,Soldermask,Top*%\n"));
  release.add("paste", LayerRole::drawing, layer(places(), 0.4, "%TF.FileFunction,Paste,Top*%\n"));
  release.add("cu", LayerRole::copper_inner, layer(places(), 0.4, "%TF.FileFunction,Copper,L2,Inr*%\n"));
  CHECK(holds(release.found("check-role-stated"), "Soldermask,Top, and role = \"paste top\""));
  CHECK(release.diagnostics.errors() == 1);
}

TEST_CASE("copper files of the two sides exchanged are told by the lands (by construction)") {
  Release release;
  release.pads(places());
  release.add("one", LayerRole::copper_top, layer(moved(places(), {3.3, 7.1})));
  release.add("two", LayerRole::copper_bottom, layer(places()));
  CHECK(holds(release.found("check-sides-exchanged"), "100.0 % on lands of the other"));
}

TEST_CASE("large holes count one by one: shifted, and drilled with another tool (by construction)") {
  Release shifted;
  shifted.pads(places());
  shifted.hole({5, 5}, 3.2, 3.2);
  shifted.hole({75, 45}, 3.2, 3.2);
  CHECK(shifted.found("check-large-holes").empty());
  for (BoardHole& hole : shifted.board.holes.rows()) hole.at.x = hole.end.x += 0.5;
  CHECK(holds(shifted.found("check-large-holes"), "2 are not drilled there: 3.2 mm at (5, 5)"));
  CHECK(shifted.diagnostics.failed());
  Release smaller;
  smaller.hole({5, 5}, 2.56, 3.2);
  smaller.hole({75, 45}, 3.2, 3.2);
  CHECK(holds(smaller.found("check-large-holes"), "3.2 mm at (5, 5) is drilled with 2.56 mm"));
  CHECK_FALSE(smaller.diagnostics.failed());
}

TEST_CASE("a hole of 25.4 times its size takes lands away (by construction)") {
  Release release;
  release.pads(places());
  release.hole({14.5, 8}, 38.1, 1.5);
  CHECK(holds(release.found("check-hole-over-lands"), "takes away P"));
}

TEST_CASE("a land wider than the hole beside its middle is the hole's own (by construction)") {
  Release release;
  release.pads({{10, 10}}, 1.5);
  release.hole({10.4, 10}, 1.02, 1.02);
  CHECK(release.found("check-hole-over-lands").empty());
}

TEST_CASE("an aperture of twice the size is told where the netlist states sizes (by construction)") {
  Release release;
  release.pads(places());
  release.add("cu", LayerRole::copper_top, layer(places(), 0.6));
  CHECK(holds(release.found("check-land-sizes"), "0.3 mm in the netlist, 0.6 mm drawn by D10"));
}

TEST_CASE("holes of the netlist that no file drills are counted (by construction)") {
  Release release;
  for (int i = 0; i < 10; ++i) release.hole({5.0 * i, 5}, 0.3, 0.3);
  CHECK(release.found("check-holes-undrilled").empty());
  release.board.holes.rows().resize(6);
  CHECK(holds(release.found("check-holes-undrilled"), "4 are drilled by no file: 0.3 mm at (30, 5)"));
}

TEST_CASE("a mask that is flooded is told (by construction: one opening over the whole face)") {
  Release release;
  release.add("cu", LayerRole::copper_top, layer(places()));
  std::string flooded = layer(places(), 0.4);
  flooded.insert(flooded.find("M02"),
                 "G36*\nX0Y0D02*\nG01*\nX80000000Y0D01*\nX80000000Y50000000D01*\nX0Y50000000D01*\n"
                 "X0Y0D01*\nG37*\n");
  release.add("mask", LayerRole::mask_top, flooded);
  CHECK(holds(release.found("check-mask-bare"), "leaves 100.0 % of the top face bare"));
}

namespace {
/// A board of 60 x 40 mm whose pour keeps `clear` mm from the edges, and an outline moved by `shift`.
struct Poured {
  Release release;
  Poured(Point shift, double clear, double clear_right) {
    const Box pour{clear, clear, 60 - clear_right, 40 - clear};
    auto at = [](Point p) { return "X" + count(p.x) + "Y" + count(p.y); };
    std::string text = layer(places());
    text.insert(text.find("M02"), "G36*\n" + at({pour.x0, pour.y0}) + "D02*\nG01*\n" + at({pour.x1, pour.y0}) +
                                      "D01*\n" + at({pour.x1, pour.y1}) + "D01*\n" + at({pour.x0, pour.y1}) + "D01*\n" +
                                      at({pour.x0, pour.y0}) + "D01*\nG37*\n");
    release.add("cu", LayerRole::copper_top, text);
    release.board.outline.outer = {shift, shift + Point{60, 0}, shift + Point{60, 40}, shift + Point{0, 40}};
  }
  std::string found() {
    check_edge_fit(release.board, images(release.sources), release.job, release.diagnostics);
    return release.diagnostics.all().empty() ? std::string() : release.diagnostics.all()[0].found;
  }
};
}  // namespace

TEST_CASE("an outline that is shifted against a pour is told with its shift, and one that is not, is not (by hand)") {
  CHECK(Poured({}, 0.5, 0.5).found().empty());
  // The outline moves by (0.2, -0.1): moved back, the pour keeps 0.5 mm on all sides.
  CHECK(holds(Poured({0.2, -0.1}, 0.5, 0.5).found(), "moved by (-0.2, 0.1) mm would leave 0.5 mm on all sides"));
  // A pour that keeps 1 mm from a connector's edge alone is no shift.
  CHECK(Poured({}, 0.5, 1.0).found().empty());
}

TEST_CASE("a netlist's A16 for the bottom does not make a board of sixteen layers (Gerber format, .FileFunction)") {
  auto layers_of = [](const std::string& head, bool inner, int code) {
    Release release;
    release.add("top", LayerRole::copper_top, layer(places()));
    release.add("bottom", LayerRole::copper_bottom, layer(places(), 0.3, head));
    if (inner) release.add("inner", LayerRole::copper_inner, layer(places()));
    release.board.copper_layers = code;
    settle_copper_layers(release.board, release.sources);
    return release.board.copper_layers;
  };
  CHECK(layers_of("%TF.FileFunction,Copper,L2,Bot*%\n", false, 16) == 2);
  CHECK(layers_of("%TF.FileFunction,Copper,L6,Bot*%\n", true, 16) == 6);
  CHECK(layers_of("", false, 16) == 2);
  CHECK(layers_of("", true, 16) == 16);
  CHECK(layers_of("", false, 4) == 4);
}

TEST_CASE("a mask or copper whose apertures were changed shows in the margins of the openings (by construction)") {
  auto margins = [](double land, double opening) {
    Release release;
    release.add("cu", LayerRole::copper_top, layer(places(), land));
    release.add("mask", LayerRole::mask_top, layer(places(), opening));
    return release.found("check-mask-margins");
  };
  CHECK(margins(0.3, 0.4).empty());
  CHECK(margins(0.6, 0.6).empty());
  CHECK(holds(margins(0.6, 1.4), "far larger than their lands"));
  CHECK(holds(margins(0.6, 1.4), "by 0.8 mm or more"));
  CHECK(holds(margins(0.8, 0.4), "smaller than their lands"));
}

TEST_CASE("an inner layer that is shifted against the holes is told with its shift (by construction)") {
  for (const double shift : {0.0, 0.2}) {
    Release release;
    for (const Point place : places()) {
      BoardHole hole;
      hole.at = hole.end = place;
      hole.diameter = Mm{0.2};
      hole.plating = formats::Plating::plated;
      release.board.holes.push_back(hole);
    }
    release.add("inner", LayerRole::copper_inner, layer(moved(places(), {shift, 0})));
    check_inner_layers(release.board, release.job, release.sources, release.diagnostics);
    CHECK(release.diagnostics.failed() == (shift > 0));
    if (shift > 0) CHECK(holds(release.diagnostics.all()[0].found, "shifted by (0.2, 0) mm"));
  }
}
