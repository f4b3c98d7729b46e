// A part of the problem as a linear program: some wants, their columns, and the cliques and limits wholly inside.
// What joins it to the rest is priced (multipliers held fixed) or given (columns chosen outside held fixed).
#pragma once
#include <optional>

#include "work.h"

namespace teasel::selection {

/// Multipliers of everything, in 2^-kScaleBits.
struct Multipliers {
  std::vector<std::int64_t> want, clique, limit;
};

/// The rows that all steps share, and the nodes of which regions are made: wants with their columns; but a want of very
/// many columns (ground) would make all neighbours of all: each of its columns is a node by itself, the want joins
/// them.
struct Rows {
  Lists<int> cliques, cliques_of;  ///< columns by clique; cliques by column
  std::vector<char> hub;           ///< by want
  std::vector<int> lone;           ///< columns of hubs alone: node number = wants + place in this list
  std::vector<int> node_of;        ///< by column
  Lists<int> columns_of, near;     ///< by node: columns; nodes that share a column or a clique
};
Rows make_rows(const Work& work, Lists<int> cliques, std::size_t hub);

struct Piece {
  std::vector<int> columns, wants, cliques, limits;
  std::vector<std::int64_t> price;   ///< by column of the piece, 2^-kScaleBits
  std::vector<std::int64_t> wanted;  ///< by want of the piece
  std::vector<std::int64_t> miss,
      last;  ///< by want of the piece, 2^-kScaleBits: price of a lacking unit; of none at all on top
  std::vector<std::int64_t> capacity;
};

/// Nodes and everything inside; `price` holds what outer rows cost at the given multipliers. whole: limits are inside.
/// partial: what lies inside of outer cliques excludes one another as well (their multipliers are extra).
/// Of the hubs named, columns outside offer each further unit at their least price: that is what lacking one costs.
Piece priced_piece(const Work& work, const Rows& rows, const Multipliers& multipliers, const std::vector<int>& nodes,
                   const std::vector<int>& hubs, bool whole, bool partial = false);
/// The same with the columns chosen outside held fixed: `chosen` by column.
Piece given_piece(const Work& work, const Rows& rows, const std::vector<int>& nodes, const std::vector<char>& chosen);

struct PieceResult {
  std::vector<int> chosen;         ///< best choice found: columns of the problem
  std::int64_t value = INT64_MAX;  ///< its price in the piece
  std::int64_t bound = INT64_MIN;  ///< exact
  std::int64_t root_bound = INT64_MIN;
  std::vector<std::pair<int, std::int64_t>> want, clique, limit;  ///< multipliers at the root
  std::vector<ProofNode> nodes;
  std::size_t nodes_seen = 0;
  bool solved = false;  ///< time sufficed for the root
};

struct PieceLimits {
  int nodes = 1;  ///< 1: the linear program alone
  const Clock* clock = nullptr;
  bool keep_proof = false;
  std::vector<int> start;  ///< a choice to begin with
  std::int64_t near = 0;   ///< 2^-kScaleBits: a bound this near to the choice ends the search once it has been patient
};
PieceResult solve_piece(const Work& work, const Rows& rows, const Piece& piece, const PieceLimits& limits);

/// Moves the multipliers of cliques towards a better bound; those of wants are to be worked out afterwards.
void ascend(const Work& work, const Rows& rows, Multipliers& multipliers, int sweeps, const Clock& clock);

/// Betters a choice that keeps all rules, one change at a time.
void improve(const Work& work, std::vector<char>& chosen, const Clock& clock);

/// Price of a choice within a piece.
std::int64_t value_in(const Work& work, const Piece& piece, const std::vector<int>& chosen);

}  // namespace teasel::selection
