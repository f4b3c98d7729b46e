#include <catch2/catch.hpp>
#include <cmath>

#include "teasel/access/travel.h"

using namespace teasel;

namespace {
Rules shipped_rules() {
  Diagnostics diagnostics;
  return read_rules(*shipped("rules", "standard"), "rules", diagnostics);
}
Catalogue shipped_catalogue() {
  Diagnostics diagnostics;
  return read_catalogue(*shipped("catalogues", "standard"), "catalogue", diagnostics);
}
HoleDiameter hole(double mm) {
  return HoleDiameter{Mm{mm}};
}
Protrusion lead(double mm) {
  return Protrusion{Mm{mm}};
}
BoardThickness board(double mm) {
  return BoardThickness{Mm{mm}};
}
}  // namespace

TEST_CASE("a published tolerance stack: three parts in a housing (ficientdesign.com, Tolerance Stack-Up Analysis)") {
  // 2.000 +- 0.005, 1.500 +- 0.003, 0.500 +- 0.002 in 4.020 +- 0.005: gap 0.020, worst case +- 0.015, statistical +-
  // 0.00794.
  const std::vector<Mm> parts = {Mm{0.005}, Mm{0.003}, Mm{0.002}, Mm{0.005}};
  CHECK(stacked(parts, true).v == Approx(0.015));
  CHECK(stacked(parts, false).v == Approx(0.00794).epsilon(1e-3));
}

TEST_CASE(
    "a published eleven-part stack (Dimensioning and Tolerancing Handbook, chapter 9, motor assembly, as quoted by an "
    "open tolerance library)") {
  const std::vector<Mm> parts = {Mm{.0155}, Mm{.002},  Mm{.003}, Mm{.0075}, Mm{.005}, Mm{.007},
                                 Mm{.005},  Mm{.0075}, Mm{.007}, Mm{.006},  Mm{.030}};
  CHECK(stacked(parts, true).v == Approx(.0955));
  CHECK(stacked(parts, false).v == Approx(.0381).margin(.00005));
}

TEST_CASE("a pointed head sinks by the rim's radius over the tangent of half its angle (by hand)") {
  CHECK(spear_depth(hole(1.0), Degrees{90}).v == Approx(0.5));
  CHECK(spear_depth(hole(0.6), Degrees{60}).v == Approx(0.3 * std::sqrt(3.0)));
}

TEST_CASE(
    "strokes: what stands up is added, a hole takes away, the thickness counts on the other side only (hand "
    "sum)") {
  Rules rules = shipped_rules();
  rules.travel.worst_case = true;
  const ProbeClass probe = shipped_catalogue().classes.front();
  const double base =
      rules.travel.set_height_tolerance.v + rules.travel.probe_length_tolerance.v + rules.travel.support_tolerance.v;
  const Stroke flat = stroke_on(rules, probe, Contact::flat, hole(0), lead(0), board(1.6), true);
  CHECK(flat.nominal.v == Approx(4.24));
  CHECK(flat.tolerance.v == Approx(base));
  CHECK(stroke_on(rules, probe, Contact::flat, hole(0), lead(0), board(1.6), false).tolerance.v == Approx(base + 0.16));
  CHECK(stroke_on(rules, probe, Contact::lead, hole(0.8), lead(1.2), board(1.6), true).nominal.v == Approx(5.44));
  CHECK(stroke_on(rules, probe, Contact::open_hole, hole(1.0), lead(0), board(1.6), true).nominal.v ==
        Approx(4.24 - 0.5 * std::sqrt(3.0)));
  // A lead of 4.3 mm and more wants special treatment (guidelines of a board assembler): no shipped class takes it.
  for (const ProbeClass& any : shipped_catalogue().classes)
    CHECK(stroke_on(rules, any, Contact::lead, hole(0.8), lead(4.3), board(1.6), true).longest() > any.most_travel);
}

TEST_CASE("two pointed heads share a hole only in a board thicker than both cones (by hand)") {
  Rules rules = shipped_rules();
  rules.travel.thickness_tolerance = 0.1;
  ProbeClass probe = shipped_catalogue().classes.front();
  probe.spear_angle = Degrees{90};  // depth = half the hole
  CHECK(clearance_in_hole(rules, probe, probe, hole(0.6), board(1.0)).v == Approx(0.9 - 0.6));
  CHECK(clearance_in_hole(rules, probe, probe, hole(1.0), board(1.0)).v < 0);
}
