// Damages release files and looks at what the program makes of them: it may refuse, warn, or find nothing changed; it
// must not crash, hang, take all memory, leave half a folder, or plan other plates without a word. usage: torture
// TEASEL WORK-FOLDER CHECKS PLANS SEED JOB.toml... WORK-FOLDER is emptied. Each job's folder of inputs is copied there
// first.
#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>

#include "damage.h"

namespace fs = std::filesystem;
using namespace torture;

namespace {
constexpr int kSeconds = 60;
constexpr rlim_t kMemory = rlim_t{4} << 30;

std::string slurp(const fs::path& p) {
  std::ifstream in(p, std::ios::binary);
  std::ostringstream s;
  s << in.rdbuf();
  return s.str();
}
void spit(const fs::path& p, const std::string& t) {
  std::ofstream(p, std::ios::binary | std::ios::trunc) << t;
}

struct Ended {
  int status = 0, signal = 0;
  bool late = false;
  std::string out;
};
struct Limits {
  rlim_t file_size = RLIM_INFINITY;
  int kill_after_ms = 0;
};

Ended run(const std::vector<std::string>& args, const fs::path& cwd, const Limits& limits = {}) {
  const fs::path log = cwd / ".torture.log";
  std::vector<char*> argv;
  for (const auto& a : args) argv.push_back(const_cast<char*>(a.c_str()));
  argv.push_back(nullptr);
  const pid_t pid = ::fork();
  if (pid == 0) {
    if (::chdir(cwd.c_str()) != 0) ::_exit(126);
    const int fd = ::open(log.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
    ::dup2(fd, 1);
    ::dup2(fd, 2);
    const rlimit memory{kMemory, kMemory}, core{0, 0}, size{limits.file_size, limits.file_size};
    ::setrlimit(RLIMIT_CORE, &core);
    if (!std::getenv("TORTURE_NO_MEMORY_LIMIT")) ::setrlimit(RLIMIT_AS, &memory);
    if (limits.file_size != RLIM_INFINITY) {
      ::signal(SIGXFSZ, SIG_IGN);
      ::setrlimit(RLIMIT_FSIZE, &size);
    }
    ::execv(argv[0], argv.data());
    ::_exit(127);
  }
  Ended e;
  const auto start = std::chrono::steady_clock::now();
  int status = 0;
  while (::waitpid(pid, &status, WNOHANG) == 0) {
    const auto ms =
        std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::steady_clock::now() - start).count();
    if (limits.kill_after_ms && ms >= limits.kill_after_ms) ::kill(pid, SIGKILL);
    if (ms > 1000 * kSeconds) {
      e.late = true;
      ::kill(pid, SIGKILL);
    }
    ::usleep(2000);
  }
  if (WIFSIGNALED(status))
    e.signal = WTERMSIG(status);
  else
    e.status = WEXITSTATUS(status);
  e.out = slurp(log);
  fs::remove(log);
  return e;
}

/// Codes of findings that stop or warn, with how often each is said.
std::map<std::string, int> codes(const std::string& text) {
  std::map<std::string, int> out;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);)
    for (const char* what : {": error ", ": warning "})
      if (const std::size_t i = line.find(what); i != line.npos) {
        const std::size_t from = i + std::strlen(what);
        ++out[line.substr(from, line.find(':', from) - from)];
      }
  return out;
}
/// What the shop would drill: every drill file without its head of comments.
std::map<std::string, std::string> plates(const fs::path& folder) {
  std::map<std::string, std::string> out;
  if (!fs::exists(folder / "plates")) return out;
  for (const auto& e : fs::directory_iterator(folder / "plates"))
    if (e.path().extension() == ".drl") {
      std::istringstream in(slurp(e.path()));
      std::string& text = out[e.path().filename().string()];
      for (std::string line; std::getline(in, line);)
        if (!line.empty() && line[0] != ';') text += line + "\n";
    }
  return out;
}

struct Board {
  fs::path folder;  ///< its own copy
  std::string job;  ///< file name
  std::vector<fs::path> files;
  std::map<std::string, int> said;
  std::map<std::string, std::string> good;
};

struct Tally {
  int runs = 0, refused = 0, warned = 0, same = 0, silent = 0;
  std::map<std::string, int> by;
  std::vector<std::string> slipped;
};
int faults = 0;

void fault(const std::string& what, const Ended& e, const std::string& where) {
  ++faults;
  std::printf("FAULT %s: %s\n%s\n", what.c_str(), where.c_str(), e.out.substr(0, 1500).c_str());
}

/// True if it ended as it may.
bool sound(const Ended& e, const std::string& where) {
  if (e.late) {
    fault("hangs", e, where);
    return false;
  }
  if (e.signal) {
    fault("ended by signal " + std::to_string(e.signal), e, where);
    return false;
  }
  if (e.status > 2 || e.out.find("error internal") != e.out.npos || e.out.find("Sanitizer") != e.out.npos ||
      e.out.find("runtime error") != e.out.npos) {
    fault("status " + std::to_string(e.status), e, where);
    return false;
  }
  if (e.status == 1 && codes(e.out).empty() && e.out.find("error") == e.out.npos) {
    fault("refuses without a reason", e, where);
    return false;
  }
  return true;
}

/// Of files and of pairs of files: what is written where.
struct Case {
  std::string kind, where;
  bool geometric = false;
  std::vector<std::pair<fs::path, std::string>> writes;
};

Case make_case(std::vector<Board>& boards, Board& b, Dice& dice, int n) {
  const fs::path file = b.files[dice() % b.files.size()];
  const std::string name = fs::relative(file, b.folder).string();
  static const std::vector<Damage> list = [] {
    std::vector<Damage> all = damages();
    all.insert(all.end(), release_damages().begin(), release_damages().end());
    return all;
  }();
  const std::size_t kind = static_cast<std::size_t>(n) % (list.size() + 3);
  if (kind < list.size())
    return {list[kind].name, name, list[kind].geometric, {{file, list[kind].apply(slurp(file), dice)}}};
  if (kind == list.size()) {
    // The same format: what a hand mistakes for another.
    std::vector<fs::path> alike;
    for (const auto& f : b.files)
      if (f != file && f.extension() == file.extension()) alike.push_back(f);
    if (alike.empty()) return {"two files swapped", name, true, {}};
    const fs::path other = alike[dice() % alike.size()];
    return {"two files swapped",
            name + " and " + other.filename().string(),
            true,
            {{file, slurp(other)}, {other, slurp(file)}}};
  }
  if (kind == list.size() + 1) {
    std::vector<fs::path> alike;
    for (const auto& o : boards)
      if (&o != &b)
        for (const auto& f : o.files)
          if (f.extension() == file.extension()) alike.push_back(f);
    if (alike.empty()) return {"file of another board", name, true, {}};
    return {"file of another board", name, true, {{file, slurp(alike[dice() % alike.size()])}}};
  }
  return {"empty file", name, true, {{file, ""}}};
}

std::string teasel;
std::map<std::string, Tally> tallies;

void torment(std::vector<Board>& boards, Board& b, Dice& dice, int n, bool whole) {
  const Case c = make_case(boards, b, dice, n);
  if (c.writes.empty()) return;
  std::vector<std::pair<fs::path, std::string>> kept;
  bool changed = false;
  for (const auto& [f, text] : c.writes) {
    kept.emplace_back(f, slurp(f));
    changed = changed || kept.back().second != text;
  }
  if (!changed) return;
  for (const auto& [f, text] : c.writes) spit(f, text);
  const std::string where = c.kind + " in " + b.folder.filename().string() + "/" + b.job + ": " + c.where + " (" +
                            (whole ? "plan " : "check ") + std::to_string(n) + ")";
  fs::remove_all(b.folder / "out");
  const Ended e = whole ? run({teasel, "plan", b.job, "-o", "out", "--no-mechanics", "-v"}, b.folder)
                        : run({teasel, "check", b.job, "-v"}, b.folder);
  Tally& t = tallies[c.kind + (whole ? "" : " (check)")];
  ++t.runs;
  if (sound(e, where)) {
    std::string more;
    for (const auto& [code, count] : codes(e.out))
      if (const auto was = b.said.find(code); was == b.said.end() || was->second < count) {
        more += (more.empty() ? "" : " ") + code;
        ++t.by[code];
      }
    const bool there = fs::exists(b.folder / "out");
    if (e.status == 1) {
      ++t.refused;
      if (there) fault("refused, and wrote", e, where);
    } else if (whole && !fs::exists(b.folder / "out/plan.json"))
      fault("no plan.json", e, where);
    else if (!more.empty())
      ++t.warned;
    else if (!whole || plates(b.folder / "out") == b.good)
      ++t.same;
    else {
      ++t.silent;
      t.slipped.push_back(where);
    }
  }
  for (const auto& [f, text] : kept) spit(f, text);
}

/// Disk full, folder read-only, killed half-way, two at once.
void torment_output(Board& b) {
  const fs::path out = b.folder / "out";
  fs::remove_all(out);
  Ended e = run({teasel, "plan", b.job, "-o", "out", "--no-mechanics", "-q"}, b.folder, {4096, 0});
  if (e.status != 1 || fs::exists(out)) fault("disk full: status " + std::to_string(e.status), e, b.job);
  auto leavings = [&] {
    std::vector<fs::path> list;
    for (const auto& x : fs::directory_iterator(b.folder))
      if (x.path().filename().string().rfind(".out", 0) == 0) list.push_back(x.path());
    return list;
  };
  if (!leavings().empty()) fault("disk full: something is left behind", e, leavings()[0].string());
  if (::getuid() != 0) {
    fs::permissions(b.folder, fs::perms::owner_read | fs::perms::owner_exec);
    e = run({teasel, "plan", b.job, "-o", "out", "--no-mechanics", "-q"}, b.folder);
    fs::permissions(b.folder, fs::perms::owner_all);
    if (e.status != 1) fault("read-only folder: status " + std::to_string(e.status), e, b.job);
  }
  run({teasel, "plan", b.job, "-o", "out", "--no-mechanics", "-q"}, b.folder);
  const std::string before = slurp(out / "plan.json");
  for (int ms = 20; ms < 4000; ms = ms * 5 / 4) {
    e = run({teasel, "plan", b.job, "-o", "out", "--no-mechanics", "-q"}, b.folder, {RLIM_INFINITY, ms});
    if (slurp(out / "plan.json") != before) fault("killed half-way: the old plan is damaged", e, b.job);
    for (const auto& p : leavings()) fs::remove_all(p);
    if (!e.signal) break;
  }
  // Two at once: one folder, whole, of either.
  const pid_t other = ::fork();
  if (other == 0) {
    const fs::path log = b.folder / ".other.log";
    const int fd = ::open(log.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
    ::dup2(fd, 1);
    ::dup2(fd, 2);
    if (::chdir(b.folder.c_str()) == 0)
      ::execl(teasel.c_str(), teasel.c_str(), "plan", b.job.c_str(), "-o", "out", "--no-mechanics", "-q", nullptr);
    ::_exit(127);
  }
  e = run({teasel, "plan", b.job, "-o", "out", "--no-mechanics", "-q"}, b.folder);
  int status = 0;
  ::waitpid(other, &status, 0);
  if (e.status == 1 || slurp(out / "plan.json") != before) fault("two at once", e, b.job);
}

/// A line of a job file with the files that it names beside the job; they are copied to the board's folder.
std::string moved_line(std::string line, const fs::path& job_folder, Board& board) {
  for (std::size_t quote = 0; (quote = line.find('"', quote)) != line.npos;) {
    const std::size_t end = line.find('"', quote + 1);
    if (end == line.npos || line[0] == '#') break;
    const std::string name = line.substr(quote + 1, end - quote - 1);
    const fs::path file = job_folder / name;
    std::error_code error;
    if (name.find('.') == name.npos || !fs::is_regular_file(file, error)) {
      quote = end + 1;
      continue;
    }
    const fs::path to = board.folder / file.filename();
    fs::copy_file(file, to, fs::copy_options::skip_existing);
    if (std::find(board.files.begin(), board.files.end(), to) == board.files.end()) board.files.push_back(to);
    line.replace(quote + 1, name.size(), file.filename().string());
    quote += file.filename().string().size() + 2;
  }
  return line;
}

/// A job with its inputs in a folder of its own. They lie at or below two folders over the job: data/ beside fixtures/.
Board copied_board(const fs::path& job, const fs::path& folder) {
  Board board;
  board.folder = folder;
  board.job = "job.toml";
  fs::create_directories(folder);
  std::string moved;
  std::istringstream in(slurp(job));
  for (std::string line; std::getline(in, line);) moved += moved_line(line, job.parent_path(), board) + "\n";
  if (moved.find("[plan]") == moved.npos) moved += "\n[plan]\nadvice = false\nsimulated_fixtures = 0\n";
  spit(board.folder / board.job, moved);
  return board;
}

/// What the program says and plans of the undamaged files; false: it cannot plan them.
bool plan_as_it_is(Board& board, const char* job) {
  const Ended ended = run({teasel, "plan", board.job, "-o", "out", "--no-mechanics", "-v"}, board.folder);
  if (ended.status == 1 || ended.signal) {
    std::fprintf(stderr, "%s cannot be planned as it is:\n%s\n", job, ended.out.c_str());
    return false;
  }
  board.said = codes(ended.out);
  board.good = plates(board.folder / "out");
  return true;
}

/// The codes that found a damage, most frequent first.
std::string found_by(const Tally& tally) {
  std::vector<std::pair<int, std::string>> by;
  for (const auto& [code, count] : tally.by) by.emplace_back(-count, code);
  std::sort(by.begin(), by.end());
  std::string list;
  for (std::size_t i = 0; i < by.size() && i < 6; ++i)
    list += (i ? ", " : "") + by[i].second + " " + std::to_string(-by[i].first);
  return list;
}

void print_tallies() {
  std::printf("%-34s %5s %8s %7s %5s %7s  found by\n", "damage", "runs", "refused", "warned", "same", "silent");
  int silent = 0;
  for (const auto& [kind, tally] : tallies) {
    std::printf("%-34s %5d %8d %7d %5d %7d  %s\n", kind.c_str(), tally.runs, tally.refused, tally.warned, tally.same,
                tally.silent, found_by(tally).c_str());
    silent += tally.silent;
  }
  for (const auto& [kind, tally] : tallies)
    for (const auto& where : tally.slipped) std::printf("SILENT %s\n", where.c_str());
  std::printf("%d faults, %d plans with other plates and no word\n", faults, silent);
}
}  // namespace

int main(int argc, char** argv) {
  if (argc < 7) {
    std::fprintf(stderr, "usage: torture TEASEL WORK-FOLDER CHECKS PLANS SEED JOB.toml...\n");
    return 2;
  }
  teasel = fs::absolute(argv[1]).string();
  const fs::path work = fs::absolute(argv[2]);
  const int checks = std::atoi(argv[3]), whole = std::atoi(argv[4]);
  fs::remove_all(work);
  std::vector<Board> boards;
  for (int i = 6; i < argc; ++i) {
    boards.push_back(copied_board(fs::absolute(argv[i]), work / std::to_string(i - 6)));
    if (!plan_as_it_is(boards.back(), argv[i])) return 2;
  }
  Dice dice(static_cast<unsigned>(std::atoi(argv[5])));
  auto torment_all = [&](int times, bool plan) {
    for (int i = 0; i < times; ++i)
      torment(boards, boards[static_cast<std::size_t>(i) % boards.size()], dice, i / static_cast<int>(boards.size()),
              plan);
  };
  torment_all(checks, false);
  torment_all(whole, true);
  for (Board& board : boards) torment_output(board);
  print_tallies();
  return faults ? 1 : 0;
}
