#include "teasel/mechanics/contact.h"

#include <Eigen/Dense>
#include <cmath>
#include <map>

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
std::size_t index(Eigen::Index i) {
  return static_cast<std::size_t>(i);
}

/// What a contact does. `working` springs are part of the plate; all others carry a force of their own.
enum class Does : char { nothing, held, working, bottomed };

constexpr double kWeak = 1e-4;    // N/mm in all, so that a plate that nothing holds floats instead of being undefined
constexpr double kYields = 1e-5;  // mm/N of a rigid contact; two that share a place stay apart in the equations by it
constexpr double kYieldsSpring =
    1e-4;  // mm/N of a probe while it takes up its preload, or at its end stop: sharp corners take many rounds
constexpr double kForce = 1e-5, kGap = 1e-7;  // N, mm: less is rounding

/// Contacts with a force of their own, and how far each is pressed in by one newton of another.
struct Active {
  std::vector<std::size_t> rows;
  Eigen::MatrixXd a;
};
}  // namespace

struct PressedPlate::Parts {
  std::vector<PressContact> contacts;
  std::unique_ptr<ElasticPlate> plate;
  std::vector<std::vector<double>> compliance;  // deflection at i from one newton up at j; symmetric
  std::vector<double> under_pressure;           // deflection at i from 1 MPa

  double sign(std::size_t i) const { return contacts[i].from_below ? 1 : -1; }
  double mean(std::size_t i, const std::vector<double>& by_node) const {
    double v = 0;
    if (!by_node.empty())
      for (const NodeLoad& n : contacts[i].patch) v += n.force * by_node[at(n.node)];
    return v;
  }
  /// It has a force of its own.
  bool is_active(std::size_t i, Does what) const {
    return what != Does::working && !(what == Does::nothing && contacts[i].rate <= 0);
  }
  /// mm that i is pressed in less by one newton of j.
  double pressed_in(std::size_t i, std::size_t j) const { return sign(i) * compliance[i][j] * sign(j); }
  double own_yield(std::size_t i, Does what, double spring_yield) const {
    return what == Does::nothing ? -1 / contacts[i].rate
           : what == Does::held  ? held_yield(i, spring_yield)
                                 : spring_yield;
  }
  /// Depth by its own force while it is held; a spring's rate works along.
  double held_yield(std::size_t i, double spring_yield) const {
    return contacts[i].rate > 0 ? spring_yield / (1 - contacts[i].rate * spring_yield) : kYields;
  }
  Active active(const std::vector<Does>& what, double spring_yield) const;
};

/// Depths by the forces of the active contacts, each with what its own force yields.
Active PressedPlate::Parts::active(const std::vector<Does>& what, double spring_yield) const {
  Active out;
  for (std::size_t i = 0; i < contacts.size(); ++i)
    if (is_active(i, what[i])) out.rows.push_back(i);
  const auto n = static_cast<Eigen::Index>(out.rows.size());
  out.a.resize(n, n);
  for (Eigen::Index r = 0; r < n; ++r)
    for (Eigen::Index k = 0; k < n; ++k)
      out.a(r, k) = pressed_in(out.rows[index(r)], out.rows[index(k)]) +
                    (r == k ? own_yield(out.rows[index(r)], what[out.rows[index(r)]], spring_yield) : 0);
  return out;
}

/// The active contacts' equations from round to round: most rounds change few of them, and then border the last
/// factors.
class PressedPlate::ActiveSystem {
 public:
  ActiveSystem(const Parts& parts, double spring_yield) : p_(parts), yield_(spring_yield) {}
  template <class RightSide>
  std::vector<double> solve(const std::vector<Does>& what, const RightSide& right_side) {
    std::vector<Change> changed = was_.empty() ? std::vector<Change>{} : changes(what);
    if (was_.empty() || 4 * changed.size() > active_.rows.size()) {
      factor(what);
      changed.clear();
    }
    const auto n = static_cast<Eigen::Index>(active_.rows.size()), k = static_cast<Eigen::Index>(changed.size());
    Eigen::VectorXd b(n);
    for (Eigen::Index r = 0; r < n; ++r) b(r) = right_side(active_.rows[index(r)], was_[active_.rows[index(r)]]);
    Eigen::VectorXd x = n > 0 ? Eigen::VectorXd(lu_.solve(b)) : b;
    std::vector<double> e(what.size());
    Eigen::VectorXd w;
    if (k > 0) {
      // Fresh contacts add their equations; a gone one's force is brought to nothing by a free term in its equation.
      Eigen::VectorXd d = Eigen::VectorXd::Zero(k);
      Eigen::MatrixXd g(n, k), corner = Eigen::MatrixXd::Zero(k, k);
      for (Eigen::Index c = 0; c < k; ++c) {
        const auto [joins, contact] = changed[index(c)];
        for (Eigen::Index r = 0; r < n; ++r)
          g(r, c) = joins                               ? p_.pressed_in(active_.rows[index(r)], contact)
                    : active_.rows[index(r)] == contact ? 1.0
                                                        : 0.0;
        if (!joins) continue;
        d(c) = right_side(contact, what[contact]);
        for (Eigen::Index r = 0; r < k && changed[index(r)].joins; ++r)
          corner(r, c) = p_.pressed_in(changed[index(r)].contact, contact) +
                         (r == c ? p_.own_yield(contact, what[contact], yield_) : 0);
      }
      const Eigen::MatrixXd through = through_factors(changed, g);
      w = (corner - g.transpose() * through).partialPivLu().solve(d - g.transpose() * x);
      x -= through * w;
    }
    for (Eigen::Index r = 0; r < n; ++r) e[active_.rows[index(r)]] = x(r);
    for (const auto& [joins, contact] : changed)
      if (!joins) e[contact] = 0;
    for (Eigen::Index c = 0; c < k; ++c)
      if (changed[index(c)].joins) e[changed[index(c)].contact] = w(c);
    return e;
  }

 private:
  void factor(const std::vector<Does>& what) {
    active_ = p_.active(what, yield_);
    was_ = what;
    columns_ = {};
    if (!active_.rows.empty()) lu_.compute(active_.a);
  }
  /// Those that join first: they were not in the factors, or not as what they are now. The others are in them, but no
  /// longer so.
  struct Change {
    bool joins;
    std::size_t contact;
  };
  std::vector<Change> changes(const std::vector<Does>& what) const {
    std::vector<Change> out;
    for (std::size_t i = 0; i < what.size(); ++i)
      if (what[i] != was_[i] && p_.is_active(i, what[i])) out.push_back({true, i});
    for (const std::size_t i : active_.rows)
      if (what[i] != was_[i]) out.push_back({false, i});
    return out;
  }
  /// The columns through the factors; those of earlier rounds are known.
  Eigen::MatrixXd through_factors(const std::vector<Change>& changed, const Eigen::MatrixXd& columns) {
    Eigen::MatrixXd out(columns.rows(), columns.cols());
    if (columns.rows() == 0) return out;
    std::vector<Eigen::Index> wanted;
    for (Eigen::Index c = 0; c < columns.cols(); ++c) {
      const auto [joins, contact] = changed[index(c)];
      if (const auto it = columns_[joins].find(contact); it != columns_[joins].end())
        out.col(c) = it->second;
      else
        wanted.push_back(c);
    }
    if (wanted.empty()) return out;
    Eigen::MatrixXd side(columns.rows(), static_cast<Eigen::Index>(wanted.size()));
    for (std::size_t k = 0; k < wanted.size(); ++k) side.col(static_cast<Eigen::Index>(k)) = columns.col(wanted[k]);
    const Eigen::MatrixXd solved = lu_.solve(side);
    for (std::size_t k = 0; k < wanted.size(); ++k) {
      const auto [joins, contact] = changed[index(wanted[k])];
      columns_[joins][contact] = out.col(wanted[k]) = solved.col(static_cast<Eigen::Index>(k));
    }
    return out;
  }
  const Parts& p_;
  double yield_;  // mm/N of springs that are held or at their end
  Active active_;
  std::vector<Does> was_;  // by contact, when the factors were made
  Eigen::PartialPivLU<Eigen::MatrixXd> lu_;
  std::array<std::map<std::size_t, Eigen::VectorXd>, 2>
      columns_;  // leaving and joining, by contact: through the factors
};

PressedPlate::PressedPlate(PlateMesh mesh, const PlateStiffness& stiffness, std::vector<PressContact> contacts)
    : p_(std::make_unique<Parts>()) {
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
  std::vector<Terms> watch;
  for (const PressContact& c : p.contacts) {
    patches.push_back(c.patch);
    watch.push_back(deflection_terms(c.patch));
  }
  p.compliance = p.plate->watched(watch, patches);
  const std::vector<double> even = p.plate->solve({}, 1);
  for (const Terms& t : watch) p.under_pressure.push_back(value(t, even));
}
PressedPlate::~PressedPlate() = default;
bool PressedPlate::ok() const {
  return p_->plate->ok();
}
const ElasticPlate& PressedPlate::plate() const {
  return *p_->plate;
}
const std::vector<PressContact>& PressedPlate::contacts() const {
  return p_->contacts;
}

double PressedPlate::compliance(std::size_t i, std::size_t j) const {
  return p_->compliance[i][j];
}

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
    out.idle.push_back(p.contacts[i].rate > 0
                           ? p.sign(i) * (p.contacts[i].preload + p.contacts[i].rate * p.sign(i) * out.touch[i])
                           : 0);
  }
  for (std::size_t i = 0; i < m; ++i) {
    double v = s.pressure * p.under_pressure[i];
    for (std::size_t j = 0; j < m; ++j)
      if (out.idle[j] != 0) v += p.compliance[i][j] * out.idle[j];
    out.base.push_back(v);
  }
  return out;
}

/// Newton steps of one state, each followed as far as the energy falls.
class PressedPlate::Steps {
 public:
  Steps(const Parts& parts, const PreparedState& state, const std::vector<char>& present, std::vector<Does> does)
      : p_(parts), s_(state), present_(present), does_(std::move(does)) {}
  /// Rounds that it took; one more than `most`: no pattern of states agreed with itself.
  int run(double spring_yield, int most);
  [[nodiscard]] const std::vector<Does>& does() const { return does_; }
  [[nodiscard]] const std::vector<double>& extra() const { return extra_; }
  [[nodiscard]] const std::vector<double>& deflection() const { return deflection_; }
  [[nodiscard]] double depth_at(std::size_t i, double v) const { return p_.sign(i) * (s_.touch[i] - v); }

 private:
  [[nodiscard]] Does does_at(std::size_t i, double depth) const;
  [[nodiscard]] double extra_at(std::size_t i, double depth) const;
  [[nodiscard]] double right_side(std::size_t i, Does what) const;
  void step_to(const std::vector<double>& extra);
  bool look_again();

  const Parts& p_;
  const PreparedState& s_;
  const std::vector<char>& present_;
  std::vector<Does> does_;
  double yield_ = kYieldsSpring;
  std::vector<double> deflection_, extra_;  // by contact; the forces are those that make the deflection
};

Does PressedPlate::Steps::does_at(std::size_t i, double d) const {
  const PressContact& c = p_.contacts[i];
  if (present_[i] && c.linear) return Does::working;
  if (!present_[i] || d < 0) return Does::nothing;
  if (c.rate <= 0 || d < c.preload * p_.held_yield(i, yield_)) return Does::held;
  return c.full > 0 && d > c.full ? Does::bottomed : Does::working;
}

/// Force at a depth besides what its working spring, which is in the plate, pushes.
double PressedPlate::Steps::extra_at(std::size_t i, double d) const {
  const PressContact& c = p_.contacts[i];
  const double spring = c.rate > 0 ? c.preload + c.rate * d : 0;
  switch (does_at(i, d)) {
    case Does::nothing: return -spring;
    case Does::held: return d / (c.rate > 0 ? yield_ : kYields) - spring;
    case Does::working: return 0.0;
    case Does::bottomed: return (d - c.full) / yield_;
  }
  return 0.0;
}

double PressedPlate::Steps::right_side(std::size_t i, Does what) const {
  const PressContact& c = p_.contacts[i];
  const double free = p_.sign(i) * (s_.touch[i] - s_.base[i]);  // depth if it had no force of its own
  // depth = free - sum a e. Taken out of the plate: preload + rate depth + e = 0. Held: depth = (spring + e) yields. At
  // the end stop: depth = full + e yields.
  if (what == Does::nothing) return free + c.preload / c.rate;
  if (what == Does::held) return free - (c.rate > 0 ? c.preload * p_.held_yield(i, yield_) : 0);
  return free - c.full;
}

void PressedPlate::Steps::step_to(const std::vector<double>& e) {
  const std::size_t m = p_.contacts.size();
  std::vector<double> v = s_.base;
  for (std::size_t j = 0; j < m; ++j)
    if (const double up = p_.sign(j) * e[j]; up != 0) {
      const std::vector<double>& row = p_.compliance[j];
      for (std::size_t i = 0; i < m; ++i) v[i] += row[i] * up;
    }
  if (deflection_.empty()) {
    extra_ = e;
    deflection_ = std::move(v);
    return;
  }
  // The energy along the way from the last place to this one is convex: its slope is followed to where it ends.
  auto slope = [&](double t) {
    double sum = 0;
    for (std::size_t i = 0; i < m; ++i) {
      const double dv = v[i] - deflection_[i], at_t = deflection_[i] + t * dv;
      sum += dv * p_.sign(i) * (extra_[i] + t * (e[i] - extra_[i]) - extra_at(i, depth_at(i, at_t)));
    }
    return sum;
  };
  double t = 1;
  if (slope(1) > 0) {
    double low = 0, high = 1;
    for (int k = 0; k < 60; ++k) (slope((low + high) / 2) > 0 ? high : low) = (low + high) / 2;
    t = (low + high) / 2;
  }
  for (std::size_t i = 0; i < m; ++i) {
    extra_[i] += t * (e[i] - extra_[i]);
    deflection_[i] += t * (v[i] - deflection_[i]);
  }
}

/// True if every contact already did what its depth asks.
bool PressedPlate::Steps::look_again() {
  bool same = true;
  for (std::size_t i = 0; i < does_.size(); ++i) {
    const double d = depth_at(i, deflection_[i]);
    const Does now = does_at(i, d);
    // On the border of two states both say the same force.
    same &= now == does_[i] || std::abs(extra_at(i, d) - extra_[i]) <= kForce;
    does_[i] = now;
  }
  return same;
}

int PressedPlate::Steps::run(double spring_yield, int most) {
  yield_ = spring_yield;
  ActiveSystem system(p_, yield_);
  for (int round = 1; round <= most; ++round) {
    step_to(system.solve(does_, [&](std::size_t i, Does what) { return right_side(i, what); }));
    if (look_again()) return round;
  }
  return most + 1;
}

ContactForces PressedPlate::solve(const PreparedState& s, const std::vector<char>& present,
                                  const std::vector<char>& guess, int most) const {
  const Parts& p = *p_;
  const std::size_t m = p.contacts.size();
  std::vector<Does> does(m, Does::nothing);
  for (std::size_t i = 0; i < m; ++i)
    if (present[i]) {
      const bool spring = p.contacts[i].rate > 0;
      does[i] = spring ? Does::working : Does::held;
      if (i < guess.size() && (spring || guess[i] < 2)) does[i] = static_cast<Does>(guess[i]);
    }
  ContactForces out;
  Steps steps(p, s, present, std::move(does));
  // Where nothing is known yet, first with soft corners: sharp ones are then met from nearby.
  constexpr int kSoftRounds = 40;
  if (guess.empty())
    for (const double soft : {1000.0, 100.0, 10.0}) out.rounds += steps.run(soft * kYieldsSpring, kSoftRounds);
  const int sharp = steps.run(kYieldsSpring, most);
  out.rounds += sharp;
  out.settled = sharp <= most;
  out.extra = steps.extra();
  for (const Does d : steps.does()) out.does.push_back(static_cast<char>(d));
  out.force.assign(m, 0);
  out.travel.assign(m, 0);
  out.deflection.assign(m, 0);
  for (std::size_t i = 0; i < m; ++i) {
    const PressContact& c = p.contacts[i];
    const double depth = steps.depth_at(i, steps.deflection()[i]);
    out.travel[i] = depth;
    out.deflection[i] = steps.deflection()[i] + s.own[i];
    out.force[i] =
        present[i] && depth > -kGap ? std::max(0.0, (c.rate > 0 ? c.preload + c.rate * depth : 0) + out.extra[i]) : 0;
  }
  return out;
}

std::vector<double> PressedPlate::bending(const PreparedState& s, const ContactForces& f) const {
  const Parts& p = *p_;
  // Every contact's true force, and the plate's own springs taken out again where they are.
  std::vector<NodeLoad> loads;
  for (std::size_t i = 0; i < p.contacts.size(); ++i) {
    const double plain = p.sign(i) * f.force[i] + p.contacts[i].rate * (f.deflection[i] - s.own[i]);
    for (const NodeLoad& n : p.contacts[i].patch) loads.push_back({n.node, n.force * plain});
  }
  return p.plate->solve(loads, s.pressure);
}

namespace {
std::vector<Does> as_does(const std::vector<char>& v) {
  std::vector<Does> out;
  for (const char d : v) out.push_back(static_cast<Does>(d));
  return out;
}
}  // namespace

Exchanges PressedPlate::joining(const ContactForces& f, const std::vector<std::size_t>& asked) const {
  const Parts& p = *p_;
  Active active = p.active(as_does(f.does), kYieldsSpring);
  const auto n = static_cast<Eigen::Index>(active.rows.size()), c = static_cast<Eigen::Index>(asked.size());
  Eigen::MatrixXd side(n, c);
  for (Eigen::Index r = 0; r < n; ++r)
    for (Eigen::Index k = 0; k < c; ++k) {
      const std::size_t i = active.rows[static_cast<std::size_t>(r)], j = asked[static_cast<std::size_t>(k)];
      side(r, k) = p.pressed_in(i, j);
    }
  Eigen::MatrixXd x;
  if (n > 0) x = active.a.partialPivLu().solve(side);
  Exchanges out;
  out.up.resize(asked.size());
  for (Eigen::Index k = 0; k < c; ++k) {
    const std::size_t j = asked[static_cast<std::size_t>(k)];
    const double depth = f.travel[j];
    if (depth <= 0) continue;
    const double force = depth / (p.compliance[j][j] + kYields - (n > 0 ? side.col(k).dot(x.col(k)) : 0));
    for (Eigen::Index r = 0; r < n; ++r)
      out.up[static_cast<std::size_t>(k)].push_back(-p.sign(active.rows[static_cast<std::size_t>(r)]) * x(r, k) *
                                                    force);
    out.up[static_cast<std::size_t>(k)].push_back(p.sign(j) * force);
  }
  out.rows = std::move(active.rows);
  return out;
}

Exchanges PressedPlate::leaving(const ContactForces& f, const std::vector<std::size_t>& asked) const {
  const Parts& p = *p_;
  Active active = p.active(as_does(f.does), kYieldsSpring);
  const auto n = static_cast<Eigen::Index>(active.rows.size());
  Exchanges out;
  out.up.resize(asked.size());
  Eigen::MatrixXd inverse;
  if (n > 0) inverse = active.a.partialPivLu().inverse();
  for (std::size_t k = 0; k < asked.size(); ++k) {
    const auto it = std::lower_bound(active.rows.begin(), active.rows.end(), asked[k]);
    if (it == active.rows.end() || *it != asked[k]) continue;
    const Eigen::Index own = it - active.rows.begin();
    // So much of its column that its own force comes to nothing.
    const double share = -f.extra[asked[k]] / inverse(own, own);
    for (Eigen::Index r = 0; r < n; ++r)
      out.up[k].push_back(r == own ? 0 : p.sign(active.rows[static_cast<std::size_t>(r)]) * inverse(r, own) * share);
    out.up[k].push_back(-p.sign(asked[k]) * f.extra[asked[k]]);
  }
  out.rows = std::move(active.rows);
  return out;
}

}  // namespace teasel
