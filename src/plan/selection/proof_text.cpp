#include <string>

#include "work.h"

namespace teasel::selection {

namespace {
class Text {
 public:
  Text& word(const char* w) {
    if (!line_start_) out_ += ' ';
    out_ += w;
    line_start_ = false;
    return *this;
  }
  Text& number(std::int64_t v) { return word(std::to_string(v).c_str()); }
  void end() {
    out_ += '\n';
    line_start_ = true;
  }
  std::string take() { return std::move(out_); }

 private:
  std::string out_;
  bool line_start_ = true;
};

const char* word_of(Removal::Why w) {
  switch (w) {
    case Removal::Why::worth: return "worth";
    case Removal::Why::dominated: return "dominated";
    case Removal::Why::evicts: return "evicts";
    case Removal::Why::spare: return "spare";
  }
  return "";
}

void piece(Text& t, std::int64_t number, const ProofPiece& p) {
  t.word("piece").number(number).number(p.limits).number(p.bound).end();
  t.word("columns").number(number);
  for (const int c : p.columns) t.number(c);
  t.end();
  for (std::size_t k = 0; k < p.wants.size(); ++k)
    t.word("decides").number(number).number(p.wants[k]).number(p.offer[k]).end();
  for (std::size_t n = 0; n < p.nodes.size(); ++n) {
    const ProofNode& node = p.nodes[n];
    t.word("node").number(number).number(static_cast<std::int64_t>(n));
    if (node.column >= 0)
      t.word("branch").number(node.column).number(node.out).number(node.in);
    else
      t.word(node.impossible ? "impossible" : "leaf");
    t.end();
    if (node.column >= 0 || node.impossible) continue;
    auto values = [&](const char* kind, const std::vector<std::pair<int, std::int64_t>>& list) {
      for (const auto& [k, v] : list)
        t.word("leaf").number(number).number(static_cast<std::int64_t>(n)).word(kind).number(k).number(v).end();
    };
    values("want", node.dual.wants);
    values("limit", node.dual.limits);
    values("clique", node.dual.cliques);
  }
}
}  // namespace

std::string proof_text(const Problem& p, const Result& r) {
  Text t;
  t.word("teasel proof 1").end();
  for (std::size_t k = 0; k < p.wants.size(); ++k)
    t.word("want")
        .number(static_cast<std::int64_t>(k))
        .number(p.wants[k].wanted)
        .number(p.wants[k].miss)
        .number(p.wants[k].last)
        .number(p.wants[k].hard)
        .end();
  for (std::size_t k = 0; k < p.limits.size(); ++k)
    t.word("limit").number(static_cast<std::int64_t>(k)).number(p.limits[k]).end();
  for (std::size_t c = 0; c < p.columns(); ++c)
    t.word("column").number(static_cast<std::int64_t>(c)).number(p.price[c]).end();
  for (std::size_t c = 0; c < p.columns(); ++c)
    for (const Part& x : p.covers[c])
      t.word("cover").number(static_cast<std::int64_t>(c)).number(x.row).number(x.amount).end();
  for (std::size_t c = 0; c < p.columns(); ++c)
    for (const Part& x : p.weighs[c])
      t.word("weigh").number(static_cast<std::int64_t>(c)).number(x.row).number(x.amount).end();
  for (std::size_t c = 0; c < p.columns(); ++c) {
    const auto list = p.conflicts[c];
    const int* later = std::upper_bound(list.begin(), list.end(), static_cast<int>(c));
    if (later == list.end()) continue;
    t.word("conflict").number(static_cast<std::int64_t>(c));
    for (; later != list.end(); ++later) t.number(*later);
    t.end();
  }
  t.word("chosen");
  for (const int c : r.best.columns) t.number(c);
  t.end();
  t.word("cost").number(r.best.cost).end();
  t.word("bound").number(r.bound).end();
  if (!r.proof.without.empty()) {
    t.word("without");
    for (const int l : r.proof.without) t.number(l);
    t.end();
  }
  for (const Removal& x : r.proof.removals)
    t.word("removed").word(word_of(x.why)).number(x.column).number(x.instead).end();
  for (std::size_t q = 0; q < r.proof.cliques.size(); ++q) {
    t.word("clique").number(static_cast<std::int64_t>(q));
    for (const int c : r.proof.cliques[q]) t.number(c);
    t.end();
  }
  auto shared = [&](const char* kind, const std::vector<std::pair<int, std::int64_t>>& list) {
    for (const auto& [k, v] : list) t.word("shared").word(kind).number(k).number(v).end();
  };
  shared("want", r.proof.shared.wants);
  shared("limit", r.proof.shared.limits);
  shared("clique", r.proof.shared.cliques);
  for (std::size_t k = 0; k < r.proof.pieces.size(); ++k) piece(t, static_cast<std::int64_t>(k), r.proof.pieces[k]);
  t.word("end").end();
  return t.take();
}

}  // namespace teasel::selection
