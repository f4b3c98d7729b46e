// Drawings of a respin: a plate with what stays, goes and comes; two revisions of a board over one another.
#include <cmath>
#include <map>
#include <set>

#include "sheet.h"

namespace teasel {

namespace {
// M. Okabe, K. Ito, Color universal design, 2008. A sign besides each: never colour alone.
constexpr const char *kGoes = "#d55e00", *kComes = "#0072b2", *kStays = "#8a939b", *kIdle = "#b9c0c6";

std::string circle(Point c, double r, const std::string& extra) {
  return "<circle cx=\"" + num(c.x) + "\" cy=\"" + num(c.y) + "\" r=\"" + num(r) + "\" " + extra + "/>\n";
}
std::string cross(Point c, double r, const char* colour) {
  const double a = r * 0.8 + 0.5;
  return "<path d=\"M" + num(c.x - a) + " " + num(c.y - a) + "l" + num(2 * a) + " " + num(2 * a) + "M" + num(c.x - a) +
         " " + num(c.y + a) + "l" + num(2 * a) + " " + num(-2 * a) + "\" stroke=\"" + colour +
         "\" stroke-width=\"0.35\"/>\n";
}

/// Signs and words in a row.
struct Legend {
  Sheet& s;
  Point at;
  void entry(const std::string& sign, const std::string& words, double width) {
    s.raw(sign);
    s.text({at.x + 4, at.y + 1}, 2.8, words);
    at.x += width;
  }
};
}  // namespace

std::string rework_svg(const Outcome& o, const PlateRework& r) {
  const Plate& p = r.plate;
  // The board's place and what is worked on; a blank may be far larger.
  const Ring board = transformed(o.board.outline.outer, p.from_board);
  Box shown = bounds(board);
  for (const PlateHole& h : p.holes) shown.add(h.plate);
  for (const StandingPlateHole& h : r.plugged) shown.add(h.plate);
  for (const Pocket& k : p.pockets) shown.add(bounds(k.area));
  const Box outline = bounds(p.outline);
  shown = shown.valid() ? shown.grown(8) : outline;
  shown = {std::max(shown.x0, outline.x0), std::max(shown.y0, outline.y0), std::min(shown.x1, outline.x1),
           std::min(shown.y1, outline.y1)};
  const double scale = std::clamp(380 / std::max(shown.width(), 1.0), 0.2, 2.0), height = shown.height() * scale;
  Sheet s(std::max(shown.width() * scale + 20, 230.0), height + 52, "rework of " + p.name + ", plan " + o.plan_id);
  const View v{shown, {10, height + 28}, scale};
  s.text({10, 8}, 4.2, "Rework: " + p.name + ", plan " + o.plan_id);
  s.text({10, 13.5}, 2.8, p.seen_from);
  s.text({10, 18}, 2.8, p.datum);
  s.text({10, 22.5}, 2.8,
         "Shown: x from " + fixed(shown.x0, 1) + " to " + fixed(shown.x1, 1) + " mm, y from " + fixed(shown.y0, 1) +
             " to " + fixed(shown.y1, 1) + " mm of the plate, " + short_number(scale, 2) + " : 1");
  s.raw("<clipPath id=\"shown-" + p.stem + "\"><rect x=\"9\" y=\"27\" width=\"" + num(shown.width() * scale + 2) +
        "\" height=\"" + num(height + 2) + "\"/></clipPath><g clip-path=\"url(#shown-" + p.stem + ")\">\n");
  s.raw("<path d=\"" + v.path(p.outline) + "\" stroke-width=\"0.5\"/>\n");
  for (const StandingPocket& k : r.pockets)
    s.raw("<path d=\"" + v.path(k.area) + "\" fill=\"#eef1f4\" fill-rule=\"evenodd\" stroke=\"" + kIdle +
          "\" stroke-width=\"0.15\"/>\n");
  for (const Pocket& k : p.pockets)
    s.raw("<path d=\"" + v.path(k.area) + "\" fill=\"" + kComes +
          "\" fill-opacity=\"0.15\" fill-rule=\"evenodd\" stroke=\"" + kComes + "\" stroke-width=\"0.3\"/>\n");
  if (board.size() >= 3)
    s.raw("<path d=\"" + v.path(board) + "\" stroke=\"#777\" stroke-dasharray=\"3 1 0.6 1\" stroke-width=\"0.2\"/>\n");
  auto radius = [&](double diameter) { return diameter / 2 * scale; };
  for (const StandingPlateHole& h : r.stays)
    s.raw(circle(v(h.plate), radius(h.diameter), "stroke=\"" + std::string(kStays) + "\" stroke-width=\"0.15\""));
  for (const StandingPlateHole& h : r.left)
    s.raw(circle(v(h.plate), radius(h.diameter),
                 "stroke=\"" + std::string(kIdle) + "\" stroke-dasharray=\"0.6 0.4\" stroke-width=\"0.15\""));
  for (const StandingPlateHole& h : r.plugged) {
    const Point c = v(h.plate);
    const double q = radius(h.diameter);
    s.raw(circle(c, q, "stroke=\"" + std::string(kGoes) + "\" stroke-width=\"0.25\"") + cross(c, q, kGoes));
    s.text({c.x + q + 0.6, c.y + q + 1.6}, 2, h.label, "start", 0, kGoes);
  }
  for (const PlateHole& h : p.holes) {
    const Point c = v(h.plate);
    const double q = radius(h.diameter);
    s.raw(circle(c, q,
                 "stroke=\"" + std::string(kComes) + "\" fill=\"" + kComes +
                     "\" fill-opacity=\"0.35\" stroke-width=\"0.3\"") +
          "<path d=\"M" + num(c.x - q - 1) + " " + num(c.y) + "h" + num(2 * q + 2) + "M" + num(c.x) + " " +
          num(c.y - q - 1) + "v" + num(2 * q + 2) + "\" stroke=\"" + kComes + "\" stroke-width=\"0.12\"/>\n");
    s.text({c.x + q + 0.6, c.y - q - 0.4}, 2, h.label, "start", 0, kComes);
  }
  s.raw("</g>\n");
  const double y = height + 36;
  Legend l{s, {12, y}};
  l.entry(circle({13, y}, 1.2, "stroke=\"" + std::string(kComes) + "\" fill=\"" + kComes + "\" fill-opacity=\"0.35\"") +
              "<path d=\"M10.6 " + num(y) + "h4.8M13 " + num(y - 2.4) + "v4.8\" stroke=\"" + kComes +
              "\" stroke-width=\"0.12\"/>\n",
          " drill (" + std::to_string(p.holes.size()) + "), pocket to mill tinted", 62);
  l.entry(circle({75, y}, 1.2, "stroke=\"" + std::string(kGoes) + "\"") + cross({75, y}, 1.2, kGoes),
          " take out and plug (" + std::to_string(r.plugged.size()) + ")", 45);
  l.entry(circle({120, y}, 1.2, "stroke=\"" + std::string(kStays) + "\""),
          " stays (" + std::to_string(r.stays.size()) + ")", 30);
  l.entry(circle({150, y}, 1.2, "stroke=\"" + std::string(kIdle) + "\" stroke-dasharray=\"0.6 0.4\""),
          " idle, may stay open (" + std::to_string(r.left.size()) + ")", 50);
  s.text({12, y + 9}, 2.6, "Places are in rework.csv and in the files of this folder; this drawing is no template.");
  return s.file();
}

std::string old_over_new_svg(const Outcome& o, Side side) {
  const Respin& r = o.respin;
  const Affine back = inverse(r.laying.map);
  Affine view;
  if (side == Side::bottom) view.a = -1;
  const auto i = static_cast<std::size_t>(side);
  const Ring now = transformed(r.now.outline.outer, view),
             before = transformed(transformed(r.old.outline.outer, back), view);
  Box box = bounds(now);
  box.add(bounds(before));
  if (!box.valid()) box = {0, 0, 10, 10};
  const double scale = std::clamp(240 / std::max(box.width(), box.height()), 0.5, 4.0), height = box.height() * scale;
  Sheet s(std::max(box.width() * scale + 20, 230.0), height + 40,
          std::string("old over new, ") + to_string(side) + " side, plan " + o.plan_id);
  const View v{box, {10, height + 22}, scale};
  s.text({10, 8}, 4.2,
         std::string("Old over new, ") + to_string(side) + " side" +
             (side == Side::bottom ? ", seen from below: X reversed" : ", seen from above"));
  s.text({10, 14}, 2.8,
         r.from_name + " under " + r.now.name + (r.now.revision.empty() ? "" : ", revision " + r.now.revision) +
             "; plan " + o.plan_id + "; frame of the new board");
  auto rect = [&](const Box& b) { return transformed(rectangle(b.centre(), b.width(), b.height()), view); };
  const std::vector<int>& pads = r.pads;
  std::vector<char> met(r.now.pads.size());
  auto draw = [&](const Ring& ring, const char* colour, bool goes) {
    s.raw("<path d=\"" + v.path(ring) + "\" stroke=\"" + colour + "\" stroke-width=\"" + (goes ? "0.25" : "0.3") +
          "\"" +
          (goes ? " stroke-dasharray=\"1 0.6\"" : " fill=\"" + std::string(colour) + "\" fill-opacity=\"0.18\"") +
          "/>\n");
  };
  // What both have, first and faint.
  constexpr double kSame = 0.02;
  std::string same, goes_pads, comes_pads;
  for (std::size_t k = 0; k < pads.size(); ++k) {
    const Box& a = r.old.pads[k].bare[i];
    if (pads[k] >= 0) {
      const Box& b = r.now.pads[static_cast<std::size_t>(pads[k])].bare[i];
      const Box moved = a.valid() ? bounds(transformed(rectangle(a.centre(), a.width(), a.height()), back)) : a;
      if (a.valid() && b.valid() && std::abs(moved.x0 - b.x0) < kSame && std::abs(moved.x1 - b.x1) < kSame &&
          std::abs(moved.y0 - b.y0) < kSame && std::abs(moved.y1 - b.y1) < kSame) {
        met[static_cast<std::size_t>(pads[k])] = 1;
        same += v.path(rect(b));
        continue;
      }
    }
    if (a.valid())
      goes_pads += v.path(transformed(transformed(rectangle(a.centre(), a.width(), a.height()), back), view));
  }
  for (std::size_t k = 0; k < met.size(); ++k)
    if (const Box& b = r.now.pads[k].bare[i]; !met[k] && b.valid()) comes_pads += v.path(rect(b));
  s.raw("<path d=\"" + same + "\" fill=\"#dfe4e8\" stroke=\"none\"/>\n");
  std::map<std::string, const formats::BuiltPart*> old_parts;
  for (const auto& p : r.old.parts)
    if (p.side == side && !p.body.empty()) old_parts[p.name] = &p;
  std::set<std::string> changed;
  for (const BoardChange& c : r.changes)
    if (c.of == "part") changed.insert(c.name);
  for (const auto& p : r.now.parts) {
    if (p.side != side || p.body.empty()) continue;
    const auto it = old_parts.find(p.name);
    const Polygons was = it == old_parts.end() ? Polygons{} : transformed(it->second->body, back);
    if (it != old_parts.end()) old_parts.erase(it);
    const bool alike = !changed.count(p.name);
    if (alike) {
      for (const Polygon& q : p.body)
        s.raw("<path d=\"" + v.path(transformed(q.outer, view)) + "\" stroke=\"" + kIdle +
              "\" stroke-width=\"0.15\"/>\n");
      continue;
    }
    for (const Polygon& q : was) draw(transformed(q.outer, view), kGoes, true);
    for (const Polygon& q : p.body) draw(transformed(q.outer, view), kComes, false);
    s.text(v(view(bounds(p.body).centre())), 2.2, p.name, "middle", 0, kComes);
  }
  for (const auto& [name, p] : old_parts) {
    const Polygons was = transformed(p->body, back);
    for (const Polygon& q : was) draw(transformed(q.outer, view), kGoes, true);
    s.text(v(view(bounds(was).centre())), 2.2, name, "middle", 0, kGoes);
  }
  s.raw("<path d=\"" + goes_pads + "\" stroke=\"" + kGoes +
        "\" stroke-dasharray=\"0.5 0.3\" stroke-width=\"0.2\"/>\n<path d=\"" + comes_pads + "\" fill=\"" + kComes +
        "\" fill-opacity=\"0.6\" stroke=\"none\"/>\n");
  if (before.size() >= 3)
    s.raw("<path d=\"" + v.path(before) + "\" stroke=\"" + kGoes +
          "\" stroke-dasharray=\"2 1\" stroke-width=\"0.3\"/>\n");
  if (now.size() >= 3) s.raw("<path d=\"" + v.path(now) + "\" stroke=\"" + kInk + "\" stroke-width=\"0.35\"/>\n");
  const double y = height + 31;
  s.raw("<rect x=\"12\" y=\"" + num(y - 2) + "\" width=\"4\" height=\"3\" fill=\"" + kComes +
        "\" fill-opacity=\"0.5\" stroke=\"" + kComes + "\"/>\n<rect x=\"72\" y=\"" + num(y - 2) +
        "\" width=\"4\" height=\"3\" stroke=\"" + kGoes + "\" stroke-dasharray=\"0.8 0.5\"/>\n<rect x=\"132\" y=\"" +
        num(y - 2) + "\" width=\"4\" height=\"3\" fill=\"#dfe4e8\" stroke=\"" + kIdle + "\"/>\n");
  s.text({18, y + 0.6}, 2.8, "new, or where it is now: filled");
  s.text({78, y + 0.6}, 2.8, "gone, or where it was: dashed");
  s.text({138, y + 0.6}, 2.8, "on both as it was: grey");
  return s.file();
}

}  // namespace teasel
