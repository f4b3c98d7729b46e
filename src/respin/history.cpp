// Which of the boards that a fixture was built for still run on it.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::BuiltPart;
using formats::FixtureFile;
using formats::Revision;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr double kPinNear = 0.05;  // mm
constexpr double kTipNear = 0.3;   // mm; of a stray tip to bare metal

class Runs {
 public:
  Runs(const FixtureFile& f, double stop, double finger) : f_(f), stop_(stop), finger_(finger) {
    for (const StandingHole& h : f.fixture.holes) holes_[h.name] = &h;
    for (const StandingWire& w : f.fixture.wires) pin_[w.probe] = w.pin;
  }
  RevisionRun of(const Revision& r, int variant) const;

 private:
  void probes(const Revision& r, const Affine& to_now, RevisionRun& out) const;
  void meets(const Revision& r, int variant, const Affine& to_now, RevisionRun& out) const;
  const FixtureFile& f_;
  double stop_, finger_;
  std::map<std::string, const StandingHole*> holes_;
  std::map<std::string, std::string> pin_;
};

void Runs::probes(const Revision& r, const Affine& to_now, RevisionRun& out) const {
  for (const formats::BuiltProbe& p : r.probes) {
    ++out.probes;
    const auto h = holes_.find(p.name);
    std::string what;
    if (h == holes_.end() || h->second->state != HoleState::in_use)
      what = "no probe any more";
    else if (distance(to_now(p.at), h->second->at) > kSameHolePlace)
      what = "the board lies elsewhere";
    else if (const auto pin = pin_.find(p.name); pin == pin_.end() || pin->second != p.pin)
      what = "wired to pin " + (pin == pin_.end() ? "none" : pin->second) + ", not " + p.pin;
    if (what.empty())
      ++out.there;
    else
      out.lacking.push_back(p.name + " (" + p.net + "): " + what);
  }
}

bool fitted(const BuiltPart& p, int variant) {
  return variant >= 0 && at(variant) < p.fitted_in.size() ? p.fitted_in[at(variant)] != 0 : p.fitted;
}

void Runs::meets(const Revision& r, int variant, const Affine& to_now, RevisionRun& out) const {
  const BuiltBoard& b = r.board;
  const Affine back = inverse(to_now);
  std::set<std::string> own;
  for (const auto& p : r.probes) own.insert(p.name);
  auto part_at = [&](Point p, Side side, double radius) -> const BuiltPart* {
    for (const BuiltPart& x : b.parts)
      if (x.side == side && !x.body.empty() && fitted(x, variant) && bounds(x.body).grown(radius).contains(p) &&
          distance_to_area(x.body, p) < radius)
        return &x;
    return nullptr;
  };
  // What the probe is for now may lie there on that board too: then it meets the same node.
  const BuiltBoard& now = f_.revisions.back().board;
  auto same_pad = [&](Point here, Point there, std::size_t side) {
    for (const formats::BuiltPad& q : now.pads)
      if (q.net >= 0 && q.bare[side].valid() && q.bare[side].contains(here))
        for (const formats::BuiltPad& p : b.pads)
          if (p.name == q.name && p.bare[side].valid() && p.bare[side].contains(there)) return true;
    return false;
  };
  auto under = [](const BuiltPart& x) { return x.name + " (" + short_number(x.height, 2) + " mm high)"; };
  for (const StandingHole& h : f_.fixture.holes) {
    if (h.state != HoleState::in_use || own.count(h.name)) continue;
    const Point p = back(h.at);
    if (same_pad(h.at, p, static_cast<std::size_t>(h.side))) continue;
    if (!contains(b.outline, p))
      out.meets.push_back(h.name + " stands beside the board");
    else if (const BuiltPart* x = part_at(p, h.side, h.drill / 2))
      out.meets.push_back(h.name + " stands under " + under(*x));
    else
      for (const formats::BuiltPad& q : b.pads)
        if (q.net >= 0 && q.bare[static_cast<std::size_t>(h.side)].valid() &&
            q.bare[static_cast<std::size_t>(h.side)].grown(kTipNear).contains(p)) {
          out.meets.push_back(h.name + ", wired for " + h.net + ", touches " + q.name + " (" + b.nets[at(q.net)] + ")");
          break;
        }
  }
  for (const StandingSupport& s : f_.fixture.supports)
    if (const BuiltPart* x = part_at(back(s.at), s.side, s.finger ? finger_ : stop_))
      out.meets.push_back("support " + s.label + " stands on " + under(*x));
  const auto& pins = f_.revisions.back().board.tooling;
  for (std::size_t k = 0; k < pins.size(); ++k)
    if (k >= b.tooling.size() || distance(to_now(b.tooling[k].at), pins[k].at) > kPinNear) {
      out.meets.push_back("its tooling holes do not lie over the pins");
      k = pins.size();
    }
}

RevisionRun Runs::of(const Revision& r, int variant) const {
  RevisionRun out;
  out.plan_id = r.plan_id;
  out.revision = r.board.name + (r.board.revision.empty() ? "" : ", revision " + r.board.revision);
  if (variant >= 0) out.variant = r.board.variants[at(variant)];
  const Affine to_now = combine(inverse(f_.fixture.to_kit), r.to_kit);
  probes(r, to_now, out);
  meets(r, variant, to_now, out);
  return out;
}
}  // namespace

std::vector<RevisionRun> revisions_that_run(const FixtureFile& after, double stop, double finger) {
  const Runs runs(after, stop, finger);
  std::vector<RevisionRun> out;
  for (const Revision& r : after.revisions) {
    if (r.board.variants.empty()) out.push_back(runs.of(r, -1));
    for (std::size_t v = 0; v < r.board.variants.size(); ++v) out.push_back(runs.of(r, static_cast<int>(v)));
  }
  return out;
}

}  // namespace teasel
