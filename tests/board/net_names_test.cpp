// Net names from the fullest source: which name of the layers belongs to which of the netlist is told by shared pads.
#include <algorithm>
#include <catch2/catch.hpp>

#include "../../src/board/build.h"

using namespace teasel;

namespace {
struct Pad {
  std::string listed, drawn;  ///< its net by the netlist, and by the layer; empty: the layer does not say
};

/// Surface pads 2 mm apart, of one part or of several, named in a netlist and in a layer.
struct Named {
  formats::GerberFile layer;
  Sources sources;
  Board board;
  Diagnostics diagnostics;

  explicit Named(const std::vector<Pad>& pads, const formats::CadBoard* cad = nullptr) {
    std::string gerber = "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1*%\nD10*\n";
    formats::Netlist netlist;
    netlist.name = "board.ipc";
    for (std::size_t i = 0; i < pads.size(); ++i) {
      gerber += pads[i].drawn.empty() ? "%TD*%\n" : "%TO.N," + pads[i].drawn + "*%\n";
      gerber += "X" + std::to_string(2000000 * i) + "Y0D03*\n";
      formats::NetlistRecord record;
      record.kind = formats::NetlistRecord::Kind::surface;
      record.net = pads[i].listed;
      record.component = "U1";
      record.pin = std::to_string(i + 1);
      record.access = 1;
      record.at = {2.0 * static_cast<double>(i), 0};
      record.width = record.height = Mm{1};
      netlist.records.push_back(record);
    }
    netlist.perhaps_cut = 1;
    layer = formats::read_gerber(gerber + "M02*\n", "top.gbr", diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    if (cad) sources.cad = *cad;
    board.from_netlist = netlist_shift({});
    add_netlist(board, netlist, diagnostics);
    sources.netlist = netlist;
    sources.netlist_file = netlist.name;
    Layers layers;
    layers.copper[Side::top].emplace_back(layer, false);
    name_nets(board, layers, Job{}, sources, diagnostics);
  }
  [[nodiscard]] const Net& net_of(std::size_t pad) const { return board.nets[board.features[FeatureId{pad}].net]; }
  [[nodiscard]] const Finding* finding(const std::string& code) const {
    const auto& all = diagnostics.all();
    const auto it =
        std::find_if(all.begin(), all.end(), [&](const Finding& candidate) { return candidate.code == code; });
    return it == all.end() ? nullptr : &*it;
  }
};
}  // namespace

TEST_CASE("a cut net name is spelled out by the pads that it shares with a layer; both spellings fit (by hand)") {
  const Named named(
      std::vector<Pad>{{"ET-(D15-PADGA)", "Net-(D15-PadGA)"}, {"ET-(D15-PADGA)", ""}, {"USB_DP", "usb_dp"}});
  CHECK(named.net_of(0).name == "Net-(D15-PadGA)");
  CHECK(named.net_of(1).name == "Net-(D15-PadGA)");
  CHECK(named.net_of(0).name.other_spelling() == "ET-(D15-PADGA)");
  CHECK(glob_match("ET-(D15*", named.net_of(0).name));
  CHECK(glob_match("net-(d15-padga)", named.net_of(0).name));
  CHECK_FALSE(glob_match("ET-(D16*", named.net_of(0).name));
  CHECK(named.net_of(2).name == "usb_dp");
  CHECK(named.board.names_perhaps_cut == 0);
  CHECK(named.finding("netlist-names-spelled-out"));
}

TEST_CASE("a cut name whose pads carry two names is left as it is, and both are told (by hand)") {
  const Named named(std::vector<Pad>{{"ETHERNET_TX_DA", "ETHERNET_TX_DATA0"}, {"ETHERNET_TX_DA", "ETHERNET_TX_DATA1"}});
  CHECK(named.net_of(0).name == "ETHERNET_TX_DA");
  CHECK(named.net_of(0).name.other_spelling().empty());
  const Finding* finding = named.finding("netlist-names-contradict");
  REQUIRE(finding);
  CHECK(finding->severity == Severity::warning);
  CHECK(finding->found.find("ETHERNET_TX_DATA0 at U1-1") != std::string::npos);
  CHECK(finding->found.find("ETHERNET_TX_DATA1 at U1-2") != std::string::npos);
}

TEST_CASE("two nets of the netlist under one name of the layer keep their own names (by hand)") {
  const Named named(std::vector<Pad>{{"A", "LONG_NAME"}, {"B", "LONG_NAME"}});
  CHECK(named.net_of(0).name == "A");
  CHECK(named.net_of(1).name == "B");
  CHECK(named.finding("netlist-names-contradict"));
}

TEST_CASE("an uncut name of the netlist stays, and that of the layer stands for it as well (by hand)") {
  const Named named(std::vector<Pad>{{"CLK", "NET_00017"}, {"RESET", "RESET"}});
  CHECK(named.net_of(0).name == "CLK");
  CHECK(named.net_of(0).name.is_meant_by("NET_00017"));
  CHECK(named.net_of(1).name == "RESET");
  CHECK(named.net_of(1).name.other_spelling().empty());
}

TEST_CASE("a full name that another net already has is not given twice (by hand)") {
  const Named named(std::vector<Pad>{{"CONTROL_SIGNAL", "CONTROL_SIGNAL_A"}, {"CONTROL_SIGNAL_A", ""}});
  CHECK(named.net_of(0).name == "CONTROL_SIGNAL");
  CHECK(named.net_of(1).name == "CONTROL_SIGNAL_A");
}

TEST_CASE("a cut name of a pin that nobody connected is no net (by hand)") {
  const Named named(std::vector<Pad>{{"(U1-PIO_12-PAD3", "unconnected-(U1-PIO_12-Pad3)"}});
  CHECK(named.net_of(0).unconnected);
}

TEST_CASE("where no layer names a net, the lands of an IPC-2581 file do (by hand)") {
  formats::CadBoard cad;
  formats::NetlistRecord land;
  land.net = "ETHERNET_TX_DATA0";
  land.access = 1;
  cad.netlist.records.push_back(land);
  const Named named(std::vector<Pad>{{"ETHERNET_TX_DA", ""}}, &cad);
  CHECK(named.net_of(0).name == "ETHERNET_TX_DATA0");
}

TEST_CASE("on a panel both spellings go with every board (by hand)") {
  const NetName name = NetName::in_panel("P2", NetName("Net-(D15-PadGA)").also_spelled("ET-(D15-PADGA)"));
  CHECK(name.text() == "P2:Net-(D15-PadGA)");
  CHECK(glob_match("ET-(D15*", name));
  CHECK(glob_match("P2:ET-*", name));
  CHECK_FALSE(glob_match("P1:ET-*", name));
  CHECK(name.is_meant_by("P2:ET-(D15-PADGA)"));
  CHECK(name.is_meant_by("ET-(D15-PADGA)"));
  CHECK_FALSE(name.is_meant_by("P1:ET-(D15-PADGA)"));
}

TEST_CASE("two names exchanged, or all of them moved on by one, are an error that names the pads (by hand)") {
  const Named two(std::vector<Pad>{{"GND", "+5V"}, {"+5V", "GND"}, {"CLK", "CLK"}});
  const Finding* finding = two.finding("netlist-names-exchanged");
  REQUIRE(finding);
  CHECK(finding->severity == Severity::error);
  CHECK(finding->found.find("is GND in the netlist and +5V in the other file") != std::string::npos);
  CHECK(Named(std::vector<Pad>{{"A", "B"}, {"B", "C"}, {"C", "A"}}).finding("netlist-names-exchanged"));
  CHECK_FALSE(Named(std::vector<Pad>{{"GND", "GND"}, {"CLK", "clk"}}).finding("netlist-names-exchanged"));
}

TEST_CASE("a name that another file gives the same pads is confirmed, and one of a single file is not (by hand)") {
  const Named named(std::vector<Pad>{{"GND", "GND"}, {"+5V", ""}, {"ET-(D15-PADGA)", "Net-(D15-PadGA)"}});
  CHECK(named.net_of(0).name_confirmed);
  CHECK_FALSE(named.net_of(1).name_confirmed);
  CHECK(named.net_of(2).name_confirmed);
}
