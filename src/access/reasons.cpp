// Reasons in words.
#include "teasel/access.h"

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// "body of U7 (side assumed, height 2.5 mm assumed)"
std::string body_text(const Component& c) {
  std::string s = (c.cover ? "cover " : "body of ") + c.name;
  const bool side = c.side_known != Known::confirmed, height = c.height_known != Known::confirmed;
  if (side || height)
    s += std::string(" (") + (side ? "side assumed" : "") + (side && height ? ", " : "") +
         (height ? "height " + short_number(c.height, 2) + " mm assumed" : "") + ")";
  return s;
}
constexpr const char* kReasons[] = {"mask closed",
                                    "no copper",
                                    "land too small",
                                    "hole too wide",
                                    "component body",
                                    "under its own component",
                                    "other conductor near",
                                    "lands on a neighbour",
                                    "board edge near",
                                    "slot or hole near",
                                    "tooling hole near",
                                    "fiducial near",
                                    "keep-out",
                                    "banned",
                                    "stroke too short",
                                    "stroke too long",
                                    "no room for a push finger",
                                    "odds too low"};
}  // namespace

Assumption assumption(const Board& b, int component, Assumption::Fact fact) {
  const Component& c = b.components[at(component)];
  return {component, fact,
          fact == Assumption::Fact::height ? "height " + short_number(c.height, 2) + " mm assumed"
                                           : std::string("side ") + to_string(c.side) + " assumed"};
}

const char* to_string(Reason r) {
  return kReasons[static_cast<int>(r)];
}
std::optional<Reason> reason_of(std::string_view text) {
  for (int i = 0; i < static_cast<int>(std::size(kReasons)); ++i)
    if (text == kReasons[i]) return static_cast<Reason>(i);
  return std::nullopt;
}

const char* Shortfall::unit() const {
  return reason == Reason::odds_too_low || reason == Reason::wrong_landing ? "1" : "mm";
}

double Shortfall::lack() const {
  if (required <= 0) return 1;
  const bool above = reason == Reason::hole_too_wide || reason == Reason::over_stroke ||
                     reason == Reason::odds_too_low || reason == Reason::wrong_landing || reason == Reason::push_finger;
  return std::clamp((above ? measured - required : required - measured) / required, 0.0, 1.0);
}

double Shortfall::excess() const {
  return std::string_view(unit()) == "1" && required > 0 ? measured / required : lack();
}

std::string obstacle_text(const Shortfall& s, const Board& b, const Job& job) {
  const Obstacle& o = s.obstacle;
  static const char* parts[] = {"", ", against the head", ", against the plunger", ", against the receptacle",
                                ", against the plate"};
  auto hole = [&] {
    const BoardHole& h = b.holes[at(o.id)];
    return "at (" + short_number(h.at.x, 3) + ", " + short_number(h.at.y, 3) + ")";
  };
  switch (o.kind) {
    case Obstacle::Kind::component: return body_text(b.components[at(o.id)]) + parts[static_cast<int>(o.part)];
    case Obstacle::Kind::conductor: {
      const Feature& g = b.features[at(o.id)];
      return g.kind == FeatureKind::fiducial
                 ? "fiducial " + g.name
                 : (g.net < 0 ? std::string("bare metal") : "net " + b.nets[at(g.net)].name) + " at " + g.name;
    }
    case Obstacle::Kind::outline: return b.outline_assumed ? "assumed outline" : "board edge";
    case Obstacle::Kind::hole:
      return (s.reason == Reason::tooling_hole ? (s.measured <= 0 ? "this is the tooling hole " : "tooling hole ")
              : b.holes[at(o.id)].slot         ? "slot "
                                               : "unplated hole ") +
             hole();
    case Obstacle::Kind::keep_out: return job.keep_outs[at(o.id)].name + parts[static_cast<int>(o.part)];
    case Obstacle::Kind::ban: return job.bans[at(o.id)].reason.empty() ? "job file" : job.bans[at(o.id)].reason;
    case Obstacle::Kind::paste: return "paste is printed here: a part of unknown outline is soldered on";
    case Obstacle::Kind::empty_hole: return "empty hole; the head must be wider, and the class has none so wide";
    case Obstacle::Kind::contact: return to_string(static_cast<Contact>(o.id));
    case Obstacle::Kind::bare_metal: {
      const Point c = bounds(b.bare_metal[at(o.id)].copper).centre();
      return "bare metal that belongs to no pad at (" + short_number(c.x, 2) + ", " + short_number(c.y, 2) + ")";
    }
    case Obstacle::Kind::none: break;
  }
  if (s.reason == Reason::odds_too_low) return "chance of a miss";
  if (s.reason == Reason::wrong_landing) return "chance of touching a neighbour's metal";
  if (s.reason == Reason::push_finger)
    return s.measured >= kNoRoom ? "no free place on the other side" : "nearest free place on the other side";
  return {};
}

std::string sentence(const Shortfall& s, const Board& b, const Job& job) {
  const std::string obstacle = obstacle_text(s, b, job);
  std::string text = std::string(to_string(s.reason)) + (obstacle.empty() ? "" : ": " + obstacle);
  if (s.has_numbers()) {
    const bool chance = std::string_view(s.unit()) == "1", above = s.reason == Reason::hole_too_wide ||
                                                                   s.reason == Reason::over_stroke ||
                                                                   s.reason == Reason::push_finger || chance;
    const std::string unit = chance ? "" : " mm";
    // As many decimals as it takes to tell them apart.
    int decimals = 2;
    while (decimals < 4 && fixed(s.measured, decimals) == fixed(s.required, decimals)) ++decimals;
    auto number = [&](double v) { return chance ? short_number(v, 6) : fixed(v, decimals); };
    text += ", " + number(s.measured) + unit +
            (s.blocking || s.waiver >= 0 ? above ? ", allows " : ", needs "
             : above                     ? ", preferred at most "
                                         : ", preferred ") +
            number(s.required) + unit;
  }
  if (s.waiver >= 0) text += " (waived: " + job.waivers[at(s.waiver)].reason + ")";
  return text;
}

}  // namespace teasel
