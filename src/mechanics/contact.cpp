#include "teasel/mechanics/contact.h"

#include <Eigen/Dense>
#include <cmath>

namespace teasel {

namespace {
std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// What a contact does. `working` springs are part of the plate; all others carry a force of their own.
enum class Does : char { nothing, held, working, bottomed };

constexpr double kWeak = 1e-4;        // N/mm in all, so that a plate that nothing holds floats instead of being undefined
constexpr double kYields = 1e-5;  // mm/N of a rigid contact; two that share a place stay apart in the equations by it
constexpr double kForce = 1e-5, kGap = 1e-7;  // N, mm: less is rounding
}  // namespace

struct PressedPlate::Parts {
  std::vector<PressContact> contacts;
  std::unique_ptr<ElasticPlate> plate;
  std::vector<std::vector<double>> compliance;  // deflection at i from one newton up at j
  std::vector<double> under_pressure;           // deflection at i from 1 MPa

  double sign(std::size_t i) const { return contacts[i].from_below ? 1 : -1; }
  double mean(std::size_t i, const std::vector<double>& by_node) const {
    double v = 0;
    if (!by_node.empty())
      for (const NodeLoad& n : contacts[i].patch) v += n.force * by_node[at(n.node)];
    return v;
  }
};

PressedPlate::PressedPlate(PlateMesh mesh, const PlateStiffness& stiffness, std::vector<PressContact> contacts) : p_(std::make_unique<Parts>()) {
  Parts& p = *p_;
  p.contacts = std::move(contacts);
  std::vector<Spring> springs;
  for (const PressContact& c : p.contacts)
    if (c.rate > 0) springs.push_back({c.patch, c.rate});
  const double weak = kWeak / static_cast<double>(std::max<std::size_t>(mesh.nodes.size(), 1));
  for (std::size_t n = 0; n < mesh.nodes.size(); ++n) springs.push_back({{{static_cast<int>(n), 1}}, weak});
  p.plate = std::make_unique<ElasticPlate>(std::move(mesh), stiffness, std::vector<NodeFix>{}, springs);
  if (!p.plate->ok()) return;
  std::vector<std::vector<NodeLoad>> patches;
  for (const PressContact& c : p.contacts) patches.push_back(c.patch);
  p.compliance = p.plate->deflections(patches, patches);
  const std::vector<double> even = p.plate->solve({}, 1);
  for (const PressContact& c : p.contacts) {
    double v = 0;
    for (const NodeLoad& n : c.patch) v += n.force * even[3 * at(n.node)];
    p.under_pressure.push_back(v);
  }
}
PressedPlate::~PressedPlate() = default;
bool PressedPlate::ok() const { return p_->plate->ok(); }
const ElasticPlate& PressedPlate::plate() const { return *p_->plate; }
const std::vector<PressContact>& PressedPlate::contacts() const { return p_->contacts; }

PreparedState PressedPlate::prepare(const PressState& s) const {
  const Parts& p = *p_;
  const std::size_t m = p.contacts.size();
  PreparedState out;
  out.pressure = s.pressure;
  for (std::size_t i = 0; i < m; ++i) {
    out.own.push_back(p.mean(i, s.shape));
    out.touch.push_back(s.touch[i] - out.own[i]);
    // All springs at work: each pushes with its preload and what its rate adds at no deflection. The rate's part that
    // follows the deflection is in the plate.
    out.idle.push_back(p.contacts[i].rate > 0 ? p.sign(i) * (p.contacts[i].preload + p.contacts[i].rate * p.sign(i) * out.touch[i]) : 0);
  }
  for (std::size_t i = 0; i < m; ++i) {
    double v = s.pressure * p.under_pressure[i];
    for (std::size_t j = 0; j < m; ++j)
      if (out.idle[j] != 0) v += p.compliance[i][j] * out.idle[j];
    out.base.push_back(v);
  }
  return out;
}

ContactForces PressedPlate::solve(const PreparedState& s, const std::vector<char>& present, const std::vector<char>& guess, int most) const {
  const Parts& p = *p_;
  const std::size_t m = p.contacts.size();
  const std::vector<double>&touch = s.touch, &base = s.base;
  auto depth_at = [&](std::size_t i, double v) { return p.sign(i) * (touch[i] - v); };
  // What a contact does at a depth, and its force besides what its working spring, which is in the plate, pushes.
  auto does_at = [&](std::size_t i, double d) {
    const PressContact& c = p.contacts[i];
    if (!present[i] || d < 0) return Does::nothing;
    if (c.rate <= 0 || d < c.preload * kYields) return Does::held;
    return c.full > 0 && d > c.full ? Does::bottomed : Does::working;
  };
  auto extra_at = [&](std::size_t i, double d) {
    const PressContact& c = p.contacts[i];
    const double spring = c.rate > 0 ? c.preload + c.rate * d : 0;
    switch (does_at(i, d)) {
      case Does::nothing: return -spring;
      case Does::held: return d / kYields - spring;
      case Does::working: return 0.0;
      case Does::bottomed: return (d - c.full) / kYields;
    }
    return 0.0;
  };
  std::vector<Does> does(m, Does::nothing);
  for (std::size_t i = 0; i < m; ++i)
    if (present[i]) {
      const bool spring = p.contacts[i].rate > 0;
      does[i] = spring ? Does::working : Does::held;
      if (i < guess.size() && (spring || guess[i] < 2)) does[i] = static_cast<Does>(guess[i]);
    }
  // Forces in their own directions, besides the plate's springs, if every contact does what is said of it.
  auto forces_of = [&](const std::vector<Does>& what, const PreparedState& state) {
    std::vector<std::size_t> rows;
    for (std::size_t i = 0; i < m; ++i)
      if (what[i] != Does::working && !(what[i] == Does::nothing && p.contacts[i].rate <= 0)) rows.push_back(i);
    const auto n = static_cast<Eigen::Index>(rows.size());
    Eigen::MatrixXd a(n, n);
    Eigen::VectorXd b(n);
    for (Eigen::Index r = 0; r < n; ++r) {
      const std::size_t i = rows[static_cast<std::size_t>(r)];
      const PressContact& c = p.contacts[i];
      for (Eigen::Index k = 0; k < n; ++k) {
        const std::size_t j = rows[static_cast<std::size_t>(k)];
        a(r, k) = p.sign(i) * p.compliance[i][j] * p.sign(j);
      }
      const double free = p.sign(i) * (state.touch[i] - state.base[i]);  // depth if it had no force of its own
      // depth = free - sum a e. Taken out of the plate: preload + rate depth + e = 0. Held: depth = (spring + e) yields, the
      // spring's part next to nothing. At the end stop: depth = full + e yields.
      if (what[i] == Does::nothing) a(r, r) -= 1 / c.rate, b(r) = free + c.preload / c.rate;
      else if (what[i] == Does::held) a(r, r) += kYields, b(r) = free - (c.rate > 0 ? c.preload * kYields : 0);
      else a(r, r) += kYields, b(r) = free - c.full;
    }
    std::vector<double> e(m);
    if (n == 0) return e;
    const Eigen::VectorXd x = a.partialPivLu().solve(b);
    for (Eigen::Index r = 0; r < n; ++r) e[rows[static_cast<std::size_t>(r)]] = x(r);
    return e;
  };
  ContactForces out;
  std::vector<double> deflection, extra;
  for (out.rounds = 1; out.rounds <= most; ++out.rounds) {
    std::vector<double> e = forces_of(does, s), v(m);
    for (std::size_t i = 0; i < m; ++i) v[i] = base[i];
    for (std::size_t j = 0; j < m; ++j)
      if (const double up = p.sign(j) * e[j]; up != 0) {
        const std::vector<double>& row = p.compliance[j];  // symmetric
        for (std::size_t i = 0; i < m; ++i) v[i] += row[i] * up;
      }
    if (out.rounds > 1) {
      // The energy along the way from the last place to this one is convex: its slope is followed to where it ends.
      auto slope = [&](double t) {
        double sum = 0;
        for (std::size_t i = 0; i < m; ++i) {
          const double dv = v[i] - deflection[i], at_t = deflection[i] + t * dv;
          sum += dv * p.sign(i) * (extra[i] + t * (e[i] - extra[i]) - extra_at(i, depth_at(i, at_t)));
        }
        return sum;
      };
      double t = 1;
      if (slope(1) > 0) {
        double low = 0, high = 1;
        for (int k = 0; k < 60; ++k) (slope((low + high) / 2) > 0 ? high : low) = (low + high) / 2;
        t = (low + high) / 2;
      }
      for (std::size_t i = 0; i < m; ++i) extra[i] += t * (e[i] - extra[i]), deflection[i] += t * (v[i] - deflection[i]);
    } else {
      extra = std::move(e), deflection = std::move(v);
    }
    bool same = true;
    for (std::size_t i = 0; i < m; ++i) {
      const double d = depth_at(i, deflection[i]);
      const Does now = does_at(i, d);
      // On the border of two states both say the same force.
      same &= now == does[i] || std::abs(extra_at(i, d) - extra[i]) <= kForce;
      does[i] = now;
    }
    if (same) break;
  }
  out.settled = out.rounds <= most;
  out.extra = extra;
  for (const Does d : does) out.does.push_back(static_cast<char>(d));
  out.force.assign(m, 0), out.travel.assign(m, 0), out.deflection.assign(m, 0);
  for (std::size_t i = 0; i < m; ++i) {
    const PressContact& c = p.contacts[i];
    const double depth = p.sign(i) * (touch[i] - deflection[i]);
    out.travel[i] = depth, out.deflection[i] = deflection[i] + s.own[i];
    out.force[i] = present[i] && depth > -kGap ? std::max(0.0, (c.rate > 0 ? c.preload + c.rate * depth : 0) + extra[i]) : 0;
  }
  return out;
}

std::vector<double> PressedPlate::bending(const PressState& s, const ContactForces& f) const {
  const Parts& p = *p_;
  // Every contact's true force, and the plate's own springs taken out again where they are.
  std::vector<NodeLoad> loads;
  for (std::size_t i = 0; i < p.contacts.size(); ++i) {
    const double plain = p.sign(i) * f.force[i] + p.contacts[i].rate * (f.deflection[i] - p.mean(i, s.shape));
    for (const NodeLoad& n : p.contacts[i].patch) loads.push_back({n.node, n.force * plain});
  }
  return p.plate->solve(loads, s.pressure);
}

}  // namespace teasel
