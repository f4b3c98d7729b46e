#include "teasel/report/section.h"

#include <algorithm>
#include <cmath>

#include "sheet.h"
#include "teasel/fixture/mechanism.h"

namespace teasel {

namespace {
struct State {
  const char* name;
  Mm Plate::*at;
};
constexpr State kStates[] = {{"at rest", &Plate::at_rest},
                             {"at first touch", &Plate::at_touch},
                             {"at work", &Plate::at_work}};

// mm on paper.
constexpr double kWidth = 420, kHeight = 297, kEdge = 10, kColumn = 128, kPlateWide = 84, kHead = 26, kFoot = 74;

/// Heights over the board's lower face; the board lies from 0 to its thickness.
struct Slab {
  const Plate* plate;
  double low, high;
};
std::vector<Slab> slabs(const Outcome& outcome, const State& state) {
  std::vector<Slab> out;
  for (const Plate& plate : outcome.results.plates) {
    const double away = (plate.*state.at).v, thick = plate.thickness.v;
    if (plate.lower)
      out.push_back({&plate, -away - thick, -away});
    else
      out.push_back({&plate, outcome.board.thickness.v + away, outcome.board.thickness.v + away + thick});
  }
  return out;
}

/// How much lower the board stands over the lower probe plate than at work, negative: higher.
double stands_at(const Outcome& outcome, const State& state) {
  for (const Plate& plate : outcome.results.plates)
    if (plate.lower && plate.kind == PlateKind::probe) return (plate.at_work - plate.*state.at).v;
  return 0;
}

/// From the bridge's lower face to that of the plate that slides under it, at work.
Mm under_bridge(const Outcome& outcome) {
  Mm bridge, slides;
  for (const Plate& plate : outcome.results.plates) {
    if (plate.lower) continue;
    if (plate.kind == PlateKind::bridge) bridge = plate.at_work;
    if (meets_board(plate.kind)) slides = plate.at_work;
  }
  return bridge - slides;
}

/// mm over the bridge: the clamp, and pillars that hang in it.
double over_bridge(const Outcome& outcome, const Plate& bridge) {
  constexpr double kClamp = 16;
  double out = kClamp;
  for (const MechanismPart& part : outcome.results.mechanism.parts)
    if (part.part == "pillar of the lid")
      out = std::max(out, (part.length - under_bridge(outcome) - bridge.thickness).v);
  return out;
}

class Column {
 public:
  Column(Sheet& sheet, const Outcome& outcome, const State& state, double left, double scale, double zero)
      : sheet_(sheet), outcome_(outcome), state_(state), left_(left), scale_(scale), zero_(zero) {}

  void draw(const Mechanism& frame) {
    sheet_.text({left_, kHead - 7}, 4.2, state_.name);
    const std::vector<Slab> stack = slabs(outcome_, state_);
    for (const Slab& slab : stack) plate(slab);
    board();
    probes(stack);
    pins(stack);
    supports(stack);
    if (frame.used()) mechanism_parts(stack, frame);
    distances(stack);
    for (const Slab& slab : stack) name(slab);
  }

 private:
  [[nodiscard]] double y(double height) const { return zero_ - height * scale_; }
  void solid(double x, double wide, double low, double high, const Markup& look) {
    sheet_.box(left_ + x, y(high), wide, (high - low) * scale_, look);
  }
  static const Slab* find(const std::vector<Slab>& stack, PlateKind kind, bool lower) {
    for (const Slab& slab : stack)
      if (slab.plate->kind == kind && slab.plate->lower == lower) return &slab;
    return nullptr;
  }
  void plate(const Slab& slab) { solid(0, kPlateWide, slab.low, slab.high, "fill=\"#e9eef3\""); }
  /// Over all that goes through the plate, with a rim that keeps it legible.
  void name(const Slab& slab) {
    const std::string words = std::string(slab.plate->kind == PlateKind::base ? ""
                                          : slab.plate->lower                 ? "lower "
                                                                              : "upper ") +
                              to_string(slab.plate->kind) + " plate, " + short_number(slab.plate->thickness.v, 2);
    const Markup at =
        "x=\"" + num(left_ + kPlateWide / 2) + "\" y=\"" + num(y((slab.low + slab.high) / 2) + 0.9) + "\"";
    sheet_.raw("<text " + at + " font-size=\"2.6\" text-anchor=\"middle\" fill=\"" + kInk +
               "\" stroke=\"#e9eef3\" stroke-width=\"1.1\" paint-order=\"stroke\">" + escaped(words) + "</text>\n");
  }
  void board() {
    const double thick = outcome_.board.thickness.v;
    solid(14, kPlateWide - 44, 0, thick, "fill=\"#b9d3bb\"");
    sheet_.text({left_ + kPlateWide - 44, y(thick) - 0.8}, 2.2, "board " + short_number(thick, 2));
  }
  /// One probe of each class of a bed, at its set height.
  void probes(const std::vector<Slab>& stack) {
    double x = 22;
    for (const SetHeight& set : outcome_.results.set_heights) {
      const Slab* holder = find(stack, PlateKind::probe, set.lower);
      if (!holder) continue;
      const double up = set.lower ? 1 : -1, face = set.lower ? holder->high : holder->low,
                   mouth = face + up * set.height.v,
                   relaxed =
                       mouth + up * (set.projection + outcome_.catalogue.classes[set.probe_class].working_travel).v,
                   surface = set.lower ? 0 : outcome_.board.thickness.v;
      // A tip that the board meets is pressed back onto its face.
      const double tip = set.lower ? std::min(relaxed, surface) : std::max(relaxed, surface);
      const double back = face - up * (holder->high - holder->low);
      solid(x - 0.9, 1.8, std::min(back, mouth), std::max(back, mouth), "fill=\"#d8c68a\" stroke-width=\"0.15\"");
      solid(x - 0.4, 0.8, std::min(mouth, tip), std::max(mouth, tip), "fill=\"#8a6d1d\" stroke=\"none\"");
      x += 4;
    }
  }
  /// The round tooling pin, from the lower probe plate through the board.
  void pins(const std::vector<Slab>& stack) {
    const Slab* holder = find(stack, PlateKind::probe, true);
    if (!holder || outcome_.board.tooling.empty()) return;
    solid(16.5, 1.6, holder->low, outcome_.board.thickness.v + 3, "fill=\"#9aa4ae\" stroke-width=\"0.15\"");
  }
  void mechanism_parts(const std::vector<Slab>& stack, const Mechanism& frame) {
    const Slab *probe = find(stack, PlateKind::probe, true), *moving = find(stack, PlateKind::moving, true),
               *base = find(stack, PlateKind::base, true);
    if (!probe) return;
    double top = probe->high;
    for (const Slab& slab : stack) top = std::max(top, slab.high);
    const double pillar = longest(frame, "guide pillar");
    // Pressed into the probe plate; where plates are sheets, through the base and a collar under it.
    const bool sheets = outcome_.style.mechanism.sheets && base;
    const double foot = sheets ? base->low - frame.collar.v : probe->low;
    if (sheets)
      for (const double from : {foot, base->high})
        solid(0.8, 5, from, from + frame.collar.v, "fill=\"#7d8891\" stroke-width=\"0.15\"");
    if (!frame.has_lid())
      solid(2, 2.6, foot, std::max(top, foot + pillar), "fill=\"#c8ced4\" stroke-width=\"0.15\"");
    else
      lid(stack, frame);
    if (moving) {
      const double stop = probe->high + (moving_at_work_gap());
      solid(kPlateWide - 7, 3, probe->high, stop, "fill=\"#7d8891\" stroke-width=\"0.15\"");
      coil(kPlateWide - 12.5, probe->high - deepest(frame, "SP"), moving->low);
      solid(kPlateWide - 18.6, 1.6, probe->high - deepest(frame, "SH"), probe->high + frame.screw_heads.v,
            "fill=\"#aab4bd\" stroke-width=\"0.15\"");
      solid(kPlateWide - 19.4, 3.2, probe->high + (frame.screw_heads - frame.screw_head).v,
            probe->high + frame.screw_heads.v, "fill=\"#aab4bd\" stroke-width=\"0.15\"");
    }
    if (base) solid(7, 2.6, base->high, probe->low, "fill=\"#9aa4ae\" stroke-width=\"0.15\"");
    closing(stack, frame);
  }
  /// Legs from the base plate to the bridge, pillars that hang from it, and a pin of the plate that slides on them.
  void lid(const std::vector<Slab>& stack, const Mechanism& frame) {
    const Slab *probe = find(stack, PlateKind::probe, true), *base = find(stack, PlateKind::base, true),
               *bridge = find(stack, PlateKind::bridge, false), *over = find(stack, PlateKind::probe, false);
    if (!over) over = find(stack, PlateKind::pressure, false);
    if (!base || !bridge || !over) return;
    constexpr const char* kSteel = "fill=\"#c8ced4\" stroke-width=\"0.15\"";
    for (const double x : {-5.5, kPlateWide + 1.5}) solid(x, 4, base->high, bridge->low, kSteel);
    // Its lower end stays 1 mm under the plate that slides on it at work.
    const double foot = bridge->low - (under_bridge(outcome_).v + 1);
    solid(2, 2.6, foot, foot + longest(frame, "pillar of the lid"), kSteel);
    if (const double low = longest(frame, "guide pillar"); low > 0) solid(2, 2.6, probe->low, probe->low + low, kSteel);
    if (const double pin = longest(frame, "alignment pin"); pin > 0)
      solid(10.2, 2.6, over->low - pin, over->high, kSteel);
  }
  /// Bridge with its collars, clamp and rod; the standoffs of the push plate.
  void closing(const std::vector<Slab>& stack, const Mechanism& frame) {
    const Slab *bridge = find(stack, PlateKind::bridge, false), *push = find(stack, PlateKind::push, false),
               *upper = find(stack, PlateKind::probe, false);
    const Slab* driven = push ? push : find(stack, PlateKind::pressure, false);
    if (push && upper) solid(7, 2.6, upper->high, push->low, "fill=\"#9aa4ae\" stroke-width=\"0.15\"");
    if (!bridge || !driven || !(frame.clamped > Newton{})) return;
    const double collar = frame.collar.v;
    for (const double from : {bridge->low - collar, bridge->high})
      solid(0.8, 5, from, from + collar, "fill=\"#7d8891\" stroke-width=\"0.15\"");
    constexpr double kBody = 14;  // mm, of the clamp over the bridge: a sign, no drawing of it
    solid(kPlateWide / 2 + 20, 3, driven->high - 4, bridge->high + kBody, "fill=\"#aab4bd\" stroke-width=\"0.15\"");
    solid(kPlateWide / 2 + 16, 11, bridge->high, bridge->high + kBody, "fill=\"#c8ced4\" stroke-width=\"0.15\"");
  }
  /// A stop and a finger, on the plates that carry them.
  void supports(const std::vector<Slab>& stack) {
    const double faces[] = {0, outcome_.board.thickness.v};
    for (const Slab& slab : stack) {
      const auto has = [&](PlateHole::Kind kind) {
        return std::any_of(slab.plate->holes.begin(), slab.plate->holes.end(),
                           [&](const PlateHole& hole) { return hole.kind == kind; });
      };
      const bool stop = has(PlateHole::Kind::stop);
      if (!stop && !has(PlateHole::Kind::finger)) continue;
      // Its foot is on the plate, and it is as long as the plate is away from the board at work.
      const double away = slab.plate->at_work.v;
      const double from = slab.plate->lower ? slab.high : slab.low - away,
                   to = slab.plate->lower ? slab.high + away : slab.low;
      solid(stop ? 52 : 46, 2, std::min(from, faces[1] + 200), to, "fill=\"#5f7f6a\" stroke-width=\"0.15\"");
    }
  }
  [[nodiscard]] double moving_at_work_gap() const {
    const std::vector<Slab> work = slabs(outcome_, kStates[2]);
    return find(work, PlateKind::moving, true)->low - find(work, PlateKind::probe, true)->high;
  }
  [[nodiscard]] static double deepest(const Mechanism& frame, const char* what) {
    double depth = 0;
    for (const MechanismSink& sink : frame.sinks)
      if (sink.label.rfind(what, 0) == 0) depth = std::max(depth, sink.depth.v);
    return depth;
  }
  static double longest(const Mechanism& frame, const char* what) {
    double length = 0;
    for (const MechanismPart& part : frame.parts)
      if (part.part == what) length = std::max(length, part.length.v);
    return length;
  }
  void coil(double x, double low, double high) {
    constexpr int kTurns = 6;
    Markup path;
    for (int i = 0; i <= 2 * kTurns; ++i)
      path += Markup(i ? "L" : "M") + num(left_ + x + (i % 2 ? 3.0 : 0.0)) + " " +
              num(y(low + (high - low) * i / (2 * kTurns)));
    sheet_.raw("<path d=\"" + path + "\" stroke-width=\"0.35\"/>\n");
  }
  /// From each face to the board's face on its side, one beside the other.
  void distances(const std::vector<Slab>& stack) {
    double x = kPlateWide + 6;
    for (const Slab& slab : stack) {
      const double from = slab.plate->lower ? slab.high : slab.low,
                   to = slab.plate->lower ? 0 : outcome_.board.thickness.v;
      sheet_.line({left_ + x, y(from)}, {left_ + x, y(to)}, "stroke-width=\"0.15\"");
      for (const double end : {from, to})
        sheet_.line({left_ + x - 1, y(end)}, {left_ + x + 1, y(end)}, "stroke-width=\"0.25\"");
      sheet_.text({left_ + x - 0.8, y((from + to) / 2)}, 2.3, short_number((slab.plate->*state_.at).v, 2), "middle",
                  -90);
      x += 6;
    }
  }

  Sheet& sheet_;
  const Outcome& outcome_;
  const State& state_;
  double left_, scale_, zero_;
};
}  // namespace

std::string section_svg(const Outcome& outcome) {
  const Mechanism& frame = outcome.results.mechanism;
  double low = 0, high = outcome.board.thickness.v;
  for (const State& state : kStates) {
    // The base stands still, and the board sinks.
    const double still = stands_at(outcome, state);
    for (const Slab& slab : slabs(outcome, state)) {
      low = std::min(low, slab.low - still);
      high = std::max(
          high, slab.high - still + (slab.plate->kind == PlateKind::bridge ? over_bridge(outcome, *slab.plate) : 0));
      if (slab.plate->kind == PlateKind::probe && slab.plate->lower)
        for (const MechanismPart& part : frame.parts)
          if (part.part == "guide pillar") high = std::max(high, slab.low - still + part.length.v);
    }
  }
  const double scale = std::min(2.0, (kHeight - kHead - kFoot) / std::max(high - low, 1.0));
  Sheet sheet(kWidth, kHeight, "Section through the stack, plan " + outcome.plan_id);
  sheet.box(kEdge / 2, kEdge / 2, kWidth - kEdge, kHeight - kEdge, "stroke-width=\"0.5\"");
  sheet.text({kEdge, 13}, 4.2,
             "Section through the stack: " + outcome.board.name + ", plan " + outcome.plan_id + ", style " +
                 outcome.style.name);
  double left = kEdge + 4;
  for (const State& state : kStates) {
    Column(sheet, outcome, state, left, scale, kHead + (high + stands_at(outcome, state)) * scale).draw(frame);
    left += kColumn + 6;
  }
  double y = kHeight - kFoot + 12;
  const auto note = [&](const std::string& text) {
    sheet.text({kEdge, y}, 2.7, text);
    y += 4.2;
  };
  note("Heights to scale " + short_number(scale, 2) +
       ":1, widths not to scale; one probe of each class is drawn. Numbers at "
       "the right: mm from the near face of each plate to the board's face on that side.");
  for (const PlateBow& bow : frame.bows)
    note("The " + bow.plate + " bends " + short_number(bow.most.v, 3) + " mm under " + short_number(bow.force.v, 0) +
         " N" + (bow.limit > Mm{} ? ", of " + short_number(bow.limit.v, 2) + " mm that the style allows." : "."));
  if (frame.clamped > Newton{})
    note("Clamps hold " + short_number(frame.clamped.v, 0) + " N against " + short_number(frame.pushed.v, 0) +
         " N of probes and springs; they move the plate over the board " + short_number(frame.travel.v, 2) + " mm" +
         (frame.spare > Mm{} ? ", and lift it " + short_number(frame.spare.v, 2) +
                                   " mm higher than drawn at rest when "
                                   "fully open."
                             : "."));
  if (frame.has_lid())
    note("The lid is " + short_number(frame.lid_kg, 1) + " kg of plates. At most " +
         short_number(frame.leg_front.v, 0) + " N pull at a latch and " + short_number(frame.leg_back.v, 0) +
         " N at a hinge; when it swings, it clears what lies under it by " + short_number(frame.swing.v, 1) + " mm.");
  if (frame.stroke > Mm{})
    note("Stroke of the moving plate " + short_number(frame.stroke.v, 2) + " mm. Springs together " +
         short_number(frame.springs_at_rest.v, 1) + " N at rest, " + short_number(frame.springs_at_work.v, 1) +
         " N at work; they lift " + short_number(frame.weight.v, 1) + " N.");
  note("Least gaps of all pairs: gaps.csv. Set heights: set-heights.csv." +
       std::string(frame.used() ? " Parts: mechanism.csv." : ""));
  if (const std::string reason = outcome.results.release.headline(); !reason.empty())
    for (const std::string& line : wrapped(reason, 190)) {
      sheet.text({kEdge, y}, 2.7, line, "start", 0, "#b0213a");
      y += 4.2;
    }
  return sheet.file();
}

}  // namespace teasel
