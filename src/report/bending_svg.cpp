// Deflection and surface strain at full stroke, side by side, with parts, probes and supports.
#include <array>
#include <cmath>

#include "sheet.h"

namespace teasel {

namespace {
/// Cividis, made for people with and without colour blindness (J. R. Nunez, C. R. Anderton, R. S. Renslow, PLoS ONE 13,
/// 2018), at even steps; from memory.
Markup shade(double share) {
  static constexpr std::array<std::array<int, 3>, 6> kSteps = {
      {{0, 34, 78}, {53, 69, 108}, {102, 105, 112}, {148, 142, 119}, {200, 184, 102}, {254, 232, 56}}};
  const double x = std::clamp(share, 0.0, 1.0) * (kSteps.size() - 1);
  const auto k = std::min<std::size_t>(static_cast<std::size_t>(x), kSteps.size() - 2);
  char text[8];
  auto mix = [&](std::size_t channel) {
    return static_cast<int>(
        std::lround(kSteps[k][channel] + (x - static_cast<double>(k)) * (kSteps[k + 1][channel] - kSteps[k][channel])));
  };
  std::snprintf(text, sizeof text, "#%02x%02x%02x", mix(0), mix(1), mix(2));
  return text;
}
constexpr int kShades = 24;

/// What one of the two views shows, by node of the mesh.
struct Field {
  std::vector<double> values{};
  std::string title{};
  double low = 0, high = 0;
  const char* unit = "";
  int decimals = 0;
};
Field deflection_of(const PressedState& state) {
  Field field{.title = "Deflection, towards the top side positive", .unit = "mm", .decimals = 2};
  for (const Mm here : state.deflection) {
    field.values.push_back(here.v);
    field.low = std::min(field.low, here.v);
    field.high = std::max(field.high, here.v);
  }
  field.high = std::max(field.high, field.low + 1e-6);
  return field;
}
Field strain_of(const PressedState& state, Microstrain limit) {
  Field field{.title = "Largest principal strain of the faces, " + state.name + ", " + to_string(state.worst),
              .high = limit.v,
              .unit = "microstrain"};
  for (const Microstrain here : state.surface_strain) {
    field.values.push_back(here.v);
    field.high = std::max(field.high, here.v);
  }
  return field;
}

void draw_field(Sheet& sheet, const View& view, const PlateMesh& mesh, const Field& field) {
  // Triangles of one shade in one path each keep the file small.
  std::array<Markup, kShades> paths;
  for (const auto& triangle : mesh.triangles) {
    double value = 0;
    for (const int node : triangle) value += field.values[static_cast<std::size_t>(node)] / 3;
    const int k =
        std::clamp(static_cast<int>((value - field.low) / (field.high - field.low) * kShades), 0, kShades - 1);
    Markup& path = paths[static_cast<std::size_t>(k)];
    for (std::size_t i = 0; i < 3; ++i) {
      const Point corner = view(mesh.nodes[static_cast<std::size_t>(triangle[i])]);
      path += (i ? "L" : "M") + Xml::number(corner.x, 1) + " " + Xml::number(corner.y, 1);
    }
    path += "Z";
  }
  for (int k = 0; k < kShades; ++k)
    if (const Markup& path = paths[static_cast<std::size_t>(k)]; !path.empty()) {
      const Markup colour = shade((k + 0.5) / kShades);
      sheet.raw("<path d=\"" + path + "\" fill=\"" + colour + "\" stroke=\"" + colour + "\" stroke-width=\"0.1\"/>\n");
    }
}

/// The board's edge, parts, probes and supports over a field.
void draw_board(Sheet& sheet, const View& view, const Outcome& outcome) {
  sheet.raw("<path d=\"" + view.path(outcome.board.outline.outer) + "\" stroke-width=\"0.4\"/>\n");
  for (const PartStrain& part : outcome.results.mechanics.parts)
    if (part.sensitive || part.strain > 0.8 * part.limit)
      sheet.raw("<path d=\"" + view.path(outcome.board.components[part.component].body) +
                "\" stroke=\"#ffffff\" stroke-width=\"" + (part.strain > part.limit ? "0.6" : "0.2") + "\"/>\n");
  for (const PlacedProbe& probe : chosen(outcome).probes) {
    const Point centre = view(outcome.access.spots[probe.spot].at);
    const bool bottom = outcome.access.targets[probe.target].side == Side::bottom;
    sheet.raw("<circle cx=\"" + num(centre.x) + "\" cy=\"" + num(centre.y) + "\" r=\"0.7\" fill=\"" +
              (bottom ? "white" : "black") + "\" stroke=\"" + (bottom ? "black" : "white") +
              "\" stroke-width=\"0.2\"/>\n");
  }
  for (const PlacedSupport& support : outcome.results.mechanics.supports) {
    const Point centre = view(support.at);
    if (support.finger)
      sheet.raw("<path d=\"M" + num(centre.x) + " " + num(centre.y - 1.6) +
                "l1.5 2.6h-3z\" fill=\"#f2f2f2\" stroke=\"black\" stroke-width=\"0.3\"/>\n");
    else
      sheet.box(centre.x - 1.3, centre.y - 1.3, 2.6, 2.6, "fill=\"#f2f2f2\" stroke=\"black\" stroke-width=\"0.3\"");
  }
}

void draw_scale(Sheet& sheet, Point at, double width, const Field& field) {
  for (int k = 0; k < kShades; ++k)
    sheet.box(at.x + width * k / kShades, at.y, width / kShades + 0.05, 4,
              "stroke=\"none\" fill=\"" + shade((k + 0.5) / kShades) + "\"");
  for (int k = 0; k <= 4; ++k)
    sheet.text({at.x + width * k / 4, at.y + 8}, 2.6,
               fixed(field.low + (field.high - field.low) * k / 4, field.decimals) +
                   (k == 4 ? std::string(" ") + field.unit : ""),
               "middle");
}

void draw_signs(Sheet& sheet, double y) {
  sheet.box(12, y - 2.6, 2.6, 2.6, "stroke-width=\"0.3\"");
  sheet.text({17, y}, 2.8, "board stop");
  sheet.raw("<path d=\"M43.5 " + num(y - 2.8) + "l1.5 2.6h-3z\" stroke-width=\"0.3\"/>\n");
  sheet.text({48, y}, 2.8, "push finger");
  sheet.raw("<circle cx=\"76\" cy=\"" + num(y - 1.1) + "\" r=\"1\" fill=\"white\" stroke-width=\"0.3\"/>\n");
  sheet.text({79, y}, 2.8, "probe, bottom");
  sheet.raw("<circle cx=\"110\" cy=\"" + num(y - 1.1) + "\" r=\"1\" fill=\"black\" stroke-width=\"0.3\"/>\n");
  sheet.text({113, y}, 2.8,
             "probe, top; parts outlined: ball grids and ceramics, or near their limit (thick: above it)");
}
}  // namespace

std::string bending_svg(const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  const PressedState* state = mechanics.at_full_stroke();
  const Box box = bounds(outcome.board.outline.outer);
  if (!state || !box.valid()) return Sheet(100, 20, "no bending").file();
  const double scale = std::clamp(190 / std::max(box.width(), box.height()), 0.2, 4.0);
  const double width = box.width() * scale, height = box.height() * scale;
  // The words need room that a narrow board does not.
  constexpr double kWords = 262, kTitle = 92;
  const double step = std::max(width + 36, kTitle);
  Sheet sheet(std::max(step + width + 24, kWords), height + 62,
              "bending of the board at full stroke, plan " + outcome.plan_id);
  sheet.text({12, 9}, 4.5,
             "Bending at full stroke, board " + std::string(to_string(state->worst)) +
                 " before it was pressed (the worst shape); strain where it is largest");
  sheet.text({12, 15}, 3,
             outcome.board.name + "; plan " + outcome.plan_id + "; seen from the top side; thickness " +
                 fixed(mechanics.stiffness.thickness, 2) + " mm, modulus " +
                 fixed(mechanics.stiffness.modulus / 1000, 1) + " GPa");
  double left = 12;
  for (const Field& field : {deflection_of(*state), strain_of(*mechanics.at_peak(), mechanics.limit)}) {
    const View view{box, {left, height + 28}, scale};
    sheet.text({left, 24}, 3.2, field.title);
    draw_field(sheet, view, mechanics.mesh, field);
    draw_board(sheet, view, outcome);
    draw_scale(sheet, {left, height + 34}, std::min(width, 120.0), field);
    left += step;
  }
  draw_signs(sheet, height + 56);
  return sheet.file();
}

}  // namespace teasel
