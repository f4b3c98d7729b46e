#include "teasel/coverage/advice.h"

#include <algorithm>
#include <array>
#include <map>
#include <set>

#include "by_net.h"
#include "pad_places.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr std::size_t kMostVias = 6;  // openings tried for one net and side

/// A land that does not exist yet, judged as if it did.
struct Proposal {
  std::size_t advice{};  ///< index into the list
  int exposure = -1;     ///< of the board with all proposals
};

class Adviser {
 public:
  Adviser(const Board& b, const Access& a, const std::vector<Need>& needs, const OptionResult& r, const Coverage& c,
          const BoundaryScan& scan, const Job& job, const Catalogue& cat, const Rules& rules)
      : b_(b),
        a_(a),
        needs_(needs),
        r_(r),
        c_(c),
        scan_(scan),
        job_(job),
        cat_(cat),
        rules_(rules),
        targets_of_(targets_by_net(b, a)),
        covered_of_(covered_by_net(b)) {}
  std::vector<Advice> run();

 private:
  bool in_use(Side s) const { return r_.option.probed(s); }
  bool allowed(Side s) const { return job_.sides == "both" || job_.sides == "auto" || job_.sides == to_string(s); }
  double gain(int need) const {
    const UnmetPrice price = unmet_price(needs_[at(need)], rules_);
    return r_.got[at(need)] == 0 ? price.none : std::min(price.further, price.none);
  }
  Advice begin(int need, AdviceKind kind, double price) const {
    Advice x;
    x.need = need;
    x.kind = kind;
    x.price = price;
    x.gain = gain(need);
    return x;
  }
  bool tested_by_scan(const Need& n) const {
    return !n.mandatory && (n.role == Role::functional || n.role == Role::observe) &&
           scan_.needs_no_probe(b_.base_net(n.net));
  }
  void rules_to_relax(int need);
  void other_side(int need);
  void masks(int need);
  void bodies(int need);
  void pads(const std::vector<int>& needs);
  void confirm();
  bool room_to_move(int component, Point by) const;
  double least_distance_mm(int probe_class) const;
  int fitting_class(const Access& access, std::size_t target) const;

  const Board& b_;
  const Access& a_;
  const std::vector<Need>& needs_;
  const OptionResult& r_;
  const Coverage& c_;
  const BoundaryScan& scan_;
  const Job& job_;
  const Catalogue& cat_;
  const Rules& rules_;
  std::vector<std::vector<std::size_t>> targets_of_;
  std::vector<std::vector<const Covered*>> covered_of_;
  std::vector<Advice> out_;
  Board proposed_;  ///< the board with all lands that are proposed
  std::vector<Proposal> proposals_;
};

void Adviser::rules_to_relax(int need) {
  std::set<Reason> seen;
  for (const NearlyOpen& n : c_.nearly_open) {
    if (n.need != need || !seen.insert(n.shortfall.reason).second) continue;
    const Target& t = a_.targets[at(n.target)];
    Advice x = begin(need, AdviceKind::relax_rule, rules_.advice.relax_rule);
    x.side = t.side;
    x.at = a_.spots[at(n.spot)].at;
    x.free_diameter = a_.spots[at(n.spot)].diameter;
    x.probe_class = n.probe_class;
    x.action = "relax at " + b_.features[at(t.feature)].name + ": " + sentence(n.shortfall, b_, job_);
    out_.push_back(std::move(x));
  }
}

void Adviser::other_side(int need) {
  for (const std::size_t t : targets_of_[at(needs_[at(need)].net)]) {
    const Target& target = a_.targets[t];
    if (in_use(target.side) || !a_.open(t, target.side == r_.option.main)) continue;
    Advice x = begin(need, AdviceKind::use_side, rules_.advice.use_side);
    const Spot& s = a_.spots[at(target.first_spot)];
    x.side = target.side;
    x.at = s.at;
    x.free_diameter = s.diameter;
    for (std::size_t k = 0; k < a_.classes && x.probe_class < 0; ++k)
      if (a_.best_verdict(t, k, target.side == r_.option.main).open) x.probe_class = static_cast<int>(k);
    x.action = std::string("probe from the ") + to_string(target.side) +
               " as well: " + b_.features[at(target.feature)].name + " is open there" +
               (allowed(target.side) ? "; the plan finds that side dearer than what it serves"
                                     : "; the job forbids that side");
    out_.push_back(std::move(x));
    return;
  }
}

/// Lands under the mask, opened to their own size.
void Adviser::masks(int need) {
  std::array<std::size_t, 2> tried{};
  std::vector<const Covered*> list = covered_of_[at(needs_[at(need)].net)];
  auto size = [&](const Covered* x) {
    const Land& l = b_.features[at(x->feature)].land[at(static_cast<int>(x->side))];
    return std::min(l.width, l.height);
  };
  std::stable_sort(list.begin(), list.end(), [&](const Covered* x, const Covered* y) { return size(x) > size(y); });
  for (const Covered* x : list) {
    const Feature& f = b_.features[at(x->feature)];
    const std::size_t s = at(static_cast<int>(x->side));
    const Land& land = f.land[s];
    if (!x->mask || !land.present || land.width <= 0 || !allowed(x->side) || ++tried[s] > kMostVias) continue;
    Exposure e;
    e.feature = x->feature;
    e.side = x->side;
    e.proposed = true;
    e.aim = f.at;
    const Ring outer =
        land.round || land.height <= 0 ? circle(f.at, land.width / 2) : rectangle({}, land.width, land.height);
    if (land.round || land.height <= 0)
      e.contact = {{outer, {}}};
    else {
      const double a = land.rotation * 3.14159265358979323846 / 180;
      e.contact = transformed({{outer, {}}}, {std::cos(a), -std::sin(a), std::sin(a), std::cos(a), f.at.x, f.at.y});
    }
    e.copper = f.hole > 0 ? subtract(e.contact, {{circle(f.at, f.hole / 2), {}}}) : e.contact;
    e.diameter = 2 * distance_to_boundary(e.contact, f.at);
    e.mask_defined = false;
    e.from_layers = true;
    Advice adv = begin(need, AdviceKind::open_mask, rules_.advice.open_mask);
    adv.side = x->side;
    adv.at = f.at;
    adv.free_diameter = e.diameter;
    adv.action = std::string("open the mask over ") + (f.kind == FeatureKind::via ? "the via " : "the land ") + f.name +
                 " to its full " + short_number(std::min(land.width, land.height > 0 ? land.height : land.width), 3) +
                 " mm";
    proposals_.push_back({out_.size(), static_cast<int>(proposed_.exposures.size())});
    proposed_.exposures.push_back(std::move(e));
    out_.push_back(std::move(adv));
  }
}

bool Adviser::room_to_move(int component, Point by) const {
  const Component& c = b_.components[at(component)];
  const Polygons there = transformed(c.body, {1, 0, 0, 1, by.x, by.y});
  for (const Component& o : b_.components) {
    if (&o == &c || o.side != c.side || o.body.empty() || !bounds(o.body).touches(bounds(there))) continue;
    if (area(intersect(there, o.body)) > area(intersect(c.body, o.body)) + 1e-6) return false;
  }
  // Nor onto a pin, a keep-out, a hole, or nearer to a placed probe than it is and than the rules ask.
  for (const KeepOut& k : job_.keep_outs)
    if ((k.side == "both" || k.side == to_string(c.side)) && area(intersect(there, k.area)) > 1e-6) return false;
  for (const BoardHole& h : b_.holes)
    if (h.plating == formats::Plating::unplated && contains(there, h.at) && !contains(c.body, h.at)) return false;
  for (const PlacedProbe& p : r_.probes) {
    const Target& t = a_.targets[at(p.target)];
    if (t.side != c.side || b_.features[at(t.feature)].component == component) continue;
    const Point aim = a_.spots[at(p.spot)].at;
    const double now = distance_to_area(c.body, aim), then = distance_to_area(there, aim);
    if (then < now && then < least_distance_mm(p.probe_class)) return false;
  }
  return area(subtract(there, b_.pieces)) <= area(subtract(c.body, b_.pieces)) + 1e-6;
}

/// A body this far from an aim is in no probe's way, whatever its height.
double Adviser::least_distance_mm(int k) const {
  const ProbeClass& p = cat_.classes[at(k)];
  return std::max(p.receptacle_drill.v / 2 + rules_.web.v + rules_.pocket_clearance.v, p.largest_head.v / 2) + 0.3;
}

/// Targets that one body alone closes: move it, or leave it out.
void Adviser::bodies(int need) {
  struct Found {
    double by;
    Point way;
    std::size_t target;
    int spot;
    std::size_t k;
  };
  std::map<int, Found> move, leave;  // by component
  for (const std::size_t t : targets_of_[at(needs_[at(need)].net)]) {
    const Target& target = a_.targets[t];
    if (!allowed(target.side)) continue;
    const bool main = target.side == r_.option.main;
    for (std::size_t k = 0; k < a_.classes; ++k) {
      const std::size_t spot = a_.best(t, k, main);
      int body = -1;
      bool only = true;
      double by = 0;
      for (const Shortfall& s : a_.verdict(spot, k, main).shortfalls) {
        if (!s.blocking) continue;
        const bool is_body = (s.reason == Reason::body || s.reason == Reason::under_body) &&
                             s.obstacle.kind == Obstacle::Kind::component;
        only &= is_body && (body < 0 || body == s.obstacle.id);
        body = is_body ? s.obstacle.id : body;
        by = std::max(by, s.required - s.measured);
      }
      if (!only || body < 0) continue;
      const Component& c = b_.components[at(body)];
      const Point aim = a_.spots[spot].at;
      if (!leave.count(body)) leave[body] = {0, {}, t, static_cast<int>(spot), k};
      if (b_.features[at(a_.targets[t].feature)].component == body) continue;  // its own pads go with it
      Point q;
      const double d = distance_to_area(c.body, aim, &q);
      Point way{};
      if (d > 0)
        way = (1 / d) * (q - aim);
      else {
        // Out over the nearest edge.
        double edge = 1e18;
        for (const Polygon& p : c.body)
          for (std::size_t i = 0; i < p.outer.size(); ++i) {
            const Point e = nearest_on_segment(aim, p.outer[i], p.outer[(i + 1) % p.outer.size()]);
            if (distance(e, aim) < edge) {
              edge = distance(e, aim);
              way = distance(e, aim) > 1e-9 ? (1 / distance(e, aim)) * (aim - e) : Point{1, 0};
            }
          }
        by += edge;
      }
      by = std::max(0.1, std::ceil(100 * (by + 0.05)) / 100);  // a shift that is worth a layout change, with some room
      if (by > rules_.advice.farthest_move.v || !room_to_move(body, by * way)) continue;
      if (const auto it = move.find(body); it == move.end() || by < it->second.by)
        move[body] = {by, way, t, static_cast<int>(spot), k};
    }
  }
  auto fill = [&](Advice x, const Found& f) {
    x.side = a_.targets[f.target].side;
    x.at = a_.spots[at(f.spot)].at;
    x.free_diameter = a_.spots[at(f.spot)].diameter;
    x.probe_class = static_cast<int>(f.k);
    out_.push_back(std::move(x));
  };
  const std::pair<const int, Found>* least = nullptr;
  for (const auto& m : move)
    if (!least || m.second.by < least->second.by) least = &m;
  if (least) {
    const Component& c = b_.components[at(least->first)];
    const Found& f = least->second;
    Advice x = begin(need, AdviceKind::move_part, rules_.advice.move_part);
    x.action = "move " + c.name + " by " + fixed(f.by, 2) + " mm, (" + fixed(f.by * f.way.x, 2) + ", " +
               fixed(f.by * f.way.y, 2) + "), away from " + b_.features[at(a_.targets[f.target].feature)].name +
               "; its body has room there, its traces were not looked at" +
               (c.height_known == Known::confirmed ? "" : "; its height is assumed");
    fill(std::move(x), f);
  }
  for (const auto& [body, f] : leave) {
    if (least && least->first == body) continue;
    const Component& c = b_.components[at(body)];
    Advice x = begin(need, AdviceKind::leave_out, rules_.advice.leave_out);
    x.action = "leave " + c.name + " unfitted until after the test: its body closes " +
               b_.features[at(a_.targets[f.target].feature)].name;
    fill(std::move(x), f);
    break;
  }
}

/// Each side by itself, needs in the order of their worth: an advised pad is in the way of the next.
void Adviser::pads(const std::vector<int>& needs) {
  std::array<std::vector<std::vector<PadPlace>>, 2> found;
  for (auto& f : found) f.resize(needs.size());
  std::array<bool, 2> known{};
  std::array<std::unique_ptr<PadPlaces>, 2> places;
  // First where the net's own copper lies; a via is the answer only for nets that find no place on their own side.
  for (const bool with_via : {false, true}) {
    std::vector<char> served(needs.size());
    for (std::size_t i = 0; i < needs.size(); ++i) served[i] = !found[0][i].empty() || !found[1][i].empty();
    parallel_for(
        2,
        [&](std::size_t s) {
          const auto side = static_cast<Side>(s);
          if (!allowed(side)) return;
          if (!places[s]) {
            places[s] = std::make_unique<PadPlaces>(b_, a_, r_, job_, cat_, rules_, side);
            known[s] = places[s]->copper_known();
          }
          if (with_via) places[s]->turn_to_vias();
          for (std::size_t i = 0; i < needs.size(); ++i)
            if (!with_via || !served[i]) found[s][i] = places[s]->find(needs_[at(needs[i])].net);
        },
        1);
  }
  for (std::size_t i = 0; i < needs.size(); ++i)
    for (std::size_t s = 0; s < 2; ++s) {
      const auto side = static_cast<Side>(s);
      for (const PadPlace& p : found[s][i]) {
        Advice x = begin(needs[i], AdviceKind::add_pad,
                         rules_.advice.add_pad + (in_use(side) ? 0 : rules_.advice.use_side) + p.distance / 1000 +
                             (p.in_pour ? 0.5 : 0) + (p.with_via ? 0.5 : 0));
        x.side = side;
        x.at = {std::round(p.at.x * 1000) / 1000, std::round(p.at.y * 1000) / 1000};
        x.free_diameter = p.free_diameter;
        x.distance = p.distance;
        const double size = rules_.advice.pad_diameter.v;
        x.action = "add a test pad of " + short_number(size, 2) + " mm on the " + to_string(side) +
                   (p.with_via            ? " with a via: the net has no copper there"
                    : p.distance <= 0.001 ? " on the net's own copper"
                                          : "") +
                   (p.in_pour ? "; the copper plane there has to give way" : "") +
                   (known[s] ? "" : "; no copper layer is given: traces were not looked at");
        Feature f;
        f.name = "advised@" + fixed(x.at.x, 3) + "/" + fixed(x.at.y, 3);
        f.kind = FeatureKind::test_pad;
        f.net = needs_[at(needs[i])].net;
        f.at = x.at;
        f.test_point = true;
        Exposure e;
        e.feature = static_cast<int>(proposed_.features.size());
        e.side = side;
        e.proposed = true;
        e.aim = x.at;
        e.from_layers = true;
        e.contact = e.copper = {{circle(x.at, size / 2), {}}};
        e.diameter = 2 * distance_to_boundary(e.contact, x.at);
        proposed_.features.push_back(std::move(f));
        proposals_.push_back({out_.size(), static_cast<int>(proposed_.exposures.size())});
        proposed_.exposures.push_back(std::move(e));
        out_.push_back(std::move(x));
      }
    }
}

/// The largest class that is open and keeps its distance from the placed probes.
int Adviser::fitting_class(const Access& access, std::size_t target) const {
  const Target& t = access.targets[target];
  const Spot& s = access.spots[at(t.first_spot)];
  for (std::size_t k = 0; k < access.classes; ++k) {
    if (!access.best_verdict(target, k, t.side == r_.option.main).open) continue;
    const bool room = std::none_of(r_.probes.begin(), r_.probes.end(), [&](const PlacedProbe& p) {
      const Target& o = a_.targets[at(p.target)];
      return o.side == t.side &&
             distance(a_.spots[at(p.spot)].at, s.at) * 1e6 <
                 static_cast<double>(least_distance_nm(cat_, rules_, k, at(p.probe_class)) - kAimGrid);
    });
    if (room) return static_cast<int>(k);
  }
  return -1;
}

/// Judges all proposals at once; what is not open falls out of the list.
void Adviser::confirm() {
  if (proposals_.empty()) return;
  const Access access = judge(proposed_, job_, cat_, rules_);
  std::map<int, std::size_t> target_of;
  for (std::size_t t = 0; t < access.targets.size(); ++t) target_of[access.targets[t].exposure] = t;
  std::vector<bool> gone(out_.size());
  for (const Proposal& p : proposals_) {
    const auto it = target_of.find(p.exposure);
    const int k = it == target_of.end() ? -1 : fitting_class(access, it->second);
    out_[p.advice].probe_class = k;
    if (k < 0) gone[p.advice] = true;
  }
  std::vector<Advice> kept;
  for (std::size_t i = 0; i < out_.size(); ++i)
    if (!gone[i]) kept.push_back(std::move(out_[i]));
  out_ = std::move(kept);
}

std::vector<Advice> Adviser::run() {
  std::vector<int> open;
  for (std::size_t i = 0; i < needs_.size(); ++i)
    if (needs_[i].wanted > r_.got[i] && needs_[i].role != Role::do_not_touch && !tested_by_scan(needs_[i]))
      open.push_back(static_cast<int>(i));
  if (open.empty()) return {};
  proposed_ = b_;
  std::stable_sort(open.begin(), open.end(), [&](int x, int y) { return gain(x) > gain(y); });
  for (const int n : open) {
    rules_to_relax(n);
    other_side(n);
    masks(n);
    bodies(n);
  }
  if (b_.places.empty()) pads(open);
  confirm();
  std::vector<std::size_t> rank(needs_.size());
  for (std::size_t i = 0; i < open.size(); ++i) rank[at(open[i])] = i;
  std::stable_sort(out_.begin(), out_.end(), [&](const Advice& x, const Advice& y) {
    return rank[at(x.need)] != rank[at(y.need)] ? rank[at(x.need)] < rank[at(y.need)] : x.price < y.price;
  });
  // One opening a net and side is enough to say.
  std::set<std::tuple<int, Side>> opened;
  out_.erase(std::remove_if(out_.begin(), out_.end(),
                            [&](const Advice& x) {
                              return x.kind == AdviceKind::open_mask && !opened.insert({x.need, x.side}).second;
                            }),
             out_.end());
  return std::move(out_);
}
}  // namespace

const char* to_string(AdviceKind k) {
  static const char* names[] = {"relax rule", "use side", "open mask", "add pad", "move part", "leave out part"};
  return names[static_cast<int>(k)];
}

std::vector<Advice> advise(const Board& b, const Access& access, const std::vector<Need>& needs, const PlanResult& plan,
                           const Coverage& coverage, const BoundaryScan& scan, const Job& job, const Catalogue& cat,
                           const Rules& rules) {
  return Adviser(b, access, needs, plan.options[plan.chosen], coverage, scan, job, cat, rules).run();
}

}  // namespace teasel
