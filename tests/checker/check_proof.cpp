// Checks a proof file: that the chosen columns cost what is said, and that no choice costs less than the bound.
//
// Why the bound holds. Take a cheapest choice x; it holds no two twins, as dropping either would save its price. A want
// costs at least share(r, u) - u * covered(r) for each multiplier u from 0 to miss + last: this line in covered(r) lies
// nowhere above lack(r). A limit or a clique that x keeps may be added with a multiplier of at least 0: what is added
// is never positive. Summing up leaves each column one coefficient, its reduced price rc, and the column can bring the
// sum down by min(0, rc) at most: L(shared) <= cost. A piece replaces its part of that sum by something sharper: a tree
// of cases, each with multipliers of its own; x falls into exactly one leaf of each tree. A column outside the piece
// that covers wants decided in pieces sees their multipliers move between 0 and the offers; its term is lowest with
// each at its worse end, and must not be lower there than it was. All costs are whole, so the sum may be rounded up.
//
// Multipliers count in units of 2^-20. Sums are exact: the reader's ranges leave room for each of them in 128 bits.
#include <cstdio>
#include <exception>

#include "proof_file.h"

namespace {

constexpr Wide unit = Wide{1} << 20;

std::string text(std::string_view words) {
  return std::string(words);
}
std::string text(Wide value) {
  std::string digits;
  const bool negative = value < 0;
  do digits += static_cast<char>('0' + (value % 10 < 0 ? -(value % 10) : value % 10));
  while ((value /= 10) != 0);
  if (negative) digits += '-';
  return {digits.rbegin(), digits.rend()};
}

struct Enough {};
int violations = 0;

template <class... Parts>
void demand(bool holds, const Parts&... parts) {
  if (holds) return;
  std::printf("violation: %s\n", (text(parts) + ...).c_str());
  if (++violations == 20) throw Enough{};
}

class Checker {
  Proof& proof_;
  const int count_;
  Rows<Entry> covered_by_;   // of a want: its columns
  std::vector<char> falls_;  // whether a column has a negative amount of the want
  std::vector<int> single_;  // of a column: the want it is single for, or -1
  Rows<int> singles_;        // of a want: its single columns, the cheapest first
  std::vector<char> alive_;
  std::vector<int> degree_, foreign_;  // of a column: its alive conflicts, and those of them that are no twins
  Rows<int> cliques_of_;
  std::vector<int> piece_of_, decided_in_, inner_to_;  // of a column, a want, a clique; -1: none
  std::vector<Wide> offer_, reduced_, base_;
  std::vector<int> closed_;   // how many reasons the path has to keep a column out
  std::vector<char> inside_;  // the IN columns of the path
  std::vector<Wide> load_;    // what they weigh
  Multipliers leaf_;          // all 0 between leaves

  Wide most(int r) const { return (proof_.wants[r].miss + proof_.wants[r].last) * unit; }
  bool twins(int a, int b) const { return a != b && single_[a] >= 0 && single_[a] == single_[b]; }
  bool conflict(int a, int b) const {
    if (proof_.conflicts.of(a).size() > proof_.conflicts.of(b).size()) std::swap(a, b);
    return std::ranges::binary_search(proof_.conflicts.of(a), b);
  }
  static bool at_least(std::span<const Entry> a, std::span<const Entry> b) {  // each amount, absent ones being 0
    while (!a.empty() || !b.empty()) {
      const bool of_a = !a.empty() && (b.empty() || a[0].id <= b[0].id);
      const bool of_b = !b.empty() && (a.empty() || b[0].id <= a[0].id);
      if ((of_a ? a[0].amount : 0) < (of_b ? b[0].amount : 0)) return false;
      a = a.subspan(of_a);
      b = b.subspan(of_b);
    }
    return true;
  }
  bool left_out(int limit) const { return std::ranges::binary_search(proof_.without, limit); }
  bool does_as_much(int a, int b) const { return at_least(proof_.covers.of(a), proof_.covers.of(b)); }
  bool as_light(int a, int b) const { return at_least(proof_.weights.of(b), proof_.weights.of(a)); }
  Wide share(int r, Wide u) const {
    const Want& want = proof_.wants[r];
    return want.wanted * u - (want.last > 0 ? (want.wanted - 1) * std::max<Wide>(0, u - want.miss * unit) : 0);
  }
  Wide lack(int r, Wide left) const {
    const Want& want = proof_.wants[r];
    if (left <= 0) return 0;
    return left * want.miss + (left >= want.wanted ? want.last : 0);
  }
  Wide reduce(int j, Wide sum, const Multipliers& multipliers) const {
    for (const Entry& entry : proof_.covers.of(j)) sum -= entry.amount * multipliers.want[entry.id];
    for (const Entry& entry : proof_.weights.of(j)) sum += entry.amount * multipliers.limit[entry.id];
    for (int clique : cliques_of_.of(j)) sum += multipliers.clique[clique];
    return sum;
  }

  void check_chosen() const {
    std::vector<Wide> covered(proof_.wants.size()), load(proof_.capacity.size());
    Wide cost = 0;
    for (int j : proof_.chosen) {
      cost += proof_.price[j];
      for (const Entry& entry : proof_.covers.of(j)) covered[entry.id] += entry.amount;
      for (const Entry& entry : proof_.weights.of(j)) load[entry.id] += entry.amount;
      for (int k : proof_.conflicts.of(j))
        demand(k < j || !std::ranges::binary_search(proof_.chosen, k), "chosen columns ", j, " and ", k, " conflict");
    }
    for (std::size_t limit = 0; limit < load.size(); ++limit)
      demand(load[limit] <= proof_.capacity[limit], "the chosen columns exceed limit ", limit);
    for (std::size_t r = 0; r < covered.size(); ++r) cost += lack(r, proof_.wants[r].wanted - covered[r]);
    demand(cost == proof_.cost, "the chosen columns cost ", cost, ", not ", proof_.cost);
  }

  // The most that wants may pay for lacking column o; -1: no bound. For a single one, another may step in that only its
  // twins keep out.
  Wide worth(int other, bool replaced) const {
    if (const int r = single_[other]; replaced && r >= 0) {
      const Wide none = proof_.wants[r].hard ? -1 : lack(r, proof_.wants[r].wanted);
      for (int spare : singles_.of(r)) {
        if (none >= 0 && proof_.price[spare] >= none) break;
        if (spare != other && alive_[spare] && foreign_[spare] == 0 && as_light(spare, other))
          return proof_.price[spare];
      }
      return none;
    }
    Wide sum = 0;
    for (const Entry& entry : proof_.covers.of(other)) {
      if (entry.amount > 0 && proof_.wants[entry.id].hard) return -1;
      if (entry.amount > 0) sum += entry.amount * proof_.wants[entry.id].miss + proof_.wants[entry.id].last;
    }
    return sum;
  }
  // Why a column may not be removed, with another one instead; null if it may.
  const char* objection(std::string_view why, int gone, int instead) const {
    if (!alive_[gone]) return "it is gone already";
    if (why == "worth") {
      const Wide value = worth(gone, false);
      return value >= 0 && proof_.price[gone] >= value ? nullptr : "it may be worth its price";
    }
    if (instead == gone || !alive_[instead]) return "the other column is gone or the same";
    if (why == "spare") return spare_objection(gone);
    if (proof_.price[instead] > proof_.price[gone]) return "the other column costs more";
    if (!does_as_much(instead, gone)) return "the other column covers less";
    if (!as_light(instead, gone)) return "the other column weighs more";
    if (!twins(instead, gone) && !conflict(instead, gone)) return "both may be chosen";
    std::vector<std::pair<int, Wide>> losses;  // by the want a column is single for, or -1
    for (int other : proof_.conflicts.of(instead)) {
      if (!alive_[other] || other == gone || twins(other, instead) || conflict(other, gone)) continue;
      if (why == "dominated") return "the other column has a conflict of its own";
      for (const Entry& entry : proof_.covers.of(other))
        if (entry.amount < 0) return "an evicted column has a negative amount";
      const Wide value = worth(other, true);
      if (value < 0) return "an evicted column has no bound to its worth";
      losses.push_back({single_[other], std::max<Wide>(0, value - proof_.price[other])});
    }
    std::ranges::sort(losses);  // a cheapest choice holds only one of the columns single for a want: the largest counts
    Wide sum = 0;
    for (std::size_t i = 0; i < losses.size(); ++i) {
      const auto [want, loss] = losses[i];
      if (want < 0 || i + 1 == losses.size() || losses[i + 1].first != want) sum += loss;
    }
    return sum <= proof_.price[gone] - proof_.price[instead] ? nullptr : "what is evicted may be worth more";
  }
  // If enough free columns that do as much are all chosen, the column adds nothing; else one of them may take its
  // place.
  const char* spare_objection(int gone) const {
    if (proof_.price[gone] <= 0) return "it costs nothing";
    Wide needed = 1, found = 0;
    int rarest = -1;
    for (const Entry& entry : proof_.covers.of(gone)) {
      if (entry.amount <= 0) continue;
      if (falls_[entry.id]) return "one of its wants has negative amounts";  // more than wanted may be of use then
      needed = std::max(needed, proof_.wants[entry.id].wanted);
      if (rarest < 0 || covered_by_.of(entry.id).size() < covered_by_.of(rarest).size()) rarest = entry.id;
    }
    const int candidates = rarest < 0 ? count_ : static_cast<int>(covered_by_.of(rarest).size());
    for (int i = 0; i < candidates && found < needed; ++i) {
      const int spare = rarest < 0 ? i : covered_by_.of(rarest)[i].id;
      if (spare == gone || !alive_[spare] || degree_[spare] > 0 || proof_.price[spare] > proof_.price[gone]) continue;
      found += as_light(spare, gone) && does_as_much(spare, gone);
    }
    return found >= needed ? nullptr : "there are too few free columns";
  }

  void check_cliques() {
    std::vector<std::pair<int, int>> turned;
    for (std::size_t clique = 0; clique < proof_.cliques.size(); ++clique) {
      const std::vector<int>& members = proof_.cliques[clique];
      demand(!members.empty(), "clique ", clique, " is empty");  // it would be inner to every piece
      for (auto one = members.begin(); one != members.end(); ++one) {
        turned.push_back({*one, static_cast<int>(clique)});
        demand(alive_[*one], "clique ", clique, ": column ", *one, " is gone");
        for (auto other = one + 1; other != members.end(); ++other)
          demand(twins(*one, *other) || conflict(*one, *other), "clique ", clique, ": columns ", *one, " and ", *other,
                 " may both be chosen");
      }
    }
    cliques_of_ = Rows<int>(count_, turned);
  }
  Wide shared_bound() {
    Wide sum = 0;
    for (std::size_t r = 0; r < proof_.wants.size(); ++r) {
      const Wide u = proof_.shared.want[r];
      demand(u >= 0 && u <= most(r), "shared want ", r, " is out of range");
      sum += share(r, u);
    }
    for (std::size_t clique = 0; clique < proof_.cliques.size(); ++clique) {
      demand(proof_.shared.clique[clique] >= 0, "shared clique ", clique, " is negative");
      sum -= proof_.shared.clique[clique];
    }
    for (std::size_t limit = 0; limit < proof_.capacity.size(); ++limit) {
      demand(proof_.shared.limit[limit] >= 0, "shared limit ", limit, " is negative");
      sum -= proof_.capacity[limit] * proof_.shared.limit[limit];
    }
    for (int j = 0; j < count_; ++j) {
      reduced_[j] = reduce(j, proof_.price[j] * unit, proof_.shared);
      if (alive_[j]) sum += std::min<Wide>(0, reduced_[j]);
    }
    return sum;
  }

  // Who belongs to which piece, and whether the offers leave the terms of the other columns as they are.
  void settle_pieces() {
    int limited = 0;
    for (int at = 0; at < static_cast<int>(proof_.pieces.size()); ++at) {
      const Piece& piece = proof_.pieces[at];
      for (int j : piece.columns) {
        demand(alive_[j], "piece ", at, ": column ", j, " is gone");
        demand(std::exchange(piece_of_[j], at) < 0, "column ", j, " is in two pieces");
      }
      for (const auto& [r, offer] : piece.decides) {
        demand(std::exchange(decided_in_[r], at) < 0, "want ", r, " is decided twice");
        demand(offer >= 0 && offer <= most(r), "the offer for want ", r, " is out of range");
        offer_[r] = offer;
      }
      if (!piece.limits) continue;
      for (int j = 0; j < count_; ++j)  // all that weighs anything stands in this piece
        for (const Entry& entry : proof_.weights.of(j))
          demand(!alive_[j] || entry.amount == 0 || piece_of_[j] == at, "piece ", at,
                 " may not hold the limits: column ", j, " weighs too");
      demand(++limited == 1, "two pieces hold the limits");  // without any column left, each could
    }
    for (std::size_t clique = 0; clique < proof_.cliques.size(); ++clique) {
      const int at = proof_.cliques[clique].empty() ? -1 : piece_of_[proof_.cliques[clique][0]];
      if (std::ranges::all_of(proof_.cliques[clique], [&](int j) { return piece_of_[j] == at; }))
        inner_to_[clique] = at;
    }
    for (int j = 0; j < count_; ++j) {
      Wide low = reduced_[j];  // with each decided want's multiplier at the worse end
      bool elsewhere = false;
      for (const Entry& entry : proof_.covers.of(j)) {
        const int r = entry.id;
        if (!alive_[j] || decided_in_[r] < 0 || decided_in_[r] == piece_of_[j]) continue;
        demand(piece_of_[j] < 0, "column ", j, " of a piece covers want ", r, " decided in another");
        low += entry.amount * proof_.shared.want[r] - (entry.amount > 0 ? entry.amount * offer_[r] : 0);
        elsewhere = true;
      }
      demand(!elsewhere || low >= std::min<Wide>(0, reduced_[j]), "column ", j, " may gain by what pieces decide");
    }
  }
  // What the piece has in the shared bound; sets the base of its columns as well.
  Wide part(int at) {
    const Piece& piece = proof_.pieces[at];
    Wide sum = 0;
    for (const auto& decided : piece.decides) sum += share(decided.first, proof_.shared.want[decided.first]);
    if (piece.limits)
      for (std::size_t limit = 0; limit < proof_.capacity.size(); ++limit)
        sum -= proof_.capacity[limit] * proof_.shared.limit[limit];
    for (int j : piece.columns) {
      sum += std::min<Wide>(0, reduced_[j]);
      base_[j] = reduced_[j];  // less what the piece decides itself
      for (const Entry& entry : proof_.covers.of(j))
        base_[j] += decided_in_[entry.id] == at ? entry.amount * proof_.shared.want[entry.id] : 0;
      for (const Entry& entry : proof_.weights.of(j))
        base_[j] -= piece.limits ? entry.amount * proof_.shared.limit[entry.id] : 0;
      for (int clique : cliques_of_.of(j)) {
        if (inner_to_[clique] != at) continue;
        base_[j] -= proof_.shared.clique[clique];
        if (proof_.cliques[clique][0] == j) sum -= proof_.shared.clique[clique];  // once a clique
      }
    }
    return sum;
  }

  // Every node hangs from one branch with a smaller number: all paths start at node 0, none goes round in circles.
  void walk(int at) {
    const std::vector<Node>& nodes = proof_.pieces[at].nodes;
    const int size = static_cast<int>(nodes.size()), before = violations;
    std::vector<int> parents(size);
    for (int number = 0; number < size; ++number) {
      if (nodes[number].kind != 'b') continue;
      demand(piece_of_[nodes[number].column] == at, "piece ", at, ", node ", number,
             ": the column is not of the piece");
      for (int child : {nodes[number].out, nodes[number].in}) {
        demand(child > number && child < size, "piece ", at, ", node ", number, " has a wrong child");
        if (child > number && child < size) ++parents[child];
      }
    }
    demand(size > 0, "piece ", at, " has no tree");
    for (int number = 1; number < size; ++number)
      demand(parents[number] == 1, "piece ", at, ", node ", number, " is not the child of one branch");
    if (violations != before) return;
    std::vector<std::pair<int, int>> path{{0, 0}};  // nodes, and how many of their children are done
    while (!path.empty()) {
      const auto [number, done] = path.back();
      const Node& node = nodes[number];
      const bool fixed = done == 0 && node.kind == 'b' && (closed_[node.column] > 0 || inside_[node.column]);
      demand(!fixed, "piece ", at, ", node ", number, " branches on a column that is fixed already");
      if (node.kind != 'b') check_end(at, number);
      if (node.kind != 'b' || fixed || done == 2) {
        if (done == 2) take(node.column, -1);
        path.pop_back();
        continue;
      }
      closed_[node.column] += done == 0 ? 1 : -1;
      if (done == 1) take(node.column, 1);
      ++path.back().second;
      path.push_back({done == 0 ? node.out : node.in, 0});
    }
  }
  // Puts a column in, or takes it back: it keeps its conflicts and twins out and fills the limits.
  void take(int j, int times) {
    inside_[j] = times > 0;
    for (int k : proof_.conflicts.of(j)) closed_[k] += times;
    if (single_[j] >= 0)
      for (int k : singles_.of(single_[j])) closed_[k] += k == j ? 0 : times;
    for (const Entry& entry : proof_.weights.of(j)) load_[entry.id] += times * entry.amount;
  }
  void check_end(int at, int number) {
    const Piece& piece = proof_.pieces[at];
    if (piece.nodes[number].kind == 'i') {
      // No two IN columns exclude each other here: the second would have been fixed before its branch.
      bool over = false;
      for (std::size_t limit = 0; limit < load_.size(); ++limit) over = over || load_[limit] > proof_.capacity[limit];
      return demand(over && piece.limits, "piece ", at, ", node ", number, " is possible");
    }
    Wide sum = 0;
    const auto key = [](const Term& term) { return std::pair{term.piece, term.node}; };
    const std::span<const Term> terms(std::ranges::lower_bound(proof_.terms, std::pair{at, number}, {}, key),
                                      std::ranges::upper_bound(proof_.terms, std::pair{at, number}, {}, key));
    for (const Term& term : terms) {
      slot(leaf_, term) = term.value;
      demand(term.value >= 0, "line ", term.line, ": a negative multiplier");
      demand(term.kind != 'l' || piece.limits, "line ", term.line, ": the piece does not hold the limits");
      demand(term.kind != 'w' || decided_in_[term.id] == at, "line ", term.line, ": the want is not decided here");
      demand(term.kind != 'w' || term.value <= offer_[term.id], "line ", term.line, ": more than the offer");
      if (term.kind == 'w')
        sum += share(term.id, term.value);
      else
        sum -= (term.kind == 'l' ? proof_.capacity[term.id] : 1) * term.value;
    }
    for (int j : piece.columns) {
      if (closed_[j] > 0) continue;
      const Wide reduced = reduce(j, base_[j], leaf_);
      sum += inside_[j] ? reduced : std::min<Wide>(0, reduced);
    }
    for (const Term& term : terms) slot(leaf_, term) = 0;
    demand(sum >= piece.bound, "piece ", at, ", node ", number, " reaches ", sum, ", not ", piece.bound);
  }

 public:
  explicit Checker(Proof& proof)
      : proof_(proof),
        count_(static_cast<int>(proof_.price.size())),
        falls_(proof_.wants.size()),
        single_(count_, -1),
        alive_(count_, 1),
        degree_(count_),
        foreign_(count_),
        piece_of_(count_, -1),
        decided_in_(proof_.wants.size(), -1),
        inner_to_(proof_.cliques.size(), -1),
        offer_(proof_.wants.size()),
        reduced_(count_),
        base_(count_),
        closed_(count_),
        inside_(count_),
        load_(proof_.capacity.size()) {
    leaf_.resize(proof_.wants.size(), proof_.capacity.size(), proof_.cliques.size());
    std::vector<std::pair<int, Entry>> turned;
    std::vector<std::pair<int, int>> singles;
    for (int j = 0; j < count_; ++j)
      for (const Entry& entry : proof_.covers.of(j)) {
        turned.push_back({entry.id, {j, entry.line, entry.amount}});
        if (entry.amount < 0) falls_[entry.id] = 1;
      }
    covered_by_ = Rows<Entry>(proof_.wants.size(), turned);
    for (int j = 0; j < count_; ++j) {
      const auto own = proof_.covers.of(j);
      if (own.size() != 1 || proof_.price[j] <= 0) continue;
      if (own[0].amount < std::max<Wide>(1, proof_.wants[own[0].id].wanted)) continue;
      if (falls_[own[0].id]) continue;  // such a want may need two of these columns: they are no twins
      singles.push_back({single_[j] = own[0].id, j});
    }
    std::ranges::sort(singles, {}, [&](const auto& single) { return proof_.price[single.second]; });
    singles_ = Rows<int>(proof_.wants.size(), singles);
    for (int j = 0; j < count_; ++j)
      for (int k : proof_.conflicts.of(j)) {
        ++degree_[j];
        foreign_[j] += !twins(j, k);
      }
  }

  void check(bool proven) {
    for (std::size_t r = 0; r < proof_.wants.size(); ++r) {
      const Want& want = proof_.wants[r];
      demand(want.miss >= 0 && want.last >= 0, "want ", r, " has a negative miss or last");
      demand(want.last <= 0 || (want.wanted >= 2 && !falls_[r]), "want ", r, " may not have a last");
    }
    for (const Entry& entry : proof_.weights.all) demand(entry.amount >= 0, "line ", entry.line, ": a negative weight");
    check_chosen();
    for (int limit : proof_.without)
      demand(proof_.shared.limit[limit] == 0, "a multiplier of limit ", limit, ", which is left out");
    for (const Term& term : proof_.terms)
      demand(term.kind != 'l' || !left_out(term.id), "line ", term.line, ": the limit is left out");
    for (Entry& entry : proof_.weights.all)
      if (left_out(entry.id)) entry.amount = 0;
    for (std::size_t i = 0; i < proof_.removals.size(); ++i) {
      const auto& [why, gone, instead] = proof_.removals[i];
      const char* wrong = objection(why, gone, instead);
      demand(!wrong, "removal ", i, " (", why, " ", gone, "): ", wrong ? wrong : "");
      if (!std::exchange(alive_[gone], 0)) continue;
      for (int k : proof_.conflicts.of(gone)) {
        --degree_[k];
        foreign_[k] -= !twins(gone, k);
      }
    }
    check_cliques();
    Wide total = shared_bound();
    settle_pieces();
    for (int at = 0; at < static_cast<int>(proof_.pieces.size()); ++at) {
      total += proof_.pieces[at].bound - part(at);
      walk(at);
    }
    const Wide reached = -(-total >> 20);  // rounded up
    demand(reached >= proof_.bound, "the bound is ", proof_.bound, ", the multipliers reach ", reached);
    demand(proof_.bound <= proof_.cost, "the bound ", proof_.bound, " is above the cost ", proof_.cost);
    demand(!proven || proof_.bound >= proof_.cost, "the bound ", proof_.bound, " is below the cost ", proof_.cost);
  }
};

}  // namespace

int main(int argc, char** argv) {
  const bool proven = argc == 3 && std::string_view(argv[2]) == "--proven";
  if (argc != 2 && !proven) {
    std::fputs("usage: check-proof FILE [--proven]\n", stderr);
    return 2;
  }
  try {
    const std::string all = load(argv[1]);
    Proof proof = read_proof(all);
    Checker(proof).check(proven);
    if (violations > 0) return 1;
    std::printf("proof holds: cost %s, bound %s, gap %s\n", text(proof.cost).c_str(), text(proof.bound).c_str(),
                text(proof.cost - proof.bound).c_str());
    return 0;
  } catch (const Unreadable& error) {
    std::fprintf(stderr, "%s, line %zu: %s\n", argv[1], error.line, error.what.c_str());
  } catch (const Enough&) {
    return 1;
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s: %s\n", argv[1], error.what());
  }
  return 2;
}
