#include "teasel/formats/fixture_file.h"

#include <cmath>
#include <nlohmann/json.hpp>

namespace teasel::formats {

namespace {
using Json = nlohmann::ordered_json;

constexpr int kSchema = 1;
constexpr double kFarthest = 1e5;  // mm; nothing of a fixture lies farther off

double nm(double v) {
  const double r = std::round(v * 1e6) / 1e6;
  return r == 0 ? 0 : r;
}
double um(double v) {
  return rounded(v);
}

// ---- writing
Json point(Point p) {
  return {nm(p.x), nm(p.y)};
}
Json affine(const Affine& t) {
  return {t.a, t.b, t.c, t.d, nm(t.e), nm(t.f)};
}
/// To 1 nm where it is compared with what is planned, else to 1 um.
Json ring(const Ring& r, bool fine) {
  Json out = Json::array();
  for (const Point p : r) {
    out.push_back(fine ? nm(p.x) : um(p.x));
    out.push_back(fine ? nm(p.y) : um(p.y));
  }
  return out;
}
Json polygon(const Polygon& p, bool fine) {
  Json out = Json::array({ring(p.outer, fine)});
  for (const Ring& h : p.holes) out.push_back(ring(h, fine));
  return out;
}
Json polygons(const Polygons& list, bool fine) {
  Json out = Json::array();
  for (const Polygon& p : list) out.push_back(polygon(p, fine));
  return out;
}
Json box(const Box& b) {
  return b.valid() ? Json{um(b.x0), um(b.y0), um(b.x1), um(b.y1)} : Json();
}

Json board_json(const BuiltBoard& b) {
  Json pads = Json::array(), parts = Json::array(), tooling = Json::array();
  for (const BuiltPad& p : b.pads)
    pads.push_back({p.name, p.pin, p.kind, p.net, p.component, nm(p.at.x), nm(p.at.y), nm(p.hole), box(p.bare[0]),
                    box(p.bare[1])});
  for (const BuiltPart& p : b.parts) {
    std::string in;
    for (const char c : p.fitted_in) in += c ? '1' : '0';
    parts.push_back({{"name", p.name},
                     {"value", p.value},
                     {"side", to_string(p.side)},
                     {"height", nm(p.height)},
                     {"height_confirmed", p.height_confirmed},
                     {"fitted", p.fitted},
                     {"fitted_in", in},
                     {"body", polygons(p.body, false)}});
  }
  for (const BuiltBoard::Pin& p : b.tooling) tooling.push_back({{"at", point(p.at)}, {"diameter", nm(p.diameter)}});
  return {{"name", b.name},
          {"revision", b.revision},
          {"thickness", nm(b.thickness)},
          {"outline", polygon(b.outline, false)},
          {"tooling", tooling},
          {"nets", b.nets},
          {"variants", b.variants},
          {"pad_columns", {"name", "pin", "kind", "net", "part", "x", "y", "hole", "bare_top", "bare_bottom"}},
          {"pads", pads},
          {"parts", parts}};
}

Json plate_json(const StandingPlate& p) {
  Json holes = Json::array(), pockets = Json::array();
  for (const StandingPlateHole& h : p.holes)
    holes.push_back({{"kind", h.kind},
                     {"label", h.label},
                     {"plate", point(h.plate)},
                     {"diameter", nm(h.diameter)},
                     {"drilled", h.drilled},
                     {"used", h.used}});
  for (const StandingPocket& k : p.pockets)
    pockets.push_back({{"depth", nm(k.depth)}, {"through", k.through}, {"area", polygons(k.area, true)}});
  return {{"stem", p.stem},
          {"kind", to_string(p.kind)},
          {"lower", p.lower},
          {"thickness", nm(p.thickness)},
          {"outline", ring(p.outline, true)},
          {"from_board", affine(p.from_board)},
          {"holes", holes},
          {"pockets", pockets}};
}

Json fixture_json(const StandingFixture& f) {
  Json holes = Json::array(), plates = Json::array(), supports = Json::array(), wires = Json::array();
  for (const StandingHole& h : f.holes)
    holes.push_back({{"name", h.name},
                     {"class", h.probe_class},
                     {"drill", nm(h.drill)},
                     {"at", point(h.at)},
                     {"side", to_string(h.side)},
                     {"state", to_string(h.state)},
                     {"net", h.net},
                     {"long_travel", h.long_travel}});
  for (const StandingPlate& p : f.plates) plates.push_back(plate_json(p));
  for (const StandingSupport& s : f.supports)
    supports.push_back({{"label", s.label}, {"at", point(s.at)}, {"side", to_string(s.side)}, {"finger", s.finger}});
  for (const StandingWire& w : f.wires)
    wires.push_back({{"number", w.number}, {"probe", w.probe}, {"net", w.net}, {"pin", w.pin}});
  return {
      {"board_lies", to_string(f.main)},
      {"to_kit", affine(f.to_kit)},
      {"blank", ring(f.blank, true)},
      {"guide_clearance", nm(f.guide_clearance)},
      {"bending",
       {{"limits_held", f.limits_held}, {"flat_held", f.flat_held}, {"flat_strain", f.flat_strain}, {"lost", f.lost}}},
      {"holes", holes},
      {"plates", plates},
      {"supports", supports},
      {"wires", wires}};
}

Json revision_json(const Revision& r) {
  Json probes = Json::array();
  for (const BuiltProbe& p : r.probes)
    probes.push_back({{"name", p.name},
                      {"net", p.net},
                      {"target", p.target},
                      {"class", p.probe_class},
                      {"tip", p.tip},
                      {"side", to_string(p.side)},
                      {"at", point(p.at)},
                      {"miss", p.miss},
                      {"wrong", p.wrong},
                      {"pin", p.pin}});
  return {{"plan_id", r.plan_id}, {"to_kit", affine(r.to_kit)}, {"probes", probes}, {"board", board_json(r.board)}};
}

// ---- reading
struct Bad {
  std::string where, found, expected;
};

/// A value and the way to it.
class Node {
 public:
  Node(const Json& j, std::string where) : j_(j), where_(std::move(where)) {}
  [[nodiscard]] Node operator[](const char* key) const {
    const std::string there = where_.empty() ? key : where_ + "." + key;
    if (!j_.is_object()) bad("an object");
    const auto it = j_.find(key);
    if (it == j_.end()) throw Bad{there, "nothing", "a value"};
    return {*it, there};
  }
  [[nodiscard]] Node operator[](std::size_t i) const {
    if (!j_.is_array() || i >= j_.size()) bad("more items");
    return {j_[i], where_ + "[" + std::to_string(i) + "]"};
  }
  [[nodiscard]] std::size_t size() const {
    if (!j_.is_array()) bad("a list");
    return j_.size();
  }
  [[nodiscard]] bool is_null() const { return j_.is_null(); }
  [[nodiscard]] std::string text() const {
    if (!j_.is_string()) bad("text");
    return j_.get<std::string>();
  }
  [[nodiscard]] bool yes() const {
    if (!j_.is_boolean()) bad("true or false");
    return j_.get<bool>();
  }
  [[nodiscard]] double number(double least, double most) const {
    const double v = j_.is_number() ? j_.get<double>() : NAN;
    if (!(v >= least && v <= most)) bad("a number from " + std::to_string(least) + " to " + std::to_string(most));
    return v;
  }
  [[nodiscard]] double length() const { return number(-kFarthest, kFarthest); }
  [[nodiscard]] int whole(int least, int most) const {
    if (!j_.is_number_integer()) bad("a whole number");
    return static_cast<int>(number(least, most));
  }
  [[nodiscard]] Point point() const {
    if (size() != 2) bad("[x, y]");
    return {(*this)[std::size_t{0}].length(), (*this)[1].length()};
  }
  [[nodiscard]] Affine affine() const {
    if (size() != 6) bad("six numbers");
    Affine t{(*this)[std::size_t{0}].number(-1.01, 1.01),
             (*this)[1].number(-1.01, 1.01),
             (*this)[2].number(-1.01, 1.01),
             (*this)[3].number(-1.01, 1.01),
             (*this)[4].length(),
             (*this)[5].length()};
    if (std::abs(std::abs(t.determinant()) - 1) > 1e-6) bad("a turn, a shift, or both");
    return t;
  }
  [[nodiscard]] Ring ring() const {
    if (size() % 2) bad("pairs of numbers");
    Ring r;
    for (std::size_t i = 0; i < size(); i += 2) r.push_back({(*this)[i].length(), (*this)[i + 1].length()});
    return r;
  }
  [[nodiscard]] Polygon polygon() const {
    Polygon p;
    for (std::size_t i = 0; i < size(); ++i) (i == 0 ? p.outer : p.holes.emplace_back()) = (*this)[i].ring();
    return p;
  }
  [[nodiscard]] Polygons polygons() const {
    Polygons out;
    for (std::size_t i = 0; i < size(); ++i) out.push_back((*this)[i].polygon());
    return out;
  }
  [[nodiscard]] Box box() const {
    if (is_null()) return {};
    if (size() != 4) bad("[x0, y0, x1, y1]");
    return {(*this)[std::size_t{0}].length(), (*this)[1].length(), (*this)[2].length(), (*this)[3].length()};
  }
  [[nodiscard]] Side side() const { return one_of({"top", "bottom"}) == 0 ? Side::top : Side::bottom; }
  [[nodiscard]] std::size_t one_of(std::initializer_list<const char*> names) const {
    const std::string s = text();
    std::string list;
    std::size_t i = 0;
    for (const char* n : names) {
      if (s == n) return i;
      list += (i++ ? ", " : "") + std::string(n);
    }
    bad(list);
  }
  [[nodiscard]] std::vector<std::string> texts() const {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < size(); ++i) out.push_back((*this)[i].text());
    return out;
  }
  /// Each item in turn.
  template <class F>
  void each(F f) const {
    for (std::size_t i = 0; i < size(); ++i) f((*this)[i]);
  }
  [[noreturn]] void bad(std::string expected) const {
    throw Bad{where_,
              j_.is_primitive() ? j_.dump(-1, ' ', true, Json::error_handler_t::replace).substr(0, 60) : j_.type_name(),
              std::move(expected)};
  }

 private:
  const Json& j_;
  std::string where_;
};

BuiltBoard board_of(const Node& n) {
  BuiltBoard b;
  b.name = n["name"].text();
  b.revision = n["revision"].text();
  b.thickness = n["thickness"].number(0.01, 100);
  b.outline = n["outline"].polygon();
  b.nets = n["nets"].texts();
  b.variants = n["variants"].texts();
  n["tooling"].each([&](const Node& p) { b.tooling.push_back({p["at"].point(), p["diameter"].number(0, 100)}); });
  n["parts"].each([&](const Node& p) {
    BuiltPart x;
    x.name = p["name"].text();
    x.value = p["value"].text();
    x.side = p["side"].side();
    x.height = p["height"].number(0, 1000);
    x.height_confirmed = p["height_confirmed"].yes();
    x.fitted = p["fitted"].yes();
    x.body = p["body"].polygons();
    for (const char c : p["fitted_in"].text()) x.fitted_in.push_back(c == '1');
    if (!x.fitted_in.empty() && x.fitted_in.size() != b.variants.size()) p["fitted_in"].bad("a digit for each variant");
    b.parts.push_back(std::move(x));
  });
  const int nets = static_cast<int>(b.nets.size()), parts = static_cast<int>(b.parts.size());
  n["pads"].each([&](const Node& p) {
    if (p.size() != 10) p.bad("ten columns");
    BuiltPad x;
    x.name = p[std::size_t{0}].text();
    x.pin = p[1].text();
    x.kind = p[2].text();
    x.net = p[3].whole(-1, nets - 1);
    x.component = p[4].whole(-1, parts - 1);
    x.at = {p[5].length(), p[6].length()};
    x.hole = p[7].number(0, 100);
    x.bare = {p[8].box(), p[9].box()};
    b.pads.push_back(std::move(x));
  });
  return b;
}

StandingPlate plate_of(const Node& n) {
  StandingPlate p;
  p.stem = n["stem"].text();
  p.kind = static_cast<PlateKind>(n["kind"].one_of({"probe", "moving", "pressure"}));
  p.lower = n["lower"].yes();
  p.thickness = n["thickness"].number(0, 1000);
  p.outline = n["outline"].ring();
  p.from_board = n["from_board"].affine();
  n["holes"].each([&](const Node& h) {
    p.holes.push_back({h["kind"].text(), h["label"].text(), h["plate"].point(), h["diameter"].number(0, 1000),
                       h["drilled"].yes(), h["used"].yes()});
  });
  n["pockets"].each([&](const Node& k) {
    p.pockets.push_back({k["area"].polygons(), k["depth"].number(0, 1000), k["through"].yes()});
  });
  return p;
}

StandingFixture fixture_of(const Node& n) {
  StandingFixture f;
  f.used = true;
  f.main = n["board_lies"].side();
  f.to_kit = n["to_kit"].affine();
  f.blank = n["blank"].ring();
  f.guide_clearance = n["guide_clearance"].number(0, 100);
  const Node bending = n["bending"];
  f.limits_held = bending["limits_held"].yes();
  f.flat_held = bending["flat_held"].yes();
  f.flat_strain = bending["flat_strain"].number(0, 1e6);
  f.lost = bending["lost"].whole(0, 10'000'000);
  n["holes"].each([&](const Node& h) {
    f.holes.push_back({h["name"].text(), h["class"].text(), h["drill"].number(0.01, 100), h["at"].point(),
                       h["side"].side(), static_cast<HoleState>(h["state"].one_of({"in use", "open", "plugged"})),
                       h["net"].text(), h["long_travel"].yes()});
  });
  n["plates"].each([&](const Node& p) { f.plates.push_back(plate_of(p)); });
  n["supports"].each([&](const Node& s) {
    f.supports.push_back({s["label"].text(), s["at"].point(), s["side"].side(), s["finger"].yes()});
  });
  n["wires"].each([&](const Node& w) {
    f.wires.push_back({w["number"].whole(0, 10'000'000), w["probe"].text(), w["net"].text(), w["pin"].text()});
  });
  return f;
}

Revision revision_of(const Node& n) {
  Revision r;
  r.plan_id = n["plan_id"].text();
  r.to_kit = n["to_kit"].affine();
  r.board = board_of(n["board"]);
  n["probes"].each([&](const Node& p) {
    r.probes.push_back({p["name"].text(), p["net"].text(), p["target"].text(), p["class"].text(), p["tip"].text(),
                        p["side"].side(), p["at"].point(), p["miss"].number(0, 1), p["wrong"].number(0, 1),
                        p["pin"].text()});
  });
  return r;
}
}  // namespace

std::string write_fixture_file(const FixtureFile& f) {
  Json steps = Json::array(), revisions = Json::array();
  for (const BuiltStep& s : f.steps)
    steps.push_back({s.stage, s.what, s.probe, s.net, s.pin, s.against, s.limit, s.unit});
  for (const Revision& r : f.revisions) revisions.push_back(revision_json(r));
  const Json j{{"schema", kSchema},
               {"plan_id", f.plan_id},
               {"kit", f.kit},
               {"style", f.style},
               {"catalogue", f.catalogue},
               {"drill_face", f.drill_face},
               {"fixture", fixture_json(f.fixture)},
               {"step_columns", {"stage", "check", "probe", "net", "pin", "against", "limit", "unit"}},
               {"steps", steps},
               {"revisions", revisions}};
  return j.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::optional<FixtureFile> read_fixture_file(std::string_view bytes, const std::string& name, Diagnostics& d) {
  const Json j = Json::parse(bytes, nullptr, false);
  if (j.is_discarded()) {
    d.error("fixture-bad-json", {name, 0, 0, {}}, "this is not a JSON file", std::string(bytes.substr(0, 40)), {},
            "take fixture.json from the folder of the plan that the fixture was built by");
    return std::nullopt;
  }
  try {
    const Node n(j, "");
    FixtureFile f;
    if (const int schema = n["schema"].whole(0, 1'000'000); schema != kSchema)
      throw Bad{"schema", std::to_string(schema), std::to_string(kSchema) + ", which this version reads"};
    f.plan_id = n["plan_id"].text();
    f.kit = n["kit"].text();
    f.style = n["style"].text();
    f.catalogue = n["catalogue"].text();
    f.drill_face = n["drill_face"].text();
    f.fixture = fixture_of(n["fixture"]);
    f.fixture.plan_id = f.plan_id;
    n["steps"].each([&](const Node& s) {
      f.steps.push_back({s[std::size_t{0}].text(), s[1].text(), s[2].text(), s[3].text(), s[4].text(), s[5].text(),
                         s[6].text(), s[7].text()});
    });
    n["revisions"].each([&](const Node& r) { f.revisions.push_back(revision_of(r)); });
    if (f.revisions.empty()) throw Bad{"revisions", "none", "one or more"};
    return f;
  } catch (const Bad& b) {
    d.error("fixture-bad-value", {name, 0, 0, b.where}, "a value of the fixture file is not as it is written", b.found,
            b.expected, "take fixture.json from the folder of the plan, as it was written");
    return std::nullopt;
  }
}

}  // namespace teasel::formats
