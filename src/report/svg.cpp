// Drawings of the board, one a side, each as seen when looking at that side.
#include <algorithm>
#include <set>

#include "sheet.h"
#include "text.h"

namespace teasel {

namespace {
// Colours of the Okabe-Ito palette, made for colour-blind readers; classes differ by mark as well.
constexpr const char* kClassColour[] = {"#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00"};
constexpr double kLetter = 0.56;  // of its height: mean width of a letter, from memory
constexpr double kDrawn = 0.008;  // mm; vertices that move an edge by less are left out of a drawing

Markup num(double value) {
  return Xml::number(value, 3);
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
  Drawing(const Outcome& outcome, Side side, bool advice)
      : outcome_(outcome), side_(side), mirror_(side == Side::bottom), advice_(advice) {}
  std::string run();

 private:
  Point place(Point point) const { return {mirror_ ? -point.x : point.x, -point.y}; }
  Markup path(const Polygons& area) const {
    Markup drawn;
    for (const Polygon& polygon : area) {
      ring(polygon.outer, drawn);
      for (const Ring& hole : polygon.holes) ring(hole, drawn);
    }
    return drawn;
  }
  void ring(const Ring& corners, Markup& path) const {
    bool first = true;
    for (Point point : thinned(corners)) {
      point = place(point);
      path += (first ? "M" : "L") + num(point.x) + " " + num(point.y);
      first = false;
    }
    path += "Z";
  }
  void bodies();
  void copper();
  void probes();
  void tooling();
  void keep_outs();
  void advice();
  [[nodiscard]] std::vector<std::string> words() const;
  double class_marks(const Box& view, double y);
  double legend(const Box& view);

  const Outcome& outcome_;
  Side side_;
  bool mirror_;
  bool advice_;  ///< show what to change instead of names of probes
  Markup svg_;
  double letter_ = 1;
};

void Drawing::bodies() {
  svg_ += "<g id=\"bodies\" fill=\"#8a8f98\" fill-opacity=\".28\" stroke=\"#5c626c\" stroke-width=\".06\">\n";
  Markup labels;
  for (const Component& component : outcome_.board.components) {
    if (component.body.empty() || component.side != side_) continue;
    const char* dash = component.height_known == Known::confirmed ? "" : " stroke-dasharray=\".4 .25\"";
    svg_ += "<path" + Markup(dash) + " d=\"" + path(component.body) + "\"><title>" + escaped(component.name) +
            ", height " + num(component.height.v) + " mm " + to_string(component.height_known) + "</title></path>\n";
    const Box box = bounds(component.body);
    const Point at = place(box.centre());
    const double size = std::min(
        {box.height() * 0.45,
         box.width() / (0.65 * static_cast<double>(std::max<std::size_t>(component.name.text().size(), 2))), 3.0});
    if (size >= 0.35)
      labels += "<text x=\"" + num(at.x) + "\" y=\"" + num(at.y + size * 0.35) + "\" font-size=\"" + num(size) + "\">" +
                escaped(component.name) + "</text>\n";
  }
  svg_ +=
      "</g>\n<g id=\"names\" fill=\"#3d424a\" text-anchor=\"middle\" font-family=\"sans-serif\">\n" + labels + "</g>\n";
}

void Drawing::copper() {
  Table<ExposureId, char> open(outcome_.board.exposures.size());
  for (const TargetId target_id : outcome_.access.targets.ids())
    if (outcome_.access.open(target_id, outcome_.access.targets[target_id].side == chosen(outcome_).option.main))
      open[outcome_.access.targets[target_id].exposure] = 1;
  // One path for all blocked copper, one for the open: small files, and told apart by outline as well as by colour.
  Markup blocked, free;
  for (const ExposureId i : outcome_.board.exposures.ids())
    if (outcome_.board.exposures[i].side == side_)
      (open[i] ? free : blocked) += path(outcome_.board.exposures[i].copper);
  svg_ += "<path id=\"blocked\" fill=\"#c9b27a\" fill-rule=\"evenodd\" d=\"" + blocked + "\"/>\n";
  svg_ += "<path id=\"open\" fill=\"#f0d060\" stroke=\"#6b5200\" stroke-width=\".05\" fill-rule=\"evenodd\" d=\"" +
          free + "\"/>\n";
}

void Drawing::tooling() {
  svg_ += "<g id=\"holes\" fill=\"#ffffff\" stroke=\"#333\" stroke-width=\".08\">\n";
  for (const BoardHole& hole : outcome_.board.holes) {
    if (hole.diameter < Mm{0.8} || hole.slot) continue;
    const Point at = place(hole.at);
    svg_ += "<circle cx=\"" + num(at.x) + "\" cy=\"" + num(at.y) + "\" r=\"" + num(hole.diameter.v / 2) + "\"/>";
  }
  svg_ += "\n</g>\n<g id=\"tooling\" fill=\"none\" stroke=\"#000\" stroke-width=\".15\">\n";
  for (std::size_t i = 0; i < outcome_.board.tooling.size(); ++i) {
    const BoardHole& hole = outcome_.board.holes[outcome_.board.tooling[i]];
    const Point at = place(hole.at);
    const double radius = hole.diameter.v / 2 + 0.5;
    svg_ += "<path d=\"M" + num(at.x - radius) + " " + num(at.y) + "H" + num(at.x + radius) + "M" + num(at.x) + " " +
            num(at.y - radius) + "V" + num(at.y + radius) + "\"/><circle cx=\"" + num(at.x) + "\" cy=\"" + num(at.y) +
            "\" r=\"" + num(radius) + "\"><title>" + (i == 0 ? "round pin" : "relieved pin") + "</title></circle>\n";
  }
  svg_ += "</g>\n";
}

void Drawing::probes() {
  svg_ += "<g id=\"probes\" font-family=\"sans-serif\">\n";
  for (const PlacedProbe& probe : chosen(outcome_).probes) {
    if (outcome_.access.targets[probe.target].side != side_) continue;
    const std::size_t k = probe.probe_class.index();
    const ProbeClass& probe_class = outcome_.catalogue.classes[probe.probe_class];
    const Point at = place(outcome_.access.spots[probe.spot].at);
    const double radius = probe_class.receptacle_drill.v / 2;
    const Markup x = num(at.x), y = num(at.y), colour = kClassColour[k % std::size(kClassColour)];
    svg_ += "<g stroke=\"" + colour + "\" fill=\"none\" stroke-width=\"" + num(radius * 0.22) + "\"><title>" +
            escaped(probe.name + " " + net_name(outcome_, probe.need) + " on " +
                    feature_of(outcome_, probe.target).name + ", " + probe_class.name) +
            "</title><circle cx=\"" + x + "\" cy=\"" + y + "\" r=\"" + num(radius) + "\"/>";
    // The mark inside says the class without colour: dot, bar, upright, cross.
    if (k % 4 == 0)
      svg_ += "<circle cx=\"" + x + "\" cy=\"" + y + "\" r=\"" + num(radius * 0.25) + "\" fill=\"" + colour + "\"/>";
    if (k % 4 == 1 || k % 4 == 3)
      svg_ += "<path d=\"M" + num(at.x - radius) + " " + y + "H" + num(at.x + radius) + "\"/>";
    if (k % 4 == 2 || k % 4 == 3)
      svg_ += "<path d=\"M" + x + " " + num(at.y - radius) + "V" + num(at.y + radius) + "\"/>";
    svg_ += "<text x=\"" + num(at.x + radius * 1.1) + "\" y=\"" + num(at.y - radius * 0.8) + "\" font-size=\"" +
            num(radius * 0.9) + "\" fill=\"#111\" stroke=\"#fff\" stroke-width=\"" + num(radius * 0.18) +
            "\" paint-order=\"stroke\" transform=\"rotate(-40 " + num(at.x + radius * 1.1) + " " +
            num(at.y - radius * 0.8) + ")\">" + escaped(probe.name) + "</text></g>\n";
  }
  svg_ += "</g>\n";
}

/// Where a change would open a net: a square for a new pad with its free circle, a diamond for an opened mask, a cross
/// for the rest.
void Drawing::advice() {
  svg_ += "<g id=\"advice\" font-family=\"sans-serif\">\n";
  std::set<NeedId> placed;  // of each net the first place stands out: the others are not kept clear of one another
  for (const Advice& advice : outcome_.results.advice) {
    if (advice.side != side_) continue;
    const Point at = place(advice.at);
    const Markup x = num(at.x), y = num(at.y),
                 title = "<title>" + escaped(net_name(outcome_, advice.need) + ": " + advice.action) + "</title>";
    const double radius = outcome_.rules.advice.pad_diameter.v / 2;
    const bool first = advice.kind == AdviceKind::add_pad && placed.insert(advice.need).second;
    if (advice.kind == AdviceKind::add_pad) {
      svg_ += Markup("<g fill=\"none\" stroke=\"#7a1fa2\" stroke-width=\".08\"") +
              (first ? "" : " stroke-opacity=\".35\"") + ">" + title + "<circle cx=\"" + x + "\" cy=\"" + y +
              "\" r=\"" + num(advice.free_diameter.v / 2) + "\" stroke-dasharray=\".3 .2\"/><rect x=\"" +
              num(at.x - radius) + "\" y=\"" + num(at.y - radius) + "\" width=\"" + num(2 * radius) + "\" height=\"" +
              num(2 * radius) + "\" stroke-width=\".16\"/></g>\n";
    } else if (advice.kind == AdviceKind::open_mask) {
      svg_ += "<path d=\"M" + num(at.x - radius) + " " + y + "L" + x + " " + num(at.y - radius) + "L" +
              num(at.x + radius) + " " + y + "L" + x + " " + num(at.y + radius) +
              "Z\" fill=\"none\" stroke=\"#1b5e20\" stroke-width=\".14\">" + title + "</path>\n";
    } else {
      svg_ += "<path d=\"M" + num(at.x - radius * .6) + " " + num(at.y - radius * .6) + "L" + num(at.x + radius * .6) +
              " " + num(at.y + radius * .6) + "M" + num(at.x - radius * .6) + " " + num(at.y + radius * .6) + "L" +
              num(at.x + radius * .6) + " " + num(at.y - radius * .6) + "\" stroke=\"#b71c1c\" stroke-width=\".14\">" +
              title + "</path>\n";
    }
    if (first)
      svg_ += "<text x=\"" + num(at.x + radius * 1.1) + "\" y=\"" + num(at.y - radius * .6) +
              "\" font-size=\".8\" fill=\"#4a0072\" stroke=\"#fff\" stroke-width=\".15\" paint-order=\"stroke\">" +
              escaped(net_name(outcome_, advice.need)) + "</text>\n";
  }
  svg_ += "</g>\n";
}

/// Areas that something else needs, with its name.
void Drawing::keep_outs() {
  svg_ +=
      "<g id=\"keep-outs\" fill=\"#b03a2e\" fill-opacity=\".12\" stroke=\"#b03a2e\" stroke-width=\".12\" "
      "stroke-dasharray=\".8 .4\">\n";
  for (const KeepOut& keep_out : outcome_.board.keep_outs)
    if (keep_out.sides.has(side_))
      svg_ += "<path d=\"" + path(keep_out.area) + "\"><title>" +
              escaped(keep_out.name == keep_out.kind ? keep_out.name : keep_out.name + " (" + keep_out.kind + ")") +
              "</title></path>\n";
  svg_ += "</g>\n<g id=\"keep-out-names\" fill=\"#7d2419\" text-anchor=\"middle\" font-family=\"sans-serif\">\n";
  for (const KeepOut& keep_out : outcome_.board.keep_outs) {
    if (!keep_out.sides.has(side_)) continue;
    const Box box = bounds(keep_out.area);
    const Point at = place(box.centre());
    const double size =
        std::min({box.height() * 0.45,
                  box.width() / (0.6 * static_cast<double>(std::max<std::size_t>(keep_out.name.size(), 2))), 3.0});
    if (size >= 0.35)
      svg_ += "<text x=\"" + num(at.x) + "\" y=\"" + num(at.y + size * 0.35) + "\" font-size=\"" + num(size) + "\">" +
              escaped(keep_out.name) + "</text>\n";
  }
  svg_ += "</g>\n";
}

/// What stands under the drawing besides its head and the marks of classes.
std::vector<std::string> Drawing::words() const {
  if (advice_)
    return {"purple squares: new test pads with the empty circle about each (pale: a second, roomier place)",
            "green diamonds: open the mask; red crosses: a rule to relax, a side to use, a part to move or leave out",
            "all of them, in words, in advice.csv"};
  std::vector<std::string> out = {"bright pads with an edge: open to a probe; dull pads: blocked"};
  std::string names;
  for (const WaivedProbe& waived : outcome_.results.coverage.waived)
    names += (names.empty() ? "on waivers: " : ", ") + chosen(outcome_).probes[waived.probe].name;
  if (!names.empty()) out.push_back(names);
  const bool kept = std::any_of(outcome_.board.keep_outs.begin(), outcome_.board.keep_outs.end(),
                                [&](const KeepOut& keep_out) { return keep_out.sides.has(side_); });
  out.push_back(std::string("dashed bodies: assumed; crossed circles: tooling holes") +
                (kept ? "; red dashed areas: kept free" : ""));
  return out;
}

/// The mark of each class, in as many lines as it takes; gives the base line below them.
double Drawing::class_marks(const Box& view, double y) {
  static constexpr const char* kMarks[] = {"ring and dot", "ring and bar", "ring and upright", "ring and cross"};
  const double height = letter_, from = view.x0 + 0.2 * height;
  double x = from;
  for (const ClassId id : outcome_.catalogue.classes.ids()) {
    const std::size_t k = id.index();
    const std::string words = outcome_.catalogue.classes[id].name + ": " + kMarks[k % 4];
    const double width = height * (1 + 0.8 * kLetter * static_cast<double>(words.size()));
    if (x > from && x + width > view.x1) {
      x = from;
      y += 1.35 * height;
    }
    svg_ += "<circle cx=\"" + num(x + height * 0.4) + "\" cy=\"" + num(y - height * 0.35) + "\" r=\"" +
            num(height * 0.4) + "\" fill=\"none\" stroke-width=\"" + num(height * 0.15) + "\" stroke=\"" +
            kClassColour[k % std::size(kClassColour)] + "\"/><text x=\"" + num(x + height) + "\" y=\"" + num(y) +
            "\" font-size=\"" + num(height * 0.8) + "\">" + escaped(words) + "</text>\n";
    x += width + height;
  }
  return y + 1.35 * height;
}

/// Under the drawing, no wider than it; gives the height at which it ends.
double Drawing::legend(const Box& view) {
  const double height = letter_;
  double y = view.y1 + 1.6 * height;
  auto line = [&](const std::string& text, const char* weight = "normal") {
    const auto letters = static_cast<std::size_t>(view.width() / (height * kLetter * (*weight == 'b' ? 1.1 : 1)));
    for (const std::string& part : wrapped(text, letters)) {
      svg_ += "<text x=\"" + num(view.x0) + "\" y=\"" + num(y) + "\" font-size=\"" + num(height) + "\" font-weight=\"" +
              weight + "\">" + escaped(part) + "</text>\n";
      y += 1.35 * height;
    }
  };
  svg_ += "<g id=\"legend\" font-family=\"sans-serif\" fill=\"#111\">\n";
  line(outcome_.board.name + (outcome_.board.revision.empty() ? "" : "  revision " + outcome_.board.revision) + "   " +
           to_string(side_) + " side, seen looking at the " + to_string(side_) +
           (mirror_ ? " (X reversed against the board frame)" : ""),
       "bold");
  line("plan " + outcome_.plan_id + "   units mm   " + chosen(outcome_).option.name());
  if (!advice_) y = class_marks(view, y);
  for (const std::string& text : words()) line(text);
  svg_ += "</g>\n";
  return y - 0.5 * height;
}

std::string Drawing::run() {
  constexpr double kLeastLetters = 60;  // in a line of the legend, however narrow the board is
  Box view;
  for (Point point : outcome_.board.outline.outer) view.add(place(point));
  for (const Exposure& exposure : outcome_.board.exposures)
    if (exposure.side == side_) view.add(place(exposure.aim));
  const double size = std::max(view.width(), view.height());
  letter_ = std::clamp(size / 60, 0.5, 4.0);
  Box framed = view.grown(size * 0.02);
  if (const double more = kLeastLetters * kLetter * letter_ - framed.width(); more > 0) {
    framed.x0 -= more / 2;
    framed.x1 += more / 2;
  }
  svg_ += "<path id=\"outline\" fill=\"#e4ece2\" stroke=\"#222\" stroke-width=\"" + num(size / 900) +
          "\" fill-rule=\"evenodd\" d=\"" + path({outcome_.board.outline}) + "\"/>\n";
  if (!outcome_.board.places.empty())
    svg_ += "<path id=\"boards\" fill=\"#d6e2d3\" stroke=\"#222\" stroke-width=\"" + num(size / 1500) +
            "\" fill-rule=\"evenodd\" d=\"" + path(outcome_.board.pieces) + "\"/>\n";
  if (!outcome_.board.flex.empty()) {
    Polygons bends;
    for (const FlexPart& part : outcome_.board.flex) bends.insert(bends.end(), part.area.begin(), part.area.end());
    svg_ += "<path id=\"flex\" fill=\"#f3dcc0\" fill-rule=\"evenodd\" d=\"" + path(bends) +
            "\"><title>bends</title></path>\n";
  }
  copper();
  bodies();
  keep_outs();
  tooling();
  if (advice_)
    advice();
  else
    probes();
  const double height = legend(framed) - framed.y0;
  const Markup head = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"" + num(framed.x0) + " " + num(framed.y0) +
                      " " + num(framed.width()) + " " + num(height) + "\" width=\"" + num(framed.width()) +
                      "mm\" height=\"" + num(height) + "mm\">\n<title>" +
                      escaped(outcome_.board.name + " " + to_string(side_) + ", plan " + outcome_.plan_id) +
                      "</title>\n<rect x=\"" + num(framed.x0) + "\" y=\"" + num(framed.y0) + "\" width=\"" +
                      num(framed.width()) + "\" height=\"" + num(height) + "\" fill=\"#fff\"/>\n";
  return (head + svg_ + "</svg>\n").text();
}
}  // namespace

std::string board_svg(const Outcome& outcome, Side side) {
  return Drawing(outcome, side, false).run();
}
std::string advice_svg(const Outcome& outcome, Side side) {
  return Drawing(outcome, side, true).run();
}

}  // namespace teasel
