// Which holes locate the board.
#include <algorithm>
#include <cmath>
#include <map>

#include "build.h"
#include "pin_room.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr Mm kPlatedLeast{2.95};    // mounting holes of 3 mm and more
constexpr Mm kLargest{8};           // no tooling pin is thicker
constexpr double kLeastSpan = 5.0;  // mm
constexpr double kNear = 2.0;       // mm; from a named point to its hole
constexpr std::size_t kMostCandidates = 600;
// A pair whose pins meet something is taken only where every other one leaves so many times its locating error: chosen,
// no source.
constexpr double kFarWorse = 20;

HoleId hole_near(const Board& board, BoardPoint p) {
  HoleId best;
  double nearest = kNear;
  for (const HoleId id : board.holes.ids())
    if (const double away = distance(board.holes[id].at, p); !board.holes[id].slot && away < nearest) {
      nearest = away;
      best = id;
    }
  return best;
}
/// The pair that locates best lies far out: of too many holes, those farthest out in sixteen directions stay.
void keep_outermost(const Board& board, std::vector<HoleId>& list) {
  if (list.size() <= kMostCandidates) return;
  std::vector<HoleId> kept;
  for (int k = 0; k < 16; ++k) {
    const double angle = 2 * 3.14159265358979323846 * k / 16;
    const Point u{std::cos(angle), std::sin(angle)};
    std::vector<HoleId> by = list;
    std::stable_sort(by.begin(), by.end(),
                     [&](HoleId x, HoleId y) { return dot(board.holes[x].at, u) > dot(board.holes[y].at, u); });
    kept.insert(kept.end(), by.begin(), by.begin() + static_cast<std::ptrdiff_t>(kMostCandidates / 16));
  }
  std::sort(kept.begin(), kept.end());
  kept.erase(std::unique(kept.begin(), kept.end()), kept.end());
  list = std::move(kept);
}
bool is_plated(const BoardHole& hole) {
  return hole.plating != formats::Plating::unplated;
}
std::vector<HoleId> candidates(const Board& board, Mm unplated_least, bool plated) {
  std::vector<HoleId> out;
  const Polygons area{{board.outline.outer, {}}};
  const auto fits = [&](const BoardHole& hole) {
    return !hole.slot && hole.diameter >= (is_plated(hole) ? kPlatedLeast : unplated_least) &&
           hole.diameter <= kLargest;
  };
  // A panel that has holes of its own, plated or not, is located by them: they outlive its boards.
  const bool own = std::count_if(board.holes.begin(), board.holes.end(),
                                 [&](const BoardHole& hole) { return hole.of_panel && fits(hole); }) >= 2;
  for (const HoleId id : board.holes.ids()) {
    const BoardHole& hole = board.holes[id];
    if (own && !hole.of_panel) continue;
    if (hole.blind || !fits(hole) || is_plated(hole) != plated) continue;
    if (contains(area, hole.at)) out.push_back(id);
  }
  return out;
}

std::string place_text(const BoardHole& hole) {
  return short_number(hole.diameter.v, 3) + " mm at (" + short_number(hole.at.x, 3) + ", " +
         short_number(hole.at.y, 3) + ")";
}

/// The two holes that the job names; fewer where it names what takes no pin.
void take_named(Board& board, const std::vector<BoardPoint>& pins, const Rules& rules, const Place& at,
                Diagnostics& diagnostics) {
  for (const BoardPoint p : pins) {
    const HoleId id = hole_near(board, p);
    if (!id)
      return diagnostics.error({.code = "tooling-not-found",
                                .at = at,
                                .message = "no round hole lies within 2 mm of a named tooling hole",
                                .found = short_number(p.x, 3) + ", " + short_number(p.y, 3) + " mm",
                                .remedy = "correct the point"});
    const BoardHole& hole = board.holes[id];
    if (hole.diameter < rules.tooling_hole_least || hole.diameter > kLargest || hole.blind)
      return diagnostics.error({.code = "tooling-unfit",
                                .at = at,
                                .message = "a named tooling hole cannot take a pin",
                                .found = place_text(hole) + (hole.blind ? ", blind" : ""),
                                .expected = short_number(rules.tooling_hole_least.v, 2) + " to 8 mm, through the board",
                                .remedy = "name another, or lower tooling_hole_least in a rule file of your own"});
    board.tooling.push_back(id);
  }
  if (board.tooling[0] == board.tooling[1])
    return diagnostics.error(
        {.code = "tooling-same", .at = at, .message = "both tooling points name one hole", .remedy = "name two holes"});
  if (const double span = distance(board.holes[board.tooling[0]].at, board.holes[board.tooling[1]].at);
      span < kLeastSpan)
    diagnostics.error({.code = "tooling-near",
                       .at = at,
                       .message = "the named tooling holes are too close together to keep the board from turning",
                       .found = short_number(span, 2) + " mm",
                       .expected = short_number(kLeastSpan, 1) + " mm or more",
                       .remedy = "name others"});
}

/// A pair of holes and the worst locating error that it leaves at the board's corners.
struct Pair {
  HoleId round, relieved;
  double error = 1e300;  ///< mm2, a variance
};

class PairSearch {
 public:
  PairSearch(const Board& board, const Rules& rules, const PinRoom& room) : board_(board), rules_(rules) {
    list_ = candidates(board, rules.tooling_hole_least, false);
    for (const HoleId id : candidates(board, rules.tooling_hole_least, true)) list_.push_back(id);
    holes_ = list_.size();
    keep_outermost(board, list_);
    for (const HoleId id : list_) trouble_[id] = room.about(board.holes[id]);
  }
  /// The best pair, with none of its holes where there is none.
  Pair run();
  [[nodiscard]] std::string judged() const;
  [[nodiscard]] const PinTrouble& trouble(HoleId id) const { return trouble_.at(id); }
  /// The pair that would be taken if nothing stood in the way of pins.
  [[nodiscard]] const Pair& unhindered() const { return unhindered_; }

 private:
  [[nodiscard]] double worst_error(const BoardHole& round, const BoardHole& relieved) const;

  const Board& board_;
  const Rules& rules_;
  std::vector<HoleId> list_;
  std::map<HoleId, PinTrouble> trouble_;
  std::size_t holes_ = 0, pairs_ = 0;
  Pair unhindered_;
};

/// Plated holes pay with more play.
double PairSearch::worst_error(const BoardHole& round, const BoardHole& relieved) const {
  const Box box = bounds(board_.outline.outer);
  double worst = 0;
  for (const Point corner : {Point{box.x0, box.y0}, {box.x1, box.y0}, {box.x0, box.y1}, {box.x1, box.y1}}) {
    const LocatingError error =
        locating_error(round.at, play_of(round, rules_), relieved.at, play_of(relieved, rules_), corner);
    worst = std::max(worst, error.xx.v + error.yy.v);
  }
  return worst;
}

Pair PairSearch::run() {
  std::map<std::size_t, Pair> best;  // by the number of collisions
  double least = 1e300;
  for (const HoleId i : list_)
    for (const HoleId j : list_) {
      if (i == j || distance(board_.holes[i].at, board_.holes[j].at) < kLeastSpan) continue;
      pairs_ += i < j;
      const PinTrouble &first = trouble_.at(i), &second = trouble_.at(j);
      double error = worst_error(board_.holes[i], board_.holes[j]);
      if (error < unhindered_.error * (1 - 1e-9)) unhindered_ = {i, j, error};
      // The error is a variance: a factor on the error counts twice.
      const double nuisance = std::max(first.nuisance, second.nuisance);
      error *= nuisance * nuisance;
      least = std::min(least, error);
      Pair& known = best[first.collisions.size() + second.collisions.size()];
      if (error < known.error * (1 - 1e-9)) known = {i, j, error};
    }
  for (const auto& [collisions, pair] : best)
    if (pair.error <= kFarWorse * kFarWorse * least) return pair;
  return {};
}

std::string PairSearch::judged() const {
  std::string text;
  if (holes_ > list_.size())
    text = ", the outermost " + std::to_string(list_.size()) + " of " + std::to_string(holes_) + " holes looked at";
  return text + ", of " + plural(pairs_, "pair", "pairs") + " judged";
}

/// What the pins of the chosen holes meet; empty if nothing.
std::string met_by_pins(const Board& board, const PinRoom& room) {
  std::string text;
  for (const HoleId id : board.tooling)
    if (const PinTrouble trouble = room.about(board.holes[id]); !trouble.collisions.empty())
      text += (text.empty() ? "" : "; ") + place_text(board.holes[id]) + ": " + Few(trouble.collisions, 3).text();
  return text;
}

void tell_collisions(const Board& board, const PinRoom& room, bool named, const Place& at, Diagnostics& diagnostics) {
  const std::string met = met_by_pins(board, room);
  if (met.empty()) return;
  diagnostics.warn({.code = "tooling-collides",
                    .at = at,
                    .message = named ? "a named tooling hole leaves its pin no room"
                                     : "no pair of holes that locates the board leaves both pins room. The pair that "
                                       "does least harm is taken",
                    .found = met,
                    .remedy = "name two free holes in  [fixture] tooling, measure the part's height if it is assumed, "
                              "or ask the layout engineer for tooling holes"});
}

/// Why another pair was taken than the one that locates best; empty if it was not.
std::string passed_over(const Board& board, const PairSearch& search, const Pair& best) {
  const Pair& first = search.unhindered();
  if (!first.round || (first.round == best.round && first.relieved == best.relieved)) return {};
  for (const HoleId id : {first.round, first.relieved}) {
    const PinTrouble& trouble = search.trouble(id);
    const std::string hole = "; the pair that locates best is passed over, since at " + place_text(board.holes[id]);
    if (!trouble.collisions.empty()) return hole + " " + trouble.collisions[0];
    if (!trouble.lost.empty()) return hole + " the pin would take net " + board.nets[trouble.lost[0]].name;
    if (trouble.nuisance > 1) return hole + " a part stands near";
  }
  return {};
}
}  // namespace

void choose_tooling(Board& board, const Job& job, const Rules& rules, const std::vector<BoardPoint>& pins,
                    Diagnostics& diagnostics, const Shop& shop) {
  const Place at{job.file, 0, 0, "fixture.tooling"};
  const PinRoom room(board, job, rules, shop);
  std::string judged;
  if (pins.size() == 2) {
    const std::size_t errors = diagnostics.errors();
    take_named(board, pins, rules, at, diagnostics);
    if (diagnostics.errors() > errors) return;
  } else {
    PairSearch search(board, rules, room);
    if (const Pair best = search.run(); best.round) {
      board.tooling = {best.round, best.relieved};
      judged = search.judged() + passed_over(board, search, best);
    }
  }
  for (const HoleId id : board.tooling) board.tooling_plated |= is_plated(board.holes[id]);
  if (board.tooling.size() < 2) {
    board.tooling.clear();
    diagnostics.warn({.code = "tooling-none",
                      .at = at,
                      .message = "the board has no two holes that are suitable for tooling pins. It is located by its "
                                 "edges, which lowers the hit odds",
                      .found = "unplated holes of " + short_number(rules.tooling_hole_least.v, 2) +
                               " mm or more: fewer than two; plated ones of 3 mm or more: fewer than two",
                      .remedy = board.bench.used ? "list the holes among the pads: side both, drill_mm, plated no"
                                                 : "name two holes in  [fixture] tooling"});
    return;
  }
  tell_collisions(board, room, pins.size() == 2, at, diagnostics);
  const std::string pair =
      place_text(board.holes[board.tooling[0]]) + " and " + place_text(board.holes[board.tooling[1]]);
  find_wrong_ways(board, rules, diagnostics, at);
  if (board.tooling_plated)
    diagnostics.warn(
        {.code = "tooling-plated",
         .at = at,
         .message = pins.empty()
                        ? "plated holes are used as tooling holes, since no unplated pair locates the board better"
                        : "the named tooling holes are plated. Their size varies more, and more play is allowed for",
         .found = pair,
         .remedy = "name others in  [fixture] tooling"});
  else
    diagnostics.note(
        {.code = "tooling-chosen",
         .at = at,
         .message = pins.empty()
                        ? "tooling holes chosen: the pair that leaves the least error at the corners (round pin first)"
                        : "tooling holes as named",
         .found = pair + judged,
         .remedy = "override them with  [fixture] tooling"});
}

}  // namespace teasel
