#include "targets.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr double kEnclosed =
    0.15;  // mm; a land this far inside the ring of a part's lands lies under it (common practice, no source)
constexpr double kAboutLands = 0.8;  // share of its lands' metal inside a drawn outline that tells it is drawn about
                                     // them (common practice, no source)
constexpr double kSameForm = 5e-6;   // mm; vertices of equal forms differ by the nanometre grid of booleans at most
constexpr double kLong = 1.6;        // length over width from which a land is long: its ends are aim points as well
constexpr double kEndCircle = 0.95;  // at an end, a circle of this share of the largest one still fits

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// The metal of one target before equal forms are joined.
struct Draft {
  Target target;
  Covering covering;
  Polygons area;  ///< about the origin
  Point origin, lead;
  AimKind kind{};
  double diameter{};
  double hole{};  ///< that decides the width of the head
  bool is_lead = false;
};

TargetKind kind_of(const Board& b, const Feature& f) {
  const bool absent = f.component >= 0 && !b.components[at(f.component)].fitted;
  if (f.test_point) return TargetKind::test_pad;
  switch (f.kind) {
    case FeatureKind::test_pad: return TargetKind::test_pad;
    case FeatureKind::lead: return TargetKind::lead;
    case FeatureKind::via: return TargetKind::via;
    default: return absent ? TargetKind::test_pad : TargetKind::smd_pad;
  }
}

/// A lead stands in the hole in at least one build variant.
bool has_lead(const Board& b, const Rules& rules, const Feature& f) {
  if (f.hole <= 0 || f.kind != FeatureKind::lead || f.component < 0 || f.hole > rules.thick_lead.v) return false;
  const Component& c = b.components[at(f.component)];
  return c.fitted && !c.body.empty() && c.features.size() > 1;  // nothing stands in mounting holes and single lands
}

class Finder {
 public:
  Finder(const Board& b, const Rules& rules, const std::array<BoxTree, 2>& bodies)
      : b_(b), rules_(rules), bodies_(bodies), about_lands_(b.components.size()) {
    std::vector<std::vector<int>> own(b.components.size());
    for (std::size_t i = 0; i < b.exposures.size(); ++i) {
      const Feature& f = b.features[at(b.exposures[i].feature)];
      if (f.component >= 0 && f.hole <= 0 && b.components[at(f.component)].side == b.exposures[i].side)
        own[at(f.component)].push_back(static_cast<int>(i));
    }
    std::vector<char> about(b.components.size());
    parallel_for(
        b.components.size(),
        [&](std::size_t i) {
          const Component& c = b.components[i];
          if (c.body.empty() || c.outline_by.empty()) return;
          double all = 0, inside = 0;
          for (const int e : own[i]) {
            const Polygons& metal = b.exposures[at(e)].contact;
            all += area(metal);
            inside += area(intersect(metal, c.body));
          }
          about[i] = all > 0 && inside >= kAboutLands * all;
        },
        16);
    about_lands_.assign(about.begin(), about.end());
  }

  Draft draft(int exposure) const {
    Draft d;
    const Exposure& e = b_.exposures[at(exposure)];
    const Feature& f = b_.features[at(e.feature)];
    d.target.exposure = exposure;
    d.target.feature = e.feature;
    d.target.side = e.side;
    d.target.kind = kind_of(b_, f);
    // Where no paste layer tells, the surface pads of fitted parts are soldered all the same.
    const bool soldered =
        e.pasted || (!b_.has_paste[at(static_cast<int>(b_.own_side(f, e.side)))] && f.kind == FeatureKind::smd_pad &&
                     f.component >= 0 && b_.components[at(f.component)].fitted);
    d.target.surface = soldered ? Surface::soldered : b_.finish;
    if (has_lead(b_, rules_, f)) d.target.contacts.push_back(Contact::lead);
    if (has_empty_hole(b_, rules_, f)) d.target.contacts.push_back(Contact::open_hole);
    if (d.target.contacts.empty()) d.target.contacts.push_back(soldered ? Contact::soldered : Contact::flat);
    d.is_lead = d.target.has(Contact::lead);
    if (d.is_lead || d.target.has(Contact::open_hole)) d.hole = f.hole;
    const Polygons metal = uncovered(e, f, d.covering);
    d.target.own_body = f.component >= 0 && !d.covering.own_exempt && d.covering.body < 0;
    place(d, e, f, metal);
    return d;
  }

 private:
  bool under_own_body(const Exposure& e, const Feature& f) const;
  /// The bare metal less what drawn bodies cover.
  Polygons uncovered(const Exposure& e, const Feature& f, Covering& covering) const;
  void place(Draft& d, const Exposure& e, const Feature& f, const Polygons& metal) const;

  const Board& b_;
  const Rules& rules_;
  const std::array<BoxTree, 2>& bodies_;
  std::vector<bool> about_lands_;
};

bool Finder::under_own_body(const Exposure& e, const Feature& f) const {
  if (f.component < 0) return false;
  const Component& c = b_.components[at(f.component)];
  if (c.body.empty() || c.side != e.side) return false;
  if (c.area_array || f.hole > 0) return true;
  // Deeper inside a drawn body than the margin that outlines have about their lands: a module stands over it.
  if (!c.outline_by.empty() && contains(c.body, e.aim)) {
    double deep = 1e9;
    for (const Polygon& p : e.contact)
      for (Point q : p.outer) deep = std::min(deep, contains(c.body, q) ? distance_to_boundary(c.body, q) : 0.0);
    if (deep > kCourtyard) return true;
  }
  // Enclosed by the part's other lands, unless the drawn body leaves it free.
  if (c.ring.size() < 3 || winding_number(c.ring, f.at) == 0 || distance_to_boundary({{c.ring, {}}}, f.at) <= kEnclosed)
    return false;
  if (c.outline_by.empty()) return true;
  return area(subtract(e.contact, c.body)) < 0.2 * area(e.contact);
}

Polygons Finder::uncovered(const Exposure& e, const Feature& f, Covering& covering) const {
  if (under_own_body(e, f)) {
    covering.body = f.component;
    return e.contact;
  }
  if (f.component >= 0) {
    const Component& c = b_.components[at(f.component)];
    covering.own_exempt = c.outline_by.empty() || about_lands_[at(f.component)] || f.hole > 0;
  }
  Polygons rest = e.contact;
  std::vector<int> near;
  const Box box = bounds(e.contact);
  bodies_[at(static_cast<int>(e.side))].find(box, near);
  for (const int id : near) {
    const Component& c = b_.components[at(id)];
    if (c.outline_by.empty() || (id == f.component && covering.own_exempt)) continue;
    const Polygons left = subtract(rest, c.body);
    if (area(left) > area(rest) - 1e-6) continue;
    if (left.empty()) {
      covering.body = id;
      return e.contact;
    }
    rest = left;
  }
  return rest;
}

void Finder::place(Draft& d, const Exposure& e, const Feature& f, const Polygons& metal) const {
  d.origin = e.aim;
  d.diameter = e.diameter;
  d.kind = distance(e.aim, f.at) < 0.0015 ? AimKind::centre : AimKind::largest_circle;
  if (area(metal) < area(e.contact) - 1e-6) {
    const double here = contains(metal, e.aim) ? 2 * distance_to_boundary(metal, e.aim) : 0;
    Circle best;
    for (const Polygon& p : metal)
      if (const Circle c = largest_inscribed_circle(p, 0.002); c.radius > best.radius) best = c;
    if (here < 1.9 * best.radius) {
      d.origin = {std::round(best.centre.x * 1000) / 1000, std::round(best.centre.y * 1000) / 1000};
      d.kind = AimKind::largest_circle;
      d.diameter = 2 * best.radius;
    } else
      d.diameter = here;
  }
  d.area = transformed(metal, {1, 0, 0, 1, -d.origin.x, -d.origin.y});
  d.lead = d.is_lead ? f.at - d.origin : Point{};
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
    if (a.area[i].holes.size() != b.area[i].holes.size() || !same_ring(a.area[i].outer, b.area[i].outer)) return false;
    for (std::size_t h = 0; h < a.area[i].holes.size(); ++h)
      if (!same_ring(a.area[i].holes[h], b.area[i].holes[h])) return false;
  }
  return true;
}

/// Shapes by form; the first target that has a form gives its metal.
std::vector<int> join_forms(const std::vector<Draft>& drafts, std::vector<int>& first) {
  std::vector<int> shape(drafts.size());
  std::map<std::tuple<std::size_t, std::size_t, long long>, std::vector<int>> buckets;
  for (std::size_t i = 0; i < drafts.size(); ++i) {
    const Draft& d = drafts[i];
    const std::size_t corners = d.area.empty() ? 0 : d.area[0].outer.size();
    auto& bucket = buckets[{d.area.size(), corners, std::llround(area(d.area) * 1000)}];
    auto found =
        std::find_if(bucket.begin(), bucket.end(), [&](int s) { return same_form(drafts[at(first[at(s)])], d); });
    if (found == bucket.end()) {
      bucket.push_back(static_cast<int>(first.size()));
      first.push_back(static_cast<int>(i));
      found = bucket.end() - 1;
    }
    shape[i] = *found;
  }
  return shape;
}

struct Aim {
  AimKind kind{};
  Point at;
  double diameter{};
};
double circle_at(const Polygons& metal, Point p) {
  return contains(metal, p) ? 2 * distance_to_boundary(metal, p) : 0;
}
Point on_grid(Point p) {
  return {std::round(p.x * 1000) / 1000, std::round(p.y * 1000) / 1000};
}

/// Direction of the longer axis by second moments of the corners' hull, and the extents along and across it.
std::tuple<Point, double, double> long_axis(const Polygons& metal) {
  std::vector<Point> pts;
  for (const Polygon& p : metal) pts.insert(pts.end(), p.outer.begin(), p.outer.end());
  const Ring hull = convex_hull(std::move(pts));
  // Of all directions of hull edges, the one with the narrowest width: rotating calipers, over few corners.
  Point best{1, 0};
  double width = 1e18, length_of = 0;
  for (std::size_t i = 0; i < hull.size(); ++i) {
    const Point e = hull[(i + 1) % hull.size()] - hull[i];
    const double len = length(e);
    if (len < 1e-9) continue;
    const Point u = (1 / len) * e, n{-u.y, u.x};
    double u0 = 1e18, u1 = -1e18, n0 = 1e18, n1 = -1e18;
    for (const Point p : hull) {
      u0 = std::min(u0, dot(p, u));
      u1 = std::max(u1, dot(p, u));
      n0 = std::min(n0, dot(p, n));
      n1 = std::max(n1, dot(p, n));
    }
    if (n1 - n0 < width - 1e-9) {
      width = n1 - n0;
      length_of = u1 - u0;
      best = u;
    }
  }
  return {best, length_of, width};
}

/// The declared set beyond the first point.
std::vector<Aim> further_aims(const LandingShape& shape, double first_diameter, bool hole, double sigma) {
  std::vector<Aim> aims;
  if (shape.round || shape.area.empty()) return aims;
  const Box box = bounds(shape.area);
  auto add = [&](AimKind kind, Point p) {
    p = on_grid(p);
    const double d = circle_at(shape.area, p);
    if (d <= 0 || length(p) < 0.02 ||
        std::any_of(aims.begin(), aims.end(), [&](const Aim& a) { return distance(a.at, p) < 0.02; }))
      return;
    aims.push_back({kind, p, d});
  };
  if (!hole && first_diameter < 0.98 * std::min(box.width(), box.height())) {
    Circle best;
    for (const Polygon& p : shape.area)
      if (const Circle c = largest_inscribed_circle(p, 0.002); c.radius > best.radius) best = c;
    if (2 * best.radius > 1.02 * first_diameter) add(AimKind::largest_circle, best.centre);
  }
  Polygons turned = shape.area;
  for (Polygon& p : turned) {
    for (Point& q : p.outer) q = {-q.x, -q.y};
    for (Ring& h : p.holes)
      for (Point& q : h) q = {-q.x, -q.y};
  }
  if (area(subtract(shape.area, turned)) > 0.01 * area(shape.area)) {
    // Downhill on the chance of a miss, with steps that halve.
    Point p{};
    double miss = miss_probability(shape.area, p, {sigma * sigma, 0, sigma * sigma});
    for (double step = sigma; step > 0.002;) {
      bool moved = false;
      for (const Point way : {Point{step, 0}, {-step, 0}, {0, step}, {0, -step}}) {
        const double there = miss_probability(shape.area, p + way, {sigma * sigma, 0, sigma * sigma});
        if (there < miss * (1 - 1e-6)) {
          p = p + way;
          miss = there;
          moved = true;
        }
      }
      if (!moved) step /= 2;
      if (length(p) > 20) break;
    }
    add(AimKind::best_odds, p);
  }
  const auto [u, len, width] = long_axis(shape.area);
  if (!hole && width > 0 && len >= kLong * width)
    for (const double way : {1.0, -1.0}) {
      double t = len / 2;
      while (t > 0.25 * width && circle_at(shape.area, (way * t) * u) < kEndCircle * first_diameter) t -= 0.02;
      if (t > 0.25 * width) add(AimKind::end, (way * t) * u);
    }
  return aims;
}

LandingShape shape_of(const Draft& d, const Board& b, const Rules& rules, const Catalogue& cat) {
  LandingShape s;
  s.area = d.area;
  double least = 1e18;
  for (const Polygon& p : s.area)
    for (std::size_t i = 0; i < p.outer.size(); ++i) {
      s.span = std::max(s.span, length(p.outer[i]));
      least = std::min(least, distance_to_segment({}, p.outer[i], p.outer[(i + 1) % p.outer.size()]));
    }
  s.round = s.area.size() == 1 && s.area[0].holes.empty() && !d.is_lead && s.span - least < 0.0015 &&
            winding_number(s.area[0].outer, {}) != 0;
  std::map<double, Polygons> inside;  // by margin: classes share them
  for (const ProbeClass& c : cat.classes) {
    const auto [it, fresh] = inside.try_emplace(c.contact_margin.v);
    if (fresh) it->second = offset(s.area, -c.contact_margin.v);
    Polygons landing = it->second;
    // On a lead the head must stand over it; beside it the tip slides off the solder.
    if (d.is_lead) landing = intersect(landing, {{circle(d.lead, head_diameter(b, rules, d.target, c) / 2), {}}});
    s.landing.push_back(std::move(landing));
  }
  return s;
}
}  // namespace

namespace {
/// Holes that may be used again, by side.
std::array<std::vector<Point>, 2> holes_by_x(const StandingFixture& standing) {
  std::array<std::vector<Point>, 2> out;
  for (const StandingHole& h : standing.holes)
    if (h.state != HoleState::plugged) out[at(static_cast<int>(h.side))].push_back(h.at);
  for (auto& list : out)
    std::sort(list.begin(), list.end(), [](Point p, Point q) { return p.x != q.x ? p.x < q.x : p.y < q.y; });
  return out;
}
}  // namespace

bool Target::has(Contact c) const {
  return std::find(contacts.begin(), contacts.end(), c) != contacts.end();
}

const char* to_string(AimKind k) {
  static const char* names[] = {"centre of the land", "centre of the largest circle inside", "point of best odds",
                                "end of the land", "hole that the fixture has"};
  return names[static_cast<int>(k)];
}

bool has_empty_hole(const Board& b, const Rules& rules, const Feature& f) {
  if (f.hole <= 0) return false;
  if (f.kind != FeatureKind::lead || f.component < 0 || f.hole > rules.thick_lead.v) return true;
  const Component& c = b.components[at(f.component)];
  return !c.always_fitted || c.body.empty() || c.features.size() == 1;
}

double head_diameter(const Board& b, const Rules& rules, const Target& t, const ProbeClass& p) {
  const double over = b.features[at(t.feature)].hole + rules.head_over_hole.v;
  if (t.has(Contact::open_hole)) return std::max(p.tip_diameter.v, over);
  // A lead wants a cup or a large crown, as far as the class has one.
  if (t.has(Contact::lead)) return std::max(p.tip_diameter.v, std::min(over, p.largest_head.v));
  return p.tip_diameter.v;
}

std::array<BoxTree, 2> body_trees(const Board& b) {
  std::array<BoxTree, 2> trees;
  for (int s = 0; s < 2; ++s) {
    std::vector<Box> boxes(b.components.size());
    for (std::size_t i = 0; i < boxes.size(); ++i)
      if (!b.components[i].body.empty() && static_cast<int>(b.components[i].side) == s)
        boxes[i] = bounds(b.components[i].body);
    trees[at(s)] = BoxTree(boxes);
  }
  return trees;
}

std::vector<Covering> find_targets(Access& a, const Board& b, const Catalogue& cat, const Rules& rules,
                                   const StandingFixture& standing, const std::array<BoxTree, 2>& bodies) {
  const std::array<std::vector<Point>, 2> holes = holes_by_x(standing);
  std::vector<int> exposures;
  for (std::size_t i = 0; i < b.exposures.size(); ++i) {
    const Feature& f = b.features[at(b.exposures[i].feature)];
    if (f.net >= 0 && f.kind != FeatureKind::fiducial) exposures.push_back(static_cast<int>(i));
  }
  const Finder finder(b, rules, bodies);
  std::vector<Draft> drafts(exposures.size());
  parallel_for(
      exposures.size(), [&](std::size_t i) { drafts[i] = finder.draft(exposures[i]); }, 64);
  std::vector<int> first;
  const std::vector<int> shape = join_forms(drafts, first);
  a.shapes.resize(first.size());
  std::vector<std::vector<Aim>> further(first.size());
  const Point middle = bounds(b.outline.outer).centre();
  const double sigma = cat.classes.empty() || drafts.empty()
                           ? 0.05
                           : error_budget(b, rules, cat.classes[0], {}, middle, true).total().largest_sigma();
  parallel_for(
      first.size(),
      [&](std::size_t s) {
        const Draft& d = drafts[at(first[s])];
        a.shapes[s] = shape_of(d, b, rules, cat);
        further[s] = further_aims(a.shapes[s], d.diameter, b.features[at(d.target.feature)].hole > 0, sigma);
      },
      4);
  std::vector<Covering> coverings;
  std::map<std::tuple<int, Side>, std::pair<int, int>>
      of_first;  // first and number of spots on the panel's first board
  for (std::size_t i = 0; i < drafts.size(); ++i) {
    Draft& d = drafts[i];
    const auto t = static_cast<int>(a.targets.size());
    const Feature& feature = b.features[at(d.target.feature)];
    d.target.first_spot = static_cast<int>(a.spots.size());
    // Boards of a panel are aimed at where the first one is, moved and turned with them.
    const bool copy = feature.panel_place > 0;
    const Side side =
        copy && b.places[at(feature.panel_place)].flipped != b.places[0].flipped ? other(d.target.side) : d.target.side;
    const auto model = copy ? of_first.find({feature.base, side}) : of_first.end();
    if (model != of_first.end()) {
      const Affine there = combine(b.places[at(feature.panel_place)].map, inverse(b.places[0].map));
      for (int s = model->second.first; s < model->second.first + model->second.second; ++s) {
        const Spot first_spot = a.spots[at(s)];
        Point p = there(first_spot.at) - d.origin;
        if (length(p) < 0.0015) p = {};
        if (const double circle_there = p == Point{} ? d.diameter : circle_at(d.area, p); circle_there > 0)
          a.spots.push_back({t, shape[i], first_spot.kind, on_grid(d.origin + p), p, circle_there});
      }
    }
    if (a.spots.size() == at(d.target.first_spot)) {
      a.spots.push_back({t, shape[i], d.kind, d.origin, {}, d.diameter});
      for (const Aim& f : further[at(shape[i])])
        a.spots.push_back({t, shape[i], f.kind, on_grid(d.origin + f.at), f.at, f.diameter});
    }
    // Metal over a hole that is there.
    const Box reach = bounds(d.area);
    const auto& on_side = holes[at(static_cast<int>(d.target.side))];
    for (auto h = std::lower_bound(on_side.begin(), on_side.end(), d.origin.x + reach.x0,
                                   [](Point p, double x) { return p.x < x; });
         reach.valid() && h != on_side.end() && h->x <= d.origin.x + reach.x1; ++h) {
      constexpr double kSame = 0.0015;  // the plan takes an aim so near for the hole
      const bool declared = std::any_of(a.spots.begin() + d.target.first_spot, a.spots.end(),
                                        [&](const Spot& s) { return distance(s.at, *h) <= kSame; });
      if (const double circle_there = declared ? 0 : circle_at(d.area, *h - d.origin); circle_there > 0)
        a.spots.push_back({t, shape[i], AimKind::standing_hole, *h, *h - d.origin, circle_there});
    }
    if (feature.panel_place == 0)
      of_first[{feature.base, d.target.side}] = {d.target.first_spot,
                                                 static_cast<int>(a.spots.size()) - d.target.first_spot};
    d.target.spots = static_cast<int>(a.spots.size()) - d.target.first_spot;
    a.targets.push_back(std::move(d.target));
    coverings.push_back(d.covering);
  }
  return coverings;
}

}  // namespace teasel
