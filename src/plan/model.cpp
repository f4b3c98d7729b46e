#include "model.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include "teasel/plan/build_prices.h"

namespace teasel {

std::int64_t least_distance_nm(const Catalogue& catalogue, const Rules& rules, ClassId a, ClassId b) {
  const ProbeClass &one = catalogue.classes[a], &two = catalogue.classes[b];
  const std::size_t count = catalogue.classes.size();
  const bool smallest = a.index() + 1 == count && b.index() + 1 == count && count > 1;
  const double web = smallest ? rules.web_smallest_class.v : rules.web.v;
  const double mean = (one.spacing.v + two.spacing.v) / 2,
               holes = (one.receptacle_drill.v + two.receptacle_drill.v) / 2 + web;
  return planning::nanometres(std::max(mean, holes));
}

std::int64_t least_distance_nm(const Catalogue& catalogue, const Rules& rules, ClassId a, Mm head_a, ClassId b,
                               Mm head_b) {
  // Heads must not touch: both point off by their largest radius, towards one another, and each hole has its own error.
  const double holes = 3 * std::sqrt(2 * (rules.errors.plate_drilling.variance() + rules.errors.receptacle.variance()));
  const double heads =
      (head_a.v + head_b.v) / 2 + catalogue.classes[a].pointing.v + catalogue.classes[b].pointing.v + holes;
  return std::max(least_distance_nm(catalogue, rules, a, b), planning::nanometres(heads));
}

UnmetPrice unmet_price(const Need& need, const Rules& rules) {
  const Rules::Cost& cost = rules.cost;
  const UnmetPrice price = need.mandatory ? UnmetPrice{cost.unmet_mandatory, std::max(cost.missing_extra, cost.unmet)}
                                          : UnmetPrice{cost.unmet, cost.missing_extra};
  return {need.importance * price.none, need.importance * price.further};
}

PlaceInFixture place_in_fixture(const StandingFixture& fixture, const Rules& rules, const ProbeClass& probe,
                                BoardPoint at, Side side, Mm head) {
  constexpr double kSame = 0.0015, kRounding = kAimGrid / 1e6;  // mm
  PlaceInFixture out;
  for (const StandingHoleId id : fixture.holes.ids()) {
    const StandingHole& hole = fixture.holes[id];
    if (hole.side != side) continue;
    const double away = distance(at, hole.at);
    if (away <= kSame && hole.state != HoleState::plugged && hole.probe_class == probe.name &&
        std::abs(hole.drill.v - probe.receptacle_drill.v) < 1e-6)
      out.hole = id;
    else if (away < (hole.drill.v + probe.receptacle_drill.v) / 2 + rules.web.v - kRounding)
      out.in_the_way = (hole.state == HoleState::plugged ? "the plugged hole " : "the hole ") + hole.name;
  }
  // What stands in a hole of its own was clear of everything else when that was made.
  if (out.hole || !out.in_the_way.empty()) return out;
  const double guide = (std::max(head, probe.plunger_diameter).v + fixture.guide_clearance.v) / 2,
               receptacle = probe.receptacle_drill.v / 2;
  for (const HoleToClear& hole : fixture.to_clear)
    if (hole.side == side && distance(at, hole.at) < hole.radius.v + (hole.guide ? guide : receptacle) - kRounding) {
      out.in_the_way = "the hole of " + hole.name;
      return out;
    }
  for (const MilledArea& milled : fixture.milled)
    if (const double least = milled.wall.v + receptacle - kRounding;
        milled.side == side && milled.about.grown(least).contains(at) && distance_to_area(milled.area, at) < least) {
      out.in_the_way = "a pocket";
      return out;
    }
  return out;
}

namespace planning {

Cents cents(double money) {
  return Cents{std::llround(money * 100)};
}
std::int64_t nanometres(double mm) {
  return std::llround(mm * 1e6);
}
double millimetres(std::int64_t nm) {
  return static_cast<double>(nm) / 1e6;
}
Mm apart(const Atom& a, const Atom& b) {
  return Mm{std::hypot(static_cast<double>(a.x - b.x), static_cast<double>(a.y - b.y)) / 1e6};
}

namespace {
constexpr double kSameAim = 0.005;        // mm; aim points of boards of a panel that are the same point of the board
constexpr std::int64_t kSameHole = 1500;  // nm; an aim this near to an old hole is that hole

/// Where a probe would stand, as far as that changes its price.
struct Stand {
  bool old_hole = false;               ///< drilled already
  const StandingHole* hole = nullptr;  ///< of the fixture that stands
  bool rework = false;                 ///< such a fixture has to be opened for it
  bool same_net = true;                ///< it is wired to the net
};

Money price_of_kind(TargetKind kind, const Rules::Cost& prices) {
  switch (kind) {
    case TargetKind::test_pad: return prices.test_pad;
    case TargetKind::lead: return prices.lead;
    case TargetKind::via: return prices.via;
    case TargetKind::smd_pad: return prices.smd_pad;
  }
  return {};
}

Money price_of_hole(const Stand& stand, Side side, const BuildPrices& prices) {
  if (stand.hole) return stand.same_net ? Money{} : prices.rewire;
  return (stand.old_hole ? Money{} : prices.hole[side]) + (stand.rework ? prices.rework : Money{});
}

/// What the land lacks of the usual size, as a share of it.
double lack_of_land(Mm usual, const Spot& spot) {
  return usual > Mm{} ? std::max(0.0, 1 - spot.diameter / usual) : 0;
}

/// A target as it is charged.
struct Charged {
  const Target& target;
  const Spot& spot;
  const Verdict& verdict;
  bool main_side = true;
  bool marked = false;  ///< a test point of the designer
};

ProbeCost cost_of(const Charged& charged, const ProbeClass& probe, const Rules& rules, const BuildPrices& build,
                  bool long_travel, const Stand& stand) {
  const auto& [target, spot, verdict, main_side, marked] = charged;
  ProbeCost cost;
  const Rules::Cost& prices = rules.cost;
  const bool probe_stands = stand.hole && stand.hole->state == HoleState::in_use;
  const bool pays_long_travel = long_travel && !(probe_stands && stand.hole->long_travel);
  cost.probe = cents((probe_stands ? 0 : probe.price.v) + (pays_long_travel ? probe.long_travel_price->v : 0));
  if (probe.life.v > 0) cost.wear = cents(probe.probe_price.v * prices.boards / probe.life.v);
  cost.hole = cents(price_of_hole(stand, target.side, build).v);
  cost.kind = cents(price_of_kind(target.kind, prices).v + rules.surfaces.at(target.surface).price.v);
  const double fault = fault_on(rules, target).v;
  const double log_good = std::log1p(-std::min(verdict.miss.v, 0.999)) + std::log1p(-std::min(fault, 0.999));
  cost.odds = cents(-log_good * prices.false_reject.v * prices.boards +
                    verdict.wrong.v * prices.wrong_landing.v * prices.boards);
  double lack = 0;
  for (const Shortfall& shortfall : verdict.shortfalls)
    if (!shortfall.blocking && shortfall.required > 0) lack += shortfall.lack();
  cost.shortfall =
      cents(lack * prices.shortfall.v + lack_of_land(rules.usual_land(main_side), spot) * prices.small_land.v);
  // No probe is cheaper than nothing: the parts add up to what is minimised.
  if (marked) cost.kind -= std::min(cents(prices.test_point.v), std::max(Cents{}, cost.total()));
  return cost;
}

class Builder {
 public:
  explicit Builder(const Inputs& in)
      : in_(in),
        board_(in.board),
        access_(in.access),
        catalogue_(in.catalogue),
        rings_(in),
        build_(build_prices(in, in.option)),
        alike_(board_.plans_alike && board_.places.size() > 1),
        copies_(alike_ ? board_.places.size() : 1) {}
  Model run();
  Followed follow(Model& model, const std::vector<TargetId>& touched);

 private:
  void demands();
  void find_copies();
  [[nodiscard]] bool is_model(const Feature& feature) const { return !alike_ || feature.panel_place == PlaceId{0}; }
  void target(TargetId id);
  bool atom(Atom& out, TargetId target, SpotId spot, ClassId probe_class);
  std::optional<std::vector<Atom>> atoms_on_all_boards(TargetId target, SpotId spot, ClassId probe_class);
  bool beside_old_hole(Atom& atom, const ProbeClass& probe) const;
  [[nodiscard]] SpotId same_spot(TargetId target, const Spot& first, PlaceId copy) const;
  void columns();
  std::vector<selection::Part> covers_of(const Candidate& candidate) const;
  [[nodiscard]] std::set<TargetId> models_of(const std::vector<TargetId>& touched) const;

  const Inputs& in_;
  const Board& board_;
  const Access& access_;
  const Catalogue& catalogue_;
  const Rings rings_;
  const BuildPrices build_;
  const bool alike_;
  const std::size_t copies_;
  Model model_;
  Table<NetId, DemandId> demand_of_net_;
  /// By place, feature of the single board, side of the panel.
  std::map<std::tuple<PlaceId, FeatureId, Side>, TargetId> target_at_;
};

Model Builder::run() {
  demands();
  if (alike_) find_copies();
  for (const TargetId id : access_.targets.ids())
    if (is_model(board_.features[access_.targets[id].feature])) target(id);
  add_mates(model_, in_, demand_of_net_);
  columns();
  return std::move(model_);
}

void Builder::demands() {
  demand_of_net_.assign(board_.nets.size(), {});
  std::map<NetId, DemandId> of_base;
  for (const NeedId id : in_.needs.ids()) {
    const Need& need = in_.needs[id];
    if (need.wanted <= 0) continue;
    const Net& net = board_.nets[need.net];
    if (alike_ && net.panel_place && net.panel_place != PlaceId{0}) {
      const DemandId demand = of_base.at(net.base);
      demand_of_net_[need.net] = demand;
      model_.demands[demand].needs.push_back(id);
      continue;
    }
    const auto [none, further] = unmet_price(need, in_.rules);
    const auto copies = static_cast<std::int64_t>(copies_);
    Demand demand;
    demand.needs = {id};
    demand.wanted = need.wanted;
    demand.none = copies * cents(none.v);
    demand.further = copies * cents(std::min(further, none).v);
    demand_of_net_[need.net] = model_.demands.add(std::move(demand));
    if (alike_) of_base[net.base] = demand_of_net_[need.net];
  }
}

void Builder::find_copies() {
  for (const TargetId id : access_.targets.ids()) {
    const Target& target = access_.targets[id];
    const Feature& feature = board_.features[target.feature];
    target_at_[{feature.panel_place, feature.base, target.side}] = id;
  }
}

/// A new hole keeps its web to every hole of the fixture; an open one of the same class at the aim is used instead.
bool Builder::beside_old_hole(Atom& atom, const ProbeClass& probe) const {
  for (const OldHoleId id : in_.job.decisions.old_holes.ids()) {
    const OldHole& old = in_.job.decisions.old_holes[id];
    if (old.side != atom.side) continue;
    const std::int64_t dx = atom.x - nanometres(old.at.x), dy = atom.y - nanometres(old.at.y);
    if (old.state == "open" && old.probe_class == probe.name && std::abs(dx) <= kSameHole &&
        std::abs(dy) <= kSameHole) {
      atom.old_hole = id;
      continue;
    }
    const auto drilled = std::find_if(catalogue_.classes.begin(), catalogue_.classes.end(),
                                      [&](const ProbeClass& one) { return one.name == old.probe_class; });
    const std::int64_t least =
        nanometres((drilled->receptacle_drill.v + probe.receptacle_drill.v) / 2 + in_.rules.web.v) - kAimGrid;
    if (dx * dx + dy * dy < least * least) return true;
  }
  return false;
}

bool Builder::atom(Atom& out, TargetId target_id, SpotId spot, ClassId probe_class) {
  const Target& target = access_.targets[target_id];
  if (!in_.option.probed(target.side)) return false;
  const Verdict& verdict = access_.verdict(spot, probe_class, target.side == in_.option.main);
  if (!verdict.open) return false;
  const Feature& feature = board_.features[target.feature];
  const ProbeClass& probe = catalogue_.classes[probe_class];
  const auto& needs = model_.demands[demand_of_net_[feature.net]].needs;
  out.need = needs[alike_ ? feature.panel_place.index() : 0];
  const bool long_travel = in_.needs[out.need].long_travel;
  if (long_travel && !probe.long_travel_price) return false;
  out.target = target_id;
  out.spot = spot;
  out.feature = target.feature;
  out.side = target.side;
  const BoardPoint place = access_.spots[spot].at;
  out.x = nanometres(place.x);
  out.y = nanometres(place.y);
  out.head = std::max(head_diameter(board_, in_.rules, target, probe), probe.ring_outer);
  out.force = force_on(in_.rules, target, probe);
  if (probe.ring_outer.v > 0) {
    out.ring_need = rings_.ground_under(place, target.side, probe, feature.net);
    if (!out.ring_need) return false;
  }
  const StandingFixture& standing = in_.standing;
  PlaceInFixture stands;
  if (standing.used) stands = place_in_fixture(standing, in_.rules, probe, place, target.side, out.head);
  out.standing_hole = stands.hole;
  if (beside_old_hole(out, probe) || !stands.in_the_way.empty()) {
    ++model_.beside_old_holes;
    return false;
  }
  Stand stand;
  stand.old_hole = static_cast<bool>(out.old_hole);
  stand.rework = standing.used && !out.standing_hole;
  if (out.standing_hole) {
    stand.hole = &standing.holes[out.standing_hole];
    stand.same_net = board_.nets[feature.net].name.is_meant_by(stand.hole->net);
  }
  out.cost = cost_of({.target = target,
                      .spot = access_.spots[spot],
                      .verdict = verdict,
                      .main_side = target.side == in_.option.main,
                      .marked = feature.mark != TestMark::none},
                     probe, in_.rules, build_, long_travel, stand);
  return true;
}

/// The spot of a copy that is the same point of its board; none if it declares none there.
SpotId Builder::same_spot(TargetId target_id, const Spot& first, PlaceId copy) const {
  const Point on_board = inverse(board_.places.front().map)(first.at), there = board_.places[copy].map(on_board);
  const Target& target = access_.targets[target_id];
  for (int n = 0; n < target.spots; ++n)
    if (distance(Point{access_.spots[target.spot(n)].at}, there) < kSameAim) return target.spot(n);
  return {};
}

/// One atom a board that the candidate stands for; nothing where any of them is not open.
std::optional<std::vector<Atom>> Builder::atoms_on_all_boards(TargetId target_id, SpotId spot, ClassId probe_class) {
  const Target& target = access_.targets[target_id];
  const Feature& feature = board_.features[target.feature];
  std::vector<Atom> atoms(copies_);
  if (!atom(atoms[0], target_id, spot, probe_class)) return std::nullopt;
  for (std::size_t i = 1; i < copies_; ++i) {
    const PlaceId copy{i};
    const bool flipped = board_.places[copy].flipped != board_.places.front().flipped;
    const auto found = target_at_.find({copy, feature.base, flipped ? other(target.side) : target.side});
    if (found == target_at_.end()) return std::nullopt;
    const SpotId there = same_spot(found->second, access_.spots[spot], copy);
    if (!there || !atom(atoms[i], found->second, there, probe_class)) return std::nullopt;
  }
  return atoms;
}

/// Adds the candidates on one target.
void Builder::target(TargetId id) {
  const Target& target = access_.targets[id];
  const DemandId demand = demand_of_net_[board_.features[target.feature].net];
  if (!demand) return;
  for (int n = 0; n < target.spots; ++n)
    for (const ClassId probe_class : catalogue_.classes.ids()) {
      const auto atoms = atoms_on_all_boards(id, target.spot(n), probe_class);
      if (!atoms) continue;
      Candidate candidate;
      candidate.probe_class = probe_class;
      candidate.first_atom = model_.atoms.size();
      candidate.atoms = copies_;
      candidate.target = id;
      candidate.demand = demand;
      for (const Atom& atom : *atoms) candidate.price += atom.cost.total();
      model_.atoms.insert(model_.atoms.end(), atoms->begin(), atoms->end());
      model_.candidates.push_back(candidate);
    }
}

/// What a candidate covers of the demands.
std::vector<selection::Part> Builder::covers_of(const Candidate& candidate) const {
  std::vector<selection::Part> covers;
  if (candidate.mate) {
    // Of boards probed alike each want stands for all of them: what one board's pins cover.
    std::map<DemandId, std::int64_t> pins;
    for (const Atom& pin : model_.atoms_of(candidate))
      if (const Feature& feature = board_.features[pin.feature]; is_model(feature)) ++pins[demand_of_net_[feature.net]];
    for (const auto& [demand, count] : pins) covers.push_back({demand.number(), count});
    return covers;
  }
  const Atom& first = model_.atoms[candidate.first_atom];
  const DemandId demand = demand_of_net_[board_.features[first.feature].net];
  covers.push_back({demand.number(), catalogue_.classes[candidate.probe_class].contacts});
  if (first.ring_need)
    if (const DemandId ground = demand_of_net_[in_.needs[first.ring_need].net]; ground && ground != demand)
      covers.push_back({ground.number(), 1});
  return covers;
}

/// The candidates as columns: what each covers, weighs and excludes.
void Builder::columns() {
  selection::Problem& problem = model_.problem;
  for (const DemandId id : model_.demands.ids()) {
    const Demand& demand = model_.demands[id];
    selection::Want want;
    want.wanted = demand.wanted;
    want.miss = demand.wanted == 1 ? demand.none.v : demand.further.v;
    want.last = demand.wanted == 1 ? 0 : (demand.none - demand.further).v;
    problem.wants.push_back(want);
    model_.wishes.push_back({Wish::Kind::demand, id, {}});
  }
  Covers covers(model_.candidates.size());
  for (const CandidateId id : model_.candidates.ids()) {
    const Candidate& candidate = model_.candidates[id];
    problem.price.push_back(std::max(Cents{1}, candidate.price).v);  // what is free would be taken for nothing
    covers[id] = covers_of(candidate);
  }
  add_wishes(model_, in_, covers);
  for (auto& list : covers) {
    std::sort(list.begin(), list.end(),
              [](const selection::Part& a, const selection::Part& b) { return a.row < b.row; });
    for (const selection::Part& part : list) problem.covers.add(part);
    problem.covers.close();
  }
  add_conflicts(model_, in_);
  add_limits(model_, in_);
  model_.closed.assign(model_.candidates.size(), 0);
}

/// The targets whose candidates stand for these: on a panel whose boards are probed alike, those of its first board.
std::set<TargetId> Builder::models_of(const std::vector<TargetId>& touched) const {
  std::set<TargetId> models;
  for (const TargetId id : touched) {
    const Feature& feature = board_.features[access_.targets[id].feature];
    if (is_model(feature))
      models.insert(id);
    else
      for (const Side side : kBothSides)
        if (const auto first = target_at_.find({PlaceId{0}, feature.base, side}); first != target_at_.end())
          models.insert(first->second);
  }
  return models;
}

/// Makes the candidates of these targets anew and compares.
Followed Builder::follow(Model& model, const std::vector<TargetId>& touched) {
  demands();
  if (alike_) find_copies();
  const std::set<TargetId> targets = models_of(touched);
  for (const TargetId id : targets) target(id);
  std::map<std::pair<SpotId, ClassId>, CandidateId> made;
  for (const CandidateId id : model_.candidates.ids())
    made[{model_.first_atom(id).spot, model_.candidates[id].probe_class}] = id;
  std::size_t known = 0;
  Followed how = Followed::dearer;
  for (const CandidateId id : model.candidates.ids()) {
    Candidate& candidate = model.candidates[id];
    if (candidate.mate || !targets.count(candidate.target)) continue;
    const auto now = made.find({model.first_atom(id).spot, candidate.probe_class});
    if (now != made.end()) ++known;
    selection::Cost& price = model.problem.price[id.index()];
    if (price >= selection::kHard && !model.closed[id]) continue;  // never possible
    const selection::Cost before = price;
    model.closed[id] = now == made.end();
    if (model.closed[id]) {
      price = selection::kHard;
      continue;
    }
    const Candidate& fresh = model_.candidates[now->second];
    candidate.price = fresh.price;
    for (std::size_t i = 0; i < candidate.atoms; ++i)
      model.atoms[candidate.first_atom + i].cost = model_.atoms[fresh.first_atom + i].cost;
    price = std::max(Cents{1}, candidate.price).v;
    if (price < before) how = Followed::cheaper;
  }
  return known == made.size() ? how : Followed::unknown;
}
}  // namespace

Model build_model(const Inputs& in) {
  return Builder(in).run();
}
Followed follow(Model& model, const Inputs& in, const std::vector<TargetId>& touched) {
  return Builder(in).follow(model, touched);
}

}  // namespace planning
}  // namespace teasel
