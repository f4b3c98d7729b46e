// Deflection and surface strain at full stroke, side by side, with parts, probes and supports.
#include <array>
#include <cmath>

#include "sheet.h"

namespace teasel {

namespace {
/// Cividis, made for people with and without colour blindness (J. R. Nunez, C. R. Anderton, R. S. Renslow, PLoS ONE 13,
/// 2018), at even steps; from memory.
std::string shade(double share) {
  static constexpr std::array<std::array<int, 3>, 6> kSteps = {
      {{0, 34, 78}, {53, 69, 108}, {102, 105, 112}, {148, 142, 119}, {200, 184, 102}, {254, 232, 56}}};
  const double x = std::clamp(share, 0.0, 1.0) * (kSteps.size() - 1);
  const auto k = std::min<std::size_t>(static_cast<std::size_t>(x), kSteps.size() - 2);
  char text[8];
  auto mix = [&](std::size_t c) {
    return static_cast<int>(
        std::lround(kSteps[k][c] + (x - static_cast<double>(k)) * (kSteps[k + 1][c] - kSteps[k][c])));
  };
  std::snprintf(text, sizeof text, "#%02x%02x%02x", mix(0), mix(1), mix(2));
  return text;
}
}  // namespace

std::string bending_svg(const Outcome& o) {
  const Mechanics& m = o.mechanics;
  const PressedState* s = m.at_full_stroke();
  Box box = bounds(o.board.outline.outer);
  if (!s || !box.valid()) return Sheet(100, 20, "no bending").file();
  const double scale = std::clamp(190 / std::max(box.width(), box.height()), 0.2, 4.0), w = box.width() * scale,
               h = box.height() * scale;
  Sheet sheet(2 * w + 60, h + 62, "bending of the board at full stroke, plan " + o.plan_id);
  sheet.text(
      {12, 9}, 4.5,
      "Bending at full stroke, board " + std::string(to_string(s->worst)) + " before it was pressed (the worst shape)");
  sheet.text({12, 15}, 3,
             o.board.name + "; plan " + o.plan_id + "; seen from the top side; thickness " +
                 fixed(m.stiffness.thickness, 2) + " mm, modulus " + fixed(m.stiffness.modulus / 1000, 1) + " GPa");
  struct Field {
    const std::vector<double>* values;
    std::string title;
    double low, high, factor;
    const char* unit;
    int decimals;
  };
  double low = 0, high = 0, most = 0;
  for (const double v : s->deflection) {
    low = std::min(low, v);
    high = std::max(high, v);
  }
  for (const double v : s->surface_strain) most = std::max(most, v);
  const double top = std::max(most, m.limit);
  Field panels[] = {
      {&s->deflection, "Deflection, towards the top side positive", low, std::max(high, low + 1e-6), 1, "mm", 2},
      {&s->surface_strain, "Largest principal strain of the faces; limit " + fixed(m.limit * 1e6, 0) + " microstrain",
       0, top, 1e6, "microstrain", 0}};
  double x0 = 12;
  for (const Field& p : panels) {
    const View v{box, {x0, h + 28}, scale};
    sheet.text({x0, 24}, 3.2, p.title);
    // Triangles of one shade in one path each keep the file small.
    constexpr int kShades = 24;
    std::array<std::string, kShades> paths;
    for (const auto& t : m.mesh.triangles) {
      double value = 0;
      for (const int n : t) value += (*p.values)[static_cast<std::size_t>(n)] / 3;
      const int k = std::clamp(static_cast<int>((value - p.low) / (p.high - p.low) * kShades), 0, kShades - 1);
      std::string& d = paths[static_cast<std::size_t>(k)];
      for (int i = 0; i < 3; ++i) {
        const Point q = v(m.mesh.nodes[static_cast<std::size_t>(t[static_cast<std::size_t>(i)])]);
        d += (i ? "L" : "M") + fixed(q.x, 1) + " " + fixed(q.y, 1);
      }
      d += "Z";
    }
    for (int k = 0; k < kShades; ++k)
      if (const std::string& d = paths[static_cast<std::size_t>(k)]; !d.empty()) {
        const std::string c = shade((k + 0.5) / kShades);
        sheet.raw("<path d=\"" + d + "\" fill=\"" + c + "\" stroke=\"" + c + "\" stroke-width=\"0.1\"/>\n");
      }
    sheet.raw("<path d=\"" + v.path(o.board.outline.outer) + "\" stroke-width=\"0.4\"/>\n");
    for (const PartStrain& q : m.parts)
      if (q.sensitive || q.strain > 0.8 * q.limit)
        sheet.raw("<path d=\"" + v.path(o.board.components[static_cast<std::size_t>(q.component)].body) +
                  "\" stroke=\"#ffffff\" stroke-width=\"" + (q.strain > q.limit ? "0.6" : "0.2") + "\"/>\n");
    for (const PlacedProbe& q : chosen(o).probes) {
      const Point c = v(o.access.spots[static_cast<std::size_t>(q.spot)].at);
      const bool bottom = o.access.targets[static_cast<std::size_t>(q.target)].side == Side::bottom;
      sheet.raw("<circle cx=\"" + num(c.x) + "\" cy=\"" + num(c.y) + "\" r=\"0.7\" fill=\"" +
                (bottom ? "white" : "black") + "\" stroke=\"" + (bottom ? "black" : "white") +
                "\" stroke-width=\"0.2\"/>\n");
    }
    for (const PlacedSupport& q : m.supports) {
      const Point c = v(q.at);
      if (q.finger)
        sheet.raw("<path d=\"M" + num(c.x) + " " + num(c.y - 1.6) +
                  "l1.5 2.6h-3z\" fill=\"#f2f2f2\" stroke=\"black\" stroke-width=\"0.3\"/>\n");
      else
        sheet.box(c.x - 1.3, c.y - 1.3, 2.6, 2.6, "fill=\"#f2f2f2\" stroke=\"black\" stroke-width=\"0.3\"");
    }
    // Scale of shades.
    const double y = h + 34, wide = std::min(w, 120.0);
    for (int k = 0; k < kShades; ++k)
      sheet.box(x0 + wide * k / kShades, y, wide / kShades + 0.05, 4,
                ("stroke=\"none\" fill=\"" + shade((k + 0.5) / kShades) + "\"").c_str());
    for (int k = 0; k <= 4; ++k)
      sheet.text(
          {x0 + wide * k / 4, y + 8}, 2.6,
          fixed((p.low + (p.high - p.low) * k / 4) * p.factor, p.decimals) + (k == 4 ? std::string(" ") + p.unit : ""),
          "middle");
    x0 += w + 36;
  }
  const double y = h + 56;
  sheet.box(12, y - 2.6, 2.6, 2.6, "stroke-width=\"0.3\"");
  sheet.text({17, y}, 2.8, "board stop");
  sheet.raw("<path d=\"M43.5 " + num(y - 2.8) + "l1.5 2.6h-3z\" stroke-width=\"0.3\"/>\n");
  sheet.text({48, y}, 2.8, "push finger");
  sheet.raw("<circle cx=\"76\" cy=\"" + num(y - 1.1) + "\" r=\"1\" fill=\"white\" stroke-width=\"0.3\"/>\n");
  sheet.text({79, y}, 2.8, "probe, bottom");
  sheet.raw("<circle cx=\"110\" cy=\"" + num(y - 1.1) + "\" r=\"1\" fill=\"black\" stroke-width=\"0.3\"/>\n");
  sheet.text({113, y}, 2.8,
             "probe, top; parts outlined: ball grids and ceramics, or near their limit (thick: above it)");
  return sheet.file();
}

}  // namespace teasel
