// What a proof file says: the problem, the choice, the removals, the multipliers and the pieces. DEVELOPERS.md
// describes the file.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

__extension__ typedef __int128 Wide;

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
inline Wide& slot(Multipliers& multipliers, const Term& term) {
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

struct Unreadable {
  std::size_t line;
  std::string what;
};

// The text of a file. Throws Unreadable.
std::string load(const char* path);
// What the text says. The proof holds words of the text. Throws Unreadable.
Proof read_proof(std::string_view text);
