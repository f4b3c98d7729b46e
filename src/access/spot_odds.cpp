#include "spot_odds.h"

#include <algorithm>
#include <cmath>

namespace teasel {

namespace {
constexpr double kWorthALook = 1e-7;  // neighbours that are met more rarely than this are not counted
constexpr double kArc = 0.25;         // rad; steps of the rounded corners of grown metal

/// No more than this chance of touching a neighbour. The half plane beyond its nearest point bounds convex metal alone;
/// other metal is bounded by the ring beyond that point.
double bound_of_touch(const NearMetal& near, double reach, double largest_sigma, const Spread& error) {
  if (near.convex) return landing_bound(Mm{near.aim}, Mm{reach}, near.way, error).v;
  if (near.aim <= reach) return 1;
  return radial_tail((near.aim - reach) / largest_sigma, error.disc_share);
}
}  // namespace

ArcWay way_of(const LidArc& arc, const Board& board, const Rules& rules, const Target& target, BoardPoint at,
              const ProbeClass& probe, bool main_side) {
  return arc.way(at, target.side, main_side, longest_stroke(board, rules, target, probe, main_side));
}

bool is_convex(const Polygons& metal) {
  return std::all_of(metal.begin(), metal.end(), [](const Polygon& polygon) {
    return signed_area(convex_hull(polygon.outer)) <= 1.001 * signed_area(polygon.outer);
  });
}

Polygons grown(const Polygons& metal, double by, bool convex) {
  if (!convex) return offset(metal, by + kChord);
  Polygons out;
  for (const Polygon& polygon : metal) {
    const Ring hull = convex_hull(polygon.outer);
    const std::size_t corners = hull.size();
    if (corners < 3) continue;
    Ring ring;
    for (std::size_t i = 0; i < corners; ++i) {
      const Point in = hull[i] - hull[i == 0 ? corners - 1 : i - 1], go = hull[i + 1 == corners ? 0 : i + 1] - hull[i];
      const double from = std::atan2(in.y, in.x), turn = std::atan2(cross(in, go), dot(in, go));
      const int steps = std::max(1, static_cast<int>(std::ceil(turn / kArc)));
      const double reach = by / std::cos(turn / steps / 2);  // chords drawn about the arc
      for (int k = 0; k <= steps; ++k) {
        const double angle = from + turn * k / steps;  // the outward normal is a quarter turn to the right
        ring.push_back(hull[i] + reach * Point{std::sin(angle), -std::cos(angle)});
      }
    }
    out.push_back({convex_hull(std::move(ring)), {}});
  }
  return out;
}

Odds odds_of(const Access& access, const Board& board, const Spot& spot, ClassId probe_class, const ProbeClass& probe,
             Mm head, const LandSpread& of_land, const std::vector<NearMetal>& conductors, const ArcWay& way) {
  Odds odds;
  const Target& target = access.targets[spot.target];
  const Spread& error = of_land.metal;
  const double largest = error.total.largest_sigma().v, reach = head.v / 2;
  // Where even the circle inside is never left, no integral is needed: the chance lies below what is claimed at all.
  const double scrub = way.longest(), room = spot.diameter.v / 2 - probe.contact_margin.v - 0.002 - scrub;
  const double inner =
      target.has(Contact::lead)
          ? std::min(room, reach - distance(spot.at, board.features[target.feature].at) - 0.002 - scrub)
          : room;
  const auto is_sure = [&](double inside, const Spread& spread) {
    return inside > 0 && radial_tail(inside / spread.total.largest_sigma().v, spread.disc_share) <= kLeastChance.v;
  };
  const bool sure = is_sure(inner, error) && (!of_land.opening_near || is_sure(inner, of_land.opening));
  const Polygons& landing = access.shapes[spot.shape].landing[probe_class];
  odds.miss =
      sure ? kLeastChance
           : std::max(kLeastChance, scrub > 0 ? miss_probability(landing_along(landing, way), spot.in_shape, of_land)
                                              : miss_probability(landing, spot.in_shape, of_land));
  for (NearMetal near : conductors) {
    near.aim = std::max(0.0, near.aim - scrub);
    if (bound_of_touch(near, reach, largest, error) <= kWorthALook) continue;
    const Polygons wrong = grown(*near.metal, reach, near.convex);
    odds.wrong += landing_probability(wrong, spot.at, error);
    // It may be met on the way and left again.
    for (const Point off : {way.towards, way.away})
      if (!(off == Point{})) odds.wrong += landing_probability(wrong, spot.at + off, error);
  }
  odds.wrong = std::min(odds.wrong, Chance{1.0});
  return odds;
}

/// Everything bare, by side; rows as in the list of all bare metal.
struct BlockedOdds::Metal {
  PerSide<BoxTree> tree;
};

BlockedOdds::~BlockedOdds() = default;
BlockedOdds::BlockedOdds(const Access& access, const Board& board, const Catalogue& catalogue, const Rules& rules,
                         const LidArc& arc)
    : access_(access),
      board_(board),
      catalogue_(catalogue),
      rules_(rules),
      arc_(arc),
      metal_(std::make_unique<Metal>()) {
  for (const Side side : kBothSides) {
    std::vector<Box> boxes(metal_pieces(board));
    for (std::size_t row = 0; row < boxes.size(); ++row)
      if (const MetalPiece piece = metal_piece(board, row); side_of(board, piece) == side)
        boxes[row] = bounds(copper_of(board, piece));
    metal_->tree[side] = BoxTree(boxes);
  }
}

Verdict BlockedOdds::of(SpotId spot_id, ClassId probe_class, bool main_side) const {
  Verdict verdict = access_.verdict(spot_id, probe_class, main_side);
  const Spot& spot = access_.spots[spot_id];
  const Target& target = access_.targets[spot.target];
  const ProbeClass& probe = catalogue_.classes[probe_class];
  const Mm head = head_diameter(board_, rules_, target, probe);
  const NetId net = board_.features[target.feature].net;
  std::vector<std::size_t> rows;
  metal_->tree[target.side].find(Box{spot.at.x, spot.at.y, spot.at.x, spot.at.y}.grown(head.v / 2 + 1.0), rows);
  std::vector<NearMetal> conductors;
  for (const std::size_t row : rows) {
    const MetalPiece piece = metal_piece(board_, row);
    if (piece.exposure) {
      const FeatureId feature = board_.exposures[piece.exposure].feature;
      if (feature == target.feature || board_.features[feature].net == net) continue;
    }
    const Polygons& metal = copper_of(board_, piece);
    NearMetal near;
    Point nearest;
    near.aim = distance_to_area(metal, spot.at, &nearest);
    near.metal = &metal;
    near.convex = is_convex(metal);
    if (near.aim > 0) near.way = (1 / near.aim) * (nearest - spot.at);
    conductors.push_back(near);
  }
  const LandSpread error =
      error_budget(board_, rules_, probe, board_.exposures[target.exposure], spot.at, main_side).on_land();
  const Odds odds = odds_of(access_, board_, spot, probe_class, probe, head, error, conductors,
                            way_of(arc_, board_, rules_, target, spot.at, probe, main_side));
  verdict.miss = odds.miss;
  verdict.wrong = odds.wrong;
  return verdict;
}

}  // namespace teasel
