#include "teasel/mechanics/contact.h"

#include <Eigen/Dense>
#include <cmath>
#include <set>

namespace teasel {

namespace {
std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// What a contact does. `working` springs are part of the plate; all others carry a force of their own.
enum class Does : char { nothing, held, working, bottomed };

constexpr double kWeak = 1e-4;        // N/mm in all, so that a plate that nothing holds floats instead of being undefined
constexpr double kForce = 1e-7, kGap = 1e-9;  // N, mm: less is rounding
constexpr int kRounds = 60, kSingly = 4000;
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

ContactForces PressedPlate::solve(const PreparedState& s, const std::vector<char>& present, const std::vector<char>& guess) const {
  const Parts& p = *p_;
  const std::size_t m = p.contacts.size();
  const std::vector<double>&touch = s.touch, &base = s.base;
  std::vector<Does> does(m, Does::nothing);
  for (std::size_t i = 0; i < m; ++i)
    if (present[i]) {
      const bool spring = p.contacts[i].rate > 0;
      does[i] = spring ? Does::working : Does::held;
      if (i < guess.size() && (spring || guess[i] < 2)) does[i] = static_cast<Does>(guess[i]);
    }
  ContactForces out;
  std::vector<double> deflection(m), extra(m);
  std::set<std::vector<Does>> seen;
  bool singly = false;
  const int most = kRounds + kSingly;
  for (out.rounds = 1; out.rounds <= most; ++out.rounds) {
    // Unknown: the force besides a working spring's, of each contact that is not a working spring and not an idle stop.
    std::vector<std::size_t> rows;
    for (std::size_t i = 0; i < m; ++i)
      if (does[i] != Does::working && !(does[i] == Does::nothing && p.contacts[i].rate <= 0)) rows.push_back(i);
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
      if (does[i] == Does::nothing) {
        // Its spring is in the plate: the extra force takes it out. preload + rate depth + extra = 0, with
        // depth = sign (touch - deflection).
        a.row(r) *= -c.rate;
        a(r, r) += 1;
        b(r) = -(c.preload + c.rate * p.sign(i) * (touch[i] - base[i]));
        // One sign for all rows keeps the matrix what it is; divide by the rate.
        a.row(r) /= -c.rate, b(r) /= -c.rate;
      } else {
        const double depth = does[i] == Does::bottomed ? c.full : 0;
        b(r) = p.sign(i) * (touch[i] - base[i]) - depth;
      }
    }
    const Eigen::VectorXd x = n > 0 ? Eigen::VectorXd(a.partialPivLu().solve(b)) : Eigen::VectorXd();
    std::fill(extra.begin(), extra.end(), 0.0);
    for (Eigen::Index r = 0; r < n; ++r) extra[rows[static_cast<std::size_t>(r)]] = x(r);
    for (std::size_t i = 0; i < m; ++i) {
      deflection[i] = base[i];
      for (const std::size_t j : rows) deflection[i] += p.compliance[i][j] * p.sign(j) * extra[j];
    }
    auto depth = [&](std::size_t i) { return p.sign(i) * (touch[i] - deflection[i]); };
    auto force = [&](std::size_t i) { return (p.contacts[i].rate > 0 ? p.contacts[i].preload + p.contacts[i].rate * depth(i) : 0) + extra[i]; };
    std::vector<Does> next = does;
    bool changed = false;
    for (std::size_t i = 0; i < m; ++i) {
      if (!present[i]) continue;
      const PressContact& c = p.contacts[i];
      const bool spring = c.rate > 0;
      Does& d = next[i];
      switch (does[i]) {
        case Does::nothing:
          if (depth(i) > kGap) d = Does::held;
          break;
        case Does::held:
          if (force(i) < -kForce) d = Does::nothing;
          else if (spring && force(i) > c.preload + kForce) d = Does::working;
          break;
        case Does::working:
          if (depth(i) < -kGap) d = Does::held;
          else if (c.full > 0 && depth(i) > c.full + kGap) d = Does::bottomed;
          break;
        case Does::bottomed:
          if (force(i) < c.preload + c.rate * c.full - kForce) d = Does::working;
          break;
      }
      changed |= d != does[i];
      if (changed && singly) break;
    }
    if (!changed) break;
    if (!singly && (out.rounds >= kRounds || !seen.insert(next).second)) singly = true;
    if (singly) {
      // The first wrong one alone.
      std::size_t first = 0;
      while (next[first] == does[first]) ++first;
      does[first] = next[first];
    } else {
      does = next;
    }
  }
  out.settled = out.rounds <= most;
  out.extra = extra;
  for (const Does d : does) out.does.push_back(static_cast<char>(d));
  out.force.assign(m, 0), out.travel.assign(m, 0), out.deflection.assign(m, 0);
  for (std::size_t i = 0; i < m; ++i) {
    const PressContact& c = p.contacts[i];
    const double depth = p.sign(i) * (touch[i] - deflection[i]);
    out.travel[i] = depth, out.deflection[i] = deflection[i] + s.own[i];
    if (does[i] != Does::nothing) out.force[i] = std::max(0.0, (c.rate > 0 ? c.preload + c.rate * depth : 0) + extra[i]);
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
