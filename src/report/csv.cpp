#include <algorithm>
#include <map>
#include <set>

#include "text.h"

namespace teasel {

namespace {
/// What sets a probe apart from a plain one in a new hole.
std::string probe_notes(const Outcome& o, const PlacedProbe& p) {
  std::string s;
  auto add = [&](const std::string& t) { s += (s.empty() ? "" : "; ") + t; };
  const ProbeClass& k = o.catalogue.classes[static_cast<std::size_t>(p.probe_class)];
  if (p.old_hole >= 0) add("in a hole that the fixture has");
  if (p.long_travel) add("long travel");
  if (k.contacts > 1) add(std::to_string(k.contacts) + " tips");
  if (p.ring_need >= 0) add("ring on " + net_name(o, p.ring_need));
  return s;
}
}  // namespace

std::string probes_csv(const Outcome& o) {
  std::string s =
      "probe,net,role,side,target,component,pin,x_mm,y_mm,class,tip,force_N,odds,receptacle_drill_mm,notes\n";
  const auto lands = shared_lands(o);
  std::size_t row_no = 0;
  for (const PlacedProbe& p : chosen(o).probes) {
    const Target& t = o.access.targets[static_cast<std::size_t>(p.target)];
    const Feature& f = feature_of(o, p.target);
    const Point aim = o.access.spots[static_cast<std::size_t>(p.spot)].at;
    const ProbeClass& k = o.catalogue.classes[static_cast<std::size_t>(p.probe_class)];
    const Verdict& v = verdict_of(o, p);
    const SharedLand& land = lands[row_no++];
    const std::string tip = tip_for(o.board, t, o.access.spots[static_cast<std::size_t>(p.spot)]);
    s += csv_row({p.name, net_name(o, p.need), to_string(o.needs[static_cast<std::size_t>(p.need)].role),
                  to_string(t.side), f.name, land.components, land.pins, fixed(aim.x, 3), fixed(aim.y, 3), k.name, tip,
                  short_number(force_on(o.rules, t, k).v, 3), odds_text(v.miss), fixed(k.receptacle_drill.v, 3),
                  probe_notes(o, p)});
  }
  return s;
}

namespace {
std::string scanned(const Outcome& o, const Need& n) {
  return n.wanted > 0 && o.scan.needs_no_probe(o.board.base_net(n.net)) ? " (boundary scan finds its opens and shorts)"
                                                                        : "";
}
}  // namespace

std::string coverage_csv(const Outcome& o) {
  std::string s = "net,role,mandatory,wanted,got,targets,open_top,open_bottom,status,reason\n";
  for (const CoverageRow& c : o.coverage.rows) {
    const Need& n = o.needs[static_cast<std::size_t>(c.need)];
    if (o.board.nets[static_cast<std::size_t>(n.net)].unconnected) continue;
    s += csv_row({net_name(o, c.need), to_string(n.role), n.mandatory ? "yes" : "no", std::to_string(c.wanted),
                  std::to_string(c.got), std::to_string(c.targets), std::to_string(c.open_top),
                  std::to_string(c.open_bottom), c.status, c.reason + scanned(o, n)});
  }
  return s;
}

std::string blocked_csv(const Outcome& o) {
  std::string s = "target,net,component,pin,side,x_mm,y_mm,class,reason,measured,required,unit,obstacle\n";
  const Board& b = o.board;
  std::map<std::pair<int, int>, const Covered*> covered;
  for (const Covered& c : b.covered) covered[{c.feature, static_cast<int>(c.side)}] = &c;
  auto head = [&](const Feature& f, Side side, Point at) {
    return std::vector<std::string>{f.name,
                                    f.net < 0 ? std::string() : b.nets[static_cast<std::size_t>(f.net)].name,
                                    component_name(b, f),
                                    f.pin,
                                    to_string(side),
                                    fixed(at.x, 3),
                                    fixed(at.y, 3)};
  };
  auto line = [&](const std::vector<std::string>& h, const std::string& cls, const char* reason,
                  const std::string& measured, const std::string& required, const std::string& unit,
                  const std::string& obstacle) {
    s += csv_row({h[0], h[1], h[2], h[3], h[4], h[5], h[6], cls, reason, measured, required, unit, obstacle});
  };
  std::size_t t = 0;
  for (std::size_t i = 0; i < b.features.size(); ++i) {
    const Feature& f = b.features[i];
    if (f.net < 0) continue;
    for (Side side : {Side::top, Side::bottom}) {
      if (auto it = covered.find({static_cast<int>(i), static_cast<int>(side)}); it != covered.end())
        line(head(f, side, f.at), "all", to_string(it->second->mask ? Reason::mask_closed : Reason::no_copper), "", "",
             "", it->second->mask ? "solder mask" : "no copper under the point");
      while (t < o.access.targets.size() &&
             (o.access.targets[t].feature < static_cast<int>(i) ||
              (o.access.targets[t].feature == static_cast<int>(i) && o.access.targets[t].side < side)))
        ++t;
      if (t >= o.access.targets.size() || o.access.targets[t].feature != static_cast<int>(i) ||
          o.access.targets[t].side != side)
        continue;
      for (std::size_t k = 0; k < o.access.classes; ++k) {
        const std::size_t spot = o.access.best(t, k, side == chosen(o).option.main);
        const auto h = head(f, side, o.access.spots[spot].at);
        for (const Shortfall& x : o.access.verdict(spot, k, side == chosen(o).option.main).shortfalls) {
          if (!x.blocking && x.waiver < 0) continue;
          const bool chance = std::string_view(x.unit()) == "1", plain = !x.has_numbers();
          std::string obstacle = obstacle_text(x, b, o.job);
          if (x.waiver >= 0)
            obstacle += std::string(obstacle.empty() ? "" : "; ") +
                        "WAIVED: " + o.job.waivers[static_cast<std::size_t>(x.waiver)].reason;
          line(h, o.catalogue.classes[k].name, to_string(x.reason),
               plain    ? ""
               : chance ? scientific(x.measured)
                        : fixed(x.measured, 3),
               plain    ? ""
               : chance ? scientific(x.required)
                        : fixed(x.required, 3),
               plain ? "" : x.unit(), obstacle);
        }
      }
    }
  }
  return s;
}

std::string nearly_open_csv(const Outcome& o) {
  std::string s = "net,role,mandatory,target,side,x_mm,y_mm,class,reason,measured,required,unit,obstacle,lacking\n";
  for (const NearlyOpen& n : o.coverage.nearly_open) {
    const Need& need = o.needs[static_cast<std::size_t>(n.need)];
    const Point at = o.access.spots[static_cast<std::size_t>(n.spot)].at;
    const Shortfall& x = n.shortfall;
    const bool chance = std::string_view(x.unit()) == "1";
    auto number = [&](double v) { return chance ? scientific(v) : fixed(v, 3); };
    s += csv_row({net_name(o, n.need), to_string(need.role), need.mandatory ? "yes" : "no",
                  feature_of(o, n.target).name, to_string(o.access.targets[static_cast<std::size_t>(n.target)].side),
                  fixed(at.x, 3), fixed(at.y, 3), o.catalogue.classes[static_cast<std::size_t>(n.probe_class)].name,
                  to_string(x.reason), number(x.measured), number(x.required), x.unit(),
                  obstacle_text(x, o.board, o.job), fixed(100 * x.lack(), 1) + " %"});
  }
  return s;
}

std::string wiring_csv(const Outcome& o) {
  std::string s =
      "wire,probe,net,role,side,interface_pin,pin_kind,channel,stage,relay,gauge,colour,amperes,length_mm,twisted_with,"
      "label_at_probe,label_at_pin,plan_id\n";
  for (const Wire& w : o.wiring) {
    const std::string label = std::to_string(w.number) + " " + w.net;
    s += csv_row({std::to_string(w.number), w.probe, w.net, w.role, w.side, w.pin, w.kind, w.channel, w.stage, w.relay,
                  w.gauge, w.colour, fixed(w.amperes, 2), w.length > 0 ? fixed(w.length, 0) : "", w.twisted_with,
                  label + " > " + w.pin, label + " > " + w.probe, o.plan_id});
  }
  return s;
}

}  // namespace teasel
