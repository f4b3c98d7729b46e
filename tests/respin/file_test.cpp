// fixture.json: what is written is read, and nothing else is.
#include "made_board.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
formats::FixtureFile full() {
  formats::FixtureFile fixture_file = fixture_for(made_board(9, 3, 2));
  fixture_file.kit = "hand-press";
  fixture_file.fixture.blank = {{0, 0}, {100, 0}, {100, 80}, {0, 80}};
  StandingPlate plate;
  plate.stem = "lower-probe-plate-bottom";
  plate.kind = PlateKind::probe;
  plate.lower = true;
  plate.thickness = Mm{8};
  plate.outline = fixture_file.fixture.blank;
  plate.from_board = Map<BoardFrame, PlateFrame>{Affine{-1, 0, 0, 1, 100, 0}};
  plate.holes = {
      {.kind = "receptacle", .label = "B101", .plate = {1.5, 2.25}, .diameter = Mm{1.7}},
      {.kind = "screw", .label = "B1", .plate = {9, 9}, .diameter = Mm{4.5}, .drilled = false, .used = false}};
  plate.pockets = {{{{rectangle({50, 40}, 5, 5), {rectangle({50, 40}, 1, 1)}}}, Mm{3.5}, false}};
  fixture_file.fixture.plates.push_back(plate);
  fixture_file.fixture.supports.push_back({"F1", {3, 4}, Side::top, true});
  fixture_file.steps.push_back({.stage = "wiring",
                                .what = "continuity",
                                .probe = "B101",
                                .net = "NET0",
                                .pin = "A1",
                                .against = "receptacle B101",
                                .limit = "<= 2",
                                .unit = "ohm"});
  fixture_file.revisions[0].board.variants = {"full"};
  for (BuiltPart& p : fixture_file.revisions[0].board.parts) p.fitted_in = {1};
  return fixture_file;
}
}  // namespace

TEST_CASE("a fixture file is read as it was written (round trip)") {
  const std::string bytes = formats::write_fixture_file(full());
  Diagnostics diagnostics;
  const auto f = formats::read_fixture_file(bytes, "fixture.json", diagnostics);
  REQUIRE(f);
  CHECK(formats::write_fixture_file(*f) == bytes);
  CHECK(f->fixture.plates[0].pockets[0].area[0].holes.size() == 1);
  CHECK(f->revisions[0].probes.size() == 6);
}

TEST_CASE(
    "damaged fixture files are told by the place of the damage, whatever is cut or exchanged (constructed "
    "faults, seed 5)") {
  const std::string bytes = formats::write_fixture_file(full());
  auto code = [](const std::string& text) {
    Diagnostics diagnostics;
    const auto f = formats::read_fixture_file(text, "fixture.json", diagnostics);
    CHECK(f.has_value() == !diagnostics.failed());
    return diagnostics.failed() ? diagnostics.all()[0].code + " " + diagnostics.all()[0].place.path
                                : std::string("read");
  };
  auto with = [&](const std::string& from, const std::string& to) {
    std::string s = bytes;
    const std::size_t at = s.find(from);
    REQUIRE(at != s.npos);
    return s.replace(at, from.size(), to);
  };
  CHECK(code(with("\"schema\":1", "\"schema\":7")) == "fixture-bad-value schema");
  CHECK(code(with("\"drill\":1.7", "\"drill\":-1")) == "fixture-bad-value fixture.holes[0].drill");
  CHECK(code(with("\"side\":\"bottom\"", "\"side\":\"left\"")) == "fixture-bad-value fixture.holes[0].side");
  CHECK(code(with("\"state\":\"in use\"", "\"state\":3")) == "fixture-bad-value fixture.holes[0].state");
  CHECK(code(with("\"from_board\":[-1.0,", "\"from_board\":[-3.0,")) ==
        "fixture-bad-value fixture.plates[0].from_board[0]");
  CHECK(code(with("\"from_board\":[-1.0,0.0,0.0,1.0", "\"from_board\":[0.5,0.0,0.0,1.0")) ==
        "fixture-bad-value fixture.plates[0].from_board");
  CHECK(code(with("\"fitted_in\":\"1\"", "\"fitted_in\":\"1111\"")) ==
        "fixture-bad-value revisions[0].board.parts[0].fitted_in");
  CHECK(code("[]") == "fixture-bad-value ");
  CHECK(code("") == "fixture-bad-json ");
  CHECK(code(std::string(200'000, '[')) == "fixture-bad-json ");
  CHECK(code("{\"schema\":" + std::string(100'000, '[') + std::string(100'000, ']') + "}") ==
        "fixture-bad-value schema");
  // Cut anywhere, or a byte exchanged anywhere: an error or a value, never a crash.
  for (std::size_t n = 0; n < bytes.size(); n += 97) code(bytes.substr(0, n));
  std::mt19937 dice(5);
  for (int i = 0; i < 600; ++i) {
    std::string s = bytes;
    s[dice() % s.size()] = static_cast<char>(dice() % 256);
    code(s);
  }
}
