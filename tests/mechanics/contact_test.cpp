// One-way contact against beams solved by hand, equilibrium, and energy.
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../src/mechanics/contact_parts.h"

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
    PlateMesh mesh = mesh_plate({{{{0, 0}, {kLength, 0}, {kLength, kWidth}, {0, kWidth}}, {}}}, points, Mm{2.5});
    std::vector<PressContact> contacts = kinds;
    for (std::size_t i = 0; i < places.size(); ++i)
      for (int k = 0; k < 5; ++k) {
        REQUIRE(mesh.node_of[5 * i + static_cast<std::size_t>(k)] >= 0);
        contacts[i].patch.push_back({mesh.node_of[5 * i + static_cast<std::size_t>(k)], 0.2});
      }
    return {std::move(mesh), stiffness, contacts};
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
  const ContactForces forces = p.solve({{0, 0, 4}, {1, 1, 1}, {}, MPa{0}});
  CHECK(forces.settled);
  const double k = 48 * b.ei() / std::pow(80, 3);
  // w = P / k and P = 3 + 0.5 (4 - w).
  const double w = 5 / (k + 0.5), force = k * w;
  CHECK(forces.force[2] == Approx(force).epsilon(0.005));
  CHECK(forces.deflection[2] == Approx(w).epsilon(0.005));
  CHECK(forces.travel[2] == Approx(4 - w).epsilon(0.001));
  CHECK(forces.force[0] == Approx(force / 2).epsilon(0.005));
  CHECK(forces.force[1] == Approx(force / 2).epsilon(0.005));
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
  const PressedPlate pressed = b.press({stop(false), stop(false), stop(false), probe(4, 1e-6, 50), probe(4, 1e-6, 50)});
  (void)p;
  const double l = 80, ei = b.ei(), load = 4;
  // Middle deflection of a simple beam under two loads at a = l/4 from the ends: P a (3 l^2 - 4 a^2) / 24 E I.
  const double a = l / 4, free = load * a * (3 * l * l - 4 * a * a) / (24 * ei);
  REQUIRE(free > gap);
  const ContactForces open = pressed.solve({{0, 0, free + 1, 5, 5}, {1, 1, 1, 1, 1}, {}, MPa{0}});
  CHECK(open.force[2] == 0);
  CHECK(open.deflection[2] == Approx(free).epsilon(0.005));
  CHECK(open.travel[2] == Approx(free - free - 1).margin(0.01));
  // Closed at the gap: R l^3 / 48 E I takes back what is more than the gap.
  const ContactForces closed = pressed.solve({{0, 0, gap, 5, 5}, {1, 1, 1, 1, 1}, {}, MPa{0}});
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
  const PressedPlate pressed = b.press({stop(true), stop(true), probe(5, 0.5, 6)});
  const double k = 48 * b.ei() / std::pow(80, 3);
  // Pressure down on the beam, stops under its ends: the middle would sink; the probe at height 0 holds it with less
  // than 5 N.
  const double q = -0.002;  // MPa
  const ContactForces forces = pressed.solve({{0, 0, 0}, {1, 1, 1}, {}, MPa{q}});
  // Overhanging beam: clear span 80 with two arms of 10 under even load, and a middle force that makes the middle
  // deflection 0.
  const double line = -q * Beam::kWidth, l = 80, c = 10;
  const double sag = line * l * l / (384 * b.ei()) * (5 * l * l - 24 * c * c);
  CHECK(forces.deflection[2] == Approx(0).margin(1e-4));
  CHECK(forces.force[2] == Approx(sag * k).epsilon(0.02));
  CHECK(forces.force[2] < 5);
  // Pushed up away from it: no force, and the gap is told.
  const ContactForces lost = pressed.solve({{1, 1, 0}, {1, 1, 1}, {}, MPa{q}});
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
  Beam beam;
  beam.places = {20, 50, 80};
  const PressedPlate p = beam.press({probe(2, 0.5, 6), probe(2, 0.5, 6), probe(2, 0.5, 6)});
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
  const PressedPlate pressed = b.press({stop(true), stop(true), stop(false)});
  std::vector<double> shape;
  // The middle stands 0.3 mm higher than the places at the ends; a finger at height 0 pushes it down.
  for (const Point n : pressed.plate().mesh().nodes) shape.push_back(0.3 * (1 - std::pow((n.x - 50) / 40, 2)));
  const ContactForces f = pressed.solve({{0, 0, 0}, {1, 1, 1}, shape, MPa{0}});
  CHECK(f.force[2] == Approx(48 * b.ei() / std::pow(80, 3) * 0.3).epsilon(0.01));
  CHECK(f.force[0] == Approx(f.force[2] / 2).epsilon(0.01));
  // A finger that is as high as the bow pushes nothing.
  CHECK(pressed.solve({{0, 0, 0.31}, {1, 1, 1}, shape, MPa{0}}).force[2] == 0);
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
    PlateMesh mesh = mesh_plate({{{{0, 0}, {80, 0}, {80, 50}, {0, 50}}, {rectangle({40, 25}, 8, 6)}}}, points, Mm{5});
    std::vector<PressContact> contacts;
    std::vector<Point> place;
    PressState state;
    for (std::size_t i = 0; i < points.size(); ++i) {
      if (mesh.node_of[i] < 0) continue;
      PressContact contact;
      contact.patch = {{mesh.node_of[i], 1}};
      const int kind = static_cast<int>(random() % 4);
      contact.from_below = kind != 3;
      if (kind < 2) {
        contact.preload = Newton{real(0.5, 1.2)};
        contact.rate = NewtonPerMm{real(0.1, 0.4)};
        contact.full = Mm{6};
      }
      contacts.push_back(contact);
      place.push_back(points[i]);
      if (kind < 2)
        state.touch.push_back(real(1, 4.2));
      else
        state.touch.push_back(kind == 2 ? real(-0.1, 0) : real(0, 0.05));
      state.present.push_back(random() % 8 != 0);
    }
    state.pressure = MPa{-real(0, 0.004)};
    const PressedPlate pressed(
        mesh, {.thickness = Mm{1.6}, .modulus = MPa{20000}, .modulus_across = {}, .poisson = 0.14, .shear = {}},
        contacts);
    REQUIRE(pressed.ok());
    const ContactForces forces = pressed.solve(state);
    REQUIRE(forces.settled);
    double fz = 0, mx = 0, my = 0, size = 0;
    const auto& area = pressed.plate().area_of_node();
    for (std::size_t n = 0; n < area.size(); ++n) {
      fz += state.pressure.v * area[n];
      mx += state.pressure.v * area[n] * mesh.nodes[n].y;
      my += state.pressure.v * area[n] * mesh.nodes[n].x;
    }
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      const double v = contacts[i].from_below ? forces.force[i] : -forces.force[i];
      fz += v;
      mx += v * place[i].y;
      my += v * place[i].x;
      size += forces.force[i];
      CHECK(forces.force[i] >= 0);
      if (!state.present[i]) CHECK(forces.force[i] == 0);
      if (state.present[i] && contacts[i].rate.v == 0) {
        CHECK(forces.travel[i] < 1e-3);
        CHECK((forces.force[i] < 1e-6 || std::abs(forces.travel[i]) < 1e-3));
      }
      if (state.present[i] && contacts[i].rate.v > 0) {
        const double preload = contacts[i].preload.v;
        if (forces.travel[i] > 1e-4)
          CHECK(forces.force[i] == Approx(preload + contacts[i].rate.v * forces.travel[i]).margin(1e-3));
        else if (forces.travel[i] < -1e-4)
          CHECK(forces.force[i] == Approx(0).margin(1e-3));
        else
          CHECK(forces.force[i] <= preload + 1e-3);
      }
    }
    // The weak hold of the free plate takes what deflection times 1e-4 N/mm is.
    CHECK(std::abs(fz) < 1e-3 + 1e-4 * size);
    CHECK(std::abs(mx) < 0.05 + 5e-3 * size);
    CHECK(std::abs(my) < 0.08 + 5e-3 * size);
    const auto u = pressed.bending(forces, state.pressure);
    for (std::size_t i = 0; i < contacts.size(); ++i)
      CHECK(u[unknown_of(contacts[i].patch[0].node)] == Approx(forces.deflection[i]).margin(2e-6));
    // Energy: half of what true forces and pressure do is stored in bending alone, the springs within the plate's
    // equations taken off (Clapeyron).
    double stored = pressed.plate().energy(u), work = 0;
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      const double w = u[unknown_of(contacts[i].patch[0].node)];
      stored -= contacts[i].rate.v * w * w / 2;
      work += (contacts[i].from_below ? 1 : -1) * forces.force[i] * w / 2;
    }
    for (std::size_t n = 0; n < area.size(); ++n) work += state.pressure.v * area[n] * u[3 * n] / 2;
    CHECK(stored == Approx(work).epsilon(1e-3).margin(1e-4));
    CHECK(stored > -1e-4);
    // One contact more or less, foretold, is what comes where all others go on doing what they do.
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      if (contacts[i].rate.v > 0) continue;
      PressState other = state;
      other.present[i] = !state.present[i];
      const ContactForces other_forces = pressed.solve(other);
      const Exchanges x = state.present[i] ? pressed.leaving(pressed.prepare(state), forces, {i})
                                           : pressed.joining(pressed.prepare(state), forces, {i});
      if (x.up[0].empty()) {
        CHECK(other_forces.force[i] == Approx(forces.force[i]).margin(1e-3));
        continue;
      }
      std::vector<char> did = forces.does;
      did[i] = other_forces.does[i];
      if (did != other_forces.does) continue;
      ++foretold;
      for (std::size_t r = 0; r < x.rows.size(); ++r)
        if (x.rows[r] != i)
          CHECK(forces.extra[x.rows[r]] + (contacts[x.rows[r]].from_below ? 1 : -1) * x.up[0][r] ==
                Approx(other_forces.extra[x.rows[r]]).epsilon(1e-4).margin(1e-3));
      for (std::size_t k = 0; k < contacts.size(); ++k) {
        double w = forces.deflection[k];
        for (std::size_t r = 0; r < x.rows.size(); ++r) w += pressed.compliance(k, x.rows[r]) * x.up[0][r];
        CHECK(w + pressed.compliance(k, i) * x.up[0].back() ==
              Approx(other_forces.deflection[k]).epsilon(1e-4).margin(1e-4));
      }
    }
  }
  CHECK(foretold > 20);
}

TEST_CASE("stops on a plate that gives way share what pushes on them (beam theory and springs in series, by hand)") {
  // Stops at 10 and 90 on a plate that gives way by 0.5 mm a newton for both together; a probe from above at 50.
  Beam b;
  b.places = {10, 90, 50};
  const PressedPlate p = b.press({stop(true), stop(true), probe(0, 0.5, 50, false)});
  REQUIRE(p.ok());
  PressState state{{1, 1, -9}, {1, 1, 1}, {}, MPa{0}, {1, 1, 0}, 0.5};
  const ContactForces forces = p.solve(state);
  REQUIRE(forces.settled);
  // The stops stand 1 mm up while they bear nothing; the relaxed tip reaches 9 mm under the plane: 10 mm are shared by
  // the spring, the plate that gives way and the beam between the stops.
  const double bends = std::pow(80, 3) / (48 * b.ei()), push = 10 / (1 / 0.5 + 0.5 + bends);
  CHECK(forces.force[2] == Approx(push).epsilon(0.01));
  CHECK(forces.force[0] == Approx(push / 2).epsilon(0.01));
  CHECK(forces.force[1] == Approx(push / 2).epsilon(0.01));
  // They have gone down to where the beam lies on them.
  CHECK(forces.deflection[0] == Approx(1 - 0.5 * push).margin(0.01));
  // Off the middle the nearer stop bears more, by the lever.
  b.places = {10, 90, 30};
  const PressedPlate q = b.press({stop(true), stop(true), probe(0, 0.5, 50, false)});
  const ContactForces uneven = q.solve(state);
  CHECK(uneven.force[0] == Approx(0.75 * uneven.force[2]).epsilon(0.01));
  CHECK(uneven.force[0] + uneven.force[1] == Approx(uneven.force[2]).epsilon(0.01));
}

TEST_CASE("a symmetric matrix of both signs is solved by the factors of its parts (elimination with pivots, seed 5)") {
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  for (const auto& [positive, rest] : {std::pair<Eigen::Index, Eigen::Index>{7, 0}, {0, 5}, {9, 4}, {3, 11}}) {
    const Eigen::Index size = positive + rest;
    Eigen::MatrixXd half(size, size);
    for (Eigen::Index i = 0; i < half.size(); ++i) half.data()[i] = normal(random);
    Eigen::MatrixXd whole = half * half.transpose() + Eigen::MatrixXd::Identity(size, size);
    // What presses in less than nothing stands below.
    whole.bottomRightCorner(rest, rest) *= -1;
    Eigen::MatrixXd side(size, 2);
    for (Eigen::Index i = 0; i < side.size(); ++i) side.data()[i] = normal(random);
    contact::QuasiDefinite factors;
    factors.compute(Eigen::MatrixXd(whole.triangularView<Eigen::Lower>()), positive);
    const Eigen::MatrixXd expected = whole.fullPivLu().solve(side);
    CHECK((factors.solve(side) - expected).cwiseAbs().maxCoeff() < 1e-8 * (1 + expected.cwiseAbs().maxCoeff()));
  }
}

TEST_CASE("forces are the same with what an earlier state left, and on a part of the contacts (one solution, seed 9)") {
  std::mt19937 random(9);
  const auto real = [&](double low, double high) {
    return low + (high - low) * static_cast<double>(random() % 10000) / 10000;
  };
  std::vector<Point> points;
  for (int i = 0; i < 40; ++i) points.push_back({real(2, 78), real(2, 48)});
  PlateMesh mesh = mesh_plate({{{{0, 0}, {80, 0}, {80, 50}, {0, 50}}, {}}}, points, Mm{5});
  std::vector<PressContact> contacts;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const bool spring = i < 30;
    PressContact one = spring ? probe(0.7, 0.3, 6.3, i % 2 == 0) : stop(i % 2 == 0);
    // A stop and a finger in one place, twice.
    const std::size_t place = i == 35 || i == 39 ? i - 1 : i;
    one.patch = {{mesh.node_of[place], 1}};
    contacts.push_back(one);
  }
  const PressedPlate pressed(
      mesh, {.thickness = Mm{1.6}, .modulus = MPa{20000}, .modulus_across = {}, .poisson = 0.14, .shear = {}},
      contacts);
  REQUIRE(pressed.ok());
  // Contacts 33 and 36 are never there.
  std::vector<std::size_t> kept;
  for (std::size_t i = 0; i < contacts.size(); ++i)
    if (i != 33 && i != 36) kept.push_back(i);
  const PressedPlate part(pressed, kept);
  PressedPlate::Likeness likeness;
  for (int step = 0; step <= 12; ++step) {
    PressState state, fewer;
    state.pressure = fewer.pressure = MPa{-0.001 * step};
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      const double up = contacts[i].from_below ? 1 : -1;
      state.touch.push_back(up * (i < 30 ? 0.25 * step - 1.0 : 0.02 * static_cast<double>(i % 3) - 0.01));
      state.present.push_back(i != 33 && i != 36);
      if (!state.present.back()) continue;
      fewer.touch.push_back(state.touch.back());
      fewer.present.push_back(1);
    }
    const ContactForces alone = pressed.solve(state),
                        warm = pressed.solve(pressed.prepare(state), state.present, {}, 500, &likeness),
                        some = part.solve(fewer);
    REQUIRE(alone.settled);
    for (std::size_t i = 0; i < contacts.size(); ++i) CHECK(warm.force[i] == Approx(alone.force[i]).margin(1e-6));
    // What a rigid contact does to the plate is what it is said to bear.
    for (std::size_t i = 30; i < contacts.size(); ++i) CHECK(alone.extra[i] == Approx(alone.force[i]).margin(1e-6));
    for (std::size_t k = 0; k < kept.size(); ++k) CHECK(some.force[k] == Approx(alone.force[kept[k]]).margin(1e-6));
  }
}
