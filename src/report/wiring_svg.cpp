// A bed as the wireman sees it: receptacles, interface pins and a line for each wire.
#include <map>
#include <set>

#include "sheet.h"

namespace teasel {

namespace {
/// Colours of insulation by their everyday names; anything else is drawn grey and told by its name alone.
std::string paint(const std::string& colour) {
  static const std::map<std::string, std::string> known = {
      {"red", "#c0392b"},   {"black", "#20262c"},  {"yellow", "#c9a400"}, {"white", "#9aa4ad"},  {"blue", "#1f6fb2"},
      {"green", "#2b8a57"}, {"orange", "#d9731a"}, {"brown", "#7a4a21"},  {"violet", "#7b4fa3"}, {"grey", "#6b747c"}};
  const auto it = known.find(colour);
  return it == known.end() ? "#6b747c" : it->second;
}
}  // namespace

std::string wiring_file(const WiringFace& face) {
  return face.lower ? "wiring-lower.svg" : "wiring-upper.svg";
}

std::string wiring_svg(const Outcome& o, const WiringFace& face) {
  Box all = bounds(face.outline);
  for (const Wire& w : o.wiring)
    if (w.to_known) all.add(face.from_kit(w.to));
  all = all.grown(6);
  // Names stay legible: twice as large as the bed, but no larger than a sheet of A1.
  const double scale =
      std::clamp(std::min(800 / std::max(1.0, all.width()), 520 / std::max(1.0, all.height())), 0.2, 2.0);
  const double legend = 90, w_mm = all.width() * scale + 20 + legend, h_mm = std::max(all.height() * scale + 44, 150.0);
  Sheet s(w_mm, h_mm, std::string("wiring of the ") + (face.lower ? "lower" : "upper") + " bed, plan " + o.plan_id);
  const View v{all, {10, all.height() * scale + 26}, scale};
  s.text({10, 8}, 4.5,
         std::string("Wiring of the ") + (face.lower ? "lower" : "upper") + " bed, probes of the " +
             to_string(face.probes) + " side");
  s.text({10, 14}, 3,
         o.board.name + (o.board.revision.empty() ? "" : ", revision " + o.board.revision) + "; plan " + o.plan_id +
             "; scale " + short_number(scale, 2) + " : 1");
  s.text({10, 19.5}, 3, face.seen_from, "start", 0, face.mirrored ? "#b0213a" : kInk);
  s.raw("<path d=\"" + v.path(face.outline) + "\" stroke-width=\"0.5\"/>\n");
  if (face.board.size() >= 3)
    s.raw("<path d=\"" + v.path(face.board) +
          "\" stroke=\"#777\" stroke-dasharray=\"3 1 0.6 1\" stroke-width=\"0.2\"/>\n");
  struct Kind {
    int wires = 0;
    double metres = 0;
  };
  std::map<std::pair<std::string, std::string>, Kind> kinds;
  std::set<std::string> pins;
  int twisted = 0;
  for (const Wire& w : o.wiring) {
    if (w.side != to_string(face.probes)) continue;
    Kind& k = kinds[{w.gauge, w.colour}];
    ++k.wires;
    k.metres += w.length / 1000;
    twisted += !w.twisted_with.empty();
    if (!w.from_known || !w.to_known) continue;
    const Point a = v(face.from_kit(w.from)), b = v(face.from_kit(w.to));
    s.line(a, b,
           ("stroke=\"" + paint(w.colour) + "\" stroke-width=\"" + (w.kind == "signal" ? "0.18" : "0.4") + "\"" +
            (w.twisted_with.empty() ? "" : " stroke-dasharray=\"1.6 0.7\""))
               .c_str());
    pins.insert(w.pin);
  }
  for (const Wire& w : o.wiring) {
    if (w.side != to_string(face.probes) || !w.from_known) continue;
    const Point a = v(face.from_kit(w.from));
    s.raw("<circle cx=\"" + num(a.x) + "\" cy=\"" + num(a.y) + "\" r=\"0.6\" fill=\"white\" stroke-width=\"0.2\"/>\n");
    s.text({a.x + 0.8, a.y - 0.5}, 1.5, w.probe);
  }
  if (o.kit)
    for (const BlockPin& p : o.kit->block) {
      const Point a = v(face.from_kit(p.at));
      const bool used = pins.count(p.name) > 0;
      s.box(a.x - 0.8, a.y - 0.8, 1.6, 1.6,
            used ? "fill=\"#1b2530\" stroke-width=\"0.15\"" : "fill=\"white\" stroke=\"#888\" stroke-width=\"0.12\"");
      if (used) s.text({a.x, a.y - 1.1}, 1.3, p.name, "middle");
    }
  // What is on the drum, and how the lines are to be read.
  const double x = w_mm - legend;
  double y = 30;
  s.text({x, y}, 3.4, "Wires");
  y += 6;
  for (const auto& [kind, k] : kinds) {
    s.line({x, y - 1}, {x + 12, y - 1}, ("stroke=\"" + paint(kind.second) + "\" stroke-width=\"0.8\"").c_str());
    s.text({x + 14, y}, 2.8,
           kind.first + (kind.second.empty() ? "" : ", " + kind.second) + ": " + std::to_string(k.wires) +
               (k.metres > 0 ? ", " + fixed(k.metres, 1) + " m" : ""));
    y += 5;
  }
  s.line({x, y - 1}, {x + 12, y - 1}, "stroke-dasharray=\"1.6 0.7\" stroke-width=\"0.4\"");
  s.text({x + 14, y}, 2.8, "twisted pair, clock and ground: " + std::to_string(twisted / 2));
  y += 5;
  s.raw("<circle cx=\"" + num(x + 6) + "\" cy=\"" + num(y - 1) +
        "\" r=\"0.6\" fill=\"white\" stroke-width=\"0.2\"/>\n");
  s.text({x + 14, y}, 2.8, "receptacle with its probe's name");
  y += 5;
  s.box(x + 5.2, y - 1.8, 1.6, 1.6, "fill=\"#1b2530\"");
  s.text({x + 14, y}, 2.8, "interface pin in use (free ones are white)");
  y += 7;
  for (const std::string& l : wrapped(
           o.kit && !o.kit->block.empty()
               ? "Thick lines: supply and ground. Order, labels and lengths: wiring.csv."
               : "No kit is named: interface pins have no place, wires have no length. Order and labels: wiring.csv.",
           48)) {
    s.text({x, y}, 2.6, l);
    y += 4;
  }
  return s.file();
}

}  // namespace teasel
