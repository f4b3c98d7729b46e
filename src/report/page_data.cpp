#include "page_data.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "teasel/fixture/probe_facts.h"
#include "text.h"

namespace teasel {

namespace {
using Json = nlohmann::json;

constexpr double kDrawn = 0.008;  // mm; a drawing needs no more

long um(double millimetres) {
  return std::lround(millimetres * 1000);
}
long um(Mm length) {
  return um(length.v);
}
/// As the page's scripts count sides: 0 top, 1 bottom.
int number_of(Side side) {
  return side == Side::top ? 0 : 1;
}

/// As the page's scripts count: 0 in no build variant, 1 in some, 2 in all.
int fitted_number(const Component& component) {
  if (!component.fitted) return 0;
  return component.always_fitted ? 2 : 1;
}

class Data {
 public:
  Data(const Outcome& outcome, const std::map<std::string, std::string>& rendered)
      : outcome_(outcome), rendered_(rendered) {}
  std::string run();
  std::string patch(const std::vector<TargetId>& touched);

 private:
  int text(const std::string& text) {
    const auto [it, fresh] = number_.try_emplace(text, static_cast<int>(strings_.size()));
    if (fresh) strings_.push_back(text);
    return it->second;
  }
  static void ring(const Ring& corners, Json& out) {
    Json list = Json::array();
    long x = 0, y = 0;
    for (const Point point : thinned(corners, kDrawn)) {
      list.push_back(um(point.x) - x);
      list.push_back(um(point.y) - y);
      x = um(point.x);
      y = um(point.y);
    }
    out.push_back(std::move(list));
  }
  static Json area(const Polygons& polygons) {
    Json out = Json::array();
    for (const Polygon& polygon : polygons) {
      ring(polygon.outer, out);
      for (const Ring& hole : polygon.holes) ring(hole, out);
    }
    return out;
  }
  Json nets();
  Json parts();
  void targets(Json& j);
  Json reasons(TargetId target, bool main_side);
  Json verdict(TargetId target, bool probed);
  Json keep_outs();
  Json probes();
  Json holes();
  [[nodiscard]] Table<CopperNetId, NetId> nets_of_copper(const CopperNets& copper) const;
  [[nodiscard]] std::string outer_side(int layer) const;
  Json copper();
  Json plates();
  Json strain();
  Json old();
  Json lists();

  const Outcome& outcome_;
  const std::map<std::string, std::string>& rendered_;
  std::map<std::string, int> number_;
  Json strings_ = Json::array();
};

Json Data::nets() {
  Table<NetId, Json> out(outcome_.board.nets.size());
  for (const NetId i : out.ids())
    out[i] = Json::array({outcome_.board.nets[i].name.text(), text(""), 0, 0, 0,
                          text(outcome_.board.nets[i].unconnected ? "not connected" : "no need"), text("")});
  for (const CoverageRow& row : outcome_.results.coverage.rows) {
    const Need& need = outcome_.needs[row.need];
    if (!outcome_.board.nets[need.net].unconnected)
      out[need.net] = Json::array({outcome_.board.nets[need.net].name.text(), text(to_string(need.role)),
                                   need.mandatory ? 1 : 0, row.wanted, row.got, text(row.status), text(row.reason)});
  }
  return Json(out.rows());
}

Json Data::parts() {
  Json out = Json::array();
  for (const Component& component : outcome_.board.components)
    out.push_back({component.name.text(), number_of(component.side), um(component.height),
                   text(to_string(component.height_known)), fitted_number(component), text(component.value),
                   area(component.body)});
  return out;
}

/// Of the best aim for each class that is not open.
Json Data::reasons(TargetId target_id, bool main_side) {
  Json out = Json::array();
  for (const ClassId k : outcome_.catalogue.classes.ids()) {
    const Verdict& verdict = outcome_.access.best_verdict(target_id, k, main_side);
    if (verdict.open) continue;
    for (const Shortfall& shortfall : verdict.shortfalls) {
      if (!shortfall.blocking) continue;
      const bool chance = std::string_view(shortfall.unit()) == "1", plain = !shortfall.has_numbers();
      auto number = [&](double measure) {
        if (plain) return Json(0);
        return chance ? Json(measure) : Json(um(measure));
      };
      out.push_back(k.index());
      out.push_back(text(to_string(shortfall.reason)));
      out.push_back(number(shortfall.measured));
      out.push_back(number(shortfall.required));
      out.push_back(text(plain ? "" : shortfall.unit()));
      out.push_back(text(obstacle_text(shortfall, outcome_.board, outcome_.job)));
      break;  // the first one; blocked.csv has them all
    }
  }
  return out;
}

/// State, odds and reasons.
Json Data::verdict(TargetId target_id, bool probed) {
  const bool main = outcome_.access.targets[target_id].side == chosen(outcome_).option.main;
  Chance miss{1};
  for (const ClassId k : outcome_.catalogue.classes.ids())
    if (const Verdict& verdict = outcome_.access.best_verdict(target_id, k, main); verdict.open)
      miss = std::min(miss, verdict.miss);
  int state = miss < Chance{1} || outcome_.access.open(target_id, main) ? 1 : 0;
  if (probed) state = 2;
  return Json::array({state, std::stod(scientific(miss.v)), reasons(target_id, main)});
}

void Data::targets(Json& j) {
  const OptionResult& plan = chosen(outcome_);
  Table<TargetId, char> probed(outcome_.access.targets.size());
  for (const PlacedProbe& probe : plan.probes) probed[probe.target] = 1;
  Json shapes = Json::array(), list = Json::array();
  long x = 0, y = 0;
  for (const LandingShape& shape : outcome_.access.shapes) shapes.push_back(area(shape.area));
  for (const TargetId target_id : outcome_.access.targets.ids()) {
    const Target& target = outcome_.access.targets[target_id];
    const Feature& feature = outcome_.board.features[target.feature];
    const Spot& spot = outcome_.access.spots[target.first_spot];
    // Most names are those of a part and its pin. The shape's origin is the first aim point.
    const std::string name = feature.name.text();
    const bool of_pin =
        feature.component && name == outcome_.board.components[feature.component].name.text() + "-" + feature.pin;
    const long here_x = um(spot.at.x - spot.in_shape.x), here_y = um(spot.at.y - spot.in_shape.y);
    list.push_back({of_pin ? "" : name, feature.net.number(), number_of(target.side), here_x - x, here_y - y,
                    text(to_string(feature.kind)), feature.component.number(), text(feature.pin), spot.shape.number()});
    x = here_x;
    y = here_y;
    for (Json& value : verdict(target_id, probed[target_id] != 0)) list.back().push_back(std::move(value));
  }
  j["shapes"] = std::move(shapes);
  j["targets"] = std::move(list);
}

Json Data::probes() {
  Json out = Json::array();
  const auto facts = probe_facts(outcome_);
  for (const ProbeId i : chosen(outcome_).probes.ids()) {
    const PlacedProbe& probe = chosen(outcome_).probes[i];
    const Spot& spot = outcome_.access.spots[probe.spot];
    const ProbeFacts& fact = facts[i];
    out.push_back({probe.name, probe.target.number(), um(spot.at.x), um(spot.at.y), probe.probe_class.number(),
                   text(fact.touch.tip), fact.touch.force.v, text(odds_text(fact.miss)), um(fact.touch.head),
                   net_name(outcome_, probe.need).text(), std::stod(scientific(fact.miss.v))});
  }
  return out;
}

Json Data::holes() {
  Json out = Json::array();
  for (const HoleId hole_id : outcome_.board.holes.ids()) {
    const BoardHole& hole = outcome_.board.holes[hole_id];
    const bool tooling = std::find(outcome_.board.tooling.begin(), outcome_.board.tooling.end(), hole_id) !=
                         outcome_.board.tooling.end();
    out.push_back({um(hole.at.x), um(hole.at.y), um(hole.diameter), hole.plating != formats::Plating::unplated ? 1 : 0,
                   tooling ? 1 : 0});
  }
  return out;
}

/// The board's net of each traced one, by the netlist or by a pad that lies on it.
Table<CopperNetId, NetId> Data::nets_of_copper(const CopperNets& copper) const {
  Table<CopperNetId, NetId> out(copper.nets().size());
  const auto& met = outcome_.board.connectivity.netlist_nets;
  for (const CopperNetId id : met.ids())
    if (!met[id].empty()) out[id] = met[id].front();
  for (std::size_t i = 0; i < copper.layers().size(); ++i) {
    const std::string outer = outer_side(copper.layers()[i].number);
    if (outer.empty()) continue;
    for (const Feature& feature : outcome_.board.features)
      if (feature.net && feature.land[outer == "top" ? Side::top : Side::bottom].present)
        if (const CopperNetId traced = copper.net_at(i, feature.at); traced && !out[traced]) out[traced] = feature.net;
  }
  return out;
}

/// "top", "bottom", or nothing for a layer inside.
std::string Data::outer_side(int layer) const {
  int last = outcome_.board.copper_layers;
  for (const CopperLayer& other : outcome_.board.connectivity.copper->layers()) last = std::max(last, other.number);
  if (layer == 1) return "top";
  return layer == last ? "bottom" : "";
}

Json Data::copper() {
  // Inner layers are left out of boards on which they would be most of the page.
  constexpr std::size_t kMostInside = 60'000;  // corners and strokes
  Json out = Json::array();
  if (!outcome_.board.connectivity.copper) return out;
  const CopperNets& copper = *outcome_.board.connectivity.copper;
  const Table<CopperNetId, NetId> net_of = nets_of_copper(copper);
  const auto number_of_net = [&](const CopperShape& shape) { return shape.net ? net_of[shape.net].number() : -1; };
  std::vector<std::pair<std::size_t, std::vector<CopperShape>>> layers;
  std::size_t inside = 0;
  for (std::size_t i = 0; i < copper.layers().size(); ++i) {
    std::vector<CopperShape> shapes = copper.shapes(i);
    std::stable_sort(shapes.begin(), shapes.end(),
                     [&](const CopperShape& a, const CopperShape& b) { return number_of_net(a) < number_of_net(b); });
    if (outer_side(copper.layers()[i].number).empty())
      for (const CopperShape& shape : shapes) {
        inside += 2;
        if (!shape.area) continue;
        inside += shape.area->outer.size();
        for (const Ring& hole : shape.area->holes) inside += hole.size();
      }
    layers.emplace_back(i, std::move(shapes));
  }
  for (const auto& [i, shapes] : layers) {
    const int number = copper.layers()[i].number;
    const std::string outer = outer_side(number);
    if (outer.empty() && inside > kMostInside) continue;
    Json lines = Json::array(), areas = Json::array(), line_nets = Json::array(), area_nets = Json::array();
    // Runs of one net: its number, and how many follow.
    const auto count = [](Json& runs, int net) {
      if (!runs.empty() && runs[runs.size() - 2] == net)
        runs.back() = runs.back().get<int>() + 1;
      else
        runs.insert(runs.end(), {net, 1});
    };
    long x = 0, y = 0;
    for (const CopperShape& shape : shapes) {
      count(shape.area ? area_nets : line_nets, number_of_net(shape));
      if (shape.area) {
        areas.push_back(area({*shape.area}));
        continue;
      }
      for (const long v : {um(shape.a.x) - x, um(shape.a.y) - y, um(shape.b.x - shape.a.x), um(shape.b.y - shape.a.y),
                           um(shape.radius)})
        lines.push_back(v);
      x = um(shape.a.x);
      y = um(shape.a.y);
    }
    out.push_back({{"number", number},
                   {"outer", outer},
                   {"lines", std::move(lines)},
                   {"line_nets", std::move(line_nets)},
                   {"areas", std::move(areas)},
                   {"area_nets", std::move(area_nets)}});
  }
  return out;
}

Json Data::plates() {
  Json out = Json::array();
  for (const Plate& plate : outcome_.results.plates) {
    const Map<PlateFrame, BoardFrame> back = inverse(plate.from_board);
    Json list = Json::array(), pockets = Json::array();
    for (const PlateHole& hole : plate.holes) {
      list.push_back(um(hole.board.x));
      list.push_back(um(hole.board.y));
      list.push_back(um(hole.diameter));
      list.push_back(text(to_string(hole.kind)));
      list.push_back(text(hole.label));
    }
    for (const Pocket& pocket : plate.pockets) pockets.push_back(area(back(pocket.area)));
    Json outline = Json::array();
    ring(back(plate.outline), outline);
    out.push_back({{"name", plate.name},
                   {"kind", to_string(plate.kind)},
                   {"side", number_of(plate.probes)},
                   {"lower", plate.lower ? 1 : 0},
                   {"thick", um(plate.thickness)},
                   {"away", {um(plate.at_rest), um(plate.at_touch), um(plate.at_work)}},
                   {"outline", std::move(outline)},
                   {"holes", std::move(list)},
                   {"pockets", std::move(pockets)}});
  }
  return out;
}

/// Numbers of nodes in an order in which neighbours stand near to one another: along a curve of G. M. Morton (1966).
std::vector<std::size_t> along_curve(const std::vector<Point>& nodes) {
  Box box;
  for (const Point node : nodes) box.add(node);
  const auto spread = [](double share) {
    const auto cell = static_cast<std::uint64_t>(std::clamp(share, 0.0, 1.0) * 65535);
    std::uint64_t out = 0;
    for (unsigned bit = 0; bit < 16; ++bit) out |= (cell >> bit & 1U) << (2 * bit);
    return out;
  };
  std::vector<std::pair<std::uint64_t, std::size_t>> order;
  for (std::size_t i = 0; i < nodes.size(); ++i)
    order.emplace_back(spread((nodes[i].x - box.x0) / std::max(box.width(), 1e-9)) |
                           spread((nodes[i].y - box.y0) / std::max(box.height(), 1e-9)) << 1U,
                       i);
  std::sort(order.begin(), order.end());
  std::vector<std::size_t> out;
  for (const auto& [code, i] : order) out.push_back(i);
  return out;
}

Json Data::strain() {
  const Mechanics& mechanics = outcome_.results.mechanics;
  const PressedState* state = mechanics.at_full_stroke();
  if (!state) return Json();
  // Neighbours differ little, so that steps from one to the next pack well.
  Json nodes = Json::array(), triangles = Json::array(), up = Json::array(), micro = Json::array();
  std::array<long, 4> last{};
  const auto step = [&](std::size_t which, long value, Json& list) {
    list.push_back(value - last[which]);
    last[which] = value;
  };
  const std::vector<std::size_t> order = along_curve(mechanics.mesh.nodes);
  std::vector<int> number(order.size());
  for (std::size_t k = 0; k < order.size(); ++k) {
    const std::size_t i = order[k];
    number[i] = static_cast<int>(k);
    step(0, um(mechanics.mesh.nodes[i].x), nodes);
    step(1, um(mechanics.mesh.nodes[i].y), nodes);
    step(2, um(state->deflection[i]), up);
    step(3, std::lround(state->surface_strain[i].v), micro);
  }
  std::vector<std::array<int, 3>> list;
  for (const auto& corners : mechanics.mesh.triangles) {
    std::array<int, 3> triangle{};
    for (std::size_t k = 0; k < 3; ++k) triangle[k] = number[static_cast<std::size_t>(corners[k])];
    std::rotate(triangle.begin(), std::min_element(triangle.begin(), triangle.end()), triangle.end());
    list.push_back(triangle);
  }
  std::sort(list.begin(), list.end());
  int first = 0;
  for (const auto& [one, two, three] : list) {
    triangles.insert(triangles.end(), {one - first, two - one, three - one});
    first = one;
  }
  return {{"nodes", std::move(nodes)},
          {"triangles", std::move(triangles)},
          {"deflection", std::move(up)},
          {"microstrain", std::move(micro)},
          {"limit", std::lround(mechanics.limit.v)},
          {"free_shape", to_string(state->worst)}};
}

Json Data::old() {
  const Respin& respin = outcome_.results.respin;
  if (!respin.used) return Json();
  const Affine back = inverse(respin.laying.map);
  Json parts = Json::array(), pads = Json::array();
  for (const auto& part : respin.old.parts)
    if (!part.body.empty()) parts.push_back({part.name, number_of(part.side), area(transformed(part.body, back))});
  for (const auto& part : respin.old.pads)
    for (const Side side : kBothSides)
      if (const Box& box = part.bare[side]; box.valid()) {
        const Box moved = bounds(transformed(rectangle(box.centre(), box.width(), box.height()), back));
        pads.push_back({number_of(side), um(moved.x0), um(moved.y0), um(moved.x1), um(moved.y1)});
      }
  return {{"name", respin.from_name},
          {"outline", area(transformed({respin.old.outline}, back))},
          {"parts", std::move(parts)},
          {"pads", std::move(pads)}};
}

Json Data::lists() {
  Json out = Json::object();
  for (const char* name : {"probes.csv", "coverage.csv", "interfaces.csv", "advice.csv", "test-points.csv",
                           "nearly-open.csv", "wiring.csv", "supports.csv", "strain.csv", "materials.csv",
                           "supplies.csv", "respin.csv", "board-changes.csv", "rework.csv", "revisions.csv"})
    if (const auto it = rendered_.find(name); it != rendered_.end()) out[name] = it->second;
  Csv::Text measure = "part,assumed,probes\n";
  for (const auto& assumed : outcome_.results.coverage.measure_first) {
    std::string probes;
    for (const auto& probe : assumed.probes) probes += (probes.empty() ? "" : " ") + probe;
    measure += csv_row({outcome_.board.components[assumed.component].name, assumed.what, probes});
  }
  out["measure-first.csv"] = measure.text();
  return out;
}

Json Data::keep_outs() {
  Json out = Json::array();
  for (const KeepOut& keep_out : outcome_.board.keep_outs)
    out.push_back(
        {keep_out.name.empty() ? keep_out.kind : keep_out.name, to_string(keep_out.sides), area(keep_out.area)});
  return out;
}

std::string Data::patch(const std::vector<TargetId>& touched) {
  Json j, targets = Json::array(), nets = Json::array();
  Table<TargetId, char> probed(outcome_.access.targets.size());
  for (const PlacedProbe& probe : chosen(outcome_).probes) probed[probe.target] = 1;
  for (const TargetId target_id : touched) {
    targets.push_back(Json::array({target_id.number()}));
    for (Json& value : verdict(target_id, probed[target_id] != 0)) targets.back().push_back(std::move(value));
  }
  for (const NeedId i : outcome_.needs.ids())
    nets.push_back({outcome_.needs[i].net.number(), outcome_.needs[i].wanted, chosen(outcome_).got[i]});
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
  j["plan_id"] = outcome_.plan_id;
  j["board"] = {{"name", outcome_.board.name},
                {"revision", outcome_.board.revision},
                {"thick", um(outcome_.board.thickness)},
                {"side_down", number_of(chosen(outcome_).option.main)}};
  const Box box = bounds(outcome_.board.outline.outer);
  j["box"] = box.valid() ? Json{um(box.x0), um(box.y0), um(box.x1), um(box.y1)} : Json{0, 0, 1000, 1000};
  j["outline"] = area({outcome_.board.outline});
  Json classes = Json::array(), supports = Json::array(), wires = Json::array(), advice = Json::array();
  for (const ProbeClass& probe_class : outcome_.catalogue.classes)
    classes.push_back({probe_class.name, um(probe_class.spacing.v)});
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
  const PressedState* full = outcome_.results.mechanics.at_full_stroke();
  for (std::size_t i = 0; i < outcome_.results.mechanics.supports.size(); ++i) {
    const PlacedSupport& support = outcome_.results.mechanics.supports[i];
    supports.push_back({support.label, number_of(support.side), support.finger ? 1 : 0, um(support.at.x),
                        um(support.at.y), full ? std::round(full->support_force[i].v * 100) / 100 : 0});
  }
  const Map<KitFrame, BoardFrame> to_board = inverse(board_to_kit(outcome_));
  for (const Wire& wire : outcome_.results.wiring)
    if (wire.from_known && wire.to_known)
      wires.push_back({wire.number, wire.probe, text(wire.pin), um(to_board(wire.from).x), um(to_board(wire.from).y),
                       um(to_board(wire.to).x), um(to_board(wire.to).y)});
  for (const Advice& change : outcome_.results.advice)
    advice.push_back({outcome_.needs[change.need].net.number(), text(change.action), number_of(change.side),
                      um(change.at.x), um(change.at.y), um(change.free_diameter)});
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

std::string page_patch(const Outcome& outcome, const std::vector<TargetId>& targets) {
  return Data(outcome, kNothing).patch(targets);
}
std::string page_data(const Outcome& outcome, const std::map<std::string, std::string>& rendered) {
  return Data(outcome, rendered).run();
}

}  // namespace teasel
