// What the shop does to a fixture that stands, in the order of the work, and what that costs.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::FixtureFile;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr double kMill = 0.5;  // mm2; smaller remains of a pocket are rounding of its outline

bool is_support(const std::string& kind) {
  return kind == to_string(PlateHole::Kind::stop) || kind == to_string(PlateHole::Kind::finger);
}
/// A hole that only lets something through needs no plug.
bool lets_through(const std::string& kind) {
  return kind == to_string(PlateHole::Kind::plunger) || kind == to_string(PlateHole::Kind::pin_clearance);
}

/// Of a pocket's separate areas those that grow; each is milled whole, where it is milled already through air.
Pocket growing(const Pocket& whole, const Polygons& fresh, const Board& board, const Affine& from_board) {
  Pocket out = whole;
  out.area.clear();
  out.path.clear();
  out.components.clear();
  for (const Polygon& p : whole.area)
    if (area(intersect({p}, fresh)) > kMill / 10) out.area.push_back(p);
  for (const Ring& r : whole.path)
    if (!r.empty() && contains(out.area, r[0])) out.path.push_back(r);
  for (const int c : whole.components)
    if (!intersect(transformed(board.components[at(c)].body, from_board), fresh).empty()) out.components.push_back(c);
  return out;
}

class Shop {
 public:
  Shop(const BuildInputs& in, const FixtureFile& file, const Planned& planned, Respin& out, Diagnostics& d)
      : in_(in), f_(in.job.standing), file_(file), plan_(planned), out_(out), d_(d) {}
  void run() {
    for (const Plate& p : plan_.plates) plate(p);
    wires();
    tips();
    steps();
    cost();
    self_test();
  }

 private:
  void plate(const Plate& p);
  void check_webs(const Plate& p, const std::vector<int>& fresh, const StandingPlate& s);
  void wires();
  void tips();
  void steps();
  void cost();
  void self_test();
  void add(std::string stage, std::string plate, std::string what, std::string label = {}, std::string net = {},
           std::optional<Point> where = std::nullopt, double diameter = 0, std::string file = {}) {
    out_.steps.push_back({static_cast<int>(out_.steps.size()) + 1, std::move(stage), std::move(plate), std::move(what),
                          std::move(label), std::move(net), where, diameter, std::move(file)});
  }

  const BuildInputs& in_;
  const StandingFixture& f_;
  const FixtureFile& file_;
  const Planned& plan_;
  Respin& out_;
  Diagnostics& d_;
  std::vector<const StandingWire*> off_;
  std::vector<const Wire*> on_;
  struct Swap {
    std::string probe, before, after;
  };
  std::vector<Swap> swaps_;
};

void Shop::plate(const Plate& p) {
  PlateRework r;
  r.plate = p;
  const StandingPlate* s = f_.plate(p.stem);
  if (!s) {
    r.whole = true;
    out_.plates.push_back(std::move(r));
    return;
  }
  r.plate.holes.clear();
  r.plate.pockets.clear();
  r.plate.tools.clear();
  r.plate.marks.clear();
  r.pockets = s->pockets;
  std::vector<int> fresh;
  for (const HolePair& pair : pair_holes(p, *s)) {
    if (pair.planned < 0) {
      const StandingPlateHole& h = s->holes[at(pair.standing)];
      if (h.used && h.drilled)
        (lets_through(h.kind) ? r.left : r.plugged).push_back(h);
      else if (h.drilled)
        r.left.push_back(h);
      continue;
    }
    const PlateHole& h = p.holes[at(pair.planned)];
    if (!h.drilled) continue;
    if (pair.standing >= 0) {
      const StandingPlateHole& old = s->holes[at(pair.standing)];
      if (h.diameter <= old.diameter + kSameDrill) {
        r.stays.push_back(old);
        if (h.diameter < old.diameter - kSameDrill && !lets_through(to_string(h.kind)))
          d_.warn("respin-hole-too-wide", {{}, 0, 0, p.stem}, "a hole that stands is wider than what goes into it now",
                  h.label + ": " + short_number(old.diameter, 3) + " mm",
                  "line it with a bush to " + short_number(h.diameter, 3) + " mm");
        continue;
      }
    }
    fresh.push_back(pair.planned);
    r.plate.holes.push_back(h);
  }
  for (const Pocket& k : p.pockets) {
    Polygons left = k.area;
    for (const StandingPocket& old : s->pockets)
      if (old.through || old.depth >= k.depth - 1e-6) left = subtract(left, old.area);
    if (area(left) > kMill) r.plate.pockets.push_back(growing(k, left, in_.board, p.from_board));
  }
  order_drills(r.plate);
  check_webs(p, fresh, *s);
  out_.plates.push_back(std::move(r));
}

/// The plan keeps them apart; this is the check of it, hole by hole.
void Shop::check_webs(const Plate& p, const std::vector<int>& fresh, const StandingPlate& s) {
  constexpr double kRounding = 0.002;
  const std::string receptacle = to_string(PlateHole::Kind::receptacle), plunger = to_string(PlateHole::Kind::plunger);
  for (const int i : fresh) {
    const PlateHole& h = p.holes[at(i)];
    const std::string kind = to_string(h.kind);
    for (const StandingPlateHole& o : s.holes) {
      const double away = distance(h.plate, o.plate);
      if (away <= kSameHolePlace || away > h.diameter + o.diameter + in_.style.web.v ||
          (kind == plunger && o.kind == plunger))
        continue;
      const double least =
          (kind == receptacle && o.kind == receptacle   ? std::min(in_.rules.web.v, in_.rules.web_smallest_class.v)
           : kind == receptacle || o.kind == receptacle ? std::min(in_.style.web.v, in_.rules.web.v)
                                                        : in_.style.web.v) -
          kRounding;
      if (const double web = away - (h.diameter + o.diameter) / 2; web < least)
        d_.error("respin-web", {{}, 0, 0, p.stem},
                 o.used ? "a new hole leaves too little plate to one that stands"
                        : "a new hole leaves too little plate to one that is given up: a plug is not solid plate",
                 h.label + " and " + o.label + ": " + short_number(web, 3) + " mm", short_number(least, 3) + " mm",
                 "ban the target, name another place for the support, or make this plate new");
    }
  }
}

void Shop::wires() {
  std::map<std::string, const Wire*> now;
  for (const Wire& w : plan_.wires) now[w.probe] = &w;
  std::set<std::string> stays;
  for (const StandingWire& s : f_.wires) {
    const auto it = now.find(s.probe);
    if (it != now.end() && it->second->pin == s.pin && it->second->net == s.net)
      stays.insert(s.probe);
    else
      off_.push_back(&s);
  }
  for (const Wire& w : plan_.wires)
    if (!stays.count(w.probe)) on_.push_back(&w);
}

void Shop::tips() {
  std::map<std::string, std::string> before;
  for (const auto& p : file_.revisions.back().probes) before[p.name] = p.tip;
  for (const PlacedProbe& p : in_.option.probes) {
    if (p.standing_hole < 0 || f_.holes[at(p.standing_hole)].state != HoleState::in_use) continue;
    const std::string tip = tip_for(in_.board, in_.access.targets[at(p.target)], in_.access.spots[at(p.spot)]);
    if (const auto it = before.find(p.name); it != before.end() && it->second != tip)
      swaps_.push_back({p.name, it->second, tip});
    else if (p.long_travel && !f_.holes[at(p.standing_hole)].long_travel)
      swaps_.push_back({p.name, it == before.end() ? "" : it->second, tip + ", long travel"});
  }
}

void Shop::steps() {
  const std::string dir = "rework/";
  std::map<std::string, std::string> net_of;
  for (const auto& p : file_.revisions.back().probes) net_of[p.name] = p.net;
  const bool anything =
      !off_.empty() || !on_.empty() || !swaps_.empty() ||
      std::any_of(out_.plates.begin(), out_.plates.end(), [](const PlateRework& r) { return r.touched(); });
  if (!anything) return;
  add("before the work", "",
      "disconnect fixture and supplies, discharge what can hold charge, ground yourself; tips are sharp; keep hands "
      "out from between the plates; follow local codes");
  for (const StandingWire* w : off_)
    add("take off wires", "", "take the wire off receptacle and interface pin " + w->pin, w->probe, net_of[w->probe]);
  for (const PlateRework& r : out_.plates)
    for (const StandingPlateHole& h : r.plugged) {
      if (is_support(h.kind))
        add("take out", r.plate.stem, "take off the " + h.kind, h.label, "", h.plate, h.diameter);
      else if (h.kind == to_string(PlateHole::Kind::receptacle))
        add("take out", r.plate.stem, "pull probe and receptacle", h.label, net_of[h.label], h.plate, h.diameter);
      else
        add("take out", r.plate.stem, "pull the " + h.kind, h.label, "", h.plate, h.diameter);
    }
  for (const PlateRework& r : out_.plates)
    for (const StandingPlateHole& h : r.plugged)
      add("plug", r.plate.stem, "plug the hole, flush on both faces: not solid plate, nothing is drilled beside it",
          h.label, "", h.plate, h.diameter);
  for (const PlateRework& r : out_.plates) {
    if (r.whole) {
      add("make", r.plate.stem, "make this plate new: the fixture has none", "", "", std::nullopt, 0,
          "plates/" + r.plate.stem + ".drl");
      continue;
    }
    const StandingPlate& s = *f_.plate(r.plate.stem);
    for (const auto& tool : r.plate.tools)
      for (const int i : tool) {
        const PlateHole& h = r.plate.holes[at(i)];
        const bool wider = std::any_of(s.holes.begin(), s.holes.end(), [&](const StandingPlateHole& o) {
          return distance(o.plate, h.plate) <= kSameHolePlace;
        });
        add("drill", r.plate.stem,
            std::string(wider ? "open up the hole for the " : "drill for the ") + to_string(h.kind), h.label, h.net,
            h.plate, h.diameter, dir + r.plate.stem + "-new-holes.drl");
      }
  }
  for (const PlateRework& r : out_.plates)
    if (!r.whole)
      for (const Pocket& k : r.plate.pockets) {
        std::string parts;
        for (const int c : k.components) parts += (parts.empty() ? "" : " ") + in_.board.components[at(c)].name;
        add("mill", r.plate.stem,
            "enlarge the pocket " + short_number(k.depth, 2) + " mm deep" + (k.through ? " (through)" : ""), parts, "",
            std::nullopt, 0, dir + r.plate.stem + "-new-holes-pocket-*.drl");
      }
  std::map<std::string, const PlacedProbe*> probe;
  for (const PlacedProbe& p : in_.option.probes) probe[p.name] = &p;
  for (const PlateRework& r : out_.plates)
    for (const PlateHole& h : r.plate.holes) {
      if (h.kind == PlateHole::Kind::receptacle)
        add("fit", r.plate.stem,
            "press in the receptacle (" + in_.catalogue.classes[at(probe.at(h.label)->probe_class)].name +
                "), set height as in set-heights.csv",
            h.label, h.net, h.plate, h.diameter);
      else if (h.kind == PlateHole::Kind::tooling_pin || is_support(to_string(h.kind)))
        add("fit", r.plate.stem, std::string("fit the ") + to_string(h.kind), h.label, "", h.plate, h.diameter);
    }
  for (const PlacedProbe& p : in_.option.probes)
    if (p.standing_hole >= 0 && f_.holes[at(p.standing_hole)].state == HoleState::open)
      add("fit", "", "press a receptacle into the open hole", p.name,
          in_.board.nets[at(in_.needs[at(p.need)].net)].name);
  for (const Swap& s : swaps_)
    add("fit", "",
        "change the probe: " + (s.before.empty() ? std::string("another") : s.before) + " before, " + s.after + " now",
        s.probe);
  for (const Wire* w : on_)
    add("wire", "",
        "wire " + std::to_string(w->number) + " from the receptacle to interface pin " + w->pin +
            (w->gauge.empty() ? "" : ", " + w->gauge) + (w->colour.empty() ? "" : ", " + w->colour),
        w->probe, w->net);
  add("prove", "",
      "check the whole fixture as verify.csv says; self-test-changes.csv lists what differs from the last time");
}

void Shop::cost() {
  const Prices& prices = plan_.prices;
  auto line = [&](const char* group, std::string item, double quantity, std::string unit, double price) {
    if (quantity <= 0) return;
    out_.cost.push_back(
        {group, std::move(item), quantity, std::move(unit), price, std::llround(quantity * price * 100)});
    out_.rework += out_.cost.back().sum;
  };
  auto hours = [&](std::string item, double minutes, double rate) {
    line("work", std::move(item), std::round(minutes / 60 * 100) / 100, "h", rate);
  };
  auto count = [](std::size_t n, const char* what) { return std::to_string(n) + " " + what; };
  double probes = 0, receptacles = 0;
  std::size_t pressed = 0, nets = 0;
  std::set<int> changed;
  for (const PlacedProbe& p : in_.option.probes) {
    const StandingHole* h = p.standing_hole >= 0 ? &f_.holes[at(p.standing_hole)] : nullptr;
    const ProbeClass& c = in_.catalogue.classes[at(p.probe_class)];
    if (!h || h->state != HoleState::in_use) {
      receptacles += c.price - c.probe_price;
      probes += c.probe_price;
      ++pressed;
    }
    if (!h || h->net != in_.board.nets[at(in_.needs[at(p.need)].net)].name) changed.insert(p.need);
  }
  for (const Swap& s : swaps_)
    for (const PlacedProbe& p : in_.option.probes)
      if (p.name == s.probe) probes += in_.catalogue.classes[at(p.probe_class)].probe_price;
  for (const ProbeFate& x : out_.fates) nets += x.fate == Fate::lost || x.fate == Fate::freed;
  nets += changed.size();
  std::size_t plates = 0, drilled = 0, plugged = 0, supports = 0;
  double milled = 0, new_plates = 0;
  for (const PlateRework& r : out_.plates) {
    plates += r.touched();
    plugged += r.plugged.size();
    for (const PlateHole& h : r.plate.holes) {
      drilled += h.drilled;
      supports += h.kind == PlateHole::Kind::tooling_pin || is_support(to_string(h.kind));
    }
    if (r.whole) {
      const auto price = prices.plate_dm2.find(r.plate.material);
      constexpr double kMm2PerDm2 = 10'000;
      new_plates += std::abs(signed_area(r.plate.outline)) / kMm2PerDm2 *
                    (price == prices.plate_dm2.end() ? prices.plate_dm2.at("other") : price->second);
    }
    for (const Pocket& k : r.plate.pockets) {
      Polygons left = k.area;
      for (const StandingPocket& old : r.pockets) left = subtract(left, old.area);
      milled += area(left) * k.depth / 1000;
    }
  }
  double metres = 0;
  for (const Wire* w : on_) metres += w->length > 0 ? w->length / 1000 : prices.work.wire_metre;
  line("material", "new plates", new_plates > 0, "lot", std::round(new_plates * 100) / 100);
  line("material", "receptacles", receptacles > 0, "lot", std::round(receptacles * 100) / 100);
  line("material", "probes", probes > 0, "lot", std::round(probes * 100) / 100);
  line("material", "pins, stops and fingers", static_cast<double>(supports), "each",
       std::max({prices.part.tooling_pin, prices.part.board_stop, prices.part.push_finger}));
  line("material", "wire", std::ceil(metres * 10 - 1e-9) / 10, "m", prices.part.wire_metre);
  hours("test program for " + count(nets, "nets"), prices.work.net_minutes * static_cast<double>(nets),
        prices.hour.engineer);
  hours("setting up " + count(plates, "plates"), prices.plate_setup_minutes * static_cast<double>(plates),
        prices.hour.shop);
  hours("plugging " + count(plugged, "holes"),
        (prices.hole_minutes + prices.work.receptacle_minutes) * static_cast<double>(plugged), prices.hour.shop);
  hours("drilling " + count(drilled, "holes"), prices.hole_minutes * static_cast<double>(drilled), prices.hour.shop);
  hours("milling " + short_number(milled, 1) + " cm3 of pockets", prices.pocket_minutes_per_cm3 * milled,
        prices.hour.shop);
  hours("pressing in " + count(pressed, "receptacles"), prices.work.receptacle_minutes * static_cast<double>(pressed),
        prices.hour.shop);
  hours("fitting " + count(supports, "pins, stops and fingers"),
        prices.work.support_minutes * static_cast<double>(supports), prices.hour.shop);
  hours("taking off " + count(off_.size(), "wires") + " and putting in " + std::to_string(on_.size()),
        prices.work.wire_minutes * static_cast<double>(off_.size() + on_.size()), prices.hour.shop);
  // A fixture that was opened is proved whole.
  if (!out_.steps.empty()) line("work", "proving", prices.work.proving_hours, "h", prices.hour.shop);
  out_.anew = plan_.anew;
}

void Shop::self_test() {
  using Key = std::tuple<std::string, std::string, std::string, int>;  // stage, check, probe, which of equal ones
  std::map<Key, std::string> before, after;
  std::map<std::tuple<std::string, std::string, std::string>, int> seen;
  auto text = [](const std::string& net, const std::string& pin, const std::string& against, const std::string& limit,
                 const std::string& unit) {
    std::string s = net.empty() ? "" : net + ", ";
    if (!pin.empty()) s += "pin " + pin + ", ";
    if (!against.empty()) s += "against " + against + ", ";
    return s + limit + (unit.empty() ? "" : " " + unit);
  };
  for (const formats::BuiltStep& s : file_.steps)
    before[{s.stage, s.what, s.probe, seen[{s.stage, s.what, s.probe}]++}] =
        text(s.net, s.pin, s.against, s.limit, s.unit);
  seen.clear();
  for (const ProvingStep& s : plan_.proving.steps)
    after[{s.stage, s.what, s.probe, seen[{s.stage, s.what, s.probe}]++}] =
        text(s.net, s.pin, s.against, s.limit, s.unit);
  for (const auto& [key, was] : before) {
    const auto& [stage, check, probe, n] = key;
    const auto it = after.find(key);
    if (it == after.end())
      out_.self_test.push_back({"dropped", stage, check, probe, was, ""});
    else if (it->second != was)
      out_.self_test.push_back({"changed", stage, check, probe, was, it->second});
  }
  for (const auto& [key, is] : after)
    if (!before.count(key))
      out_.self_test.push_back({"new", std::get<0>(key), std::get<1>(key), std::get<2>(key), "", is});
}
}  // namespace

void plan_rework(const BuildInputs& in, const FixtureFile& file, const Planned& planned, Respin& out,
                 Diagnostics& diagnostics) {
  Shop(in, file, planned, out, diagnostics).run();
}

}  // namespace teasel
