#include "teasel/coverage/advice.h"

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <set>

#include "by_net.h"
#include "pad_places.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr std::size_t kMostVias = 6;  // openings tried for one net and side

/// A land that does not exist yet, judged as if it did.
struct Proposal {
  std::size_t advice{};  ///< index into the list
  ExposureId exposure;   ///< of the board with all proposals
};

class Adviser {
 public:
  Adviser(const Planned& in, const Coverage& coverage)
      : board_(in.board),
        access_(in.access),
        needs_(in.needs),
        option_(in.option),
        coverage_(coverage),
        scan_(in.scan),
        job_(in.job),
        catalogue_(in.catalogue),
        rules_(in.rules),
        shop_{&in.catalogue, &in.style, in.kit},
        targets_of_(targets_by_net(in.board, in.access)),
        covered_of_(covered_by_net(in.board)) {}
  std::vector<Advice> run();

 private:
  bool in_use(Side side) const { return option_.option.probed(side); }
  bool allowed(Side side) const {
    return job_.fixture.sides == "both" || job_.fixture.sides == "auto" || job_.fixture.sides == to_string(side);
  }
  Money gain(NeedId need) const {
    const UnmetPrice price = unmet_price(needs_[need], rules_);
    return option_.got[need] == 0 ? price.none : std::min(price.further, price.none);
  }
  Advice begin(NeedId need, AdviceKind kind, Money price) const {
    Advice advice;
    advice.need = need;
    advice.kind = kind;
    advice.price = price;
    advice.gain = gain(need);
    return advice;
  }
  bool tested_by_scan(const Need& need) const {
    return !need.mandatory && (need.role == Role::functional || need.role == Role::observe) &&
           scan_.needs_no_probe(board_.base_net(need.net));
  }
  void rules_to_relax(NeedId need);
  void other_side(NeedId need);
  void masks(NeedId need);
  void bodies(NeedId need);
  /// A body in the way, and by how much.
  struct Obstruction {
    ComponentId component;
    double by = 0;
  };
  /// A target that opens when a part is moved that far that way, or left out.
  struct Freed {
    double by{};
    Point way;
    TargetId target;
    SpotId spot;
    ClassId probe_class;
  };
  static std::optional<Obstruction> only_body(const Verdict& verdict);
  static Point way_off(const Polygons& body, Point aim, double& by);
  void add_freed(Advice advice, const Freed& freed);
  void pads(const std::vector<NeedId>& needs);
  void propose_pad(NeedId need, Side side, const PadPlace& place, bool copper_known);
  void confirm();
  bool room_to_move(ComponentId component, Point by) const;
  double least_distance_mm(ClassId probe_class) const;
  ClassId fitting_class(const Access& access, TargetId target) const;

  const Board& board_;
  const Access& access_;
  const Needs& needs_;
  const OptionResult& option_;
  const Coverage& coverage_;
  const BoundaryScan& scan_;
  const Job& job_;
  const Catalogue& catalogue_;
  const Rules& rules_;
  const Shop shop_;
  Table<NetId, std::vector<TargetId>> targets_of_;
  Table<NetId, std::vector<const Covered*>> covered_of_;
  std::vector<Advice> out_;
  Board proposed_;  ///< the board with all lands that are proposed
  std::vector<Proposal> proposals_;
};

void Adviser::rules_to_relax(NeedId need) {
  std::set<Reason> seen;
  for (const NearlyOpen& nearly : coverage_.nearly_open) {
    if (nearly.need != need || !seen.insert(nearly.shortfall.reason).second) continue;
    const Target& target = access_.targets[nearly.target];
    Advice advice = begin(need, AdviceKind::relax_rule, rules_.advice.relax_rule);
    advice.side = target.side;
    advice.at = access_.spots[nearly.spot].at;
    advice.free_diameter = access_.spots[nearly.spot].diameter;
    advice.probe_class = nearly.probe_class;
    advice.action =
        "relax the rule at " + board_.features[target.feature].name + ": " + sentence(nearly.shortfall, board_, job_);
    out_.push_back(std::move(advice));
  }
}

void Adviser::other_side(NeedId need) {
  for (const TargetId index : targets_of_[needs_[need].net]) {
    const Target& target = access_.targets[index];
    if (in_use(target.side) || !access_.open(index, target.side == option_.option.main)) continue;
    Advice advice = begin(need, AdviceKind::use_side, rules_.advice.use_side);
    const Spot& spot = access_.spots[target.first_spot];
    advice.side = target.side;
    advice.at = spot.at;
    advice.free_diameter = spot.diameter;
    for (const ClassId k : IdRange<ClassId>(access_.classes))
      if (!advice.probe_class && access_.best_verdict(index, k, target.side == option_.option.main).open)
        advice.probe_class = k;
    advice.action = std::string("probe from the ") + to_string(target.side) +
                    " as well: " + board_.features[target.feature].name + " is open there" +
                    (allowed(target.side) ? "; by the plan's prices that side costs more than it gains"
                                          : "; the job forbids that side");
    out_.push_back(std::move(advice));
    return;
  }
}

/// Proposes to open the mask over lands of the net, each to its own size.
void Adviser::masks(NeedId need) {
  PerSide<std::size_t> tried;
  std::vector<const Covered*> list = covered_of_[needs_[need].net];
  auto size = [&](const Covered* covered) {
    const Land& land = board_.features[covered->feature].land[covered->side];
    return std::min(land.width, land.height);
  };
  std::stable_sort(list.begin(), list.end(), [&](const Covered* x, const Covered* y) { return size(x) > size(y); });
  for (const Covered* covered : list) {
    const Feature& feature = board_.features[covered->feature];
    const Land& land = feature.land[covered->side];
    if (!covered->mask || !land.present || land.width <= Mm{} || !allowed(covered->side) ||
        ++tried[covered->side] > kMostVias)
      continue;
    Exposure exposure;
    exposure.feature = covered->feature;
    exposure.side = covered->side;
    exposure.proposed = true;
    exposure.aim = feature.at;
    const Ring outer = land.round || land.height <= Mm{} ? circle(feature.at, land.width.v / 2)
                                                         : rectangle({}, land.width.v, land.height.v);
    if (land.round || land.height <= Mm{})
      exposure.contact = {{outer, {}}};
    else {
      const double turn = land.rotation.v * 3.14159265358979323846 / 180;
      exposure.contact = transformed(
          {{outer, {}}}, {std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn), feature.at.x, feature.at.y});
    }
    exposure.copper = feature.hole > Mm{} ? subtract(exposure.contact, {{circle(feature.at, feature.hole.v / 2), {}}})
                                          : exposure.contact;
    exposure.diameter = Mm{2 * distance_to_boundary(exposure.contact, feature.at)};
    exposure.mask_defined = false;
    exposure.from_layers = true;
    Advice advice = begin(need, AdviceKind::open_mask, rules_.advice.open_mask);
    advice.side = covered->side;
    advice.at = feature.at;
    advice.free_diameter = exposure.diameter;
    advice.action = std::string("open the mask over ") + (feature.kind == FeatureKind::via ? "the via " : "the land ") +
                    feature.name + " to its full " +
                    short_number(std::min(land.width, land.height > Mm{} ? land.height : land.width).v, 3) + " mm";
    proposals_.push_back({out_.size(), proposed_.exposures.next()});
    proposed_.exposures.push_back(std::move(exposure));
    out_.push_back(std::move(advice));
  }
}

bool Adviser::room_to_move(ComponentId component, Point by) const {
  const Component& moved = board_.components[component];
  const Polygons there = transformed(moved.body, {1, 0, 0, 1, by.x, by.y});
  for (const Component& other : board_.components) {
    if (&other == &moved || other.side != moved.side || other.body.empty() ||
        !bounds(other.body).touches(bounds(there)))
      continue;
    if (area(intersect(there, other.body)) > area(intersect(moved.body, other.body)) + 1e-6) return false;
  }
  // The part must not come to stand on a pin, a keep-out or a hole. Nor may it come nearer to a placed probe than it is
  // now and than the rules ask.
  for (const KeepOut& keep_out : board_.keep_outs)
    if (keep_out.sides.has(moved.side) && area(intersect(there, keep_out.area)) > 1e-6) return false;
  for (const BoardHole& hole : board_.holes)
    if (hole.plating == formats::Plating::unplated && contains(there, hole.at) && !contains(moved.body, hole.at))
      return false;
  for (const PlacedProbe& probe : option_.probes) {
    const Target& target = access_.targets[probe.target];
    if (target.side != moved.side || board_.features[target.feature].component == component) continue;
    const Point aim = access_.spots[probe.spot].at;
    const double now = distance_to_area(moved.body, aim), then = distance_to_area(there, aim);
    if (then < now && then < least_distance_mm(probe.probe_class)) return false;
  }
  return area(subtract(there, board_.pieces)) <= area(subtract(moved.body, board_.pieces)) + 1e-6;
}

/// A body that keeps this distance from an aim point is in no probe's way, whatever its height.
double Adviser::least_distance_mm(ClassId class_index) const {
  const ProbeClass& probe_class = catalogue_.classes[class_index];
  return std::max(probe_class.receptacle_drill.v / 2 + rules_.web.v + rules_.pocket_clearance.v,
                  probe_class.largest_head.v / 2) +
         0.3;
}

/// The one body that closes a target, and how far it would have to go; nothing if anything else closes it as well.
std::optional<Adviser::Obstruction> Adviser::only_body(const Verdict& verdict) {
  Obstruction out;
  bool only = true;
  for (const Shortfall& shortfall : verdict.shortfalls) {
    if (!shortfall.blocking) continue;
    const bool is_body = (shortfall.reason == Reason::body || shortfall.reason == Reason::under_body) &&
                         shortfall.obstacle.kind == Obstacle::Kind::component;
    only &= is_body && (!out.component || out.component == shortfall.obstacle.component());
    if (is_body) out.component = shortfall.obstacle.component();
    out.by = std::max(out.by, shortfall.required - shortfall.measured);
  }
  if (!only || !out.component) return std::nullopt;
  return out;
}

/// The shortest way that takes the body off the aim. Where it lies over the aim, that adds the way to its nearest edge.
Point Adviser::way_off(const Polygons& body, Point aim, double& by) {
  Point nearest;
  if (const double away = distance_to_area(body, aim, &nearest); away > 0) return (1 / away) * (nearest - aim);
  Point way{};
  double edge = 1e18;
  for (const Polygon& piece : body)
    for (std::size_t i = 0; i < piece.outer.size(); ++i) {
      const Point foot = nearest_on_segment(aim, piece.outer[i], piece.outer[(i + 1) % piece.outer.size()]);
      if (distance(foot, aim) < edge) {
        edge = distance(foot, aim);
        way = distance(foot, aim) > 1e-9 ? (1 / distance(foot, aim)) * (aim - foot) : Point{1, 0};
      }
    }
  by += edge;
  return way;
}

void Adviser::add_freed(Advice advice, const Freed& freed) {
  advice.side = access_.targets[freed.target].side;
  advice.at = access_.spots[freed.spot].at;
  advice.free_diameter = access_.spots[freed.spot].diameter;
  advice.probe_class = freed.probe_class;
  out_.push_back(std::move(advice));
}

/// Where one body alone closes a target, proposes to move that part, or to leave it out until after the test.
void Adviser::bodies(NeedId need) {
  std::map<ComponentId, Freed> move, leave;  // by component
  for (const TargetId index : targets_of_[needs_[need].net]) {
    const Target& target = access_.targets[index];
    if (!allowed(target.side)) continue;
    const bool main = target.side == option_.option.main;
    for (const ClassId k : IdRange<ClassId>(access_.classes)) {
      const SpotId spot = access_.best(index, k, main);
      const auto obstruction = only_body(access_.verdict(spot, k, main));
      if (!obstruction) continue;
      const ComponentId body = obstruction->component;
      Freed freed{.by = 0, .way = {}, .target = index, .spot = spot, .probe_class = k};
      leave.emplace(body, freed);
      if (board_.features[target.feature].component == body) continue;  // its own pads go with it
      double by = obstruction->by;
      freed.way = way_off(board_.components[body].body, access_.spots[spot].at, by);
      // Rounded up to a shift that is worth a layout change, with some room.
      freed.by = std::max(0.1, std::ceil(100 * (by + 0.05)) / 100);
      if (freed.by > rules_.advice.farthest_move.v || !room_to_move(body, freed.by * freed.way)) continue;
      if (const auto it = move.find(body); it == move.end() || freed.by < it->second.by) move[body] = freed;
    }
  }
  const std::pair<const ComponentId, Freed>* least = nullptr;
  for (const auto& candidate : move)
    if (!least || candidate.second.by < least->second.by) least = &candidate;
  if (least) {
    const Component& part = board_.components[least->first];
    const Freed& freed = least->second;
    Advice advice = begin(need, AdviceKind::move_part, rules_.advice.move_part);
    advice.action = "move " + part.name + " by " + fixed(freed.by, 2) + " mm, (" + fixed(freed.by * freed.way.x, 2) +
                    ", " + fixed(freed.by * freed.way.y, 2) + "), away from " +
                    board_.features[access_.targets[freed.target].feature].name +
                    "; there is room for its body, but its traces were not checked" +
                    (part.height_known == Known::confirmed ? "" : "; its height is assumed");
    add_freed(std::move(advice), freed);
  }
  for (const auto& [body, freed] : leave) {
    if (least && least->first == body) continue;
    const Component& part = board_.components[body];
    Advice advice = begin(need, AdviceKind::leave_out, rules_.advice.leave_out);
    advice.action = "leave " + part.name + " unfitted until after the test: its body blocks " +
                    board_.features[access_.targets[freed.target].feature].name;
    add_freed(std::move(advice), freed);
    break;
  }
}

/// Looks for places on each side by itself. The needs come in the order of their worth, since an advised pad is in the
/// way of the next one.
void Adviser::pads(const std::vector<NeedId>& needs) {
  struct OfSide {
    std::vector<std::vector<PadPlace>> found;  ///< by position in `needs`
    bool copper_known = false;
    std::unique_ptr<PadPlaces> places;
  };
  PerSide<OfSide> of_side;
  for (OfSide& one : of_side) one.found.resize(needs.size());
  // First the side where the net's own copper lies. A via is proposed only for nets that find no place there.
  for (const bool with_via : {false, true}) {
    std::vector<char> served(needs.size());
    for (std::size_t i = 0; i < needs.size(); ++i)
      served[i] = !of_side[Side::top].found[i].empty() || !of_side[Side::bottom].found[i].empty();
    parallel_for(
        kBothSides.size(),
        [&](std::size_t number) {
          const Side side = kBothSides[number];
          if (!allowed(side)) return;
          OfSide& one = of_side[side];
          if (!one.places) {
            one.places = std::make_unique<PadPlaces>(board_, access_, option_, job_, catalogue_, rules_, side);
            one.copper_known = one.places->copper_known();
          }
          if (with_via) one.places->turn_to_vias();
          for (std::size_t i = 0; i < needs.size(); ++i)
            if (!with_via || !served[i]) one.found[i] = one.places->find(needs_[needs[i]].net);
        },
        1);
  }
  for (std::size_t i = 0; i < needs.size(); ++i)
    for (const Side side : kBothSides)
      for (const PadPlace& place : of_side[side].found[i])
        propose_pad(needs[i], side, place, of_side[side].copper_known);
}

std::string where_of(const PadPlace& place) {
  if (place.with_via) return " with a via: the net has no copper there";
  return place.distance <= 0.001 ? " on the net's own copper" : "";
}

void Adviser::propose_pad(NeedId need, Side side, const PadPlace& place, bool copper_known) {
  const double price = rules_.advice.add_pad.v + (in_use(side) ? 0 : rules_.advice.use_side.v) + place.distance / 1000 +
                       (place.in_pour ? 0.5 : 0) + (place.with_via ? 0.5 : 0);
  Advice advice = begin(need, AdviceKind::add_pad, Money{price});
  advice.side = side;
  advice.at = {std::round(place.at.x * 1000) / 1000, std::round(place.at.y * 1000) / 1000};
  advice.free_diameter = Mm{place.free_diameter};
  advice.distance = Mm{place.distance};
  const double size = rules_.advice.pad_diameter.v;
  advice.action = "add a test pad of " + short_number(size, 2) + " mm on the " + to_string(side) + where_of(place) +
                  (place.in_pour ? "; the copper plane there has to be cut back" : "") +
                  (copper_known ? "" : "; no copper layer is given, so traces were not checked");
  Feature feature;
  feature.name = PadName("advised@" + fixed(advice.at.x, 3) + "/" + fixed(advice.at.y, 3));
  feature.kind = FeatureKind::test_pad;
  feature.net = needs_[need].net;
  feature.at = advice.at;
  Exposure exposure;
  exposure.feature = proposed_.features.next();
  exposure.side = side;
  exposure.proposed = true;
  exposure.aim = advice.at;
  exposure.from_layers = true;
  exposure.contact = exposure.copper = {{circle(advice.at, size / 2), {}}};
  exposure.diameter = Mm{2 * distance_to_boundary(exposure.contact, advice.at)};
  proposed_.features.push_back(std::move(feature));
  proposals_.push_back({out_.size(), proposed_.exposures.next()});
  proposed_.exposures.push_back(std::move(exposure));
  out_.push_back(std::move(advice));
}

/// The largest class that is open and keeps its distance from the placed probes.
ClassId Adviser::fitting_class(const Access& access, TargetId target) const {
  const Target& planned = access.targets[target];
  const Spot& spot = access.spots[planned.first_spot];
  for (const ClassId k : IdRange<ClassId>(access.classes)) {
    if (!access.best_verdict(target, k, planned.side == option_.option.main).open) continue;
    const bool room = std::none_of(option_.probes.begin(), option_.probes.end(), [&](const PlacedProbe& probe) {
      const Target& other = access_.targets[probe.target];
      return other.side == planned.side &&
             distance(access_.spots[probe.spot].at, spot.at) * 1e6 <
                 static_cast<double>(least_distance_nm(catalogue_, rules_, k, probe.probe_class) - kAimGrid);
    });
    if (room) return k;
  }
  return {};
}

/// Judges all proposals at once and drops those that are not open.
void Adviser::confirm() {
  if (proposals_.empty()) return;
  const Access access = judge(proposed_, job_, catalogue_, rules_, {}, shop_);
  std::map<ExposureId, TargetId> target_of;
  for (const TargetId target : access.targets.ids()) target_of[access.targets[target].exposure] = target;
  std::vector<bool> gone(out_.size());
  for (const Proposal& proposal : proposals_) {
    const auto it = target_of.find(proposal.exposure);
    const ClassId fitting = it == target_of.end() ? ClassId{} : fitting_class(access, it->second);
    out_[proposal.advice].probe_class = fitting;
    if (!fitting) gone[proposal.advice] = true;
  }
  std::vector<Advice> kept;
  for (std::size_t i = 0; i < out_.size(); ++i)
    if (!gone[i]) kept.push_back(std::move(out_[i]));
  out_ = std::move(kept);
}

std::vector<Advice> Adviser::run() {
  std::vector<NeedId> open;
  for (const NeedId id : needs_.ids()) {
    const Need& need = needs_[id];
    if (need.wanted > option_.got[id] && need.role != Role::do_not_touch && !tested_by_scan(need)) open.push_back(id);
  }
  if (open.empty()) return {};
  proposed_ = board_;
  std::stable_sort(open.begin(), open.end(), [&](NeedId a, NeedId b) { return gain(a) > gain(b); });
  for (const NeedId need : open) {
    rules_to_relax(need);
    other_side(need);
    masks(need);
    bodies(need);
  }
  if (board_.places.empty()) pads(open);
  confirm();
  Table<NeedId, std::size_t> rank(needs_.size());
  for (std::size_t i = 0; i < open.size(); ++i) rank[open[i]] = i;
  std::stable_sort(out_.begin(), out_.end(), [&](const Advice& x, const Advice& y) {
    return rank[x.need] != rank[y.need] ? rank[x.need] < rank[y.need] : x.price < y.price;
  });
  // One mask opening for each net and side is enough.
  std::set<std::pair<NeedId, Side>> opened;
  out_.erase(std::remove_if(out_.begin(), out_.end(),
                            [&](const Advice& x) {
                              return x.kind == AdviceKind::open_mask && !opened.insert({x.need, x.side}).second;
                            }),
             out_.end());
  return std::move(out_);
}
}  // namespace

const char* to_string(AdviceKind kind) {
  static const char* names[] = {"relax rule", "use side", "open mask", "add pad", "move part", "leave out part"};
  return names[static_cast<int>(kind)];
}

std::vector<Advice> advise(const Planned& in, const Coverage& coverage) {
  return Adviser(in, coverage).run();
}

}  // namespace teasel
