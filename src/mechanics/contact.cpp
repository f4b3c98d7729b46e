#include "teasel/mechanics/contact.h"

#include <Eigen/Dense>
#include <cmath>
#include <map>

namespace teasel {

namespace {
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
  Eigen::MatrixXd depth;
};

/// What of a contact the equations need, in N and mm.
struct ContactSpring {
  double preload, rate, full;
  bool linear;
};
}  // namespace

struct PressedPlate::Parts {
  std::vector<PressContact> contacts;
  std::vector<ContactSpring> springs;  // by contact
  std::unique_ptr<ElasticPlate> plate;
  std::vector<std::vector<double>> compliance;  // deflection at i from one newton up at j; symmetric
  std::vector<double> under_pressure;           // deflection at i from 1 MPa

  double sign(std::size_t i) const { return contacts[i].from_below ? 1 : -1; }
  double mean(std::size_t i, const std::vector<double>& by_node) const {
    double sum = 0;
    if (!by_node.empty())
      for (const NodeWeight& part : contacts[i].patch)
        sum += part.weight * by_node[static_cast<std::size_t>(part.node)];
    return sum;
  }
  /// It has a force of its own.
  bool is_active(std::size_t i, Does what) const {
    return what != Does::working && !(what == Does::nothing && springs[i].rate <= 0);
  }
  /// mm that i is pressed in less by one newton of j.
  double pressed_in(std::size_t i, std::size_t j) const { return sign(i) * compliance[i][j] * sign(j); }
  double own_yield(std::size_t i, Does what, double spring_yield) const {
    if (what == Does::nothing) return -1 / springs[i].rate;
    return what == Does::held ? held_yield(i, spring_yield) : spring_yield;
  }
  /// Depth by its own force while it is held; a spring's rate works along.
  double held_yield(std::size_t i, double spring_yield) const {
    return springs[i].rate > 0 ? spring_yield / (1 - springs[i].rate * spring_yield) : kYields;
  }
  Active active(const std::vector<Does>& what, double spring_yield) const;
};

/// Depths by the forces of the active contacts, each with what its own force yields.
Active PressedPlate::Parts::active(const std::vector<Does>& what, double spring_yield) const {
  Active out;
  for (std::size_t i = 0; i < contacts.size(); ++i)
    if (is_active(i, what[i])) out.rows.push_back(i);
  const auto size = static_cast<Eigen::Index>(out.rows.size());
  out.depth.resize(size, size);
  for (Eigen::Index i = 0; i < size; ++i)
    for (Eigen::Index k = 0; k < size; ++k)
      out.depth(i, k) = pressed_in(out.rows[index(i)], out.rows[index(k)]) +
                        (i == k ? own_yield(out.rows[index(i)], what[out.rows[index(i)]], spring_yield) : 0);
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
    const auto size = static_cast<Eigen::Index>(active_.rows.size());
    Eigen::VectorXd side(size);
    for (Eigen::Index i = 0; i < size; ++i) side(i) = right_side(active_.rows[index(i)], was_[active_.rows[index(i)]]);
    Eigen::VectorXd inside = size > 0 ? Eigen::VectorXd(lu_.solve(side)) : side;
    const Eigen::VectorXd border = changed.empty() ? Eigen::VectorXd() : bordered(changed, what, right_side, inside);
    std::vector<double> forces(what.size());
    for (Eigen::Index i = 0; i < size; ++i) forces[active_.rows[index(i)]] = inside(i);
    for (const auto& [joins, contact] : changed)
      if (!joins) forces[contact] = 0;
    for (std::size_t k = 0; k < changed.size(); ++k)
      if (changed[k].joins) forces[changed[k].contact] = border(static_cast<Eigen::Index>(k));
    return forces;
  }

 private:
  void factor(const std::vector<Does>& what) {
    active_ = p_.active(what, yield_);
    was_ = what;
    columns_ = {};
    if (!active_.rows.empty()) lu_.compute(active_.depth);
  }
  /// Those that join first: they were not in the factors, or not as what they are now. The others are in them, but no
  /// longer so.
  struct Change {
    bool joins;
    std::size_t contact;
  };
  /// Borders the factors with what has changed: fresh contacts add their equations, and a gone one's force is brought
  /// to nothing by a free term in its equation. Corrects the forces inside and returns those of the border.
  template <class RightSide>
  Eigen::VectorXd bordered(const std::vector<Change>& changed, const std::vector<Does>& what,
                           const RightSide& right_side, Eigen::VectorXd& inside) {
    const auto size = static_cast<Eigen::Index>(active_.rows.size()), width = static_cast<Eigen::Index>(changed.size());
    Eigen::VectorXd side = Eigen::VectorXd::Zero(width);
    Eigen::MatrixXd edge(size, width), corner = Eigen::MatrixXd::Zero(width, width);
    for (Eigen::Index k = 0; k < width; ++k) {
      const auto [joins, contact] = changed[index(k)];
      for (Eigen::Index i = 0; i < size; ++i) {
        const std::size_t row = active_.rows[index(i)];
        if (joins)
          edge(i, k) = p_.pressed_in(row, contact);
        else
          edge(i, k) = row == contact ? 1.0 : 0.0;
      }
      if (!joins) continue;
      side(k) = right_side(contact, what[contact]);
      for (Eigen::Index i = 0; i < width && changed[index(i)].joins; ++i)
        corner(i, k) = p_.pressed_in(changed[index(i)].contact, contact) +
                       (i == k ? p_.own_yield(contact, what[contact], yield_) : 0);
    }
    const Eigen::MatrixXd through = through_factors(changed, edge);
    const Eigen::VectorXd border =
        (corner - edge.transpose() * through).partialPivLu().solve(side - edge.transpose() * inside);
    inside -= through * border;
    return border;
  }
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
  Parts& parts = *p_;
  parts.contacts = std::move(contacts);
  std::vector<Spring> springs;
  for (const PressContact& contact : parts.contacts) {
    parts.springs.push_back(
        {.preload = contact.preload.v, .rate = contact.rate.v, .full = contact.full.v, .linear = contact.linear});
    if (contact.rate > NewtonPerMm{}) springs.push_back({contact.patch, contact.rate});
  }
  const double weak = kWeak / static_cast<double>(std::max<std::size_t>(mesh.nodes.size(), 1));
  for (std::size_t node = 0; node < mesh.nodes.size(); ++node)
    springs.push_back({{{static_cast<int>(node), 1}}, NewtonPerMm{weak}});
  parts.plate = std::make_unique<ElasticPlate>(std::move(mesh), stiffness, std::vector<NodeFix>{}, springs);
  if (!parts.plate->ok()) return;
  std::vector<Patch> patches;
  std::vector<Terms> watch;
  for (const PressContact& contact : parts.contacts) {
    patches.push_back(contact.patch);
    watch.push_back(deflection_terms(contact.patch));
  }
  parts.compliance = parts.plate->watched(watch, patches);
  const std::vector<double> even = parts.plate->solve({}, MPa{1});
  for (const Terms& terms : watch) parts.under_pressure.push_back(value(terms, even));
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

PreparedState PressedPlate::prepare(const PressState& state) const {
  const Parts& parts = *p_;
  const std::size_t count = parts.contacts.size();
  PreparedState out;
  out.pressure = state.pressure;
  for (std::size_t i = 0; i < count; ++i) {
    const ContactSpring& spring = parts.springs[i];
    out.own.push_back(parts.mean(i, state.shape));
    out.touch.push_back(state.touch[i] - out.own[i]);
    // All springs at work: each pushes with its preload and what its rate adds at no deflection. The rate's part that
    // follows the deflection is in the plate.
    out.idle.push_back(spring.rate > 0 ? parts.sign(i) * (spring.preload + spring.rate * parts.sign(i) * out.touch[i])
                                       : 0);
  }
  for (std::size_t i = 0; i < count; ++i) {
    double deflection = state.pressure.v * parts.under_pressure[i];
    for (std::size_t j = 0; j < count; ++j)
      if (out.idle[j] != 0) deflection += parts.compliance[i][j] * out.idle[j];
    out.base.push_back(deflection);
  }
  return out;
}

/// Newton steps of one state, each followed as far as the energy falls.
class PressedPlate::Steps {
 public:
  Steps(const Parts& parts, const PreparedState& state, const std::vector<char>& present, std::vector<Does> does)
      : p_(parts), state_(state), present_(present), does_(std::move(does)) {}
  /// Rounds that it took; one more than `most`: no pattern of states agreed with itself.
  int run(double spring_yield, int most);
  [[nodiscard]] const std::vector<Does>& does() const { return does_; }
  [[nodiscard]] const std::vector<double>& extra() const { return extra_; }
  [[nodiscard]] const std::vector<double>& deflection() const { return deflection_; }
  [[nodiscard]] double depth_at(std::size_t i, double deflection) const {
    return p_.sign(i) * (state_.touch[i] - deflection);
  }

 private:
  [[nodiscard]] Does does_at(std::size_t i, double depth) const;
  [[nodiscard]] double extra_at(std::size_t i, double depth) const;
  [[nodiscard]] double right_side(std::size_t i, Does what) const;
  void step_to(const std::vector<double>& extra);
  bool look_again();

  const Parts& p_;
  const PreparedState& state_;
  const std::vector<char>& present_;
  std::vector<Does> does_;
  double yield_ = kYieldsSpring;
  std::vector<double> deflection_, extra_;  // by contact; the forces are those that make the deflection
};

Does PressedPlate::Steps::does_at(std::size_t i, double depth) const {
  const ContactSpring& contact = p_.springs[i];
  if (present_[i] && contact.linear) return Does::working;
  if (!present_[i] || depth < 0) return Does::nothing;
  if (contact.rate <= 0 || depth < contact.preload * p_.held_yield(i, yield_)) return Does::held;
  return contact.full > 0 && depth > contact.full ? Does::bottomed : Does::working;
}

/// Force at a depth besides what its working spring, which is in the plate, pushes.
double PressedPlate::Steps::extra_at(std::size_t i, double depth) const {
  const ContactSpring& contact = p_.springs[i];
  const double spring = contact.rate > 0 ? contact.preload + contact.rate * depth : 0;
  switch (does_at(i, depth)) {
    case Does::nothing: return -spring;
    case Does::held: return depth / (contact.rate > 0 ? yield_ : kYields) - spring;
    case Does::working: return 0.0;
    case Does::bottomed: return (depth - contact.full) / yield_;
  }
  return 0.0;
}

double PressedPlate::Steps::right_side(std::size_t i, Does what) const {
  const ContactSpring& contact = p_.springs[i];
  const double free = p_.sign(i) * (state_.touch[i] - state_.base[i]);  // depth if it had no force of its own
  // depth = free - sum a e. Taken out of the plate: preload + rate depth + e = 0. Held: depth = (spring + e) yields. At
  // the end stop: depth = full + e yields.
  if (what == Does::nothing) return free + contact.preload / contact.rate;
  if (what == Does::held) return free - (contact.rate > 0 ? contact.preload * p_.held_yield(i, yield_) : 0);
  return free - contact.full;
}

void PressedPlate::Steps::step_to(const std::vector<double>& extra) {
  const std::size_t count = p_.contacts.size();
  std::vector<double> deflection = state_.base;
  for (std::size_t j = 0; j < count; ++j)
    if (const double up = p_.sign(j) * extra[j]; up != 0) {
      const std::vector<double>& row = p_.compliance[j];
      for (std::size_t i = 0; i < count; ++i) deflection[i] += row[i] * up;
    }
  if (deflection_.empty()) {
    extra_ = extra;
    deflection_ = std::move(deflection);
    return;
  }
  // The energy along the way from the last place to this one is convex: its slope is followed to where it ends.
  auto slope = [&](double share) {
    double sum = 0;
    for (std::size_t i = 0; i < count; ++i) {
      const double way = deflection[i] - deflection_[i], there = deflection_[i] + share * way;
      sum += way * p_.sign(i) * (extra_[i] + share * (extra[i] - extra_[i]) - extra_at(i, depth_at(i, there)));
    }
    return sum;
  };
  double share = 1;
  if (slope(1) > 0) {
    double low = 0, high = 1;
    for (int k = 0; k < 60; ++k) (slope((low + high) / 2) > 0 ? high : low) = (low + high) / 2;
    share = (low + high) / 2;
  }
  for (std::size_t i = 0; i < count; ++i) {
    extra_[i] += share * (extra[i] - extra_[i]);
    deflection_[i] += share * (deflection[i] - deflection_[i]);
  }
}

/// True if every contact already did what its depth asks.
bool PressedPlate::Steps::look_again() {
  bool same = true;
  for (std::size_t i = 0; i < does_.size(); ++i) {
    const double depth = depth_at(i, deflection_[i]);
    const Does now = does_at(i, depth);
    // On the border of two states both say the same force.
    same &= now == does_[i] || std::abs(extra_at(i, depth) - extra_[i]) <= kForce;
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

ContactForces PressedPlate::solve(const PreparedState& state, const std::vector<char>& present,
                                  const std::vector<char>& guess, int most) const {
  const Parts& parts = *p_;
  const std::size_t count = parts.contacts.size();
  std::vector<Does> does(count, Does::nothing);
  for (std::size_t i = 0; i < count; ++i)
    if (present[i]) {
      const bool spring = parts.springs[i].rate > 0;
      does[i] = spring ? Does::working : Does::held;
      if (i < guess.size() && (spring || guess[i] < 2)) does[i] = static_cast<Does>(guess[i]);
    }
  ContactForces out;
  Steps steps(parts, state, present, std::move(does));
  // Where nothing is known yet, first with soft corners: sharp ones are then met from nearby.
  constexpr int kSoftRounds = 40;
  if (guess.empty())
    for (const double soft : {1000.0, 100.0, 10.0}) out.rounds += steps.run(soft * kYieldsSpring, kSoftRounds);
  const int sharp = steps.run(kYieldsSpring, most);
  out.rounds += sharp;
  out.settled = sharp <= most;
  out.extra = steps.extra();
  for (const Does one : steps.does()) out.does.push_back(static_cast<char>(one));
  out.force.assign(count, 0);
  out.travel.assign(count, 0);
  out.deflection.assign(count, 0);
  for (std::size_t i = 0; i < count; ++i) {
    const ContactSpring& spring = parts.springs[i];
    const double depth = steps.depth_at(i, steps.deflection()[i]);
    out.travel[i] = depth;
    out.deflection[i] = steps.deflection()[i] + state.own[i];
    if (present[i] && depth > -kGap)
      out.force[i] = std::max(0.0, (spring.rate > 0 ? spring.preload + spring.rate * depth : 0) + out.extra[i]);
  }
  return out;
}

std::vector<double> PressedPlate::bending(const PreparedState& state, const ContactForces& forces) const {
  const Parts& parts = *p_;
  // Every contact's true force, and the plate's own springs taken out again where they are.
  std::vector<NodeLoad> loads;
  for (std::size_t i = 0; i < parts.contacts.size(); ++i) {
    const double plain =
        parts.sign(i) * forces.force[i] + parts.springs[i].rate * (forces.deflection[i] - state.own[i]);
    for (const NodeWeight& part : parts.contacts[i].patch) loads.push_back({part.node, Newton{part.weight * plain}});
  }
  return parts.plate->solve(loads, state.pressure);
}

namespace {
std::vector<Does> as_does(const std::vector<char>& codes) {
  std::vector<Does> out;
  for (const char code : codes) out.push_back(static_cast<Does>(code));
  return out;
}
}  // namespace

Exchanges PressedPlate::joining(const ContactForces& forces, const std::vector<std::size_t>& asked) const {
  const Parts& parts = *p_;
  Active active = parts.active(as_does(forces.does), kYieldsSpring);
  const auto rows = static_cast<Eigen::Index>(active.rows.size()), columns = static_cast<Eigen::Index>(asked.size());
  Eigen::MatrixXd side(rows, columns);
  for (Eigen::Index i = 0; i < rows; ++i)
    for (Eigen::Index k = 0; k < columns; ++k) side(i, k) = parts.pressed_in(active.rows[index(i)], asked[index(k)]);
  Eigen::MatrixXd solved;
  if (rows > 0) solved = active.depth.partialPivLu().solve(side);
  Exchanges out;
  out.up.resize(asked.size());
  for (Eigen::Index k = 0; k < columns; ++k) {
    const std::size_t joins = asked[index(k)];
    const double depth = forces.travel[joins];
    if (depth <= 0) continue;
    const double force =
        depth / (parts.compliance[joins][joins] + kYields - (rows > 0 ? side.col(k).dot(solved.col(k)) : 0));
    std::vector<double>& up = out.up[index(k)];
    for (Eigen::Index i = 0; i < rows; ++i) up.push_back(-parts.sign(active.rows[index(i)]) * solved(i, k) * force);
    up.push_back(parts.sign(joins) * force);
  }
  out.rows = std::move(active.rows);
  return out;
}

Exchanges PressedPlate::leaving(const ContactForces& forces, const std::vector<std::size_t>& asked) const {
  const Parts& parts = *p_;
  Active active = parts.active(as_does(forces.does), kYieldsSpring);
  const auto rows = static_cast<Eigen::Index>(active.rows.size());
  Exchanges out;
  out.up.resize(asked.size());
  Eigen::MatrixXd inverse;
  if (rows > 0) inverse = active.depth.partialPivLu().inverse();
  for (std::size_t k = 0; k < asked.size(); ++k) {
    const auto it = std::lower_bound(active.rows.begin(), active.rows.end(), asked[k]);
    if (it == active.rows.end() || *it != asked[k]) continue;
    const Eigen::Index own = it - active.rows.begin();
    // So much of its column that its own force comes to nothing.
    const double share = -forces.extra[asked[k]] / inverse(own, own);
    for (Eigen::Index i = 0; i < rows; ++i)
      out.up[k].push_back(i == own ? 0 : parts.sign(active.rows[index(i)]) * inverse(i, own) * share);
    out.up[k].push_back(-parts.sign(asked[k]) * forces.extra[asked[k]]);
  }
  out.rows = std::move(active.rows);
  return out;
}

}  // namespace teasel
