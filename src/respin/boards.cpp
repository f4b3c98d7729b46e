// What changed on the board, once how it is laid is known.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::BuiltNetId;
using formats::BuiltPad;
using formats::BuiltPadId;
using formats::BuiltPart;

constexpr double kMoved = 0.003;    // mm; lists are printed to 1 um, a turned frame adds as much
constexpr double kResized = 0.02;   // mm; of the box about bare metal
constexpr double kReshaped = 0.05;  // mm2 on one board and not on the other
constexpr double kSliver = 0.01;    // mm; along an edge that both have: rounding
constexpr Mm kHeight{0.005};

std::string mm(Mm value) {
  return short_number(value.v, 3) + " mm";
}
std::string place(Point point) {
  return short_number(point.x, 3) + ", " + short_number(point.y, 3);
}
std::string by(Point shift) {
  return "by " + short_number(shift.x, 3) + ", " + short_number(shift.y, 3) + " mm";
}
std::string size(const Box& box) {
  return box.valid() ? short_number(box.width(), 3) + " x " + short_number(box.height(), 3) + " mm bare" : "covered";
}
const char* kind(const BuiltPad& pad) {
  return pad.kind == to_string(FeatureKind::via) ? "via" : "pad";
}
bool differ(Mm a, Mm b, Mm by) {
  return std::abs(a.v - b.v) > by.v;
}
double differing(const Polygons& a, const Polygons& b) {
  return area(offset(subtract(a, b), -kSliver)) + area(offset(subtract(b, a), -kSliver));
}

class Comparison {
 public:
  Comparison(const BuiltBoard& old, const BuiltBoard& now, const Affine& map, const std::vector<BuiltPadId>& pads,
             const std::vector<NetMatch>& nets)
      : old_(old), now_(now), map_(map), back_(inverse(map)), pads_(pads), nets_(nets) {}
  std::vector<BoardChange> run() {
    whole();
    parts();
    nets();
    pads();
    // Vias last: a router moves many of them for little.
    std::stable_partition(out_.begin(), out_.end(), [](const BoardChange& change) { return change.of != "via"; });
    return std::move(out_);
  }

 private:
  void add(const char* of, std::string name, std::string what, std::string before, std::string after,
           std::optional<BoardPoint> where = std::nullopt) {
    out_.push_back({.of = of,
                    .name = std::move(name),
                    .what = std::move(what),
                    .before = std::move(before),
                    .after = std::move(after),
                    .at = where});
  }
  void whole();
  void tooling();
  void parts();
  std::optional<Point> shift_of(const BuiltPart& before, const BuiltPart& after, const std::vector<Point>& shifts);
  void part(const BuiltPart& a, const BuiltPart& b, std::optional<Point> shift);
  void pads();
  void pad(const BuiltPad& a, const BuiltPad& b);
  void nets();
  /// How far a part's pads went, if all went alike; nothing: they did not, or it has none.
  [[nodiscard]] std::map<std::string, std::vector<Point>> shifts_by_part() const;

  const BuiltBoard &old_, &now_;
  const Affine map_, back_;
  const std::vector<BuiltPadId>& pads_;
  const std::vector<NetMatch>& nets_;
  std::map<std::string, Point> shift_;  ///< of parts that moved whole
  std::set<std::string> gone_, added_;  ///< parts
  std::vector<BoardChange> out_;
};

void Comparison::whole() {
  if (old_.name != now_.name) add("board", "", "name", old_.name, now_.name);
  if (old_.revision != now_.revision) add("board", "", "revision", old_.revision, now_.revision);
  if (differ(old_.thickness, now_.thickness, kHeight))
    add("board", "", "thickness", mm(old_.thickness), mm(now_.thickness));
  const Polygons before = transformed({old_.outline}, back_), after = {now_.outline};
  if (before[0].outer.size() >= 3 && after[0].outer.size() >= 3)
    for (const auto& [less, more, what] : {std::tuple{&after, &before, "cut away"}, {&before, &after, "added"}}) {
      for (const Polygon& piece : offset(subtract(*more, *less), -kSliver)) {
        const Box box = bounds(piece.outer);
        add("outline", "", what, "",
            short_number(box.width() + 2 * kSliver, 2) + " x " + short_number(box.height() + 2 * kSliver, 2) + " mm, " +
                short_number(area(piece), 2) + " mm2",
            box.centre());
      }
    }
  tooling();
}

void Comparison::tooling() {
  const auto &before = old_.tooling, &after = now_.tooling;
  for (std::size_t k = 0; k < std::max(before.size(), after.size()); ++k) {
    const char* name = k == 0 ? "round pin" : "relieved pin";
    if (k >= after.size()) {
      add("tooling", name, "gone", place(before[k].at), "", back_(before[k].at));
      continue;
    }
    if (k >= before.size()) {
      add("tooling", name, "new", "", place(after[k].at), after[k].at);
      continue;
    }
    if (distance(map_(after[k].at), before[k].at) > kMoved)
      add("tooling", name, "moved", place(back_(before[k].at)), place(after[k].at), after[k].at);
    if (differ(after[k].diameter, before[k].diameter, Mm{kMoved}))
      add("tooling", name, "diameter", mm(before[k].diameter), mm(after[k].diameter), after[k].at);
  }
}

std::map<std::string, std::vector<Point>> Comparison::shifts_by_part() const {
  std::map<std::string, std::vector<Point>> out;
  for (const BuiltPadId id : old_.pads.ids()) {
    const BuiltPad& pad = old_.pads[id];
    const BuiltPadId same = pads_[id.index()];
    if (!same || !pad.component || !now_.pads[same].component) continue;
    out[old_.parts[pad.component].name].push_back(now_.pads[same].at - back_(pad.at));
  }
  return out;
}

std::optional<BoardPoint> centre(const BuiltPart& part) {
  const Box box = bounds(part.body);
  return box.valid() ? std::optional<BoardPoint>(box.centre()) : std::nullopt;
}

/// How far a part went; nothing: its pads did not all go alike, or nothing of it says.
std::optional<Point> Comparison::shift_of(const BuiltPart& before, const BuiltPart& after,
                                          const std::vector<Point>& shifts) {
  if (shifts.empty()) {
    if (!centre(before) || !centre(after)) return std::nullopt;
    const Point shift = *centre(after) - back_(*centre(before));
    if (length(shift) > kMoved) add("part", after.name, "moved", by(shift), "", centre(after));
    return shift;
  }
  const Point first = shifts[0];
  if (!std::all_of(shifts.begin(), shifts.end(), [&](Point shift) { return distance(shift, first) <= kMoved; })) {
    shift_[after.name] = {NAN, NAN};
    add("part", after.name, "turned, or its pads are spread differently", std::to_string(shifts.size()) + " pads", "",
        centre(after));
    return std::nullopt;
  }
  if (length(first) <= kMoved) return Point{};
  shift_[after.name] = first;
  add("part", after.name, "moved", by(first), "", centre(after));
  return first;
}

void Comparison::parts() {
  std::map<std::string, const BuiltPart*> before, after;
  for (const BuiltPart& part : old_.parts) before.emplace(part.name, &part);
  for (const BuiltPart& part : now_.parts) after.emplace(part.name, &part);
  const auto shifts = shifts_by_part();
  for (const auto& [name, old] : before) {
    const auto it = after.find(name);
    if (it == after.end()) {
      gone_.insert(name);
      const auto was = centre(*old);
      add("part", name, "gone", old->value, "", was ? std::optional<BoardPoint>(back_(*was)) : std::nullopt);
      continue;
    }
    const auto known = shifts.find(name);
    const auto shift = shift_of(*old, *it->second, known == shifts.end() ? std::vector<Point>{} : known->second);
    part(*old, *it->second, shift);
  }
  for (const auto& [name, now] : after)
    if (!before.count(name)) {
      added_.insert(name);
      add("part", name, "new", "", now->value, centre(*now));
    }
}

void Comparison::part(const BuiltPart& before, const BuiltPart& after, std::optional<Point> shift) {
  const auto where = centre(after);
  auto known = [](const BuiltPart& built) { return mm(built.height) + (built.height_confirmed ? "" : " (assumed)"); };
  if (before.side != after.side) add("part", after.name, "side", to_string(before.side), to_string(after.side), where);
  if (differ(before.height, after.height, kHeight) || before.height_confirmed != after.height_confirmed)
    add("part", after.name, "height", known(before), known(after), where);
  if (before.value != after.value) add("part", after.name, "value", before.value, after.value, where);
  if (before.fitted != after.fitted)
    add("part", after.name, "fitting", before.fitted ? "fitted" : "not fitted", after.fitted ? "fitted" : "not fitted",
        where);
  if (before.body.empty() != after.body.empty()) {
    if (before.fitted == after.fitted)
      add("part", after.name, "body", before.body.empty() ? "none" : "drawn", after.body.empty() ? "none" : "drawn",
          where);
  } else if (shift && !before.body.empty()) {
    Affine map = back_;
    map.e += shift->x;
    map.f += shift->y;
    if (const double mm2 = differing(transformed(before.body, map), after.body); mm2 > kReshaped)
      add("part", after.name, "body", short_number(area(before.body), 2) + " mm2",
          short_number(area(after.body), 2) + " mm2, " + short_number(mm2, 2) + " differ", where);
  }
}

void Comparison::pads() {
  auto old_net = [&](const BuiltPad& pad) { return pad.net ? old_.nets[pad.net] : std::string(); };
  auto new_net = [&](const BuiltPad& pad) { return pad.net ? now_.nets[pad.net] : std::string(); };
  Table<BuiltPadId, char> met(now_.pads.size());
  for (const BuiltPadId id : old_.pads.ids()) {
    const BuiltPad& before = old_.pads[id];
    const BuiltPadId same = pads_[id.index()];
    if (!same) {
      if (!before.component || !gone_.count(old_.parts[before.component].name))
        add(kind(before), before.name, "gone", old_net(before), "", back_(before.at));
      continue;
    }
    met[same] = 1;
    pad(before, now_.pads[same]);
  }
  for (const BuiltPadId id : met.ids()) {
    const BuiltPad& b = now_.pads[id];
    if (!met[id] && (!b.component || !added_.count(now_.parts[b.component].name)))
      add(kind(b), b.name, "new", "", new_net(b), b.at);
  }
}

/// Bare metal of one size. `turned`: the pad may have been turned by a quarter.
bool same_size(const Box& a, const Box& b, bool turned) {
  if (a.valid() != b.valid()) return false;
  if (!a.valid()) return true;
  auto alike = [](double first, double second) { return std::abs(first - second) <= kResized; };
  return (alike(a.width(), b.width()) && alike(a.height(), b.height())) ||
         (turned && alike(a.width(), b.height()) && alike(a.height(), b.width()));
}

void Comparison::pad(const BuiltPad& before, const BuiltPad& after) {
  const Point shift = after.at - back_(before.at);
  const auto part = !before.component ? shift_.end() : shift_.find(old_.parts[before.component].name);
  const bool with_part = part != shift_.end() &&
                         !(distance(shift, part->second) > kMoved);  // a part that is turned takes all its pads along
  if (length(shift) > kMoved && !with_part) add(kind(after), after.name, "moved", by(shift), "", after.at);
  if (differ(before.hole, after.hole, Mm{kMoved}))
    add(kind(after), after.name, "hole", mm(before.hole), mm(after.hole), after.at);
  const bool quarter = std::abs(map_.a) < 0.5 || (part != shift_.end() && std::isnan(part->second.x));
  for (const Side side : kBothSides)
    if (!same_size(before.bare[side], after.bare[side], quarter))
      add(kind(after), after.name, std::string("bare metal on the ") + to_string(side) + " side",
          size(before.bare[side]), size(after.bare[side]), after.at);
  const BuiltNetId expected =
      before.net && nets_[before.net.index()].taken ? nets_[before.net.index()].net : BuiltNetId{};
  if (expected != after.net)
    add(kind(after), after.name, "net", before.net ? old_.nets[before.net] : "none",
        after.net ? now_.nets[after.net] : "none", after.at);
}

void Comparison::nets() {
  Table<BuiltNetId, char> met(now_.nets.size());
  for (const NetMatch& match : nets_) {
    if (!match.taken || !match.net) continue;
    met[match.net] = 1;
    if (match.renamed) add("net", now_.nets[match.net], "renamed", old_.nets[match.old_net], now_.nets[match.net]);
  }
  for (const NetMatch& match : nets_)
    if (!match.net)
      add("net", old_.nets[match.old_net], "gone", old_.nets[match.old_net], "");
    else if (!match.taken)
      add("net", old_.nets[match.old_net], "perhaps renamed", old_.nets[match.old_net], now_.nets[match.net]);
  for (const BuiltNetId net : met.ids())
    if (!met[net]) add("net", now_.nets[net], "new", "", now_.nets[net]);
}
}  // namespace

std::vector<BoardChange> compare_boards(const BuiltBoard& old, const BuiltBoard& now, const Affine& map,
                                        const std::vector<BuiltPadId>& pads, const std::vector<NetMatch>& nets) {
  return Comparison(old, now, map, pads, nets).run();
}

}  // namespace teasel
