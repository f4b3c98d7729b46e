// Reads a proof file. Its ranges leave room for every sum of the checker in 128 bits.
#include <algorithm>
#include <cstdio>
#include <functional>

#include "proof_file.h"

namespace {

constexpr Wide hard_miss = Wide{1} << 30;
constexpr Wide most_bytes = Wide{1} << 30;
constexpr Wide most_amount = Wide{1} << 40;      // amounts, weights, capacities, wanted
constexpr Wide most_miss = Wide{1} << 37;        // so that miss + last, in units, is a multiplier
constexpr Wide most_multiplier = Wide{1} << 58;  // times an amount: 2^98, and fewer than 2^27 covers fit into a file
constexpr Wide most_price = Wide{1} << 62;
constexpr Wide most_sum = Wide{1} << 90;  // bounds of pieces, multipliers of cliques: never multiplied

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

}  // namespace

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

Proof read_proof(std::string_view text) {
  return Reader(text).read();
}
