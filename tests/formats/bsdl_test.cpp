// Boundary-scan descriptions. Source: IEEE Std 1149.1 (the subset of VHDL, cell functions, rules of the registers),
// from memory and a public description of the language; the devices are invented.
#include <catch2/catch.hpp>

#include "teasel/formats/bsdl.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
struct Parts {
  std::string generic = "generic (PHYSICAL_PIN_MAP : string := \"QFP8\");";
  std::string ports =
      "port (A : in bit; Q : out bit; D : inout bit_vector(0 to 1); TCK, TMS, TDI : in bit; TDO : out bit; VDD : "
      "linkage bit; GND : linkage bit_vector(1 to 2));";
  std::string map =
      "constant QFP8 : PIN_MAP_STRING := \"A : 1, Q : 2, D : (3,4), TCK : 5, TMS : 6, \" & \"TDI : 7, TDO : 8, VDD : "
      "9, GND : (10, 11)\";";
  std::string opcodes = "\"BYPASS (11), EXTEST (00), SAMPLE (01)\"";
  std::string length = "6";
  std::string cells =
      "\"0 (BC_1, A, input, X), \" & \"1 (BC_1, Q, output2, X), 2 (BC_1, *, control, 0), \" &\n \"3 (BC_7, D(0), "
      "bidir, X, 2, 0, Z), 4 (BC_1, *, controlr, 1), 5 (BC_1, D(1), output3, X, 4, 1, Z)\"";
  std::string more;
  [[nodiscard]] std::string text() const {
    return "-- a comment with a \" quote\nentity DEV is\n " + generic + "\n" + ports +
           "\nuse STD_1149_1_2001.all;\nattribute COMPONENT_CONFORMANCE of DEV : entity is "
           "\"STD_1149_1_2001\";\nattribute PIN_MAP of DEV : entity is PHYSICAL_PIN_MAP;\n" +
           map +
           "\nattribute TAP_SCAN_IN of TDI : signal is true;\nattribute TAP_SCAN_OUT of TDO : signal is "
           "true;\nattribute TAP_SCAN_MODE of TMS : signal is true;\nattribute TAP_SCAN_CLOCK of TCK : signal is "
           "(10.0e6, BOTH);\n"
           "attribute INSTRUCTION_LENGTH of DEV : entity is 2;\nattribute INSTRUCTION_OPCODE of DEV : entity is " +
           opcodes +
           ";\nattribute INSTRUCTION_CAPTURE of DEV : entity is \"01\";\nattribute IDCODE_REGISTER of DEV : entity is "
           "\"XXXX0110010000010000000000000001\";\n"
           "attribute BOUNDARY_LENGTH of DEV : entity is " +
           length + ";\nattribute BOUNDARY_REGISTER of DEV : entity is " + cells + ";\n" + more + "end DEV;\n";
  }
};
std::vector<std::string> codes(const Diagnostics& diagnostics) {
  std::vector<std::string> out;
  for (const Finding& f : diagnostics.all()) out.push_back(f.code);
  return out;
}
BsdlDevice read(const Parts& p, Diagnostics& diagnostics) {
  return read_bsdl(p.text(), "dev.bsd", diagnostics);
}
}  // namespace

TEST_CASE("a description by the book: ports, vectors, pin map, test port, cells (IEEE Std 1149.1, from memory)") {
  Diagnostics diagnostics;
  Parts p;
  const BsdlDevice dev = read(p, diagnostics);
  CHECK(codes(diagnostics).empty());
  CHECK(dev.entity == "DEV");
  CHECK(dev.default_package == "QFP8");
  CHECK(dev.signals.size() == 11);
  const auto& map = dev.packages.at("QFP8");
  CHECK(map.at("D(0)") == std::vector<std::string>{"3"});
  CHECK(map.at("D(1)") == std::vector<std::string>{"4"});
  CHECK(map.at("GND(2)") == std::vector<std::string>{"11"});
  CHECK(dev.tdi == "TDI");
  CHECK(dev.tck_most.v == Approx(10e6));
  CHECK(dev.is_tap("TMS"));
  CHECK_FALSE(dev.is_tap("A"));
  REQUIRE(dev.cells.size() == 6);
  CHECK(dev.cells[0].observes());
  CHECK_FALSE(dev.cells[0].drives());
  CHECK((dev.cells[1].drives() && !dev.cells[1].observes()));
  CHECK((dev.cells[3].drives() && dev.cells[3].observes() && dev.cells[3].control == 2 && dev.cells[3].disable == 0));
  CHECK(dev.cells[5].disabled_as == "Z");
}

TEST_CASE("a vector that counts down takes its pins in declared order (IEEE Std 1149.1, from memory)") {
  Parts p;
  p.ports.replace(p.ports.find("0 to 1"), 6, "1 downto 0");
  Diagnostics diagnostics;
  const BsdlDevice dev = read(p, diagnostics);
  CHECK(dev.packages.at("QFP8").at("D(1)") == std::vector<std::string>{"3"});
  CHECK(dev.packages.at("QFP8").at("D(0)") == std::vector<std::string>{"4"});
}

TEST_CASE(
    "open drain, observing outputs, shared cells, compliance pins, differential pairs (IEEE Std 1149.1, from "
    "memory)") {
  Parts parts;
  parts.cells =
      "\"0 (BC_1, A, input, X), 1 (BC_1, Q, output2, 1, 1, 1, WEAK1), 2 (BC_9, D(0), output2, X), 3 (BC_1, D(1), "
      "output2, X), 3 (BC_1, D(1), observe_only, X)\"";
  parts.length = "4";
  parts.more =
      "attribute COMPLIANCE_PATTERNS of DEV : entity is \"(A, D(0)) (01, 1X)\";\nattribute PORT_GROUPING of DEV : "
      "entity is \"DIFFERENTIAL_VOLTAGE ((D(0), D(1)))\";\nattribute DESIGN_WARNING of DEV : entity is \"hold A "
      "low\";\n";
  Diagnostics diagnostics;
  const BsdlDevice dev = read(parts, diagnostics);
  CHECK(codes(diagnostics).empty());
  CHECK(dev.cells[1].one_level());
  CHECK(dev.cells[2].observes());  // BC_9 captures its own pin
  CHECK(dev.cells.size() == 5);    // one cell in two roles
  REQUIRE(dev.compliance.size() == 1);
  CHECK(dev.compliance[0].signals == std::vector<std::string>{"A", "D(0)"});
  CHECK(dev.compliance[0].patterns == std::vector<std::string>{"01", "1X"});
  REQUIRE(dev.pairs.size() == 1);
  CHECK(dev.pairs[0] == std::pair<std::string, std::string>{"D(0)", "D(1)"});
  CHECK(dev.design_warning == "hold A low");
}

TEST_CASE(
    "each rule of the standard that a description breaks is told, and reading goes on (IEEE Std 1149.1, from "
    "memory)") {
  const auto broken = [](void (*change)(Parts&)) {
    Parts p;
    change(p);
    Diagnostics diagnostics;
    const BsdlDevice dev = read(p, diagnostics);
    CHECK_FALSE(diagnostics.failed());
    CHECK(dev.cells.size() >= 5);
    REQUIRE(diagnostics.all().size() >= 1);
    return diagnostics.all()[0].code + ": " + diagnostics.all()[0].message;
  };
  CHECK(broken([](Parts& p) { p.length = "7"; }).find("without gaps from 0") != std::string::npos);
  CHECK(broken([](Parts& p) {
          p.cells.replace(p.cells.find("X, 2, 0, Z"), 10, "X, 0, 0, Z");
        }).find("not control cells") != std::string::npos);
  CHECK(broken([](Parts& p) { p.opcodes = "\"BYPASS (10), EXTEST (00)\""; }).find("BYPASS") != std::string::npos);
  CHECK(broken([](Parts& p) { p.opcodes = "\"BYPASS (11), SAMPLE (01)\""; }).find("EXTEST") != std::string::npos);
  CHECK(broken([](Parts& p) {
          p.opcodes = "\"BYPASS (111), EXTEST (00)\"";
        }).find("as long as the instruction register") != std::string::npos);
  CHECK(broken([](Parts& p) {
          p.cells.replace(p.cells.find("Q, output2"), 10, "A, output2");
        }).find("mode does not allow them") != std::string::npos);
  CHECK(broken([](Parts& p) { p.map.replace(p.map.find("QFP8"), 4, "BGA9"); }).find("default package") !=
        std::string::npos);
  CHECK(broken([](Parts& p) {
          p.cells.replace(p.cells.find("0 (BC_1, A, input, X)"), 21, "0 (BC_1, A, inputt, X)");
        }).find("cannot be read") != std::string::npos);
}

TEST_CASE(
    "what cannot be used is an error with the remedy: other files, no port, no pins, no cells (constructed "
    "faults)") {
  const auto code = [](const std::string& text) {
    Diagnostics diagnostics;
    read_bsdl(text, "x.bsd", diagnostics);
    REQUIRE(diagnostics.failed());
    return diagnostics.all()[0].code;
  };
  CHECK(code("") == "bsdl-no-entity");
  CHECK(code("G04 a layer*") == "bsdl-no-entity");
  Parts parts;
  parts.map.clear();
  CHECK(code(parts.text()) == "bsdl-no-pins");
  parts = {};
  std::string text = parts.text();
  text.replace(text.find("TAP_SCAN_OUT"), 12, "TAP_SCAN_OUX");
  CHECK(code(text) == "bsdl-no-port");
  parts = {};
  text = parts.text();
  text.replace(text.find("BOUNDARY_REGISTER"), 17, "BOUNDARY_REGISTEX");
  CHECK(code(text) == "bsdl-no-cells");
}

TEST_CASE("torn files end without harm (constructed faults: cut or hurt at every seventh byte)") {
  const std::string whole = Parts{}.text();
  for (std::size_t n = 0; n < whole.size(); n += 7) {
    Diagnostics diagnostics;
    read_bsdl(whole.substr(0, n), "x.bsd", diagnostics);
    Diagnostics of_hurt;
    std::string hurt = whole;
    hurt[n] = '(';
    read_bsdl(hurt, "x.bsd", of_hurt);
  }
  Diagnostics diagnostics;
  read_bsdl("entity X is port (A : in bit_vector(0 to 2000000000));", "x.bsd", diagnostics);
  CHECK(diagnostics.failed());
  CHECK(looks_like_bsdl(whole));
  CHECK_FALSE(looks_like_bsdl("P  JOB x\n317NET"));
}
