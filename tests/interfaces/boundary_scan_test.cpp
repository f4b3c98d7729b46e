// Chains and nets between cells. What cells can do: IEEE Std 1149.1; a net is free of opens and shorts where one pin
// drives it and another looks at it.
#include <catch2/catch.hpp>

#include "nets.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// A device with six signal pins A (in), Q (out, two-state), D (bidirectional), O (open drain), E (three-state), N (no
/// cell).
std::string device(const std::string& more = {}) {
  return "entity DEV is\n generic (PHYSICAL_PIN_MAP : string := \"P\");\n port (A : in bit; Q : out bit; D : inout "
         "bit; O : out bit; E : out bit; N : linkage bit; TCK, TMS, TDI : in bit; TDO : out bit; VDD, GND : linkage "
         "bit);\n"
         " constant P : PIN_MAP_STRING := \"A : 1, Q : 2, D : 3, O : 4, E : 5, N : 6, TCK : 7, TMS : 8, TDI : 9, TDO : "
         "10, VDD : 11, GND : 12\";\n"
         " attribute TAP_SCAN_IN of TDI : signal is true; attribute TAP_SCAN_OUT of TDO : signal is true; attribute "
         "TAP_SCAN_MODE of TMS : signal is true; attribute TAP_SCAN_CLOCK of TCK : signal is (5.0e6, BOTH);\n" +
         more +
         " attribute INSTRUCTION_LENGTH of DEV : entity is 4; attribute INSTRUCTION_OPCODE of DEV : entity is \"BYPASS "
         "(1111), EXTEST (0000)\";\n attribute BOUNDARY_LENGTH of DEV : entity is 8;\n"
         " attribute BOUNDARY_REGISTER of DEV : entity is \"0 (BC_1, A, input, X), 1 (BC_1, Q, output2, X), 2 (BC_1, "
         "*, control, 1), 3 (BC_7, D, bidir, X, 2, 1, Z), 4 (BC_1, O, output2, 1, 4, 1, WEAK1), 5 (BC_1, *, control, "
         "1), 6 (BC_1, E, output3, X, 5, 1, Z), 7 (BC_1, *, internal, X)\";\nend DEV;\n";
}
/// U1 to U2, driven from J1. `link`: the net between TDO and TDI is whole.
NetBoard two(bool link = true) {
  NetBoard x;
  Diagnostics diagnostics;
  x.sources.bsdl.assign(2, formats::read_bsdl(device(), "dev.bsd", diagnostics));
  REQUIRE_FALSE(diagnostics.failed());
  x.job.inputs.bsdl = {{"dev.bsd", "U1", "", {}}, {"dev.bsd", "U2", "", {}}};
  x.net("GND", {"U1.12", "U2.12", "J1.1", "C1.1", "C2.1"}).net("3V3", {"U1.11", "U2.11", "J1.2", "C1.2", "C2.2"});
  x.net("TCK", {"U1.7", "U2.7", "J1.3"})
      .net("TMS", {"U1.8", "U2.8", "J1.4"})
      .net("TDI", {"U1.9", "J1.5"})
      .net("TDO", {"U2.10", "J1.6"});
  if (link)
    x.net("MID", {"U1.10", "U2.9"});
  else
    x.net("MID_A", {"U1.10", "J2.1"}).net("MID_B", {"U2.9", "U5.1"});
  return x;
}
BoundaryScan bound(NetBoard& x) {
  for (const char* part : {"U1", "U2"})
    if (std::any_of(x.board.components.begin(), x.board.components.end(),
                    [&](const Component& component) { return component.name == part; }))
      x.pins(part, 12);
  const InterfaceSet set = x.recognised();
  return bind_boundary_scan(x.board, x.job, x.sources, x.table, set, x.diagnostics);
}
ScanCover cover(const NetBoard& x, const BoundaryScan& scan, const std::string& net) {
  return scan.nets[x.id(net)].cover;
}
}  // namespace

TEST_CASE("the chain runs from TDI to TDO through both devices, its bits and cells add up (hand sum)") {
  NetBoard x = two();
  const BoundaryScan scan = bound(x);
  REQUIRE(scan.chains.size() == 1);
  CHECK(scan.chains[ChainId{0}].usable());
  CHECK(scan.chains[ChainId{0}].devices == std::vector<DeviceId>{DeviceId{0}, DeviceId{1}});
  CHECK(scan.chains[ChainId{0}].instruction_bits == 8);
  CHECK(scan.chains[ChainId{0}].cells == 16);
  CHECK(scan.chains[ChainId{0}].tck.v == Approx(5e6));
  CHECK(x.board.nets[scan.chains[ChainId{0}].tdi_net].name == "TDI");
  CHECK(x.board.nets[scan.chains[ChainId{0}].tdo_net].name == "TDO");
}

TEST_CASE("what nets between cells need follows from who drives and who looks (IEEE Std 1149.1, by hand)") {
  NetBoard x = two();
  x.net("DRIVEN_SEEN", {"U1.2", "U2.1"})
      .net("BOTH", {"U1.3", "U2.3"})
      .net("PULLED", {"U1.4", "R1.1", "U3.1"})
      .net("ENABLED", {"U1.5", "U3.2"})
      .net("ANALOG", {"U1.6", "U3.3"})
      .net("IN", {"U1.1", "U3.4"});
  const BoundaryScan scan = bound(x);
  CHECK(cover(x, scan, "DRIVEN_SEEN") == ScanCover::full);
  CHECK(scan.nets[x.id("DRIVEN_SEEN")].driver == "U1-2");
  CHECK(scan.nets[x.id("DRIVEN_SEEN")].observer == "U2-1");
  CHECK(cover(x, scan, "BOTH") == ScanCover::full);
  CHECK(cover(x, scan, "PULLED") == ScanCover::driven);
  CHECK(cover(x, scan, "ENABLED") == ScanCover::driven);
  CHECK(cover(x, scan, "ANALOG") == ScanCover::none);
  CHECK(cover(x, scan, "IN") == ScanCover::observed);
  CHECK(cover(x, scan, "3V3") == ScanCover::none);
  std::set<std::string> hidden;
  for (const ScanPin& pin : scan.unobservable) hidden.insert(x.board.features[pin.feature].name);
  CHECK(hidden == std::set<std::string>{"U1-4", "U1-5", "U1-6"});
}

TEST_CASE("an open drain drives one level; a bidirectional pin alone sees only itself (IEEE Std 1149.1)") {
  NetBoard x = two();
  x.net("OD", {"U1.4", "U2.1"}).net("SELF", {"U1.3", "U3.1"});
  const BoundaryScan scan = bound(x);
  CHECK(cover(x, scan, "OD") == ScanCover::one_level);
  CHECK(cover(x, scan, "SELF") == ScanCover::own_pin);
}

TEST_CASE("a small series resistor joins two nets, a large one does not (manual, coverage: up to 1 kohm)") {
  for (const auto& [ohms, is] :
       {std::pair<const char*, ScanCover>{"33", ScanCover::full}, {"10k", ScanCover::driven}}) {
    NetBoard x = two();
    x.net("A_SIDE", {"U1.2", "R1.1"}).net("B_SIDE", {"U2.1", "R1.2"}).value("R1", ohms);
    const BoundaryScan scan = bound(x);
    CHECK(cover(x, scan, "A_SIDE") == is);
    CHECK(scan.nets[x.id("A_SIDE")].through_series == (is == ScanCover::full));
  }
}

TEST_CASE(

    "a chain that leads through a part without description is broken there, with the place; nothing on it "
    "counts (manual, coverage: boundary scan)") {
  NetBoard y = two(false);
  y.net("Q", {"U1.2", "U2.1"});
  y.job.inputs.bsdl = {{"dev.bsd", "U1", "", {}}};
  y.sources.bsdl = {y.sources.bsdl[0]};
  const BoundaryScan alone = bound(y);
  REQUIRE(alone.chains.size() == 1);
  // U1's TDO and U2's TDI both go to U5, for which no description is given.
  NetBoard z;
  Diagnostics diagnostics;
  z.sources.bsdl = {formats::read_bsdl(device(), "dev.bsd", diagnostics),
                    formats::read_bsdl(device(), "dev.bsd", diagnostics)};
  z.job.inputs.bsdl = {{"dev.bsd", "U1", "", {}}, {"dev.bsd", "U2", "", {}}};
  z.net("GND", {"U1.12", "U2.12", "C1.1"})
      .net("3V3", {"U1.11", "U2.11", "C1.2"})
      .net("TCK", {"U1.7", "U2.7", "J1.3"})
      .net("TMS", {"U1.8", "U2.8", "J1.4"})
      .net("TDI", {"U1.9", "J1.5"})
      .net("TDO", {"U2.10", "J1.6"})
      .net("X1", {"U1.10", "U5.1"})
      .net("X2", {"U2.9", "U5.2"})
      .net("Q", {"U1.2", "U2.1"});
  const BoundaryScan scan = bound(z);
  REQUIRE(scan.chains.size() == 2);
  CHECK_FALSE(scan.chains[ChainId{0}].usable());
  CHECK(scan.chains[ChainId{0}].breaks[0].find("U5") != std::string::npos);
  CHECK(scan.chains[ChainId{0}].breaks[0].find("U1-10 at (") != std::string::npos);
  CHECK(std::any_of(z.diagnostics.all().begin(), z.diagnostics.all().end(),
                    [](const Finding& finding) { return finding.code == "scan-chain-broken"; }));
}

TEST_CASE("a missing TMS breaks the chain; compliance pins are told with who holds them (IEEE Std 1149.1)") {
  NetBoard x;
  Diagnostics diagnostics;
  x.sources.bsdl = {formats::read_bsdl(device(" attribute COMPLIANCE_PATTERNS of DEV : entity is \"(A) (1)\";\n"),
                                       "dev.bsd", diagnostics)};
  x.job.inputs.bsdl = {{"dev.bsd", "U1", "", {}}};
  x.net("GND", {"U1.12", "C1.1", "C2.1"})
      .net("3V3", {"U1.11", "C1.2", "C2.2", "R1.1"})
      .net("TCK", {"U1.7", "J1.3"})
      .net("TDI", {"U1.9", "J1.5"})
      .net("TDO", {"U1.10", "J1.6"})
      .net("HOLD", {"U1.1", "R1.2"})
      .net("Q", {"U1.2", "J1.7"})
      .net("D", {"U1.3", "J1.8"})
      .net("O", {"U1.4", "J1.9"})
      .net("E", {"U1.5", "J1.10"})
      .net("N", {"U1.6", "J1.11"})
      .net("SPARE", {"U1.8"});
  x.board.nets.back().unconnected = true;
  const BoundaryScan scan = bound(x);
  REQUIRE(scan.chains.size() == 1);
  CHECK_FALSE(scan.chains[ChainId{0}].usable());
  CHECK(scan.chains[ChainId{0}].breaks[0].find("TMS of U1 is not connected") != std::string::npos);
  CHECK(scan.chains[ChainId{0}].conditions[0].find("A (pin 1) at 1, pulled to 3V3 by R1") != std::string::npos);
}

TEST_CASE("pins that are not those of the component are an error that names the share (hand sum)") {
  NetBoard x = two();
  x.pins("U1", 12).pins("U2", 12);
  for (Feature& feature : x.board.features)
    if (feature.name == "U1-3") feature.pin = "33";
  const InterfaceSet set = x.recognised();
  bind_boundary_scan(x.board, x.job, x.sources, x.table, set, x.diagnostics);
  REQUIRE(x.diagnostics.failed());
  CHECK(x.diagnostics.all().back().found.find("92 %") != std::string::npos);  // 11 of 12 pins
  NetBoard y = two();
  y.job.inputs.bsdl = {{"dev.bsd", "U9", "", {}}, {"dev.bsd", "U2", "", {}}};
  bound(y);
  CHECK(y.diagnostics.failed());
}

TEST_CASE(
    "saved probes: nets between cells give theirs up, the port's own lines become mandatory, the rest stays "
    "(manual, coverage: boundary scan)") {
  NetBoard x = two();
  x.net("DATA", {"U1.2", "U2.1"}).net("PULLED", {"U1.4", "U3.1"});
  const InterfaceSet set = x.recognised();
  const BoundaryScan scan = bound(x);
  Needs needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
  CHECK(save_probes(needs, x.board, scan, x.diagnostics) == 1);
  CHECK(needs[x.need("DATA")].wanted == 0);
  CHECK(needs[x.need("PULLED")].wanted == 1);
  for (const char* name : {"TCK", "TMS", "TDI", "TDO"}) CHECK(needs[x.need(name)].mandatory);
  CHECK(needs[x.need("3V3")].wanted > 0);
}

TEST_CASE(

    "what lies behind a series part beside the tested stretch is not tested; parts that may be open join "
    "nothing (by hand)") {
  NetBoard x = two();
  x.net("A", {"U1.2", "U2.1", "R1.1"}).net("BEHIND", {"R1.2", "J1.20"}).value("R1", "33");
  BoundaryScan scan = bound(x);
  CHECK(cover(x, scan, "A") == ScanCover::full);
  CHECK(cover(x, scan, "BEHIND") == ScanCover::none);
  for (const char* value : {"", "DNP"}) {
    NetBoard y = two();
    y.net("A_SIDE", {"U1.2", "R1.1"}).net("B_SIDE", {"U2.1", "R1.2"}).value("R1", value);
    CHECK(cover(y, bound(y), "A_SIDE") == ScanCover::driven);
  }
  NetBoard z = two();
  z.net("A_SIDE", {"U1.2", "R1.1"}).net("B_SIDE", {"U2.1", "R1.2"}).value("R1", "0");
  for (Component& component : z.board.components)
    if (component.name == "R1") component.always_fitted = false;
  CHECK(cover(z, bound(z), "A_SIDE") == ScanCover::driven);
  NetBoard j = two();
  j.net("A_SIDE", {"U1.2", "JP1.1"}).net("B_SIDE", {"U2.1", "JP1.2"}).value("JP1", "0");
  CHECK(cover(j, bound(j), "A_SIDE") == ScanCover::driven);
}

TEST_CASE(

    "a chain that cannot work is broken: a clock on a rail, a compliance pin tied the wrong way, a device "
    "that a variant leaves out (IEEE Std 1149.1)") {
  const auto broken = [](NetBoard& x) {
    const BoundaryScan scan = bound(x);
    CHECK_FALSE(scan.chains[ChainId{0}].usable());
    CHECK(cover(x, scan, "Q") != ScanCover::full);
    REQUIRE_FALSE(scan.chains[ChainId{0}].breaks.empty());
    return scan.chains[ChainId{0}].breaks[0];
  };
  NetBoard x = two();
  x.net("Q", {"U1.2", "U2.1"});
  for (Feature& feature : x.board.features)
    if (feature.name == "U2-7") feature.net = x.id("GND");
  CHECK(broken(x).find("TCK of U2 (U2-7") == 0);
  NetBoard v = two();
  v.net("Q", {"U1.2", "U2.1"});
  for (Component& component : v.board.components)
    if (component.name == "U2") component.always_fitted = false;
  CHECK(broken(v).find("U2 is left out of a build variant") != std::string::npos);
  NetBoard circuit = two();
  Diagnostics diagnostics;
  circuit.sources.bsdl[1] = formats::read_bsdl(
      device(" attribute COMPLIANCE_PATTERNS of DEV : entity is \"(E) (0)\";\n"), "dev.bsd", diagnostics);
  circuit.net("Q", {"U1.2", "U2.1"}).net("HOLD", {"U2.5", "R9.1"});
  Feature pull;
  pull.name = PadName{"R9-2"};
  pull.pin = "2";
  pull.net = circuit.id("3V3");
  pull.component = circuit.board.features[circuit.board.nets[circuit.id("HOLD")].features[1]].component;
  circuit.add(pull);
  CHECK(broken(circuit).find("pulled to 3V3 by R9") != std::string::npos);
}

TEST_CASE("saved probes rest on pins to be held as well, and on nothing that must not be touched (by hand)") {
  NetBoard x = two();
  Diagnostics diagnostics;
  x.sources.bsdl[1] = formats::read_bsdl(device(" attribute COMPLIANCE_PATTERNS of DEV : entity is \"(D) (0)\";\n"),
                                         "dev.bsd", diagnostics);
  x.net("Q", {"U1.2", "U2.1"}).net("HELD", {"U1.3", "U2.3"});
  const InterfaceSet set = x.recognised();
  const BoundaryScan scan = bound(x);
  Needs needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
  CHECK(save_probes(needs, x.board, scan, x.diagnostics) == 1);  // Q; HELD is tested too, but it must be held
  CHECK(needs[x.need("HELD")].mandatory);
  NeedRule ban;
  ban.nets = "TMS";
  ban.role = Role::do_not_touch;
  x.job.wants.needs = {ban};
  needs = needs_of(x.board, x.job, x.table, set, x.diagnostics);
  CHECK(save_probes(needs, x.board, scan, x.diagnostics) == 0);
  CHECK(needs[x.need("TMS")].wanted == 0);
}

TEST_CASE("of two packages the one whose pins are the component's is taken, whatever its name (constructed)") {
  NetBoard x = two();
  std::string text = device();
  text.replace(text.find(" constant P :"), 13,
               " constant A_PART : PIN_MAP_STRING := \"A : 1, Q : 2, D : 3, O : 4, TCK : 7, TMS : 8, TDI : 9, TDO : "
               "10\";\n constant P :");
  Diagnostics diagnostics;
  x.sources.bsdl.assign(2, formats::read_bsdl(text, "dev.bsd", diagnostics));
  const BoundaryScan scan = bound(x);
  REQUIRE(scan.devices.size() == 2);
  CHECK(scan.devices[DeviceId{0}].package == "P");
}
