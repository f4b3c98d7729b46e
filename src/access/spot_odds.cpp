#include "spot_odds.h"

#include <algorithm>
#include <cmath>

namespace teasel {

namespace {
constexpr double kWorthALook = 1e-7;  // neighbours that are met more rarely than this are not counted
constexpr double kArc = 0.25;         // rad; steps of the rounded corners of grown metal

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
}  // namespace

bool is_convex(const Polygons& metal) {
  return std::all_of(metal.begin(), metal.end(), [](const Polygon& p) {
    return signed_area(convex_hull(p.outer)) <= 1.001 * signed_area(p.outer);
  });
}

Polygons grown(const Polygons& metal, double by, bool convex) {
  if (!convex) return offset(metal, by + kChord);
  Polygons out;
  for (const Polygon& p : metal) {
    const Ring hull = convex_hull(p.outer);
    if (hull.size() < 3) continue;
    Ring ring;
    for (std::size_t i = 0, n = hull.size(); i < n; ++i) {
      const Point in = hull[i] - hull[i == 0 ? n - 1 : i - 1], go = hull[i + 1 == n ? 0 : i + 1] - hull[i];
      const double from = std::atan2(in.y, in.x), turn = std::atan2(cross(in, go), dot(in, go));
      const int steps = std::max(1, static_cast<int>(std::ceil(turn / kArc)));
      const double reach = by / std::cos(turn / steps / 2);  // chords drawn about the arc
      for (int k = 0; k <= steps; ++k) {
        const double a = from + turn * k / steps;  // the outward normal is a quarter turn to the right
        ring.push_back(hull[i] + reach * Point{std::sin(a), -std::cos(a)});
      }
    }
    out.push_back({convex_hull(std::move(ring)), {}});
  }
  return out;
}

Odds odds_of(const Access& access, const Board& board, const Spot& spot, std::size_t k, const ProbeClass& p,
             double head, const Spread& error, const std::vector<Near>& conductors) {
  Odds o;
  const Target& t = access.targets[at(spot.target)];
  const double largest = error.total.largest_sigma(), reach = head / 2;
  // Where even the circle inside is never left no integral is needed: the chance lies below what is claimed at all.
  const double room = spot.diameter / 2 - p.contact_margin.v - 0.002;
  const double inner =
      t.has(Contact::lead) ? std::min(room, reach - distance(spot.at, board.features[at(t.feature)].at) - 0.002) : room;
  const bool sure = inner > 0 && radial_tail(inner / largest, error.disc_share) <= kLeastChance;
  o.miss =
      sure ? kLeastChance
           : std::max(kLeastChance, miss_probability(access.shapes[at(spot.shape)].landing[k], spot.in_shape, error));
  for (const Near& n : conductors) {
    // The half plane bounds convex metal alone; other metal is bounded by the ring beyond its nearest point.
    const double bound = n.convex         ? landing_bound(n.aim, reach, n.way, error)
                         : n.aim <= reach ? 1
                                          : radial_tail((n.aim - reach) / largest, error.disc_share);
    if (bound > kWorthALook) o.wrong += landing_probability(grown(*n.metal, reach, n.convex), spot.at, error);
  }
  o.wrong = std::min(o.wrong, 1.0);
  return o;
}

/// Everything bare, by side: exposures first, then metal that belongs to no pad.
struct BlockedOdds::Metal {
  std::array<BoxTree, 2> tree;
};

BlockedOdds::~BlockedOdds() = default;
BlockedOdds::BlockedOdds(const Access& a, const Board& b, const Catalogue& cat, const Rules& rules)
    : a_(a), b_(b), cat_(cat), rules_(rules), metal_(std::make_unique<Metal>()) {
  for (int s = 0; s < 2; ++s) {
    std::vector<Box> boxes(b.exposures.size() + b.bare_metal.size());
    for (std::size_t i = 0; i < boxes.size(); ++i) {
      const bool pad = i < b.exposures.size();
      const Side side = pad ? b.exposures[i].side : b.bare_metal[i - b.exposures.size()].side;
      if (static_cast<int>(side) == s)
        boxes[i] = bounds(pad ? b.exposures[i].copper : b.bare_metal[i - b.exposures.size()].copper);
    }
    metal_->tree[at(s)] = BoxTree(boxes);
  }
}

Verdict BlockedOdds::of(std::size_t spot, std::size_t k, bool main) const {
  Verdict v = a_.verdict(spot, k, main);
  const Spot& s = a_.spots[spot];
  const Target& t = a_.targets[at(s.target)];
  const ProbeClass& p = cat_.classes[k];
  const double head = head_diameter(b_, rules_, t, p);
  const int net = b_.features[at(t.feature)].net;
  std::vector<int> ids;
  metal_->tree[at(static_cast<int>(t.side))].find(Box{s.at.x, s.at.y, s.at.x, s.at.y}.grown(head / 2 + 1.0), ids);
  std::vector<Near> conductors;
  for (const int id : ids) {
    const bool pad = at(id) < b_.exposures.size();
    if (pad && (b_.exposures[at(id)].feature == t.feature || b_.features[at(b_.exposures[at(id)].feature)].net == net))
      continue;
    const Polygons& metal = pad ? b_.exposures[at(id)].copper : b_.bare_metal[at(id) - b_.exposures.size()].copper;
    Near n;
    Point q;
    n.aim = distance_to_area(metal, s.at, &q);
    n.metal = &metal;
    n.convex = is_convex(metal);
    if (n.aim > 0) n.way = (1 / n.aim) * (q - s.at);
    conductors.push_back(n);
  }
  const Odds odds = odds_of(a_, b_, s, k, p, head,
                            error_budget(b_, rules_, p, b_.exposures[at(t.exposure)], s.at, main).spread(), conductors);
  v.miss = odds.miss;
  v.wrong = odds.wrong;
  return v;
}

}  // namespace teasel
