// Reasons in words.
#include "reasons.h"

#include <algorithm>
#include <cmath>

#include "teasel/enums.h"

namespace teasel {

namespace {
// Reason, text, too large, a chance, waivable.
constexpr Rows<Reason, ReasonRow> kReasons{{
    {Reason::mask_closed, "mask closed", false, false, false},
    {Reason::no_copper, "no copper", false, false, false},
    {Reason::land_too_small, "land too small", false, false, true},
    {Reason::hole_too_wide, "hole too wide", true, false, true},
    {Reason::body, "component body", false, false, true},
    {Reason::under_body, "under its own component", false, false, true},
    {Reason::other_conductor, "other conductor near", false, false, true},
    {Reason::wrong_landing, "lands on a neighbour", true, true, true},
    {Reason::board_edge, "board edge near", false, false, true},
    {Reason::slot, "slot or hole near", false, false, true},
    {Reason::tooling_hole, "tooling hole near", false, false, true},
    {Reason::kit_hole, "hole of the kit near", false, false, false},
    {Reason::outside_kit, "outside the kit's usable area", false, false, false},
    {Reason::flexible, "flexible part of the board", false, false, true},
    {Reason::fiducial, "fiducial near", false, false, true},
    {Reason::keep_out, "keep-out", false, false, true},
    {Reason::banned, "banned", false, false, false},
    {Reason::under_stroke, "stroke too short", false, false, true},
    {Reason::over_stroke, "stroke too long", true, false, true},
    {Reason::push_finger, "no room for a push finger", true, false, true},
    {Reason::lid_arc, "first touch off the land, on a lid's arc", true, false, true},
    {Reason::odds_too_low, "odds too low", true, true, true},
}};

constexpr Words<Obstacle::Part> kAgainst{"", ", against the head", ", against the plunger", ", against the receptacle",
                                         ", against the plate"};

std::string place_text(Point place, int decimals) {
  return "at (" + short_number(place.x, decimals) + ", " + short_number(place.y, decimals) + ")";
}

/// "body of U7 (side assumed, height 2.5 mm assumed)"
std::string body_text(const Component& component) {
  std::string text = (component.cover ? "cover " : "body of ") + component.name;
  const bool side = component.side_known != Known::confirmed, height = component.height_known != Known::confirmed;
  if (!side && !height) return text;
  return text + " (" + (side ? "side assumed" : "") + (side && height ? ", " : "") +
         (height ? "height " + short_number(component.height.v, 2) + " mm assumed" : "") + ")";
}

std::string pad_text(const Feature& feature, const Board& board) {
  if (feature.kind == FeatureKind::fiducial) return "fiducial " + feature.name;
  return (feature.net ? "net " + board.nets[feature.net].name : std::string("bare metal")) + " at " + feature.name;
}

std::string hole_text(const Shortfall& shortfall, const BoardHole& hole) {
  const std::string place = place_text(hole.at, 3);
  if (shortfall.reason == Reason::tooling_hole)
    return (shortfall.measured <= 0 ? "this is the tooling hole " : "tooling hole ") + place;
  return (hole.slot ? "slot " : "unplated hole ") + place;
}

/// Of a reason that names no thing: what was measured.
std::string measure_text(const Shortfall& shortfall) {
  if (shortfall.reason == Reason::odds_too_low) return "chance of a miss";
  if (shortfall.reason == Reason::wrong_landing) return "chance of touching a neighbour's metal";
  if (shortfall.reason == Reason::lid_arc) return "first touch to the place where the tip may stand";
  if (shortfall.reason == Reason::push_finger)
    return shortfall.measured >= kNoRoom.v ? "the other side has no free place"
                                           : "distance to the nearest free place on the other side";
  return {};
}

const char* limit_text(const Shortfall& shortfall) {
  const bool above = row_of(shortfall.reason).above;
  if (shortfall.blocking || shortfall.waiver) return above ? ", allows " : ", needs ";
  return above ? ", preferred at most " : ", preferred ";
}
}  // namespace

const ReasonRow& row_of(Reason reason) {
  return kReasons[reason];
}

Assumption assumption(const Board& board, ComponentId component, Assumption::Fact fact) {
  const Component& part = board.components[component];
  return {component, fact,
          fact == Assumption::Fact::height ? "height " + short_number(part.height.v, 2) + " mm assumed"
                                           : std::string("side ") + to_string(part.side) + " assumed"};
}

const char* to_string(Reason reason) {
  return row_of(reason).text;
}
std::optional<Reason> reason_of(std::string_view text) {
  for (const ReasonRow& row : kReasons)
    if (text == row.text) return row.id;
  return std::nullopt;
}

const char* Shortfall::unit() const {
  return row_of(reason).chance ? "1" : "mm";
}

double Shortfall::lack() const {
  if (required <= 0) return 1;
  return std::clamp((row_of(reason).above ? measured - required : required - measured) / required, 0.0, 1.0);
}

double Shortfall::excess() const {
  return row_of(reason).chance && required > 0 ? measured / required : lack();
}

std::string obstacle_text(const Shortfall& shortfall, const Board& board, const Job& job) {
  const Obstacle& obstacle = shortfall.obstacle;
  switch (obstacle.kind) {
    case Obstacle::Kind::component: return body_text(board.components[obstacle.component()]) + kAgainst[obstacle.part];
    case Obstacle::Kind::conductor: return pad_text(board.features[obstacle.feature()], board);
    case Obstacle::Kind::outline: return board.outline_assumed ? "assumed outline" : "board edge";
    case Obstacle::Kind::hole: return hole_text(shortfall, board.holes[obstacle.hole()]);
    case Obstacle::Kind::keep_out: return board.keep_outs[obstacle.keep_out()].name + kAgainst[obstacle.part];
    case Obstacle::Kind::ban: {
      const Ban& ban = job.decisions.bans[obstacle.ban()];
      return ban.reason.empty() ? "job file" : ban.reason;
    }
    case Obstacle::Kind::paste: return "solder paste is printed here, so a part of unknown outline is soldered to it";
    case Obstacle::Kind::empty_hole: return "the hole is empty and wider than the widest head of this class";
    case Obstacle::Kind::contact: return to_string(obstacle.contact());
    case Obstacle::Kind::bare_metal:
      return "bare metal that belongs to no pad, " +
             place_text(bounds(board.bare_metal[obstacle.bare_metal()].copper).centre(), 2);
    case Obstacle::Kind::kit_hole: return "hole K" + std::to_string(obstacle.id + 1) + " of the blanks";
    case Obstacle::Kind::flex: return board.flex[obstacle.flex()].name + ", which nothing holds from behind";
    case Obstacle::Kind::none: break;
  }
  return measure_text(shortfall);
}

namespace {
/// Two digits, which is what chances are worth.
std::string in_percent(double chance) {
  const double percent = 100 * chance;
  const int decimals = percent > 0 ? std::clamp(1 - static_cast<int>(std::floor(std::log10(percent))), 0, 6) : 0;
  return short_number(percent, decimals);
}
}  // namespace

std::string sentence(const Shortfall& shortfall, const Board& board, const Job& job) {
  const std::string obstacle = obstacle_text(shortfall, board, job);
  std::string text = std::string(to_string(shortfall.reason)) + (obstacle.empty() ? "" : ": " + obstacle);
  if (shortfall.has_numbers()) {
    const bool chance = row_of(shortfall.reason).chance;
    const std::string unit = chance ? " %" : " mm";
    // As many decimals as it takes to tell the two apart.
    int decimals = 2;
    while (decimals < 4 && fixed(shortfall.measured, decimals) == fixed(shortfall.required, decimals)) ++decimals;
    auto number = [&](double value) { return chance ? in_percent(value) : fixed(value, decimals); };
    text += ", " + number(shortfall.measured) + unit + limit_text(shortfall) + number(shortfall.required) + unit;
  }
  if (shortfall.waiver) text += " (waived: " + job.decisions.waivers[shortfall.waiver].reason + ")";
  return text;
}

}  // namespace teasel
