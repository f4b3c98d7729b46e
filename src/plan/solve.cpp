// One independent piece as an integer program: x[c] chosen, z[d] none at all, s[d] further ones missing.
//   minimise  sum price x + first z + further s
//   sum of x over a demand + s >= wanted,  sum of x + z >= 1,  sum over each clique of conflicting candidates <= 1.
// Source of the clique form: standard set-packing polyhedra; every conflict lies in one of the cliques.
#include <coin/CbcModel.hpp>
#include <coin/CbcSolver.hpp>
#include <coin/CoinPackedMatrix.hpp>
#include <coin/OsiClpSolverInterface.hpp>
#include <algorithm>
#include <cmath>
#include <unordered_map>

#include "model.h"

namespace teasel::planning {

namespace {
/// Greedy cover of the conflict edges by maximal cliques.
std::vector<std::vector<int>> cliques_of(const std::vector<std::vector<int>>& adjacent) {
  std::vector<std::vector<int>> cliques;
  std::vector<std::vector<bool>> covered(adjacent.size());
  for (std::size_t i = 0; i < adjacent.size(); ++i) covered[i].resize(adjacent[i].size());
  auto slot = [&](int a, int b) {
    const auto& list = adjacent[static_cast<std::size_t>(a)];
    auto it = std::lower_bound(list.begin(), list.end(), b);
    return it != list.end() && *it == b ? static_cast<int>(it - list.begin()) : -1;
  };
  for (std::size_t i = 0; i < adjacent.size(); ++i)
    for (std::size_t k = 0; k < adjacent[i].size(); ++k) {
      if (covered[i][k] || adjacent[i][k] < static_cast<int>(i)) continue;
      std::vector<int> clique{static_cast<int>(i), adjacent[i][k]};
      for (int v : adjacent[i]) {
        if (v == adjacent[i][k]) continue;
        if (std::all_of(clique.begin() + 1, clique.end(), [&](int u) { return slot(u, v) >= 0; })) clique.push_back(v);
      }
      std::sort(clique.begin(), clique.end());
      for (int a : clique)
        for (int b : clique)
          if (a != b) covered[static_cast<std::size_t>(a)][static_cast<std::size_t>(slot(a, b))] = true;
      cliques.push_back(std::move(clique));
    }
  return cliques;
}
}  // namespace

Solution solve_piece(const Model& m, const std::vector<int>& demands, const std::vector<bool>& alive, double seconds) {
  Solution best;
  best.chosen = greedy(m, demands, alive);
  best.cost = price_of(m, demands, best.chosen);
  std::vector<int> columns;
  std::unordered_map<int, int> column_of;
  for (int d : demands)
    for (int c : m.of_demand[static_cast<std::size_t>(d)])
      if (alive[static_cast<std::size_t>(c)]) column_of[c] = static_cast<int>(columns.size()), columns.push_back(c);
  const int nx = static_cast<int>(columns.size()), nd = static_cast<int>(demands.size());
  // Prices of locked candidates are negative; the floor of the objective is the bound until the solver says better.
  Cents floor = 0;
  for (int c : columns) floor += std::min<Cents>(0, m.candidates[static_cast<std::size_t>(c)].price);
  best.bound = floor;
  if (nx == 0) {
    best.bound = best.cost, best.proven = true;
    return best;
  }
  std::vector<std::vector<int>> adjacent(columns.size());
  for (std::size_t i = 0; i < columns.size(); ++i) {
    for (int o : m.conflicts[static_cast<std::size_t>(columns[i])])
      if (auto it = column_of.find(o); it != column_of.end()) adjacent[i].push_back(it->second);
    std::sort(adjacent[i].begin(), adjacent[i].end());
  }
  const auto cliques = cliques_of(adjacent);
  CoinPackedMatrix matrix(false, 0, 0);
  matrix.setDimensions(0, nx + 2 * nd);
  std::vector<double> row_lower, row_upper, objective(static_cast<std::size_t>(nx + 2 * nd)), lower(objective.size()), upper(objective.size(), 1.0);
  auto row = [&](const std::vector<int>& index, double lo, double hi) {
    const std::vector<double> ones(index.size(), 1.0);
    matrix.appendRow(static_cast<int>(index.size()), index.data(), ones.data());
    row_lower.push_back(lo), row_upper.push_back(hi);
  };
  for (int i = 0; i < nx; ++i) objective[static_cast<std::size_t>(i)] = static_cast<double>(m.candidates[static_cast<std::size_t>(columns[static_cast<std::size_t>(i)])].price);
  for (int k = 0; k < nd; ++k) {
    const Demand& q = m.demands[static_cast<std::size_t>(demands[static_cast<std::size_t>(k)])];
    std::vector<int> index;
    for (int c : m.of_demand[static_cast<std::size_t>(demands[static_cast<std::size_t>(k)])])
      if (alive[static_cast<std::size_t>(c)]) index.push_back(column_of[c]);
    const int z = nx + 2 * k, s = z + 1;
    objective[static_cast<std::size_t>(z)] = static_cast<double>(q.first), objective[static_cast<std::size_t>(s)] = static_cast<double>(q.further);
    upper[static_cast<std::size_t>(s)] = q.wanted;
    auto with = [&](int extra) { auto v = index; v.push_back(extra); return v; };
    row(with(z), 1, 1e30);
    row(with(s), q.wanted, 1e30);
    row(index, -1e30, q.wanted);
  }
  for (const auto& c : cliques) row(c, -1e30, 1);
  OsiClpSolverInterface solver;
  solver.messageHandler()->setLogLevel(0);
  solver.loadProblem(matrix, lower.data(), upper.data(), objective.data(), row_lower.data(), row_upper.data());
  for (int i = 0; i < nx + 2 * nd; ++i) solver.setInteger(i);
  CbcModel model(solver);
  model.setLogLevel(0);
  CbcSolverUsefulData useful;
  CbcMain0(model, useful);
  model.setLogLevel(0);
  model.solver()->messageHandler()->setLogLevel(0);
  std::vector<double> start(objective.size());
  std::vector<int> have(static_cast<std::size_t>(nd));
  for (int c : best.chosen) start[static_cast<std::size_t>(column_of[c])] = 1;
  for (int k = 0; k < nd; ++k) {
    int n = 0;
    for (int c : best.chosen) n += m.demand_of[static_cast<std::size_t>(c)] == demands[static_cast<std::size_t>(k)];
    start[static_cast<std::size_t>(nx + 2 * k)] = n == 0, start[static_cast<std::size_t>(nx + 2 * k + 1)] = std::max(0, m.demands[static_cast<std::size_t>(demands[static_cast<std::size_t>(k)])].wanted - n);
  }
  model.setBestSolution(start.data(), static_cast<int>(start.size()), static_cast<double>(best.cost), true);
  // Whole prices: a bound within 0.99 of the best plan is a proof.
  const std::string sec = std::to_string(std::max(0.05, seconds));
  const char* arguments[] = {"teasel", "-log", "0", "-slog", "0", "-sec", sec.c_str(), "-allow", "0.99", "-ratio", "0", "-threads", "0", "-solve", "-quit"};
  CbcMain1(static_cast<int>(std::size(arguments)), arguments, model, [](CbcModel*, int) { return 0; }, useful);
  const double* x = model.bestSolution();
  if (x) {
    std::vector<int> chosen;
    for (int i = 0; i < nx; ++i)
      if (x[i] > 0.5) chosen.push_back(columns[static_cast<std::size_t>(i)]);
    std::sort(chosen.begin(), chosen.end());
    const Cents cost = price_of(m, demands, chosen);
    if (cost <= best.cost) best.chosen = std::move(chosen), best.cost = cost;
  }
  const double bound = model.getBestPossibleObjValue();
  if (model.isProvenOptimal()) best.bound = best.cost, best.proven = true;
  else if (std::isfinite(bound) && bound > -1e18) best.bound = std::clamp(static_cast<Cents>(std::ceil(bound - 0.01)), floor, best.cost), best.proven = best.bound == best.cost;
  return best;
}

}  // namespace teasel::planning
