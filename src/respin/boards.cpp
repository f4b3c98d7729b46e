// What changed on the board, once how it is laid is known.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::BuiltPad;
using formats::BuiltPart;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr double kMoved = 0.003;    // mm; lists are printed to 1 um, a turned frame adds as much
constexpr double kResized = 0.02;   // mm; of the box about bare metal
constexpr double kReshaped = 0.05;  // mm2 on one board and not on the other
constexpr double kSliver = 0.01;    // mm; along an edge that both have: rounding
constexpr double kHeight = 0.005;   // mm

std::string mm(double v) {
  return short_number(v, 3) + " mm";
}
std::string place(Point p) {
  return short_number(p.x, 3) + ", " + short_number(p.y, 3);
}
std::string by(Point shift) {
  return "by " + short_number(shift.x, 3) + ", " + short_number(shift.y, 3) + " mm";
}
std::string size(const Box& b) {
  return b.valid() ? short_number(b.width(), 3) + " x " + short_number(b.height(), 3) + " mm bare" : "covered";
}
const char* kind(const BuiltPad& p) {
  return p.kind == to_string(FeatureKind::via) ? "via" : "pad";
}
double differing(const Polygons& a, const Polygons& b) {
  return area(offset(subtract(a, b), -kSliver)) + area(offset(subtract(b, a), -kSliver));
}

class Comparison {
 public:
  Comparison(const BuiltBoard& old, const BuiltBoard& now, const Affine& map, const std::vector<int>& pads,
             const std::vector<NetMatch>& nets)
      : old_(old), now_(now), map_(map), back_(inverse(map)), pads_(pads), nets_(nets) {}
  std::vector<BoardChange> run() {
    whole();
    parts();
    nets();
    pads();
    // Vias last: a router moves many of them for little.
    std::stable_partition(out_.begin(), out_.end(), [](const BoardChange& c) { return c.of != "via"; });
    return std::move(out_);
  }

 private:
  void add(const char* of, std::string name, std::string what, std::string before, std::string after,
           std::optional<Point> where = std::nullopt) {
    out_.push_back({of, std::move(name), std::move(what), std::move(before), std::move(after), where});
  }
  void whole();
  void parts();
  void part(const BuiltPart& a, const BuiltPart& b, std::optional<Point> shift);
  void pads();
  void pad(const BuiltPad& a, const BuiltPad& b);
  void nets();
  /// How far a part's pads went, if all went alike; nothing: they did not, or it has none.
  [[nodiscard]] std::map<std::string, std::vector<Point>> shifts_by_part() const;

  const BuiltBoard &old_, &now_;
  const Affine map_, back_;
  const std::vector<int>& pads_;
  const std::vector<NetMatch>& nets_;
  std::map<std::string, Point> shift_;  ///< of parts that moved whole
  std::set<std::string> gone_, added_;  ///< parts
  std::vector<BoardChange> out_;
};

void Comparison::whole() {
  if (old_.name != now_.name) add("board", "", "name", old_.name, now_.name);
  if (old_.revision != now_.revision) add("board", "", "revision", old_.revision, now_.revision);
  if (std::abs(old_.thickness - now_.thickness) > kHeight)
    add("board", "", "thickness", mm(old_.thickness), mm(now_.thickness));
  const Polygons before = transformed({old_.outline}, back_), after = {now_.outline};
  if (before[0].outer.size() >= 3 && after[0].outer.size() >= 3)
    for (const auto& [less, more, what] : {std::tuple{&after, &before, "cut away"}, {&before, &after, "added"}}) {
      for (const Polygon& p : offset(subtract(*more, *less), -kSliver)) {
        const Box b = bounds(p.outer);
        add("outline", "", what, "",
            short_number(b.width() + 2 * kSliver, 2) + " x " + short_number(b.height() + 2 * kSliver, 2) + " mm, " +
                short_number(area(p), 2) + " mm2",
            b.centre());
      }
    }
  for (std::size_t k = 0; k < std::max(old_.tooling.size(), now_.tooling.size()); ++k) {
    const char* name = k == 0 ? "round pin" : "relieved pin";
    if (k >= now_.tooling.size())
      add("tooling", name, "gone", place(old_.tooling[k].at), "", back_(old_.tooling[k].at));
    else if (k >= old_.tooling.size())
      add("tooling", name, "new", "", place(now_.tooling[k].at), now_.tooling[k].at);
    else {
      if (distance(map_(now_.tooling[k].at), old_.tooling[k].at) > kMoved)
        add("tooling", name, "moved", place(back_(old_.tooling[k].at)), place(now_.tooling[k].at), now_.tooling[k].at);
      if (std::abs(now_.tooling[k].diameter - old_.tooling[k].diameter) > kMoved)
        add("tooling", name, "diameter", mm(old_.tooling[k].diameter), mm(now_.tooling[k].diameter),
            now_.tooling[k].at);
    }
  }
}

std::map<std::string, std::vector<Point>> Comparison::shifts_by_part() const {
  std::map<std::string, std::vector<Point>> out;
  for (std::size_t i = 0; i < pads_.size(); ++i) {
    const BuiltPad& a = old_.pads[i];
    if (pads_[i] < 0 || a.component < 0 || now_.pads[at(pads_[i])].component < 0) continue;
    out[old_.parts[at(a.component)].name].push_back(now_.pads[at(pads_[i])].at - back_(a.at));
  }
  return out;
}

void Comparison::parts() {
  std::map<std::string, const BuiltPart*> before, after;
  for (const BuiltPart& p : old_.parts) before.emplace(p.name, &p);
  for (const BuiltPart& p : now_.parts) after.emplace(p.name, &p);
  const auto shifts = shifts_by_part();
  for (const auto& [name, a] : before) {
    const auto it = after.find(name);
    const auto centre = [](const BuiltPart& p) {
      const Box b = bounds(p.body);
      return b.valid() ? std::optional(b.centre()) : std::nullopt;
    };
    if (it == after.end()) {
      gone_.insert(name);
      add("part", name, "gone", a->value, "", centre(*a) ? std::optional(back_(*centre(*a))) : std::nullopt);
      continue;
    }
    const BuiltPart& b = *it->second;
    std::optional<Point> shift;
    if (const auto s = shifts.find(name); s != shifts.end()) {
      const Point first = s->second[0];
      if (std::all_of(s->second.begin(), s->second.end(), [&](Point p) { return distance(p, first) <= kMoved; })) {
        shift = length(first) <= kMoved ? Point{} : first;
        if (length(first) > kMoved) {
          shift_[name] = first;
          add("part", name, "moved", by(first), "", centre(b));
        }
      } else {
        shift_[name] = {NAN, NAN};
        add("part", name, "turned, or its pads spread otherwise", std::to_string(s->second.size()) + " pads", "",
            centre(b));
      }
    } else if (centre(*a) && centre(b)) {
      shift = *centre(b) - back_(*centre(*a));
      if (length(*shift) > kMoved) add("part", name, "moved", by(*shift), "", centre(b));
    }
    part(*a, b, shift);
  }
  for (const auto& [name, b] : after)
    if (!before.count(name)) {
      added_.insert(name);
      const Box box = bounds(b->body);
      add("part", name, "new", "", b->value, box.valid() ? std::optional(box.centre()) : std::nullopt);
    }
}

void Comparison::part(const BuiltPart& a, const BuiltPart& b, std::optional<Point> shift) {
  const Box box = bounds(b.body);
  const auto where = box.valid() ? std::optional(box.centre()) : std::nullopt;
  auto known = [](const BuiltPart& p) { return mm(p.height) + (p.height_confirmed ? "" : " (assumed)"); };
  if (a.side != b.side) add("part", b.name, "side", to_string(a.side), to_string(b.side), where);
  if (std::abs(a.height - b.height) > kHeight || a.height_confirmed != b.height_confirmed)
    add("part", b.name, "height", known(a), known(b), where);
  if (a.value != b.value) add("part", b.name, "value", a.value, b.value, where);
  if (a.fitted != b.fitted)
    add("part", b.name, "fitting", a.fitted ? "fitted" : "not fitted", b.fitted ? "fitted" : "not fitted", where);
  if (a.body.empty() != b.body.empty()) {
    if (a.fitted == b.fitted)
      add("part", b.name, "body", a.body.empty() ? "none" : "drawn", b.body.empty() ? "none" : "drawn", where);
  } else if (shift && !a.body.empty()) {
    Affine t = back_;
    t.e += shift->x;
    t.f += shift->y;
    if (const double mm2 = differing(transformed(a.body, t), b.body); mm2 > kReshaped)
      add("part", b.name, "body", short_number(area(a.body), 2) + " mm2",
          short_number(area(b.body), 2) + " mm2, " + short_number(mm2, 2) + " differ", where);
  }
}

void Comparison::pads() {
  std::vector<char> met(now_.pads.size());
  for (std::size_t i = 0; i < pads_.size(); ++i) {
    const BuiltPad& a = old_.pads[i];
    if (pads_[i] < 0) {
      if (a.component < 0 || !gone_.count(old_.parts[at(a.component)].name))
        add(kind(a), a.name, "gone", a.net < 0 ? "" : old_.nets[at(a.net)], "", back_(a.at));
      continue;
    }
    met[at(pads_[i])] = 1;
    pad(a, now_.pads[at(pads_[i])]);
  }
  for (std::size_t i = 0; i < met.size(); ++i) {
    const BuiltPad& b = now_.pads[i];
    if (!met[i] && (b.component < 0 || !added_.count(now_.parts[at(b.component)].name)))
      add(kind(b), b.name, "new", "", b.net < 0 ? "" : now_.nets[at(b.net)], b.at);
  }
}

void Comparison::pad(const BuiltPad& a, const BuiltPad& b) {
  const Point shift = b.at - back_(a.at);
  const auto part = a.component < 0 ? shift_.end() : shift_.find(old_.parts[at(a.component)].name);
  const bool with_part = part != shift_.end() &&
                         !(distance(shift, part->second) > kMoved);  // a part that is turned takes all its pads along
  if (length(shift) > kMoved && !with_part) add(kind(b), b.name, "moved", by(shift), "", b.at);
  if (std::abs(a.hole - b.hole) > kMoved) add(kind(b), b.name, "hole", mm(a.hole), mm(b.hole), b.at);
  const bool quarter = std::abs(map_.a) < 0.5 || (part != shift_.end() && std::isnan(part->second.x));
  for (const Side side : {Side::top, Side::bottom}) {
    const Box &x = a.bare[static_cast<std::size_t>(side)], &y = b.bare[static_cast<std::size_t>(side)];
    const bool same =
        x.valid() == y.valid() &&
        (!x.valid() || (std::abs(x.width() - y.width()) <= kResized && std::abs(x.height() - y.height()) <= kResized) ||
         (quarter && std::abs(x.width() - y.height()) <= kResized && std::abs(x.height() - y.width()) <= kResized));
    if (!same)
      add(kind(b), b.name, std::string("bare metal on the ") + to_string(side) + " side", size(x), size(y), b.at);
  }
  const int expected = a.net < 0 ? -1 : nets_[at(a.net)].taken ? nets_[at(a.net)].net : -2;
  if (expected != b.net && !(expected == -2 && b.net < 0))
    add(kind(b), b.name, "net", a.net < 0 ? "none" : old_.nets[at(a.net)], b.net < 0 ? "none" : now_.nets[at(b.net)],
        b.at);
}

void Comparison::nets() {
  std::vector<char> met(now_.nets.size());
  for (const NetMatch& m : nets_) {
    if (!m.taken || m.net < 0) continue;
    met[at(m.net)] = 1;
    if (m.renamed) add("net", now_.nets[at(m.net)], "renamed", old_.nets[at(m.old_net)], now_.nets[at(m.net)]);
  }
  for (const NetMatch& m : nets_)
    if (m.net < 0)
      add("net", old_.nets[at(m.old_net)], "gone", old_.nets[at(m.old_net)], "");
    else if (!m.taken)
      add("net", old_.nets[at(m.old_net)], "perhaps renamed", old_.nets[at(m.old_net)], now_.nets[at(m.net)]);
  for (std::size_t i = 0; i < met.size(); ++i)
    if (!met[i]) add("net", now_.nets[i], "new", "", now_.nets[i]);
}
}  // namespace

std::vector<BoardChange> compare_boards(const BuiltBoard& old, const BuiltBoard& now, const Affine& map,
                                        const std::vector<int>& pads, const std::vector<NetMatch>& nets) {
  return Comparison(old, now, map, pads, nets).run();
}

}  // namespace teasel
