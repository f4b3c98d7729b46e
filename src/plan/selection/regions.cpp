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
  for (const int c : w_.of_want[at(hub)])
    if (reduced_[at(c)] <= within || chosen_[at(c)]) region.nodes.push_back(rows_.node_of[at(c)]);
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
    for (const int c : rows_.columns_of[at(list[k])]) {
      if (reduced_[at(c)] > within) continue;
      for (const int q : rows_.cliques_of[at(c)])
        for (const int o : rows_.cliques[at(q)])
          if (reduced_[at(o)] <= within) add(rows_.node_of[at(o)]);
      for (const Part& x : p_.covers[at(c)]) {
        if (!rows_.hub[at(x.row)])
          add(x.row);
        else if (hubs.insert(x.row).second) {
          std::size_t tight = 0;
          for (const int o : w_.of_want[at(x.row)]) tight += reduced_[at(o)] <= within;
          if (list.size() + tight > size) continue;
          own(out, x.row, within);
          for (const int n : out.nodes) add(n);
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
  auto inside = [&](int c) { return has(region.nodes, rows_.node_of[at(c)]); };
  for (const int n : region.nodes)
    for (const int c : rows_.columns_of[at(n)]) {
      for (const Part& x : p_.covers[at(c)])
        if (rows_.hub[at(x.row)]) hubs.insert(x.row);
      for (const int q : rows_.cliques_of[at(c)]) {
        if (!seen.insert(q).second) continue;
        int use = 0, outside = -1;
        std::int64_t least = INT64_MAX;
        for (const int o : rows_.cliques[at(q)]) {
          const bool in = inside(o), on = in ? has(own_choice, o) : chosen_[at(o)] != 0;
          use += on;
          if (on && !in) outside = rows_.node_of[at(o)];
          if (!in) least = std::min(least, reduced_[at(o)]);
        }
        if (use > 1 && outside >= 0)
          out.insert(outside);
        else if (use == 0 && m_.clique[at(q)] > kNoGap)
          for (const int o : rows_.cliques[at(q)])
            if (!inside(o) && reduced_[at(o)] <= std::max(least, kScale)) out.insert(rows_.node_of[at(o)]);
      }
    }
  for (const int h : hubs) {
    std::int64_t covered = 0;
    std::vector<int> on, off;
    for (const int c : w_.of_want[at(h)]) {
      const bool in = inside(c), taken = in ? has(own_choice, c) : chosen_[at(c)] != 0;
      for (const Part& x : p_.covers[at(c)])
        if (x.row == h && taken) covered += x.amount;
      if (in) continue;
      if (taken)
        on.push_back(rows_.node_of[at(c)]);
      else
        off.push_back(c);
    }
    const std::int64_t over = covered - p_.wants[at(h)].wanted;
    if (over == 0 || m_.want[at(h)] == 0) continue;
    if (!has(region.hubs, h))
      own(region, h, kNoGap);
    else if (over > 0)
      out.insert(on.begin(), on.end());
    else {
      // The more often it came up short, the more of the cheapest ones are taken in.
      const std::size_t most = std::min<std::size_t>(off.size(), std::size_t{2} << std::min(region.tries, 12));
      std::partial_sort(off.begin(), off.begin() + static_cast<std::ptrdiff_t>(most), off.end(), [&](int a, int b) {
        return reduced_[at(a)] != reduced_[at(b)] ? reduced_[at(a)] < reduced_[at(b)] : a < b;
      });
      for (std::size_t k = 0; k < most; ++k) out.insert(rows_.node_of[at(off[k])]);
    }
  }
  for (const int n : region.nodes) out.erase(n);
  return {out.begin(), out.end()};
}

/// Regions that share columns, or a hub and one of its columns, become one.
std::vector<Region> Solver::merged(std::vector<Region> list) const {
  std::vector<Region> out;
  std::vector<int> holds(p_.columns(), -1), claims(p_.columns(), -1);
  for (Region& r : list) {
    // What was joined may reach yet others.
    for (bool again = true; again;) {
      again = false;
      std::set<int> met;
      auto look = [&](const std::vector<int>& by, int c) {
        if (by[at(c)] >= 0 && !out[at(by[at(c)])].nodes.empty()) met.insert(by[at(c)]);
      };
      for (const int n : r.nodes)
        for (const int c : rows_.columns_of[at(n)]) {
          look(holds, c);
          look(claims, c);
        }
      for (const int h : r.hubs)
        for (const int c : w_.of_want[at(h)]) {
          look(holds, c);
          look(claims, c);
        }
      for (const int o : met) {
        Region& other = out[at(o)];
        r.nodes.insert(r.nodes.end(), other.nodes.begin(), other.nodes.end());
        r.hubs.insert(r.hubs.end(), other.hubs.begin(), other.hubs.end());
        r.tries = std::max(r.tries, other.tries);
        other = {};
        again = true;
      }
    }
    make_set(r.nodes);
    make_set(r.hubs);
    for (const int n : r.nodes)
      for (const int c : rows_.columns_of[at(n)]) holds[at(c)] = static_cast<int>(out.size());
    for (const int h : r.hubs)
      for (const int c : w_.of_want[at(h)]) claims[at(c)] = static_cast<int>(out.size());
    out.push_back(std::move(r));
  }
  out.erase(std::remove_if(out.begin(), out.end(), [](const Region& r) { return r.nodes.empty(); }), out.end());
  return out;
}

/// Regions at work and new ones about spots that none of them holds.
std::vector<Region> Solver::spots(const std::vector<std::int64_t>& gap) {
  std::vector<Region> list;
  std::vector<char> held(nodes());
  auto add = [&](Region&& r) {
    for (const int n : r.nodes) held[at(n)] = 1;
    list.push_back(std::move(r));
  };
  for (Region& r : active_)
    if (std::any_of(r.nodes.begin(), r.nodes.end(), [&](int n) { return gap[at(n)] > kNoGap; })) add(std::move(r));
  active_.clear();
  std::vector<int> seeds;
  for (std::size_t n = 0; n < gap.size(); ++n)
    if (gap[n] > kNoGap && !held[n]) seeds.push_back(static_cast<int>(n));
  std::stable_sort(seeds.begin(), seeds.end(), [&](int a, int b) { return gap[at(a)] > gap[at(b)]; });
  for (const int s : seeds)
    if (!held[at(s)]) add(grow(s, limits_.sizes.region, std::max(gap[at(s)] / 2, kScale)));
  return merged(std::move(list));
}

/// A region that reaches into a closed one takes it in.
void Solver::take_in_closed(std::vector<Region>& list) {
  std::vector<int> holds(p_.columns(), -1), claims(p_.columns(), -1);
  for (std::size_t i = 0; i < closed_.size(); ++i) {
    for (const int c : closed_[i].piece.columns) holds[at(c)] = static_cast<int>(i);
    for (const int h : closed_[i].region.hubs)
      for (const int c : w_.of_want[at(h)]) claims[at(c)] = static_cast<int>(i);
  }
  std::vector<char> gone(closed_.size());
  for (Region& r : list)
    for (bool again = true; again;) {  // what is taken in may reach yet others
      std::set<int> met;
      auto look = [&](const std::vector<int>& by, int c) {
        if (by[at(c)] >= 0 && !gone[at(by[at(c)])]) met.insert(by[at(c)]);
      };
      for (const int n : r.nodes)
        for (const int c : rows_.columns_of[at(n)]) {
          look(holds, c);
          look(claims, c);
        }
      for (const int h : r.hubs)
        for (const int c : w_.of_want[at(h)]) look(holds, c);
      for (const int i : met) {
        gone[at(i)] = 1;
        const Region& c = closed_[at(i)].region;
        r.nodes.insert(r.nodes.end(), c.nodes.begin(), c.nodes.end());
        r.hubs.insert(r.hubs.end(), c.hubs.begin(), c.hubs.end());
      }
      make_set(r.nodes);
      make_set(r.hubs);
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
  std::vector<char> taken(nodes()), hub(p_.wants.size());
  for (Region& r : list) {
    bool near = !p_.limits.empty() && !out.empty();  // each choice changes what the limits leave to the others
    for (const int n : r.nodes) near = near || taken[at(n)];
    for (const int h : r.hubs) near = near || hub[at(h)];
    if (near) {
      active_.push_back(std::move(r));
      continue;
    }
    for (const int n : r.nodes) {
      taken[at(n)] = 1;
      for (const int o : rows_.near[at(n)]) taken[at(o)] = 1;
      for (const int c : rows_.columns_of[at(n)])
        for (const Part& x : p_.covers[at(c)])
          hub[at(x.row)] = hub[at(x.row)] || (rows_.hub[at(x.row)] && has(r.hubs, x.row));
    }
    out.push_back(std::move(r));
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
        Answer& a = answers[k / 2];
        PieceLimits l;
        l.clock = &clock_;
        for (const int n : region.nodes)
          for (const int c : rows_.columns_of[at(n)])
            if (chosen_[at(c)]) l.start.push_back(c);
        make_set(l.start);
        if (k % 2 == 0) {
          a.priced = priced_piece(w_, rows_, m_, region.nodes, region.hubs, false);
          a.program = solve_piece(w_, rows_, a.priced, l);
          return;
        }
        const Piece given = given_piece(w_, rows_, region.nodes, chosen_);
        a.given_before = value_in(w_, given, l.start);
        l.nodes = kNodes;
        a.given = solve_piece(w_, rows_, given, l);
      },
      1);
  bool better = false;
  for (std::size_t i = 0; i < regions.size(); ++i) {
    const Answer& a = answers[i];
    if (a.program.solved && a.program.root_bound >= part_of_bound(a.priced)) adopt(a.priced, a.program);
    if (!a.given.solved || a.given.value >= a.given_before) continue;
    better = true;
    for (const int c : a.priced.columns) chosen_[at(c)] = 0;
    for (const int c : a.given.chosen) chosen_[at(c)] = 1;
  }
  return better;
}

/// The last resort of growth: all neighbours, or the hubs if there are none.
void Solver::spread(Region& region) const {
  const std::size_t before = region.nodes.size();
  for (std::size_t k = 0; k < before; ++k)
    for (const int o : rows_.near[at(region.nodes[k])]) region.nodes.push_back(o);
  make_set(region.nodes);
  if (region.nodes.size() > before) return;
  std::vector<int> hubs;
  for (const int n : region.nodes)
    for (const int c : rows_.columns_of[at(n)])
      for (const Part& x : p_.covers[at(c)])
        if (rows_.hub[at(x.row)]) hubs.push_back(x.row);
  make_set(hubs);
  // The hubs' other columns, cheapest first: as many again as the region has.
  std::vector<int> more;
  for (const int h : hubs)
    for (const int c : w_.of_want[at(h)])
      if (!has(region.nodes, rows_.node_of[at(c)])) more.push_back(c);
  make_set(more);
  std::stable_sort(more.begin(), more.end(), [&](int a, int b) { return reduced_[at(a)] < reduced_[at(b)]; });
  more.resize(std::min(more.size(), before));
  for (const int h : hubs) own(region, h, INT64_MIN);
  for (const int c : more) region.nodes.push_back(rows_.node_of[at(c)]);
  make_set(region.nodes);
}

/// Branches inside a region; closed where its best price at the border's multipliers agrees with the choice. Else it
/// grows.
Solver::Step Solver::close(Region& region, Closed& found) const {
  Piece piece = priced_piece(w_, rows_, m_, region.nodes, region.hubs, false, true);
  PieceLimits l;
  l.clock = &clock_;
  l.nodes = kNodes << std::min(region.tries / 4, 10);
  l.keep_proof = limits_.keep_proof;
  for (const int c : piece.columns)
    if (chosen_[at(c)]) l.start.push_back(c);
  PieceResult r = solve_piece(w_, rows_, piece, l);
  if (!r.solved) return Step::better;
  const std::int64_t gain = r.bound - part_of_bound(priced_piece(w_, rows_, m_, region.nodes, region.hubs, false)),
                     now = value_in(w_, piece, l.start);
  const std::size_t hubs = region.hubs.size();
  Region larger = region;
  const std::vector<int> lacking = misfits(larger, r.chosen);
  const bool agrees = r.bound >= now - kNoGap && lacking.empty() && larger.hubs.size() == hubs;
  if (agrees || clock_.over()) {
    found = {region, gain, std::move(piece), std::move(r.nodes)};
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
  else if (r.value < now) {
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
  for (const Closed& c : closed_)
    for (const int n : c.region.nodes) gap[at(n)] = 0;
  std::vector<Region> list = spots(gap);
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
        if (std::none_of(region.nodes.begin(), region.nodes.end(), [&](int n) { return gap[at(n)] > kNoGap; })) return;
        for (int step = 0; step < kSteps && !clock_.over(); ++step) {
          const Step s = close(region, found[i]);
          closed[i] = s == Step::closed;
          if (s != Step::grown || region.nodes.size() > kAtOnce) break;
        }
      },
      1);
  // Two that grew into each other, or into one closed before, cannot both count.
  std::vector<char> held(p_.columns()), claimed(p_.columns());
  auto free = [&](const Closed& c) {
    bool is = true;
    for (const int k : c.piece.columns) is = is && !held[at(k)] && !claimed[at(k)];
    for (const int h : c.region.hubs)
      for (const int k : w_.of_want[at(h)]) is = is && !held[at(k)] && !claimed[at(k)];
    return is;
  };
  auto hold = [&](const Closed& c) {
    for (const int k : c.piece.columns) held[at(k)] = 1;
    for (const int h : c.region.hubs)
      for (const int k : w_.of_want[at(h)]) claimed[at(k)] = 1;
  };
  for (const Closed& c : closed_) hold(c);
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
    for (std::size_t n = 0; n < nodes() && clock_.left() > until && !clock_.over(); ++n) {
      if (seen[n] || rows_.columns_of[n].empty()) continue;
      std::vector<int> list{static_cast<int>(n)};
      std::set<int> in{static_cast<int>(n)};
      for (std::size_t k = 0; k < list.size() && list.size() < kWindow; ++k)
        for (const int o : rows_.near[at(list[k])])
          if (list.size() < kWindow && in.insert(o).second) list.push_back(o);
      for (std::size_t k = 0; k < list.size() / 4 + 1; ++k) seen[at(list[k])] = 1;  // windows overlap
      make_set(list);
      const Piece given = given_piece(w_, rows_, list, chosen_);
      PieceLimits l;
      l.clock = &clock_;
      l.nodes = kWindowNodes;
      for (const int m : list)
        for (const int c : rows_.columns_of[at(m)])
          if (chosen_[at(c)]) l.start.push_back(c);
      make_set(l.start);
      const PieceResult r = solve_piece(w_, rows_, given, l);
      if (!r.solved || r.value >= value_in(w_, given, l.start)) continue;
      for (const int m : list)
        for (const int c : rows_.columns_of[at(m)]) chosen_[at(c)] = 0;
      for (const int c : r.chosen) chosen_[at(c)] = 1;
      again = true;
    }
    keep_best();
  }
}

/// What no region could close, by branching on everything at once. Limits are decided here too.
void Solver::whole(int most_nodes) {
  std::vector<int> all;
  for (std::size_t n = 0; n < nodes(); ++n)
    if (n >= p_.wants.size() || !rows_.hub[n]) all.push_back(static_cast<int>(n));
  const Region region{all, all_hubs(), 0};
  Piece piece = priced_piece(w_, rows_, m_, region.nodes, region.hubs, true, true);
  PieceLimits l;
  l.clock = &clock_;
  l.nodes = most_nodes;
  l.keep_proof = limits_.keep_proof;
  l.start = best_.columns;
  l.near = best_.cost * (kScale / kNearEnough);
  PieceResult r = solve_piece(w_, rows_, piece, l);
  if (!r.solved) return;
  std::fill(chosen_.begin(), chosen_.end(), 0);
  for (const int c : r.chosen) chosen_[at(c)] = 1;
  keep_best();
  const std::int64_t before = proven();
  gaps();
  if (r.bound <= before || (r.bound + kScale - 1) / kScale < best_.cost) {
    if (r.bound <= before || most_nodes < kAllNodes) return;
  }
  closed_.clear();
  const std::int64_t gain = r.bound - part_of_bound(priced_piece(w_, rows_, m_, region.nodes, region.hubs, true));
  closed_.push_back({region, gain, std::move(piece), std::move(r.nodes)});
}

}  // namespace teasel::selection
