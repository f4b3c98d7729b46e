// Releases without a netlist: what file names, placements and lands tell. Names of layer files by common practice, no
// source.
#include <catch2/catch.hpp>
#include <random>

#include "../../src/board/build.h"
#include "../../src/board/recogniser.h"

using namespace teasel;

namespace {
struct Bare {
  Board board;
  Sources sources;
  Diagnostics diagnostics;
  Bare() {
    sources.placements.resize(1);
    sources.placements[0].has_unit = true;
  }
  FeatureId land(Point at, double width, double height, Side side, double hole = 0) {
    Feature feature;
    feature.kind = hole > 0 ? FeatureKind::lead : FeatureKind::smd_pad;
    feature.at = at;
    feature.hole = Mm{hole};
    feature.land[side] = {.present = true, .width = Mm{width}, .height = Mm{height}, .rotation = {}, .round = false};
    if (hole > 0) feature.land[other(side)] = feature.land[side];
    return board.features.add(feature);
  }
  void part(const char* name, Point at, Side side) {
    formats::PlacementRow row;
    row.component = name;
    row.x = at.x;
    row.y = at.y;
    row.side = side;
    sources.placements[0].rows.push_back(row);
  }
  std::string owner(FeatureId land) {
    const ComponentId component = board.features[land].component;
    return component ? board.components[component].name.text() : "";
  }
  bool told(const char* code) {
    return std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                       [&](const Finding& finding) { return finding.code == code; });
  }
};
}  // namespace

TEST_CASE(
    "a land belongs to the nearest part about whose centre it has a twin of its own size, on the part's side "
    "(by hand)") {
  Bare bare;
  const FeatureId chip[] = {bare.land({9.2, 10}, 0.8, 1.0, Side::top), bare.land({10.8, 10}, 0.8, 1.0, Side::top)};
  const FeatureId below[] = {bare.land({9.2, 10}, 0.8, 1.0, Side::bottom),
                             bare.land({10.8, 10}, 0.8, 1.0, Side::bottom)};
  const FeatureId pins[] = {
      bare.land({18, 18}, 1.6, 1.6, Side::bottom, 0.9), bare.land({22, 18}, 1.6, 1.6, Side::bottom, 0.9),
      bare.land({18, 22}, 1.6, 1.6, Side::bottom, 0.9), bare.land({22, 22}, 1.6, 1.6, Side::bottom, 0.9)};
  const FeatureId under = bare.land({20, 20}, 3, 3, Side::top);  // the pad under a package, with no twin but itself
  const FeatureId odd[] = {bare.land({29, 10}, 0.8, 1.0, Side::top),
                           bare.land({31, 10}, 0.8, 2.0, Side::top)};  // alike in place, not in size
  const FeatureId alone = bare.land({40, 40}, 1, 1, Side::top);
  bare.part("R1", {10, 10}, Side::top);
  bare.part("R2", {10, 10}, Side::bottom);
  bare.part("U1", {20, 20}, Side::top);
  bare.part("D1", {30, 10}, Side::top);
  bare.part("FAR", {60, 60}, Side::top);
  match_parts(bare.board, {}, bare.sources, bare.diagnostics);
  for (const FeatureId land : chip) CHECK(bare.owner(land) == "R1");
  for (const FeatureId land : below) CHECK(bare.owner(land) == "R2");
  for (const FeatureId land : pins) CHECK(bare.owner(land) == "U1");  // leads are on both sides
  CHECK(bare.owner(under) == "U1");
  for (const FeatureId land : odd) CHECK(bare.owner(land).empty());
  CHECK(bare.owner(alone).empty());
  CHECK(bare.told("parts-matched"));
  CHECK(bare.told("parts-without-lands"));  // two of five
}

TEST_CASE(
    "rows that are pins of one connector make one part with pins; without any placement the board's bodies "
    "are unknown, and that is said (by hand)") {
  Bare bare;
  std::vector<FeatureId> lands;
  for (int i = 0; i < 4; ++i) {
    lands.push_back(bare.land({10 + 2.54 * i, 5}, 1.6, 1.6, Side::bottom, 1.0));
    bare.part(("J2_" + std::to_string(i + 1)).c_str(), {10 + 2.54 * i, 5}, Side::top);
  }
  match_parts(bare.board, {}, bare.sources, bare.diagnostics);
  REQUIRE(bare.board.components.size() == 1);
  for (std::size_t i = 0; i < lands.size(); ++i) {
    CHECK(bare.owner(lands[i]) == "J2");
    CHECK(bare.board.features[lands[i]].pin == std::to_string(i + 1));
  }
  Bare none;
  none.land({5, 5}, 1, 1, Side::top);
  match_parts(none.board, {}, none.sources, none.diagnostics);
  CHECK(none.told("board-no-components"));
}

TEST_CASE("unit and shift of a placement table are found back from lands without names (constructed, seed 4)") {
  std::mt19937 rng(4);
  std::uniform_real_distribution<double> x(0, 80), y(0, 50);
  PerSide<Lands> lands;
  std::vector<Point> parts;
  for (int i = 0; i < 60; ++i) {
    const Point p{x(rng), y(rng)};
    parts.push_back(p);
    const double half = 0.5 + 0.05 * (i % 7);
    for (const double way : {-half, half}) {
      Lands& list = lands[i % 3 == 0 ? Side::bottom : Side::top];
      list.at.push_back(p + Point{way, 0});
      list.size.push_back({0.6 + 0.02 * (i % 7), 0.9});
    }
  }
  for (const auto& [unit, k] : {std::pair{"mm", 1.0}, {"inch", 25.4}, {"mil", 0.0254}})
    for (const Point shift : {Point{}, Point{31.25, -7.5}}) {
      formats::Placement table;
      for (std::size_t i = 0; i < parts.size(); ++i) {
        formats::PlacementRow row;
        row.component = "C" + std::to_string(i);
        row.x = (parts[i].x - shift.x) / k;
        row.y = (parts[i].y - shift.y) / k;
        table.rows.push_back(row);
      }
      const PlacementFit fit = fit_placement(table, lands);
      INFO(unit << " " << shift.x);
      CHECK(fit.unit == unit);
      CHECK(fit.scale == k);
      CHECK(fit.share == Approx(1));
      CHECK(fit.shift.x == Approx(shift.x).margin(0.01));
      CHECK(fit.shift.y == Approx(shift.y).margin(0.01));
    }
}

TEST_CASE(
    "layer files by their names: usual words and endings, and no guess where they say nothing (common practice, no "
    "source)") {
  using R = LayerRole;
  const std::pair<const char*, R> known[] = {{"out/Unit.GTL", R::copper_top},
                                             {"unit.gbl", R::copper_bottom},
                                             {"unit.gts", R::mask_top},
                                             {"unit.gbs", R::mask_bottom},
                                             {"unit.gtp", R::paste_top},
                                             {"unit.gto", R::silk_top},
                                             {"unit.gko", R::outline},
                                             {"unit-F_Cu.gbr", R::copper_top},
                                             {"unit-B.Cu.gbr", R::copper_bottom},
                                             {"unit-F_Mask.gbr", R::mask_top},
                                             {"unit-B_Paste.gbr", R::paste_bottom},
                                             {"unit-Edge_Cuts.gbr", R::outline},
                                             {"top.art", R::copper_top},
                                             {"bottom.art", R::copper_bottom},
                                             {"smt.art", R::mask_top},
                                             {"smb.art", R::mask_bottom},
                                             {"spt.art", R::paste_top},
                                             {"soldermask_top.art", R::mask_top},
                                             {"paste-bottom.ger", R::paste_bottom},
                                             {"layer_3.ger", R::copper_inner},
                                             {"unit-In1_Cu.gbr", R::copper_inner},
                                             {"silk_top.ger", R::silk_top},
                                             {"assembly_bottom.ger", R::drawing},
                                             {"board_outline.ger", R::outline},
                                             {"etch_top.ger", R::copper_top}};
  auto role = [](const std::string& name) -> std::optional<R> {
    const FolderFile file{name, ""};
    Recognised entry;
    entry.file = &file;
    return role_by_name(entry) ? entry.role : std::nullopt;
  };
  for (const auto& [name, wanted] : known) {
    INFO(name);
    REQUIRE(role(name));
    CHECK(std::string(to_string(*role(name))) == to_string(wanted));
  }
  for (const char* name : {"readme.gbr", "art01.pho", "copper.gbr", "top_bottom_cu.gbr"}) {
    INFO(name);
    CHECK_FALSE(role(name));
  }
}

TEST_CASE(
    "layer files by what they say of themselves: the attribute (Gerber Layer Format Specification 2023.08, 5.6.3), and "
    "lists of plotted classes (common practice, no source)") {
  using R = LayerRole;
  auto by = [](const std::string& text) {
    Recognised entry;
    Diagnostics diagnostics;
    entry.gerber = formats::read_gerber(text + "%FSLAX46Y46*%\n%MOMM*%\nM02*\n", "l.gbr", diagnostics);
    if (!role_by_attribute(entry) && !role_by_comments(entry)) return std::string("nothing");
    return std::string(to_string(entry.role.value()));
  };
  for (const auto& [value, role] : {std::pair{"Copper,L1,Top", R::copper_top},
                                    {"Copper,L4,Bot", R::copper_bottom},
                                    {"Copper,L2,Inr", R::copper_inner},
                                    {"Soldermask,Top", R::mask_top},
                                    {"Paste,Bot", R::paste_bottom},
                                    {"Legend,Top", R::silk_top},
                                    {"Profile,NP", R::outline},
                                    {"Drillmap", R::drawing},
                                    {"Glue,Top", R::ignore}}) {
    INFO(value);
    CHECK(by(std::string("%TF.FileFunction,") + value + "*%\n") == to_string(role));
  }
  for (const auto& [list, role] : {std::pair{"PIN/SOLDERMASK_TOP", R::mask_top},
                                   {"ETCH/TOP", R::copper_top},
                                   {"ETCH/LYR3", R::copper_inner},
                                   {"PIN/PASTEMASK_BOTTOM", R::paste_bottom},
                                   {"BOARD GEOMETRY/OUTLINE", R::outline},
                                   {"DRAWING FORMAT/NOTES", R::ignore}}) {
    INFO(list);
    CHECK(by(std::string("G04 Layer:  ") + list + "*\n") == to_string(role));
  }
  CHECK(by("") == "nothing");
}

TEST_CASE(
    "a pad is formed by the mask where its opening is smaller than its copper, else by its own edge "
    "(IPC-7351B: mask-defined lands)") {
  Diagnostics diagnostics;
  auto layer = [&](const std::string& body) {
    return formats::read_gerber(
        "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,2.0*%\n%ADD11C,2.2*%\n%ADD12C,1.6*%\n" + body + "M02*\n", "l.gbr",
        diagnostics);
  };
  const formats::GerberFile copper =
      layer("D10*\nX5000000Y5000000D03*\nX15000000Y5000000D03*\nX25000000Y5000000D03*\n");
  const formats::GerberFile mask = layer("D11*\nX5000000Y5000000D03*\nD12*\nX15000000Y5000000D03*\n");
  REQUIRE_FALSE(diagnostics.failed());
  Layers layers;
  layers.copper[Side::top].emplace_back(copper, false);
  layers.mask[Side::top].emplace_back(mask, false);
  Bare bare;
  for (const double at : {5.0, 15.0, 25.0})
    bare.board.features[bare.land({at, 5}, 2, 2, Side::top)].land[Side::top].round = true;
  add_exposures(bare.board, layers, {}, bare.sources, bare.diagnostics);
  REQUIRE(bare.board.exposures.size() == 2);
  CHECK_FALSE(bare.board.exposures.front().mask_defined);
  CHECK(bare.board.exposures.front().mask_gap.value().v == Approx(0.1).margin(0.005));
  CHECK_FALSE(bare.board.exposures.back().mask_gap);
  CHECK(bare.board.exposures.front().diameter.v == Approx(2.0).margin(0.01));
  CHECK(bare.board.exposures.back().mask_defined);
  CHECK(bare.board.exposures.back().diameter.v == Approx(1.6).margin(0.01));
  REQUIRE(bare.board.covered.size() == 1);  // the third one has no opening
  CHECK(bare.board.covered[0].feature == FeatureId{2});
}

TEST_CASE(
    "the gap of mask about a pad: none where both are drawn alike; a pad beside its hole is known as a pad (plane "
    "geometry)") {
  Diagnostics diagnostics;
  auto layer = [&](const std::string& body) {
    return formats::read_gerber(
        "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,2.0*%\n%ADD11C,2.15*%\n%ADD12C,0.5*%\n" + body + "M02*\n", "l.gbr",
        diagnostics);
  };
  // The second pad's hole lies 0.4 mm off its middle; a wide trace leaves it, under the mask.
  const formats::GerberFile copper =
      layer("D10*\nX5000000Y5000000D03*\nX15400000Y5000000D03*\nD12*\nX15400000Y5000000D02*\nX22000000Y5000000D01*\n");
  const formats::GerberFile mask = layer("D10*\nX5000000Y5000000D03*\nD11*\nX15400000Y5000000D03*\n");
  REQUIRE_FALSE(diagnostics.failed());
  Layers layers;
  layers.copper[Side::top].emplace_back(copper, false);
  layers.mask[Side::top].emplace_back(mask, false);
  Bare bare;
  for (const double at : {5.0, 15.0}) {
    Feature& feature = bare.board.features[bare.land({at, 5}, 2, 2, Side::top)];
    feature.land[Side::top].round = true;
    feature.hole = Mm{0.6};
  }
  add_exposures(bare.board, layers, {}, bare.sources, bare.diagnostics);
  REQUIRE(bare.board.exposures.size() == 2);
  CHECK(bare.board.exposures.front().mask_gap.value().v == Approx(0).margin(0.003));
  CHECK(bare.told("board-mask-as-pads"));
  CHECK_FALSE(bare.board.exposures.back().mask_defined);
  CHECK(bare.board.exposures.back().mask_gap.value().v == Approx(0.075).margin(0.005));
}
