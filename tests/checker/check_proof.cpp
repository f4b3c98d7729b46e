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
#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace {

__extension__ typedef __int128 Wide;
constexpr Wide unit = Wide{1} << 20, hard_miss = Wide{1} << 30;
constexpr Wide most_bytes = Wide{1} << 30;
constexpr Wide most_amount = Wide{1} << 40;      // amounts, weights, capacities, wanted
constexpr Wide most_miss = Wide{1} << 37;        // so that miss + last, in units, is a multiplier
constexpr Wide most_multiplier = Wide{1} << 58;  // times an amount: 2^98, and fewer than 2^27 covers fit into a file
constexpr Wide most_price = Wide{1} << 62;
constexpr Wide most_sum = Wide{1} << 90;  // bounds of pieces, multipliers of cliques: never multiplied

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

struct Unreadable {
  std::size_t line;
  std::string what;
};
struct Enough {};
int violations = 0;

template <class... Parts>
void demand(bool holds, const Parts&... parts) {
  if (holds) return;
  std::printf("violation: %s\n", (text(parts) + ...).c_str());
  if (++violations == 20) throw Enough{};
}

struct Want {
  Wide wanted, miss, last;
  bool hard;
};
struct Entry {
  int id;
  std::uint32_t line;
  std::int64_t amount;
};
struct Removal {
  std::string_view why;
  int gone, instead;
};
struct Node {
  char kind;
  int column, out, in;
};  // kind: the first letter of branch, impossible, leaf
struct Term {
  int piece, node;
  char kind;
  int id;
  Wide value;
  std::size_t line;
};  // of want, limit, clique
struct Multipliers {
  std::vector<Wide> want, limit, clique;
  void resize(std::size_t wants, std::size_t limits, std::size_t cliques) {
    want.resize(wants);
    limit.resize(limits);
    clique.resize(cliques);
  }
};
Wide& slot(Multipliers& multipliers, const Term& term) {
  if (term.kind == 'w') return multipliers.want[term.id];
  return (term.kind == 'l' ? multipliers.limit : multipliers.clique)[term.id];
}
struct Piece {
  bool limits = false, listed = false;
  Wide bound = 0;
  std::vector<int> columns;
  std::vector<std::pair<int, Wide>> decides;
  std::vector<Node> nodes;
};

template <class T>
struct Rows {  // lists, one after another in one vector
  std::vector<std::size_t> start;
  std::vector<T> all;
  Rows() = default;
  Rows(std::size_t rows, const std::vector<std::pair<int, T>>& list) : start(rows + 1), all(list.size()) {
    for (const auto& item : list) ++start[item.first + 1];
    for (std::size_t r = 0; r < rows; ++r) start[r + 1] += start[r];
    auto next = start;
    for (const auto& item : list) all[next[item.first]++] = item.second;
  }
  std::span<const T> of(int r) const { return {all.data() + start[r], start[r + 1] - start[r]}; }
  template <class Key>
  void sort(Key key) {
    for (std::size_t r = 0; r + 1 < start.size(); ++r)
      std::ranges::sort(all.begin() + start[r], all.begin() + start[r + 1], {}, key);
  }
};

struct Proof {
  std::vector<Want> wants;
  std::vector<Wide> capacity, price;
  Rows<Entry> covers, weights;  // of a column: by want, by limit
  Rows<int> conflicts;          // of a column, both ways
  std::vector<int> chosen;
  Wide cost = 0, bound = 0;
  std::vector<Removal> removals;
  std::vector<std::vector<int>> cliques;
  Multipliers shared;
  std::vector<int> without;  // limits that only the chosen columns must keep: the rest of the proof does not know them
  std::vector<Piece> pieces;
  std::vector<Term> terms;  // of all leaves: by piece, by node
};

class Reader {
  std::string_view rest_, row_;
  std::size_t line_ = 0;

  void need(bool holds, const char* what) const {
    if (!holds) throw Unreadable{line_, what};
  }
  bool more() {
    row_.remove_prefix(std::min(row_.find_first_not_of(' '), row_.size()));
    return !row_.empty();
  }
  std::string_view word() {
    need(more(), "the line is too short");
    std::string_view found = row_.substr(0, row_.find(' '));
    row_.remove_prefix(found.size());
    return found;
  }
  Wide number(Wide least, Wide most) {
    std::string_view digits = word();
    const bool negative = digits.front() == '-';
    digits.remove_prefix(negative);
    need(!digits.empty() && digits.size() <= 36, "not a number, or too long a one");  // 36 digits fit
    Wide value = 0;
    for (char c : digits) {
      need(c >= '0' && c <= '9', "not a number");
      value = value * 10 + (c - '0');
    }
    if (negative) value = -value;
    need(value >= least && value <= most, "a number is out of range");
    return value;
  }
  Wide within(Wide most) { return number(-most, most); }
  int index(Wide size) { return static_cast<int>(number(0, size - 1)); }
  void expect(std::size_t id) { need(number(0, most_bytes) == static_cast<Wide>(id), "out of order"); }
  std::vector<int> list(Wide size, bool ascending) {
    std::vector<int> found;
    while (more()) {
      found.push_back(index(size));
      need(!ascending || found.size() == 1 || found[found.size() - 2] < found.back(), "the list does not ascend");
    }
    return found;
  }
  Term term(const Proof& proof, int piece, int node) {
    const std::string_view kind = word();
    need(kind == "want" || kind == "limit" || kind == "clique", "a multiplier of what?");
    std::size_t rows = proof.cliques.size();
    if (kind == "want") rows = proof.wants.size();
    if (kind == "limit") rows = proof.capacity.size();
    const int id = index(rows);
    const Wide value = within(kind == "clique" ? most_sum : most_multiplier);
    return {.piece = piece, .node = node, .kind = kind[0], .id = id, .value = value, .line = line_};
  }
  void piece_line(Proof& proof, std::string_view kind) {
    const int at = index(proof.pieces.size());
    Piece& piece = proof.pieces[at];
    if (kind == "columns") {
      need(!std::exchange(piece.listed, true), "said twice");
      piece.columns = list(proof.price.size(), true);
    } else if (kind == "decides") {
      const int r = index(proof.wants.size());
      piece.decides.emplace_back(r, within(most_multiplier));
    } else if (kind == "node") {
      expect(piece.nodes.size());
      const std::string_view what = word();
      need(what == "branch" || what == "impossible" || what == "leaf", "unknown kind of node");
      piece.nodes.push_back({what[0], 0, 0, 0});
      Node& node = piece.nodes.back();
      if (node.kind == 'b') node = {'b', index(proof.price.size()), index(most_bytes), index(most_bytes)};
    } else {
      const int node = index(piece.nodes.size());
      need(piece.nodes[node].kind == 'l', "this node is not a leaf");
      proof.terms.push_back(term(proof, at, node));
    }
  }
  template <class List, class Key>
  static void unlike(const List& sorted, Key key) {  // neighbours differ
    const auto twice = std::ranges::adjacent_find(sorted, {}, key);
    if (twice != sorted.end()) throw Unreadable{std::max<std::size_t>(twice[0].line, twice[1].line), "said twice"};
  }

 public:
  explicit Reader(std::string_view all) : rest_(all) {}
  Proof read() {
    // Kinds of one stage may mix: a column may be followed by what it covers, a piece by its own lines.
    constexpr std::pair<std::string_view, int> kinds[] = {
        {"cover", 2},  {"conflict", 3}, {"leaf", 10},    {"weigh", 2},   {"column", 2},  {"want", 0},   {"limit", 1},
        {"chosen", 4}, {"cost", 5},     {"bound", 6},    {"without", 7}, {"removed", 7}, {"clique", 8}, {"shared", 9},
        {"piece", 10}, {"columns", 10}, {"decides", 10}, {"node", 10},   {"end", 11}};
    Proof proof;
    std::vector<std::pair<int, Entry>> covers, weights;
    std::vector<std::pair<int, int>> conflicts;
    std::vector<char> conflicts_said;
    std::vector<Term> shared;
    for (int stage = 0; stage < 11; ++line_) {
      if (line_ == 0) {
        ++line_;
        need(rest_.starts_with("teasel proof 1\n"), "not a proof file");
        rest_.remove_prefix(15);
        ++line_;
      }
      need(!rest_.empty(), "the file ends too early");
      row_ = rest_.substr(0, rest_.find('\n'));
      rest_.remove_prefix(std::min(row_.size() + 1, rest_.size()));
      const std::string_view kind = word();
      const auto* known = std::ranges::find(kinds, kind, &std::pair<std::string_view, int>::first);
      need(known != std::end(kinds), "unknown kind of line");
      const int before = std::exchange(stage, known->second);
      need(stage > before || (stage == before && (stage < 4 || stage > 6)), "a line out of its place");
      need(before >= 6 || stage <= std::max(before, 3) + 1, "chosen, cost or bound is missing");
      const std::size_t columns = proof.price.size();
      if (kind == "cover" || kind == "weigh") {
        const int j = index(columns), id = index(kind == "cover" ? proof.wants.size() : proof.capacity.size());
        const auto amount = static_cast<std::int64_t>(within(most_amount));
        const Entry entry{id, static_cast<std::uint32_t>(line_), amount};
        if (amount != 0) (kind == "cover" ? covers : weights).push_back({j, entry});
      } else if (kind == "conflict") {
        conflicts_said.resize(columns);
        const int j = index(columns);
        need(!std::exchange(conflicts_said[j], 1), "said twice");
        for (int k : list(columns, true)) {
          need(k > j, "a conflict must name larger columns");
          conflicts.insert(conflicts.end(), {{j, k}, {k, j}});
        }
      } else if (kind == "want") {
        expect(proof.wants.size());
        Want want{within(most_amount), within(most_miss), within(most_miss), index(2) == 1};
        if (want.hard) {
          want.miss = hard_miss;
          want.last = 0;
        }
        proof.wants.push_back(want);
      } else if (kind == "limit") {
        expect(proof.capacity.size());
        proof.capacity.push_back(within(most_amount));
      } else if (kind == "column") {
        expect(columns);
        proof.price.push_back(within(most_price));
      } else if (kind == "chosen") {
        proof.chosen = list(columns, true);
      } else if (kind == "cost" || kind == "bound") {
        (kind == "cost" ? proof.cost : proof.bound) = within(most_sum);
      } else if (kind == "without") {
        need(proof.without.empty() && proof.removals.empty(), "said twice, or too late");
        proof.without = list(proof.capacity.size(), true);
      } else if (kind == "removed") {
        const std::string_view why = word();
        need(why == "worth" || why == "dominated" || why == "evicts" || why == "spare", "removed for what?");
        const int gone = index(columns);
        proof.removals.push_back({why, gone, why == "worth" ? static_cast<int>(number(-1, -1)) : index(columns)});
      } else if (kind == "clique") {
        expect(proof.cliques.size());
        proof.cliques.push_back(list(columns, false));
      } else if (kind == "shared") {
        shared.push_back(term(proof, 0, 0));
      } else if (kind == "piece") {
        expect(proof.pieces.size());
        const bool limits = index(2) == 1;
        proof.pieces.emplace_back();
        proof.pieces.back().limits = limits;
        proof.pieces.back().bound = within(most_sum);
      } else if (kind != "end") {
        piece_line(proof, kind);
      }
      need(!more(), "the line is too long");
    }
    need(rest_.empty(), "a line after the end");
    for (const Piece& piece : proof.pieces) need(piece.listed, "a piece lists no columns");
    const auto key = [](const Term& term) {
      return std::pair{std::pair{term.piece, term.node}, std::pair{term.kind, term.id}};
    };
    for (auto* terms : {&shared, &proof.terms}) {
      std::ranges::sort(*terms, {}, key);
      unlike(*terms, key);
    }
    proof.shared.resize(proof.wants.size(), proof.capacity.size(), proof.cliques.size());
    for (const Term& term : shared) slot(proof.shared, term) = term.value;
    proof.covers = {proof.price.size(), covers};
    proof.weights = {proof.price.size(), weights};
    proof.conflicts = {proof.price.size(), conflicts};
    proof.conflicts.sort(std::identity{});
    for (auto* rows : {&proof.covers, &proof.weights}) {
      rows->sort(&Entry::id);
      for (std::size_t j = 0; j < proof.price.size(); ++j) unlike(rows->of(j), &Entry::id);
    }
    return proof;
  }
};

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
  // Why b may not be removed, with a instead; null if it may.
  const char* objection(std::string_view why, int b, int a) const {
    if (!alive_[b]) return "it is gone already";
    if (why == "worth") {
      const Wide value = worth(b, false);
      return value >= 0 && proof_.price[b] >= value ? nullptr : "it may be worth its price";
    }
    if (a == b || !alive_[a]) return "the other column is gone or the same";
    if (why == "spare") return spare_objection(b);
    if (proof_.price[a] > proof_.price[b]) return "the other column costs more";
    if (!does_as_much(a, b)) return "the other column covers less";
    if (!as_light(a, b)) return "the other column weighs more";
    if (!twins(a, b) && !conflict(a, b)) return "both may be chosen";
    std::vector<std::pair<int, Wide>> losses;  // by the want a column is single for, or -1
    for (int other : proof_.conflicts.of(a)) {
      if (!alive_[other] || other == b || twins(other, a) || conflict(other, b)) continue;
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
    return sum <= proof_.price[b] - proof_.price[a] ? nullptr : "what is evicted may be worth more";
  }
  // If enough free columns that do as much are all chosen, b adds nothing; else one of them may take its place.
  const char* spare_objection(int b) const {
    if (proof_.price[b] <= 0) return "it costs nothing";
    Wide needed = 1, found = 0;
    int rarest = -1;
    for (const Entry& entry : proof_.covers.of(b)) {
      if (entry.amount <= 0) continue;
      if (falls_[entry.id]) return "one of its wants has negative amounts";  // more than wanted may be of use then
      needed = std::max(needed, proof_.wants[entry.id].wanted);
      if (rarest < 0 || covered_by_.of(entry.id).size() < covered_by_.of(rarest).size()) rarest = entry.id;
    }
    const int candidates = rarest < 0 ? count_ : static_cast<int>(covered_by_.of(rarest).size());
    for (int i = 0; i < candidates && found < needed; ++i) {
      const int spare = rarest < 0 ? i : covered_by_.of(rarest)[i].id;
      if (spare == b || !alive_[spare] || degree_[spare] > 0 || proof_.price[spare] > proof_.price[b]) continue;
      found += as_light(spare, b) && does_as_much(spare, b);
    }
    return found >= needed ? nullptr : "there are too few free columns";
  }

  void check_cliques() {
    std::vector<std::pair<int, int>> turned;
    for (std::size_t clique = 0; clique < proof_.cliques.size(); ++clique) {
      const std::vector<int>& members = proof_.cliques[clique];
      demand(!members.empty(), "clique ", clique, " is empty");  // it would be inner to every piece
      for (auto a = members.begin(); a != members.end(); ++a) {
        turned.push_back({*a, static_cast<int>(clique)});
        demand(alive_[*a], "clique ", clique, ": column ", *a, " is gone");
        for (auto b = a + 1; b != members.end(); ++b)
          demand(twins(*a, *b) || conflict(*a, *b), "clique ", clique, ": columns ", *a, " and ", *b,
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

std::string load(const char* path) {
  std::string all;
  std::vector<char> block(1 << 20);
  std::FILE* file = std::fopen(path, "rb");
  if (!file) throw Unreadable{0, "the file cannot be opened"};
  while (const std::size_t got = std::fread(block.data(), 1, block.size(), file)) {
    all.append(block.data(), got);
    if (all.size() > most_bytes) break;
  }
  const bool fine = !std::ferror(file) && all.size() <= most_bytes;
  std::fclose(file);
  if (!fine) throw Unreadable{0, "the file cannot be read, or is too large"};
  return all;
}

}  // namespace

int main(int argc, char** argv) {
  const bool proven = argc == 3 && std::string_view(argv[2]) == "--proven";
  if (argc != 2 && !proven) {
    std::fputs("usage: check-proof FILE [--proven]\n", stderr);
    return 2;
  }
  try {
    const std::string all = load(argv[1]);
    Proof proof = Reader(all).read();
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
