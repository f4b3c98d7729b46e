#include <cmath>

#include "contact_parts.h"

namespace teasel {

using namespace contact;

namespace {
constexpr double kWeak = 1e-4;  // N/mm in all, so that a plate that nothing holds floats instead of being undefined
}  // namespace

PressedPlate::PressedPlate(PlateMesh mesh, const PlateStiffness& stiffness, std::vector<PressContact> contacts,
                           bool lies_on_top)
    : p_(std::make_unique<Parts>()) {
  constexpr std::size_t kWorthwhile = 24;  // springs to take out
  Parts& parts = *p_;
  parts.contacts = std::move(contacts);
  std::vector<Spring> springs;
  std::vector<std::size_t> under;
  for (std::size_t i = 0; i < parts.contacts.size(); ++i) {
    const PressContact& contact = parts.contacts[i];
    parts.springs.push_back({.preload = contact.preload.v, .rate = contact.rate.v, .full = contact.full.v});
    if (!(contact.rate > NewtonPerMm{})) continue;
    springs.push_back({contact.patch, contact.rate});
    if (contact.from_below != lies_on_top) under.push_back(i);
  }
  const double weak = kWeak / static_cast<double>(std::max<std::size_t>(mesh.nodes.size(), 1));
  for (std::size_t node = 0; node < mesh.nodes.size(); ++node)
    springs.push_back({{{static_cast<int>(node), 1}}, NewtonPerMm{weak}});
  parts.plate = std::make_shared<const ElasticPlate>(std::move(mesh), stiffness, std::vector<NodeFix>{}, springs);
  if (!parts.plate->ok()) return;
  std::vector<Patch> patches;
  std::vector<Terms> watch;
  for (const PressContact& contact : parts.contacts) {
    patches.push_back(contact.patch);
    watch.push_back(deflection_terms(contact.patch));
  }
  const std::vector<std::vector<double>> compliance = parts.plate->compliance(patches);
  const std::vector<double> even = parts.plate->solve({}, MPa{1});
  const auto count = static_cast<Eigen::Index>(parts.contacts.size());
  Ground all{std::vector<char>(parts.contacts.size()), Eigen::MatrixXd(count, count), Eigen::VectorXd(count)};
  for (std::size_t i = 0; i < parts.contacts.size(); ++i) {
    all.holds[i] = parts.springs[i].rate > 0;
    all.under_pressure(row(i)) = value(watch[i], even);
    for (std::size_t j = 0; j < parts.contacts.size(); ++j) all.compliance(row(i), row(j)) = compliance[i][j];
  }
  parts.grounds.push_back(std::move(all));
  if (under.size() >= kWorthwhile) parts.add_ground_without(under);
}
PressedPlate::PressedPlate(const PressedPlate& whole, const std::vector<std::size_t>& kept)
    : p_(std::make_unique<Parts>()) {
  const Parts& all = *whole.p_;
  p_->plate = all.plate;
  for (const std::size_t i : kept) {
    p_->contacts.push_back(all.contacts[i]);
    p_->springs.push_back(all.springs[i]);
  }
  for (const Ground& ground : all.grounds) {
    Ground& part = p_->grounds.emplace_back();
    part.compliance = ground.compliance(kept, kept);
    part.under_pressure = ground.under_pressure(kept);
    for (const std::size_t i : kept) part.holds.push_back(ground.holds[i]);
  }
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
  return p_->grounds.front().compliance(row(i), row(j));
}

PreparedState PressedPlate::prepare(const PressState& state) const {
  const Parts& parts = *p_;
  PreparedState out;
  out.pressure = state.pressure;
  out.linear = state.linear;
  if (state.carrier_yield > 0) {
    out.carried = state.carried;
    out.carrier_yield = state.carrier_yield;
  }
  for (std::size_t i = 0; i < parts.contacts.size(); ++i) {
    out.own.push_back(parts.mean(i, state.shape));
    out.touch.push_back(state.touch[i] - out.own[i]);
    // A working spring pushes with its preload and what its rate adds at no deflection. The rate's part that follows
    // the deflection is in the plate.
    out.idle.push_back(parts.sign(i) * parts.springs[i].at(parts.sign(i) * out.touch[i]));
  }
  if (state.linear) {
    const Eigen::VectorXd base = parts.base_on(parts.grounds.front(), out);
    out.base.assign(base.begin(), base.end());
  }
  return out;
}

Eigen::VectorXd PressedPlate::Parts::base_on(const Ground& ground, const PreparedState& state) const {
  Eigen::VectorXd idle = Eigen::VectorXd::Zero(row(contacts.size()));
  for (std::size_t i = 0; i < contacts.size(); ++i)
    if (ground.holds[i]) idle(row(i)) = state.idle[i];
  return state.pressure.v * ground.under_pressure + ground.compliance * idle;
}

/// Newton steps of one state, each followed as far as the energy falls.
class PressedPlate::Steps {
 public:
  Steps(const Parts& parts, const Ground& ground, const PreparedState& state, const std::vector<char>& present,
        std::vector<Does> does)
      : p_(parts),
        state_(state),
        carrier_(state),
        e_{parts, ground, carrier_, state.linear, kYieldsSpring},
        present_(present),
        does_(std::move(does)) {
    if (&ground == &parts.grounds.front() && !state.base.empty())
      base_ = Eigen::Map<const Eigen::VectorXd>(state.base.data(), row(state.base.size()));
    else
      base_ = parts.base_on(ground, state);
  }
  /// Rounds that it took; one more than `most`: no pattern of states agreed with itself.
  int run(double spring_yield, int most, ActiveSystem& system);
  [[nodiscard]] const std::vector<Does>& does() const { return does_; }
  /// Of the plate alone, without the way that its carrier goes back.
  [[nodiscard]] Eigen::VectorXd plate_deflection() const {
    Eigen::VectorXd out = deflection_;
    give_way(-1, extra_, out);
    return out;
  }
  [[nodiscard]] double depth(std::size_t i) const { return depth_at(i, deflection_(row(i))); }
  /// All of a contact's force.
  [[nodiscard]] double force(std::size_t i) const {
    return extra_[i] + (e_.ground.holds[i] ? p_.springs[i].at(depth(i)) : 0);
  }

 private:
  [[nodiscard]] double depth_at(std::size_t i, double deflection) const {
    return p_.sign(i) * (state_.touch[i] - deflection);
  }
  [[nodiscard]] double extra_at(std::size_t i, double depth) const { return e_.extra_at(i, depth, present_[i] != 0); }
  void step_to(const std::vector<double>& extra);
  bool look_again();
  /// Adds how far the carrier goes back, so many times.
  void give_way(double times, const std::vector<double>& extra, Eigen::VectorXd& deflection) const {
    if (carrier_.carried.empty()) return;
    double sum = 0;
    for (std::size_t i = 0; i < extra.size(); ++i)
      if (carrier_.carried[i]) sum += extra[i];
    for (std::size_t i = 0; i < extra.size(); ++i)
      if (carrier_.carried[i]) deflection(row(i)) += times * p_.sign(i) * carrier_.yield * sum;
  }

  const Parts& p_;
  const PreparedState& state_;
  const Carrier carrier_;
  Equations e_;
  const std::vector<char>& present_;
  std::vector<Does> does_;
  Eigen::VectorXd base_;        // by contact: deflection if the springs in the plate work and nothing else pushes
  Eigen::VectorXd deflection_;  // by contact, against what it stands on
  std::vector<double> extra_;   // the forces that make it
  bool whole_ = false;          // the last step was taken to its end
};

void PressedPlate::Steps::step_to(const std::vector<double>& extra) {
  const std::size_t count = p_.contacts.size();
  Eigen::VectorXd deflection = base_;
  for (std::size_t j = 0; j < count; ++j)
    if (const double up = p_.sign(j) * extra[j]; up != 0) deflection += up * e_.ground.compliance.col(row(j));
  give_way(1, extra, deflection);
  if (deflection_.size() == 0) {
    extra_ = extra;
    deflection_ = std::move(deflection);
    whole_ = true;
    return;
  }
  // The energy along the way from the last place to this one is convex: its slope is followed to where it ends.
  const Eigen::VectorXd way = deflection - deflection_;
  auto slope = [&](double share) {
    double sum = 0;
    for (std::size_t i = 0; i < count; ++i)
      sum += way(row(i)) * p_.sign(i) *
             (extra_[i] + share * (extra[i] - extra_[i]) -
              extra_at(i, depth_at(i, deflection_(row(i)) + share * way(row(i)))));
    return sum;
  };
  // Two contacts in one place may change their forces without any way: then nothing is followed.
  double share = 1;
  constexpr double kNoWay = 1e-13;  // mm
  whole_ = !(way.cwiseAbs().maxCoeff() > kNoWay && slope(1) > 0);
  if (!whole_) {
    double low = 0, high = 1;
    for (int k = 0; k < 60; ++k) (slope((low + high) / 2) > 0 ? high : low) = (low + high) / 2;
    share = (low + high) / 2;
  }
  for (std::size_t i = 0; i < count; ++i) extra_[i] += share * (extra[i] - extra_[i]);
  deflection_ += share * way;
}

/// True if every contact already did what its depth asks.
bool PressedPlate::Steps::look_again() {
  bool same = true;
  for (std::size_t i = 0; i < does_.size(); ++i) {
    const double depth = this->depth(i);
    const Does now = e_.does_at(i, depth, present_[i] != 0);
    // On the border of two states both say the same force. After part of a step forces are not yet those of the state.
    same &= (whole_ && now == does_[i]) || std::abs(extra_at(i, depth) - extra_[i]) <= kForce;
    does_[i] = now;
  }
  return same;
}

int PressedPlate::Steps::run(double spring_yield, int most, ActiveSystem& system) {
  e_.yield = spring_yield;
  for (int round = 1; round <= most; ++round) {
    step_to(system.solve(e_, does_, [&](std::size_t i, Does what) {
      return e_.right_side(i, what, p_.sign(i) * (state_.touch[i] - base_(row(i))));
    }));
    if (look_again()) return round;
  }
  return most + 1;
}

ContactForces PressedPlate::solve(const PreparedState& state, const std::vector<char>& present,
                                  const std::vector<char>& guess, int most, Likeness* like) const {
  const Parts& parts = *p_;
  const std::size_t count = parts.contacts.size();
  std::vector<Does> does(count, Does::nothing);
  for (std::size_t i = 0; i < count; ++i)
    if (present[i]) {
      const bool spring = parts.springs[i].rate > 0;
      does[i] = spring ? Does::working : Does::held;
      if (i < guess.size() && (spring || guess[i] < 2)) does[i] = static_cast<Does>(guess[i]);
    }
  // On the ground on which fewer contacts have a force of their own.
  const Carrier carrier(state);
  const Ground* ground = &parts.grounds.front();
  std::size_t least = count + 1;
  if (!state.linear && parts.grounds.size() > 1)
    for (const Ground& one : parts.grounds)
      if (const std::size_t rows = Equations{parts, one, carrier, false, kYieldsSpring}.count(does); rows < least) {
        least = rows;
        ground = &one;
      }
  ContactForces out;
  Steps steps(parts, *ground, state, present, std::move(does));
  // Where nothing is known yet, first with soft corners: sharp ones are then met from nearby.
  constexpr int kSoftRounds = 40;
  if (guess.empty())
    for (const double soft : {1000.0, 100.0, 10.0}) {
      ActiveSystem system;
      out.rounds += steps.run(soft * kYieldsSpring, kSoftRounds, system);
    }
  ActiveSystem own;
  const int sharp = steps.run(
      kYieldsSpring, most, like ? like->system(state, static_cast<std::size_t>(ground - parts.grounds.data())) : own);
  out.rounds += sharp;
  out.settled = sharp <= most;
  for (const Does one : steps.does()) out.does.push_back(static_cast<char>(one));
  out.force.assign(count, 0);
  out.travel.assign(count, 0);
  out.deflection.assign(count, 0);
  out.extra.assign(count, 0);
  const Eigen::VectorXd deflection = steps.plate_deflection();
  for (std::size_t i = 0; i < count; ++i) {
    const double depth = steps.depth(i);
    out.travel[i] = depth;
    out.deflection[i] = deflection(row(i)) + state.own[i];
    out.extra[i] = steps.force(i) - parts.springs[i].at(depth);
    if (present[i] && depth > -kGap) out.force[i] = std::max(0.0, steps.force(i));
    // The plate's own springs are taken out again where they are.
    out.up.push_back(parts.sign(i) * out.force[i] + parts.springs[i].rate * deflection(row(i)));
  }
  return out;
}

PressedPlate::Likeness::Likeness() : p_(std::make_unique<Parts>()) {}
PressedPlate::Likeness::~Likeness() = default;
ActiveSystem& PressedPlate::Likeness::system(const PreparedState& state, std::size_t ground) {
  if (p_->carried != state.carried || p_->carrier_yield != state.carrier_yield) {
    p_->systems = {};
    p_->carried = state.carried;
    p_->carrier_yield = state.carrier_yield;
  }
  return p_->systems[ground];
}

std::vector<std::vector<double>> PressedPlate::bending(
    const std::vector<std::pair<const ContactForces*, MPa>>& states) const {
  std::vector<ElasticPlate::Load> loads;
  for (const auto& [forces, pressure] : states) {
    ElasticPlate::Load& load = loads.emplace_back();
    load.pressure = pressure;
    for (std::size_t i = 0; i < p_->contacts.size(); ++i)
      for (const NodeWeight& part : p_->contacts[i].patch)
        load.nodes.push_back({part.node, Newton{part.weight * forces->up[i]}});
  }
  return p_->plate->solve(loads);
}

std::vector<double> PressedPlate::bending(const ContactForces& forces, MPa pressure) const {
  return std::move(bending({{&forces, pressure}}).front());
}

namespace {
std::vector<Does> as_does(const std::vector<char>& codes) {
  std::vector<Does> out;
  for (const char code : codes) out.push_back(static_cast<Does>(code));
  return out;
}
}  // namespace

Exchanges PressedPlate::joining(const PreparedState& state, const ContactForces& forces,
                                const std::vector<std::size_t>& asked) const {
  const Parts& parts = *p_;
  const Carrier carrier(state);
  const Equations equations{parts, parts.grounds.front(), carrier, state.linear, kYieldsSpring};
  Active active = equations.active(as_does(forces.does));
  const auto rows = static_cast<Eigen::Index>(active.rows.size()), columns = static_cast<Eigen::Index>(asked.size());
  Eigen::MatrixXd side(rows, columns);
  for (Eigen::Index i = 0; i < rows; ++i)
    for (Eigen::Index k = 0; k < columns; ++k)
      side(i, k) = equations.pressed_in(active.rows[index(i)], asked[index(k)]);
  Eigen::MatrixXd solved;
  if (rows > 0) solved = active.depth.partialPivLu().solve(side);
  Exchanges out;
  out.up.resize(asked.size());
  for (Eigen::Index k = 0; k < columns; ++k) {
    const std::size_t joins = asked[index(k)];
    const double depth = forces.travel[joins];
    if (depth <= 0) continue;
    const double force =
        depth / (equations.pressed_in(joins, joins) + kYields - (rows > 0 ? side.col(k).dot(solved.col(k)) : 0));
    std::vector<double>& up = out.up[index(k)];
    for (Eigen::Index i = 0; i < rows; ++i) up.push_back(-parts.sign(active.rows[index(i)]) * solved(i, k) * force);
    up.push_back(parts.sign(joins) * force);
  }
  out.rows = std::move(active.rows);
  return out;
}

Exchanges PressedPlate::leaving(const PreparedState& state, const ContactForces& forces,
                                const std::vector<std::size_t>& asked) const {
  const Parts& parts = *p_;
  const Carrier carrier(state);
  const Equations equations{parts, parts.grounds.front(), carrier, state.linear, kYieldsSpring};
  Active active = equations.active(as_does(forces.does));
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
