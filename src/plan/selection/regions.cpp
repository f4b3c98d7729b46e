// Closing what is left, place by place. About each spot where choice and bound differ a region grows. Three things can
// close it: better multipliers inside, a better choice inside, or branching, which proves that nothing inside is better
// at the prices of what lies about it. Where the region's own best choice and the present choice about it do not fit
// together, the region takes in just what they disagree on.
//
// Closed regions add up because none can spoil another: they share no columns; a want that is decided in one has all
// its columns there, or those elsewhere stand in no region and what a lacking unit counts (Piece::miss) is capped so
// that they cannot come in: at their own price, or, where they have other wants too, at the multiplier that the want
// has now.
#include <set>

#include "solver.h"
#include "teasel/parallel.h"

namespace teasel::selection {

namespace {
constexpr int kSteps = 8;             // of growth before the others are looked at again
constexpr std::size_t kAtOnce = 100;  // nodes: larger ones grow one step a round
constexpr int kNodes = 100;
}  // namespace

/// The hub is decided in the region, with its columns that matter.
void Solver::own(Region& region, int hub, std::int64_t within) const {
  region.hubs.push_back(hub);
  make_set(region.hubs);
  for (const int column : work_.of_want[index(hub)])
    if (reduced_[index(column)] <= within || chosen_[index(column)])
      region.nodes.push_back(rows_.node_of[index(column)]);
  make_set(region.nodes);
}

/// About a spot, along columns that are near to being chosen: others hardly matter to what is decided there.
Region Solver::grow(int seed, std::size_t size, std::int64_t within) const {
  Region out;
  std::vector<int> list{seed};
  std::set<int> seen{seed}, hubs;
  auto add = [&](int node) {
    if (list.size() < size && seen.insert(node).second) list.push_back(node);
  };
  for (std::size_t k = 0; k < list.size() && list.size() < size; ++k)
    for (const int column : rows_.columns_of[index(list[k])]) {
      if (reduced_[index(column)] > within) continue;
      for (const int clique : rows_.cliques_of[index(column)])
        for (const int other : rows_.cliques[index(clique)])
          if (reduced_[index(other)] <= within) add(rows_.node_of[index(other)]);
      for (const Part& part : problem_.covers[index(column)]) {
        if (!rows_.hub[index(part.row)])
          add(part.row);
        else if (hubs.insert(part.row).second) {
          std::size_t tight = 0;
          for (const int other : work_.of_want[index(part.row)]) tight += reduced_[index(other)] <= within;
          if (list.size() + tight > size) continue;
          own(out, part.row, within);
          for (const int node : out.nodes) add(node);
        }
      }
    }
  out.nodes.insert(out.nodes.end(), list.begin(), list.end());
  make_set(out.nodes);
  return out;
}

/// Nodes that a region lacks: outside it, where its own best choice and the present choice about it do not fit
/// together.
std::vector<int> Solver::misfits(Region& region, const std::vector<int>& own_choice) const {
  std::set<int> out, seen, hubs;
  auto inside = [&](int column) { return has(region.nodes, rows_.node_of[index(column)]); };
  for (const int node : region.nodes)
    for (const int column : rows_.columns_of[index(node)]) {
      for (const Part& part : problem_.covers[index(column)])
        if (rows_.hub[index(part.row)]) hubs.insert(part.row);
      for (const int clique : rows_.cliques_of[index(column)]) {
        if (!seen.insert(clique).second) continue;
        int use = 0, outside = -1;
        std::int64_t least = INT64_MAX;
        for (const int other : rows_.cliques[index(clique)]) {
          const bool in = inside(other), on = in ? has(own_choice, other) : chosen_[index(other)] != 0;
          use += on;
          if (on && !in) outside = rows_.node_of[index(other)];
          if (!in) least = std::min(least, reduced_[index(other)]);
        }
        if (use > 1 && outside >= 0)
          out.insert(outside);
        else if (use == 0 && multipliers_.clique[index(clique)] > kNoGap)
          for (const int other : rows_.cliques[index(clique)])
            if (!inside(other) && reduced_[index(other)] <= std::max(least, kScale))
              out.insert(rows_.node_of[index(other)]);
      }
    }
  for (const int hub : hubs) {
    std::int64_t covered = 0;
    std::vector<int> on, off;
    for (const int column : work_.of_want[index(hub)]) {
      const bool in = inside(column), taken = in ? has(own_choice, column) : chosen_[index(column)] != 0;
      for (const Part& part : problem_.covers[index(column)])
        if (part.row == hub && taken) covered += part.amount;
      if (in) continue;
      if (taken)
        on.push_back(rows_.node_of[index(column)]);
      else
        off.push_back(column);
    }
    const std::int64_t over = covered - problem_.wants[index(hub)].wanted;
    if (over == 0 || multipliers_.want[index(hub)] == 0) continue;
    if (!has(region.hubs, hub))
      own(region, hub, kNoGap);
    else if (over > 0)
      out.insert(on.begin(), on.end());
    else {
      // The more often it came up short, the more of the cheapest ones are taken in.
      const std::size_t most = std::min<std::size_t>(off.size(), std::size_t{2} << std::min(region.tries, 12));
      std::partial_sort(off.begin(), off.begin() + static_cast<std::ptrdiff_t>(most), off.end(), [&](int a, int b) {
        return reduced_[index(a)] != reduced_[index(b)] ? reduced_[index(a)] < reduced_[index(b)] : a < b;
      });
      for (std::size_t k = 0; k < most; ++k) out.insert(rows_.node_of[index(off[k])]);
    }
  }
  for (const int node : region.nodes) out.erase(node);
  return {out.begin(), out.end()};
}

/// Regions that share columns, or a hub and one of its columns, become one.
std::vector<Region> Solver::merged(std::vector<Region> list) const {
  std::vector<Region> out;
  std::vector<int> holds(problem_.columns(), -1), claims(problem_.columns(), -1);
  for (Region& region : list) {
    // What was joined may reach yet others.
    for (bool again = true; again;) {
      again = false;
      std::set<int> met;
      auto look = [&](const std::vector<int>& by, int column) {
        if (by[index(column)] >= 0 && !out[index(by[index(column)])].nodes.empty()) met.insert(by[index(column)]);
      };
      for (const int node : region.nodes)
        for (const int column : rows_.columns_of[index(node)]) {
          look(holds, column);
          look(claims, column);
        }
      for (const int hub : region.hubs)
        for (const int column : work_.of_want[index(hub)]) {
          look(holds, column);
          look(claims, column);
        }
      for (const int number : met) {
        Region& other = out[index(number)];
        region.nodes.insert(region.nodes.end(), other.nodes.begin(), other.nodes.end());
        region.hubs.insert(region.hubs.end(), other.hubs.begin(), other.hubs.end());
        region.tries = std::max(region.tries, other.tries);
        other = {};
        again = true;
      }
    }
    make_set(region.nodes);
    make_set(region.hubs);
    for (const int node : region.nodes)
      for (const int column : rows_.columns_of[index(node)]) holds[index(column)] = static_cast<int>(out.size());
    for (const int hub : region.hubs)
      for (const int column : work_.of_want[index(hub)]) claims[index(column)] = static_cast<int>(out.size());
    out.push_back(std::move(region));
  }
  out.erase(std::remove_if(out.begin(), out.end(), [](const Region& region) { return region.nodes.empty(); }),
            out.end());
  return out;
}

/// Regions at work and new ones about spots that none of them holds.
std::vector<Region> Solver::regions_about(const std::vector<std::int64_t>& gap) {
  std::vector<Region> list;
  std::vector<char> held(nodes());
  auto add = [&](Region&& region) {
    for (const int node : region.nodes) held[index(node)] = 1;
    list.push_back(std::move(region));
  };
  for (Region& region : active_)
    if (std::any_of(region.nodes.begin(), region.nodes.end(), [&](int node) { return gap[index(node)] > kNoGap; }))
      add(std::move(region));
  active_.clear();
  std::vector<int> seeds;
  for (std::size_t node = 0; node < gap.size(); ++node)
    if (gap[node] > kNoGap && !held[node]) seeds.push_back(static_cast<int>(node));
  std::stable_sort(seeds.begin(), seeds.end(), [&](int a, int b) { return gap[index(a)] > gap[index(b)]; });
  for (const int seed : seeds)
    if (!held[index(seed)]) add(grow(seed, limits_.sizes.region, std::max(gap[index(seed)] / 2, kScale)));
  return merged(std::move(list));
}

/// A region that reaches into a closed one takes it in.
void Solver::take_in_closed(std::vector<Region>& list) {
  std::vector<int> holds(problem_.columns(), -1), claims(problem_.columns(), -1);
  for (std::size_t i = 0; i < closed_.size(); ++i) {
    for (const int column : closed_[i].piece.columns) holds[index(column)] = static_cast<int>(i);
    for (const int hub : closed_[i].region.hubs)
      for (const int column : work_.of_want[index(hub)]) claims[index(column)] = static_cast<int>(i);
  }
  std::vector<char> gone(closed_.size());
  for (Region& region : list)
    for (bool again = true; again;) {  // what is taken in may reach yet others
      std::set<int> met;
      auto look = [&](const std::vector<int>& by, int column) {
        if (by[index(column)] >= 0 && !gone[index(by[index(column)])]) met.insert(by[index(column)]);
      };
      for (const int node : region.nodes)
        for (const int column : rows_.columns_of[index(node)]) {
          look(holds, column);
          look(claims, column);
        }
      for (const int hub : region.hubs)
        for (const int column : work_.of_want[index(hub)]) look(holds, column);
      for (const int i : met) {
        gone[index(i)] = 1;
        const Region& inner = closed_[index(i)].region;
        region.nodes.insert(region.nodes.end(), inner.nodes.begin(), inner.nodes.end());
        region.hubs.insert(region.hubs.end(), inner.hubs.begin(), inner.hubs.end());
      }
      make_set(region.nodes);
      make_set(region.hubs);
      again = !met.empty();
    }
  std::vector<Closed> still;
  for (std::size_t i = 0; i < closed_.size(); ++i)
    if (!gone[i]) still.push_back(std::move(closed_[i]));
  closed_ = std::move(still);
}

/// Regions of one round keep their distance, so that their choices cannot meet; small ones first, the others wait.
std::vector<Region> Solver::apart(std::vector<Region> list) {
  std::stable_sort(list.begin(), list.end(),
                   [](const Region& a, const Region& b) { return a.nodes.size() < b.nodes.size(); });
  std::vector<Region> out;
  std::vector<char> taken(nodes()), hub_taken(problem_.wants.size());
  for (Region& region : list) {
    bool near = !problem_.limits.empty() && !out.empty();  // each choice changes what the limits leave to the others
    for (const int node : region.nodes) near = near || taken[index(node)];
    for (const int hub : region.hubs) near = near || hub_taken[index(hub)];
    if (near) {
      active_.push_back(std::move(region));
      continue;
    }
    for (const int node : region.nodes) {
      taken[index(node)] = 1;
      for (const int other : rows_.near[index(node)]) taken[index(other)] = 1;
      for (const int column : rows_.columns_of[index(node)])
        for (const Part& part : problem_.covers[index(column)])
          if (rows_.hub[index(part.row)] && has(region.hubs, part.row)) hub_taken[index(part.row)] = 1;
    }
    out.push_back(std::move(region));
  }
  return out;
}

/// Better multipliers and a better choice inside each region; true where a choice got better.
bool Solver::move(std::vector<Region>& regions) {
  std::vector<Answer> answers(regions.size());
  // The two halves of an answer do not need one another: a single large region keeps two threads busy.
  parallel_for(
      2 * regions.size(),
      [&](std::size_t k) {
        if (clock_.over()) return;
        const Region& region = regions[k / 2];
        Answer& answer = answers[k / 2];
        PieceLimits limits;
        limits.clock = &clock_;
        for (const int node : region.nodes)
          for (const int column : rows_.columns_of[index(node)])
            if (chosen_[index(column)]) limits.start.push_back(column);
        make_set(limits.start);
        if (k % 2 == 0) {
          answer.priced = priced_piece(work_, rows_, multipliers_, region.nodes, region.hubs, false);
          answer.program = solve_piece(work_, rows_, answer.priced, limits);
          return;
        }
        const Piece given = given_piece(work_, rows_, region.nodes, chosen_);
        answer.given_before = value_in(work_, given, limits.start);
        limits.nodes = kNodes;
        answer.given = solve_piece(work_, rows_, given, limits);
      },
      1);
  bool better = false;
  for (std::size_t i = 0; i < regions.size(); ++i) {
    const Answer& answer = answers[i];
    if (answer.program.solved && answer.program.root_bound >= part_of_bound(answer.priced))
      adopt(answer.priced, answer.program);
    if (!answer.given.solved || answer.given.value >= answer.given_before) continue;
    better = true;
    for (const int column : answer.priced.columns) chosen_[index(column)] = 0;
    for (const int column : answer.given.chosen) chosen_[index(column)] = 1;
  }
  return better;
}

/// The last resort of growth: all neighbours, or the hubs if there are none.
void Solver::spread(Region& region) const {
  const std::size_t before = region.nodes.size();
  for (std::size_t k = 0; k < before; ++k)
    for (const int other : rows_.near[index(region.nodes[k])]) region.nodes.push_back(other);
  make_set(region.nodes);
  if (region.nodes.size() > before) return;
  std::vector<int> hubs;
  for (const int node : region.nodes)
    for (const int column : rows_.columns_of[index(node)])
      for (const Part& part : problem_.covers[index(column)])
        if (rows_.hub[index(part.row)]) hubs.push_back(part.row);
  make_set(hubs);
  // The hubs' other columns, cheapest first: as many again as the region has.
  std::vector<int> more;
  for (const int hub : hubs)
    for (const int column : work_.of_want[index(hub)])
      if (!has(region.nodes, rows_.node_of[index(column)])) more.push_back(column);
  make_set(more);
  std::stable_sort(more.begin(), more.end(), [&](int a, int b) { return reduced_[index(a)] < reduced_[index(b)]; });
  more.resize(std::min(more.size(), before));
  for (const int hub : hubs) own(region, hub, INT64_MIN);
  for (const int column : more) region.nodes.push_back(rows_.node_of[index(column)]);
  make_set(region.nodes);
}

/// Branches inside a region; closed where its best price at the border's multipliers agrees with the choice. Else it
/// grows.
Solver::Step Solver::close(Region& region, Closed& found) const {
  Piece piece = priced_piece(work_, rows_, multipliers_, region.nodes, region.hubs, false, true);
  PieceLimits limits;
  limits.clock = &clock_;
  limits.nodes = kNodes << std::min(region.tries / 4, 10);
  limits.keep_proof = limits_.keep_proof;
  for (const int column : piece.columns)
    if (chosen_[index(column)]) limits.start.push_back(column);
  PieceResult result = solve_piece(work_, rows_, piece, limits);
  if (!result.solved) return Step::better;
  const std::int64_t gain = result.bound -
                            part_of_bound(priced_piece(work_, rows_, multipliers_, region.nodes, region.hubs, false)),
                     now = value_in(work_, piece, limits.start);
  const std::size_t hubs = region.hubs.size();
  Region larger = region;
  const std::vector<int> lacking = misfits(larger, result.chosen);
  const bool agrees = result.bound >= now - kNoGap && lacking.empty() && larger.hubs.size() == hubs;
  if (agrees || clock_.over()) {
    found = {region, gain, std::move(piece), std::move(result.nodes)};
    return Step::closed;
  }
  ++larger.tries;
  auto add = [&](const std::vector<int>& more) {
    larger.nodes.insert(larger.nodes.end(), more.begin(), more.end());
    make_set(larger.nodes);
  };
  if (!lacking.empty())
    add(lacking);
  else if (larger.hubs.size() != hubs)
    ++region.tries;
  else if (result.value < now) {
    ++region.tries;
    if (region.tries % 3 != 0) return Step::better;
    add(grow(region.nodes[0], 2 * region.nodes.size(), kScale << std::min(region.tries, 30)).nodes);
  } else
    add(grow(region.nodes[0], 2 * region.nodes.size(), kScale << std::min(2 * larger.tries, 30)).nodes);
  if (larger.nodes.size() == region.nodes.size() && larger.hubs.size() == region.hubs.size()) spread(larger);
  region = std::move(larger);
  return Step::grown;
}

/// One round over the spots that are left; false when there are none.
bool Solver::round() {
  std::vector<std::int64_t> gap = gaps();
  if (proven_units() >= best_.cost) return false;
  for (const Closed& shut : closed_)
    for (const int node : shut.region.nodes) gap[index(node)] = 0;
  std::vector<Region> list = regions_about(gap);
  if (list.empty()) return false;
  take_in_closed(list);
  std::vector<Region> regions = apart(merged(std::move(list)));
  if (move(regions)) keep_best();
  if (closed_.empty()) price_wants(false);  // closed regions rely on these multipliers
  gap = gaps();
  std::vector<Closed> found(regions.size());
  std::vector<char> closed(regions.size());
  parallel_for(
      regions.size(),
      [&](std::size_t i) {
        Region& region = regions[i];
        if (std::none_of(region.nodes.begin(), region.nodes.end(), [&](int node) { return gap[index(node)] > kNoGap; }))
          return;
        for (int step = 0; step < kSteps && !clock_.over(); ++step) {
          const Step outcome = close(region, found[i]);
          closed[i] = outcome == Step::closed;
          if (outcome != Step::grown || region.nodes.size() > kAtOnce) break;
        }
      },
      1);
  // Two that grew into each other, or into one closed before, cannot both count.
  std::vector<char> held(problem_.columns()), claimed(problem_.columns());
  auto free = [&](const Closed& shut) {
    bool is = true;
    for (const int k : shut.piece.columns) is = is && !held[index(k)] && !claimed[index(k)];
    for (const int hub : shut.region.hubs)
      for (const int k : work_.of_want[index(hub)]) is = is && !held[index(k)] && !claimed[index(k)];
    return is;
  };
  auto hold = [&](const Closed& shut) {
    for (const int k : shut.piece.columns) held[index(k)] = 1;
    for (const int hub : shut.region.hubs)
      for (const int k : work_.of_want[index(hub)]) claimed[index(k)] = 1;
  };
  for (const Closed& shut : closed_) hold(shut);
  for (std::size_t i = 0; i < regions.size(); ++i) {
    if (closed[i] && found[i].gain > 0 && free(found[i])) {
      hold(found[i]);
      closed_.push_back(std::move(found[i]));
    } else if (!closed[i] || found[i].gain > 0)
      active_.push_back(std::move(regions[i]));
  }
  return true;
}

/// Where the bound is far off, a better choice comes first: window after window is chosen anew, the rest held fixed,
/// until a whole tour over all nodes changes nothing.
void Solver::windows() {
  constexpr std::size_t kWindow = 60;
  constexpr int kWindowNodes = 40;
  const double until = clock_.left() / 2;
  back_to_best();
  for (bool again = true; again && clock_.left() > until && !clock_.over();) {
    again = false;
    std::vector<char> seen(nodes());
    for (std::size_t node = 0; node < nodes() && clock_.left() > until && !clock_.over(); ++node) {
      if (seen[node] || rows_.columns_of[node].empty()) continue;
      std::vector<int> list{static_cast<int>(node)};
      std::set<int> in{static_cast<int>(node)};
      for (std::size_t k = 0; k < list.size() && list.size() < kWindow; ++k)
        for (const int other : rows_.near[index(list[k])])
          if (list.size() < kWindow && in.insert(other).second) list.push_back(other);
      for (std::size_t k = 0; k < list.size() / 4 + 1; ++k) seen[index(list[k])] = 1;  // windows overlap
      make_set(list);
      const Piece given = given_piece(work_, rows_, list, chosen_);
      PieceLimits limits;
      limits.clock = &clock_;
      limits.nodes = kWindowNodes;
      for (const int member : list)
        for (const int column : rows_.columns_of[index(member)])
          if (chosen_[index(column)]) limits.start.push_back(column);
      make_set(limits.start);
      const PieceResult result = solve_piece(work_, rows_, given, limits);
      if (!result.solved || result.value >= value_in(work_, given, limits.start)) continue;
      for (const int member : list)
        for (const int column : rows_.columns_of[index(member)]) chosen_[index(column)] = 0;
      for (const int column : result.chosen) chosen_[index(column)] = 1;
      again = true;
    }
    keep_best();
  }
}

/// What no region could close, by branching on everything at once. Limits are decided here too.
void Solver::whole(int most_nodes) {
  std::vector<int> all;
  for (std::size_t node = 0; node < nodes(); ++node)
    if (node >= problem_.wants.size() || !rows_.hub[node]) all.push_back(static_cast<int>(node));
  const Region region{all, all_hubs(), 0};
  Piece piece = priced_piece(work_, rows_, multipliers_, region.nodes, region.hubs, true, true);
  PieceLimits limits;
  limits.clock = &clock_;
  limits.nodes = most_nodes;
  limits.keep_proof = limits_.keep_proof;
  limits.start = best_.columns;
  limits.near = best_.cost * (kScale / kNearEnough);
  PieceResult result = solve_piece(work_, rows_, piece, limits);
  if (!result.solved) return;
  std::fill(chosen_.begin(), chosen_.end(), 0);
  for (const int column : result.chosen) chosen_[index(column)] = 1;
  keep_best();
  const std::int64_t before = proven();
  gaps();
  if (result.bound <= before || (result.bound + kScale - 1) / kScale < best_.cost) {
    if (result.bound <= before || most_nodes < kAllNodes) return;
  }
  closed_.clear();
  const std::int64_t gain =
      result.bound - part_of_bound(priced_piece(work_, rows_, multipliers_, region.nodes, region.hubs, true));
  closed_.push_back({region, gain, std::move(piece), std::move(result.nodes)});
}

}  // namespace teasel::selection
