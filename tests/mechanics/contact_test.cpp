// One-way contact against beams solved by hand, equilibrium, and energy.
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "teasel/mechanics/contact.h"

using namespace teasel;

namespace {
/// A strip of 100 x 10 mm without Poisson effect: a beam. Contacts at places along it, across its whole width.
struct Beam {
  static constexpr double kLength = 100, kWidth = 10;
  PlateStiffness stiffness{.thickness = Mm{1.6},
                           .modulus = MPa{20000},
                           .modulus_across = {},
                           .poisson = 0,
                           .shear = {}};
  std::vector<double> places;
  double ei() const { return stiffness.modulus.v * kWidth * std::pow(stiffness.thickness.v, 3) / 12; }
  PressedPlate press(const std::vector<PressContact>& kinds) const {
    std::vector<Point> points;
    for (const double x : places)
      for (const double y : {0.5, 2.5, 5.0, 7.5, 9.5}) points.push_back({x, y});
    PlateMesh m = mesh_plate({{{{0, 0}, {kLength, 0}, {kLength, kWidth}, {0, kWidth}}, {}}}, points, Mm{2.5});
    std::vector<PressContact> contacts = kinds;
    for (std::size_t i = 0; i < places.size(); ++i)
      for (int k = 0; k < 5; ++k) {
        REQUIRE(m.node_of[5 * i + static_cast<std::size_t>(k)] >= 0);
        contacts[i].patch.push_back({m.node_of[5 * i + static_cast<std::size_t>(k)], 0.2});
      }
    return {std::move(m), stiffness, contacts};
  }
};
PressContact stop(bool below) {
  PressContact contact;
  contact.from_below = below;
  return contact;
}
PressContact probe(double preload, double rate, double full, bool below = true) {
  PressContact contact;
  contact.from_below = below;
  contact.preload = Newton{preload};
  contact.rate = NewtonPerMm{rate};
  contact.full = Mm{full};
  return contact;
}
}  // namespace

TEST_CASE(
    "a beam on two stops with a spring under its middle, against fingers at its ends (beam theory: P l^3 / 48 "
    "E I)") {
  // Fingers at 10 and 90 hold down; a probe at 50 pushes up: preload 3 N, 0.5 N/mm, touched 4 mm up.
  Beam b;
  b.places = {10, 90, 50};
  const PressedPlate p = b.press({stop(false), stop(false), probe(3, 0.5, 6)});
  REQUIRE(p.ok());
  const ContactForces f = p.solve({{0, 0, 4}, {1, 1, 1}, {}, MPa{0}});
  CHECK(f.settled);
  const double k = 48 * b.ei() / std::pow(80, 3);
  // w = P / k and P = 3 + 0.5 (4 - w).
  const double w = 5 / (k + 0.5), force = k * w;
  CHECK(f.force[2] == Approx(force).epsilon(0.005));
  CHECK(f.deflection[2] == Approx(w).epsilon(0.005));
  CHECK(f.travel[2] == Approx(4 - w).epsilon(0.001));
  CHECK(f.force[0] == Approx(force / 2).epsilon(0.005));
  CHECK(f.force[1] == Approx(force / 2).epsilon(0.005));
}

TEST_CASE(
    "a stop in the middle closes when its gap is used up, and the rest is a beam on three supports (beam "
    "theory)") {
  Beam b;
  b.places = {10, 90, 50, 30, 70};
  const double gap = 0.05;
  const PressedPlate p = b.press({stop(false), stop(false), stop(false), probe(4, 0, 0), probe(4, 0, 0)});
  // Two forces of q at the quarter points: as rigid contacts they would be stops; give them as springs of next to no
  // rate.
  const PressedPlate q = b.press({stop(false), stop(false), stop(false), probe(4, 1e-6, 50), probe(4, 1e-6, 50)});
  (void)p;
  const double l = 80, ei = b.ei(), load = 4;
  // Middle deflection of a simple beam under two loads at a = l/4 from the ends: P a (3 l^2 - 4 a^2) / 24 E I.
  const double a = l / 4, free = load * a * (3 * l * l - 4 * a * a) / (24 * ei);
  REQUIRE(free > gap);
  const ContactForces open = q.solve({{0, 0, free + 1, 5, 5}, {1, 1, 1, 1, 1}, {}, MPa{0}});
  CHECK(open.force[2] == 0);
  CHECK(open.deflection[2] == Approx(free).epsilon(0.005));
  CHECK(open.travel[2] == Approx(free - free - 1).margin(0.01));
  // Closed at the gap: R l^3 / 48 E I takes back what is more than the gap.
  const ContactForces closed = q.solve({{0, 0, gap, 5, 5}, {1, 1, 1, 1, 1}, {}, MPa{0}});
  const double r = (free - gap) * 48 * ei / (l * l * l);
  CHECK(closed.force[2] == Approx(r).epsilon(0.01));
  CHECK(closed.deflection[2] == Approx(gap).margin(1e-4));
  CHECK(closed.force[0] == Approx((2 * load - r) / 2).epsilon(0.01));
}

TEST_CASE(
    "a probe at its preload holds like a stop; past its travel it is lost; at its end it is rigid (beam "
    "theory)") {
  Beam b;
  b.places = {10, 90, 50};
  // A light finger in the middle pushes down on a probe: while it pushes with less than the preload, the plunger does
  // not move.
  const PressedPlate p = b.press({stop(true), stop(true), probe(5, 0.5, 6)});
  const double k = 48 * b.ei() / std::pow(80, 3);
  // Pressure down on the beam, stops under its ends: the middle would sink; the probe at height 0 holds it with less
  // than 5 N.
  const double q = -0.002;  // MPa
  const ContactForces f = p.solve({{0, 0, 0}, {1, 1, 1}, {}, MPa{q}});
  // Overhanging beam: clear span 80 with two arms of 10 under even load, and a middle force that makes the middle
  // deflection 0.
  const double line = -q * Beam::kWidth, l = 80, c = 10;
  const double sag = line * l * l / (384 * b.ei()) * (5 * l * l - 24 * c * c);
  CHECK(f.deflection[2] == Approx(0).margin(1e-4));
  CHECK(f.force[2] == Approx(sag * k).epsilon(0.02));
  CHECK(f.force[2] < 5);
  // Pushed up away from it: no force, and the gap is told.
  const ContactForces lost = p.solve({{1, 1, 0}, {1, 1, 1}, {}, MPa{q}});
  CHECK(lost.force[2] == 0);
  CHECK(lost.travel[2] == Approx(-(1 - sag)).epsilon(0.01));
  // A probe that is all the way in does not go farther: height 10, but 6 mm of travel, fingers at 0.
  const PressedPlate r = b.press({stop(false), stop(false), probe(0.1, 0.01, 6)});
  const ContactForces full = r.solve({{0, 0, 6.5}, {1, 1, 1}, {}, MPa{0}});
  CHECK(full.travel[2] == Approx(6).margin(4e-4));
  CHECK(full.deflection[2] == Approx(0.5).margin(4e-4));
  CHECK(full.force[2] == Approx(k * 0.5).epsilon(0.005));
}

TEST_CASE("a plate that nothing holds floats up until no spring pushes any more (equilibrium)") {
  Beam b;
  b.places = {20, 50, 80};
  const PressedPlate p = b.press({probe(2, 0.5, 6), probe(2, 0.5, 6), probe(2, 0.5, 6)});
  const ContactForces f = p.solve({{4, 4, 4}, {1, 1, 1}, {}, MPa{0}});
  CHECK(f.settled);
  for (int i = 0; i < 3; ++i) {
    CHECK(f.force[static_cast<std::size_t>(i)] < 0.01);
    CHECK(f.deflection[static_cast<std::size_t>(i)] > 3.99);
  }
}

TEST_CASE("a bowed board between stops is flattened by the force of a beam, as if the bow were a load (beam theory)") {
  Beam b;
  b.places = {10, 90, 50};
  const PressedPlate p = b.press({stop(true), stop(true), stop(false)});
  std::vector<double> shape;
  // The middle stands 0.3 mm higher than the places at the ends; a finger at height 0 pushes it down.
  for (const Point n : p.plate().mesh().nodes) shape.push_back(0.3 * (1 - std::pow((n.x - 50) / 40, 2)));
  const ContactForces f = p.solve({{0, 0, 0}, {1, 1, 1}, shape, MPa{0}});
  CHECK(f.force[2] == Approx(48 * b.ei() / std::pow(80, 3) * 0.3).epsilon(0.01));
  CHECK(f.force[0] == Approx(f.force[2] / 2).epsilon(0.01));
  // A finger that is as high as the bow pushes nothing.
  CHECK(p.solve({{0, 0, 0.31}, {1, 1, 1}, shape, MPa{0}}).force[2] == 0);
}

TEST_CASE(
    "random beds keep equilibrium of forces and moments and complementarity, and bend the plate as those "
    "forces do (statics, Clapeyron, seed 9)") {
  int foretold = 0;
  std::mt19937 random(9);
  auto real = [&](double a, double z) { return std::uniform_real_distribution<>(a, z)(random); };
  for (int round = 0; round < 12; ++round) {
    std::vector<Point> points;
    while (points.size() < 40) {
      const Point p{real(3, 77), real(3, 47)};
      if (std::all_of(points.begin(), points.end(), [&](Point q) { return distance(p, q) > 3; })) points.push_back(p);
    }
    PlateMesh m = mesh_plate({{{{0, 0}, {80, 0}, {80, 50}, {0, 50}}, {rectangle({40, 25}, 8, 6)}}}, points, Mm{5});
    std::vector<PressContact> contacts;
    std::vector<Point> place;
    PressState s;
    for (std::size_t i = 0; i < points.size(); ++i) {
      if (m.node_of[i] < 0) continue;
      PressContact c;
      c.patch = {{m.node_of[i], 1}};
      const int kind = static_cast<int>(random() % 4);
      c.from_below = kind != 3;
      if (kind < 2) {
        c.preload = Newton{real(0.5, 1.2)};
        c.rate = NewtonPerMm{real(0.1, 0.4)};
        c.full = Mm{6};
      }
      contacts.push_back(c);
      place.push_back(points[i]);
      if (kind < 2)
        s.touch.push_back(real(1, 4.2));
      else
        s.touch.push_back(kind == 2 ? real(-0.1, 0) : real(0, 0.05));
      s.present.push_back(random() % 8 != 0);
    }
    s.pressure = MPa{-real(0, 0.004)};
    const PressedPlate p(
        m, {.thickness = Mm{1.6}, .modulus = MPa{20000}, .modulus_across = {}, .poisson = 0.14, .shear = {}}, contacts);
    REQUIRE(p.ok());
    const ContactForces f = p.solve(s);
    REQUIRE(f.settled);
    double fz = 0, mx = 0, my = 0, size = 0;
    const auto& area = p.plate().area_of_node();
    for (std::size_t n = 0; n < area.size(); ++n) {
      fz += s.pressure.v * area[n];
      mx += s.pressure.v * area[n] * m.nodes[n].y;
      my += s.pressure.v * area[n] * m.nodes[n].x;
    }
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      const double v = contacts[i].from_below ? f.force[i] : -f.force[i];
      fz += v;
      mx += v * place[i].y;
      my += v * place[i].x;
      size += f.force[i];
      CHECK(f.force[i] >= 0);
      if (!s.present[i]) CHECK(f.force[i] == 0);
      if (s.present[i] && contacts[i].rate.v == 0) {
        CHECK(f.travel[i] < 1e-3);
        CHECK((f.force[i] < 1e-6 || std::abs(f.travel[i]) < 1e-3));
      }
      if (s.present[i] && contacts[i].rate.v > 0) {
        const double preload = contacts[i].preload.v;
        if (f.travel[i] > 1e-4)
          CHECK(f.force[i] == Approx(preload + contacts[i].rate.v * f.travel[i]).margin(1e-3));
        else if (f.travel[i] < -1e-4)
          CHECK(f.force[i] == Approx(0).margin(1e-3));
        else
          CHECK(f.force[i] <= preload + 1e-3);
      }
    }
    // The weak hold of the free plate takes what deflection times 1e-4 N/mm is.
    CHECK(std::abs(fz) < 1e-3 + 1e-4 * size);
    CHECK(std::abs(mx) < 0.05 + 5e-3 * size);
    CHECK(std::abs(my) < 0.08 + 5e-3 * size);
    const auto u = p.bending(p.prepare(s), f);
    for (std::size_t i = 0; i < contacts.size(); ++i)
      CHECK(u[unknown_of(contacts[i].patch[0].node)] == Approx(f.deflection[i]).margin(2e-6));
    // Energy: half of what true forces and pressure do is stored in bending alone, the springs within the plate's
    // equations taken off (Clapeyron).
    double stored = p.plate().energy(u), work = 0;
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      const double w = u[unknown_of(contacts[i].patch[0].node)];
      stored -= contacts[i].rate.v * w * w / 2;
      work += (contacts[i].from_below ? 1 : -1) * f.force[i] * w / 2;
    }
    for (std::size_t n = 0; n < area.size(); ++n) work += s.pressure.v * area[n] * u[3 * n] / 2;
    CHECK(stored == Approx(work).epsilon(1e-3).margin(1e-4));
    CHECK(stored > -1e-4);
    // One contact more or less, foretold, is what comes where all others go on doing what they do.
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      if (contacts[i].rate.v > 0) continue;
      PressState other = s;
      other.present[i] = !s.present[i];
      const ContactForces g = p.solve(other);
      const Exchanges x = s.present[i] ? p.leaving(f, {i}) : p.joining(f, {i});
      if (x.up[0].empty()) {
        CHECK(g.force[i] == Approx(f.force[i]).margin(1e-3));
        continue;
      }
      std::vector<char> did = f.does;
      did[i] = g.does[i];
      if (did != g.does) continue;
      ++foretold;
      for (std::size_t r = 0; r < x.rows.size(); ++r)
        if (x.rows[r] != i)
          CHECK(f.extra[x.rows[r]] + (contacts[x.rows[r]].from_below ? 1 : -1) * x.up[0][r] ==
                Approx(g.extra[x.rows[r]]).epsilon(1e-4).margin(1e-3));
      for (std::size_t k = 0; k < contacts.size(); ++k) {
        double w = f.deflection[k];
        for (std::size_t r = 0; r < x.rows.size(); ++r) w += p.compliance(k, x.rows[r]) * x.up[0][r];
        CHECK(w + p.compliance(k, i) * x.up[0].back() == Approx(g.deflection[k]).epsilon(1e-4).margin(1e-4));
      }
    }
  }
  CHECK(foretold > 20);
}
