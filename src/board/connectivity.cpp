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
StrokeKey stroke_key(const formats::GerberObject& o) {
  auto micro = [](double v) { return std::llround(v * 1000); };
  const StrokeKey k{micro(o.start.x), micro(o.start.y), micro(o.end.x), micro(o.end.y)},
      reversed{k[2], k[3], k[0], k[1]};
  return std::min(k, reversed);
}
bool is_stroke(const formats::GerberObject& o) {
  return o.kind == formats::GerberObject::Kind::line || o.kind == formats::GerberObject::Kind::arc;
}

std::set<StrokeKey> strokes_of_outline(const Job& job, const Sources& sources) {
  std::set<StrokeKey> keys;
  for (std::size_t i = 0; i < job.gerbers.size(); ++i)
    if (job.gerbers[i].file == job.outline_file && job.gerbers[i].role == LayerRole::outline)
      for (const auto& o : sources.gerbers[i].objects)
        if (is_stroke(o)) keys.insert(stroke_key(o));
  return keys;
}
/// Strokes that the outline file has as well, and that claim no net.
std::vector<std::uint32_t> edge_strokes(const formats::GerberFile& f, const std::set<StrokeKey>& edge) {
  std::vector<std::uint32_t> found;
  if (edge.empty()) return found;
  for (std::uint32_t i = 0; i < f.objects.size(); ++i)
    if (is_stroke(f.objects[i]) && f.attributes[f.objects[i].attributes].net.empty() &&
        edge.count(stroke_key(f.objects[i])))
      found.push_back(i);
  return found;
}

/// Numbers of inner layers that the job leaves open go to the files in their listed order.
std::vector<CopperLayer> copper_of(Board& b, const Job& job, const Sources& sources, Diagnostics& d) {
  std::vector<CopperLayer> layers;
  std::set<int> taken{1};
  std::size_t files = 0, unnumbered = 0;
  int deepest = 0;
  for (const auto& in : job.gerbers) {
    if (in.role != LayerRole::copper_top && in.role != LayerRole::copper_bottom && in.role != LayerRole::copper_inner)
      continue;
    ++files;
    deepest = std::max(deepest, in.layer);
    if (in.role == LayerRole::copper_inner && in.layer) taken.insert(in.layer);
    unnumbered += in.role == LayerRole::copper_inner && !in.layer;
  }
  for (const auto& h : b.holes) deepest = std::max(deepest, h.last_layer);
  const int bottom = std::max({b.copper_layers, deepest, static_cast<int>(files)});
  taken.insert(bottom);
  int next = 2;
  std::size_t edges = 0;
  const auto edge = strokes_of_outline(job, sources);
  for (std::size_t i = 0; i < job.gerbers.size(); ++i) {
    const GerberInput& in = job.gerbers[i];
    int number = in.role == LayerRole::copper_top      ? 1
                 : in.role == LayerRole::copper_bottom ? bottom
                 : in.role == LayerRole::copper_inner  ? in.layer
                                                       : 0;
    if (in.role == LayerRole::copper_inner && number == 0) {
      while (taken.count(next)) ++next;
      number = next++;
    }
    if (number == 0) continue;
    if (std::any_of(layers.begin(), layers.end(), [&](const auto& l) { return l.number == number; }))
      d.error("board-layer-twice", in.place, "two files claim one copper layer",
              "layer " + std::to_string(number) + ": " + in.file, {}, "correct  layer  in  [[inputs.gerber]]");
    layers.push_back({number, &sources.gerbers[i], in.clearances, edge_strokes(sources.gerbers[i], edge)});
    edges += layers.back().left_out.size();
  }
  if (edges)
    d.note("board-edge-on-copper", {job.outline_file, 0, 0, {}},
           "copper layers carry the strokes of the outline; they are no copper of any net and are left out of tracing",
           std::to_string(edges) + " strokes");
  for (int n = 1; n <= bottom; ++n)
    if (std::none_of(layers.begin(), layers.end(), [&](const auto& l) { return l.number == n; }))
      b.connectivity.missing_layers.push_back(n);
  b.copper_layers = bottom;
  const bool blind = std::any_of(b.holes.begin(), b.holes.end(), [](const BoardHole& h) { return h.blind; });
  if (unnumbered && blind)
    d.warn("board-inner-order", {job.file, 0, 0, "inputs.gerber"},
           "holes are blind or buried, and the order of inner layers is taken from the list of files",
           std::to_string(unnumbered) + " inner layers without a number", "set  layer  in  [[inputs.gerber]]");
  return layers;
}

/// A hole of unknown kind is plated if copper lies around it on an outer layer.
bool is_plated(const BoardHole& h, const std::vector<LayerImage>& top, const std::vector<LayerImage>& bottom) {
  if (h.plating != formats::Plating::unknown) return h.plating == formats::Plating::plated;
  int around = 0;
  const double r = h.diameter / 2 + 0.04;
  for (Point p : {Point{r, 0}, Point{-r, 0}, Point{0, r}, Point{0, -r}})
    for (const auto* side : {&top, &bottom})
      around += std::any_of(side->begin(), side->end(), [&](const LayerImage& i) { return i.dark(h.at + p); });
  return around >= 4;
}

/// On a negative plane a land is free of copper. Where the layer names nets, a net with lands no wider than their holes
/// is one of the plane's own; its wider lands are thermal ties whose spokes the writer left out.
std::size_t leave_out_thermals(CopperLayer& layer, const std::vector<CopperHole>& holes) {
  if (!layer.clearances) return 0;
  const formats::GerberFile& f = *layer.file;
  PointGrid at(0.2);
  for (std::size_t h = 0; h < holes.size(); ++h)
    if (holes[h].plated) at.add(0.5 * (holes[h].at + holes[h].end), static_cast<int>(h));
  std::set<std::string> own;
  std::vector<std::uint32_t> wide;
  for (std::uint32_t i = 0; i < f.objects.size(); ++i) {
    const formats::GerberObject& o = f.objects[i];
    const std::string& net = f.attributes[o.attributes].net;
    if (o.kind != formats::GerberObject::Kind::flash || net.empty()) continue;
    const int h = at.nearest(o.start, 0.05);
    if (h < 0) continue;
    if (formats::box_of(f, o).width() <= holes[static_cast<std::size_t>(h)].diameter + 0.05)
      own.insert(net);
    else
      wide.push_back(i);
  }
  std::size_t left = 0;
  for (std::uint32_t i : wide)
    if (own.count(f.attributes[f.objects[i].attributes].net)) {
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

void trace_copper(Board& b, const Layers& images, const Job& job, const Sources& sources, Diagnostics& d) {
  if (images.copper[0].empty() && images.copper[1].empty()) return;
  std::vector<CopperLayer> layers = copper_of(b, job, sources, d);
  if (d.failed()) return;
  std::vector<CopperHole> holes;
  for (BoardHole& h : b.holes) {
    const bool plated = is_plated(h, images.copper[0], images.copper[1]);
    if (b.traced && h.plating == formats::Plating::unknown)
      h.plating = plated ? formats::Plating::plated : formats::Plating::unplated;
    holes.push_back({h.at, h.end, h.diameter, plated, h.first_layer, h.last_layer});
  }
  if (sources.vias_missing && layers.size() > 1) b.connectivity.no_holes = true;  // said where they were taken
  if (holes.empty() && layers.size() > 1) {
    b.connectivity.no_holes = true;
    d.warn(
        "board-no-drill", {job.file, 0, 0, "inputs.drill"},
        "no drill file is given: the layers cannot be joined, nets are traced layer by layer, and no opens are claimed",
        std::to_string(layers.size()) + " copper layers", "name the drill files in  [[inputs.drill]]");
  }
  std::size_t thermals = 0;
  for (CopperLayer& l : layers) thermals += leave_out_thermals(l, holes);
  if (thermals)
    d.note("board-thermal-ties", {job.file, 0, 0, {}},
           "lands of a negative plane's own nets are taken as tied to it by spokes that the file does not draw",
           std::to_string(thermals) + " lands");
  Box frame;
  for (const auto& f : b.features) frame.add(f.at);
  for (const auto& h : b.holes) frame.add(h.at);
  for (const auto& l : layers)
    if (!l.clearances) frame.add(formats::extents(*l.file));
  try {
    b.connectivity.copper =
        std::make_shared<const CopperNets>(std::move(layers), holes, frame.valid() ? frame.grown(1) : Box{0, 0, 1, 1});
  } catch (const std::length_error& e) {
    return d.error("board-copper-tangled", {job.file, 0, 0, "inputs.gerber"}, "the copper cannot be traced", e.what(),
                   {}, "a layer file is damaged; give it again or leave it out");
  }
  if (b.connectivity.missing_layers.empty()) return;
  std::string list;
  for (int n : b.connectivity.missing_layers) list += (list.empty() ? "" : ", ") + std::to_string(n);
  d.warn("board-layers-missing", {job.file, 0, 0, "inputs.gerber"},
         "copper layers of the board have no file; nets that run through them cannot be traced whole, and no opens are "
         "claimed",
         "of " + std::to_string(b.copper_layers) + " layers missing: " + list, "name them in  [[inputs.gerber]]");
}

namespace {
/// What copper a feature stands on, side by side.
struct Stand {
  int feature = -1, copper = -1;
  Side side{};
};
std::vector<Stand> stands_of(const Board& b) {
  const CopperNets& c = *b.connectivity.copper;
  PointGrid holes(0.2);
  for (std::size_t h = 0; h < b.holes.size(); ++h)
    if (c.net_of_hole(h) >= 0) holes.add(0.5 * (b.holes[h].at + b.holes[h].end), static_cast<int>(h));
  std::vector<Stand> out;
  for (std::size_t i = 0; i < b.features.size(); ++i) {
    const Feature& f = b.features[i];
    if (f.net < 0 || !f.plated) continue;
    const bool drilled = f.hole > 0 || f.kind == FeatureKind::via || f.kind == FeatureKind::lead;
    if (const int h = drilled ? holes.nearest(f.at, 0.05) : -1; h >= 0) {
      out.push_back({static_cast<int>(i), c.net_of_hole(static_cast<std::size_t>(h)),
                     f.land[0].present ? Side::top : Side::bottom});
      continue;
    }
    for (Side side : {Side::top, Side::bottom}) {
      if (!f.land[static_cast<std::size_t>(side)].present) continue;
      const int number = side == Side::top ? 1 : b.copper_layers;
      for (std::size_t l = 0; l < c.layers().size(); ++l)
        if (c.layers()[l].number == number)
          if (const int net = c.net_at(l, f.at); net >= 0) out.push_back({static_cast<int>(i), net, side});
    }
  }
  return out;
}

/// Of two groups the pair that lies closest; at most 4000 of each are looked at.
std::pair<Stand, Stand> nearest_pair(const Board& b, const std::vector<Stand>& one, const std::vector<Stand>& two) {
  std::pair<Stand, Stand> best{one[0], two[0]};
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < std::min<std::size_t>(one.size(), 4000); ++i)
    for (std::size_t k = 0; k < std::min<std::size_t>(two.size(), 4000); ++k) {
      const double apart = distance(b.features[static_cast<std::size_t>(one[i].feature)].at,
                                    b.features[static_cast<std::size_t>(two[k].feature)].at);
      if (apart < least - 1e-9) {
        least = apart;
        best = {one[i], two[k]};
      }
    }
  return best;
}
}  // namespace

void compare_with_netlist(Board& b, const Job& job, Diagnostics& d) {
  Connectivity& c = b.connectivity;
  if (!c.copper || b.traced) return;
  const std::vector<Stand> stands = stands_of(b);
  using Group = std::vector<Stand>;
  std::map<int, std::map<int, Group>> copper_of_net, net_of_copper;
  for (const Stand& s : stands) {
    const int net = b.features[static_cast<std::size_t>(s.feature)].net;
    copper_of_net[net][s.copper].push_back(s);
    net_of_copper[s.copper][net].push_back(s);
  }
  // The nearest two features of both groups show where to look.
  auto difference = [&](bool open, const Group& one, const Group& two) {
    const auto [s, t] = nearest_pair(b, one, two);
    if (s.feature == t.feature) return;
    const Feature &f = b.features[static_cast<std::size_t>(s.feature)],
                  &g = b.features[static_cast<std::size_t>(t.feature)];
    c.differences.push_back({open, b.nets[static_cast<std::size_t>(f.net)].name,
                             b.nets[static_cast<std::size_t>(g.net)].name, f.name, g.name, f.at, g.at, s.side, t.side});
  };
  std::set<int> wrong;
  for (const auto& [copper, nets] : net_of_copper) {
    if (nets.size() < 2) continue;
    // The net with most places is named first; the others are held against it.
    const auto main = std::max_element(nets.begin(), nets.end(), [](const auto& p, const auto& q) {
                        return p.second.size() < q.second.size();
                      })->first;
    for (const auto& [net, group] : nets) {
      wrong.insert(net);
      if (net != main) difference(false, nets.at(main), group);
    }
  }
  const std::size_t shorts = c.differences.size();
  if (c.missing_layers.empty() && !c.no_holes)
    for (const auto& [net, coppers] : copper_of_net) {
      if (coppers.size() < 2) continue;
      wrong.insert(net);
      const auto main = std::max_element(coppers.begin(), coppers.end(), [](const auto& p, const auto& q) {
                          return p.second.size() < q.second.size();
                        })->first;
      for (const auto& [copper, group] : coppers)
        if (copper != main) difference(true, coppers.at(main), group);
    }
  c.netlist_nets.resize(c.copper->nets().size());
  for (const auto& [copper, nets] : net_of_copper)
    for (const auto& [net, group] : nets) c.netlist_nets[static_cast<std::size_t>(copper)].push_back(net);
  auto by_name = [](const NetDifference& p, const NetDifference& q) {
    return std::tie(p.open, p.net, p.other, p.other_name) < std::tie(q.open, q.net, q.other, q.other_name);
  };
  std::stable_sort(c.differences.begin(), c.differences.end(), by_name);
  for (const auto& [net, coppers] : copper_of_net) {
    ++c.compared;
    c.agreeing += !wrong.count(net);
  }
  const std::string agree = std::to_string(c.agreeing) + " of " + std::to_string(c.compared) + " nets";
  const Place at{job.netlist_file, 0, 0, {}};
  if (c.differences.empty())
    return d.note("check-copper-nets", at,
                  c.missing_layers.empty() ? "copper and netlist agree: no opens, no shorts"
                                           : "copper and netlist show no shorts",
                  agree);
  std::string list;
  for (std::size_t i = 0; i < std::min(c.differences.size(), kListed); ++i) {
    const NetDifference& n = c.differences[i];
    list += (i ? "; " : "") + (n.open ? "open " + n.net + ": " : "short " + n.net + " and " + n.other + ": ") +
            n.at_name + " " + at_text(n.at) + " and " + n.other_name + " " + at_text(n.other_at);
  }
  if (c.differences.size() > kListed) list += "; ...";
  const std::string counts = std::to_string(shorts) + " shorts and " + std::to_string(c.differences.size() - shorts) +
                             " opens against the netlist; " + agree + " agree";
  d.warn(
      "check-copper-nets", at, "copper and holes show " + counts, list,
      std::string("see all with  teasel nets; a bridge that is meant (a net tie, a common star point) can be left so") +
          (b.names_perhaps_cut
               ? "; net names of 14 characters may be cut, and two nets under one name look like an open"
               : ""));
}

}  // namespace teasel
