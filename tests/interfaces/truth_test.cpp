// Recognition on real boards against a table that was written from their netlists, by reading, before the recogniser
// saw them.
#include <zstd.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <iostream>
#include <map>
#include <set>
#include <sstream>

#include "../../src/board/build.h"
#include "../real_boards.h"
#include "teasel/interfaces.h"

using namespace teasel;
namespace fs = std::filesystem;

namespace {
std::string slurp(const fs::path& p) {
  std::ifstream in(p, std::ios::binary);
  std::ostringstream s;
  s << in.rdbuf();
  return s.str();
}
std::vector<std::string> fields(const std::string& line) {
  std::vector<std::string> out(1);
  bool quoted = false;
  for (const char c : line) {
    if (c == '"')
      quoted = !quoted;
    else if (c == ',' && !quoted)
      out.emplace_back();
    else
      out.back() += c;
  }
  return out;
}

/// Nets and components of a board, by its netlist alone.
std::optional<Board> nets_of(const fs::path& folder, const std::string& name) {
  static const std::map<std::string, std::string> files = {
      {"oc-gbc", "oc-gbc/OpenCellular_Connect-1_GBC_Life-3.ipc"},
      {"oc-sdr", "oc-sdr/OC_CONNECT_1_SDR_LIFE-3.ipc"},
      {"oc-breakout", "oc-breakout/OC_CONNECT-1_BREAKOUT_LIFE-3.ipc"},
      {"oc-power-unit", "oc-power-unit/IPC NETLIST.IPC"},
      {"minnowboard-v1", "minnowboard-v1/Minnow_RevA_IPC356A.ipc"},
      {"buddy-board", "buddy-board/BUDDY_Board_Rev1.ipc"},
      {"rpga-feather", "rpga-feather/netlist.ipc"},
      {"porcupine", "porcupine/porcupine.d356"},
      {"kicad-pic-programmer", "kicad-pic-programmer/pic_programmer.d356"},
      {"testcase1", "ipc2581-samples/testcase1-revc-full.xml.zst"},
      {"testcase3", "ipc2581-samples/testcase3-revc-full.xml"},
      {"testcase9", "ipc2581-samples/testcase9-revc-full.xml"}};
  const auto it = files.find(name);
  if (it == files.end() || !fs::exists(folder / it->second)) return std::nullopt;
  Diagnostics d;
  Sources s;
  Job job;
  std::string bytes = slurp(folder / it->second);
  if (it->second.find(".zst") != std::string::npos) {
    std::string open(200'000'000, '\0');
    const std::size_t n = ZSTD_decompress(open.data(), open.size(), bytes.data(), bytes.size());
    if (ZSTD_isError(n)) return std::nullopt;
    open.resize(n);
    bytes = std::move(open);
  }
  if (it->second.find(".xml") != std::string::npos) {
    job.cad_file = "board.xml";
    s.cad = formats::read_ipc2581(bytes, job.cad_file, {}, d);
    unfold(job, s, d);
  } else {
    s.netlist = formats::read_netlist(bytes, "netlist", std::nullopt, d);
  }
  if (!s.netlist) return std::nullopt;
  Board b;
  add_netlist(b, *s.netlist, {}, d);
  return b;
}

struct Score {
  int both = 0, only_said = 0, only_true = 0;
  std::vector<std::string> wrong;
  [[nodiscard]] double precision() const {
    return both + only_said ? static_cast<double>(both) / (both + only_said) : 1;
  }
  [[nodiscard]] double recall() const { return both + only_true ? static_cast<double>(both) / (both + only_true) : 1; }
};
/// The name is a machine's: N123, m0012, UN23CAP1PB0, Unused_0000: no reading can tell what it is.
bool of_machine(const std::string& n) {
  static const std::vector<std::string> globs = {"N#*",       "m####",   "_d_*",    "UN#*P*", "Unused_*",
                                                 "BG#*",      "NET-(*",  "*-PAD*)", "TG##",   "*CTED-(*",
                                                 "UNNAMED_*", "*TED-(*", "MTG*"};
  return std::any_of(globs.begin(), globs.end(), [&](const std::string& g) { return glob_match(g, n); });
}
}  // namespace

TEST_CASE(
    "recognition on real boards is right by kind and by line (a table written from their netlists in a "
    "separate reading)",
    "[boards]") {
  const fs::path boards = test::boards();
  if (boards.empty()) {
    std::cout << "skipped: no real boards\n";
    return;
  }
  Diagnostics d;
  const InterfaceTable table = read_interfaces(*shipped("interfaces", "standard"), "interfaces", d);
  std::map<std::string, std::map<std::string, std::pair<std::string, std::string>>> truth;  // board, net, kind and line
  std::istringstream lines(slurp(fs::path(TEASEL_SOURCE) / "tests/interfaces/truth.csv"));
  std::string line;
  std::getline(lines, line);
  while (std::getline(lines, line)) {
    const auto f = fields(line);
    REQUIRE(f.size() == 4);
    truth[f[0]][f[3]] = {f[1], f[2]};
  }
  std::map<std::string, Score> by_kind;
  std::map<std::string, Score> all_lines;
  const bool show = std::getenv("TEASEL_SHOW") != nullptr;
  int seen = 0;
  for (const auto& [name, rows] : truth) {
    const auto b = nets_of(boards, name);
    if (!b) continue;
    ++seen;
    const InterfaceSet set = recognise_interfaces(*b, {}, table, d);
    for (std::size_t i = 0; i < b->nets.size(); ++i) {
      const Net& net = b->nets[i];
      const InterfaceNet* part = set.part_of(static_cast<int>(i));
      if (net.unconnected) continue;
      const std::string said =
          part && !part->behind
              ? table.kinds[static_cast<std::size_t>(set.found[static_cast<std::size_t>(set.of_net[i])].kind)].name
              : "";
      const auto it = rows.find(net.name);
      const std::string is = it == rows.end() ? "" : it->second.first;
      if (is == "doubt" || (is.empty() && of_machine(net.name))) continue;
      if (said.empty() && is.empty()) continue;
      if (said == is) {
        ++by_kind[is].both;
        const std::string said_line =
            table.kinds[static_cast<std::size_t>(set.found[static_cast<std::size_t>(set.of_net[i])].kind)]
                .lines[static_cast<std::size_t>(part->line)]
                .name;
        Score& l = all_lines[is];
        if (said_line == it->second.second)
          ++l.both;
        else {
          ++l.only_said;
          l.wrong.push_back(name + " " + net.name + ": " + it->second.second + " said " + said_line);
        }
        continue;
      }
      if (!said.empty()) {
        ++by_kind[said].only_said;
        by_kind[said].wrong.push_back(name + " " + net.name + ": said, but is " + (is.empty() ? "nothing" : is));
      }
      if (!is.empty()) {
        ++by_kind[is].only_true;
        by_kind[is].wrong.push_back(name + " " + net.name + ": missed" + (said.empty() ? "" : ", said " + said));
      }
    }
  }
  REQUIRE(seen >= 4);
  for (const auto& [kind, s] : by_kind) {
    if (show) {
      std::cout << kind << ": both " << s.both << ", precision " << s.precision() << ", recall " << s.recall()
                << ", lines right " << all_lines[kind].both << "\n";
      for (const auto& w : s.wrong) std::cout << "    " << w << "\n";
      for (const auto& w : all_lines[kind].wrong) std::cout << "    line: " << w << "\n";
    }
    INFO(kind << ": precision " << s.precision() << ", recall " << s.recall());
    CHECK(s.precision() >= 0.95);
    CHECK(s.recall() >= 0.95);
    CHECK(all_lines[kind].precision() >= 0.95);
  }
}
