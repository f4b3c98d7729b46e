// Releases without a netlist: what file names, placements and lands tell. Names of layer files by common practice, no
// source.
#include <catch2/catch.hpp>
#include <random>

#include "../../src/board/build.h"
#include "../../src/board/recogniser.h"

using namespace teasel;

namespace {
struct Bare {
  Board b;
  Sources s;
  Diagnostics d;
  Bare() {
    s.placements.resize(1);
    s.placements[0].has_unit = true;
  }
  int land(Point at, double width, double height, Side side, double hole = 0) {
    Feature f;
    f.kind = hole > 0 ? FeatureKind::lead : FeatureKind::smd_pad;
    f.at = at;
    f.hole = hole;
    f.land[static_cast<std::size_t>(side)] = {true, width, height, 0, false};
    if (hole > 0) f.land[side == Side::top ? 1 : 0] = f.land[static_cast<std::size_t>(side)];
    b.features.push_back(f);
    return static_cast<int>(b.features.size()) - 1;
  }
  void part(const char* name, Point at, int side) {
    formats::PlacementRow r;
    r.component = name;
    r.x = at.x;
    r.y = at.y;
    r.side = side;
    s.placements[0].rows.push_back(r);
  }
  std::string owner(int land) {
    const int c = b.features[static_cast<std::size_t>(land)].component;
    return c < 0 ? "" : b.components[static_cast<std::size_t>(c)].name;
  }
  bool told(const char* code) {
    return std::any_of(d.all().begin(), d.all().end(), [&](const Finding& f) { return f.code == code; });
  }
};
}  // namespace

TEST_CASE(
    "a land belongs to the nearest part about whose centre it has a twin of its own size, on the part's side "
    "(by hand)") {
  Bare x;
  const int chip[] = {x.land({9.2, 10}, 0.8, 1.0, Side::top), x.land({10.8, 10}, 0.8, 1.0, Side::top)};
  const int below[] = {x.land({9.2, 10}, 0.8, 1.0, Side::bottom), x.land({10.8, 10}, 0.8, 1.0, Side::bottom)};
  const int pins[] = {x.land({18, 18}, 1.6, 1.6, Side::bottom, 0.9), x.land({22, 18}, 1.6, 1.6, Side::bottom, 0.9),
                      x.land({18, 22}, 1.6, 1.6, Side::bottom, 0.9), x.land({22, 22}, 1.6, 1.6, Side::bottom, 0.9)};
  const int under = x.land({20, 20}, 3, 3, Side::top);  // the pad under a package, with no twin but itself
  const int odd[] = {x.land({29, 10}, 0.8, 1.0, Side::top),
                     x.land({31, 10}, 0.8, 2.0, Side::top)};  // alike in place, not in size
  const int alone = x.land({40, 40}, 1, 1, Side::top);
  x.part("R1", {10, 10}, 0);
  x.part("R2", {10, 10}, 1);
  x.part("U1", {20, 20}, 0);
  x.part("D1", {30, 10}, 0);
  x.part("FAR", {60, 60}, 0);
  match_parts(x.b, {}, x.s, x.d);
  for (const int i : chip) CHECK(x.owner(i) == "R1");
  for (const int i : below) CHECK(x.owner(i) == "R2");
  for (const int i : pins) CHECK(x.owner(i) == "U1");  // leads are on both sides
  CHECK(x.owner(under) == "U1");
  for (const int i : odd) CHECK(x.owner(i).empty());
  CHECK(x.owner(alone).empty());
  CHECK(x.told("parts-matched"));
  CHECK(x.told("parts-without-lands"));  // two of five
}

TEST_CASE(

    "rows that are pins of one connector make one part with pins; without any placement the board's bodies "
    "are unknown, and that is said (by hand)") {
  Bare x;
  std::vector<int> lands;
  for (int i = 0; i < 4; ++i) {
    lands.push_back(x.land({10 + 2.54 * i, 5}, 1.6, 1.6, Side::bottom, 1.0));
    x.part(("J2_" + std::to_string(i + 1)).c_str(), {10 + 2.54 * i, 5}, 0);
  }
  match_parts(x.b, {}, x.s, x.d);
  REQUIRE(x.b.components.size() == 1);
  for (std::size_t i = 0; i < lands.size(); ++i) {
    CHECK(x.owner(lands[i]) == "J2");
    CHECK(x.b.features[static_cast<std::size_t>(lands[i])].pin == std::to_string(i + 1));
  }
  Bare none;
  none.land({5, 5}, 1, 1, Side::top);
  match_parts(none.b, {}, none.s, none.d);
  CHECK(none.told("board-no-components"));
}

TEST_CASE("unit and shift of a placement table are found back from lands without names (constructed, seed 4)") {
  std::mt19937 rng(4);
  std::uniform_real_distribution<double> x(0, 80), y(0, 50);
  std::array<Lands, 2> lands;
  std::vector<Point> parts;
  for (int i = 0; i < 60; ++i) {
    const Point p{x(rng), y(rng)};
    parts.push_back(p);
    const double half = 0.5 + 0.05 * (i % 7);
    for (const double w : {-half, half}) {
      lands[i % 3 == 0].at.push_back(p + Point{w, 0});
      lands[i % 3 == 0].size.push_back({0.6 + 0.02 * (i % 7), 0.9});
    }
  }
  for (const auto& [unit, k] : {std::pair{"mm", 1.0}, {"inch", 25.4}, {"mil", 0.0254}})
    for (const Point shift : {Point{}, Point{31.25, -7.5}}) {
      formats::Placement t;
      for (std::size_t i = 0; i < parts.size(); ++i) {
        formats::PlacementRow r;
        r.component = "C" + std::to_string(i);
        r.x = (parts[i].x - shift.x) / k;
        r.y = (parts[i].y - shift.y) / k;
        t.rows.push_back(r);
      }
      const PlacementFit f = fit_placement(t, lands);
      INFO(unit << " " << shift.x);
      CHECK(f.unit == unit);
      CHECK(f.scale == k);
      CHECK(f.share == Approx(1));
      CHECK(f.shift.x == Approx(shift.x).margin(0.01));
      CHECK(f.shift.y == Approx(shift.y).margin(0.01));
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
                                             {"silk_top.ger", R::ignore},
                                             {"assembly_bottom.ger", R::ignore},
                                             {"board_outline.ger", R::outline},
                                             {"etch_top.ger", R::copper_top}};
  auto role = [](const std::string& name) -> std::optional<R> {
    const FolderFile file{name, ""};
    Recognised r;
    r.file = &file;
    return role_by_name(r) ? r.role : std::nullopt;
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
    Recognised r;
    Diagnostics d;
    r.gerber = formats::read_gerber(text + "%FSLAX46Y46*%\n%MOMM*%\nM02*\n", "l.gbr", d);
    if (!role_by_attribute(r) && !role_by_comments(r)) return std::string("nothing");
    return std::string(to_string(r.role.value()));
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
  Diagnostics d;
  auto layer = [&](const std::string& body) {
    return formats::read_gerber(
        "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,2.0*%\n%ADD11C,2.2*%\n%ADD12C,1.6*%\n" + body + "M02*\n", "l.gbr", d);
  };
  const formats::GerberFile copper =
      layer("D10*\nX5000000Y5000000D03*\nX15000000Y5000000D03*\nX25000000Y5000000D03*\n");
  const formats::GerberFile mask = layer("D11*\nX5000000Y5000000D03*\nD12*\nX15000000Y5000000D03*\n");
  REQUIRE_FALSE(d.failed());
  Layers layers;
  layers.copper[0].emplace_back(copper, false);
  layers.mask[0].emplace_back(mask, false);
  Bare x;
  for (const double at : {5.0, 15.0, 25.0})
    x.b.features[static_cast<std::size_t>(x.land({at, 5}, 2, 2, Side::top))].land[0].round = true;
  add_exposures(x.b, layers, {}, x.s, x.d);
  REQUIRE(x.b.exposures.size() == 2);
  CHECK_FALSE(x.b.exposures[0].mask_defined);
  CHECK(x.b.exposures[0].diameter == Approx(2.0).margin(0.01));
  CHECK(x.b.exposures[1].mask_defined);
  CHECK(x.b.exposures[1].diameter == Approx(1.6).margin(0.01));
  REQUIRE(x.b.covered.size() == 1);  // the third one has no opening
  CHECK(x.b.covered[0].feature == 2);
}
