// Adapters, pin by pin: against the published pinouts, and against the wiring list.
#include <catch2/catch.hpp>
#include <map>
#include <set>
#include <vector>

#include "csv_rows.h"

using namespace test;

namespace {
std::vector<std::string> words(const std::string& text) {
  std::istringstream in(text);
  std::vector<std::string> out;
  for (std::string word; in >> word;) out.push_back(word);
  return out;
}
}  // namespace

TEST_CASE(
    "debug headers have the published pinouts, and every pin leads where wiring.csv leads it (Arm, Cortex-M Debug "
    "Connectors; the wiring list)") {
  Folder folder;
  REQUIRE(run(teasel() + "plan '" + source() + "/fixtures/jobs/buoy-node.toml' -o out", folder.path).status == 0);
  const std::vector<Row> adapters = rows_of(folder.path / "out/adapters.csv");
  std::map<std::string, Row> wires;
  for (const Row& row : rows_of(folder.path / "out/wiring.csv")) wires[row.at("wire")] = row;
  // Pin 7 of the small header is the key.
  const std::map<std::string, std::map<std::string, std::string>> published = {
      {"debug header, 10 pins, 1.27 mm",
       {{"1", "VREF"},
        {"2", "TMS"},
        {"3", "GND"},
        {"4", "TCK"},
        {"5", "GND"},
        {"6", "TDO"},
        {"7", ""},
        {"8", "TDI"},
        {"9", "GND"},
        {"10", "RESET"}}},
      {"debug header, 20 pins, 2.54 mm",
       {{"1", "VREF"},   {"2", ""},     {"3", "TRST"}, {"4", "GND"},  {"5", "TDI"},  {"6", "GND"},  {"7", "TMS"},
        {"8", "GND"},    {"9", "TCK"},  {"10", "GND"}, {"11", ""},    {"12", "GND"}, {"13", "TDO"}, {"14", "GND"},
        {"15", "RESET"}, {"16", "GND"}, {"17", ""},    {"18", "GND"}, {"19", ""},    {"20", "GND"}}}};
  std::map<std::pair<std::string, std::string>, std::map<std::string, std::set<std::string>>> lines_of_net;
  std::size_t pinned = 0, led = 0;
  for (const Row& row : adapters) {
    INFO(row.at("interface") << " " << row.at("connector") << " pin " << row.at("pin"));
    if (const auto it = published.find(row.at("connector"));
        it != published.end() && row.at("interface").rfind("1149.1", 0) == 0) {
      ++pinned;
      CHECK(row.at("line") == it->second.at(row.at("pin")));
    }
    if (!row.at("net").empty())
      lines_of_net[{row.at("interface"), row.at("connector")}][row.at("net")].insert(row.at("line"));
    const std::vector<std::string> numbers = words(row.at("wires")), pins = words(row.at("interface_pins"));
    REQUIRE(numbers.size() == pins.size());
    CHECK((row.at("state") == "probed") == !numbers.empty());
    for (std::size_t i = 0; i < numbers.size(); ++i) {
      ++led;
      REQUIRE(wires.count(numbers[i]) == 1);
      CHECK(wires.at(numbers[i]).at("net") == row.at("net"));
      CHECK(wires.at(numbers[i]).at("interface_pin") == pins[i]);
    }
  }
  CHECK(pinned >= 10);
  CHECK(led > 20);
  // One net is one line of an adapter.
  for (const auto& [adapter, nets] : lines_of_net)
    for (const auto& [net, lines] : nets) CHECK(lines.size() == 1);
  const std::string sheet = slurp(folder.path / "out/adapters.html");
  CHECK(sheet.find("<svg") != std::string::npos);
  CHECK(sheet.find("unpowered") != std::string::npos);
}
