#include "page_data.h"

#include <cmath>
#include <nlohmann/json.hpp>

#include "text.h"

namespace teasel {

namespace {
using Json = nlohmann::json;

constexpr double kDrawn = 0.008;  // mm; a drawing needs no more

long um(double v) {
  return std::lround(v * 1000);
}

class Data {
 public:
  Data(const Outcome& o, const std::map<std::string, std::string>& rendered) : o_(o), rendered_(rendered) {}
  std::string run();
  std::string patch(const std::vector<int>& touched);

 private:
  int text(const std::string& s) {
    const auto [it, fresh] = number_.try_emplace(s, static_cast<int>(strings_.size()));
    if (fresh) strings_.push_back(s);
    return it->second;
  }
  static void ring(const Ring& r, Json& out) {
    Json list = Json::array();
    long x = 0, y = 0;
    for (const Point p : thinned(r, kDrawn)) {
      list.push_back(um(p.x) - x);
      list.push_back(um(p.y) - y);
      x = um(p.x);
      y = um(p.y);
    }
    out.push_back(std::move(list));
  }
  static Json area(const Polygons& polygons) {
    Json out = Json::array();
    for (const Polygon& p : polygons) {
      ring(p.outer, out);
      for (const Ring& h : p.holes) ring(h, out);
    }
    return out;
  }
  Json nets();
  Json parts();
  void targets(Json& j);
  Json reasons(std::size_t target, bool main_side);
  Json verdict(std::size_t target, bool probed);
  Json keep_outs();
  Json probes();
  Json holes();
  Json copper();
  Json plates();
  Json strain();
  Json old();
  Json lists();

  const Outcome& o_;
  const std::map<std::string, std::string>& rendered_;
  std::map<std::string, int> number_;
  Json strings_ = Json::array();
};

Json Data::nets() {
  std::vector<Json> out(o_.board.nets.size());
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = Json::array({o_.board.nets[i].name, text(""), 0, 0, 0,
                          text(o_.board.nets[i].unconnected ? "not connected" : "no need"), text("")});
  for (const CoverageRow& c : o_.coverage.rows) {
    const Need& n = o_.needs[static_cast<std::size_t>(c.need)];
    if (!o_.board.nets[static_cast<std::size_t>(n.net)].unconnected)
      out[static_cast<std::size_t>(n.net)] =
          Json::array({o_.board.nets[static_cast<std::size_t>(n.net)].name, text(to_string(n.role)),
                       n.mandatory ? 1 : 0, c.wanted, c.got, text(c.status), text(c.reason)});
  }
  return out;
}

Json Data::parts() {
  Json out = Json::array();
  for (const Component& c : o_.board.components)
    out.push_back({c.name, static_cast<int>(c.side), um(c.height), text(to_string(c.height_known)),
                   c.fitted ? c.always_fitted ? 2 : 1 : 0, text(c.value), area(c.body)});
  return out;
}

/// Of the best aim for each class that is not open.
Json Data::reasons(std::size_t t, bool main_side) {
  Json out = Json::array();
  for (std::size_t k = 0; k < o_.access.classes; ++k) {
    const Verdict& v = o_.access.best_verdict(t, k, main_side);
    if (v.open) continue;
    for (const Shortfall& s : v.shortfalls) {
      if (!s.blocking) continue;
      const bool chance = std::string_view(s.unit()) == "1", plain = !s.has_numbers();
      auto number = [&](double x) { return plain ? Json(0) : chance ? Json(x) : Json(um(x)); };
      out.push_back(k);
      out.push_back(text(to_string(s.reason)));
      out.push_back(number(s.measured));
      out.push_back(number(s.required));
      out.push_back(text(plain ? "" : s.unit()));
      out.push_back(text(obstacle_text(s, o_.board, o_.job)));
      break;  // the first one; blocked.csv has them all
    }
  }
  return out;
}

/// State, odds and reasons.
Json Data::verdict(std::size_t t, bool probed) {
  const bool main = o_.access.targets[t].side == chosen(o_).option.main;
  double miss = 1;
  for (std::size_t k = 0; k < o_.access.classes; ++k)
    if (const Verdict& v = o_.access.best_verdict(t, k, main); v.open) miss = std::min(miss, v.miss);
  return Json::array({probed                                ? 2
                      : miss < 1 || o_.access.open(t, main) ? 1
                                                            : 0,
                      std::stod(scientific(miss)), reasons(t, main)});
}

void Data::targets(Json& j) {
  const OptionResult& r = chosen(o_);
  std::vector<char> probed(o_.access.targets.size());
  for (const PlacedProbe& p : r.probes) probed[static_cast<std::size_t>(p.target)] = 1;
  Json shapes = Json::array(), list = Json::array();
  for (const LandingShape& s : o_.access.shapes) shapes.push_back(area(s.area));
  for (std::size_t t = 0; t < o_.access.targets.size(); ++t) {
    const Target& x = o_.access.targets[t];
    const Feature& f = o_.board.features[static_cast<std::size_t>(x.feature)];
    const Spot& spot = o_.access.spots[static_cast<std::size_t>(x.first_spot)];
    // The shape's origin is the first aim point.
    list.push_back({f.name, f.net, static_cast<int>(x.side), um(spot.at.x - spot.in_shape.x),
                    um(spot.at.y - spot.in_shape.y), text(to_string(f.kind)), f.component, text(f.pin), spot.shape});
    for (Json& v : verdict(t, probed[t] != 0)) list.back().push_back(std::move(v));
  }
  j["shapes"] = std::move(shapes);
  j["targets"] = std::move(list);
}

Json Data::probes() {
  Json out = Json::array();
  for (const PlacedProbe& p : chosen(o_).probes) {
    const Target& t = o_.access.targets[static_cast<std::size_t>(p.target)];
    const Spot& s = o_.access.spots[static_cast<std::size_t>(p.spot)];
    const ProbeClass& c = o_.catalogue.classes[static_cast<std::size_t>(p.probe_class)];
    out.push_back({p.name, p.target, um(s.at.x), um(s.at.y), p.probe_class, text(tip_for(o_.board, t, s)),
                   force_on(o_.rules, t, c).v, text(odds_text(verdict_of(o_, p).miss)),
                   um(head_diameter(o_.board, o_.rules, t, c)),
                   o_.board.nets[static_cast<std::size_t>(o_.needs[static_cast<std::size_t>(p.need)].net)].name,
                   std::stod(scientific(verdict_of(o_, p).miss))});
  }
  return out;
}

Json Data::holes() {
  Json out = Json::array();
  for (std::size_t i = 0; i < o_.board.holes.size(); ++i) {
    const BoardHole& h = o_.board.holes[i];
    const bool tooling =
        std::find(o_.board.tooling.begin(), o_.board.tooling.end(), static_cast<int>(i)) != o_.board.tooling.end();
    out.push_back(
        {um(h.at.x), um(h.at.y), um(h.diameter), h.plating != formats::Plating::unplated ? 1 : 0, tooling ? 1 : 0});
  }
  return out;
}

Json Data::copper() {
  Json out = Json::object();
  if (!o_.board.connectivity.copper) return out;
  const CopperNets& nets = *o_.board.connectivity.copper;
  int last = 0;
  for (const CopperLayer& l : nets.layers()) last = std::max(last, l.number);
  for (std::size_t i = 0; i < nets.layers().size(); ++i) {
    const int number = nets.layers()[i].number;
    if (number != 1 && number != std::max(last, o_.board.copper_layers)) continue;
    Json lines = Json::array(), areas = Json::array();
    for (const CopperShape& s : nets.shapes(i)) {
      if (s.area) {
        areas.push_back(area({*s.area}));
        continue;
      }
      for (const double v : {s.a.x, s.a.y, s.b.x - s.a.x, s.b.y - s.a.y, s.radius}) lines.push_back(um(v));
    }
    out[number == 1 ? "top" : "bottom"] = {{"lines", std::move(lines)}, {"areas", std::move(areas)}};
  }
  return out;
}

Json Data::plates() {
  Json out = Json::array();
  for (const Plate& p : o_.plates) {
    const Affine back = inverse(p.from_board);
    Json list = Json::array(), pockets = Json::array();
    for (const PlateHole& h : p.holes) {
      list.push_back(um(h.board.x));
      list.push_back(um(h.board.y));
      list.push_back(um(h.diameter));
      list.push_back(text(to_string(h.kind)));
      list.push_back(text(h.label));
    }
    for (const Pocket& k : p.pockets) pockets.push_back(area(transformed(k.area, back)));
    out.push_back({{"name", p.name},
                   {"side", static_cast<int>(p.probes)},
                   {"holes", std::move(list)},
                   {"pockets", std::move(pockets)}});
  }
  return out;
}

Json Data::strain() {
  const PressedState* s = o_.mechanics.at_full_stroke();
  if (!s) return Json();
  Json nodes = Json::array(), triangles = Json::array(), up = Json::array(), micro = Json::array();
  for (const Point p : o_.mechanics.mesh.nodes) {
    nodes.push_back(um(p.x));
    nodes.push_back(um(p.y));
  }
  for (const auto& t : o_.mechanics.mesh.triangles) triangles.insert(triangles.end(), {t[0], t[1], t[2]});
  for (const double v : s->deflection) up.push_back(um(v));
  for (const double v : s->surface_strain) micro.push_back(std::lround(v * 1e6));
  return {{"nodes", std::move(nodes)},
          {"triangles", std::move(triangles)},
          {"deflection", std::move(up)},
          {"microstrain", std::move(micro)},
          {"limit", std::lround(o_.mechanics.limit * 1e6)},
          {"free_shape", to_string(s->worst)}};
}

Json Data::old() {
  const Respin& r = o_.respin;
  if (!r.used) return Json();
  const Affine back = inverse(r.laying.map);
  Json parts = Json::array(), pads = Json::array();
  for (const auto& p : r.old.parts)
    if (!p.body.empty()) parts.push_back({p.name, static_cast<int>(p.side), area(transformed(p.body, back))});
  for (const auto& p : r.old.pads)
    for (const Side side : {Side::top, Side::bottom})
      if (const Box& b = p.bare[static_cast<std::size_t>(side)]; b.valid()) {
        const Box n = bounds(transformed(rectangle(b.centre(), b.width(), b.height()), back));
        pads.push_back({static_cast<int>(side), um(n.x0), um(n.y0), um(n.x1), um(n.y1)});
      }
  return {{"name", r.from_name},
          {"outline", area(transformed({r.old.outline}, back))},
          {"parts", std::move(parts)},
          {"pads", std::move(pads)}};
}

Json Data::lists() {
  Json out = Json::object();
  for (const char* name : {"probes.csv", "coverage.csv", "interfaces.csv", "advice.csv", "nearly-open.csv",
                           "wiring.csv", "supports.csv", "strain.csv", "materials.csv", "supplies.csv", "respin.csv",
                           "board-changes.csv", "rework.csv", "revisions.csv"})
    if (const auto it = rendered_.find(name); it != rendered_.end()) out[name] = it->second;
  std::string measure = "part,assumed,probes\n";
  for (const auto& m : o_.coverage.measure_first) {
    std::string probes;
    for (const auto& p : m.probes) probes += (probes.empty() ? "" : " ") + p;
    measure += csv_row({o_.board.components[static_cast<std::size_t>(m.component)].name, m.what, probes});
  }
  out["measure-first.csv"] = measure;
  return out;
}

Json Data::keep_outs() {
  Json out = Json::array();
  for (const KeepOut& k : o_.job.keep_outs) out.push_back({k.name.empty() ? k.kind : k.name, k.side, area(k.area)});
  return out;
}

std::string Data::patch(const std::vector<int>& touched) {
  Json j, targets = Json::array(), nets = Json::array();
  std::vector<char> probed(o_.access.targets.size());
  for (const PlacedProbe& p : chosen(o_).probes) probed[static_cast<std::size_t>(p.target)] = 1;
  for (const int t : touched) {
    targets.push_back(Json::array({t}));
    for (Json& v : verdict(static_cast<std::size_t>(t), probed[static_cast<std::size_t>(t)] != 0))
      targets.back().push_back(std::move(v));
  }
  for (std::size_t i = 0; i < o_.needs.size(); ++i)
    nets.push_back({o_.needs[i].net, o_.needs[i].wanted, chosen(o_).got[i]});
  j["schema"] = kPageSchema;
  j["probes"] = probes();
  j["keep_outs"] = keep_outs();
  j["targets"] = std::move(targets);
  j["nets"] = std::move(nets);
  j["strings"] = std::move(strings_);
  return j.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::string Data::run() {
  Json j;
  j["schema"] = kPageSchema;
  j["plan_id"] = o_.plan_id;
  j["board"] = {{"name", o_.board.name},
                {"revision", o_.board.revision},
                {"side_down", static_cast<int>(chosen(o_).option.main)}};
  const Box box = bounds(o_.board.outline.outer);
  j["box"] = box.valid() ? Json{um(box.x0), um(box.y0), um(box.x1), um(box.y1)} : Json{0, 0, 1000, 1000};
  j["outline"] = area({o_.board.outline});
  Json classes = Json::array(), supports = Json::array(), wires = Json::array(), advice = Json::array();
  for (const ProbeClass& c : o_.catalogue.classes) classes.push_back({c.name, um(c.spacing.v)});
  j["classes"] = std::move(classes);
  j["nets"] = nets();
  j["parts"] = parts();
  targets(j);
  j["probes"] = probes();
  j["holes"] = holes();
  j["copper"] = copper();
  j["plates"] = plates();
  j["strain"] = strain();
  j["old"] = old();
  const PressedState* full = o_.mechanics.at_full_stroke();
  for (std::size_t i = 0; i < o_.mechanics.supports.size(); ++i) {
    const PlacedSupport& s = o_.mechanics.supports[i];
    supports.push_back({s.label, static_cast<int>(s.side), s.finger ? 1 : 0, um(s.at.x), um(s.at.y),
                        full ? std::round(full->support_force[i] * 100) / 100 : 0});
  }
  const Affine to_board = inverse(
      board_to_kit({o_.board, o_.access, o_.needs, chosen(o_), o_.job, o_.catalogue, o_.rules, o_.kit, o_.style}));
  for (const Wire& w : o_.wiring)
    if (w.from_known && w.to_known)
      wires.push_back({w.number, w.probe, text(w.pin), um(to_board(w.from).x), um(to_board(w.from).y),
                       um(to_board(w.to).x), um(to_board(w.to).y)});
  for (const Advice& a : o_.advice)
    advice.push_back({o_.needs[static_cast<std::size_t>(a.need)].net, text(a.action), static_cast<int>(a.side),
                      um(a.at.x), um(a.at.y), um(a.free_diameter)});
  j["keep_outs"] = keep_outs();
  j["supports"] = std::move(supports);
  j["wires"] = std::move(wires);
  j["advice"] = std::move(advice);
  j["lists"] = lists();
  j["strings"] = std::move(strings_);
  return j.dump(-1, ' ', false, Json::error_handler_t::replace);
}

const std::map<std::string, std::string> kNothing;
}  // namespace

std::string page_patch(const Outcome& o, const std::vector<int>& targets) {
  return Data(o, kNothing).patch(targets);
}
std::string page_data(const Outcome& o, const std::map<std::string, std::string>& rendered) {
  return Data(o, rendered).run();
}

}  // namespace teasel
