// A bed as the wireman sees it: receptacles, interface pins and a line for each wire.
#include <algorithm>
#include <map>
#include <set>

#include "labels.h"
#include "sheet.h"

namespace teasel {

namespace {
/// Colours of insulation by their everyday names; anything else is drawn grey and told by its name alone.
Markup paint(const std::string& colour) {
  static const std::map<std::string, const char*> known = {
      {"red", "#c0392b"},   {"black", "#20262c"},  {"yellow", "#c9a400"}, {"white", "#9aa4ad"},  {"blue", "#1f6fb2"},
      {"green", "#2b8a57"}, {"orange", "#d9731a"}, {"brown", "#7a4a21"},  {"violet", "#7b4fa3"}, {"grey", "#6b747c"}};
  const auto it = known.find(colour);
  return it == known.end() ? "#6b747c" : it->second;
}
/// Wires of one gauge and colour.
struct Drum {
  int wires = 0;
  double metres = 0;
};
/// Wires of one bed, and what their legend says.
struct DrawnWires {
  std::map<std::pair<std::string, std::string>, Drum> drums;  ///< by gauge and colour
  std::set<std::string> pins;                                 ///< in use
  int twisted = 0;
};

DrawnWires draw_wires(Sheet& sheet, const View& view, const Outcome& outcome, const WiringFace& face) {
  DrawnWires drawn;
  for (const Wire& wire : outcome.results.wiring) {
    if (wire.side != face.probes) continue;
    Drum& drum = drawn.drums[{wire.gauge, wire.colour}];
    ++drum.wires;
    drum.metres += wire.length.v / 1000;
    drawn.twisted += !wire.twisted_with.empty();
    if (!wire.from_known || !wire.to_known) continue;
    const Markup stroke = "stroke=\"" + paint(wire.colour) + "\" stroke-width=\"" +
                          (wire.kind == "signal" ? "0.18" : "0.4") + "\"" +
                          (wire.twisted_with.empty() ? "" : " stroke-dasharray=\"1.6 0.7\"");
    sheet.line(view(face.from_kit(wire.from).point()), view(face.from_kit(wire.to).point()), stroke);
    drawn.pins.insert(wire.pin);
  }
  return drawn;
}

const std::vector<BlockPin>& connector_pins(const Outcome& outcome) {
  return outcome.standing.used ? outcome.standing.pins : outcome.results.mechanism.pins;
}

/// Receptacles with probe and net, pins with their names. A label that finds no room beside its place stands farther
/// out, with a line to it.
void draw_ends(Sheet& sheet, const View& view, const Outcome& outcome, const WiringFace& face,
               const std::set<std::string>& pins) {
  constexpr double kEnd = 0.6, kPin = 0.8, kFar = 14, kNear = 1.2;  // mm on paper
  LabelRoom room;
  std::vector<std::pair<Point, const Wire*>> ends;
  for (const Wire& wire : outcome.results.wiring) {
    if (wire.side != face.probes || !wire.from_known) continue;
    const Point at = view(face.from_kit(wire.from).point());
    ends.emplace_back(at, &wire);
    room.keep_clear({at.x - kEnd, at.y - kEnd, at.x + kEnd, at.y + kEnd});
  }
  // By place: names decide nothing.
  std::stable_sort(ends.begin(), ends.end(), [](const auto& a, const auto& b) {
    return a.first.y != b.first.y ? a.first.y < b.first.y : a.first.x < b.first.x;
  });
  const auto label = [&](Point at, double radius, const std::string& text, double size) {
    const auto place = room.place(at, radius, text.size(), size, kFar);
    if (!place) return false;
    const Point near{std::clamp(at.x, place->x, place->x + 0.62 * size * static_cast<double>(text.size())),
                     std::clamp(at.y, place->y - 0.8 * size, place->y)};
    if (distance(near, at) > radius + kNear)
      sheet.raw("<path class=\"to-label\" d=\"M" + num(at.x) + " " + num(at.y) + "L" + num(near.x) + " " + num(near.y) +
                "\" stroke=\"#888\" stroke-width=\"0.08\"/>\n");
    sheet.text(*place, size, text);
    return true;
  };
  for (const auto* block : {outcome.kit ? &outcome.kit->block : nullptr, &connector_pins(outcome)})
    for (const BlockPin& pin : block ? *block : std::vector<BlockPin>{}) {
      const Point a = view(face.from_kit(pin.at).point());
      const bool used = pins.count(pin.name) > 0;
      sheet.box(
          a.x - kPin, a.y - kPin, 2 * kPin, 2 * kPin,
          used ? "fill=\"#1b2530\" stroke-width=\"0.15\"" : "fill=\"white\" stroke=\"#888\" stroke-width=\"0.12\"");
      room.keep_clear({a.x - kPin, a.y - kPin, a.x + kPin, a.y + kPin});
    }
  for (const auto& [at, wire] : ends) {
    sheet.raw("<circle cx=\"" + num(at.x) + "\" cy=\"" + num(at.y) + "\" r=\"" + num(kEnd) +
              "\" fill=\"white\" stroke-width=\"0.2\"/>\n");
    if (!label(at, kEnd, wire->probe + " " + wire->net, 1.5)) label(at, kEnd, wire->probe, 1.3);
  }
  for (const auto* block : {outcome.kit ? &outcome.kit->block : nullptr, &connector_pins(outcome)})
    for (const BlockPin& pin : block ? *block : std::vector<BlockPin>{})
      if (pins.count(pin.name)) label(view(face.from_kit(pin.at).point()), kPin, pin.name, 1.3);
}

/// What is on the drums, and how the lines are to be read.
void draw_legend(Sheet& sheet, Point at, const Outcome& outcome, const DrawnWires& drawn) {
  const double x = at.x;
  double y = at.y;
  sheet.text({x, y}, 3.4, "Wires");
  y += 6;
  for (const auto& [kind, drum] : drawn.drums) {
    sheet.line({x, y - 1}, {x + 12, y - 1}, "stroke=\"" + paint(kind.second) + "\" stroke-width=\"0.8\"");
    sheet.text({x + 14, y}, 2.8,
               kind.first + (kind.second.empty() ? "" : ", " + kind.second) + ": " + std::to_string(drum.wires) +
                   (drum.metres > 0 ? ", " + fixed(drum.metres, 1) + " m" : ""));
    y += 5;
  }
  sheet.line({x, y - 1}, {x + 12, y - 1}, "stroke-dasharray=\"1.6 0.7\" stroke-width=\"0.4\"");
  sheet.text({x + 14, y}, 2.8, "twisted pair, clock and ground: " + std::to_string(drawn.twisted / 2));
  y += 5;
  sheet.raw("<circle cx=\"" + num(x + 6) + "\" cy=\"" + num(y - 1) +
            "\" r=\"0.6\" fill=\"white\" stroke-width=\"0.2\"/>\n");
  sheet.text({x + 14, y}, 2.8, "receptacle with its probe's name");
  y += 5;
  sheet.box(x + 5.2, y - 1.8, 1.6, 1.6, "fill=\"#1b2530\"");
  sheet.text({x + 14, y}, 2.8, "interface pin in use (free ones are white)");
  y += 7;
  for (const std::string& line : wrapped(
           (outcome.kit && !outcome.kit->block.empty()) || !connector_pins(outcome).empty()
               ? "Thick lines: supply and ground. Order, labels and lengths: wiring.csv."
               : "No kit is named, so interface pins have no place and wires no length. Order and labels: wiring.csv.",
           48)) {
    sheet.text({x, y}, 2.6, line);
    y += 4;
  }
}
}  // namespace

std::string wiring_file(const WiringFace& face) {
  return face.lower ? "wiring-lower.svg" : "wiring-upper.svg";
}

std::string wiring_svg(const Outcome& outcome, const WiringFace& face) {
  Box all = bounds(face.outline);
  for (const Wire& wire : outcome.results.wiring)
    if (wire.to_known) all.add(face.from_kit(wire.to).point());
  all = all.grown(6);
  // Names stay legible: twice as large as the bed, but no larger than a sheet of A1.
  const double scale =
      std::clamp(std::min(800 / std::max(1.0, all.width()), 520 / std::max(1.0, all.height())), 0.2, 2.0);
  constexpr double kLegend = 90;
  const double width = all.width() * scale + 20 + kLegend, height = std::max(all.height() * scale + 44, 150.0);
  Sheet sheet(width, height,
              std::string("wiring of the ") + (face.lower ? "lower" : "upper") + " bed, plan " + outcome.plan_id);
  const View view{all, {10, all.height() * scale + 26}, scale};
  sheet.text({10, 8}, 4.5,
             std::string("Wiring of the ") + (face.lower ? "lower" : "upper") + " bed, probes of the " +
                 to_string(face.probes) + " side");
  sheet.text({10, 14}, 3,
             outcome.board.name + (outcome.board.revision.empty() ? "" : ", revision " + outcome.board.revision) +
                 "; plan " + outcome.plan_id + "; scale " + short_number(scale, 2) + " : 1");
  sheet.text({10, 19.5}, 3, face.seen_from, "start", 0, face.mirrored ? "#b0213a" : kInk);
  sheet.raw("<path d=\"" + view.path(face.outline) + "\" stroke-width=\"0.5\"/>\n");
  if (face.board.size() >= 3)
    sheet.raw("<path d=\"" + view.path(face.board) +
              "\" stroke=\"#777\" stroke-dasharray=\"3 1 0.6 1\" stroke-width=\"0.2\"/>\n");
  const DrawnWires drawn = draw_wires(sheet, view, outcome, face);
  draw_ends(sheet, view, outcome, face, drawn.pins);
  draw_legend(sheet, {width - kLegend, 30}, outcome, drawn);
  return sheet.file();
}

}  // namespace teasel
