// Equations of the contacts that carry a force of their own, on the plate with all springs or without some.
#include <algorithm>

#include "contact_parts.h"

namespace teasel {

void PressedPlate::Parts::add_ground_without(const std::vector<std::size_t>& out) {
  using contact::row;
  const contact::Ground& all = grounds.front();
  const auto size = static_cast<Eigen::Index>(contacts.size()), gone = static_cast<Eigen::Index>(out.size());
  // K less its springs k, by the formula of Sherman, Morrison and Woodbury: C + C_k (1/k - C_kk)^-1 C_k'.
  Eigen::MatrixXd columns(size, gone), inner(gone, gone);
  for (Eigen::Index k = 0; k < gone; ++k) columns.col(k) = all.compliance.col(row(out[contact::index(k)]));
  for (Eigen::Index i = 0; i < gone; ++i)
    for (Eigen::Index k = 0; k < gone; ++k)
      inner(i, k) = (i == k ? 1 / springs[out[contact::index(k)]].rate : 0) - columns(row(out[contact::index(i)]), k);
  const Eigen::LLT<Eigen::MatrixXd> inverse(inner);
  contact::Ground ground;
  ground.holds = all.holds;
  for (const std::size_t i : out) ground.holds[i] = 0;
  Eigen::VectorXd pressed(gone);
  for (Eigen::Index k = 0; k < gone; ++k) pressed(k) = all.under_pressure(row(out[contact::index(k)]));
  ground.under_pressure = all.under_pressure + columns * inverse.solve(pressed);
  const Eigen::MatrixXd half = inverse.matrixL().solve(columns.transpose());
  ground.compliance = all.compliance;
  ground.compliance.selfadjointView<Eigen::Lower>().rankUpdate(half.transpose());
  ground.compliance.triangularView<Eigen::StrictlyUpper>() = ground.compliance.transpose();
  grounds.push_back(std::move(ground));
}

namespace contact {

bool Equations::is_active(std::size_t i, Does what) const {
  if (p.springs[i].rate <= 0) return what == Does::held;
  return what != (ground.holds[i] ? Does::working : Does::nothing);
}

double Equations::held_yield(std::size_t i) const {
  const double rate = p.springs[i].rate;
  return rate > 0 ? yield / (1 - rate * yield) : kYields;
}

double Equations::own_yield(std::size_t i, Does what) const {
  const ContactSpring& spring = p.springs[i];
  if (spring.rate <= 0) return kYields;
  const bool in_plate = ground.holds[i] != 0;
  switch (what) {
    case Does::nothing: return -1 / spring.rate;
    case Does::held: return in_plate ? held_yield(i) : yield;
    case Does::working: return 1 / spring.rate;
    case Does::bottomed: return in_plate ? yield : 1 / (spring.rate + 1 / yield);
  }
  return 0;
}

double Equations::right_side(std::size_t i, Does what, double free) const {
  const ContactSpring& spring = p.springs[i];
  if (spring.rate <= 0) return free;
  const bool in_plate = ground.holds[i] != 0;
  // depth = free - sum a e. In the plate, e is what comes on top of preload + rate depth, taken out: minus that; held:
  // depth = (spring + e) yields; at the end: depth = full + e yields. Beside it, e is all of the force.
  switch (what) {
    case Does::nothing:
    case Does::working: return free + spring.preload / spring.rate;
    case Does::held: return in_plate ? free - spring.preload * held_yield(i) : free;
    case Does::bottomed:
      return in_plate ? free - spring.full : free - (spring.full / yield - spring.preload) / (spring.rate + 1 / yield);
  }
  return 0;
}

Does Equations::does_at(std::size_t i, double depth, bool present) const {
  const ContactSpring& spring = p.springs[i];
  if (present && linear && spring.rate > 0) return Does::working;
  if (!present || depth < 0) return Does::nothing;
  if (spring.rate <= 0 || depth < spring.preload * held_yield(i)) return Does::held;
  return spring.full > 0 && depth > spring.full ? Does::bottomed : Does::working;
}

double Equations::extra_at(std::size_t i, double depth, bool present) const {
  const ContactSpring& spring = p.springs[i];
  const double in_plate = ground.holds[i] ? spring.at(depth) : 0;
  switch (does_at(i, depth, present)) {
    case Does::nothing: return -in_plate;
    case Does::held: return depth / (spring.rate > 0 ? yield : kYields) - in_plate;
    case Does::working: return spring.at(depth) - in_plate;
    case Does::bottomed: return spring.at(depth) + (depth - spring.full) / yield - in_plate;
  }
  return 0;
}

std::size_t Equations::count(const std::vector<Does>& what) const {
  std::size_t out = 0;
  for (std::size_t i = 0; i < what.size(); ++i) out += is_active(i, what[i]);
  return out;
}

Active Equations::active(const std::vector<Does>& what) const {
  Active out;
  for (std::size_t i = 0; i < what.size(); ++i)
    if (is_active(i, what[i])) out.rows.push_back(i);
  const auto size = static_cast<Eigen::Index>(out.rows.size());
  out.depth.resize(size, size);
  for (Eigen::Index k = 0; k < size; ++k)
    for (Eigen::Index i = 0; i < size; ++i)
      out.depth(i, k) = pressed_in(out.rows[index(i)], out.rows[index(k)]) +
                        (i == k ? own_yield(out.rows[index(i)], what[out.rows[index(i)]]) : 0);
  return out;
}

std::size_t Equations::signs_apart(const std::vector<Does>& what, Active& out) const {
  out.rows.clear();
  for (std::size_t i = 0; i < what.size(); ++i)
    if (is_active(i, what[i])) out.rows.push_back(i);
  const auto rest =
      std::stable_partition(out.rows.begin(), out.rows.end(), [&](std::size_t i) { return own_yield(i, what[i]) > 0; });
  const auto size = static_cast<Eigen::Index>(out.rows.size());
  if (out.depth.rows() != size) out.depth.resize(size, size);
  for (Eigen::Index k = 0; k < size; ++k)
    for (Eigen::Index i = k; i < size; ++i) out.depth(i, k) = pressed_in(out.rows[index(i)], out.rows[index(k)]);
  for (Eigen::Index k = 0; k < size; ++k) out.depth(k, k) += own_yield(out.rows[index(k)], what[out.rows[index(k)]]);
  return static_cast<std::size_t>(rest - out.rows.begin());
}

void QuasiDefinite::compute(const Eigen::MatrixXd& lower, Eigen::Index positive) {
  positive_ = positive;
  size_ = lower.rows();
  const Eigen::Index rest = size_ - positive;
  if (positive > 0) a_.compute(lower.topLeftCorner(positive, positive).selfadjointView<Eigen::Lower>());
  if (rest == 0) return;
  b_ = lower.bottomLeftCorner(rest, positive);
  Eigen::MatrixXd left = -lower.bottomRightCorner(rest, rest);
  if (positive > 0) {
    const Eigen::MatrixXd half = a_.matrixL().solve(b_.transpose());
    left.selfadjointView<Eigen::Lower>().rankUpdate(half.transpose());
  }
  rest_.compute(left.selfadjointView<Eigen::Lower>());
}

Eigen::MatrixXd QuasiDefinite::solve(const Eigen::MatrixXd& side) const {
  const Eigen::Index rest = size_ - positive_;
  Eigen::MatrixXd out(size_, side.cols());
  if (rest == 0) {
    out = a_.solve(side);
    return out;
  }
  // B A^-1 p - (D + B A^-1 B') y = q, then x = A^-1 (p - B' y).
  Eigen::MatrixXd first = side.topRows(positive_), second = -side.bottomRows(rest);
  if (positive_ > 0) second += b_ * a_.solve(first);
  second = rest_.solve(second).eval();
  if (positive_ > 0) {
    first -= b_.transpose() * second;
    out.topRows(positive_) = a_.solve(first);
  }
  out.bottomRows(rest) = second;
  return out;
}

void ActiveSystem::factor(const Equations& e, const std::vector<Does>& what) {
  const std::size_t positive = e.signs_apart(what, active_);
  was_ = what;
  columns_ = {};
  if (!active_.rows.empty()) factors_.compute(active_.depth, row(positive));
}

/// Borders the factors with what has changed: fresh contacts add their equations, and a gone one's force is brought to
/// nothing by a free term in its equation. Corrects the forces inside and returns those of the border.
Eigen::VectorXd ActiveSystem::bordered(const Equations& e, const std::vector<Change>& changed,
                                       const std::vector<Does>& what, const Eigen::VectorXd& side,
                                       Eigen::VectorXd& inside) {
  const auto size = static_cast<Eigen::Index>(active_.rows.size()), width = static_cast<Eigen::Index>(changed.size());
  Eigen::MatrixXd edge(size, width), corner = Eigen::MatrixXd::Zero(width, width);
  for (Eigen::Index k = 0; k < width; ++k) {
    const auto [joins, contact] = changed[index(k)];
    for (Eigen::Index i = 0; i < size; ++i) {
      const std::size_t at = active_.rows[index(i)];
      if (joins)
        edge(i, k) = e.pressed_in(at, contact);
      else
        edge(i, k) = at == contact ? 1.0 : 0.0;
    }
    if (!joins) continue;
    for (Eigen::Index i = 0; i < width && changed[index(i)].joins; ++i)
      corner(i, k) =
          e.pressed_in(changed[index(i)].contact, contact) + (i == k ? e.own_yield(contact, what[contact]) : 0);
  }
  const Eigen::MatrixXd through = through_factors(changed, edge);
  Eigen::VectorXd border = (corner - edge.transpose() * through).partialPivLu().solve(side - edge.transpose() * inside);
  inside -= through * border;
  return border;
}

std::vector<ActiveSystem::Change> ActiveSystem::changes(const Equations& e, const std::vector<Does>& what) const {
  std::vector<Change> out;
  for (std::size_t i = 0; i < what.size(); ++i)
    if (what[i] != was_[i] && e.is_active(i, what[i])) out.push_back({true, i});
  for (const std::size_t i : active_.rows)
    if (what[i] != was_[i]) out.push_back({false, i});
  return out;
}

/// The columns through the factors; those of earlier rounds are known.
Eigen::MatrixXd ActiveSystem::through_factors(const std::vector<Change>& changed, const Eigen::MatrixXd& columns) {
  Eigen::MatrixXd out(columns.rows(), columns.cols());
  if (columns.rows() == 0) return out;
  std::vector<Eigen::Index> wanted;
  for (Eigen::Index c = 0; c < columns.cols(); ++c) {
    const auto [joins, contact] = changed[index(c)];
    // What a fresh contact does is in its corner alone: its column stays the same.
    if (const auto it = columns_[joins].find(contact); it != columns_[joins].end())
      out.col(c) = it->second;
    else
      wanted.push_back(c);
  }
  if (wanted.empty()) return out;
  Eigen::MatrixXd side(columns.rows(), static_cast<Eigen::Index>(wanted.size()));
  for (std::size_t k = 0; k < wanted.size(); ++k) side.col(row(k)) = columns.col(wanted[k]);
  const Eigen::MatrixXd solved = factors_.solve(side);
  for (std::size_t k = 0; k < wanted.size(); ++k) {
    const auto [joins, contact] = changed[index(wanted[k])];
    columns_[joins][contact] = out.col(wanted[k]) = solved.col(row(k));
  }
  return out;
}

}  // namespace contact

}  // namespace teasel
