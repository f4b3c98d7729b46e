#include "pin_room.h"

#include <algorithm>
#include <map>

#include "teasel/words.h"

namespace teasel {

namespace {
// What speaks against a hole, as a factor on the locating error: chosen, no source.
constexpr double kNearPart = 3, kLosesNets = 3;
constexpr double kMilled = 0.02;  // mm; by which a pocket as it is milled may exceed the one worked out here
constexpr double kReach = 1.1;    // mm; of a probe's hole and its wall, where no catalogue is known

/// The sides that the board may come to lie on.
std::vector<Side> sides_down(const Job& job) {
  const std::string &lies = job.fixture.board_lies, &sides = job.fixture.sides;
  if (lies == "bottom side down" || (lies == "auto" && sides == "bottom")) return {Side::bottom};
  if (lies == "top side down" || (lies == "auto" && sides == "top")) return {Side::top};
  return {Side::bottom, Side::top};
}

std::string side_text(Side down) {
  return std::string(" with the ") + to_string(down) + " side down";
}
}  // namespace

Polygons room_of_mate(const Component& part) {
  return part.body.empty() ? Polygons{{part.ring, {}}} : part.body;
}

PinRoom::PinRoom(const Board& board, const Job& job, const Rules& rules, const Shop& shop)
    : board_(board), rules_(rules), job_(job), shop_(shop), downs_(sides_down(job)), holdable_(board.holdable()) {
  add_mates();
  if (shop_.style)
    for (const Side down : downs_) add_pockets(down);
  metal_of_.assign(board.nets.size(), 0);
  for (const Exposure& exposure : board.exposures)
    if (const NetId net = board.features[exposure.feature].net) ++metal_of_[net];
}

void PinRoom::add_mates() {
  for (const Mate& mate : job_.decisions.mates)
    for (const Component& part : board_.components) {
      if (part.name != mate.component && part.name.plain() != mate.component) continue;
      Plugged plugged{part.name, room_of_mate(part), {}};
      for (const FeatureId pin : part.features)
        if (const NetId net = board_.features[pin].net) plugged.nets.push_back(board_.nets[net].name);
      std::sort(plugged.nets.begin(), plugged.nets.end());
      plugged.nets.erase(std::unique(plugged.nets.begin(), plugged.nets.end()), plugged.nets.end());
      mates_.push_back(std::move(plugged));
    }
}

/// The pockets of the lower probe plate, which holds the pins. Walls thinner than the style allows are milled away.
void PinRoom::add_pockets(Side down) {
  const Style& style = *shop_.style;
  const auto plate = std::find_if(style.plates.begin(), style.plates.end(), [](const StylePlate& candidate) {
    return candidate.kind == PlateKind::probe && candidate.lower;
  });
  if (plate == style.plates.end()) return;
  Milled milled;
  milled.down = down;
  Polygons all;
  auto add = [&](const std::string& name, const Polygons& body, Mm height) {
    if (body.empty() || pocket_depth(style, plate->at_work, height) <= Mm{}) return;
    Polygons grown = offset(body, pocket_growth(rules_, style).v);
    all.insert(all.end(), grown.begin(), grown.end());
    milled.bodies.emplace_back(name, std::move(grown));
  };
  for (const Component& part : board_.components)
    if (part.side == down) add(part.name, part.body, part.height);
  for (const KeepOut& keep_out : board_.keep_outs)
    if (keep_out.sides.has(down) && keep_out.to_height < Mm{1e8}) add(keep_out.name, keep_out.area, keep_out.to_height);
  const double thinnest = std::max(style.web, style.cutter / 2).v / 2;
  milled.area = offset(offset(unite(all), thinnest), -thinnest);
  if (!milled.area.empty()) milled_.push_back(std::move(milled));
}

/// A part that fills the hole; or one so near that its pocket in a plate would reach the pin's wall.
void PinRoom::in_parts(const BoardHole& hole, PinTrouble& out) const {
  const double wall = hole.diameter.v / 2 + rules_.web.v + rules_.pocket_clearance.v;
  for (const Component& part : board_.components) {
    if (part.body.empty() || !bounds(part.body).grown(wall).contains(hole.at)) continue;
    if (contains(part.body, hole.at))
      out.collisions.push_back("the body of " + part.name + " covers it");
    else if (distance_to_area(part.body, hole.at) < wall)
      out.nuisance = std::max(out.nuisance, kNearPart);
  }
  if (!contains(holdable_, hole.at))
    for (const FlexPart& part : board_.flex)
      if (!part.backed && contains(part.area, hole.at)) out.collisions.push_back(part.name + " bends there");
}

void PinRoom::in_pockets(const BoardHole& hole, PinTrouble& out) const {
  if (milled_.empty()) return;
  const double need = pin_of(hole).v / 2 + std::min(shop_.style->web, rules_.web).v + kMilled;
  for (const Milled& milled : milled_) {
    if (distance_to_area(milled.area, hole.at) >= need) continue;
    const auto nearest =
        std::min_element(milled.bodies.begin(), milled.bodies.end(), [&](const auto& a, const auto& b) {
          return distance_to_area(a.second, hole.at) < distance_to_area(b.second, hole.at);
        });
    out.collisions.push_back("the pocket for " + nearest->first + " reaches its pin" + side_text(milled.down));
  }
}

void PinRoom::in_kit(const BoardHole& hole, PinTrouble& out) const {
  if (!shop_.kit || !shop_.style) return;
  const Mm pin = pin_of(hole), let_through = pin + shop_.style->pin_clearance;
  for (const Side down : downs_) {
    const KitPoint at = board_in_kit(board_, shop_.kit, down)(hole.at);
    for (std::size_t i = 0; i < shop_.kit->holes.size(); ++i) {
      const KitHole& drilled = shop_.kit->holes[i];
      const bool only_there = drilled.plates == std::vector{PlateKind::probe};
      const double need = ((only_there ? pin : let_through) + drilled.diameter).v / 2 + shop_.style->web.v;
      if (distance(at, drilled.at) < need)
        out.collisions.push_back("hole K" + std::to_string(i + 1) + " of the blanks lies there" + side_text(down));
    }
  }
}

void PinRoom::in_mates(const BoardHole& hole, PinTrouble& out) const {
  for (const Plugged& mate : mates_)
    if (distance_to_area(mate.area, hole.at) < hole.diameter.v / 2 + rules_.mate_clearance.v)
      out.collisions.push_back("the connector that plugs into " + mate.name + " needs the room, which serves " +
                               Few(mate.nets, 3).text());
}

void PinRoom::lose_nets(const BoardHole& hole, PinTrouble& out) const {
  double probe = kReach;
  if (shop_.catalogue)
    for (const ProbeClass& one : shop_.catalogue->classes)
      probe = std::min(probe, one.receptacle_drill.v / 2 + rules_.web.v);
  const double reach = hole.diameter.v / 2 + probe;
  std::map<NetId, int> near;
  for (const Exposure& exposure : board_.exposures)
    if (const NetId net = board_.features[exposure.feature].net; net && distance(exposure.aim, hole.at) < reach)
      ++near[net];
  for (const auto& [net, count] : near)
    if (count == metal_of_[net] && !board_.nets[net].unconnected) out.lost.push_back(net);
  if (!out.lost.empty()) out.nuisance = std::max(out.nuisance, kLosesNets);
}

PinTrouble PinRoom::about(const BoardHole& hole) const {
  PinTrouble out;
  in_parts(hole, out);
  in_pockets(hole, out);
  in_kit(hole, out);
  in_mates(hole, out);
  lose_nets(hole, out);
  return out;
}

}  // namespace teasel
