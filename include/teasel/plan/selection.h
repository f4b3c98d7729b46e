// Choosing columns at least cost: whole numbers, exact, with a proof that another program can check.
//
//   minimise   sum price[j] x[j]  +  sum lack of each want                   x in {0, 1}
//   lack(r)    = miss[r] s  +  last[r] if nothing at all is covered,  s = max(0, wanted[r] - sum amount[r][j] x[j])
//                (hard wants may lack nothing)
//   subject to x[i] + x[j] <= 1                             for each pair in conflict
//              sum weight[l][j] x[j] <= capacity[l]         for each limit l
//
// It knows nothing of boards. Amounts may be negative ("this column asks for one of those").
// Bounds come from linear duals in whole 2^-kScaleBits of a unit (weak duality, standard): for any multipliers
// 0 <= u <= miss + last, v >= 0 of cliques and w >= 0 of limits,
//   cost >= sum (wanted u - (wanted - 1) max(0, u - miss)) - sum v - sum capacity w
//           + sum_j min(0, price_j - sum amount u + sum of v over cliques of j + sum weight w).
#pragma once
#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace teasel::selection {

using Cost = std::int64_t;
inline constexpr int kScaleBits = 20;
/// Price of leaving a hard want open, per unit: above all other costs together. Seen in costs only if no choice meets
/// it.
inline constexpr Cost kHard = Cost{1} << 30;

/// Lists of lists in one piece: list i is [start[i], start[i + 1]).
template <class T>
struct Lists {
  std::vector<std::size_t> start{0};
  std::vector<T> items;
  struct Range {
    const T *first, *last;
    [[nodiscard]] const T* begin() const { return first; }
    [[nodiscard]] const T* end() const { return last; }
    [[nodiscard]] std::size_t size() const { return static_cast<std::size_t>(last - first); }
    [[nodiscard]] bool empty() const { return first == last; }
    const T& operator[](std::size_t k) const { return first[k]; }
  };
  [[nodiscard]] std::size_t size() const { return start.size() - 1; }
  [[nodiscard]] Range operator[](std::size_t i) const { return {items.data() + start[i], items.data() + start[i + 1]}; }
  void add(const T& item) { items.push_back(item); }
  void close() { start.push_back(items.size()); }
};

struct Part {
  int row{};  ///< of a want or a limit
  std::int64_t amount{};
  bool operator==(const Part&) const = default;
};

struct Want {
  std::int64_t wanted{};
  Cost miss{};        ///< for each unit that is lacking
  bool hard = false;  ///< may not lack anything
  Cost last{};        ///< on top where nothing is covered; 0 unless wanted >= 2 and no amount is negative
  /// Price of `left` units lacking (none if it is not above 0).
  [[nodiscard]] Cost lack(std::int64_t left) const {
    if (left <= 0) return 0;
    return left * unit() + (left >= wanted ? last : 0);
  }
  [[nodiscard]] Cost unit() const;  ///< miss, or what stands for it where nothing may lack
};

inline Cost Want::unit() const {
  return hard ? kHard : miss;
}

struct Problem {
  std::vector<Cost> price;  ///< by column
  std::vector<Want> wants;
  std::vector<std::int64_t> limits;  ///< capacities
  Lists<Part> covers;                ///< by column: wants, ascending, each once
  Lists<Part> weighs;                ///< by column: limits, amounts >= 0
  Lists<int> conflicts;              ///< by column, ascending, both ways
  [[nodiscard]] std::size_t columns() const { return price.size(); }
};

/// Points of one kind each, in nm; two on one layer conflict nearer than least[kind][kind].
struct Spaced {
  std::vector<std::int64_t> x, y;
  std::vector<int> layer, kind;
  std::vector<std::vector<std::int64_t>> least;
};
Lists<int> spacing_conflicts(const Spaced& points);

struct Choice {
  std::vector<int> columns;  ///< ascending
  Cost cost{};
};
/// Price of a set of columns: theirs and what is lacking.
Cost cost_of(const Problem& problem, const std::vector<int>& columns);
/// No conflict, every limit kept.
bool feasible(const Problem& problem, const std::vector<int>& columns);

/// A column taken out, and why some optimum does without it; columns taken out before it count as gone.
struct Removal {
  enum class Why : std::uint8_t { worth, dominated, evicts, spare } why{};
  int column = -1, instead = -1;
};

/// Multipliers in whole 2^-kScaleBits. Rows and cliques that are not named have none.
struct Dual {
  std::vector<std::pair<int, std::int64_t>> wants, limits, cliques;
};
/// A tree of cases: each fixes a column out or in (what conflicts with a column that is in is out).
struct ProofNode {
  int column = -1;  ///< branches on this column: `out` and `in` are nodes; -1: a leaf
  int out = -1, in = -1;
  bool impossible = false;  ///< leaf: two columns that are in conflict, or weigh more than a limit allows
  Dual dual;                ///< leaf: multipliers of the wants decided here and of the cliques within the columns
};
/// Some columns whose best price at the shared multipliers of all else is proven by cases. It decides some wants: all
/// their columns are here, or those elsewhere cost at least `offer` a unit at the shared multipliers.
struct ProofPiece {
  std::vector<int> columns, wants;
  std::vector<std::int64_t> offer;  ///< by want of the piece: most that one lacking unit counts, 2^-kScaleBits
  bool limits = false;              ///< decides the limits too: it holds all columns that weigh anything
  std::vector<ProofNode> nodes;     ///< the first is the root
  std::int64_t bound{};             ///< 2^-kScaleBits
};
struct Proof {
  std::vector<int> without;  ///< limits that the proof leaves out: the choice keeps them unasked
  std::vector<Removal> removals;
  std::vector<std::vector<int>>
      cliques;  ///< columns that exclude one another: in conflict, or for one want of one unit
  Dual shared;
  std::vector<ProofPiece> pieces;
};

/// Sizes at which the solver changes its ways; any values give the same cost. Small ones let tests reach every step.
struct Sizes {
  std::size_t hub = 24;      ///< a want with more columns is no node of regions by itself
  std::size_t block = 1750;  ///< nodes of one linear program: larger ones take more than in proportion
  std::size_t region = 12;   ///< nodes of the first region about a spot
  std::size_t whole =
      12000;  ///< columns: parts up to this are one program, hubs and all, and branched on as a whole first
};

struct Result;
/// Parts of problems solved before, with their proven results: what an edit leaves alone need not be solved again.
class Memory {
 public:
  Memory();
  ~Memory();
  [[nodiscard]] const Result* find(const std::string& part) const;
  void keep(std::string part, const Result& result);

 private:
  struct Kept;
  std::unique_ptr<Kept> kept_;
};

struct Limits {
  double seconds = 60;
  const std::atomic<bool>* stop = nullptr;
  std::vector<int> start;  ///< columns of a choice to begin with; may be empty
  bool keep_proof = false;
  Sizes sizes;
  Memory* memory = nullptr;
};

struct Result {
  Choice best;
  Cost bound{};         ///< no choice costs less; exact
  bool proven = false;  ///< cost == bound
  bool out_of_time =
      false;  ///< or stopped; false and not proven: the last hundredth of a per cent was not worth more branching
  std::size_t kept = 0, pieces = 0, largest_piece = 0, nodes = 0;  ///< after reductions: columns; by wants
  Proof proof;
};

/// The best choice and its proof, or the best found in the time and what is proven of it. The same on any number of
/// threads unless time runs out.
Result solve(const Problem& problem, const Limits& limits);

/// The problem, the choice and its proof as text, for a checker that shares nothing with this program.
/// Records and what must hold of them: see DEVELOPERS.md, "The proof file".
std::string proof_text(const Problem& problem, const Result& result);

/// Which rules reduce() may use; tests switch some of them off.
struct Reductions {
  bool worth = true, dominated = true, evicts = true, spare = true;
};
/// Removals in order, each of which keeps an optimum.
std::vector<Removal> reduce(const Problem& problem, const Reductions& allowed = {});

/// Cheapest first, wants with the fewest columns first; conflicts and limits kept. What a careful person would do.
std::vector<int> greedy(const Problem& problem);

}  // namespace teasel::selection
