#include "teasel/formats/fixture_file.h"

#include <cmath>
#include <nlohmann/json.hpp>

namespace teasel::formats {

namespace {
using Json = nlohmann::ordered_json;

constexpr int kSchema = 1;
constexpr double kFarthest = 1e5;  // mm; nothing of a fixture lies farther off
constexpr double kMicro = 1e6;     // the file holds strain as a share

double nm(double mm) {
  const double rounded_mm = std::round(mm * 1e6) / 1e6;
  return rounded_mm == 0 ? 0 : rounded_mm;
}
double nm(Mm length) {
  return nm(length.v);
}
double um(double mm) {
  return rounded(mm);
}

// ---- writing
Json point(Point p) {
  return {nm(p.x), nm(p.y)};
}
template <class From, class To>
Json map(const Map<From, To>& map) {
  const Affine& t = map.affine();
  return {t.a, t.b, t.c, t.d, nm(t.e), nm(t.f)};
}
/// Rounded to 1 nm where it is compared with what is planned, otherwise to 1 um.
Json ring(const Ring& points, bool fine) {
  Json out = Json::array();
  for (const Point place : points) {
    out.push_back(fine ? nm(place.x) : um(place.x));
    out.push_back(fine ? nm(place.y) : um(place.y));
  }
  return out;
}
Json polygon(const Polygon& area, bool fine) {
  Json out = Json::array({ring(area.outer, fine)});
  for (const Ring& hole : area.holes) out.push_back(ring(hole, fine));
  return out;
}
Json polygons(const Polygons& list, bool fine) {
  Json out = Json::array();
  for (const Polygon& area : list) out.push_back(polygon(area, fine));
  return out;
}
Json box(const Box& bounds) {
  return bounds.valid() ? Json{um(bounds.x0), um(bounds.y0), um(bounds.x1), um(bounds.y1)} : Json();
}

Json board_json(const BuiltBoard& board) {
  Json pads = Json::array(), parts = Json::array(), tooling = Json::array();
  for (const BuiltPad& pad : board.pads)
    pads.push_back({pad.name, pad.pin, pad.kind, pad.net.number(), pad.component.number(), nm(pad.at.x), nm(pad.at.y),
                    nm(pad.hole), box(pad.bare[Side::top]), box(pad.bare[Side::bottom])});
  for (const BuiltPart& part : board.parts) {
    std::string fitted_in;
    for (const char fitted : part.fitted_in) fitted_in += fitted ? '1' : '0';
    parts.push_back({{"name", part.name},
                     {"value", part.value},
                     {"side", to_string(part.side)},
                     {"height", nm(part.height)},
                     {"height_confirmed", part.height_confirmed},
                     {"fitted", part.fitted},
                     {"fitted_in", fitted_in},
                     {"body", polygons(part.body, false)}});
  }
  for (const BuiltBoard::Pin& pin : board.tooling)
    tooling.push_back({{"at", point(pin.at)}, {"diameter", nm(pin.diameter)}});
  return {{"name", board.name},
          {"revision", board.revision},
          {"thickness", nm(board.thickness)},
          {"outline", polygon(board.outline, false)},
          {"tooling", tooling},
          {"nets", board.nets.rows()},
          {"variants", board.variants},
          {"pad_columns", {"name", "pin", "kind", "net", "part", "x", "y", "hole", "bare_top", "bare_bottom"}},
          {"pads", pads},
          {"parts", parts}};
}

Json plate_json(const StandingPlate& plate) {
  Json holes = Json::array(), pockets = Json::array();
  for (const StandingPlateHole& hole : plate.holes)
    holes.push_back({{"kind", hole.kind},
                     {"label", hole.label},
                     {"plate", point(hole.plate.point())},
                     {"diameter", nm(hole.diameter)},
                     {"drilled", hole.drilled},
                     {"used", hole.used},
                     {"thread", hole.thread}});
  for (const StandingPocket& pocket : plate.pockets)
    pockets.push_back(
        {{"depth", nm(pocket.depth)}, {"through", pocket.through}, {"area", polygons(pocket.area, true)}});
  return {{"stem", plate.stem},
          {"kind", to_string(plate.kind)},
          {"lower", plate.lower},
          {"thickness", nm(plate.thickness)},
          {"outline", ring(plate.outline, true)},
          {"from_board", map(plate.from_board)},
          {"holes", holes},
          {"pockets", pockets}};
}

Json fixture_json(const StandingFixture& fixture) {
  Json holes = Json::array(), plates = Json::array(), supports = Json::array(), wires = Json::array();
  for (const StandingHole& hole : fixture.holes)
    holes.push_back({{"name", hole.name},
                     {"class", hole.probe_class},
                     {"drill", nm(hole.drill)},
                     {"at", point(hole.at)},
                     {"side", to_string(hole.side)},
                     {"state", to_string(hole.state)},
                     {"net", hole.net},
                     {"long_travel", hole.long_travel}});
  Json pins = Json::array();
  for (const BlockPin& pin : fixture.pins)
    pins.push_back({{"name", pin.name}, {"at", point(pin.at.point())}, {"amperes", pin.amperes.v}});
  for (const StandingPlate& plate : fixture.plates) plates.push_back(plate_json(plate));
  for (const StandingSupport& support : fixture.supports) {
    supports.push_back({{"label", support.label},
                        {"at", point(support.at)},
                        {"side", to_string(support.side)},
                        {"finger", support.finger}});
    if (support.on_height > Mm{}) supports.back()["on_height"] = support.on_height.v;
  }
  for (const StandingWire& wire : fixture.wires)
    wires.push_back({{"number", wire.number}, {"probe", wire.probe}, {"net", wire.net}, {"pin", wire.pin}});
  return {{"board_lies", to_string(fixture.main)},
          {"to_kit", map(fixture.to_kit)},
          {"blank", ring(fixture.blank, true)},
          {"guide_clearance", nm(fixture.guide_clearance)},
          {"bending",
           {{"limits_held", fixture.limits_held},
            {"flat_held", fixture.flat_held},
            {"flat_strain", fixture.flat_strain.v / kMicro},
            {"springs_N", fixture.springs.v},
            {"lost", fixture.lost}}},
          {"holes", holes},
          {"plates", plates},
          {"supports", supports},
          {"pins", pins},
          {"wires", wires}};
}

Json revision_json(const Revision& revision) {
  Json probes = Json::array();
  for (const BuiltProbe& probe : revision.probes)
    probes.push_back({{"name", probe.name},
                      {"net", probe.net},
                      {"target", probe.target},
                      {"class", probe.probe_class},
                      {"tip", probe.tip},
                      {"side", to_string(probe.side)},
                      {"at", point(probe.at)},
                      {"miss", probe.miss.v},
                      {"wrong", probe.wrong.v},
                      {"pin", probe.pin}});
  return {{"plan_id", revision.plan_id},
          {"to_kit", map(revision.to_kit)},
          {"probes", probes},
          {"board", board_json(revision.board)}};
}

// ---- reading
struct Bad {
  std::string where, found, expected;
};

/// A value and the path to it in the file.
class Node {
 public:
  Node(const Json& json, std::string where) : json_(json), where_(std::move(where)) {}
  [[nodiscard]] Node operator[](const char* key) const {
    const std::string there = where_.empty() ? key : where_ + "." + key;
    if (!json_.is_object()) bad("an object");
    const auto it = json_.find(key);
    if (it == json_.end()) throw Bad{there, "nothing", "a value"};
    return {*it, there};
  }
  [[nodiscard]] Node operator[](std::size_t i) const {
    if (!json_.is_array() || i >= json_.size()) bad("more items");
    return {json_[i], where_ + "[" + std::to_string(i) + "]"};
  }
  [[nodiscard]] bool has(const char* key) const { return json_.is_object() && json_.contains(key); }
  [[nodiscard]] std::size_t size() const {
    if (!json_.is_array()) bad("a list");
    return json_.size();
  }
  [[nodiscard]] bool is_null() const { return json_.is_null(); }
  [[nodiscard]] std::string text() const {
    if (!json_.is_string()) bad("text");
    return json_.get<std::string>();
  }
  [[nodiscard]] bool yes() const {
    if (!json_.is_boolean()) bad("true or false");
    return json_.get<bool>();
  }
  [[nodiscard]] double number(double least, double most) const {
    const double value = json_.is_number() ? json_.get<double>() : NAN;
    if (!(value >= least && value <= most))
      bad("a number from " + std::to_string(least) + " to " + std::to_string(most));
    return value;
  }
  [[nodiscard]] double coordinate() const { return number(-kFarthest, kFarthest); }
  [[nodiscard]] Mm length(double least, double most) const { return Mm{number(least, most)}; }
  /// The number of a row, or -1 for none, in a table of so many rows.
  template <class I>
  [[nodiscard]] I id(std::size_t rows) const {
    return I::of_number(whole(-1, static_cast<int>(rows) - 1));
  }
  [[nodiscard]] int whole(int least, int most) const {
    if (!json_.is_number_integer()) bad("a whole number");
    return static_cast<int>(number(least, most));
  }
  [[nodiscard]] Point point() const {
    if (size() != 2) bad("[x, y]");
    return {(*this)[std::size_t{0}].coordinate(), (*this)[1].coordinate()};
  }
  template <class From, class To>
  [[nodiscard]] Map<From, To> map() const {
    if (size() != 6) bad("six numbers");
    Affine t{(*this)[std::size_t{0}].number(-1.01, 1.01),
             (*this)[1].number(-1.01, 1.01),
             (*this)[2].number(-1.01, 1.01),
             (*this)[3].number(-1.01, 1.01),
             (*this)[4].coordinate(),
             (*this)[5].coordinate()};
    if (std::abs(std::abs(t.determinant()) - 1) > 1e-6) bad("a turn, a shift, or both");
    return Map<From, To>{t};
  }
  [[nodiscard]] Ring ring() const {
    if (size() % 2) bad("pairs of numbers");
    Ring points;
    for (std::size_t i = 0; i < size(); i += 2)
      points.push_back({(*this)[i].coordinate(), (*this)[i + 1].coordinate()});
    return points;
  }
  [[nodiscard]] Polygon polygon() const {
    Polygon area;
    for (std::size_t i = 0; i < size(); ++i) (i == 0 ? area.outer : area.holes.emplace_back()) = (*this)[i].ring();
    return area;
  }
  [[nodiscard]] Polygons polygons() const {
    Polygons out;
    for (std::size_t i = 0; i < size(); ++i) out.push_back((*this)[i].polygon());
    return out;
  }
  [[nodiscard]] Box box() const {
    if (is_null()) return {};
    if (size() != 4) bad("[x0, y0, x1, y1]");
    return {(*this)[std::size_t{0}].coordinate(), (*this)[1].coordinate(), (*this)[2].coordinate(),
            (*this)[3].coordinate()};
  }
  [[nodiscard]] Side side() const { return one_of({"top", "bottom"}) == 0 ? Side::top : Side::bottom; }
  [[nodiscard]] std::size_t one_of(std::initializer_list<const char*> names) const {
    const std::string word = text();
    std::string list;
    std::size_t i = 0;
    for (const char* name : names) {
      if (word == name) return i;
      list += (i++ ? ", " : "") + std::string(name);
    }
    bad(list);
  }
  [[nodiscard]] std::vector<std::string> texts() const {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < size(); ++i) out.push_back((*this)[i].text());
    return out;
  }
  /// Hands each item to `use`.
  template <class Use>
  void each(Use use) const {
    for (std::size_t i = 0; i < size(); ++i) use((*this)[i]);
  }
  [[noreturn]] void bad(std::string expected) const {
    throw Bad{where_,
              json_.is_primitive() ? json_.dump(-1, ' ', true, Json::error_handler_t::replace).substr(0, 60)
                                   : json_.type_name(),
              std::move(expected)};
  }

 private:
  const Json& json_;
  std::string where_;
};

BuiltBoard board_of(const Node& node) {
  BuiltBoard board;
  board.name = node["name"].text();
  board.revision = node["revision"].text();
  board.thickness = node["thickness"].length(0.01, 100);
  board.outline = node["outline"].polygon();
  board.nets = node["nets"].texts();
  board.variants = node["variants"].texts();
  node["tooling"].each([&](const Node& entry) {
    board.tooling.push_back({entry["at"].point(), entry["diameter"].length(0, 100)});
  });
  node["parts"].each([&](const Node& entry) {
    BuiltPart part;
    part.name = entry["name"].text();
    part.value = entry["value"].text();
    part.side = entry["side"].side();
    part.height = entry["height"].length(0, 1000);
    part.height_confirmed = entry["height_confirmed"].yes();
    part.fitted = entry["fitted"].yes();
    part.body = entry["body"].polygons();
    for (const char digit : entry["fitted_in"].text()) part.fitted_in.push_back(digit == '1');
    if (!part.fitted_in.empty() && part.fitted_in.size() != board.variants.size())
      entry["fitted_in"].bad("a digit for each variant");
    board.parts.push_back(std::move(part));
  });
  node["pads"].each([&](const Node& entry) {
    if (entry.size() != 10) entry.bad("ten columns");
    BuiltPad pad;
    pad.name = entry[std::size_t{0}].text();
    pad.pin = entry[1].text();
    pad.kind = entry[2].text();
    pad.net = entry[3].id<BuiltNetId>(board.nets.size());
    pad.component = entry[4].id<BuiltPartId>(board.parts.size());
    pad.at = {entry[5].coordinate(), entry[6].coordinate()};
    pad.hole = entry[7].length(0, 100);
    pad.bare = {{entry[8].box(), entry[9].box()}};
    board.pads.push_back(std::move(pad));
  });
  return board;
}

StandingPlate plate_of(const Node& node) {
  StandingPlate plate;
  plate.stem = node["stem"].text();
  plate.kind =
      static_cast<PlateKind>(node["kind"].one_of({"probe", "moving", "pressure", "check", "base", "push", "bridge"}));
  plate.lower = node["lower"].yes();
  plate.thickness = node["thickness"].length(0, 1000);
  plate.outline = node["outline"].ring();
  plate.from_board = node["from_board"].map<BoardFrame, PlateFrame>();
  node["holes"].each([&](const Node& entry) {
    plate.holes.push_back({.kind = entry["kind"].text(),
                           .label = entry["label"].text(),
                           .plate = PlatePoint{entry["plate"].point()},
                           .diameter = entry["diameter"].length(0, 1000),
                           .drilled = entry["drilled"].yes(),
                           .used = entry["used"].yes(),
                           .thread = entry.has("thread") ? entry["thread"].text() : std::string()});
  });
  node["pockets"].each([&](const Node& entry) {
    plate.pockets.push_back({entry["area"].polygons(), entry["depth"].length(0, 1000), entry["through"].yes()});
  });
  return plate;
}

StandingFixture fixture_of(const Node& node) {
  StandingFixture fixture;
  fixture.used = true;
  fixture.main = node["board_lies"].side();
  fixture.to_kit = node["to_kit"].map<BoardFrame, KitFrame>();
  fixture.blank = node["blank"].ring();
  fixture.guide_clearance = node["guide_clearance"].length(0, 100);
  const Node bending = node["bending"];
  fixture.limits_held = bending["limits_held"].yes();
  fixture.flat_held = bending["flat_held"].yes();
  fixture.flat_strain = Microstrain{bending["flat_strain"].number(0, 1e6) * kMicro};
  if (bending.has("springs_N")) fixture.springs = Newton{bending["springs_N"].number(0, 1e6)};
  fixture.lost = bending["lost"].whole(0, 10'000'000);
  node["holes"].each([&](const Node& entry) {
    fixture.holes.push_back({.name = entry["name"].text(),
                             .probe_class = entry["class"].text(),
                             .drill = entry["drill"].length(0.01, 100),
                             .at = entry["at"].point(),
                             .side = entry["side"].side(),
                             .state = static_cast<HoleState>(entry["state"].one_of({"in use", "open", "plugged"})),
                             .net = entry["net"].text(),
                             .long_travel = entry["long_travel"].yes()});
  });
  node["plates"].each([&](const Node& entry) { fixture.plates.push_back(plate_of(entry)); });
  node["supports"].each([&](const Node& entry) {
    fixture.supports.push_back({entry["label"].text(), entry["at"].point(), entry["side"].side(), entry["finger"].yes(),
                                entry.has("on_height") ? Mm{entry["on_height"].number(0, 1000)} : Mm{}});
  });
  if (node.has("pins"))
    node["pins"].each([&](const Node& entry) {
      fixture.pins.push_back({.name = entry["name"].text(),
                              .kind = "signal",
                              .at = KitPoint{entry["at"].point()},
                              .channel = {},
                              .amperes = Amperes{entry["amperes"].number(0, 1e4)},
                              .stage = {}});
    });
  node["wires"].each([&](const Node& entry) {
    fixture.wires.push_back(
        {entry["number"].whole(0, 10'000'000), entry["probe"].text(), entry["net"].text(), entry["pin"].text()});
  });
  return fixture;
}

Revision revision_of(const Node& node) {
  Revision revision;
  revision.plan_id = node["plan_id"].text();
  revision.to_kit = node["to_kit"].map<BoardFrame, KitFrame>();
  revision.board = board_of(node["board"]);
  node["probes"].each([&](const Node& entry) {
    revision.probes.push_back({.name = entry["name"].text(),
                               .net = entry["net"].text(),
                               .target = entry["target"].text(),
                               .probe_class = entry["class"].text(),
                               .tip = entry["tip"].text(),
                               .side = entry["side"].side(),
                               .at = entry["at"].point(),
                               .miss = Chance{entry["miss"].number(0, 1)},
                               .wrong = Chance{entry["wrong"].number(0, 1)},
                               .pin = entry["pin"].text()});
  });
  return revision;
}
}  // namespace

std::string write_fixture_file(const FixtureFile& file) {
  Json steps = Json::array(), revisions = Json::array();
  for (const BuiltStep& step : file.steps)
    steps.push_back({step.stage, step.what, step.probe, step.net, step.pin, step.against, step.limit, step.unit});
  for (const Revision& revision : file.revisions) revisions.push_back(revision_json(revision));
  const Json json{{"schema", kSchema},
                  {"plan_id", file.plan_id},
                  {"kit", file.kit},
                  {"style", file.style},
                  {"catalogue", file.catalogue},
                  {"drill_face", file.drill_face},
                  {"fixture", fixture_json(file.fixture)},
                  {"step_columns", {"stage", "check", "probe", "net", "pin", "against", "limit", "unit"}},
                  {"steps", steps},
                  {"revisions", revisions}};
  return json.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::optional<FixtureFile> read_fixture_file(std::string_view bytes, const std::string& name,
                                             Diagnostics& diagnostics) {
  const Json json = Json::parse(bytes, nullptr, false);
  if (json.is_discarded()) {
    diagnostics.error({.code = "fixture-bad-json",
                       .at = {name, 0, 0, {}},
                       .message = "this is not a JSON file",
                       .found = std::string(bytes.substr(0, 40)),
                       .remedy = "take fixture.json from the folder of the plan from which the fixture was built"});
    return std::nullopt;
  }
  try {
    const Node node(json, "");
    FixtureFile file;
    if (const int schema = node["schema"].whole(0, 1'000'000); schema != kSchema)
      throw Bad{"schema", std::to_string(schema), std::to_string(kSchema) + ", which this version reads"};
    file.plan_id = node["plan_id"].text();
    file.kit = node["kit"].text();
    file.style = node["style"].text();
    file.catalogue = node["catalogue"].text();
    file.drill_face = node["drill_face"].text();
    file.fixture = fixture_of(node["fixture"]);
    file.fixture.plan_id = file.plan_id;
    node["steps"].each([&](const Node& entry) {
      file.steps.push_back({.stage = entry[std::size_t{0}].text(),
                            .what = entry[1].text(),
                            .probe = entry[2].text(),
                            .net = entry[3].text(),
                            .pin = entry[4].text(),
                            .against = entry[5].text(),
                            .limit = entry[6].text(),
                            .unit = entry[7].text()});
    });
    node["revisions"].each([&](const Node& entry) { file.revisions.push_back(revision_of(entry)); });
    if (file.revisions.empty()) throw Bad{"revisions", "none", "one or more"};
    return file;
  } catch (const Bad& fault) {
    diagnostics.error({.code = "fixture-bad-value",
                       .at = {name, 0, 0, fault.where},
                       .message = "a value of the fixture file is not one that this program writes",
                       .found = fault.found,
                       .expected = fault.expected,
                       .remedy = "take fixture.json from the folder of the plan, without changes"});
    return std::nullopt;
  }
}

}  // namespace teasel::formats
