// Copper and holes to nets, and the nets against the netlist.
#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <stdexcept>

#include "build.h"

namespace teasel {

namespace {
constexpr std::size_t kListed = 6;  // differences printed one by one; all stand in the list of `teasel nets`

using StrokeKey = std::array<long long, 4>;
StrokeKey stroke_key(const formats::GerberObject& object) {
  auto micro = [](double v) { return std::llround(v * 1000); };
  const StrokeKey k{micro(object.start.x), micro(object.start.y), micro(object.end.x), micro(object.end.y)},
      reversed{k[2], k[3], k[0], k[1]};
  return std::min(k, reversed);
}
bool is_stroke(const formats::GerberObject& object) {
  return object.kind == formats::GerberObject::Kind::line || object.kind == formats::GerberObject::Kind::arc;
}

std::set<StrokeKey> strokes_of_outline(const Job& job, const Sources& sources) {
  std::set<StrokeKey> keys;
  for (std::size_t i = 0; i < sources.layers.size(); ++i)
    if (sources.layers[i].file == job.inputs.outline_file && sources.layers[i].role == LayerRole::outline)
      for (const auto& object : sources.gerbers[i].objects)
        if (is_stroke(object)) keys.insert(stroke_key(object));
  return keys;
}
/// Strokes that the outline file has as well, and that claim no net.
std::vector<std::uint32_t> edge_strokes(const formats::GerberFile& file, const std::set<StrokeKey>& edge) {
  std::vector<std::uint32_t> found;
  if (edge.empty()) return found;
  for (std::uint32_t i = 0; i < file.objects.size(); ++i)
    if (is_stroke(file.objects[i]) && file.attributes[file.objects[i].attributes].net.empty() &&
        edge.count(stroke_key(file.objects[i])))
      found.push_back(i);
  return found;
}

/// Numbers of inner layers that the job leaves open go to the files in their listed order.
std::vector<CopperLayer> copper_of(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  std::vector<CopperLayer> layers;
  std::set<int> taken{1};
  std::size_t files = 0, unnumbered = 0;
  int deepest = 0, deepest_inner = 0;
  for (const auto& in : sources.layers) {
    if (in.role != LayerRole::copper_top && in.role != LayerRole::copper_bottom && in.role != LayerRole::copper_inner)
      continue;
    ++files;
    deepest = std::max(deepest, in.layer);
    if (in.role == LayerRole::copper_inner) deepest_inner = std::max(deepest_inner, in.layer);
    if (in.role == LayerRole::copper_inner && in.layer) taken.insert(in.layer);
    unnumbered += in.role == LayerRole::copper_inner && !in.layer;
  }
  for (const auto& hole : board.holes) deepest = std::max(deepest, hole.last_layer);
  // The bottom lies below every inner layer, however few of them are at hand.
  const bool counted = board.copper_layers > 0;
  const int bottom = std::max({board.copper_layers, deepest, static_cast<int>(files), counted ? 0 : deepest_inner + 1});
  taken.insert(bottom);
  int next = 2;
  std::size_t edges = 0;
  const auto edge = strokes_of_outline(job, sources);
  for (std::size_t i = 0; i < sources.layers.size(); ++i) {
    const GerberInput& in = sources.layers[i];
    int number = 0;
    if (in.role == LayerRole::copper_top) number = 1;
    if (in.role == LayerRole::copper_bottom) number = bottom;
    if (in.role == LayerRole::copper_inner) number = in.layer;
    if (in.role == LayerRole::copper_inner && number == 0) {
      while (taken.count(next)) ++next;
      number = next++;
    }
    if (number == 0) continue;
    if (std::any_of(layers.begin(), layers.end(), [&](const auto& layer) { return layer.number == number; }))
      diagnostics.error({.code = "board-layer-twice",
                         .at = in.place,
                         .message = "two files claim one copper layer",
                         .found = "layer " + std::to_string(number) + ": " + in.file,
                         .remedy = "correct  layer  in  [[inputs.gerber]]"});
    layers.push_back({number, &sources.gerbers[i], in.clearances, edge_strokes(sources.gerbers[i], edge)});
    edges += layers.back().left_out.size();
  }
  if (edges)
    diagnostics.note({.code = "board-edge-on-copper",
                      .at = {job.inputs.outline_file, 0, 0, {}},
                      .message = "copper layers contain the strokes of the board edge. These belong to no net and are "
                                 "left out when nets are traced",
                      .found = std::to_string(edges) + " strokes"});
  for (int wanted = 1; wanted <= bottom; ++wanted)
    if (std::none_of(layers.begin(), layers.end(), [&](const auto& layer) { return layer.number == wanted; }))
      board.connectivity.missing_layers.push_back(wanted);
  board.copper_layers = bottom;
  const bool blind =
      std::any_of(board.holes.begin(), board.holes.end(), [](const BoardHole& hole) { return hole.blind; });
  if (unnumbered && blind)
    diagnostics.warn({.code = "board-inner-order",
                      .at = {job.file, 0, 0, "inputs.gerber"},
                      .message = "some holes are blind or buried, and the order of the inner layers is known only from "
                                 "the order of the files",
                      .found = std::to_string(unnumbered) + " inner layers without a number",
                      .remedy = "set  layer  in  [[inputs.gerber]]"});
  return layers;
}

/// A hole of unknown kind is plated if copper lies around it on an outer layer.
bool is_plated(const BoardHole& hole, const std::vector<LayerImage>& top, const std::vector<LayerImage>& bottom) {
  if (hole.plating != formats::Plating::unknown) return hole.plating == formats::Plating::plated;
  int around = 0;
  const double reach = hole.diameter.v / 2 + 0.04;
  for (Point p : {Point{reach, 0}, Point{-reach, 0}, Point{0, reach}, Point{0, -reach}})
    for (const auto* side : {&top, &bottom})
      around += std::any_of(side->begin(), side->end(), [&](const LayerImage& i) { return i.dark(hole.at + p); });
  return around >= 4;
}

/// On a negative plane a land is free of copper. Where the layer names nets, a net with lands no wider than their holes
/// is one of the plane's own; its wider lands are thermal ties whose spokes the writer left out.
std::size_t leave_out_thermals(CopperLayer& layer, const std::vector<CopperHole>& holes) {
  if (!layer.clearances) return 0;
  const formats::GerberFile& file = *layer.file;
  PointGrid at(0.2);
  for (std::size_t k = 0; k < holes.size(); ++k)
    if (holes[k].plated) at.add(0.5 * (holes[k].at + holes[k].end), static_cast<int>(k));
  std::set<std::string> own;
  std::vector<std::uint32_t> wide;
  for (std::uint32_t i = 0; i < file.objects.size(); ++i) {
    const formats::GerberObject& object = file.objects[i];
    const std::string& net = file.attributes[object.attributes].net;
    if (object.kind != formats::GerberObject::Kind::flash || net.empty()) continue;
    const int hole = at.nearest(object.start, 0.05);
    if (hole < 0) continue;
    if (formats::box_of(file, object).width() <= holes[hole].diameter.v + 0.05)
      own.insert(net);
    else
      wide.push_back(i);
  }
  std::size_t left = 0;
  for (std::uint32_t i : wide)
    if (own.count(file.attributes[file.objects[i].attributes].net)) {
      layer.left_out.push_back(i);
      ++left;
    }
  std::sort(layer.left_out.begin(), layer.left_out.end());
  return left;
}

std::string at_text(Point p) {
  return "(" + fixed(p.x, 3) + ", " + fixed(p.y, 3) + ")";
}
}  // namespace

void trace_copper(Board& board, const Layers& images, const Job& job, const Sources& sources,
                  Diagnostics& diagnostics) {
  if (images.copper[Side::top].empty() && images.copper[Side::bottom].empty()) return;
  std::vector<CopperLayer> layers = copper_of(board, job, sources, diagnostics);
  if (diagnostics.failed()) return;
  std::vector<CopperHole> holes;
  for (BoardHole& hole : board.holes) {
    const bool plated = is_plated(hole, images.copper[Side::top], images.copper[Side::bottom]);
    if (board.traced && hole.plating == formats::Plating::unknown)
      hole.plating = plated ? formats::Plating::plated : formats::Plating::unplated;
    holes.push_back({.at = hole.at,
                     .end = hole.end,
                     .diameter = hole.diameter,
                     .plated = plated,
                     .first_layer = hole.first_layer,
                     .last_layer = hole.last_layer});
  }
  if (sources.vias_missing && layers.size() > 1) board.connectivity.no_holes = true;  // said where they were taken
  if (holes.empty() && layers.size() > 1) {
    board.connectivity.no_holes = true;
    diagnostics.warn(
        {.code = "board-no-drill",
         .at = {job.file, 0, 0, "inputs.drill"},
         .message = "no drill file is given. Nets are traced on each layer by itself, and opens are not reported",
         .found = std::to_string(layers.size()) + " copper layers",
         .remedy = "name the drill files in  [[inputs.drill]]"});
  }
  std::size_t thermals = 0;
  for (CopperLayer& layer : layers) thermals += leave_out_thermals(layer, holes);
  if (thermals)
    diagnostics.note({.code = "board-thermal-ties",
                      .at = {job.file, 0, 0, {}},
                      .message = "lands on a negative plane that belong to the plane's own net are taken as connected "
                                 "to it by spokes that the file does not draw",
                      .found = std::to_string(thermals) + " lands"});
  Box frame;
  for (const auto& feature : board.features) frame.add(feature.at);
  for (const auto& hole : board.holes) frame.add(hole.at);
  for (const auto& layer : layers)
    if (!layer.clearances) frame.add(formats::extents(*layer.file));
  try {
    board.connectivity.copper =
        std::make_shared<const CopperNets>(std::move(layers), holes, frame.valid() ? frame.grown(1) : Box{0, 0, 1, 1});
  } catch (const std::length_error& error) {
    return diagnostics.error({.code = "board-copper-tangled",
                              .at = {job.file, 0, 0, "inputs.gerber"},
                              .message = "the copper cannot be traced",
                              .found = error.what(),
                              .remedy = "a layer file is probably damaged. Export it again or leave it out"});
  }
  if (board.connectivity.missing_layers.empty()) return;
  std::string list;
  for (int layer : board.connectivity.missing_layers) list += (list.empty() ? "" : ", ") + std::to_string(layer);
  diagnostics.warn({.code = "board-layers-missing",
                    .at = {job.file, 0, 0, "inputs.gerber"},
                    .message = "some copper layers of the board have no file. Nets that run through them cannot be "
                               "traced completely, and opens are not reported",
                    .found = "of " + std::to_string(board.copper_layers) + " layers missing: " + list,
                    .remedy = "name them in  [[inputs.gerber]]"});
}

namespace {
/// What copper a feature stands on, side by side.
struct Stand {
  FeatureId feature;
  CopperNetId copper;
  Side side{};
};
std::vector<Stand> stands_of(const Board& board) {
  const CopperNets& copper = *board.connectivity.copper;
  PointGrid holes(0.2);
  for (const HoleId id : board.holes.ids())
    if (copper.net_of_hole(id.index())) holes.add(0.5 * (board.holes[id].at + board.holes[id].end), id.number());
  std::vector<Stand> out;
  for (const FeatureId id : board.features.ids()) {
    const Feature& feature = board.features[id];
    if (!feature.net || !feature.plated) continue;
    const bool drilled = feature.hole > Mm{} || feature.kind == FeatureKind::via || feature.kind == FeatureKind::lead;
    if (const int hole = drilled ? holes.nearest(feature.at, 0.05) : -1; hole >= 0) {
      out.push_back({id, copper.net_of_hole(static_cast<std::size_t>(hole)),
                     feature.land[Side::top].present ? Side::top : Side::bottom});
      continue;
    }
    for (Side side : {Side::top, Side::bottom}) {
      if (!feature.land[side].present) continue;
      const int number = side == Side::top ? 1 : board.copper_layers;
      for (std::size_t k = 0; k < copper.layers().size(); ++k)
        if (copper.layers()[k].number == number)
          if (const CopperNetId net = copper.net_at(k, feature.at)) out.push_back({id, net, side});
    }
  }
  return out;
}

/// Of two groups the pair that lies closest; at most 4000 of each are looked at.
std::pair<Stand, Stand> nearest_pair(const Board& board, const std::vector<Stand>& one, const std::vector<Stand>& two) {
  std::pair<Stand, Stand> best{one[0], two[0]};
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < std::min<std::size_t>(one.size(), 4000); ++i)
    for (std::size_t k = 0; k < std::min<std::size_t>(two.size(), 4000); ++k) {
      const double apart = distance(board.features[one[i].feature].at, board.features[two[k].feature].at);
      if (apart < least - 1e-9) {
        least = apart;
        best = {one[i], two[k]};
      }
    }
  return best;
}

/// Copper that the netlist knows nothing of: what is planned and counted is then a part of the board.
void tell_unseen(const Board& board, const Sources& sources, Diagnostics& diagnostics) {
  std::size_t traced = 0, known = 0;
  const Connectivity& connectivity = board.connectivity;
  for (const CopperNetId id : connectivity.netlist_nets.ids()) {
    if (connectivity.copper->nets()[id].drawn_only()) continue;
    ++traced;
    known += !connectivity.netlist_nets[id].empty();
  }
  if (traced < 4 || known * 2 >= traced) return;
  diagnostics.warn(
      {.code = "check-nets-few",
       .at = {sources.netlist_file, 0, 0, {}},
       .message = "the netlist knows less than half of the nets in the copper. Nets that it does not know "
                  "are neither planned nor counted",
       .found = std::to_string(known) + " of " + std::to_string(traced) + " nets with pads or holes",
       .remedy = "export the whole netlist, or leave it out: then all nets are traced through the copper"});
}

void tell_differences(const Board& board, std::size_t shorts, const Sources& sources, Diagnostics& diagnostics) {
  const Connectivity& connectivity = board.connectivity;
  const std::string agree =
      std::to_string(connectivity.agreeing) + " of " + std::to_string(connectivity.compared) + " nets";
  const Place at{sources.netlist_file, 0, 0, {}};
  if (connectivity.differences.empty())
    return diagnostics.note({.code = "check-copper-nets",
                             .at = at,
                             .message = connectivity.missing_layers.empty()
                                            ? "copper and netlist agree. There are no opens and no shorts"
                                            : "copper and netlist show no shorts",
                             .found = agree});
  std::string list;
  for (std::size_t i = 0; i < std::min(connectivity.differences.size(), kListed); ++i) {
    const NetDifference& found = connectivity.differences[i];
    list += (i ? "; " : "") +
            (found.open ? "open " + found.net + ": " : "short " + found.net + " and " + found.other + ": ") +
            found.at_name + " " + at_text(found.at) + " and " + found.other_name + " " + at_text(found.other_at);
  }
  if (connectivity.differences.size() > kListed) list += "; ...";
  const std::string counts = std::to_string(shorts) + " shorts and " +
                             std::to_string(connectivity.differences.size() - shorts) + " opens against the netlist; " +
                             agree + " agree";
  diagnostics.warn(
      {.code = "check-copper-nets",
       .at = at,
       .message = "copper and holes show " + counts,
       .found = list,
       .remedy = std::string("list all with  teasel nets. Intended bridges such as net ties and star points can be "
                             "left as they are") +
                 (board.names_perhaps_cut
                      ? ". Net names of 14 characters may be cut, and two nets under one cut name look like an open"
                      : "")});
}

/// The nearest two features of both groups show where to look.
void add_difference(Board& board, bool open, const std::vector<Stand>& one, const std::vector<Stand>& two) {
  const auto [here, there] = nearest_pair(board, one, two);
  if (here.feature == there.feature) return;
  const Feature &feature = board.features[here.feature], &other = board.features[there.feature];
  board.connectivity.differences.push_back({.open = open,
                                            .net = board.nets[feature.net].name,
                                            .other = board.nets[other.net].name,
                                            .at_name = feature.name,
                                            .other_name = other.name,
                                            .at = feature.at,
                                            .other_at = other.at,
                                            .side = here.side,
                                            .other_side = there.side});
}

/// What ought to be one group: the one with most places is named first, the others are held against it.
template <class Id>
void hold_against_largest(Board& board, bool open, const std::map<Id, std::vector<Stand>>& groups) {
  const auto main = std::max_element(groups.begin(), groups.end(),
                                     [](const auto& p, const auto& q) { return p.second.size() < q.second.size(); });
  for (const auto& [id, group] : groups)
    if (id != main->first) add_difference(board, open, main->second, group);
}
}  // namespace

void compare_with_netlist(Board& board, const Sources& sources, Diagnostics& diagnostics) {
  Connectivity& connectivity = board.connectivity;
  if (!connectivity.copper || board.traced) return;
  std::map<NetId, std::map<CopperNetId, std::vector<Stand>>> copper_of_net;
  std::map<CopperNetId, std::map<NetId, std::vector<Stand>>> net_of_copper;
  for (const Stand& stand : stands_of(board)) {
    const NetId net = board.features[stand.feature].net;
    copper_of_net[net][stand.copper].push_back(stand);
    net_of_copper[stand.copper][net].push_back(stand);
  }
  std::set<NetId> wrong;
  for (const auto& [copper, nets] : net_of_copper) {
    // Pads without a net that copper joins are no short: the netlist says nothing of them.
    const bool named =
        std::any_of(nets.begin(), nets.end(), [&](const auto& group) { return !board.nets[group.first].unconnected; });
    if (nets.size() < 2 || !named) continue;
    for (const auto& [net, group] : nets) wrong.insert(net);
    hold_against_largest(board, false, nets);
  }
  const std::size_t shorts = connectivity.differences.size();
  if (connectivity.missing_layers.empty() && !connectivity.no_holes)
    for (const auto& [net, coppers] : copper_of_net) {
      if (coppers.size() < 2) continue;
      wrong.insert(net);
      hold_against_largest(board, true, coppers);
    }
  connectivity.netlist_nets.resize(connectivity.copper->nets().size());
  for (const auto& [copper, nets] : net_of_copper)
    for (const auto& [net, group] : nets) connectivity.netlist_nets[copper].push_back(net);
  auto by_name = [](const NetDifference& p, const NetDifference& q) {
    return std::tie(p.open, p.net, p.other, p.other_name) < std::tie(q.open, q.net, q.other, q.other_name);
  };
  std::stable_sort(connectivity.differences.begin(), connectivity.differences.end(), by_name);
  for (const auto& [net, coppers] : copper_of_net) {
    ++connectivity.compared;
    connectivity.agreeing += !wrong.count(net);
  }
  tell_differences(board, shorts, sources, diagnostics);
  tell_unseen(board, sources, diagnostics);
}

}  // namespace teasel
