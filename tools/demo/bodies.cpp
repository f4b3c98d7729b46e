#include "bodies.h"

#include <algorithm>
#include <cmath>
#include <iterator>

namespace demo {

std::vector<Pad> lands(const Design& d, const Routes& r) {
  std::vector<Pad> all = d.pads;
  for (Pad p : d.open_vias) {
    p.component.clear();
    all.push_back(p);
  }
  for (const Via& v : r.vias) {
    Pad p;
    p.net = v.net;
    p.x = v.x;
    p.y = v.y;
    p.w = kViaLand;
    p.drill = kViaHole;
    p.function = "ViaPad";
    p.mask_open = false;
    all.push_back(p);
  }
  all.insert(all.end(), d.holes.begin(), d.holes.end());
  return all;
}

bool on_side(const Pad& p, bool top) {
  return p.drill > 0 || p.top == top;
}
bool is_via(const Pad& p) {
  return p.function == "ViaPad";
}
bool pasted(const Pad& p) {
  return p.drill == 0 && !p.component.empty() && p.function.substr(0, 6) == "SMDPad";
}

Pad opening(Pad p) {
  p.w = p.plated ? p.w + 0.1 : p.drill + 0.4;
  if (p.h > 0) p.h += 0.1;
  return p;
}

double clearance(const Pad& p) {
  return !p.plated ? p.drill + 1.0 : p.w + (is_via(p) ? 0.3 : 0.4);
}

// One corner is cut, so that the drawing shows which way round the board is.
std::vector<std::pair<double, double>> outline() {
  return {{0, 0}, {kWidth, 0}, {kWidth, kHeight - 2}, {kWidth - 2, kHeight}, {0, kHeight}};
}

Pad to_package(const Part& part, Pad p) {
  const double a = part.rotation * 3.14159265358979323846 / 180;
  const bool quarters = std::fmod(part.rotation, 90) == 0;
  const double c = quarters ? std::round(std::cos(a)) : std::cos(a),
               s = quarters ? std::round(std::sin(a)) : std::sin(a);
  const double dx = part.top ? p.x - part.x : part.x - p.x, dy = p.y - part.y;
  p.x = c * dx + s * dy;
  p.y = c * dy - s * dx;
  if (p.h > 0 && std::abs(std::round(s)) > 0.5)
    std::swap(p.w, p.h);  // turned pads were stored as they lie on the board
  return p;
}

std::vector<Pad> pads_of(const Design& d, const Part& part) {
  std::vector<Pad> own;
  std::copy_if(d.pads.begin(), d.pads.end(), std::back_inserter(own),
               [&](const Pad& p) { return p.component == part.name; });
  return own;
}

std::vector<Pad> package_pads(const Design& d, const Part& part) {
  std::vector<Pad> own = pads_of(d, part);
  for (Pad& p : own) p = to_package(part, p);
  return own;
}

Box bounds(const std::vector<Pad>& pads, double margin) {
  Box b;
  for (const Pad& p : pads) {
    const double hw = p.w / 2 + margin, hh = (p.h > 0 ? p.h : p.w) / 2 + margin;
    b = {std::min(b.x0, p.x - hw), std::min(b.y0, p.y - hh), std::max(b.x1, p.x + hw), std::max(b.y1, p.y + hh)};
  }
  return b;
}

Box body(const Design& d, const Part& part) {
  return bounds(package_pads(d, part), part.package == "FID" ? 0 : 0.15);
}
Box legend(const Design& d, const Part& part) {
  return bounds(pads_of(d, part), 0.3);
}

}  // namespace demo
