// The solver against results from elsewhere: published sizes of codes, and two integer programming libraries.
// Of those only the C interfaces are used. Their folder is to be given as a system one (-isystem /usr/include/coin).
#include <Cbc_C_Interface.h>
#include <glpk.h>

#include <algorithm>
#include <bit>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <functional>
#include <limits>
#include <memory>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "instances.h"
#include "random_problem.h"

using namespace teasel::selection;
using namespace teasel::testing;

namespace {

// ---- Codes: largest sets of words no two of which are too near ----

using Words = std::vector<unsigned>;
using Near = std::function<bool(unsigned, unsigned)>;

Words all_words(int length) {
  Words words;
  for (unsigned w = 0; w < 1U << length; ++w) words.push_back(w);
  return words;
}

Words words_of_weight(int length, int weight) {
  Words words;
  for (const unsigned w : all_words(length))
    if (std::popcount(w) == weight) words.push_back(w);
  return words;
}

Near nearer_than(int distance) {
  return [distance](unsigned a, unsigned b) { return std::popcount(a ^ b) < distance; };
}

std::set<unsigned> without_one(unsigned word, int length) {
  std::set<unsigned> shorter;
  for (int bit = 0; bit < length; ++bit) {
    const unsigned low = (1U << bit) - 1;
    shorter.insert((word & low) | (word >> 1 & ~low));
  }
  return shorter;
}

Near alike_after_deletion(int length) {
  return [length](unsigned a, unsigned b) {
    const auto from_a = without_one(a, length), from_b = without_one(b, length);
    return std::any_of(from_a.begin(), from_a.end(), [&](unsigned w) { return from_b.contains(w); });
  };
}

/// A word taken saves one: the optimum is twice the number of words less the size of the largest code.
Problem code_problem(const Words& words, const Near& near) {
  Problem problem;
  for (std::size_t i = 0; i < words.size(); ++i) {
    problem.price.push_back(1);
    problem.wants.push_back({1, 2, false, 0});
    problem.covers.add({static_cast<int>(i), 1});
    problem.covers.close();
    problem.weighs.close();
    for (std::size_t k = 0; k < words.size(); ++k)
      if (k != i && near(words[i], words[k])) problem.conflicts.add(static_cast<int>(k));
    problem.conflicts.close();
  }
  return problem;
}

struct Code {
  std::string name;
  Words words;
  Near near;
  Cost size;
};

// ---- The integer program, by rows ----

struct Row {
  std::vector<int> variables;
  std::vector<double> factors;
  double least{}, most{};
  void add(int variable, double factor) {
    variables.push_back(variable);
    factors.push_back(factor);
  }
};

struct Program {
  int whole = 0;              ///< the first ones are 0 or 1; the others have no upper bound, and are whole if these are
  std::vector<double> price;  ///< by variable
  std::vector<Row> rows;
  int lacking(Cost each) {
    price.push_back(static_cast<double>(each));
    return static_cast<int>(price.size()) - 1;
  }
};

constexpr double kNone = std::numeric_limits<double>::infinity();

Program program_of(const Problem& problem) {
  Program made;
  made.whole = static_cast<int>(problem.columns());
  for (const Cost part : problem.price) made.price.push_back(static_cast<double>(part));
  std::vector<Row> covered(problem.wants.size()), loads(problem.limits.size());
  for (int j = 0; j < made.whole; ++j) {
    const auto column = static_cast<std::size_t>(j);
    for (const Part& part : problem.covers[column])
      covered[static_cast<std::size_t>(part.row)].add(j, static_cast<double>(part.amount));
    for (const Part& part : problem.weighs[column])
      loads[static_cast<std::size_t>(part.row)].add(j, static_cast<double>(part.amount));
    for (const int other : problem.conflicts[column])
      if (j < other) made.rows.push_back({{j, other}, {1, 1}, -kNone, 1});
  }
  for (std::size_t r = 0; r < problem.wants.size(); ++r) {
    const Want& want = problem.wants[r];
    Row row = covered[r];
    row.add(made.lacking(want.miss), 1);
    row.least = static_cast<double>(want.wanted);
    row.most = kNone;
    made.rows.push_back(row);
    if (want.last == 0) continue;
    row = covered[r];
    row.add(made.lacking(want.last), 1);  // at least one, or its price
    row.least = 1;
    row.most = kNone;
    made.rows.push_back(row);
  }
  for (std::size_t l = 0; l < loads.size(); ++l) {
    loads[l].least = -kNone;
    loads[l].most = static_cast<double>(problem.limits[l]);
    if (!loads[l].variables.empty()) made.rows.push_back(loads[l]);
  }
  return made;
}

constexpr double kMost = std::numeric_limits<double>::max();  // no bound, to CBC
constexpr Cost kUnsolved = -1;

Cost by_cbc(const Program& program) {
  const std::unique_ptr<Cbc_Model, void (*)(Cbc_Model*)> model(Cbc_newModel(), Cbc_deleteModel);
  Cbc_setLogLevel(model.get(), 0);
  Cbc_setParameter(model.get(), "log", "0");
  Cbc_setParameter(model.get(), "seconds", "30");
  Cbc_setParameter(model.get(), "ratioGap", "0");
  Cbc_setParameter(model.get(), "allowableGap", "0");
  for (std::size_t v = 0; v < program.price.size(); ++v) {
    const bool whole = static_cast<int>(v) < program.whole;
    Cbc_addCol(model.get(), "", 0, whole ? 1 : kMost, program.price[v], whole ? 1 : 0, 0, nullptr, nullptr);
  }
  for (const Row& row : program.rows) {
    const bool upper = row.least == -kNone;
    Cbc_addRow(model.get(), "", static_cast<int>(row.variables.size()), row.variables.data(), row.factors.data(),
               upper ? 'L' : 'G', upper ? row.most : row.least);
  }
  Cbc_solve(model.get());
  if (!Cbc_isProvenOptimal(model.get())) return kUnsolved;
  return std::llround(Cbc_getObjValue(model.get()));
}

Cost by_glpk(const Program& program) {
  glp_term_out(GLP_OFF);
  const std::unique_ptr<glp_prob, void (*)(glp_prob*)> model(glp_create_prob(), glp_delete_prob);
  glp_set_obj_dir(model.get(), GLP_MIN);
  glp_add_cols(model.get(), static_cast<int>(program.price.size()));
  for (int v = 0; v < static_cast<int>(program.price.size()); ++v) {
    glp_set_obj_coef(model.get(), v + 1, program.price[static_cast<std::size_t>(v)]);
    if (v < program.whole)
      glp_set_col_kind(model.get(), v + 1, GLP_BV);
    else
      glp_set_col_bnds(model.get(), v + 1, GLP_LO, 0, 0);
  }
  glp_add_rows(model.get(), static_cast<int>(program.rows.size()));
  int number = 0;
  for (const Row& row : program.rows) {
    ++number;
    glp_set_row_bnds(model.get(), number, row.least == -kNone ? GLP_UP : GLP_LO, row.least == -kNone ? 0 : row.least,
                     row.most == kNone ? 0 : row.most);
    std::vector<int> index{0};  // it counts from one
    std::vector<double> value{0};
    for (const int v : row.variables) index.push_back(v + 1);
    value.insert(value.end(), row.factors.begin(), row.factors.end());
    glp_set_mat_row(model.get(), number, static_cast<int>(row.variables.size()), index.data(), value.data());
  }
  glp_iocp options;
  glp_init_iocp(&options);
  options.msg_lev = GLP_MSG_OFF;
  options.presolve = GLP_ON;
  options.clq_cuts = GLP_ON;
  options.tm_lim = 30'000;
  if (glp_intopt(model.get(), &options) != 0 || glp_mip_status(model.get()) != GLP_OPT) return kUnsolved;
  return std::llround(glp_mip_obj_val(model.get()));
}

void agree(const Problem& problem, bool glpk_too = true) {
  Limits limits;
  limits.seconds = 30;
  const Result ours = solve(problem, limits);
  const Program program = program_of(problem);
  CHECK(ours.proven);
  CHECK(feasible(problem, ours.best.columns));
  CHECK(cost_of(problem, ours.best.columns) == ours.best.cost);
  CHECK(by_cbc(program) == ours.best.cost);
  if (glpk_too) CHECK(by_glpk(program) == ours.best.cost);
}

}  // namespace

TEST_CASE("sizes of largest codes are found and proven (tables of A. E. Brouwer and N. J. A. Sloane, from memory)",
          "[selection][outside]") {
  // All sizes are quoted from memory.
  std::vector<Code> codes;
  // A(n, d): Brouwer, Tables of bounds for binary codes.
  auto hamming = [&](int n, int d, Cost size) {
    codes.push_back({"A(" + std::to_string(n) + "," + std::to_string(d) + ")", all_words(n), nearer_than(d), size});
  };
  hamming(5, 3, 4);
  hamming(6, 3, 8);
  hamming(6, 4, 4);
  // A(n, d, w): Brouwer, Bounds for binary constant weight codes.
  auto johnson = [&](int n, int d, int w, Cost size) {
    codes.push_back({"A(" + std::to_string(n) + "," + std::to_string(d) + "," + std::to_string(w) + ")",
                     words_of_weight(n, w), nearer_than(d), size});
  };
  johnson(6, 4, 3, 4);
  johnson(7, 4, 3, 7);
  johnson(8, 4, 3, 8);
  johnson(8, 4, 4, 14);
  johnson(9, 4, 3, 12);
  // Codes that correct one deletion: Sloane, Challenge problems: independent sets in graphs (1dc.64 and its smaller
  // kin).
  auto deletion = [&](int n, Cost size) {
    codes.push_back({"1dc." + std::to_string(1 << n), all_words(n), alike_after_deletion(n), size});
  };
  deletion(4, 4);
  deletion(5, 6);
  deletion(6, 10);

  for (const Code& code : codes) {
    INFO(code.name);
    const Problem problem = code_problem(code.words, code.near);
    Limits limits;
    limits.seconds = 10;
    const Result result = solve(problem, limits);
    CHECK(result.proven);
    CHECK(result.best.cost == 2 * static_cast<Cost>(code.words.size()) - code.size);
    CHECK(result.bound <= result.best.cost);
    CHECK(feasible(problem, result.best.columns));
  }
}

TEST_CASE("made boards cost what two integer programming libraries say (other programs: CBC and GLPK)",
          "[selection][outside]") {
  for (int i = 0; i < 20; ++i) {
    const int nets = 20 + 180 * i / 19;
    INFO("board of " << nets << " nets, seed " << i);
    Instance board = dense_board(nets, static_cast<std::uint64_t>(i));
    board.link();
    agree(board.problem, nets <= 80);  // GLPK takes seconds for larger ones
  }
  for (int side = 6; side <= 10; ++side)
    for (const Vias mode : {Vias::one, Vias::near, Vias::rand})
      for (const std::int64_t pitch : {std::int64_t{800'000}, std::int64_t{1'000'000}}) {
        if (side == 10 && mode == Vias::rand && pitch == 800'000) continue;  // takes all of them seconds
        INFO("field of " << side << ", mode " << static_cast<int>(mode) << ", pitch " << pitch);
        Instance field = via_field(side, pitch, mode, static_cast<std::uint64_t>(side));
        field.link();
        agree(field.problem, side <= 7);
      }
}

TEST_CASE("random problems cost what two integer programming libraries say (other programs: CBC and GLPK, seed 7)",
          "[selection][outside]") {
  std::mt19937 rng(7);
  for (int i = 0; i < 64; ++i) {
    INFO("problem " << i);
    const Kinds kinds{(i & 1) != 0, (i & 2) != 0, (i & 4) != 0, (i & 8) != 0, false, (i & 16) != 0};
    const auto wants = 10 + static_cast<int>(rng() % 11), columns = 25 + static_cast<int>(rng() % 26);
    agree(random_problem(rng, wants, columns, i & 32 ? 0.2 : 0.08, kinds));
  }
}
