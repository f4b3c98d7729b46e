// Nets from resistances, conventions of placement tables, lands given to parts. Truths are set up by the tests.
#include <catch2/catch.hpp>

#include "../../src/board/build.h"
#include "../../src/board/placement_fit.h"

using namespace teasel;

namespace {
Board bench(const std::string& pads, const std::string& readings, Diagnostics& diagnostics) {
  Job job;
  job.inputs.pads_file = "pads.csv";
  job.inputs.continuity_file = "c.csv";
  Sources sources;
  sources.pads = formats::read_pad_list(pads, "pads.csv", diagnostics);
  if (!readings.empty()) sources.continuity = formats::read_continuity(readings, "c.csv", diagnostics);
  Board board;
  add_bench(board, job, sources, diagnostics);
  return board;
}
const std::string kPads =
    "pad,side,x_mm,y_mm,width_mm,net\nA,top,0,0,1,\nB,top,2,0,1,\nC,top,4,0,1,\nD,top,6,0,1,VCC\nE,top,8,0,1,\n";
NetName net_of(const Board& board, const std::string& pad) {
  for (const Feature& feature : board.features)
    if (feature.name == pad) return board.nets[feature.net].name;
  return NetName{"?"};
}
bool has_code(const Diagnostics& diagnostics, const std::string& code) {
  return std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                     [&](const Finding& finding) { return finding.code == code; });
}
}  // namespace

TEST_CASE("readings up to the threshold join pads, through others as well; names given by the user stand (by hand)") {
  Diagnostics diagnostics;
  const Board board = bench(kPads, "pad_a,pad_b,ohms\nA,B,0.3\nB,C,5\nC,D,47\nD,E,0.2\nA,E,OL\n", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(net_of(board, "A") == net_of(board, "C"));
  CHECK(net_of(board, "A") == "N(A)");
  CHECK(net_of(board, "E") == "VCC");
  CHECK(net_of(board, "C") != net_of(board, "D"));  // 47 ohm lies between the thresholds
  CHECK(has_code(diagnostics, "continuity-between"));
  CHECK(board.bench.questions == 0);  // two nets, and a reading between them
}

TEST_CASE("an open reading between joined pads is a contradiction, and what was never read is asked for (by hand)") {
  Diagnostics diagnostics;
  const Board board = bench(kPads, "pad_a,pad_b,ohms\nA,B,0.3\nB,C,0.3\nA,C,OL\nA,D,OL\n", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(has_code(diagnostics, "continuity-contradiction"));
  CHECK(net_of(board, "A") == net_of(board, "C"));
  // Nets {A,B,C}, {D}, {E}: E has been read against neither.
  CHECK(board.bench.questions == 2);
  REQUIRE(board.bench.next.size() == 2);
  CHECK(board.bench.next[0].pad_a == "A");  // the net of most pads first
  CHECK(board.bench.next[0].pad_b == "E");
  CHECK(board.bench.next[0].settles == 2);  // joined to {A,B,C} it is apart from D as well
  Diagnostics unknown;
  (void)bench(kPads, "pad_a,pad_b,ohms\nA,Z,0.3\n", unknown);
  REQUIRE(unknown.failed());
  CHECK(unknown.all()[0].code == "continuity-unknown-pad");
  CHECK(unknown.all()[0].place.line == 2);
}

TEST_CASE("a picture of the wrong side is refused, since a mirrored plate would follow (hand sum)") {
  const std::string pads = "pad,side,photo,x_px,y_px,width_px\nA,SIDE,p,100,100,20\n";
  for (const auto& [side, good] : {std::pair<std::string, bool>{"top", true}, {"bottom", false}}) {
    std::string text = pads;
    text.replace(text.find("SIDE"), 4, side);
    Job job;
    job.inputs.pads_file = "pads.csv";
    job.inputs.references_file = "r.csv";
    Sources sources;
    Diagnostics diagnostics;
    sources.pads = formats::read_pad_list(text, "pads.csv", diagnostics);
    sources.references = formats::read_references(
        "photo,point,x_px,y_px,x_mm,y_mm\np,a,0,1000,0,0\np,b,2000,1000,20,0\np,c,0,0,0,10\np,d,2000,0,20,10\n",
        "r.csv", diagnostics);
    Board board;
    add_bench(board, job, sources, diagnostics);
    INFO(side);
    CHECK(diagnostics.failed() == !good);
    if (!good) {
      CHECK(has_code(diagnostics, "photo-side"));
      continue;
    }
    const Feature& pad = board.features.front();
    CHECK(pad.at.x == Approx(1));
    CHECK(pad.at.y == Approx(9));
    CHECK(pad.land[Side::top].width.v == Approx(0.2));
    CHECK(pad.place_sigma > Mm{0.05});
  }
}

namespace {
/// Ten parts with pads about known centres, every third on the bottom.
std::map<std::string, PartPads> parts() {
  std::map<std::string, PartPads> out;
  for (int i = 0; i < 12; ++i) {
    PartPads pads_of_part;
    const Point centre{7.0 * i + 3, 11.0 * (i % 4) + 2};
    const double angle = (i % 2 ? 90 : 0) * 3.14159265358979323846 / 180,
                 mirror = i % 3 ? 1 : -1;  // bottom: turned as seen from below
    for (double sign : {-1.0, 1.0}) {
      pads_of_part.points.push_back(centre + sign * Point{std::cos(angle), mirror * std::sin(angle)});
      pads_of_part.box.add(pads_of_part.points.back());
    }
    pads_of_part.pin_1 = pads_of_part.points[0];
    (i % 3 ? pads_of_part.top : pads_of_part.bottom) = 2;
    out["R" + std::to_string(i)] = pads_of_part;
  }
  return out;
}
formats::Placement table(double unit, Point origin, bool bottom_negated) {
  formats::Placement placement;
  for (const auto& [name, part] : parts()) {
    formats::PlacementRow row;
    const bool bottom = part.bottom > 0;
    const Point centre = part.box.centre() - origin;
    row.component = name;
    row.package = "0603";
    row.side = bottom ? Side::bottom : Side::top;
    row.x = (bottom && bottom_negated ? -centre.x : centre.x) / unit;
    row.y = centre.y / unit;
    row.rotation = Degrees{std::stoi(name.substr(1)) % 2 ? 90.0 : 0.0};
    placement.rows.push_back(row);
  }
  return placement;
}
}  // namespace

TEST_CASE("unit, origin and side of a placement table are found back from the pads (constructed)") {
  for (double unit : {1.0, 25.4, 0.0254, 0.001})
    for (bool negated : {false, true}) {
      const PlacementFit fit = fit_placement(table(unit, {12, -5}, negated), parts());
      INFO(unit << negated);
      CHECK(fit.share == Approx(1));
      CHECK(fit.scale == Approx(unit));
      CHECK(fit.shift.x == Approx(12).margin(0.01));
      CHECK(fit.shift.y == Approx(-5).margin(0.01));
      CHECK(fit.turned == negated);
      CHECK(fit.sides_wrong == 0);
    }
}

TEST_CASE("a pad measured in a turned picture keeps its own axes (hand sum)") {
  Job job;
  job.inputs.pads_file = "pads.csv";
  job.inputs.references_file = "r.csv";
  Sources sources;
  Diagnostics diagnostics;
  // The picture of the top lies on its side: board x runs up in it, board y to the right... 0.1 mm a pixel.
  sources.pads = formats::read_pad_list("pad,side,photo,x_px,y_px,width_px,height_px\nA,top,p,100,100,60,12\n",
                                        "pads.csv", diagnostics);
  sources.references = formats::read_references(
      "photo,point,x_px,y_px,x_mm,y_mm\np,a,0,0,0,0\np,b,0,200,20,0\np,c,100,0,0,10\np,d,100,200,20,10\n", "r.csv",
      diagnostics);
  Board board;
  add_bench(board, job, sources, diagnostics);
  for (const auto& finding : diagnostics.all()) INFO(to_string(finding));
  REQUIRE_FALSE(diagnostics.failed());
  const Land& land = board.features.front().land[Side::top];
  CHECK(land.width.v == Approx(6));
  CHECK(land.height.v == Approx(1.2));
  CHECK(std::fmod(land.rotation.v + 360, 180) == Approx(90));  // long in board y
}
