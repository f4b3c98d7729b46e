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
Wide& slot(Multipliers& m, const Term& t) {
  return (t.kind == 'w' ? m.want : t.kind == 'l' ? m.limit : m.clique)[t.id];
}
struct Piece {
  bool limits, listed;
  Wide bound;
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
  Term term(const Proof& p, int piece, int node) {
    const std::string_view kind = word();
    need(kind == "want" || kind == "limit" || kind == "clique", "a multiplier of what?");
    const int id = index(kind == "want" ? p.wants.size() : kind == "limit" ? p.capacity.size() : p.cliques.size());
    return {piece, node, kind[0], id, within(kind == "clique" ? most_sum : most_multiplier), line_};
  }
  void piece_line(Proof& p, std::string_view kind) {
    const int at = index(p.pieces.size());
    Piece& piece = p.pieces[at];
    if (kind == "columns") {
      need(!std::exchange(piece.listed, true), "said twice");
      piece.columns = list(p.price.size(), true);
    } else if (kind == "decides") {
      const int r = index(p.wants.size());
      piece.decides.emplace_back(r, within(most_multiplier));
    } else if (kind == "node") {
      expect(piece.nodes.size());
      const std::string_view what = word();
      need(what == "branch" || what == "impossible" || what == "leaf", "unknown kind of node");
      piece.nodes.push_back({what[0], 0, 0, 0});
      Node& node = piece.nodes.back();
      if (node.kind == 'b') node = {'b', index(p.price.size()), index(most_bytes), index(most_bytes)};
    } else {
      const int node = index(piece.nodes.size());
      need(piece.nodes[node].kind == 'l', "this node is not a leaf");
      p.terms.push_back(term(p, at, node));
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
    Proof p;
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
      const std::size_t columns = p.price.size();
      if (kind == "cover" || kind == "weigh") {
        const int j = index(columns), id = index(kind == "cover" ? p.wants.size() : p.capacity.size());
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
        expect(p.wants.size());
        Want want{within(most_amount), within(most_miss), within(most_miss), index(2) == 1};
        if (want.hard) {
          want.miss = hard_miss;
          want.last = 0;
        }
        p.wants.push_back(want);
      } else if (kind == "limit") {
        expect(p.capacity.size());
        p.capacity.push_back(within(most_amount));
      } else if (kind == "column") {
        expect(columns);
        p.price.push_back(within(most_price));
      } else if (kind == "chosen") {
        p.chosen = list(columns, true);
      } else if (kind == "cost" || kind == "bound") {
        (kind == "cost" ? p.cost : p.bound) = within(most_sum);
      } else if (kind == "without") {
        need(p.without.empty() && p.removals.empty(), "said twice, or too late");
        p.without = list(p.capacity.size(), true);
      } else if (kind == "removed") {
        const std::string_view why = word();
        need(why == "worth" || why == "dominated" || why == "evicts" || why == "spare", "removed for what?");
        const int gone = index(columns);
        p.removals.push_back({why, gone, why == "worth" ? static_cast<int>(number(-1, -1)) : index(columns)});
      } else if (kind == "clique") {
        expect(p.cliques.size());
        p.cliques.push_back(list(columns, false));
      } else if (kind == "shared") {
        shared.push_back(term(p, 0, 0));
      } else if (kind == "piece") {
        expect(p.pieces.size());
        const bool limits = index(2) == 1;
        p.pieces.push_back({limits, false, within(most_sum), {}, {}, {}});
      } else if (kind != "end") {
        piece_line(p, kind);
      }
      need(!more(), "the line is too long");
    }
    need(rest_.empty(), "a line after the end");
    for (const Piece& piece : p.pieces) need(piece.listed, "a piece lists no columns");
    const auto key = [](const Term& t) { return std::pair{std::pair{t.piece, t.node}, std::pair{t.kind, t.id}}; };
    for (auto* terms : {&shared, &p.terms}) {
      std::ranges::sort(*terms, {}, key);
      unlike(*terms, key);
    }
    p.shared.resize(p.wants.size(), p.capacity.size(), p.cliques.size());
    for (const Term& t : shared) slot(p.shared, t) = t.value;
    p.covers = {p.price.size(), covers};
    p.weights = {p.price.size(), weights};
    p.conflicts = {p.price.size(), conflicts};
    p.conflicts.sort(std::identity{});
    for (auto* rows : {&p.covers, &p.weights}) {
      rows->sort(&Entry::id);
      for (std::size_t j = 0; j < p.price.size(); ++j) unlike(rows->of(j), &Entry::id);
    }
    return p;
  }
};

class Checker {
  Proof& p_;
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

  Wide most(int r) const { return (p_.wants[r].miss + p_.wants[r].last) * unit; }
  bool twins(int a, int b) const { return a != b && single_[a] >= 0 && single_[a] == single_[b]; }
  bool conflict(int a, int b) const {
    if (p_.conflicts.of(a).size() > p_.conflicts.of(b).size()) std::swap(a, b);
    return std::ranges::binary_search(p_.conflicts.of(a), b);
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
  bool left_out(int limit) const { return std::ranges::binary_search(p_.without, limit); }
  bool does_as_much(int a, int b) const { return at_least(p_.covers.of(a), p_.covers.of(b)); }
  bool as_light(int a, int b) const { return at_least(p_.weights.of(b), p_.weights.of(a)); }
  Wide share(int r, Wide u) const {
    const Want& w = p_.wants[r];
    return w.wanted * u - (w.last > 0 ? (w.wanted - 1) * std::max<Wide>(0, u - w.miss * unit) : 0);
  }
  Wide lack(int r, Wide left) const {
    const Want& w = p_.wants[r];
    return left <= 0 ? 0 : left * w.miss + (left >= w.wanted ? w.last : 0);
  }
  Wide reduce(int j, Wide sum, const Multipliers& m) const {
    for (const Entry& e : p_.covers.of(j)) sum -= e.amount * m.want[e.id];
    for (const Entry& e : p_.weights.of(j)) sum += e.amount * m.limit[e.id];
    for (int q : cliques_of_.of(j)) sum += m.clique[q];
    return sum;
  }

  void check_chosen() const {
    std::vector<Wide> covered(p_.wants.size()), load(p_.capacity.size());
    Wide cost = 0;
    for (int j : p_.chosen) {
      cost += p_.price[j];
      for (const Entry& e : p_.covers.of(j)) covered[e.id] += e.amount;
      for (const Entry& e : p_.weights.of(j)) load[e.id] += e.amount;
      for (int k : p_.conflicts.of(j))
        demand(k < j || !std::ranges::binary_search(p_.chosen, k), "chosen columns ", j, " and ", k, " conflict");
    }
    for (std::size_t l = 0; l < load.size(); ++l)
      demand(load[l] <= p_.capacity[l], "the chosen columns exceed limit ", l);
    for (std::size_t r = 0; r < covered.size(); ++r) cost += lack(r, p_.wants[r].wanted - covered[r]);
    demand(cost == p_.cost, "the chosen columns cost ", cost, ", not ", p_.cost);
  }

  // The most that wants may pay for lacking column o; -1: no bound. For a single one, another may step in that only its
  // twins keep out.
  Wide worth(int o, bool replaced) const {
    if (const int r = single_[o]; replaced && r >= 0) {
      const Wide none = p_.wants[r].hard ? -1 : lack(r, p_.wants[r].wanted);
      for (int f : singles_.of(r)) {
        if (none >= 0 && p_.price[f] >= none) break;
        if (f != o && alive_[f] && foreign_[f] == 0 && as_light(f, o)) return p_.price[f];
      }
      return none;
    }
    Wide sum = 0;
    for (const Entry& e : p_.covers.of(o)) {
      if (e.amount > 0 && p_.wants[e.id].hard) return -1;
      if (e.amount > 0) sum += e.amount * p_.wants[e.id].miss + p_.wants[e.id].last;
    }
    return sum;
  }
  // Why b may not be removed, with a instead; null if it may.
  const char* objection(std::string_view why, int b, int a) const {
    if (!alive_[b]) return "it is gone already";
    if (why == "worth") {
      const Wide value = worth(b, false);
      return value >= 0 && p_.price[b] >= value ? nullptr : "it may be worth its price";
    }
    if (a == b || !alive_[a]) return "the other column is gone or the same";
    if (why == "spare") return spare_objection(b);
    if (p_.price[a] > p_.price[b]) return "the other column costs more";
    if (!does_as_much(a, b)) return "the other column covers less";
    if (!as_light(a, b)) return "the other column weighs more";
    if (!twins(a, b) && !conflict(a, b)) return "both may be chosen";
    std::vector<std::pair<int, Wide>> losses;  // by the want a column is single for, or -1
    for (int o : p_.conflicts.of(a)) {
      if (!alive_[o] || o == b || twins(o, a) || conflict(o, b)) continue;
      if (why == "dominated") return "the other column has a conflict of its own";
      for (const Entry& e : p_.covers.of(o))
        if (e.amount < 0) return "an evicted column has a negative amount";
      const Wide value = worth(o, true);
      if (value < 0) return "an evicted column has no bound to its worth";
      losses.push_back({single_[o], std::max<Wide>(0, value - p_.price[o])});
    }
    std::ranges::sort(losses);  // a cheapest choice holds only one of the columns single for a want: the largest counts
    Wide sum = 0;
    for (std::size_t i = 0; i < losses.size(); ++i) {
      const auto [want, loss] = losses[i];
      if (want < 0 || i + 1 == losses.size() || losses[i + 1].first != want) sum += loss;
    }
    return sum <= p_.price[b] - p_.price[a] ? nullptr : "what is evicted may be worth more";
  }
  // If enough free columns that do as much are all chosen, b adds nothing; else one of them may take its place.
  const char* spare_objection(int b) const {
    if (p_.price[b] <= 0) return "it costs nothing";
    Wide needed = 1, found = 0;
    int rarest = -1;
    for (const Entry& e : p_.covers.of(b)) {
      if (e.amount <= 0) continue;
      if (falls_[e.id]) return "one of its wants has negative amounts";  // more than wanted may be of use then
      needed = std::max(needed, p_.wants[e.id].wanted);
      if (rarest < 0 || covered_by_.of(e.id).size() < covered_by_.of(rarest).size()) rarest = e.id;
    }
    const int candidates = rarest < 0 ? count_ : static_cast<int>(covered_by_.of(rarest).size());
    for (int i = 0; i < candidates && found < needed; ++i) {
      const int f = rarest < 0 ? i : covered_by_.of(rarest)[i].id;
      if (f == b || !alive_[f] || degree_[f] > 0 || p_.price[f] > p_.price[b]) continue;
      found += as_light(f, b) && does_as_much(f, b);
    }
    return found >= needed ? nullptr : "there are too few free columns";
  }

  void check_cliques() {
    std::vector<std::pair<int, int>> turned;
    for (std::size_t q = 0; q < p_.cliques.size(); ++q) {
      const std::vector<int>& members = p_.cliques[q];
      demand(!members.empty(), "clique ", q, " is empty");  // it would be inner to every piece
      for (auto a = members.begin(); a != members.end(); ++a) {
        turned.push_back({*a, static_cast<int>(q)});
        demand(alive_[*a], "clique ", q, ": column ", *a, " is gone");
        for (auto b = a + 1; b != members.end(); ++b)
          demand(twins(*a, *b) || conflict(*a, *b), "clique ", q, ": columns ", *a, " and ", *b, " may both be chosen");
      }
    }
    cliques_of_ = Rows<int>(count_, turned);
  }
  Wide shared_bound() {
    Wide sum = 0;
    for (std::size_t r = 0; r < p_.wants.size(); ++r) {
      const Wide u = p_.shared.want[r];
      demand(u >= 0 && u <= most(r), "shared want ", r, " is out of range");
      sum += share(r, u);
    }
    for (std::size_t q = 0; q < p_.cliques.size(); ++q) {
      demand(p_.shared.clique[q] >= 0, "shared clique ", q, " is negative");
      sum -= p_.shared.clique[q];
    }
    for (std::size_t l = 0; l < p_.capacity.size(); ++l) {
      demand(p_.shared.limit[l] >= 0, "shared limit ", l, " is negative");
      sum -= p_.capacity[l] * p_.shared.limit[l];
    }
    for (int j = 0; j < count_; ++j) {
      reduced_[j] = reduce(j, p_.price[j] * unit, p_.shared);
      if (alive_[j]) sum += std::min<Wide>(0, reduced_[j]);
    }
    return sum;
  }

  // Who belongs to which piece, and whether the offers leave the terms of the other columns as they are.
  void settle_pieces() {
    int limited = 0;
    for (int at = 0; at < static_cast<int>(p_.pieces.size()); ++at) {
      const Piece& piece = p_.pieces[at];
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
        for (const Entry& e : p_.weights.of(j))
          demand(!alive_[j] || e.amount == 0 || piece_of_[j] == at, "piece ", at, " may not hold the limits: column ",
                 j, " weighs too");
      demand(++limited == 1, "two pieces hold the limits");  // without any column left, each could
    }
    for (std::size_t q = 0; q < p_.cliques.size(); ++q) {
      const int at = p_.cliques[q].empty() ? -1 : piece_of_[p_.cliques[q][0]];
      if (std::ranges::all_of(p_.cliques[q], [&](int j) { return piece_of_[j] == at; })) inner_to_[q] = at;
    }
    for (int j = 0; j < count_; ++j) {
      Wide low = reduced_[j];  // with each decided want's multiplier at the worse end
      bool elsewhere = false;
      for (const Entry& e : p_.covers.of(j)) {
        const int r = e.id;
        if (!alive_[j] || decided_in_[r] < 0 || decided_in_[r] == piece_of_[j]) continue;
        demand(piece_of_[j] < 0, "column ", j, " of a piece covers want ", r, " decided in another");
        low += e.amount * p_.shared.want[r] - (e.amount > 0 ? e.amount * offer_[r] : 0);
        elsewhere = true;
      }
      demand(!elsewhere || low >= std::min<Wide>(0, reduced_[j]), "column ", j, " may gain by what pieces decide");
    }
  }
  // What the piece has in the shared bound; sets the base of its columns as well.
  Wide part(int at) {
    const Piece& piece = p_.pieces[at];
    Wide sum = 0;
    for (const auto& decided : piece.decides) sum += share(decided.first, p_.shared.want[decided.first]);
    if (piece.limits)
      for (std::size_t l = 0; l < p_.capacity.size(); ++l) sum -= p_.capacity[l] * p_.shared.limit[l];
    for (int j : piece.columns) {
      sum += std::min<Wide>(0, reduced_[j]);
      base_[j] = reduced_[j];  // less what the piece decides itself
      for (const Entry& e : p_.covers.of(j)) base_[j] += decided_in_[e.id] == at ? e.amount * p_.shared.want[e.id] : 0;
      for (const Entry& e : p_.weights.of(j)) base_[j] -= piece.limits ? e.amount * p_.shared.limit[e.id] : 0;
      for (int q : cliques_of_.of(j)) {
        if (inner_to_[q] != at) continue;
        base_[j] -= p_.shared.clique[q];
        if (p_.cliques[q][0] == j) sum -= p_.shared.clique[q];  // once a clique
      }
    }
    return sum;
  }

  // Every node hangs from one branch with a smaller number: all paths start at node 0, none goes round in circles.
  void walk(int at) {
    const std::vector<Node>& nodes = p_.pieces[at].nodes;
    const int size = static_cast<int>(nodes.size()), before = violations;
    std::vector<int> parents(size);
    for (int n = 0; n < size; ++n) {
      if (nodes[n].kind != 'b') continue;
      demand(piece_of_[nodes[n].column] == at, "piece ", at, ", node ", n, ": the column is not of the piece");
      for (int child : {nodes[n].out, nodes[n].in}) {
        demand(child > n && child < size, "piece ", at, ", node ", n, " has a wrong child");
        if (child > n && child < size) ++parents[child];
      }
    }
    demand(size > 0, "piece ", at, " has no tree");
    for (int n = 1; n < size; ++n)
      demand(parents[n] == 1, "piece ", at, ", node ", n, " is not the child of one branch");
    if (violations != before) return;
    std::vector<std::pair<int, int>> path{{0, 0}};  // nodes, and how many of their children are done
    while (!path.empty()) {
      const auto [n, done] = path.back();
      const Node& node = nodes[n];
      const bool fixed = done == 0 && node.kind == 'b' && (closed_[node.column] > 0 || inside_[node.column]);
      demand(!fixed, "piece ", at, ", node ", n, " branches on a column that is fixed already");
      if (node.kind != 'b') check_end(at, n);
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
    for (int k : p_.conflicts.of(j)) closed_[k] += times;
    if (single_[j] >= 0)
      for (int k : singles_.of(single_[j])) closed_[k] += k == j ? 0 : times;
    for (const Entry& e : p_.weights.of(j)) load_[e.id] += times * e.amount;
  }
  void check_end(int at, int n) {
    const Piece& piece = p_.pieces[at];
    if (piece.nodes[n].kind == 'i') {
      // No two IN columns exclude each other here: the second would have been fixed before its branch.
      bool over = false;
      for (std::size_t l = 0; l < load_.size(); ++l) over = over || load_[l] > p_.capacity[l];
      return demand(over && piece.limits, "piece ", at, ", node ", n, " is possible");
    }
    Wide sum = 0;
    const auto key = [](const Term& t) { return std::pair{t.piece, t.node}; };
    const std::span<const Term> terms(std::ranges::lower_bound(p_.terms, std::pair{at, n}, {}, key),
                                      std::ranges::upper_bound(p_.terms, std::pair{at, n}, {}, key));
    for (const Term& t : terms) {
      slot(leaf_, t) = t.value;
      demand(t.value >= 0, "line ", t.line, ": a negative multiplier");
      demand(t.kind != 'l' || piece.limits, "line ", t.line, ": the piece does not hold the limits");
      demand(t.kind != 'w' || decided_in_[t.id] == at, "line ", t.line, ": the want is not decided here");
      demand(t.kind != 'w' || t.value <= offer_[t.id], "line ", t.line, ": more than the offer");
      sum += t.kind == 'w' ? share(t.id, t.value) : t.kind == 'l' ? -p_.capacity[t.id] * t.value : -t.value;
    }
    for (int j : piece.columns) {
      if (closed_[j] > 0) continue;
      const Wide reduced = reduce(j, base_[j], leaf_);
      sum += inside_[j] ? reduced : std::min<Wide>(0, reduced);
    }
    for (const Term& t : terms) slot(leaf_, t) = 0;
    demand(sum >= piece.bound, "piece ", at, ", node ", n, " reaches ", sum, ", not ", piece.bound);
  }

 public:
  explicit Checker(Proof& proof)
      : p_(proof),
        count_(static_cast<int>(p_.price.size())),
        falls_(p_.wants.size()),
        single_(count_, -1),
        alive_(count_, 1),
        degree_(count_),
        foreign_(count_),
        piece_of_(count_, -1),
        decided_in_(p_.wants.size(), -1),
        inner_to_(p_.cliques.size(), -1),
        offer_(p_.wants.size()),
        reduced_(count_),
        base_(count_),
        closed_(count_),
        inside_(count_),
        load_(p_.capacity.size()) {
    leaf_.resize(p_.wants.size(), p_.capacity.size(), p_.cliques.size());
    std::vector<std::pair<int, Entry>> turned;
    std::vector<std::pair<int, int>> singles;
    for (int j = 0; j < count_; ++j)
      for (const Entry& e : p_.covers.of(j)) {
        turned.push_back({e.id, {j, e.line, e.amount}});
        if (e.amount < 0) falls_[e.id] = 1;
      }
    covered_by_ = Rows<Entry>(p_.wants.size(), turned);
    for (int j = 0; j < count_; ++j) {
      const auto own = p_.covers.of(j);
      if (own.size() != 1 || p_.price[j] <= 0) continue;
      if (own[0].amount < std::max<Wide>(1, p_.wants[own[0].id].wanted)) continue;
      if (falls_[own[0].id]) continue;  // such a want may need two of these columns: they are no twins
      singles.push_back({single_[j] = own[0].id, j});
    }
    std::ranges::sort(singles, {}, [&](const auto& single) { return p_.price[single.second]; });
    singles_ = Rows<int>(p_.wants.size(), singles);
    for (int j = 0; j < count_; ++j)
      for (int k : p_.conflicts.of(j)) {
        ++degree_[j];
        foreign_[j] += !twins(j, k);
      }
  }

  void check(bool proven) {
    for (std::size_t r = 0; r < p_.wants.size(); ++r) {
      const Want& w = p_.wants[r];
      demand(w.miss >= 0 && w.last >= 0, "want ", r, " has a negative miss or last");
      demand(w.last <= 0 || (w.wanted >= 2 && !falls_[r]), "want ", r, " may not have a last");
    }
    for (const Entry& e : p_.weights.all) demand(e.amount >= 0, "line ", e.line, ": a negative weight");
    check_chosen();
    for (int l : p_.without) demand(p_.shared.limit[l] == 0, "a multiplier of limit ", l, ", which is left out");
    for (const Term& t : p_.terms) demand(t.kind != 'l' || !left_out(t.id), "line ", t.line, ": the limit is left out");
    for (Entry& e : p_.weights.all)
      if (left_out(e.id)) e.amount = 0;
    for (std::size_t i = 0; i < p_.removals.size(); ++i) {
      const auto& [why, gone, instead] = p_.removals[i];
      const char* wrong = objection(why, gone, instead);
      demand(!wrong, "removal ", i, " (", why, " ", gone, "): ", wrong ? wrong : "");
      if (!std::exchange(alive_[gone], 0)) continue;
      for (int k : p_.conflicts.of(gone)) {
        --degree_[k];
        foreign_[k] -= !twins(gone, k);
      }
    }
    check_cliques();
    Wide total = shared_bound();
    settle_pieces();
    for (int at = 0; at < static_cast<int>(p_.pieces.size()); ++at) {
      total += p_.pieces[at].bound - part(at);
      walk(at);
    }
    const Wide reached = -(-total >> 20);  // rounded up
    demand(reached >= p_.bound, "the bound is ", p_.bound, ", the multipliers reach ", reached);
    demand(p_.bound <= p_.cost, "the bound ", p_.bound, " is above the cost ", p_.cost);
    demand(!proven || p_.bound >= p_.cost, "the bound ", p_.bound, " is below the cost ", p_.cost);
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
  } catch (const Unreadable& e) {
    std::fprintf(stderr, "%s, line %zu: %s\n", argv[1], e.line, e.what.c_str());
  } catch (const Enough&) {
    return 1;
  } catch (const std::exception& e) {
    std::fprintf(stderr, "%s: %s\n", argv[1], e.what());
  }
  return 2;
}
