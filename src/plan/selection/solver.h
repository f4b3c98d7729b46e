// The solver's state; its steps are in passes.cpp, regions.cpp and bounds.cpp.
#pragma once
#include "piece.h"

namespace teasel::selection {

constexpr int kAllNodes = 1 << 30;
constexpr std::int64_t kNearEnough = 10'000;  ///< one part in so many: what long branching does not close may stay open
constexpr std::int64_t kNoGap = kScale / 64;  ///< differences up to this are rounding

/// Nodes that are decided together, and the hubs among their wants that are decided there too.
struct Region {
  std::vector<int> nodes, hubs;  ///< ascending
  int tries = 0;
};
/// A region whose best price at the multipliers about it is proven to be `gain` above what the multipliers inside
/// prove.
struct Closed {
  Region region;
  std::int64_t gain{};
  Piece piece;
  std::vector<ProofNode> tree;
};

class Solver {
 public:
  Solver(const Problem& problem, const Limits& limits)
      : problem_(problem), limits_(limits), clock_(limits), work_(problem) {}
  Result run();

 private:
  enum class Step : std::uint8_t { closed, grown, better };
  struct Answer {
    Piece priced;
    PieceResult program, given;
    std::int64_t given_before{};
  };

  [[nodiscard]] std::size_t nodes() const { return problem_.wants.size() + rows_.lone.size(); }

  // passes.cpp: first multipliers and a first choice
  void split();
  std::vector<std::vector<int>> blocks(const std::vector<int>& seeds) const;
  std::vector<int> border_of(const std::vector<std::vector<int>>& parts) const;
  void programs(const std::vector<std::vector<int>>& parts, bool whole);
  void adopt(const Piece& piece, const PieceResult& result);
  void price_wants(bool all);
  void repair();
  void better_choice();
  void keep_best();
  void back_to_best();
  std::vector<int> all_hubs() const;
  void passes();

  // bounds.cpp
  std::vector<std::int64_t> gaps();
  std::int64_t proven() const;
  [[nodiscard]] Cost proven_units() const { return (proven() + kScale - 1) / kScale; }
  std::int64_t part_of_bound(const Piece& piece) const;
  Proof proof() const;

  // regions.cpp: closing what is left, place by place
  Region grow(int seed, std::size_t size, std::int64_t within) const;
  void own(Region& region, int hub, std::int64_t within) const;
  std::vector<int> misfits(Region& region, const std::vector<int>& own) const;
  std::vector<Region> merged(std::vector<Region> list) const;
  std::vector<Region> regions_about(const std::vector<std::int64_t>& gap);
  std::vector<Region> apart(std::vector<Region> list);
  void take_in_closed(std::vector<Region>& list);
  bool move(std::vector<Region>& regions);
  void spread(Region& region) const;
  Step close(Region& region, Closed& found) const;
  bool round();
  void windows();
  void whole(int most_nodes);

  const Problem& problem_;
  const Limits& limits_;
  Clock clock_;
  Work work_;
  Rows rows_;
  Multipliers multipliers_;
  std::vector<char> chosen_;  ///< by column
  std::vector<std::vector<int>> pieces_;
  std::vector<Closed> closed_;
  std::vector<Region> active_;         ///< regions that are still growing
  std::vector<std::int64_t> reduced_;  ///< by column: reduced price at the multipliers of the last gaps()
  std::int64_t bound_now_ = 0;         ///< what those multipliers prove, without what closed regions add
  Choice best_;
  bool any_ = false;  ///< best_ holds a choice
  Result result_;
};

}  // namespace teasel::selection
