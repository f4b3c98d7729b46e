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
std::string slurp(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}
std::vector<std::string> fields(const std::string& line) {
  std::vector<std::string> out(1);
  bool quoted = false;
  for (const char letter : line) {
    if (letter == '"')
      quoted = !quoted;
    else if (letter == ',' && !quoted)
      out.emplace_back();
    else
      out.back() += letter;
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
  Diagnostics diagnostics;
  Sources sources;
  Job job;
  std::string bytes = slurp(folder / it->second);
  if (it->second.find(".zst") != std::string::npos) {
    std::string open(200'000'000, '\0');
    const std::size_t count = ZSTD_decompress(open.data(), open.size(), bytes.data(), bytes.size());
    if (ZSTD_isError(count)) return std::nullopt;
    open.resize(count);
    bytes = std::move(open);
  }
  if (it->second.find(".xml") != std::string::npos) {
    job.inputs.cad_file = "board.xml";
    sources.cad = formats::read_ipc2581(bytes, job.inputs.cad_file, {}, diagnostics);
    unfold(job, sources, diagnostics);
  } else {
    sources.netlist = formats::read_netlist(bytes, "netlist", std::nullopt, diagnostics);
  }
  if (!sources.netlist) return std::nullopt;
  Board board;
  add_netlist(board, *sources.netlist, diagnostics);
  return board;
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
bool of_machine(const std::string& name) {
  static const std::vector<std::string> globs = {"N#*",       "m####",   "_d_*",    "UN#*P*", "Unused_*",
                                                 "BG#*",      "NET-(*",  "*-PAD*)", "TG##",   "*CTED-(*",
                                                 "UNNAMED_*", "*TED-(*", "MTG*"};
  return std::any_of(globs.begin(), globs.end(), [&](const std::string& pattern) { return glob_match(pattern, name); });
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
  Diagnostics diagnostics;
  const InterfaceTable table = read_interfaces(*shipped("interfaces", "standard"), "interfaces", diagnostics);
  std::map<std::string, std::map<std::string, std::pair<std::string, std::string>>> truth;  // board, net, kind and line
  std::istringstream lines(slurp(fs::path(TEASEL_SOURCE) / "tests/interfaces/truth.csv"));
  std::string line;
  std::getline(lines, line);
  while (std::getline(lines, line)) {
    const auto cells = fields(line);
    REQUIRE(cells.size() == 4);
    truth[cells[0]][cells[3]] = {cells[1], cells[2]};
  }
  std::map<std::string, Score> by_kind;
  std::map<std::string, Score> all_lines;
  const bool show = std::getenv("TEASEL_SHOW") != nullptr;
  int seen = 0;
  for (const auto& [name, rows] : truth) {
    const auto board = nets_of(boards, name);
    if (!board) continue;
    ++seen;
    const InterfaceSet set = recognise_interfaces(*board, {}, table, diagnostics);
    for (const NetId id : board->nets.ids()) {
      const Net& net = board->nets[id];
      const InterfaceNet* part = set.part_of(id);
      if (net.unconnected) continue;
      const std::string said = part && !part->behind ? table.kinds[set.kind_of(id)].name : "";
      const auto it = rows.find(net.name);
      const std::string is = it == rows.end() ? "" : it->second.first;
      if (is == "doubt" || (is.empty() && of_machine(net.name))) continue;
      if (said.empty() && is.empty()) continue;
      if (said == is) {
        ++by_kind[is].both;
        const std::string said_line = table.kinds[set.kind_of(id)].lines[part->line].name;
        Score& score = all_lines[is];
        if (said_line == it->second.second)
          ++score.both;
        else {
          ++score.only_said;
          score.wrong.push_back(name + " " + net.name + ": " + it->second.second + " said " + said_line);
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
  for (const auto& [kind, score] : by_kind) {
    if (show) {
      std::cout << kind << ": both " << score.both << ", precision " << score.precision() << ", recall "
                << score.recall() << ", lines right " << all_lines[kind].both << "\n";
      for (const auto& wrong : score.wrong) std::cout << "    " << wrong << "\n";
      for (const auto& wrong : all_lines[kind].wrong) std::cout << "    line: " << wrong << "\n";
    }
    INFO(kind << ": precision " << score.precision() << ", recall " << score.recall());
    CHECK(score.precision() >= 0.95);
    CHECK(score.recall() >= 0.95);
    CHECK(all_lines[kind].precision() >= 0.95);
  }
}
