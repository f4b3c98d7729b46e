// Which of the boards that a fixture was built for still run on it.
#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::BuiltPart;
using formats::FixtureFile;
using formats::Revision;

constexpr double kPinNear = 0.05;  // mm
constexpr double kTipNear = 0.3;   // mm; of a stray tip to bare metal

/// From an earlier board's frame to the last one's, by the place where each lies in the kit.
using Move = Map<BoardFrame, BoardFrame>;

/// A board in one of its build variants; none: it has no variants.
using Variant = std::optional<std::size_t>;

class Runs {
 public:
  Runs(const FixtureFile& file, Mm stop, Mm finger) : file_(file), stop_(stop), finger_(finger) {
    for (const StandingHole& hole : file.fixture.holes) holes_[hole.name] = &hole;
    for (const StandingWire& wire : file.fixture.wires) pin_[wire.probe] = wire.pin;
  }
  [[nodiscard]] RevisionRun of(const Revision& revision, Variant variant) const;

 private:
  void probes(const Revision& revision, const Move& to_now, RevisionRun& out) const;
  void meets(const Revision& revision, Variant variant, const Move& to_now, RevisionRun& out) const;
  [[nodiscard]] bool same_pad(const BuiltBoard& board, const StandingHole& hole, BoardPoint there) const;
  [[nodiscard]] std::string met_by(const StandingHole& hole, const BuiltBoard& board, Variant variant,
                                   BoardPoint place) const;
  const FixtureFile& file_;
  Mm stop_, finger_;
  std::map<std::string, const StandingHole*> holes_;
  std::map<std::string, std::string> pin_;
};

void Runs::probes(const Revision& revision, const Move& to_now, RevisionRun& out) const {
  for (const formats::BuiltProbe& probe : revision.probes) {
    ++out.probes;
    const auto hole = holes_.find(probe.name);
    std::string what;
    if (hole == holes_.end() || hole->second->state != HoleState::in_use)
      what = "its probe is gone";
    else if (distance(to_now(probe.at), hole->second->at) > kSameHolePlace.v)
      what = "the board lies in another place";
    else if (const auto pin = pin_.find(probe.name); pin == pin_.end() || pin->second != probe.pin)
      what = "wired to pin " + (pin == pin_.end() ? "none" : pin->second) + ", not " + probe.pin;
    if (what.empty())
      ++out.there;
    else
      out.lacking.push_back(probe.name + " (" + probe.net + "): " + what);
  }
}

bool fitted(const BuiltPart& part, Variant variant) {
  return variant && *variant < part.fitted_in.size() ? part.fitted_in[*variant] != 0 : part.fitted;
}

/// The first part whose body comes nearer than that to the place.
const BuiltPart* part_at(const BuiltBoard& board, Variant variant, BoardPoint place, Side side, Mm radius) {
  for (const BuiltPart& part : board.parts)
    if (part.side == side && !part.body.empty() && fitted(part, variant) &&
        bounds(part.body).grown(radius.v).contains(place) && distance_to_area(part.body, place) < radius.v)
      return &part;
  return nullptr;
}

std::string with_height(const BuiltPart& part) {
  return part.name + " (" + short_number(part.height.v, 2) + " mm high)";
}

/// The pad that the probe touches now may lie there on that board too: then it meets the same node.
bool Runs::same_pad(const BuiltBoard& board, const StandingHole& hole, BoardPoint there) const {
  for (const formats::BuiltPad& now : file_.revisions.back().board.pads)
    if (now.net && now.bare[hole.side].valid() && now.bare[hole.side].contains(hole.at))
      for (const formats::BuiltPad& then : board.pads)
        if (then.name == now.name && then.bare[hole.side].valid() && then.bare[hole.side].contains(there)) return true;
  return false;
}

/// What a probe meets that the board does not need; empty: nothing.
std::string Runs::met_by(const StandingHole& hole, const BuiltBoard& board, Variant variant, BoardPoint place) const {
  if (same_pad(board, hole, place)) return {};
  if (!contains(board.outline, place)) return hole.name + " stands beside the board";
  if (const BuiltPart* part = part_at(board, variant, place, hole.side, hole.drill / 2))
    return hole.name + " stands under " + with_height(*part);
  for (const formats::BuiltPad& pad : board.pads)
    if (pad.net && pad.bare[hole.side].valid() && pad.bare[hole.side].grown(kTipNear).contains(place))
      return hole.name + ", wired for " + hole.net + ", touches " + pad.name + " (" + board.nets[pad.net] + ")";
  return {};
}

void Runs::meets(const Revision& revision, Variant variant, const Move& to_now, RevisionRun& out) const {
  const BuiltBoard& board = revision.board;
  const Move back = inverse(to_now);
  std::set<std::string> own;
  for (const auto& probe : revision.probes) own.insert(probe.name);
  for (const StandingHole& hole : file_.fixture.holes) {
    if (hole.state != HoleState::in_use || own.count(hole.name)) continue;
    if (std::string met = met_by(hole, board, variant, back(hole.at)); !met.empty())
      out.meets.push_back(std::move(met));
  }
  for (const StandingSupport& support : file_.fixture.supports)
    if (const BuiltPart* part =
            part_at(board, variant, back(support.at), support.side, support.finger ? finger_ : stop_))
      out.meets.push_back("support " + support.label + " stands on " + with_height(*part));
  const auto& pins = file_.revisions.back().board.tooling;
  bool over_pins = pins.size() <= board.tooling.size();
  for (std::size_t k = 0; over_pins && k < pins.size(); ++k)
    over_pins = distance(to_now(board.tooling[k].at), pins[k].at) <= kPinNear;
  if (!over_pins) out.meets.push_back("its tooling holes do not lie over the pins");
}

RevisionRun Runs::of(const Revision& revision, Variant variant) const {
  RevisionRun out;
  out.plan_id = revision.plan_id;
  out.revision = revision.board.name + (revision.board.revision.empty() ? "" : ", revision " + revision.board.revision);
  if (variant) out.variant = revision.board.variants[*variant];
  const Move to_now = combine(inverse(file_.fixture.to_kit), revision.to_kit);
  probes(revision, to_now, out);
  meets(revision, variant, to_now, out);
  return out;
}
}  // namespace

std::vector<RevisionRun> revisions_that_run(const FixtureFile& after, Mm stop, Mm finger) {
  const Runs runs(after, stop, finger);
  std::vector<RevisionRun> out;
  for (const Revision& revision : after.revisions) {
    if (revision.board.variants.empty()) out.push_back(runs.of(revision, std::nullopt));
    for (std::size_t variant = 0; variant < revision.board.variants.size(); ++variant)
      out.push_back(runs.of(revision, variant));
  }
  return out;
}

}  // namespace teasel
