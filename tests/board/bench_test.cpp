// Nets from resistances, conventions of placement tables, lands given to parts. Truths are set up by the tests.
#include <catch2/catch.hpp>

#include "../../src/board/build.h"
#include "../../src/board/placement_fit.h"

using namespace teasel;

namespace {
Board bench(const std::string& pads, const std::string& readings, Diagnostics& d) {
  Job job;
  job.pads_file = "pads.csv";
  job.continuity_file = "c.csv";
  Sources s;
  s.pads = formats::read_pad_list(pads, "pads.csv", d);
  if (!readings.empty()) s.continuity = formats::read_continuity(readings, "c.csv", d);
  Board b;
  add_bench(b, job, s, d);
  return b;
}
const std::string kPads =
    "pad,side,x_mm,y_mm,width_mm,net\nA,top,0,0,1,\nB,top,2,0,1,\nC,top,4,0,1,\nD,top,6,0,1,VCC\nE,top,8,0,1,\n";
std::string net_of(const Board& b, const std::string& pad) {
  for (const Feature& f : b.features)
    if (f.name == pad) return b.nets[static_cast<std::size_t>(f.net)].name;
  return "?";
}
bool has_code(const Diagnostics& d, const std::string& code) {
  return std::any_of(d.all().begin(), d.all().end(), [&](const Finding& f) { return f.code == code; });
}
}  // namespace

TEST_CASE("readings up to the threshold join pads, through others as well; names given by the user stand (by hand)") {
  Diagnostics d;
  const Board b = bench(kPads, "pad_a,pad_b,ohms\nA,B,0.3\nB,C,5\nC,D,47\nD,E,0.2\nA,E,OL\n", d);
  REQUIRE_FALSE(d.failed());
  CHECK(net_of(b, "A") == net_of(b, "C"));
  CHECK(net_of(b, "A") == "N(A)");
  CHECK(net_of(b, "E") == "VCC");
  CHECK(net_of(b, "C") != net_of(b, "D"));  // 47 ohm lies between the thresholds
  CHECK(has_code(d, "continuity-between"));
  CHECK(b.bench.questions == 0);  // two nets, and a reading between them
}

TEST_CASE("an open reading between joined pads is a contradiction, and what was never read is asked for (by hand)") {
  Diagnostics d;
  const Board b = bench(kPads, "pad_a,pad_b,ohms\nA,B,0.3\nB,C,0.3\nA,C,OL\nA,D,OL\n", d);
  REQUIRE_FALSE(d.failed());
  CHECK(has_code(d, "continuity-contradiction"));
  CHECK(net_of(b, "A") == net_of(b, "C"));
  // Nets {A,B,C}, {D}, {E}: E has been read against neither.
  CHECK(b.bench.questions == 2);
  REQUIRE(b.bench.next.size() == 2);
  CHECK(b.bench.next[0].pad_a == "A");  // the net of most pads first
  CHECK(b.bench.next[0].pad_b == "E");
  CHECK(b.bench.next[0].settles == 2);  // joined to {A,B,C} it is apart from D as well
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
    job.pads_file = "pads.csv";
    job.references_file = "r.csv";
    Sources s;
    Diagnostics d;
    s.pads = formats::read_pad_list(text, "pads.csv", d);
    s.references = formats::read_references(
        "photo,point,x_px,y_px,x_mm,y_mm\np,a,0,1000,0,0\np,b,2000,1000,20,0\np,c,0,0,0,10\np,d,2000,0,20,10\n",
        "r.csv", d);
    Board b;
    add_bench(b, job, s, d);
    INFO(side);
    CHECK(d.failed() == !good);
    if (!good) {
      CHECK(has_code(d, "photo-side"));
      continue;
    }
    CHECK(b.features[0].at.x == Approx(1));
    CHECK(b.features[0].at.y == Approx(9));
    CHECK(b.features[0].land[0].width == Approx(0.2));
    CHECK(b.features[0].place_sigma > 0.05);
  }
}

namespace {
/// Ten parts with pads about known centres, every third on the bottom.
std::map<std::string, PartPads> parts() {
  std::map<std::string, PartPads> out;
  for (int i = 0; i < 12; ++i) {
    PartPads p;
    const Point c{7.0 * i + 3, 11.0 * (i % 4) + 2};
    const double a = (i % 2 ? 90 : 0) * 3.14159265358979323846 / 180,
                 m = i % 3 ? 1 : -1;  // bottom: turned as seen from below
    for (double s : {-1.0, 1.0}) {
      p.points.push_back(c + s * Point{std::cos(a), m * std::sin(a)});
      p.box.add(p.points.back());
    }
    p.pin_1 = p.points[0];
    (i % 3 ? p.top : p.bottom) = 2;
    out["R" + std::to_string(i)] = p;
  }
  return out;
}
formats::Placement table(double unit, Point origin, bool bottom_negated) {
  formats::Placement t;
  for (const auto& [name, p] : parts()) {
    formats::PlacementRow r;
    const bool bottom = p.bottom > 0;
    const Point c = p.box.centre() - origin;
    r.component = name;
    r.package = "0603";
    r.side = bottom;
    r.x = (bottom && bottom_negated ? -c.x : c.x) / unit;
    r.y = c.y / unit;
    r.rotation = std::stoi(name.substr(1)) % 2 ? 90 : 0;
    t.rows.push_back(r);
  }
  return t;
}
}  // namespace

TEST_CASE("unit, origin and side of a placement table are found back from the pads (constructed)") {
  for (double unit : {1.0, 25.4, 0.0254, 0.001})
    for (bool negated : {false, true}) {
      const PlacementFit f = fit_placement(table(unit, {12, -5}, negated), parts());
      INFO(unit << negated);
      CHECK(f.share == Approx(1));
      CHECK(f.scale == Approx(unit));
      CHECK(f.shift.x == Approx(12).margin(0.01));
      CHECK(f.shift.y == Approx(-5).margin(0.01));
      CHECK(f.turned == negated);
      CHECK(f.sides_wrong == 0);
    }
}

TEST_CASE("a pad measured in a turned picture keeps its own axes (hand sum)") {
  Job job;
  job.pads_file = "pads.csv";
  job.references_file = "r.csv";
  Sources s;
  Diagnostics d;
  // The picture of the top lies on its side: board x runs up in it, board y to the right... 0.1 mm a pixel.
  s.pads =
      formats::read_pad_list("pad,side,photo,x_px,y_px,width_px,height_px\nA,top,p,100,100,60,12\n", "pads.csv", d);
  s.references = formats::read_references(
      "photo,point,x_px,y_px,x_mm,y_mm\np,a,0,0,0,0\np,b,0,200,20,0\np,c,100,0,0,10\np,d,100,200,20,10\n", "r.csv", d);
  Board b;
  add_bench(b, job, s, d);
  for (const auto& f : d.all()) INFO(to_string(f));
  REQUIRE_FALSE(d.failed());
  const Land& l = b.features[0].land[0];
  CHECK(l.width == Approx(6));
  CHECK(l.height == Approx(1.2));
  CHECK(std::fmod(l.rotation + 360, 180) == Approx(90));  // long in board y
}
