// An array of boards as one board.
#include <algorithm>
#include <cmath>
#include <set>

#include "build.h"

namespace teasel {

namespace {
constexpr std::size_t kMostFeatures = 2'000'000, kMostKeepOuts = 5'000;

Affine map_of(const PanelPlace& p) {
  const double a = p.turn * 3.14159265358979323846 / 180;
  // Quarter turns are exact: their sines are not.
  const double c = std::abs(std::remainder(p.turn, 90)) < 1e-9 ? std::round(std::cos(a)) : std::cos(a),
               s = std::abs(std::remainder(p.turn, 90)) < 1e-9 ? std::round(std::sin(a)) : std::sin(a);
  const double m = p.flipped ? -1 : 1;
  return {m * c, -s, m * s, c, p.at.x, p.at.y};
}

std::vector<PanelPlace> places_of(const Job& job, const Sources& sources, const Board& b,
                                  std::optional<Polygon>& outline, Diagnostics& d) {
  std::vector<PanelPlace> places = job.panel.places;
  if (job.panel.step.empty()) return places;
  const formats::CadStep* step = nullptr;
  std::string names;
  if (sources.cad)
    for (const auto& s : sources.cad->steps) {
      if (!s.places.empty()) names += (names.empty() ? "" : ", ") + s.name;
      if (s.name == job.panel.step) step = &s;
    }
  if (!step) {
    d.error("panel-step", job.panel.place,
            sources.cad ? "the IPC-2581 file holds no such step"
                        : "the panel names a step of an IPC-2581 file, and the job names no such file",
            job.panel.step, names, "name a step that repeats the board, or list the places in  [[panel.board]]");
    return {};
  }
  outline = step->outline;
  std::size_t others = 0;
  for (const auto& p : step->places) {
    if (p.step != sources.cad->step) {
      ++others;
      continue;
    }
    places.push_back({"P" + std::to_string(places.size() + 1), p.at, p.turn, p.mirrored});
  }
  if (others)
    d.warn("panel-step", job.panel.place, "the panel also holds other steps; they are left out",
           std::to_string(others) + " places", "list what they carry as keep-outs");
  if (places.empty())
    d.error("panel-step", job.panel.place, "no place of this step holds the board",
            job.panel.step + " without " + sources.cad->step + " (" + b.name + ")", {}, "name the panel of this board");
  return places;
}

class Copier {
 public:
  Copier(const Board& one, Board& out, const PanelPlace& p, int index)
      : one_(one), out_(out), map_(map_of(p)), flip_(p.flipped), name_(p.name + ":"), turn_(p.turn), index_(index) {}
  void run();

 private:
  Side side(Side s) const { return flip_ ? other(s) : s; }
  Point turned(Point v) const { return {map_.a * v.x + map_.b * v.y, map_.c * v.x + map_.d * v.y}; }
  int layer(int n) const { return flip_ && n > 0 && one_.copper_layers > 0 ? one_.copper_layers + 1 - n : n; }
  static int moved(int id, std::size_t by) { return id < 0 ? id : id + static_cast<int>(by); }

  const Board& one_;
  Board& out_;
  Affine map_;
  bool flip_;
  std::string name_;
  double turn_;
  int index_;
};

void Copier::run() {
  const std::size_t features = out_.features.size(), nets = out_.nets.size(), parts = out_.components.size();
  for (std::size_t i = 0; i < one_.features.size(); ++i) {
    Feature f = one_.features[i];
    f.name = name_ + f.name;
    f.prefix = name_.size();
    f.panel_place = index_;
    f.base = static_cast<int>(i);
    f.net = moved(f.net, nets);
    f.component = moved(f.component, parts);
    f.at = map_(f.at);
    f.slot = turned(f.slot);
    if (flip_) {
      std::swap(f.land[0], f.land[1]);
      std::swap(f.first_layer, f.last_layer);
    }
    f.first_layer = layer(f.first_layer);
    f.last_layer = layer(f.last_layer);
    for (Land& l : f.land) l.rotation = (flip_ ? -l.rotation : l.rotation) + turn_;
    out_.features.push_back(std::move(f));
  }
  for (std::size_t i = 0; i < one_.nets.size(); ++i) {
    Net n = one_.nets[i];
    n.name = name_ + n.name;
    n.prefix = name_.size();
    n.panel_place = index_;
    n.base = static_cast<int>(i);
    for (int& f : n.features) f = moved(f, features);
    out_.nets.push_back(std::move(n));
  }
  for (Component c : one_.components) {
    c.name = name_ + c.name;
    c.side = side(c.side);
    c.body = transformed(c.body, map_);
    c.ring = transformed(c.ring, map_);
    if (flip_) std::reverse(c.ring.begin(), c.ring.end());
    for (int& f : c.features) f = moved(f, features);
    out_.components.push_back(std::move(c));
  }
  for (BoardHole h : one_.holes) {
    h.at = map_(h.at);
    h.end = map_(h.end);
    if (flip_) std::swap(h.first_layer, h.last_layer);
    h.first_layer = layer(h.first_layer);
    h.last_layer = layer(h.last_layer);
    out_.holes.push_back(std::move(h));
  }
  for (Exposure e : one_.exposures) {
    e.feature = moved(e.feature, features);
    e.side = side(e.side);
    e.copper = transformed(e.copper, map_);
    e.contact = transformed(e.contact, map_);
    e.aim = map_(e.aim);
    e.aim = {std::round(e.aim.x * 1000) / 1000, std::round(e.aim.y * 1000) / 1000};
    out_.exposures.push_back(std::move(e));
  }
  for (BareMetal m : one_.bare_metal) {
    m.side = side(m.side);
    m.copper = transformed(m.copper, map_);
    out_.bare_metal.push_back(std::move(m));
  }
  for (Covered c : one_.covered) {
    c.feature = moved(c.feature, features);
    c.side = side(c.side);
    out_.covered.push_back(c);
  }
  for (const Polygon& p : transformed(one_.pieces, map_)) out_.pieces.push_back(p);
  out_.places.push_back({name_.substr(0, name_.size() - 1), map_, flip_});
}

/// Lists are kept by feature, then side: a flipped board swaps the sides of each feature.
template <class T>
void in_order(std::vector<T>& list) {
  std::stable_sort(list.begin(), list.end(), [](const T& x, const T& y) {
    return x.feature != y.feature ? x.feature < y.feature : x.side < y.side;
  });
}
}  // namespace

std::map<std::pair<int, int>, int> nets_by_place(const Board& b) {
  std::map<std::pair<int, int>, int> out;
  for (std::size_t i = 0; i < b.nets.size(); ++i)
    out[{std::max(b.nets[i].panel_place, 0), b.base_net(static_cast<int>(i))}] = static_cast<int>(i);
  return out;
}

void panelize(Board& b, Job& job, const Rules& rules, const Sources& sources, Diagnostics& d) {
  if (!job.panel.used) return;
  std::optional<Polygon> drawn;
  const std::vector<PanelPlace> places = places_of(job, sources, b, drawn, d);
  std::set<std::string> names;
  for (const PanelPlace& p : places)
    if (!names.insert(p.name).second)
      d.error("panel-names", job.panel.place, "two boards of the panel have one name", p.name, {},
              "name the places of  [[panel.board]]  otherwise");
  if (places.size() * job.keep_outs.size() > kMostKeepOuts)
    d.error("panel-keep-outs", job.panel.place, "too many keep-outs for so many boards",
            std::to_string(places.size()) + " boards of " + std::to_string(job.keep_outs.size()) + " keep-outs",
            std::to_string(kMostKeepOuts), "join keep-outs, or plan a part of the panel");
  if (d.failed()) return;
  if (places.size() * b.features.size() > kMostFeatures)
    return d.error("panel-too-large", job.panel.place, "the panel holds more than two million pads",
                   std::to_string(places.size()) + " boards of " + std::to_string(b.features.size()) + " pads", {},
                   "plan a part of it");
  const Board one = std::move(b);
  b = Board{};
  b.name = one.name;
  b.revision = one.revision;
  b.thickness = one.thickness;
  b.thickness_known = one.thickness_known;
  b.finish = one.finish;
  b.outline_assumed = one.outline_assumed;
  b.netlist_offset = one.netlist_offset;
  b.copper_layers = one.copper_layers;
  b.has_mask_layers = one.has_mask_layers;
  b.has_copper_layers = one.has_copper_layers;
  b.has_paste = one.has_paste;
  b.traced = one.traced;
  b.names_perhaps_cut = one.names_perhaps_cut;
  b.connectivity = one.connectivity;
  b.bench = one.bench;
  b.plans_alike = job.panel.alike;
  for (std::size_t i = 0; i < places.size(); ++i) Copier(one, b, places[i], static_cast<int>(i)).run();
  in_order(b.exposures);
  in_order(b.covered);
  for (std::size_t i = 0; i < b.pieces.size(); ++i)
    for (std::size_t j = i + 1; j < b.pieces.size(); ++j)
      if (bounds(b.pieces[i].outer).touches(bounds(b.pieces[j].outer)) &&
          area(intersect({b.pieces[i]}, {b.pieces[j]})) > 0.01)
        return d.error("panel-overlap", job.panel.place, "two boards of the panel overlap",
                       places[i].name + " and " + places[j].name, {}, "correct their places, pitch or turn");
  Box box;
  for (const Polygon& p : b.pieces) box.add(bounds(p.outer));
  for (const PanelHole& h : job.panel.holes) {
    BoardHole o;
    o.at = o.end = h.at;
    o.diameter = h.diameter.v;
    o.of_panel = true;
    o.place = job.panel.place;
    o.plating = h.plated ? formats::Plating::plated : formats::Plating::unplated;
    box.add(Box{h.at.x, h.at.y, h.at.x, h.at.y}.grown(h.diameter.v));
    b.holes.push_back(std::move(o));
  }
  if (!job.panel.outline.empty()) {
    const Polygons filled = fill_contours({job.panel.outline});
    if (filled.size() != 1)
      return d.error("panel-outline", job.panel.place, "the panel's outline crosses itself", {}, {},
                     "list its corners in order");
    drawn = filled[0];
  }
  if (drawn) {
    b.outline = {drawn->outer, {}};
    if (area(subtract(b.pieces, {b.outline})) > 0.01)
      return d.error("panel-outline", job.panel.place, "boards reach out of the panel's outline", {}, {},
                     "correct the outline or the places");
  } else {
    b.outline = {{{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}}, {}};
  }
  std::vector<KeepOut> kept;
  for (const KeepOut& k : job.keep_outs) {
    if (k.panel) {
      kept.push_back(k);
      continue;
    }
    for (const PlaceInPanel& p : b.places) {
      KeepOut copy = k;
      copy.name = p.name + ":" + k.name;
      copy.area = transformed(k.area, p.map);
      if (p.flipped && k.side != "both") copy.side = k.side == "top" ? "bottom" : "top";
      kept.push_back(std::move(copy));
    }
  }
  job.keep_outs = std::move(kept);
  d.note("panel", job.panel.place,
         std::to_string(places.size()) + " boards in a panel of " + short_number(bounds(b.outline.outer).width(), 2) +
             " x " + short_number(bounds(b.outline.outer).height(), 2) + " mm, frame of the panel; " +
             (job.panel.alike ? "all probed alike" : "each planned by itself"),
         {}, "");
  choose_tooling(b, job, rules, d);
}

}  // namespace teasel
