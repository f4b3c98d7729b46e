// Drawings of the board, one a side, each as seen when looking at that side.
#include <algorithm>
#include <set>

#include "text.h"

namespace teasel {

namespace {
// Colours of the Okabe-Ito palette, made for colour-blind readers; classes differ by mark as well.
constexpr const char* kClassColour[] = {"#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00"};
constexpr double kDrawn = 0.008;  // mm; vertices that move an edge by less are left out of a drawing

std::string num(double v) {
  return short_number(v, 3);
}

/// Vertices that matter at drawing resolution.
Ring thinned(const Ring& ring) {
  if (ring.size() < 9) return ring;
  Ring out{ring[0]};
  std::size_t from = 0;
  for (std::size_t i = 2; i < ring.size(); ++i) {
    bool needed = false;
    for (std::size_t k = from + 1; k < i && !needed; ++k)
      needed = distance_to_segment(ring[k], ring[from], ring[i]) > kDrawn;
    if (needed) {
      from = i - 1;
      out.push_back(ring[from]);
    }
  }
  out.push_back(ring.back());
  return out;
}

class Drawing {
 public:
  Drawing(const Outcome& o, Side side, bool advice)
      : o_(o), side_(side), mirror_(side == Side::bottom), advice_(advice) {}
  std::string run();

 private:
  Point place(Point p) const { return {mirror_ ? -p.x : p.x, -p.y}; }
  std::string path(const Polygons& area) const {
    std::string d;
    for (const Polygon& p : area) {
      ring(p.outer, d);
      for (const Ring& h : p.holes) ring(h, d);
    }
    return d;
  }
  void ring(const Ring& r, std::string& d) const {
    bool first = true;
    for (Point p : thinned(r)) {
      p = place(p);
      d += (first ? "M" : "L") + num(p.x) + " " + num(p.y);
      first = false;
    }
    d += "Z";
  }
  void bodies();
  void copper();
  void probes();
  void tooling();
  void keep_outs();
  void advice();
  void legend(const Box& view);

  const Outcome& o_;
  Side side_;
  bool mirror_;
  bool advice_;  ///< show what to change instead of names of probes
  std::string s_;
  double text_ = 1;
};

void Drawing::bodies() {
  s_ += "<g id=\"bodies\" fill=\"#8a8f98\" fill-opacity=\".28\" stroke=\"#5c626c\" stroke-width=\".06\">\n";
  std::string labels;
  for (const Component& c : o_.board.components) {
    if (c.body.empty() || c.side != side_) continue;
    const char* dash = c.height_known == Known::confirmed ? "" : " stroke-dasharray=\".4 .25\"";
    s_ += "<path" + std::string(dash) + " d=\"" + path(c.body) + "\"><title>" + escaped(c.name) + ", height " +
          num(c.height) + " mm " + to_string(c.height_known) + "</title></path>\n";
    const Box b = bounds(c.body);
    const Point at = place(b.centre());
    const double size = std::min(
        {b.height() * 0.45, b.width() / (0.65 * static_cast<double>(std::max<std::size_t>(c.name.size(), 2))), 3.0});
    if (size >= 0.35)
      labels += "<text x=\"" + num(at.x) + "\" y=\"" + num(at.y + size * 0.35) + "\" font-size=\"" + num(size) + "\">" +
                escaped(c.name) + "</text>\n";
  }
  s_ +=
      "</g>\n<g id=\"names\" fill=\"#3d424a\" text-anchor=\"middle\" font-family=\"sans-serif\">\n" + labels + "</g>\n";
}

void Drawing::copper() {
  std::vector<bool> open(o_.board.exposures.size());
  for (std::size_t t = 0; t < o_.access.targets.size(); ++t)
    if (o_.access.open(t, o_.access.targets[t].side == chosen(o_).option.main))
      open[static_cast<std::size_t>(o_.access.targets[t].exposure)] = true;
  // One path for all blocked copper, one for the open: small files, and told apart by outline as well as by colour.
  std::string blocked, free;
  for (std::size_t i = 0; i < o_.board.exposures.size(); ++i)
    if (o_.board.exposures[i].side == side_) (open[i] ? free : blocked) += path(o_.board.exposures[i].copper);
  s_ += "<path id=\"blocked\" fill=\"#c9b27a\" fill-rule=\"evenodd\" d=\"" + blocked + "\"/>\n";
  s_ += "<path id=\"open\" fill=\"#f0d060\" stroke=\"#6b5200\" stroke-width=\".05\" fill-rule=\"evenodd\" d=\"" + free +
        "\"/>\n";
}

void Drawing::tooling() {
  s_ += "<g id=\"holes\" fill=\"#ffffff\" stroke=\"#333\" stroke-width=\".08\">\n";
  for (const BoardHole& h : o_.board.holes) {
    if (h.diameter < 0.8 || h.slot) continue;
    const Point p = place(h.at);
    s_ += "<circle cx=\"" + num(p.x) + "\" cy=\"" + num(p.y) + "\" r=\"" + num(h.diameter / 2) + "\"/>";
  }
  s_ += "\n</g>\n<g id=\"tooling\" fill=\"none\" stroke=\"#000\" stroke-width=\".15\">\n";
  for (std::size_t i = 0; i < o_.board.tooling.size(); ++i) {
    const BoardHole& h = o_.board.holes[static_cast<std::size_t>(o_.board.tooling[i])];
    const Point p = place(h.at);
    const double r = h.diameter / 2 + 0.5;
    s_ += "<path d=\"M" + num(p.x - r) + " " + num(p.y) + "H" + num(p.x + r) + "M" + num(p.x) + " " + num(p.y - r) +
          "V" + num(p.y + r) + "\"/><circle cx=\"" + num(p.x) + "\" cy=\"" + num(p.y) + "\" r=\"" + num(r) +
          "\"><title>" + (i == 0 ? "round pin" : "relieved pin") + "</title></circle>\n";
  }
  s_ += "</g>\n";
}

void Drawing::probes() {
  s_ += "<g id=\"probes\" font-family=\"sans-serif\">\n";
  for (const PlacedProbe& p : chosen(o_).probes) {
    if (o_.access.targets[static_cast<std::size_t>(p.target)].side != side_) continue;
    const std::size_t k = static_cast<std::size_t>(p.probe_class);
    const ProbeClass& c = o_.catalogue.classes[k];
    const Point at = place(o_.access.spots[static_cast<std::size_t>(p.spot)].at);
    const double r = c.receptacle_drill.v / 2;
    const std::string x = num(at.x), y = num(at.y), colour = kClassColour[k % std::size(kClassColour)];
    s_ += "<g stroke=\"" + colour + "\" fill=\"none\" stroke-width=\"" + num(r * 0.22) + "\"><title>" + p.name + " " +
          escaped(net_name(o_, p.need)) + " on " + escaped(feature_of(o_, p.target).name) + ", " + c.name +
          "</title><circle cx=\"" + x + "\" cy=\"" + y + "\" r=\"" + num(r) + "\"/>";
    // The mark inside says the class without colour: dot, bar, upright, cross.
    if (k % 4 == 0)
      s_ += "<circle cx=\"" + x + "\" cy=\"" + y + "\" r=\"" + num(r * 0.25) + "\" fill=\"" + colour + "\"/>";
    if (k % 4 == 1 || k % 4 == 3) s_ += "<path d=\"M" + num(at.x - r) + " " + y + "H" + num(at.x + r) + "\"/>";
    if (k % 4 == 2 || k % 4 == 3) s_ += "<path d=\"M" + x + " " + num(at.y - r) + "V" + num(at.y + r) + "\"/>";
    s_ += "<text x=\"" + num(at.x + r * 1.1) + "\" y=\"" + num(at.y - r * 0.8) + "\" font-size=\"" + num(r * 0.9) +
          "\" fill=\"#111\" stroke=\"#fff\" stroke-width=\"" + num(r * 0.18) +
          "\" paint-order=\"stroke\" transform=\"rotate(-40 " + num(at.x + r * 1.1) + " " + num(at.y - r * 0.8) +
          ")\">" + p.name + "</text></g>\n";
  }
  s_ += "</g>\n";
}

/// Where a change would open a net: a square for a new pad with its free circle, a diamond for an opened mask, a cross
/// for the rest.
void Drawing::advice() {
  s_ += "<g id=\"advice\" font-family=\"sans-serif\">\n";
  std::set<int> placed;  // of each net the first place stands out: the others are not kept clear of one another
  for (const Advice& a : o_.advice) {
    if (a.side != side_) continue;
    const Point p = place(a.at);
    const std::string x = num(p.x), y = num(p.y),
                      title = "<title>" + escaped(net_name(o_, a.need) + ": " + a.action) + "</title>";
    const double r = o_.rules.advice.pad_diameter.v / 2;
    const bool first = a.kind == AdviceKind::add_pad && placed.insert(a.need).second;
    if (a.kind == AdviceKind::add_pad) {
      s_ += std::string("<g fill=\"none\" stroke=\"#7a1fa2\" stroke-width=\".08\"") +
            (first ? "" : " stroke-opacity=\".35\"") + ">" + title + "<circle cx=\"" + x + "\" cy=\"" + y + "\" r=\"" +
            num(a.free_diameter / 2) + "\" stroke-dasharray=\".3 .2\"/><rect x=\"" + num(p.x - r) + "\" y=\"" +
            num(p.y - r) + "\" width=\"" + num(2 * r) + "\" height=\"" + num(2 * r) + "\" stroke-width=\".16\"/></g>\n";
    } else if (a.kind == AdviceKind::open_mask) {
      s_ += "<path d=\"M" + num(p.x - r) + " " + y + "L" + x + " " + num(p.y - r) + "L" + num(p.x + r) + " " + y + "L" +
            x + " " + num(p.y + r) + "Z\" fill=\"none\" stroke=\"#1b5e20\" stroke-width=\".14\">" + title + "</path>\n";
    } else {
      s_ += "<path d=\"M" + num(p.x - r * .6) + " " + num(p.y - r * .6) + "L" + num(p.x + r * .6) + " " +
            num(p.y + r * .6) + "M" + num(p.x - r * .6) + " " + num(p.y + r * .6) + "L" + num(p.x + r * .6) + " " +
            num(p.y - r * .6) + "\" stroke=\"#b71c1c\" stroke-width=\".14\">" + title + "</path>\n";
    }
    if (first)
      s_ += "<text x=\"" + num(p.x + r * 1.1) + "\" y=\"" + num(p.y - r * .6) +
            "\" font-size=\".8\" fill=\"#4a0072\" stroke=\"#fff\" stroke-width=\".15\" paint-order=\"stroke\">" +
            escaped(net_name(o_, a.need)) + "</text>\n";
  }
  s_ += "</g>\n";
}

/// Areas that something else needs, with its name.
void Drawing::keep_outs() {
  s_ +=
      "<g id=\"keep-outs\" fill=\"#b03a2e\" fill-opacity=\".12\" stroke=\"#b03a2e\" stroke-width=\".12\" "
      "stroke-dasharray=\".8 .4\">\n";
  for (const KeepOut& k : o_.job.keep_outs)
    if (k.side == "both" || k.side == to_string(side_))
      s_ += "<path d=\"" + path(k.area) + "\"><title>" +
            escaped(k.name == k.kind ? k.name : k.name + " (" + k.kind + ")") + "</title></path>\n";
  s_ += "</g>\n<g id=\"keep-out-names\" fill=\"#7d2419\" text-anchor=\"middle\" font-family=\"sans-serif\">\n";
  for (const KeepOut& k : o_.job.keep_outs) {
    if (k.side != "both" && k.side != to_string(side_)) continue;
    const Box b = bounds(k.area);
    const Point at = place(b.centre());
    const double size = std::min(
        {b.height() * 0.45, b.width() / (0.6 * static_cast<double>(std::max<std::size_t>(k.name.size(), 2))), 3.0});
    if (size >= 0.35)
      s_ += "<text x=\"" + num(at.x) + "\" y=\"" + num(at.y + size * 0.35) + "\" font-size=\"" + num(size) + "\">" +
            escaped(k.name) + "</text>\n";
  }
  s_ += "</g>\n";
}

void Drawing::legend(const Box& view) {
  const double h = text_;
  double y = view.y1 + 1.6 * h;
  auto line = [&](const std::string& t, const char* weight = "normal") {
    s_ += "<text x=\"" + num(view.x0) + "\" y=\"" + num(y) + "\" font-size=\"" + num(h) + "\" font-weight=\"" + weight +
          "\">" + escaped(t) + "</text>\n";
    y += 1.35 * h;
  };
  s_ += "<g id=\"legend\" font-family=\"sans-serif\" fill=\"#111\">\n";
  line(o_.board.name + (o_.board.revision.empty() ? "" : "  revision " + o_.board.revision) + "   " + to_string(side_) +
           " side, seen looking at the " + to_string(side_) + (mirror_ ? " (X reversed against the board frame)" : ""),
       "bold");
  line("plan " + o_.plan_id + "   units mm   " + chosen(o_).option.name());
  if (advice_) {
    line("purple squares: new test pads with the empty circle about each (pale: a second, roomier place)");
    line("green diamonds: open the mask; red crosses: a rule to relax, a side to use, a part to move or leave out");
    line("all of them, in words, in advice.csv");
    s_ += "</g>\n";
    return;
  }
  double x = view.x0 + 0.2 * h;
  for (std::size_t k = 0; k < o_.catalogue.classes.size(); ++k) {
    static const char* marks[] = {"ring and dot", "ring and bar", "ring and upright", "ring and cross"};
    const std::string t = o_.catalogue.classes[k].name + ": " + marks[k % 4];
    s_ += "<circle cx=\"" + num(x + h * 0.4) + "\" cy=\"" + num(y - h * 0.35) + "\" r=\"" + num(h * 0.4) +
          "\" fill=\"none\" stroke-width=\"" + num(h * 0.15) + "\" stroke=\"" +
          kClassColour[k % std::size(kClassColour)] + "\"/><text x=\"" + num(x + h) + "\" y=\"" + num(y) +
          "\" font-size=\"" + num(h * 0.8) + "\">" + t + "</text>\n";
    x += h * 0.55 * static_cast<double>(t.size()) + 2 * h;
  }
  y += 1.35 * h;
  line("bright pads with an edge: open to a probe; dull pads: blocked");
  if (!o_.coverage.waived.empty()) {
    std::string names;
    for (const WaivedProbe& w : o_.coverage.waived)
      names += (names.empty() ? "" : ", ") + chosen(o_).probes[static_cast<std::size_t>(w.probe)].name;
    line("on waivers: " + names);
  }
  const bool kept = std::any_of(o_.job.keep_outs.begin(), o_.job.keep_outs.end(),
                                [&](const KeepOut& k) { return k.side == "both" || k.side == to_string(side_); });
  line(std::string("dashed bodies: assumed; crossed circles: tooling holes") +
       (kept ? "; red dashed areas: kept free" : ""));
  s_ += "</g>\n";
}

std::string Drawing::run() {
  Box view;
  for (Point p : o_.board.outline.outer) view.add(place(p));
  for (const Exposure& e : o_.board.exposures)
    if (e.side == side_) view.add(place(e.aim));
  const double size = std::max(view.width(), view.height());
  text_ = std::clamp(std::min(size / 60, view.width() / 50), 0.5, 4.0);
  const Box framed = view.grown(size * 0.02);
  const double legend_height = text_ * 8.5;
  s_ = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"" + num(framed.x0) + " " + num(framed.y0) + " " +
       num(framed.width()) + " " + num(framed.height() + legend_height) + "\" width=\"" + num(framed.width()) +
       "mm\" height=\"" + num(framed.height() + legend_height) + "mm\">\n";
  s_ += "<title>" + escaped(o_.board.name) + " " + to_string(side_) + ", plan " + o_.plan_id + "</title>\n";
  s_ += "<rect x=\"" + num(framed.x0) + "\" y=\"" + num(framed.y0) + "\" width=\"" + num(framed.width()) +
        "\" height=\"" + num(framed.height() + legend_height) + "\" fill=\"#fff\"/>\n";
  s_ += "<path id=\"outline\" fill=\"#e4ece2\" stroke=\"#222\" stroke-width=\"" + num(size / 900) +
        "\" fill-rule=\"evenodd\" d=\"" + path({o_.board.outline}) + "\"/>\n";
  if (!o_.board.places.empty())
    s_ += "<path id=\"boards\" fill=\"#d6e2d3\" stroke=\"#222\" stroke-width=\"" + num(size / 1500) +
          "\" fill-rule=\"evenodd\" d=\"" + path(o_.board.pieces) + "\"/>\n";
  copper();
  bodies();
  keep_outs();
  tooling();
  if (advice_)
    advice();
  else
    probes();
  legend(framed);
  return s_ + "</svg>\n";
}
}  // namespace

std::string board_svg(const Outcome& o, Side side) {
  return Drawing(o, side, false).run();
}
std::string advice_svg(const Outcome& o, Side side) {
  return Drawing(o, side, true).run();
}

}  // namespace teasel
