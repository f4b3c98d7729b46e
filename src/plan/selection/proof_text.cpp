#include <string>

#include "work.h"

namespace teasel::selection {

namespace {
class Text {
 public:
  Text& word(const char* text) {
    if (!line_start_) out_ += ' ';
    out_ += text;
    line_start_ = false;
    return *this;
  }
  Text& number(std::int64_t value) { return word(std::to_string(value).c_str()); }
  void end() {
    out_ += '\n';
    line_start_ = true;
  }
  std::string take() { return std::move(out_); }

 private:
  std::string out_;
  bool line_start_ = true;
};

const char* word_of(Removal::Why why) {
  switch (why) {
    case Removal::Why::worth: return "worth";
    case Removal::Why::dominated: return "dominated";
    case Removal::Why::evicts: return "evicts";
    case Removal::Why::spare: return "spare";
  }
  return "";
}

void piece(Text& text, std::int64_t number, const ProofPiece& piece) {
  text.word("piece").number(number).number(piece.limits).number(piece.bound).end();
  text.word("columns").number(number);
  for (const int column : piece.columns) text.number(column);
  text.end();
  for (std::size_t k = 0; k < piece.wants.size(); ++k)
    text.word("decides").number(number).number(piece.wants[k]).number(piece.offer[k]).end();
  for (std::size_t i = 0; i < piece.nodes.size(); ++i) {
    const ProofNode& node = piece.nodes[i];
    text.word("node").number(number).number(static_cast<std::int64_t>(i));
    if (node.column >= 0)
      text.word("branch").number(node.column).number(node.out).number(node.in);
    else
      text.word(node.impossible ? "impossible" : "leaf");
    text.end();
    if (node.column >= 0 || node.impossible) continue;
    auto values = [&](const char* kind, const std::vector<std::pair<int, std::int64_t>>& list) {
      for (const auto& [k, value] : list)
        text.word("leaf").number(number).number(static_cast<std::int64_t>(i)).word(kind).number(k).number(value).end();
    };
    values("want", node.dual.wants);
    values("limit", node.dual.limits);
    values("clique", node.dual.cliques);
  }
}
}  // namespace

std::string proof_text(const Problem& problem, const Result& result) {
  Text text;
  text.word("teasel proof 1").end();
  for (std::size_t k = 0; k < problem.wants.size(); ++k)
    text.word("want")
        .number(static_cast<std::int64_t>(k))
        .number(problem.wants[k].wanted)
        .number(problem.wants[k].miss)
        .number(problem.wants[k].last)
        .number(problem.wants[k].hard)
        .end();
  for (std::size_t k = 0; k < problem.limits.size(); ++k)
    text.word("limit").number(static_cast<std::int64_t>(k)).number(problem.limits[k]).end();
  for (std::size_t column = 0; column < problem.columns(); ++column)
    text.word("column").number(static_cast<std::int64_t>(column)).number(problem.price[column]).end();
  for (std::size_t column = 0; column < problem.columns(); ++column)
    for (const Part& part : problem.covers[column])
      text.word("cover").number(static_cast<std::int64_t>(column)).number(part.row).number(part.amount).end();
  for (std::size_t column = 0; column < problem.columns(); ++column)
    for (const Part& part : problem.weighs[column])
      text.word("weigh").number(static_cast<std::int64_t>(column)).number(part.row).number(part.amount).end();
  for (std::size_t column = 0; column < problem.columns(); ++column) {
    const auto list = problem.conflicts[column];
    const int* later = std::upper_bound(list.begin(), list.end(), static_cast<int>(column));
    if (later == list.end()) continue;
    text.word("conflict").number(static_cast<std::int64_t>(column));
    for (; later != list.end(); ++later) text.number(*later);
    text.end();
  }
  text.word("chosen");
  for (const int column : result.best.columns) text.number(column);
  text.end();
  text.word("cost").number(result.best.cost).end();
  text.word("bound").number(result.bound).end();
  if (!result.proof.without.empty()) {
    text.word("without");
    for (const int limit : result.proof.without) text.number(limit);
    text.end();
  }
  for (const Removal& removal : result.proof.removals)
    text.word("removed").word(word_of(removal.why)).number(removal.column).number(removal.instead).end();
  for (std::size_t clique = 0; clique < result.proof.cliques.size(); ++clique) {
    text.word("clique").number(static_cast<std::int64_t>(clique));
    for (const int column : result.proof.cliques[clique]) text.number(column);
    text.end();
  }
  auto shared = [&](const char* kind, const std::vector<std::pair<int, std::int64_t>>& list) {
    for (const auto& [k, value] : list) text.word("shared").word(kind).number(k).number(value).end();
  };
  shared("want", result.proof.shared.wants);
  shared("limit", result.proof.shared.limits);
  shared("clique", result.proof.shared.cliques);
  for (std::size_t k = 0; k < result.proof.pieces.size(); ++k)
    piece(text, static_cast<std::int64_t>(k), result.proof.pieces[k]);
  text.word("end").end();
  return text.take();
}

}  // namespace teasel::selection
