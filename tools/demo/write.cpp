// Gerber X2, XNC drill, IPC-D-356A, placement and heights. Each writer knows only the design and the routes.
#include "write.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <vector>

#include "bodies.h"
#include "text.h"

namespace demo {

namespace {
class Gerber {
 public:
  Gerber(const std::string& function, bool negative) {
    head_ = "%TF.GenerationSoftware,demo,board-generator,1*%\n%TF.SameCoordinates,demo*%\n%TF.FileFunction," +
            function + "*%\n%TF.FilePolarity," + (negative ? "Negative" : "Positive") +
            "*%\n%FSLAX46Y46*%\n%MOMM*%\n%LPD*%\nG01*\n";
  }
  int aperture(const std::string& shape, const std::string& function) {
    auto [it, fresh] = codes_.try_emplace({shape, function}, static_cast<int>(codes_.size()) + 10);
    if (fresh) {
      if (!function.empty()) apertures_ += "%TA.AperFunction," + function + "*%\n";
      apertures_ += "%ADD" + std::to_string(it->second) + shape + "*%\n";
      if (!function.empty()) apertures_ += "%TD*%\n";
    }
    return it->second;
  }
  void flash(double x, double y, double w, double h, const std::string& function) {
    select(aperture(h > 0 ? "R," + num(w, 4) + "X" + num(h, 4) : "C," + num(w, 4), function));
    body_ += xy(x, y) + "D03*\n";
  }
  void stroke(double x1, double y1, double x2, double y2, double width, const std::string& function) {
    select(aperture("C," + num(width, 4), function));
    body_ += xy(x1, y1) + "D02*\n" + xy(x2, y2) + "D01*\n";
  }
  void object(const std::string& net, const std::string& component, const std::string& pin) {
    body_ += net.empty() ? "" : "%TO.N," + net + "*%\n";
    if (!component.empty()) body_ += "%TO.P," + component + "," + pin + "*%\n";
  }
  void end_object() { body_ += "%TD*%\n"; }
  void polarity(bool dark) { body_ += dark ? "%LPD*%\n" : "%LPC*%\n"; }
  void area(double x0, double y0, double x1, double y1) {
    body_ += "%TA.AperFunction,Conductor*%\nG36*\n" + xy(x0, y0) + "D02*\n" + xy(x1, y0) + "D01*\n" + xy(x1, y1) +
             "D01*\n" + xy(x0, y1) + "D01*\n" + xy(x0, y0) + "D01*\nG37*\n%TD.AperFunction*%\n";
  }
  std::string text() const { return head_ + apertures_ + body_ + "M02*\n"; }

 private:
  static std::string xy(double x, double y) {
    return "X" + std::to_string(std::llround(x * 1e6)) + "Y" + std::to_string(std::llround(y * 1e6));
  }
  void select(int code) {
    if (code != now_) body_ += "D" + std::to_string(now_ = code) + "*\n";
  }
  std::string head_, apertures_, body_;
  std::map<std::pair<std::string, std::string>, int> codes_;
  int now_ = -1;
};

std::string outer_copper(const Design& d, const Routes& r, bool top) {
  Gerber g(top ? "Copper,L1,Top,Signal" : "Copper,L4,Bot,Signal", false);
  for (const Pad& p : d.pads) {
    if (p.drill == 0 && p.top != top) continue;
    g.object(p.net, p.component, p.pin);
    g.flash(p.x, p.y, p.w, p.h, p.function);
    g.end_object();
  }
  for (const Pad& p : d.open_vias) {
    g.object(p.net, "", "");
    g.flash(p.x, p.y, p.w, 0, "ViaPad");
    g.end_object();
  }
  for (const Via& v : r.vias) {
    g.object(v.net, "", "");
    g.flash(v.x, v.y, kViaLand, 0, "ViaPad");
    g.end_object();
  }
  for (const Track& t : r.tracks)
    if (t.top == top) {
      g.object(t.net, "", "");
      g.stroke(t.x1, t.y1, t.x2, t.y2, kTrack, "Conductor");
      g.end_object();
    }
  return g.text();
}

/// A plane: one area, clearances round every hole of another net.
std::string plane(const Design& d, const Routes& r, int layer, const std::string& net) {
  Gerber g("Copper,L" + std::to_string(layer) + ",Inr,Plane", false);
  g.object(net, "", "");
  g.area(0.5, 0.5, kWidth - 0.5, kHeight - 0.5);
  g.end_object();
  g.polarity(false);
  for (const Pad& p : lands(d, r))
    if (p.drill > 0 && p.net != net) g.flash(p.x, p.y, clearance(p), 0, "");
  return g.text();
}

std::string mask(const Design& d, bool top) {
  Gerber g(top ? "Soldermask,Top" : "Soldermask,Bot", true);
  for (const Pad& p : lands(d, {})) {
    const Pad o = opening(p);
    if (on_side(p, top)) g.flash(o.x, o.y, o.w, o.h, "Material");
  }
  return g.text();
}

std::string paste(const Design& d, bool top) {
  Gerber g(top ? "Paste,Top" : "Paste,Bot", false);
  for (const Pad& p : d.pads)
    if (pasted(p) && p.top == top) g.flash(p.x, p.y, p.w, p.h, "Material");
  return g.text();
}

std::string silk(const Design& d, bool top) {
  Gerber g(top ? "Legend,Top" : "Legend,Bot", false);
  for (const Part& p : d.parts) {
    if (p.top != top || p.package == "FID") continue;
    const Box b = legend(d, p);
    g.stroke(b.x0, b.y0, b.x1, b.y0, kLegend, "");
    g.stroke(b.x1, b.y0, b.x1, b.y1, kLegend, "");
    g.stroke(b.x1, b.y1, b.x0, b.y1, kLegend, "");
    g.stroke(b.x0, b.y1, b.x0, b.y0, kLegend, "");
  }
  return g.text();
}

std::string profile() {
  Gerber g("Profile,NP", false);
  const auto c = outline();
  for (std::size_t i = 0; i < c.size(); ++i)
    g.stroke(c[i].first, c[i].second, c[(i + 1) % c.size()].first, c[(i + 1) % c.size()].second, 0.1, "Profile");
  return g.text();
}

std::string drill(const Design& d, const Routes& r, bool plated) {
  std::map<long, std::vector<std::pair<double, double>>> tools;
  auto add = [&](double x, double y, double dia) { tools[std::lround(dia * 1000)].push_back({x, y}); };
  if (plated) {
    for (const Pad& p : d.pads)
      if (p.drill > 0) add(p.x, p.y, p.drill);
    for (const Pad& p : d.open_vias) add(p.x, p.y, p.drill);
    for (const Via& v : r.vias) add(v.x, v.y, kViaHole);
  } else {
    for (const Pad& h : d.holes) add(h.x, h.y, h.drill);
  }
  std::string s = std::string("M48\n; #@! TF.FileFunction,") + (plated ? "Plated,1,4,PTH" : "NonPlated,1,4,NPTH") +
                  "\nMETRIC\n",
              body;
  int n = 0;
  for (const auto& [um, points] : tools) {
    ++n;
    s += "T" + std::to_string(n) + "C" + num(static_cast<double>(um) / 1000, 3) + "\n";
    body += "T" + std::to_string(n) + "\n";
    for (auto [x, y] : points) body += "X" + num(x, 3) + "Y" + num(y, 3) + "\n";
  }
  return s + "%\nG90\nG05\n" + body + "M30\n";
}

std::string cells(const std::string& s, std::size_t width) {
  return s.substr(0, width) + std::string(width - std::min(width, s.size()), ' ');
}

/// One record of the netlist; lengths in counts of 0.001 mm.
std::string record(const char* code, const std::string& net, const std::string& component, const std::string& pin,
                   bool mid, double hole, bool plated, int access, double x, double y, double w, double h,
                   int mask_code) {
  char b[128];
  std::string s = code + cells(net, 14) + "   " + cells(component, 6) + (pin.empty() ? " " : "-") + cells(pin, 4) +
                  (mid ? "M" : " ");
  if (hole > 0) {
    std::snprintf(b, sizeof b, "D%04ld%c", std::lround(hole * 1000), plated ? 'P' : 'U');
    s += b;
  } else
    s += "      ";
  std::snprintf(b, sizeof b, "A%02dX%+07ldY%+07ldX%04ldY%04ldR000 S%d", access, std::lround(x * 1000),
                std::lround(y * 1000), std::lround(w * 1000), std::lround(h * 1000), mask_code);
  return cells(s + b, 80) + "\n";
}

std::string netlist(const Design& d, const Routes& r) {
  std::string s;
  for (const char* l : {"P  JOB   HARBOUR BUOY NODE", "P  CODE  00", "P  UNITS CUST 1", "P  TITLE HARBOUR BUOY NODE",
                        "P  NUM   HB-1040", "P  REV   F", "P  VER   IPC-D-356A", "P  IMAGE PRIMARY"})
    s += cells(l, 80) + "\n";
  // Set S bits say that the mask is on that side, as the published wording has it.
  for (const Pad& p : d.pads) {
    if (p.function.substr(0, 8) == "Fiducial") continue;
    const int covered = p.drill > 0 ? 0 : p.top ? 2 : 1;
    s += record(p.drill > 0 ? "317" : "327", p.net, p.component.empty() ? "NOREF" : p.component, p.pin, false, p.drill,
                true,
                p.drill > 0 ? 0
                : p.top     ? 1
                            : 4,
                p.x, p.y, p.w, p.h, covered);
  }
  for (const Pad& p : d.open_vias) s += record("317", p.net, "VIA", "", true, p.drill, true, 0, p.x, p.y, p.w, 0, 0);
  for (const Via& v : r.vias) s += record("317", v.net, "VIA", "", true, kViaHole, true, 0, v.x, v.y, kViaLand, 0, 3);
  for (const Pad& h : d.holes) s += record("367", "N/C", "", "", false, h.drill, false, 0, h.x, h.y, 0, 0, 0);
  return s + cells("999", 80) + "\n";
}

std::string placement(const Design& d) {
  std::string s = "Ref,Val,Package,PosX(mm),PosY(mm),Rot,Side\n";
  for (const Part& p : d.parts)
    s += p.name + ",\"" + p.value + "\"," + p.package + "," + num(p.x, 4) + "," + num(p.y, 4) + "," +
         num(p.rotation, 1) + "," + (p.top ? "top" : "bottom") + "\n";
  return s;
}

std::string heights(const Design& d) {
  std::string s = "component,height_mm\n";
  for (const Part& p : d.parts)
    if (p.package != "FID") s += p.name + "," + num(p.height, 2) + "\n";
  return s;
}
}  // namespace

std::map<std::string, std::string> release(const Design& d, const Routes& r) {
  std::map<std::string, std::string> files{{"buoy-node-F_Cu.gbr", outer_copper(d, r, true)},
                                           {"buoy-node-B_Cu.gbr", outer_copper(d, r, false)},
                                           {"buoy-node-In1_Cu.gbr", plane(d, r, 2, "GND")},
                                           {"buoy-node-In2_Cu.gbr", plane(d, r, 3, "3V3")},
                                           {"buoy-node-F_Mask.gbr", mask(d, true)},
                                           {"buoy-node-B_Mask.gbr", mask(d, false)},
                                           {"buoy-node-F_Paste.gbr", paste(d, true)},
                                           {"buoy-node-B_Paste.gbr", paste(d, false)},
                                           {"buoy-node-F_Silk.gbr", silk(d, true)},
                                           {"buoy-node-B_Silk.gbr", silk(d, false)},
                                           {"buoy-node-Profile.gbr", profile()},
                                           {"buoy-node-PTH.drl", drill(d, r, true)},
                                           {"buoy-node-NPTH.drl", drill(d, r, false)},
                                           {"buoy-node.ipc", netlist(d, r)},
                                           {"placement.csv", placement(d)},
                                           {"heights.csv", heights(d)}};
  files.merge(idf(d));
  files.merge(bsdl(d));
  return files;
}

}  // namespace demo
