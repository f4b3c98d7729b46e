// Planning made boards, and problems from files, next to CBC on the same problem in the same run.
//   bench-planning [-cbc SECONDS] [FILE...]     0: without CBC
//   bench-planning growth [FILE.svg]            time and memory by size of board, as a table and a plot
// A file holds "N M", then N lines "wanted miss", then M lines "want pad side kind x_um y_um price". Kinds 0 to 3 need
// 2540, 1905, 1270 and 1000 um of room.
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
  for (std::size_t row = 0; row < wants; ++row) {
    std::int64_t wanted = 0;
    Cost miss = 0;
    if (!(in >> wanted >> miss))
      throw std::runtime_error(path + ": want " + std::to_string(row) + " is not as expected");
    made.want(wanted, miss);
  }
  for (std::size_t j = 0; j < columns; ++j) {
    int want = 0, side = 0, kind = 0;
    // The pad does not matter: columns on one pad and side are too near to one another anyway.
    std::int64_t pad = 0, x = 0, y = 0;
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
      for (const int other : near)
        if (std::all_of(clique.begin(), clique.end(),
                        [&](int b) { return b == a || (b != other && place(b, other) >= 0); }))
          clique.push_back(other);
      for (const int b : clique) {
        cliques.add(b);
        for (const int other : clique)
          if (b != other) held[static_cast<std::size_t>(place(b, other))] = 1;
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

/// The problem as rows and columns of a mixed-integer program. Columns are those of the problem, then what each want
/// lacks.
struct Program {
  static constexpr double kNone = std::numeric_limits<double>::max();
  std::vector<std::vector<std::pair<int, double>>> entries;  ///< by column: row, factor
  std::vector<double> price, most, row_least, row_most;
  [[nodiscard]] int next_row() const { return static_cast<int>(row_least.size()); }
  void add_row(double least, double largest) {
    row_least.push_back(least);
    row_most.push_back(largest);
  }
  /// A column for what the next row lacks.
  void add_lack(Cost each) {
    price.push_back(static_cast<double>(each));
    most.push_back(kNone);
    entries.push_back({{next_row(), 1.0}});
  }
};

Program program_of(const Problem& problem) {
  Program program;
  program.entries.resize(problem.columns());
  for (const Cost each : problem.price) {
    program.price.push_back(static_cast<double>(each));
    program.most.push_back(1);
  }
  for (const Want& want : problem.wants) {
    program.add_lack(want.miss);
    program.add_row(static_cast<double>(want.wanted), Program::kNone);
  }
  std::vector<int> row_of_none(problem.wants.size(), -1);  // by want: the row that asks for any cover at all
  for (std::size_t i = 0; i < problem.wants.size(); ++i) {
    if (problem.wants[i].last == 0) continue;
    row_of_none[i] = program.next_row();
    program.add_lack(problem.wants[i].last);
    program.add_row(1, Program::kNone);
  }
  for (std::size_t j = 0; j < problem.columns(); ++j)
    for (const Part& part : problem.covers[j]) {
      program.entries[j].emplace_back(part.row, static_cast<double>(part.amount));
      const int also = row_of_none[static_cast<std::size_t>(part.row)];
      if (also >= 0) program.entries[j].emplace_back(also, static_cast<double>(part.amount));
    }
  const Lists<int> cliques = cover_by_cliques(problem.conflicts);
  for (std::size_t i = 0; i < cliques.size(); ++i) {
    for (const int j : cliques[i]) program.entries[static_cast<std::size_t>(j)].emplace_back(program.next_row(), 1.0);
    program.add_row(-Program::kNone, 1);
  }
  return program;
}

/// The program is handed over whole, by columns: adding it row by row takes long.
void load(Cbc_Model* model, const Program& program) {
  std::vector<CoinBigIndex> start{0};
  std::vector<int> index;
  std::vector<double> value;
  for (const auto& column : program.entries) {
    for (const auto& [row, factor] : column) {
      index.push_back(row);
      value.push_back(factor);
    }
    start.push_back(static_cast<CoinBigIndex>(index.size()));
  }
  const std::vector<double> least(program.price.size(), 0.0);
  Cbc_loadProblem(model, static_cast<int>(program.price.size()), program.next_row(), start.data(), index.data(),
                  value.data(), least.data(), program.most.data(), program.price.data(), program.row_least.data(),
                  program.row_most.data());
}

Other by_cbc(const Problem& problem, int seconds) {
  const std::unique_ptr<Cbc_Model, void (*)(Cbc_Model*)> made(Cbc_newModel(), Cbc_deleteModel);
  Cbc_Model* const model = made.get();
  load(model, program_of(problem));
  for (int j = 0; j < static_cast<int>(problem.columns()); ++j) Cbc_setInteger(model, j);
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
    for (int j = 0; j < static_cast<int>(problem.columns()); ++j)
      if (x[j] > 0.5) chosen.push_back(j);
    // Stopped by its time limit it may hold a relaxed solution, which is no choice.
    if (feasible(problem, chosen)) other.cost = cost_of(problem, chosen);
  }
  return other;
}

struct Measured {
  Result result;
  double seconds = 0;
};

/// Conflicts and solution: what a user waits for.
Measured measure(Instance& instance, double deadline) {
  Measured measured;
  const auto begin = Clock::now();
  instance.link();
  Limits limits;
  limits.seconds = deadline;
  measured.result = solve(instance.problem, limits);
  measured.seconds = since(begin);
  return measured;
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
  const Problem& problem = instance.problem;
  const Result& result = ours.result;
  if (!feasible(problem, result.best.columns) || cost_of(problem, result.best.columns) != result.best.cost)
    throw std::runtime_error(name + ": false result");
  const auto cost = static_cast<double>(result.best.cost);
  const double gap = result.best.cost == 0 ? 0 : 100 * static_cast<double>(result.best.cost - result.bound) / cost;
  const double over =
      result.best.cost == 0 ? 0 : 100 * (static_cast<double>(cost_of(problem, greedy(problem))) / cost - 1);
  constexpr std::size_t most_for_cbc = 30'000;
  Other cbc;
  if (cbc_seconds > 0 && problem.wants.size() <= most_for_cbc) cbc = by_cbc(problem, cbc_seconds);
  std::printf("%-22s %7zu %8zu %9zu %8.2f %10lld %10lld %8s %6s %6.0f %9s %10s %7s %8s\n", name.c_str(),
              problem.wants.size(), problem.columns(), problem.conflicts.items.size() / 2, ours.seconds,
              static_cast<long long>(result.best.cost), static_cast<long long>(result.bound),
              number(gap, "%.4f").c_str(), result.proven ? "yes" : "no", memory,
              cbc.ran ? (number(cbc.seconds) + (cbc.proven ? "" : "+")).c_str() : "-",
              cbc.cost >= 0 ? std::to_string(cbc.cost).c_str() : "-",
              cbc.ran ? number(cbc.seconds / std::max(ours.seconds, 1e-6), "%.1f").c_str() : "-", number(over).c_str());
  std::fflush(stdout);
  if ((cbc.proven && cbc.cost >= 0 && result.proven && cbc.cost != result.best.cost) ||
      (cbc.cost >= 0 && cbc.cost < result.bound))
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
  for (const double seconds : {0.01, 0.1, 1.0, 10.0})
    out << "<path d=\"M" << kLeft << ' ' << y(seconds) << "h" << 2.2 * kDecade << "\" stroke=\"#ccc\"/><text x=\""
        << kLeft - 8 << "\" y=\"" << y(seconds) + 4 << "\" text-anchor=\"end\">" << seconds << "</text>\n";
  for (const int nets : {1000, 10'000, 100'000})
    out << "<path d=\"M" << x(nets) << ' ' << kTop << "v" << 3 * kHeight << "\" stroke=\"#ccc\"/><text x=\"" << x(nets)
        << "\" y=\"" << kTop + 3 * kHeight + 18 << "\" text-anchor=\"middle\">" << nets << "</text>\n";
  // Straight growth in proportion, through the first point, for the eye.
  const double per_net = list.front().seconds / list.front().nets;
  out << "<path d=\"M" << x(list.front().nets) << ' ' << y(list.front().seconds) << "L" << x(list.back().nets) << ' '
      << y(per_net * list.back().nets)
      << "\" stroke=\"#888\" stroke-dasharray=\"5 4\" fill=\"none\"/>\n<path fill=\"none\" stroke=\"#0072b2\" "
         "stroke-width=\"2\" d=\"";
  for (std::size_t i = 0; i < list.size(); ++i) out << (i ? "L" : "M") << x(list[i].nets) << ' ' << y(list[i].seconds);
  out << "\"/>\n";
  for (const Grown& grown : list)
    out << "<circle cx=\"" << x(grown.nets) << "\" cy=\"" << y(grown.seconds) << "\" r=\"4\" fill=\"#0072b2\"/>\n";
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
    const Measured measured = measure(board, 60);
    const Result& result = measured.result;
    std::printf("%8d %8zu %8.2f %6.0f %8.4f %6s\n", nets, board.problem.columns(), measured.seconds, peak_mb(),
                100 * static_cast<double>(result.best.cost - result.bound) /
                    static_cast<double>(std::max<Cost>(result.best.cost, 1)),
                result.proven ? "yes" : "no");
    std::fflush(stdout);
    list.push_back({nets, board.problem.columns(), std::max(measured.seconds, 0.01), peak_mb()});
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
} catch (const std::exception& error) {
  std::fprintf(stderr, "%s\n", error.what());
  return 1;
}
