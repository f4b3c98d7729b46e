// Recognition from names, pins and what hangs on nets. Line names of 1149.1: IEEE Std 1149.1; of the others, common
// practice.
#include <catch2/catch.hpp>

#include "nets.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
NetBoard rails() {
  NetBoard x;
  x.net("GND", {"U1.1", "C1.2", "C2.2", "C3.2", "C4.2", "C5.2", "J1.1"})
      .net("3V3", {"U1.2", "C1.1", "C2.1", "C3.1", "C4.1", "J1.2"});
  return x;
}
}  // namespace

TEST_CASE("names in parts, volts in names, ohms in values (RKM code of IEC 60062 and common practice, no source)") {
  CHECK(name_parts("/cpu/SPI0_CS#") == std::vector<std::string>{"SPI", "0", "CS", "#"});
  CHECK(name_parts("TCK/SWCLK") == std::vector<std::string>{"TCK", "SWCLK"});
  const std::pair<const char*, double> volts[] = {
      {"3V3", 3.3}, {"+12V", 12}, {"P3V3", 3.3},     {"V1P8_A", 1.8},   {"1.8VD_FPGA", 1.8}, {"3P3V", 3.3},
      {"-5V", -5},  {"V48P", 48}, {"SYS_5P0V", 5.0}, {"12V0_IN", 12.0}, {"400V_BUS", 400}};
  for (const auto& [name, v] : volts) {
    INFO(name);
    REQUIRE(volts_in(name));
    CHECK(volts_in(name)->v == Approx(v));
  }
  for (const char* none : {"GPIO5", "VCC", "P3", "D3V", "I2C1_SCL", "LED12", "V"}) CHECK_FALSE(volts_in(none));
  const std::pair<const char*, double> ohms[] = {{"33R", 33},   {"0", 0},         {"4k7", 4700}, {"10k", 10000},
                                                 {"2R2", 2.2},  {"0.1 ohm", 0.1}, {"1M", 1e6},   {"RES 22 ohm 1%", 22},
                                                 {"4.7K", 4700}};
  for (const auto& [text, v] : ohms) {
    INFO(text);
    REQUIRE(ohms_in(text));
    CHECK(ohms_in(text)->v == Approx(v));
  }
  for (const char* none : {"100n", "BAT54", "10uF", "", "DNP"}) CHECK_FALSE(ohms_in(none));
}

TEST_CASE(
    "a whole port is strong and complete; one without a line names it; prefixes tell instances apart (line "
    "names of IEEE Std 1149.1)") {
  NetBoard x = rails();
  for (const char* name :
       {"CPU_TCK", "CPU_TMS", "CPU_TDI", "CPU_TDO", "CPU_TRST_N", "FPGA_TCK", "FPGA_TMS", "FPGA_TDI"})
    x.net(name, {"U1." + std::string(name), "J1." + std::string(name)});
  const InterfaceSet set = x.recognised();
  const FoundInterface& cpu = x.of(set, "CPU_TCK");
  CHECK(cpu.name == "1149.1 CPU");
  CHECK(cpu.confidence == Confidence::strong);
  CHECK(cpu.complete());
  CHECK(x.role(set, "CPU_TRST_N") == "1149.1 TRST");
  const FoundInterface& fpga = x.of(set, "FPGA_TDI");
  CHECK(&fpga != &cpu);
  CHECK(fpga.confidence == Confidence::fair);
  CHECK(fpga.missing == std::vector<std::string>{"TDO"});
}

TEST_CASE("lines that bear two names each are one port (common practice, no source)") {
  NetBoard x = rails();
  for (const char* name : {"TCK/SWCLK", "TMS/SWDIO", "TDI", "TDO/SWO"})
    x.net(name, {"U1." + std::string(name), "J1." + std::string(name)});
  const InterfaceSet set = x.recognised();
  CHECK(x.of(set, "TDI").complete());
  CHECK(&x.of(set, "TDI") == &x.of(set, "TDO/SWO"));
}

TEST_CASE("an interface that cannot work without ground or supply says so where the board has none (counted by hand)") {
  NetBoard x;
  for (const char* name : {"SWCLK", "SWDIO", "NRST"})
    x.net(name, {"U1." + std::string(name), "J1." + std::string(name)});
  const InterfaceSet set = x.recognised();
  CHECK(x.of(set, "SWDIO").missing.size() == 2);  // ground and supply; the reset is there
}

TEST_CASE(
    "weak words count beside sure ones, or where nothing but them makes the whole; alone they do not (own "
    "rule, no source)") {
  NetBoard x = rails();
  for (const char* name :
       {"CAT_MOSI", "CAT_MISO", "CAT_CLK", "CAT_EN", "MOTOR_CLK", "TEMP_TX", "GPS_TX", "GPS_RX", "CAN_TX", "CAN_RX"})
    x.net(name, {"U1." + std::string(name), "U2." + std::string(name)});
  const InterfaceSet set = x.recognised();
  CHECK(x.role(set, "CAT_CLK") == "SPI SCK");
  CHECK(x.of(set, "CAT_CLK").missing == std::vector<std::string>{"CS"});
  CHECK(x.role(set, "CAT_EN").empty());
  CHECK(x.role(set, "MOTOR_CLK") == "clock CLOCK");
  CHECK(x.role(set, "GPS_TX") == "UART TX");
  CHECK(x.role(set, "TEMP_TX").empty());
  CHECK(x.role(set, "CAN_TX").empty());
}

TEST_CASE(

    "nets not to be touched come first: crystals by their part, pairs by their partner, voltages by their "
    "number (common practice, no source)") {
  NetBoard x = rails();
  x.net("N17", {"Y1.1", "U1.7", "C8.1"})
      .net("N18", {"Y1.2", "U1.8", "C9.1"})
      .net("PCIE_TX_P", {"U1.9", "J2.1"})
      .net("PCIE_TX_N", {"U1.10", "J2.2"})
      .net("STEP_P", {"U1.11", "J2.3"})
      .net("VBUS_400V", {"J3.1", "C7.1"})
      .net("48V", {"J3.2", "C6.1"})
      .net("RF_OUT", {"U1.12", "J4.1"})
      .net("RF_RESET", {"U1.13", "J4.2"})
      .net("ANT_READY", {"U1.14", "J4.3"});
  const InterfaceSet set = x.recognised();
  CHECK(x.role(set, "N17") == "crystal PIN");
  CHECK(x.role(set, "PCIE_TX_P") == "fast pair P");
  CHECK(x.role(set, "PCIE_TX_N") == "fast pair N");
  CHECK(x.role(set, "STEP_P").empty());
  CHECK(x.role(set, "VBUS_400V") == "dangerous voltage HOT");
  CHECK(x.role(set, "48V") == "supply SUPPLY");
  CHECK(x.role(set, "RF_OUT") == "radio FEED");
  CHECK(x.role(set, "RF_RESET") == "reset RESET");
  CHECK(x.role(set, "ANT_READY") != "radio FEED");
  const Needs needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
  CHECK(needs[x.need("N17")].wanted == 0);
  CHECK(needs[x.need("N17")].because.find("capacitance") != std::string::npos);
}

TEST_CASE("a level in a name is no rail; capacitors make a rail of a nameless net (common practice, no source)") {
  NetBoard x = rails();
  x.net("PROCHOT_3V3", {"U1.20", "U2.20", "R9.1"})
      .net("N99", {"U1.21", "C10.1", "C11.1", "C12.1", "C13.1"})
      .net("GND2", {"C10.2", "C11.2", "C12.2", "C13.2", "U1.22"});
  const InterfaceSet set = x.recognised();
  CHECK(x.role(set, "PROCHOT_3V3").empty());
  CHECK(x.role(set, "N99") == "supply SUPPLY");
  CHECK(set.part_of(x.id("N99"))->confidence == Confidence::weak);
}

TEST_CASE(
    "a line goes on behind a small resistor, not behind a large one; the side to probe is said (common "
    "practice, no source)") {
  NetBoard x = rails();
  x.net("SWCLK", {"U1.30", "R1.1"})
      .net("N30", {"R1.2", "J1.30"})
      .net("SWDIO", {"U1.31", "R2.1"})
      .net("N31", {"R2.2", "J1.31"});
  x.net("FLASH_MOSI", {"U3.5", "R3.1"})
      .net("N32", {"R3.2", "U1.32"})
      .net("FLASH_MISO", {"U3.2", "U1.33"})
      .net("FLASH_CLK", {"U3.6", "U1.34"})
      .net("FLASH_CS", {"U3.1", "U1.35"});
  for (int pin = 40; pin < 60; ++pin)
    x.net("X" + std::to_string(pin), {"U1." + std::to_string(pin), "J9." + std::to_string(pin)});
  x.value("R1", "22").value("R2", "47k").value("R3", "33R");
  const InterfaceSet set = x.recognised();
  CHECK(x.role(set, "N30") == "two-wire debug CLOCK");
  CHECK(set.part_of(x.id("N30"))->behind);
  CHECK(set.part_of(x.id("N30"))->probe_here);  // at the connector, so that the resistor is tested too
  CHECK_FALSE(set.part_of(x.id("SWCLK"))->probe_here);
  CHECK(x.role(set, "N31").empty());  // 47 kohm is no damper
  // Both sides hold a device: at the memory, behind the resistor that keeps the host from fighting.
  CHECK(set.part_of(x.id("FLASH_MOSI"))->probe_here);
  CHECK_FALSE(set.part_of(x.id("N32"))->probe_here);
  CHECK(x.of(set, "FLASH_MOSI").programs);
  const Needs needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
  CHECK(needs[x.need("FLASH_MOSI")].role == Role::programming);
  CHECK(needs[x.need("N32")].role == Role::functional);
}

TEST_CASE("pin functions name nets whose own names say nothing (X2 attribute .P)") {
  NetBoard x = rails();
  x.net("N1", {"U1.40", "J1.40"}).net("N2", {"U1.41", "J1.41"});
  x.board.features[x.board.nets[x.id("N1")].features[0]].function = "PA13/SWDIO";
  x.board.features[x.board.nets[x.id("N2")].features[0]].function = "PA14/SWCLK";
  const InterfaceSet set = x.recognised();
  CHECK(x.role(set, "N1") == "two-wire debug DATA");
  CHECK(x.role(set, "N2") == "two-wire debug CLOCK");
  CHECK(&x.of(set, "N1") == &x.of(set, "N2"));
}

TEST_CASE(
    "the job confirms, adds, takes away, and states needs by interface; what it gets wrong is told (the job "
    "file's own statement)") {
  NetBoard x = rails();
  x.net("A", {"U1.50", "J1.50"})
      .net("B", {"U1.51", "J1.51"})
      .net("UART2_TX", {"U1.52", "J1.52"})
      .net("UART2_RX", {"U1.53", "J1.53"})
      .net("CLK_LED", {"U1.54", "J1.54"});
  InterfaceRule own;
  own.kind = "UART";
  own.name = "console";
  own.lines = {{"TX", "A"}, {"RX", "B"}};
  own.mandatory = true;
  InterfaceRule confirm;
  confirm.kind = "UART";
  confirm.name = "UART 2";
  confirm.wanted = 2;
  InterfaceRule none;
  none.kind = "none";
  none.nets = {"CLK_*"};
  x.job.wants.interface_rules = {own, confirm, none};
  const InterfaceSet set = x.recognised();
  CHECK_FALSE(x.diagnostics.failed());
  CHECK(x.of(set, "A").name == "console");
  CHECK(x.of(set, "A").confidence == Confidence::confirmed);
  CHECK(x.of(set, "UART2_TX").confidence == Confidence::confirmed);
  CHECK(x.role(set, "CLK_LED").empty());
  const Needs needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
  CHECK(needs[x.need("A")].mandatory);
  CHECK(needs[x.need("UART2_RX")].wanted == 2);
  CHECK_FALSE(needs[x.need("UART2_RX")].mandatory);
  for (const auto& [line, net] : {std::pair<const char*, const char*>{"CLK", "A"}, {"TX", "NOWHERE"}}) {
    NetBoard y = rails();
    y.net("A", {"U1.50", "J1.50"});
    InterfaceRule wrong;
    wrong.kind = "UART";
    wrong.lines = {{line, net}};
    y.job.wants.interface_rules = {wrong};
    y.recognised();
    CHECK(y.diagnostics.failed());
  }
}

TEST_CASE("a stated current asks for probes by the amperes through one (common practice)") {
  NetBoard x = rails();
  NeedRule rule;
  rule.nets = "3V3";
  rule.amperes = Amperes{4.5};
  x.job.wants.needs = {rule};
  const InterfaceSet set = x.recognised();
  const Needs needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
  CHECK(needs[x.need("3V3")].wanted == 5);
  CHECK(needs[x.need("GND")].wanted == 5);  // ground: as many as all rails together
}

TEST_CASE("feeds that no name tells are asked about (common practice, no source)") {
  NetBoard x = rails();
  // A socket, a rectifier, a large capacitor, a regulator; beside them a reset and a signal with a diode to a rail.
  x.net("N1", {"J2.1", "D1.1"})
      .net("N2", {"D1.2", "C9.1", "U2.1"})
      .net("N3", {"U1.7", "C8.1", "D3.1"})
      .net("N4", {"J2.2", "D2.1", "U1.8", "R4.1"})
      .net("N5", {"J2.3", "F1.1"})
      .net("N6", {"F1.2", "C7.1", "U3.1"});
  for (const char* part : {"C9.2", "C8.2", "C7.2"}) x.join("GND", part);
  x.join("3V3", "D2.2").value("C9", "220uF/25V").value("C8", "100nF").value("C7", "4u7");
  const auto doubts = [&] {
    const InterfaceSet set = x.recognised();
    const Needs needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
    std::vector<std::string> out;
    for (const Need& need : needs)
      if (need.doubt == Need::Doubt::perhaps_feed) out.push_back(x.board.nets[need.net].name.text());
    return out;
  };
  CHECK(doubts() == std::vector<std::string>{"N1", "N2", "N5", "N6"});
  NeedRule power, signal;
  power.nets = "N1";
  power.role = Role::power;
  signal.nets = "N2";
  signal.role = Role::functional;
  x.job.wants.needs = {power, signal};
  CHECK(doubts() == std::vector<std::string>{"N5", "N6"});
}

TEST_CASE("a programming voltage with no figure is asked about; a stated one is not (9 to 13.5 V, from memory)") {
  NetBoard x = rails();
  x.net("PGC", {"U1.20", "J3.5"}).net("PGD", {"U1.21", "J3.4"}).net("VPP", {"U1.22", "J3.1"});
  const auto doubt = [&] {
    const InterfaceSet set = x.recognised();
    return needs_of(x.board, x.job, x.table, set, x.diagnostics)[x.need("VPP")].doubt != Need::Doubt::none;
  };
  CHECK(doubt());
  NeedRule rule;
  rule.nets = "VPP";
  rule.volts = Volts{13};
  x.job.wants.needs = {rule};
  CHECK_FALSE(doubt());
}

TEST_CASE("microfarads of values (RKM code of IEC 60062 and common practice, no source)") {
  const std::pair<const char*, double> values[] = {{"10uF", 10},
                                                   {"4u7", 4.7},
                                                   {"100nF/16V", 0.1},
                                                   {"22 \xC2\xB5"
                                                    "F",
                                                    22},
                                                   {"1.5mF", 1500},
                                                   {"CAP 47uF 16V", 47},
                                                   {"22p", 22e-6},
                                                   {"0.1uF", 0.1}};
  for (const auto& [text, farads] : values) {
    INFO(text);
    REQUIRE(microfarads_in(text));
    CHECK(*microfarads_in(text) == Approx(farads));
  }
  for (const char* none : {"10k", "0402", "DNP", ""}) CHECK_FALSE(microfarads_in(none));
}
