// Planning made boards, and problems from files, next to CBC on the same problem in the same run.
//   bench-planning [-cbc SECONDS] [FILE...]     0: without CBC
//   bench-planning growth [FILE.svg]            time and memory by size of board, as a table and a plot
// A file: "N M"; N lines "wanted miss"; M lines "want pad side kind x_um y_um price", kinds 0 to 3 with 2540, 1905,
// 1270 and 1000 um of room.
#include <Cbc_C_Interface.h>
#include <sys/resource.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <fstream>
#include <functional>
#include <limits>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include "../../tests/plan/instances.h"

using namespace teasel::selection;
using namespace teasel::testing;

namespace {

using Clock = std::chrono::steady_clock;

double since(Clock::time_point start) {
  return std::chrono::duration<double>(Clock::now() - start).count();
}

double peak_mb() {
  rusage used{};
  getrusage(RUSAGE_SELF, &used);
  return static_cast<double>(used.ru_maxrss) / 1024;
}

Instance read(const std::string& path) {
  std::ifstream in(path);
  std::size_t wants = 0, columns = 0;
  if (!(in >> wants >> columns)) throw std::runtime_error(path + ": no \"N M\" to begin with");
  Instance made;
  made.points.least = mean_spacings({2'540'000, 1'905'000, 1'270'000, 1'000'000}, 1000);
  for (std::size_t r = 0; r < wants; ++r) {
    std::int64_t wanted = 0;
    Cost miss = 0;
    if (!(in >> wanted >> miss)) throw std::runtime_error(path + ": want " + std::to_string(r) + " is not as expected");
    made.want(wanted, miss);
  }
  for (std::size_t j = 0; j < columns; ++j) {
    int want = 0, side = 0, kind = 0;
    std::int64_t pad = 0, x = 0, y = 0;  // the pad does not matter: columns on one pad and side are too near anyway
    Cost price = 0;
    if (!(in >> want >> pad >> side >> kind >> x >> y >> price) || want < 0 ||
        static_cast<std::size_t>(want) >= wants || kind < 0 || kind > 3)
      throw std::runtime_error(path + ": column " + std::to_string(j) + " is not as expected");
    made.column(want, side, kind, x * 1000, y * 1000, price);
  }
  return made;
}

/// Cliques that hold every pair in conflict: each begins with a pair that none holds yet and takes in what it can, in
/// order.
Lists<int> cover_by_cliques(const Lists<int>& conflicts) {
  std::vector<char> held(conflicts.items.size());
  auto place = [&](int a, int b) {
    const auto near = conflicts[static_cast<std::size_t>(a)];
    const int* const at = std::lower_bound(near.begin(), near.end(), b);
    return at != near.end() && *at == b ? at - conflicts.items.data() : std::ptrdiff_t{-1};
  };
  Lists<int> cliques;
  std::vector<int> clique;
  for (std::size_t i = 0; i < conflicts.size(); ++i) {
    const int a = static_cast<int>(i);
    const auto near = conflicts[i];
    for (std::size_t k = 0; k < near.size(); ++k) {
      if (near[k] < a || held[conflicts.start[i] + k]) continue;
      clique = {a, near[k]};
      for (const int c : near)
        if (std::all_of(clique.begin(), clique.end(), [&](int b) { return b == a || (b != c && place(b, c) >= 0); }))
          clique.push_back(c);
      for (const int b : clique) {
        cliques.add(b);
        for (const int c : clique)
          if (b != c) held[static_cast<std::size_t>(place(b, c))] = 1;
      }
      cliques.close();
    }
  }
  return cliques;
}

struct Other {
  bool ran = false, proven = false;
  double seconds = 0;  ///< of its search alone: not of making cliques and rows
  Cost cost = -1;      ///< -1: it found nothing
};

Other by_cbc(const Problem& p, int seconds) {
  const std::unique_ptr<Cbc_Model, void (*)(Cbc_Model*)> made(Cbc_newModel(), Cbc_deleteModel);
  Cbc_Model* const model = made.get();
  // The model is handed over whole, by rows turned into columns: adding row by row takes long.
  std::vector<std::vector<std::pair<int, double>>> entries(p.columns());
  std::vector<double> price, most, row_least, row_most;
  constexpr double none = std::numeric_limits<double>::max();
  for (const Cost c : p.price) {
    price.push_back(static_cast<double>(c));
    most.push_back(1);
  }
  auto lacking = [&](Cost each) {
    price.push_back(static_cast<double>(each));
    most.push_back(none);
    entries.emplace_back();
    entries.back().emplace_back(static_cast<int>(row_least.size()), 1.0);
  };
  std::vector<int> none_row(p.wants.size(), -1);
  for (const Want& w : p.wants) {
    lacking(w.miss);
    row_least.push_back(static_cast<double>(w.wanted));
    row_most.push_back(none);
  }
  for (std::size_t r = 0; r < p.wants.size(); ++r) {
    if (p.wants[r].last == 0) continue;
    none_row[r] = static_cast<int>(row_least.size());
    lacking(p.wants[r].last);
    row_least.push_back(1);
    row_most.push_back(none);
  }
  for (std::size_t j = 0; j < p.columns(); ++j)
    for (const Part& c : p.covers[j]) {
      entries[j].emplace_back(c.row, static_cast<double>(c.amount));
      const int also = none_row[static_cast<std::size_t>(c.row)];
      if (also >= 0) entries[j].emplace_back(also, static_cast<double>(c.amount));
    }
  const Lists<int> cliques = cover_by_cliques(p.conflicts);
  for (std::size_t q = 0; q < cliques.size(); ++q) {
    for (const int j : cliques[q])
      entries[static_cast<std::size_t>(j)].emplace_back(static_cast<int>(row_least.size()), 1.0);
    row_least.push_back(-none);
    row_most.push_back(1);
  }
  std::vector<CoinBigIndex> start{0};
  std::vector<int> index;
  std::vector<double> value;
  for (const auto& column : entries) {
    for (const auto& [row, factor] : column) {
      index.push_back(row);
      value.push_back(factor);
    }
    start.push_back(static_cast<CoinBigIndex>(index.size()));
  }
  const std::vector<double> least(price.size(), 0.0);
  Cbc_loadProblem(model, static_cast<int>(price.size()), static_cast<int>(row_least.size()), start.data(), index.data(),
                  value.data(), least.data(), most.data(), price.data(), row_least.data(), row_most.data());
  for (int j = 0; j < static_cast<int>(p.columns()); ++j) Cbc_setInteger(model, j);
  Cbc_setLogLevel(model, 0);
  Cbc_setParameter(model, "log", "0");
  Cbc_setParameter(model, "seconds", std::to_string(seconds).c_str());
  Cbc_setParameter(model, "ratioGap", "0");
  Cbc_setParameter(model, "allowableGap", "0");

  Other other;
  other.ran = true;
  const auto begin = Clock::now();
  Cbc_solve(model);
  other.seconds = since(begin);
  other.proven = Cbc_isProvenOptimal(model) != 0;
  if (const double* const x = Cbc_getColSolution(model)) {
    std::vector<int> chosen;
    for (int j = 0; j < static_cast<int>(p.columns()); ++j)
      if (x[j] > 0.5) chosen.push_back(j);
    if (feasible(p, chosen)) other.cost = cost_of(p, chosen);  // stopped in time it may hold a relaxed solution
  }
  return other;
}

struct Measured {
  Result result;
  double seconds = 0;
};

/// Conflicts and solution: what a user waits for.
Measured measure(Instance& instance, double deadline) {
  Measured m;
  const auto begin = Clock::now();
  instance.link();
  Limits limits;
  limits.seconds = deadline;
  m.result = solve(instance.problem, limits);
  m.seconds = since(begin);
  return m;
}

std::string number(double value, const char* format = "%.2f") {
  char text[64];
  std::snprintf(text, sizeof text, format, value);
  return text;
}

constexpr const char* kHeading =
    "Constraints: spacing, one or several probes a want. Times in s; ours with the conflicts, CBC's search alone.\n"
    "CBC has clique rows; + at its time: stopped unproven. MB: peak of the whole run so far, before CBC's turn in this "
    "row.";

void row(const std::string& name, Instance instance, double deadline, int cbc_seconds) {
  const Measured ours = measure(instance, deadline);
  const double memory = peak_mb();
  const Problem& p = instance.problem;
  const Result& r = ours.result;
  if (!feasible(p, r.best.columns) || cost_of(p, r.best.columns) != r.best.cost)
    throw std::runtime_error(name + ": false result");
  const auto cost = static_cast<double>(r.best.cost);
  const double gap = r.best.cost == 0 ? 0 : 100 * static_cast<double>(r.best.cost - r.bound) / cost;
  const double over = r.best.cost == 0 ? 0 : 100 * (static_cast<double>(cost_of(p, greedy(p))) / cost - 1);
  constexpr std::size_t most_for_cbc = 30'000;
  Other cbc;
  if (cbc_seconds > 0 && p.wants.size() <= most_for_cbc) cbc = by_cbc(p, cbc_seconds);
  std::printf("%-22s %7zu %8zu %9zu %8.2f %10lld %10lld %8s %6s %6.0f %9s %10s %7s %8s\n", name.c_str(), p.wants.size(),
              p.columns(), p.conflicts.items.size() / 2, ours.seconds, static_cast<long long>(r.best.cost),
              static_cast<long long>(r.bound), number(gap, "%.4f").c_str(), r.proven ? "yes" : "no", memory,
              cbc.ran ? (number(cbc.seconds) + (cbc.proven ? "" : "+")).c_str() : "-",
              cbc.cost >= 0 ? std::to_string(cbc.cost).c_str() : "-",
              cbc.ran ? number(cbc.seconds / std::max(ours.seconds, 1e-6), "%.1f").c_str() : "-", number(over).c_str());
  std::fflush(stdout);
  if ((cbc.proven && cbc.cost >= 0 && r.proven && cbc.cost != r.best.cost) || (cbc.cost >= 0 && cbc.cost < r.bound))
    std::printf("  ^ the two disagree\n");
}

void compare(const std::vector<std::string>& files, int cbc_seconds) {
  std::printf("%s\n%-22s %7s %8s %9s %8s %10s %10s %8s %6s %6s %9s %10s %7s %8s\n", kHeading, "instance", "wants",
              "columns", "conflicts", "time", "cost", "bound", "gap %", "proven", "MB", "CBC time", "CBC cost", "ratio",
              "greedy %");
  constexpr double deadline = 20, field_deadline = 10;
  for (const std::string& file : files) row(file.substr(file.find_last_of('/') + 1), read(file), deadline, cbc_seconds);
  if (!files.empty()) return;
  // Small ones first, so that the memory of large ones does not hide theirs.
  row("board 2000", dense_board(2000, 1), deadline, cbc_seconds);
  row("vias 45x45 0.8 near", via_field(45, 800'000, Vias::near, 1), field_deadline, cbc_seconds);
  row("vias 45x45 0.8 rand", via_field(45, 800'000, Vias::rand, 1), field_deadline, cbc_seconds);
  row("vias 45x45 1.0 rand", via_field(45, 1'000'000, Vias::rand, 1), field_deadline, cbc_seconds);
  row("board 20000", dense_board(20'000, 1), deadline, cbc_seconds);
  row("board 100000", dense_board(100'000, 1), deadline, cbc_seconds);
}

struct Grown {
  int nets = 0;
  std::size_t columns = 0;
  double seconds = 0, mb = 0;
};

/// Both axes by powers of ten.
void draw(const std::vector<Grown>& list, const std::string& file) {
  constexpr double kLeft = 70, kTop = 20, kDecade = 170, kHeight = 110;
  const double lowest = std::log10(0.01), first = 3;
  auto x = [&](double nets) { return kLeft + (std::log10(nets) - first) * kDecade; };
  auto y = [&](double seconds) { return kTop + 3 * kHeight - (std::log10(seconds) - lowest) * kHeight; };
  std::ofstream out(file);
  out << "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"470\" height=\"410\" font-family=\"sans-serif\" "
         "font-size=\"13\">\n"
      << "<rect width=\"470\" height=\"410\" fill=\"white\"/>\n";
  for (const double s : {0.01, 0.1, 1.0, 10.0})
    out << "<path d=\"M" << kLeft << ' ' << y(s) << "h" << 2.2 * kDecade << "\" stroke=\"#ccc\"/><text x=\""
        << kLeft - 8 << "\" y=\"" << y(s) + 4 << "\" text-anchor=\"end\">" << s << "</text>\n";
  for (const int n : {1000, 10'000, 100'000})
    out << "<path d=\"M" << x(n) << ' ' << kTop << "v" << 3 * kHeight << "\" stroke=\"#ccc\"/><text x=\"" << x(n)
        << "\" y=\"" << kTop + 3 * kHeight + 18 << "\" text-anchor=\"middle\">" << n << "</text>\n";
  // Straight growth in proportion, through the first point, for the eye.
  const double per_net = list.front().seconds / list.front().nets;
  out << "<path d=\"M" << x(list.front().nets) << ' ' << y(list.front().seconds) << "L" << x(list.back().nets) << ' '
      << y(per_net * list.back().nets)
      << "\" stroke=\"#888\" stroke-dasharray=\"5 4\" fill=\"none\"/>\n<path fill=\"none\" stroke=\"#0072b2\" "
         "stroke-width=\"2\" d=\"";
  for (std::size_t i = 0; i < list.size(); ++i) out << (i ? "L" : "M") << x(list[i].nets) << ' ' << y(list[i].seconds);
  out << "\"/>\n";
  for (const Grown& g : list)
    out << "<circle cx=\"" << x(g.nets) << "\" cy=\"" << y(g.seconds) << "\" r=\"4\" fill=\"#0072b2\"/>\n";
  out << "<text x=\"260\" y=\"390\" text-anchor=\"middle\">nets (7.5 candidates each)</text>\n"
      << "<text transform=\"translate(18 200) rotate(-90)\" text-anchor=\"middle\">seconds to the proof, two "
         "threads</text>\n"
      << "<text x=\"" << x(12'000) << "\" y=\"" << y(per_net * 12'000) + 62
      << "\" fill=\"#666\">dashed: in proportion</text>\n</svg>\n";
  if (!out.flush()) throw std::runtime_error(file + ": cannot be written");
}

void growth(const std::string& picture) {
  std::printf("%8s %8s %8s %6s %8s %6s\n", "nets", "columns", "seconds", "MB", "gap %", "proven");
  std::vector<Grown> list;
  for (const int nets : {1000, 2000, 5000, 10'000, 20'000, 50'000, 100'000}) {
    Instance board = dense_board(nets, 1);
    const Measured m = measure(board, 60);
    const Result& r = m.result;
    std::printf("%8d %8zu %8.2f %6.0f %8.4f %6s\n", nets, board.problem.columns(), m.seconds, peak_mb(),
                100 * static_cast<double>(r.best.cost - r.bound) / static_cast<double>(std::max<Cost>(r.best.cost, 1)),
                r.proven ? "yes" : "no");
    std::fflush(stdout);
    list.push_back({nets, board.problem.columns(), std::max(m.seconds, 0.01), peak_mb()});
  }
  if (!picture.empty()) draw(list, picture);
}

}  // namespace

int main(int argc, char** argv) try {
  int cbc_seconds = 60;
  std::vector<std::string> files;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "growth") {
      growth(i + 1 < argc ? argv[i + 1] : "");
      return 0;
    }
    if (word == "-cbc" && i + 1 < argc)
      cbc_seconds = std::stoi(argv[++i]);
    else if (word.starts_with('-'))
      throw std::invalid_argument("usage: bench-planning [-cbc SECONDS] [FILE...] | growth [FILE.svg]");
    else
      files.push_back(word);
  }
  compare(files, cbc_seconds);
} catch (const std::exception& e) {
  std::fprintf(stderr, "%s\n", e.what());
  return 1;
}
