#include "targets.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "teasel/enums.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
// mm. A land this far inside the ring of a part's lands lies under the part (common practice, no source).
constexpr double kEnclosed = 0.15;
// A drawn outline is drawn about the lands if it holds this share of their metal (common practice, no source).
constexpr double kAboutLands = 0.8;
constexpr double kSameForm = 5e-6;     // mm; vertices of equal forms differ by the nanometre grid of booleans at most
constexpr double kLong = 1.6;          // length over width from which a land is long: its ends are aim points as well
constexpr double kEndCircle = 0.95;    // at an end, a circle of this share of the largest one still fits
constexpr double kSamePlace = 0.0015;  // mm; places nearer than this are one place on the grid of aim points
constexpr double kBetweenAims = 0.02;  // mm; aim points nearer than this to one another are not worth having both
constexpr double kCirclePrecision = 0.002;  // mm

/// The metal of one target before equal forms are joined.
struct Draft {
  Target target;
  Covering covering;
  Polygons area;  ///< about the origin
  Point origin, lead;
  AimKind kind{};
  double diameter{};  ///< of the largest circle about the origin
  double hole{};      ///< that decides the width of the head
  bool is_lead = false;
};

TargetKind kind_of(const Board& board, const Feature& feature) {
  const bool absent = feature.component && !board.components[feature.component].fitted;
  if (feature.mark != TestMark::none) return TargetKind::test_pad;
  switch (feature.kind) {
    case FeatureKind::test_pad: return TargetKind::test_pad;
    case FeatureKind::lead: return TargetKind::lead;
    case FeatureKind::via: return TargetKind::via;
    default: return absent ? TargetKind::test_pad : TargetKind::smd_pad;
  }
}

/// A lead of a part could stand in this hole; thicker ones are screws and pins of the board itself.
bool takes_a_lead(const Rules& rules, const Feature& feature) {
  return feature.kind == FeatureKind::lead && feature.component && !(feature.hole > rules.thick_lead);
}

/// A lead stands in the hole in at least one build variant.
bool has_lead(const Board& board, const Rules& rules, const Feature& feature) {
  if (feature.hole.v <= 0 || !takes_a_lead(rules, feature)) return false;
  const Component& component = board.components[feature.component];
  // Nothing stands in mounting holes and single lands.
  return component.fitted && !component.body.empty() && component.features.size() > 1;
}

Circle largest_circle(const Polygons& metal) {
  Circle best;
  for (const Polygon& polygon : metal)
    if (const Circle circle = largest_inscribed_circle(polygon, kCirclePrecision); circle.radius > best.radius)
      best = circle;
  return best;
}
/// Diameter of the largest circle about a place inside the metal; 0 outside.
double circle_at(const Polygons& metal, Point place) {
  return contains(metal, place) ? 2 * distance_to_boundary(metal, place) : 0;
}
Point on_grid(Point place) {
  return {std::round(place.x * 1000) / 1000, std::round(place.y * 1000) / 1000};
}

class Finder {
 public:
  Finder(const Board& board, const Rules& rules, const PerSide<BoxTree>& bodies);
  Draft draft(ExposureId id) const;

 private:
  bool is_soldered(const Exposure& exposure, const Feature& feature) const;
  bool under_own_body(const Exposure& exposure, const Feature& feature) const;
  /// The bare metal less what drawn bodies cover.
  Polygons uncovered(const Exposure& exposure, const Feature& feature, Covering& covering) const;
  void place(Draft& draft, const Exposure& exposure, const Feature& feature, const Polygons& metal) const;

  const Board& board_;
  const Rules& rules_;
  const PerSide<BoxTree>& bodies_;
  Table<ComponentId, char> about_lands_;  ///< its outline is drawn about its lands
};

Finder::Finder(const Board& board, const Rules& rules, const PerSide<BoxTree>& bodies)
    : board_(board), rules_(rules), bodies_(bodies), about_lands_(board.components.size()) {
  Table<ComponentId, std::vector<ExposureId>> own(board.components.size());
  for (const ExposureId id : board.exposures.ids()) {
    const Exposure& exposure = board.exposures[id];
    const Feature& feature = board.features[exposure.feature];
    if (feature.component && feature.hole.v <= 0 && board.components[feature.component].side == exposure.side)
      own[feature.component].push_back(id);
  }
  parallel_for(
      board.components.size(),
      [&](std::size_t i) {
        const ComponentId id{i};
        const Component& component = board.components[id];
        if (component.body.empty() || component.outline_by.empty()) return;
        double all = 0, inside = 0;
        for (const ExposureId exposure : own[id]) {
          const Polygons& metal = board.exposures[exposure].contact;
          all += area(metal);
          inside += area(intersect(metal, component.body));
        }
        about_lands_[id] = all > 0 && inside >= kAboutLands * all;
      },
      16);
}

bool Finder::is_soldered(const Exposure& exposure, const Feature& feature) const {
  if (exposure.pasted) return true;
  // Where no paste layer tells, the surface pads of fitted parts are soldered all the same.
  return !board_.has_paste[board_.own_side(feature, exposure.side)] && feature.kind == FeatureKind::smd_pad &&
         feature.component && board_.components[feature.component].fitted;
}

Draft Finder::draft(ExposureId id) const {
  Draft draft;
  const Exposure& exposure = board_.exposures[id];
  const Feature& feature = board_.features[exposure.feature];
  Target& target = draft.target;
  target.exposure = id;
  target.feature = exposure.feature;
  target.side = exposure.side;
  target.kind = kind_of(board_, feature);
  const bool soldered = is_soldered(exposure, feature);
  target.surface = soldered ? Surface::soldered : board_.finish;
  if (has_lead(board_, rules_, feature)) target.contacts.push_back(Contact::lead);
  if (has_empty_hole(board_, rules_, feature)) target.contacts.push_back(Contact::open_hole);
  if (target.contacts.empty()) target.contacts.push_back(soldered ? Contact::soldered : Contact::flat);
  draft.is_lead = target.has(Contact::lead);
  if (draft.is_lead || target.has(Contact::open_hole)) draft.hole = feature.hole.v;
  const Polygons metal = uncovered(exposure, feature, draft.covering);
  target.own_body = feature.component && !draft.covering.own_exempt && !draft.covering.body;
  place(draft, exposure, feature, metal);
  return draft;
}

bool Finder::under_own_body(const Exposure& exposure, const Feature& feature) const {
  if (!feature.component) return false;
  const Component& component = board_.components[feature.component];
  if (component.body.empty() || component.side != exposure.side) return false;
  if (component.area_array || feature.hole.v > 0) return true;
  // Deeper inside a drawn body than the margin that outlines have about their lands: a module stands over it.
  if (!component.outline_by.empty() && contains(component.body, exposure.aim)) {
    double deep = 1e9;
    for (const Polygon& polygon : exposure.contact)
      for (const Point corner : polygon.outer)
        deep = std::min(deep, contains(component.body, corner) ? distance_to_boundary(component.body, corner) : 0.0);
    if (deep > kCourtyard) return true;
  }
  // Enclosed by the part's other lands, unless the drawn body leaves it free.
  if (component.ring.size() < 3 || winding_number(component.ring, feature.at) == 0 ||
      distance_to_boundary({{component.ring, {}}}, feature.at) <= kEnclosed)
    return false;
  if (component.outline_by.empty()) return true;
  return area(subtract(exposure.contact, component.body)) < 0.2 * area(exposure.contact);
}

Polygons Finder::uncovered(const Exposure& exposure, const Feature& feature, Covering& covering) const {
  if (under_own_body(exposure, feature)) {
    covering.body = feature.component;
    return exposure.contact;
  }
  if (feature.component) {
    const Component& component = board_.components[feature.component];
    covering.own_exempt = component.outline_by.empty() || about_lands_[feature.component] || feature.hole.v > 0;
  }
  Polygons rest = exposure.contact;
  std::vector<std::size_t> rows;
  bodies_[exposure.side].find(bounds(exposure.contact), rows);
  for (const std::size_t row : rows) {
    const ComponentId id{row};
    const Component& component = board_.components[id];
    if (component.outline_by.empty() || (id == feature.component && covering.own_exempt)) continue;
    const Polygons left = subtract(rest, component.body);
    if (area(left) > area(rest) - 1e-6) continue;
    if (left.empty()) {
      covering.body = id;
      return exposure.contact;
    }
    rest = left;
  }
  return rest;
}

void Finder::place(Draft& draft, const Exposure& exposure, const Feature& feature, const Polygons& metal) const {
  draft.origin = exposure.aim;
  draft.diameter = exposure.diameter.v;
  draft.kind = distance(exposure.aim, feature.at) < kSamePlace ? AimKind::centre : AimKind::largest_circle;
  if (area(metal) < area(exposure.contact) - 1e-6) {
    const double here = circle_at(metal, exposure.aim);
    const Circle best = largest_circle(metal);
    if (here < 1.9 * best.radius) {
      draft.origin = on_grid(best.centre);
      draft.kind = AimKind::largest_circle;
      draft.diameter = 2 * best.radius;
    } else
      draft.diameter = here;
  }
  draft.area = transformed(metal, {1, 0, 0, 1, -draft.origin.x, -draft.origin.y});
  draft.lead = draft.is_lead ? feature.at - draft.origin : Point{};
}

bool same_ring(const Ring& a, const Ring& b) {
  if (a.size() != b.size()) return false;
  // Rings of one form may begin at different corners.
  for (std::size_t shift = 0; shift < b.size(); ++shift) {
    if (std::abs(a[0].x - b[shift].x) > kSameForm || std::abs(a[0].y - b[shift].y) > kSameForm) continue;
    bool same = true;
    for (std::size_t i = 0, j = shift; i < a.size() && same; ++i, j = j + 1 == b.size() ? 0 : j + 1)
      same = std::abs(a[i].x - b[j].x) <= kSameForm && std::abs(a[i].y - b[j].y) <= kSameForm;
    if (same) return true;
  }
  return false;
}
bool same_form(const Draft& a, const Draft& b) {
  if (a.is_lead != b.is_lead || a.target.contacts != b.target.contacts || a.hole != b.hole ||
      distance(a.lead, b.lead) > kSameForm || a.area.size() != b.area.size())
    return false;
  for (std::size_t i = 0; i < a.area.size(); ++i) {
    const Polygon &one = a.area[i], &two = b.area[i];
    if (one.holes.size() != two.holes.size() || !same_ring(one.outer, two.outer)) return false;
    for (std::size_t k = 0; k < one.holes.size(); ++k)
      if (!same_ring(one.holes[k], two.holes[k])) return false;
  }
  return true;
}

/// Shapes of the drafts by form. `first`: the draft that gives a shape its metal.
std::vector<ShapeId> join_forms(const std::vector<Draft>& drafts, Table<ShapeId, std::size_t>& first) {
  std::vector<ShapeId> shapes(drafts.size());
  std::map<std::tuple<std::size_t, std::size_t, long long>, std::vector<ShapeId>> buckets;
  for (std::size_t i = 0; i < drafts.size(); ++i) {
    const Draft& draft = drafts[i];
    const std::size_t corners = draft.area.empty() ? 0 : draft.area[0].outer.size();
    auto& bucket = buckets[{draft.area.size(), corners, std::llround(area(draft.area) * 1000)}];
    auto found = std::find_if(bucket.begin(), bucket.end(),
                              [&](ShapeId shape) { return same_form(drafts[first[shape]], draft); });
    if (found == bucket.end()) {
      bucket.push_back(first.add(i));
      found = bucket.end() - 1;
    }
    shapes[i] = *found;
  }
  return shapes;
}

/// An aim point in the frame of its shape.
struct Aim {
  AimKind kind{};
  Point at;
  double diameter{};
};

struct LongAxis {
  Point along;  ///< unit vector
  double length{}, width{};
};
/// Of all directions of the hull's edges, the one with the narrowest width: rotating calipers, over few corners.
LongAxis long_axis(const Polygons& metal) {
  std::vector<Point> points;
  for (const Polygon& polygon : metal) points.insert(points.end(), polygon.outer.begin(), polygon.outer.end());
  const Ring hull = convex_hull(std::move(points));
  LongAxis best{{1, 0}, 0, 1e18};
  for (std::size_t i = 0; i < hull.size(); ++i) {
    const Point edge = hull[(i + 1) % hull.size()] - hull[i];
    const double edge_length = length(edge);
    if (edge_length < 1e-9) continue;
    const Point along = (1 / edge_length) * edge, across{-along.y, along.x};
    double u0 = 1e18, u1 = -1e18, v0 = 1e18, v1 = -1e18;
    for (const Point corner : hull) {
      u0 = std::min(u0, dot(corner, along));
      u1 = std::max(u1, dot(corner, along));
      v0 = std::min(v0, dot(corner, across));
      v1 = std::max(v1, dot(corner, across));
    }
    if (v1 - v0 < best.width - 1e-9) best = {along, u1 - u0, v1 - v0};
  }
  return best;
}

/// True if a half turn about the origin leaves much of the metal uncovered.
bool lopsided(const Polygons& metal) {
  auto half_turn = [](Ring& ring) {
    for (Point& corner : ring) corner = {-corner.x, -corner.y};
  };
  Polygons turned = metal;
  for (Polygon& polygon : turned) {
    half_turn(polygon.outer);
    for (Ring& hole : polygon.holes) half_turn(hole);
  }
  return area(subtract(metal, turned)) > 0.01 * area(metal);
}

/// From the origin downhill on the chance of a miss, with steps that halve.
Point best_odds_from_origin(const Polygons& metal, double sigma) {
  const Covariance error{sigma * sigma, 0, sigma * sigma};
  Point place{};
  double miss = miss_probability(metal, place, error).v;
  for (double step = sigma; step > 0.002;) {
    bool moved = false;
    for (const Point way : {Point{step, 0}, {-step, 0}, {0, step}, {0, -step}}) {
      const double there = miss_probability(metal, place + way, error).v;
      if (there < miss * (1 - 1e-6)) {
        place = place + way;
        miss = there;
        moved = true;
      }
    }
    if (!moved) step /= 2;
    if (length(place) > 20) break;
  }
  return place;
}

/// The declared set beyond the first point.
std::vector<Aim> further_aims(const LandingShape& shape, double first_diameter, bool hole, double sigma) {
  std::vector<Aim> aims;
  if (shape.round || shape.area.empty()) return aims;
  auto add = [&](AimKind kind, Point wished) {
    const Point place = on_grid(wished);
    const double diameter = circle_at(shape.area, place);
    if (diameter <= 0 || length(place) < kBetweenAims ||
        std::any_of(aims.begin(), aims.end(), [&](const Aim& aim) { return distance(aim.at, place) < kBetweenAims; }))
      return;
    aims.push_back({kind, place, diameter});
  };
  const Box box = bounds(shape.area);
  if (!hole && first_diameter < 0.98 * std::min(box.width(), box.height()))
    if (const Circle best = largest_circle(shape.area); 2 * best.radius > 1.02 * first_diameter)
      add(AimKind::largest_circle, best.centre);
  if (lopsided(shape.area)) add(AimKind::best_odds, best_odds_from_origin(shape.area, sigma));
  const LongAxis axis = long_axis(shape.area);
  if (!hole && axis.width > 0 && axis.length >= kLong * axis.width)
    for (const double way : {1.0, -1.0}) {
      double out = axis.length / 2;
      while (out > 0.25 * axis.width && circle_at(shape.area, (way * out) * axis.along) < kEndCircle * first_diameter)
        out -= 0.02;
      if (out > 0.25 * axis.width) add(AimKind::end, (way * out) * axis.along);
    }
  return aims;
}

LandingShape shape_of(const Draft& draft, const Board& board, const Rules& rules, const Catalogue& catalogue) {
  LandingShape shape;
  shape.area = draft.area;
  double least = 1e18, span = 0;
  for (const Polygon& polygon : shape.area)
    for (std::size_t i = 0; i < polygon.outer.size(); ++i) {
      span = std::max(span, length(polygon.outer[i]));
      least = std::min(least, distance_to_segment({}, polygon.outer[i], polygon.outer[(i + 1) % polygon.outer.size()]));
    }
  shape.span = Mm{span};
  shape.round = shape.area.size() == 1 && shape.area[0].holes.empty() && !draft.is_lead && span - least < kSamePlace &&
                winding_number(shape.area[0].outer, {}) != 0;
  std::map<Mm, Polygons> inside;  // by margin: classes share them
  for (const ProbeClass& probe : catalogue.classes) {
    const auto [it, fresh] = inside.try_emplace(probe.contact_margin);
    if (fresh) it->second = offset(shape.area, -probe.contact_margin.v);
    Polygons landing = it->second;
    // On a lead the head must stand over it; beside it the tip slides off the solder.
    if (draft.is_lead)
      landing = intersect(landing, {{circle(draft.lead, head_diameter(board, rules, draft.target, probe).v / 2), {}}});
    shape.landing.push_back(std::move(landing));
  }
  return shape;
}

/// Holes that may be used again, by side, from left to right.
PerSide<std::vector<Point>> holes_by_x(const StandingFixture& standing) {
  PerSide<std::vector<Point>> out;
  for (const StandingHole& hole : standing.holes)
    if (hole.state != HoleState::plugged) out[hole.side].push_back(hole.at);
  for (auto& list : out)
    std::sort(list.begin(), list.end(), [](Point a, Point b) { return a.x != b.x ? a.x < b.x : a.y < b.y; });
  return out;
}

/// Declares the spots of one target after the other.
class SpotList {
 public:
  SpotList(Access& access, const Board& board, const StandingFixture& standing)
      : access_(access), board_(board), holes_(holes_by_x(standing)) {}
  /// `further`: the aims of the target's shape beyond the first.
  void add(Draft& draft, ShapeId shape, const std::vector<Aim>& further);

 private:
  void repeat_first_board(const Draft& draft, ShapeId shape);
  void add_standing_holes(const Draft& draft, ShapeId shape);

  Access& access_;
  const Board& board_;
  const PerSide<std::vector<Point>> holes_;
  std::map<std::pair<FeatureId, Side>, TargetId> on_first_board_;  ///< of a panel, by feature of the single board
};

void SpotList::add(Draft& draft, ShapeId shape, const std::vector<Aim>& further) {
  const TargetId target = access_.targets.next();
  const Feature& feature = board_.features[draft.target.feature];
  draft.target.first_spot = access_.spots.next();
  repeat_first_board(draft, shape);
  if (access_.spots.next() == draft.target.first_spot) {
    access_.spots.push_back({.target = target,
                             .shape = shape,
                             .kind = draft.kind,
                             .at = draft.origin,
                             .in_shape = {},
                             .diameter = Mm{draft.diameter}});
    for (const Aim& aim : further)
      access_.spots.push_back({.target = target,
                               .shape = shape,
                               .kind = aim.kind,
                               .at = on_grid(draft.origin + aim.at),
                               .in_shape = aim.at,
                               .diameter = Mm{aim.diameter}});
  }
  add_standing_holes(draft, shape);
  if (feature.panel_place == PlaceId{0}) on_first_board_[{feature.base, draft.target.side}] = target;
  draft.target.spots = static_cast<int>(access_.spots.size() - draft.target.first_spot.index());
  access_.targets.push_back(std::move(draft.target));
}

/// The boards of a panel are aimed at where the first one is, moved and turned with them.
void SpotList::repeat_first_board(const Draft& draft, ShapeId shape) {
  const Feature& feature = board_.features[draft.target.feature];
  if (!feature.panel_place || feature.panel_place == PlaceId{0}) return;
  const PlaceInPanel &here = board_.places[feature.panel_place], &first = board_.places.front();
  const Side side = here.flipped != first.flipped ? other(draft.target.side) : draft.target.side;
  const auto model = on_first_board_.find({feature.base, side});
  if (model == on_first_board_.end()) return;
  const Affine there = combine(here.map, inverse(first.map));
  const Target& model_target = access_.targets[model->second];
  const TargetId target = access_.targets.next();
  for (int n = 0; n < model_target.spots; ++n) {
    const Spot model_spot = access_.spots[model_target.spot(n)];
    Point place = there(model_spot.at) - draft.origin;
    if (length(place) < kSamePlace) place = {};
    const double diameter = place == Point{} ? draft.diameter : circle_at(draft.area, place);
    if (diameter > 0)
      access_.spots.push_back({.target = target,
                               .shape = shape,
                               .kind = model_spot.kind,
                               .at = on_grid(draft.origin + place),
                               .in_shape = place,
                               .diameter = Mm{diameter}});
  }
}

/// Metal over a hole that the fixture has.
void SpotList::add_standing_holes(const Draft& draft, ShapeId shape) {
  const Box reach = bounds(draft.area);
  if (!reach.valid()) return;
  const TargetId target = access_.targets.next();
  const std::vector<Point>& holes = holes_[draft.target.side];
  for (auto hole = std::lower_bound(holes.begin(), holes.end(), draft.origin.x + reach.x0,
                                    [](Point place, double x) { return place.x < x; });
       hole != holes.end() && hole->x <= draft.origin.x + reach.x1; ++hole) {
    // The plan takes an aim as near as this for the hole itself.
    const auto own = access_.spots.begin() + static_cast<std::ptrdiff_t>(draft.target.first_spot.index());
    if (std::any_of(own, access_.spots.end(),
                    [&](const Spot& spot) { return distance(Point{spot.at}, *hole) <= kSamePlace; }))
      continue;
    if (const double diameter = circle_at(draft.area, *hole - draft.origin); diameter > 0)
      access_.spots.push_back({.target = target,
                               .shape = shape,
                               .kind = AimKind::standing_hole,
                               .at = *hole,
                               .in_shape = *hole - draft.origin,
                               .diameter = Mm{diameter}});
  }
}

constexpr Words<AimKind> kAimKinds{"centre of the land", "centre of the largest circle inside", "point of best odds",
                                   "end of the land", "hole of the existing fixture"};
}  // namespace

bool Target::has(Contact contact) const {
  return std::find(contacts.begin(), contacts.end(), contact) != contacts.end();
}

const char* to_string(AimKind kind) {
  return kAimKinds[kind];
}

bool has_empty_hole(const Board& board, const Rules& rules, const Feature& feature) {
  if (feature.hole.v <= 0) return false;
  if (!takes_a_lead(rules, feature)) return true;
  const Component& component = board.components[feature.component];
  return !component.always_fitted || component.body.empty() || component.features.size() == 1;
}

Mm head_diameter(const Board& board, const Rules& rules, const Target& target, const ProbeClass& probe) {
  // Heads are on offer in steps; common practice, no source.
  constexpr double kStep = 0.1;
  const Mm over{std::ceil((board.features[target.feature].hole + rules.head_over_hole).v / kStep - 1e-6) * kStep};
  if (target.has(Contact::open_hole)) return std::max(probe.tip_diameter, over);
  // A lead wants a cup or a large crown, as far as the class has one.
  if (target.has(Contact::lead)) return std::max(probe.tip_diameter, std::min(over, probe.largest_head));
  return probe.tip_diameter;
}

PerSide<BoxTree> body_trees(const Board& board) {
  PerSide<BoxTree> trees;
  for (const Side side : kBothSides) {
    std::vector<Box> boxes(board.components.size());
    for (const ComponentId id : board.components.ids()) {
      const Component& component = board.components[id];
      if (!component.body.empty() && component.side == side) boxes[id.index()] = bounds(component.body);
    }
    trees[side] = BoxTree(boxes);
  }
  return trees;
}

Table<TargetId, Covering> find_targets(Access& access, const Board& board, const Catalogue& catalogue,
                                       const Rules& rules, const StandingFixture& standing,
                                       const PerSide<BoxTree>& bodies) {
  std::vector<ExposureId> exposures;
  for (const ExposureId id : board.exposures.ids()) {
    const Feature& feature = board.features[board.exposures[id].feature];
    if (feature.net && feature.kind != FeatureKind::fiducial) exposures.push_back(id);
  }
  const Finder finder(board, rules, bodies);
  std::vector<Draft> drafts(exposures.size());
  parallel_for(
      exposures.size(), [&](std::size_t i) { drafts[i] = finder.draft(exposures[i]); }, 64);
  Table<ShapeId, std::size_t> first;
  const std::vector<ShapeId> shapes = join_forms(drafts, first);
  access.shapes.resize(first.size());
  Table<ShapeId, std::vector<Aim>> further(first.size());
  double sigma = 0.05;
  if (!catalogue.classes.empty() && !drafts.empty()) {
    const Point middle = bounds(board.outline.outer).centre();
    sigma = error_budget(board, rules, catalogue.classes.front(), {}, middle, true).total().largest_sigma().v;
  }
  parallel_for(
      first.size(),
      [&](std::size_t i) {
        const ShapeId id{i};
        const Draft& draft = drafts[first[id]];
        access.shapes[id] = shape_of(draft, board, rules, catalogue);
        const bool hole = board.features[draft.target.feature].hole.v > 0;
        further[id] = further_aims(access.shapes[id], draft.diameter, hole, sigma);
      },
      4);
  SpotList spots(access, board, standing);
  Table<TargetId, Covering> coverings;
  for (std::size_t i = 0; i < drafts.size(); ++i) {
    coverings.push_back(drafts[i].covering);
    spots.add(drafts[i], shapes[i], further[shapes[i]]);
  }
  return coverings;
}

}  // namespace teasel
