// How the board bends in the bed, as lists.
#include <cmath>

#include "text.h"

namespace teasel {

namespace {
std::string micro(double strain) {
  return fixed(strain * 1e6, 0);
}
std::string mm2(double v) {
  return fixed(v, 2);
}
std::string part(const Outcome& o, const PartStrain& p) {
  return o.board.components[static_cast<std::size_t>(p.component)].name;
}
}  // namespace

std::vector<std::string> mechanics_lines(const Outcome& o) {
  const Mechanics& m = o.mechanics;
  if (!m.used) return {"bending: not worked out, " + m.why_not + "; supports are laid out by reach alone"};
  std::vector<std::string> lines;
  const PressedState& s = *m.at_full_stroke();
  std::size_t stops = 0;
  for (const PlacedSupport& x : m.supports) stops += !x.finger;
  lines.push_back(
      "bending at full stroke, on " + std::to_string(stops) + " stops and " +
      std::to_string(m.supports.size() - stops) + " fingers: a flat board leaves its plane by " + mm2(s.up) +
      " mm towards the top side and " + mm2(s.down) + " mm towards the bottom side; " +
      (m.limits_hold  ? "every probe keeps its window of travel and every part its strain limit, bow and twist included"
       : m.flat_holds ? "limits hold for a flat board (" + micro(m.flat_strain) +
                            " microstrain), but not for one bowed or twisted by as much as is allowed"
                      : "LIMITS DO NOT HOLD, a flat board reaches " + micro(m.flat_strain) + " microstrain"));
  const auto worst = std::max_element(m.parts.begin(), m.parts.end(), [](const PartStrain& a, const PartStrain& b) {
    return a.strain / a.limit < b.strain / b.limit;
  });
  std::size_t over = 0;
  for (const PartStrain& p : m.parts) over += p.strain > p.limit;
  if (worst != m.parts.end())
    lines.push_back("  largest strain at a part's corner: " + part(o, *worst) + ", " + micro(worst->strain) + " of " +
                    micro(worst->limit) + " microstrain, " + worst->state +
                    (over ? "; " + std::to_string(over) + " parts above their limit, all in strain.csv" : "") +
                    " (large parts stiffen the board and raise strain at their corners: not in the model)");
  if (m.over) {
    const OverStrained& x = *m.over;
    auto far = [&](Side side) {
      const auto& d = x.nearest[static_cast<std::size_t>(side)];
      return std::string(side == chosen(o).option.main ? "for a stop on the " : "for a finger on the ") +
             to_string(side) + " side: " + (d ? "nearest " + fixed(*d, 1) + " mm off" : "none");
    };
    lines.push_back("  a flat board strains " + o.board.components[static_cast<std::size_t>(x.component)].name +
                    " most beyond its limit, at (" + fixed(x.at.x, 1) + ", " + fixed(x.at.y, 1) +
                    "): " + micro(x.strain) + " of " + micro(x.limit) + " microstrain; free places about it, " +
                    far(Side::top) + ", " + far(Side::bottom) +
                    "; where none is near, keep one free of parts in the layout, or hold the board on a part that "
                    "bears it with  [[support]]");
  }
  if (!m.lifted.empty()) {
    const LiftedRegion& r = m.lifted[0];
    lines.push_back("  " + std::to_string(m.lifted.size()) +
                    (m.lifted.size() == 1 ? " region leaves" : " regions leave") + " the plane by more than " +
                    short_number(kLifted, 2) + " mm, most of all (" + fixed(r.at.x, 1) + ", " + fixed(r.at.y, 1) +
                    ") by " + mm2(r.most) + " mm towards the " + to_string(r.side) + " side; lifting.csv");
  }
  if (!m.lost.empty()) {
    std::string names;
    for (std::size_t i = 0; i < m.lost.size() && i < 8; ++i)
      names += (i ? " " : "") + chosen(o).probes[static_cast<std::size_t>(m.lost[i])].name;
    lines.push_back("  " + std::to_string(m.lost.size()) +
                    " probes leave their window of travel and count as not touching: " + names +
                    (m.lost.size() > 8 ? " ..." : "") + "; travel.csv");
  }
  for (const PressedState& x : m.states)
    if (!x.settled)
      lines.push_back("  " + x.name + ": contacts and forces could not be made to agree; do not rely on this state");
  if (o.kit && s.middle) {
    const double off = s.moment / std::max(1e-9, std::abs(s.pushed_up - s.pushed_down));
    if (off > o.rules.mechanics.off_axis.v)
      lines.push_back("  the middle of the forces lies " + fixed(off, 0) + " mm off the press's axis (" +
                      fixed(s.moment / 1000, 2) +
                      " N m): place the board so that it lies under it, or guide the press");
  }
  if (m.hold > 0) {
    lines.push_back("  vacuum holds " + fixed(m.hold, 0) + " N after leaks and springs, the probes push with " +
                    fixed(s.pushed_up + s.pushed_down, 0) + " N" +
                    (m.loose.empty()
                         ? ""
                         : "; " + std::to_string(m.loose.size()) +
                               " squares of 30 mm are pushed harder than they are held, the worst about (" +
                               fixed(m.loose[0].box.centre().x, 0) + ", " + fixed(m.loose[0].box.centre().y, 0) +
                               "): " + fixed(m.loose[0].pushed, 0) + " of " + fixed(m.loose[0].held, 0) + " N"));
    if (!m.plug.empty())
      lines.push_back("  " + std::to_string(m.plug.size()) + " open holes leak: plug or tape them, the widest " +
                      mm2(o.board.holes[static_cast<std::size_t>(m.plug[0])].diameter) + " mm");
  }
  double scrub = 0;
  std::size_t which = 0;
  for (std::size_t i = 0; i < m.scrub.size(); ++i)
    if (m.scrub[i] > scrub) {
      scrub = m.scrub[i];
      which = i;
    }
  if (scrub > 0.01)
    lines.push_back("  the lid closes on an arc: tips of its bed move sideways by up to " + mm2(scrub) +
                    " mm while they touch (" + chosen(o).probes[which].name +
                    "); a hinge in the board's plane would leave the least");
  return lines;
}

std::string mechanics_csv(const Outcome& o) {
  std::string s =
      "state,settled,up_mm,up_x_mm,up_y_mm,down_mm,down_x_mm,down_y_mm,largest_strain_ue,free_shape,pushed_up_N,pushed_"
      "down_N,held_N,middle_x_mm,middle_y_mm,moment_Nmm,plan_id\n";
  for (const PressedState& x : o.mechanics.states)
    s += csv_row({x.name, x.settled ? "yes" : "no", fixed(x.up, 3), fixed(x.up_at.x, 1), fixed(x.up_at.y, 1),
                  fixed(x.down, 3), fixed(x.down_at.x, 1), fixed(x.down_at.y, 1), micro(x.strain), to_string(x.worst),
                  fixed(x.pushed_up, 1), fixed(x.pushed_down, 1), fixed(x.held, 1),
                  x.middle ? fixed(x.middle->x, 1) : "", x.middle ? fixed(x.middle->y, 1) : "", fixed(x.moment, 0),
                  o.plan_id});
  return s;
}

std::string lifting_csv(const Outcome& o) {
  std::string s = "towards,most_mm,x_mm,y_mm,area_mm2,x_from_mm,y_from_mm,x_to_mm,y_to_mm,plan_id\n";
  for (const LiftedRegion& r : o.mechanics.lifted)
    s += csv_row({to_string(r.side), fixed(r.most, 3), fixed(r.at.x, 2), fixed(r.at.y, 2), fixed(r.area, 1),
                  fixed(r.box.x0, 2), fixed(r.box.y0, 2), fixed(r.box.x1, 2), fixed(r.box.y1, 2), o.plan_id});
  return s;
}

std::string strain_csv(const Outcome& o) {
  std::string s = "component,sensitive,strain_ue,limit_ue,share_of_limit,state,x_mm,y_mm,plan_id\n";
  for (const PartStrain& p : o.mechanics.parts)
    s += csv_row({part(o, p), p.sensitive ? "yes" : "no", micro(p.strain), micro(p.limit), fixed(p.strain / p.limit, 2),
                  p.state, fixed(p.at.x, 2), fixed(p.at.y, 2), o.plan_id});
  return s;
}

std::string travel_csv(const Outcome& o) {
  std::string s =
      "probe,net,class,state,least_travel_mm,most_travel_mm,largest_force_N,window_from_mm,window_to_mm,in_window,"
      "scrub_mm,plan_id\n";
  for (std::size_t i = 0; i < chosen(o).probes.size(); ++i) {
    const PlacedProbe& p = chosen(o).probes[i];
    const ProbeClass& c = o.catalogue.classes[static_cast<std::size_t>(p.probe_class)];
    for (const PressedState& x : o.mechanics.states) {
      const bool at_work = &x == o.mechanics.at_full_stroke(),
                 inside = x.least_travel[i] >= c.least_travel.v && x.most_travel[i] <= c.most_travel.v;
      s += csv_row({p.name, net_name(o, p.need), c.name, x.name, fixed(x.least_travel[i], 3),
                    fixed(x.most_travel[i], 3), fixed(x.probe_force[i], 3), at_work ? mm2(c.least_travel.v) : "",
                    at_work ? mm2(c.most_travel.v) : "", at_work ? inside ? "yes" : "no" : "",
                    at_work && i < o.mechanics.scrub.size() ? fixed(o.mechanics.scrub[i], 3) : "", o.plan_id});
    }
  }
  return s;
}

std::string supports_csv(const Outcome& o) {
  std::string s = "support,kind,side,x_mm,y_mm,placed,largest_force_N,carries_at_full_stroke,plan_id\n";
  const PressedState* full = o.mechanics.at_full_stroke();
  for (std::size_t i = 0; i < o.mechanics.supports.size(); ++i) {
    const PlacedSupport& x = o.mechanics.supports[i];
    double force = 0;
    for (const PressedState& p : o.mechanics.states) force = std::max(force, p.support_force[i]);
    s += csv_row({x.label, x.finger ? "push finger" : "board stop", to_string(x.side), fixed(x.at.x, 3),
                  fixed(x.at.y, 3),
                  x.by_hand    ? "by hand"
                  : x.standing ? "stands already"
                               : "laid out",
                  full ? fixed(force, 2) : "", full ? full->support_idle[i] ? "no" : "yes" : "", o.plan_id});
  }
  return s;
}

}  // namespace teasel
