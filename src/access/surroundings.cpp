#include "surroundings.h"

#include <algorithm>

#include "parts_of_probe.h"
#include "spot_odds.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
// mm. An outline about lands exceeds the body by its margin and by what the lands stand out: half a millimetre each
// (from memory: IPC-7351).
constexpr double kSurelyBody = 1.0;
constexpr double kTolerance = 1.0;  // mm; more than three standard deviations of any budget that could still hit

/// Fills in what follows from the place of an area.
template <class Kind>
Kind near_area(const Polygons& area, Point aim) {
  Kind near;
  Point nearest;
  near.aim = distance_to_area(area, aim, &nearest);
  if (near.aim > 0) near.way = (1 / near.aim) * (nearest - aim);
  return near;
}

Polygons area_of(const BoardHole& hole) {
  if (!hole.slot) return {{circle(hole.at, hole.diameter.v / 2), {}}};
  Ring points = circle(hole.at, hole.diameter.v / 2);
  const Ring end = circle(hole.end, hole.diameter.v / 2);
  points.insert(points.end(), end.begin(), end.end());
  return {{convex_hull(std::move(points)), {}}};
}

bool same_room(const KeepOut& a, const KeepOut& b) {
  auto same_polygon = [](const Polygon& one, const Polygon& two) {
    return one.outer == two.outer && one.holes == two.holes;
  };
  return a.kind == b.kind && a.sides == b.sides && a.from_height == b.from_height && a.to_height == b.to_height &&
         std::equal(a.area.begin(), a.area.end(), b.area.begin(), b.area.end(), same_polygon);
}

/// Adds what was found.
void add_thing(Surroundings& out, NearThing near, Reason reason, const Rule& rule) {
  if (!near.found()) return;
  near.reason = reason;
  near.rule = &rule;
  out.things.push_back(near);
}

/// True for an empty pattern, which asks for nothing.
bool fits_plain(const std::string& pattern, const auto& name) {
  return pattern.empty() || plain_match(pattern, name);
}
}  // namespace

std::size_t metal_pieces(const Board& board) {
  return board.exposures.size() + board.bare_metal.size();
}
MetalPiece metal_piece(const Board& board, std::size_t row) {
  const std::size_t pads = board.exposures.size();
  return row < pads ? MetalPiece{ExposureId{row}, 0} : MetalPiece{{}, row - pads};
}
const Polygons& copper_of(const Board& board, MetalPiece piece) {
  return piece.exposure ? board.exposures[piece.exposure].copper : board.bare_metal[piece.bare].copper;
}
Side side_of(const Board& board, MetalPiece piece) {
  return piece.exposure ? board.exposures[piece.exposure].side : board.bare_metal[piece.bare].side;
}

Neighbourhood::Neighbourhood(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules,
                             const PerSide<BoxTree>& bodies)
    : board_(board),
      job_(&job),
      rules_(rules),
      bodies_(bodies),
      bans_(board.features.size()),
      waivers_(board.features.size()) {
  index_metal();
  index_holes();
  for (const auto& [kind, rule] : rules.shared_space) widest_shared_ = std::max(widest_shared_, rule.preferred.v);
  lay_keep_outs();
  index_edges();
  for (const Side side : kBothSides) fingers_[side] = std::make_unique<FingerRoom>(board, rules, side);
  for (const ProbeClass& probe : catalogue.classes)
    for (const ProbePart& part : parts_of(probe, probe.largest_head, rules)) widest_ = std::max(widest_, part.radius);
  widest_ += kTolerance;
  cut_cores(catalogue);
  name_entries();
}

void Neighbourhood::index_metal() {
  const std::size_t pieces = metal_pieces(board_);
  for (const Side side : kBothSides) {
    std::vector<Box> metal(pieces), fiducials(board_.exposures.size());
    for (std::size_t row = 0; row < pieces; ++row) {
      const MetalPiece piece = metal_piece(board_, row);
      if (side_of(board_, piece) != side || (piece.exposure && board_.exposures[piece.exposure].proposed)) continue;
      const bool fiducial =
          piece.exposure && board_.features[board_.exposures[piece.exposure].feature].kind == FeatureKind::fiducial;
      (fiducial ? fiducials : metal)[row] = bounds(copper_of(board_, piece));
    }
    metal_[side] = BoxTree(metal);
    fiducials_[side] = BoxTree(fiducials);
  }
  convex_.assign(pieces, 0);
  parallel_for(
      pieces, [&](std::size_t row) { convex_[row] = is_convex(copper_of(board_, metal_piece(board_, row))); }, 256);
}

void Neighbourhood::index_holes() {
  std::vector<Box> boxes(board_.holes.size());
  hole_areas_.resize(board_.holes.size());
  for (const HoleId id : board_.holes.ids()) {
    const BoardHole& hole = board_.holes[id];
    const bool tooling = std::find(board_.tooling.begin(), board_.tooling.end(), id) != board_.tooling.end();
    if (hole.plating != formats::Plating::unplated || hole.blind || tooling) continue;
    hole_areas_[id] = area_of(hole);
    boxes[id.index()] = bounds(hole_areas_[id]);
  }
  holes_ = BoxTree(boxes);
}

void Neighbourhood::index_edges() {
  std::vector<Box> boxes;
  auto add = [&](const Ring& ring) {
    for (std::size_t i = 0; i < ring.size(); ++i) {
      edge_list_.emplace_back(ring[i], ring[(i + 1) % ring.size()]);
      boxes.emplace_back().add(edge_list_.back().first);
      boxes.back().add(edge_list_.back().second);
    }
  };
  for (const Polygon& piece : board_.pieces) {
    piece_boxes_.push_back(bounds(piece.outer));
    add(piece.outer);
    for (const Ring& hole : piece.holes) add(hole);
  }
  edges_ = BoxTree(boxes);
}

void Neighbourhood::cut_cores(const Catalogue& catalogue) {
  double lowest_plunger = 1e9;
  for (const ProbeClass& probe : catalogue.classes) lowest_plunger = std::min(lowest_plunger, probe.tip_length.v);
  cores_.resize(board_.components.size());
  parallel_for(
      board_.components.size(),
      [&](std::size_t i) {
        const ComponentId id{i};
        const Component& component = board_.components[id];
        if (!component.outline_by.empty() && !component.cover && component.height.v > lowest_plunger)
          cores_[id] = offset(component.body, -kSurelyBody);
      },
      16);
}

void Neighbourhood::lay_keep_outs() {
  laid_ = board_.keep_outs;
  for (const Side side : kBothSides) {
    std::vector<Box> boxes(laid_.size());
    for (const KeepOutId id : laid_.ids())
      if (laid_[id].sides.has(side)) boxes[id.index()] = bounds(laid_[id].area);
    keep_outs_[side] = BoxTree(boxes);
  }
}

void Neighbourhood::name_entries() {
  parallel_for(
      board_.features.size(),
      [&](std::size_t i) {
        const FeatureId id{i};
        bans_[id].clear();
        waivers_[id].clear();
        const Feature& feature = board_.features[id];
        // What has no net goes by its own name.
        const NetName net = feature.net ? board_.nets[feature.net].name
                            : feature.name.place().empty()
                                ? NetName(feature.name.text())
                                : NetName::in_panel(feature.name.place(), NetName(feature.name.plain()));
        // Plain names speak of the single board, whose sides a flipped place turns over. Names with the place before
        // them speak of the panel.
        for (const BanId ban_id : job_->decisions.bans.ids()) {
          const Ban& ban = job_->decisions.bans[ban_id];
          const bool by_plain = fits_plain(ban.net, net) && fits_plain(ban.target, feature.name);
          const bool of_net = ban.net.empty() || glob_match(ban.net, net);
          const bool of_target = ban.target.empty() || glob_match(ban.target, feature.name);
          if (by_plain || (of_net && of_target)) bans_[id].push_back({ban_id, by_plain, ban.side, {}});
        }
        for (const WaiverId waiver_id : job_->decisions.waivers.ids()) {
          const Waiver& waiver = job_->decisions.waivers[waiver_id];
          if (net.is_meant_by(waiver.net) && feature.name.is_meant_by(waiver.target))
            waivers_[id].push_back({waiver_id, waiver.target == feature.name.plain(), waiver.side, waiver.rule});
        }
      },
      256);
}

/// mm about an aim within which a keep-out counts.
double Neighbourhood::reach_of_keep_outs(const LandingShape& shape, const Spot& spot) const {
  return std::max(widest_shared_ + shape.span.v + length(spot.in_shape), widest_);
}

/// Boxes about keep-outs that came, went or changed.
std::vector<Box> Neighbourhood::changed_keep_outs() const {
  std::vector<Box> changed;
  const Table<KeepOutId, KeepOut>& asked = board_.keep_outs;
  for (std::size_t i = 0; i < std::max(laid_.size(), asked.size()); ++i) {
    const KeepOutId id{i};
    const bool before = laid_.has(id), now = asked.has(id);
    if (before && now && same_room(laid_[id], asked[id])) continue;
    if (before) changed.push_back(bounds(laid_[id].area));
    if (now) changed.push_back(bounds(asked[id].area));
  }
  return changed;
}

std::vector<TargetId> Neighbourhood::follow(const Access& access, const Job& job) {
  job_ = &job;
  const auto bans = bans_;
  const auto waivers = waivers_;
  name_entries();
  const std::vector<Box> changed = changed_keep_outs();
  PerSide<std::unique_ptr<FingerRoom>> fingers;
  if (!changed.empty()) {
    for (const Side side : kBothSides) fingers[side] = std::make_unique<FingerRoom>(*fingers_[side]);
    parallel_for(
        kBothSides.size(), [&](std::size_t i) { fingers[kBothSides[i]]->keep_out(board_.keep_outs); }, 1);
    lay_keep_outs();
  }
  auto is_touched = [&](const Target& target, const Spot& spot) {
    const double reach = reach_of_keep_outs(access.shapes[spot.shape], spot);
    if (std::any_of(changed.begin(), changed.end(), [&](const Box& box) { return box.grown(reach).contains(spot.at); }))
      return true;
    const Side far = other(target.side);
    const Mm before = fingers_[far]->distance_to_room(spot.at), now = fingers[far]->distance_to_room(spot.at);
    return before != now && std::max(before, now) > rules_.finger_reach;
  };
  std::vector<char> touched(access.targets.size());
  parallel_for(
      touched.size(),
      [&](std::size_t i) {
        const Target& target = access.targets[TargetId{i}];
        touched[i] =
            bans[target.feature] != bans_[target.feature] || waivers[target.feature] != waivers_[target.feature];
        for (int n = 0; n < target.spots && !touched[i] && !changed.empty(); ++n)
          touched[i] = is_touched(target, access.spots[target.spot(n)]);
      },
      512);
  if (!changed.empty()) fingers_ = std::move(fingers);
  std::vector<TargetId> out;
  for (std::size_t i = 0; i < touched.size(); ++i)
    if (touched[i]) out.emplace_back(i);
  return out;
}

/// One spot, from which the neighbourhood is looked at.
struct Neighbourhood::Query {
  Query(const Board& board, const Access& access, const Spot& looked_at, const Covering& covered_by)
      : spot(looked_at),
        target(access.targets[looked_at.target]),
        shape(access.shapes[looked_at.shape]),
        exposure(board.exposures[target.exposure]),
        feature(board.features[target.feature]),
        covering(covered_by) {}
  const Spot& spot;
  const Target& target;
  const LandingShape& shape;
  const Exposure& exposure;
  const Feature& feature;
  const Covering& covering;
  mutable std::vector<std::size_t> rows;  ///< of what a search finds, kept for its memory
  Point aim = spot.at;
  bool disc = shape.round && spot.in_shape == Point{};
  double span = shape.span.v + length(spot.in_shape);  ///< the pad's edge is at most so much nearer than the aim point
  [[nodiscard]] Box within(double reach) const { return Box{aim.x, aim.y, aim.x, aim.y}.grown(reach); }
  /// From the pad's edge to an area, whose distance from the aim is known.
  [[nodiscard]] double edge_to(const Polygons& area, double aim_distance) const {
    return disc ? std::max(0.0, aim_distance - shape.span.v) : distance_between(exposure.contact, area);
  }
};

void Neighbourhood::add_bodies(Surroundings& out, const Query& query) const {
  double widest_rule = 0;
  for (const BodyRule& row : rules_.bodies) widest_rule = std::max(widest_rule, row.rule.preferred.v);
  bodies_[query.target.side].find(query.within(std::max(widest_rule + query.span, widest_)), query.rows);
  for (const std::size_t row : query.rows) {
    const ComponentId id{row};
    const Component& component = board_.components[id];
    const bool own = id == query.feature.component;
    if (own && query.covering.body == id) continue;
    if (own && query.covering.own_exempt) {
      // Its edge is not known, but what lies deep inside a drawn outline is body: it stops what is wider than the head.
      if (cores_[id].empty()) continue;
      NearBody near = near_area<NearBody>(cores_[id], query.aim);
      near.component = id;
      near.own = near.core = true;
      if (near.aim < widest_) out.bodies.push_back(near);
      continue;
    }
    const double wanted = own ? 0 : rules_.body(component.height).rule.preferred.v;
    if (!bounds(component.body).touches(query.within(std::max(wanted + query.span, widest_)))) continue;
    NearBody near = near_area<NearBody>(component.body, query.aim);
    if (near.aim - query.span >= wanted && near.aim >= widest_) continue;
    near.component = id;
    near.own = own;
    if (!own)
      near.edge = near.aim - query.span >= wanted ? near.aim - query.span : query.edge_to(component.body, near.aim);
    out.bodies.push_back(near);
  }
}

void Neighbourhood::add_metal(Surroundings& out, const Query& query) const {
  const double wanted = rules_.other_conductor.preferred.v;
  metal_[query.target.side].find(query.within(std::max(wanted + query.span, widest_)), query.rows);
  for (const std::size_t row : query.rows) {
    const MetalPiece piece = metal_piece(board_, row);
    const Polygons& copper = copper_of(board_, piece);
    if (piece.exposure) {
      const FeatureId feature = board_.exposures[piece.exposure].feature;
      if (board_.features[feature].net == query.feature.net || feature == query.target.feature) continue;
    }
    NearMetal near = near_area<NearMetal>(copper, query.aim);
    if (near.aim - query.span >= wanted && near.aim >= widest_) continue;
    near.piece = piece;
    near.metal = &copper;
    near.convex = convex_[row];
    if (near.aim - query.span < wanted)
      near.edge =
          query.disc ? std::max(0.0, near.aim - query.shape.span.v) : distance_between(query.exposure.copper, copper);
    out.conductors.push_back(near);
  }
}

void Neighbourhood::add_fiducials(Surroundings& out, const Query& query) const {
  NearThing nearest;
  fiducials_[query.target.side].find(query.within(rules_.fiducial.preferred.v + query.span), query.rows);
  for (const std::size_t row : query.rows) {
    const Exposure& exposure = board_.exposures[ExposureId{row}];
    NearThing near = near_area<NearThing>(exposure.copper, query.aim);
    near.edge = query.edge_to(exposure.copper, near.aim);
    near.what = {Obstacle::Kind::conductor, exposure.feature.number()};
    if (near.edge < nearest.edge) nearest = near;
  }
  add_thing(out, nearest, Reason::fiducial, rules_.fiducial);
}

void Neighbourhood::add_outline(Surroundings& out, const Query& query) const {
  NearThing outline;
  const double radius = query.spot.diameter.v / 2;
  edges_.find(query.within(std::max(rules_.board_edge.preferred.v + radius, widest_)), query.rows);
  for (const std::size_t row : query.rows) {
    const auto& [from, to] = edge_list_[row];
    const Point nearest = nearest_on_segment(query.aim, from, to);
    if (const double away = distance(query.aim, nearest); away < outline.aim) {
      outline.aim = away;
      outline.way = away > 0 ? (1 / away) * (nearest - query.aim) : Point{};
    }
  }
  bool on_board = false;
  for (std::size_t i = 0; i < board_.pieces.size() && !on_board; ++i)
    on_board = piece_boxes_[i].contains(query.aim) && contains(board_.pieces[i], query.aim);
  if (!on_board) {
    outline.aim = 0;
    outline.way = {};
  }
  outline.edge = std::max(0.0, outline.aim - radius);
  outline.what = {Obstacle::Kind::outline};
  add_thing(out, outline, Reason::board_edge, rules_.board_edge);
}

void Neighbourhood::add_holes(Surroundings& out, const Query& query) const {
  holes_.find(query.within(std::max(rules_.slot.preferred.v + query.span, widest_)), query.rows);
  for (const std::size_t row : query.rows) {
    const HoleId id{row};
    const BoardHole& hole = board_.holes[id];
    if (query.feature.hole.v > 0 && distance(0.5 * (hole.at + hole.end), query.feature.at) < 0.05) continue;
    NearThing near = near_area<NearThing>(hole_areas_[id], query.aim);
    near.edge = query.edge_to(hole_areas_[id], near.aim);
    near.what = {Obstacle::Kind::hole, id.number()};
    add_thing(out, near, Reason::slot, rules_.slot);
  }
  NearThing tooling;
  for (const HoleId id : board_.tooling) {
    const BoardHole& hole = board_.holes[id];
    const double to_centre = distance(Point{hole.at}, query.aim), to_edge = to_centre - hole.diameter.v / 2;
    if (to_edge >= tooling.aim) continue;
    tooling.edge = tooling.aim = std::max(0.0, to_edge);
    tooling.way = to_centre > 0 ? (1 / to_centre) * (hole.at - query.aim) : Point{};
    tooling.what = {Obstacle::Kind::hole, id.number()};
  }
  add_thing(out, tooling, Reason::tooling_hole, rules_.tooling_hole);
}

void Neighbourhood::add_keep_outs(Surroundings& out, const Query& query) const {
  keep_outs_[query.target.side].find(query.within(reach_of_keep_outs(query.shape, query.spot)), query.rows);
  for (const std::size_t row : query.rows) {
    const KeepOutId id{row};
    const KeepOut& keep_out = board_.keep_outs[id];
    const double wanted = rules_.shared_space.at(keep_out.kind).preferred.v;
    if (!bounds(keep_out.area).touches(query.within(std::max(wanted + query.span, widest_)))) continue;
    NearKeepOut near = near_area<NearKeepOut>(keep_out.area, query.aim);
    near.keep_out = id;
    near.edge = query.edge_to(keep_out.area, near.aim);
    out.keep_outs.push_back(near);
  }
}

template <class I>
std::vector<I> Neighbourhood::on_side(const std::vector<Entry<I>>& entries, const Feature& feature, Side side) const {
  std::vector<I> ids;
  for (const Entry<I>& entry : entries)
    if (!entry.side || *entry.side == (entry.of_board ? board_.own_side(feature, side) : side)) ids.push_back(entry.id);
  return ids;
}

void Neighbourhood::add_decisions(Surroundings& out, const Query& query) const {
  out.bans = on_side(bans_[query.target.feature], query.feature, query.target.side);
  out.waivers = on_side(waivers_[query.target.feature], query.feature, query.target.side);
}

Surroundings Neighbourhood::about(const Access& access, const Spot& spot, const Covering& covering) const {
  Surroundings out;
  const Query query(board_, access, spot, covering);
  add_bodies(out, query);
  add_metal(out, query);
  add_outline(out, query);
  add_holes(out, query);
  add_fiducials(out, query);
  add_keep_outs(out, query);
  out.finger = fingers_[other(query.target.side)]->distance_to_room(query.aim);
  add_decisions(out, query);
  return out;
}

}  // namespace teasel
