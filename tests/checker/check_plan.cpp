// Proves a finished plan folder against the raw IPC-D-356 netlist it was made from.
// It has readers of its own and shares no code with the planner, so that one wrong assumption cannot hide in both.
// Exit status: 0 the plan holds, 1 violations were printed, 2 wrong usage or unreadable input.

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>
#include <optional>
#include <set>
#include <stdexcept>
#include <string>
#include <vector>

namespace {

using nlohmann::json;
using std::string, std::vector, std::size_t, std::to_string;
namespace fs = std::filesystem;
using Row = std::map<string, string>;

constexpr double kSame = 0.0005 + 1e-9;           // all tables are printed with three decimals
constexpr double kLandTolerance = 0.02 + 0.0127;  // aim tolerance plus rounding in the netlist
size_t violations = 0;

void expect(bool holds, const string& otherwise) {
  if (holds) return;
  ++violations;
  std::cout << "violation: " << otherwise << '\n';
}

[[noreturn]] void unreadable(const string& where, const string& why) {
  throw std::runtime_error(where + ": " + why);
}
string at(double x, double y) {
  return "X" + to_string(x) + " Y" + to_string(y);
}
bool near(double a, double b) {
  return std::abs(a - b) <= kSame;
}
bool allDigits(const string& text) {
  return !text.empty() && text.find_first_not_of("0123456789") == string::npos;
}

string trim(string text) {
  text.erase(text.find_last_not_of(' ') + 1);
  return text.erase(0, text.find_first_not_of(' '));
}

double number(const string& text, const string& where) {
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value))
    unreadable(where, "'" + text + "' is no number");
  return value;
}

vector<string> readLines(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!fs::is_regular_file(path) || !in) unreadable(path.string(), "cannot be opened");
  vector<string> lines;
  for (string line; std::getline(in, line);)
    lines.push_back(line.ends_with('\r') ? line.substr(0, line.size() - 1) : line);
  return lines;
}

// RFC 4180: quoted fields may hold commas, doubled quotes and line breaks.
vector<Row> readCsv(const fs::path& path, const string& header) {
  const vector<string> lines = readLines(path);
  if (lines.empty() || lines.front() != header) unreadable(path.string(), "its columns are not " + header);
  vector<vector<string>> records;
  bool quoted = false, closed = false;
  for (const string& line : lines) {
    if (quoted)
      records.back().back() += '\n';
    else {
      records.emplace_back(1);
      closed = false;
    }
    for (size_t i = 0; i < line.size(); ++i) {
      string& field = records.back().back();
      if (quoted && line[i] != '"')
        field += line[i];
      else if (quoted && line.substr(i, 2) == "\"\"")
        field += line[++i];
      else if (quoted) {
        closed = true;
        quoted = false;
      } else if (line[i] == ',') {
        records.back().emplace_back();
        closed = false;
      } else if (closed || (line[i] == '"' && !field.empty()))
        unreadable(path.string(), "stray quote in record " + to_string(records.size()));
      else if (line[i] == '"')
        quoted = true;
      else
        field += line[i];
    }
  }
  if (quoted) unreadable(path.string(), "a quote is never closed");
  vector<Row> rows(records.size() - 1);
  for (size_t i = 1; i < records.size(); ++i) {
    if (records[i].size() != records[0].size())
      unreadable(path.string(), "wrong number of fields in record " + to_string(i + 1));
    for (size_t k = 0; k < records[i].size(); ++k) rows[i - 1][records[0][k]] = records[i][k];
  }
  return rows;
}

struct Land {
  string net;
  double x = 0, y = 0, width = 0, height = 0, rotation = 0, hole = 0;
  std::optional<int> access;
  bool top = false, bottom = false;
  size_t line = 0, stack = 0;
};

vector<Land> readNetlist(const fs::path& path, const json& offset) {
  static const std::map<string, double> kUnits{
      {"CUST", 0.00254}, {"CUST 0", 0.00254}, {"CUST 1", 0.001}, {"SI", 0.001}};
  vector<Land> lands;
  std::map<string, string> aliases;
  std::set<size_t> sized;  // stacks with a record that declares a size
  string unit;
  bool ended = false;
  int etchLayers = 0, largest = 2;
  size_t row = 0;
  const auto fail = [&](const string& why) { unreadable(path.string() + ", line " + to_string(row), why); };
  for (string line : readLines(path)) {
    ++row;
    if (trim(line).empty()) continue;
    if (ended || (line[0] != 'C' && line.find('\t') != string::npos))
      fail(ended ? "record after 999" : "a tab makes its columns uncertain");
    line.resize(std::max<size_t>(line.size(), 80), ' ');
    if (line[0] == 'P' || line[0] == 'C') {
      const string body = trim(line.substr(1)), keyword = body.substr(0, body.find(' ')),
                   rest = trim(body.substr(keyword.size()));
      if (keyword.starts_with("NNAME") &&
          (keyword.size() > 5 || line[0] == 'P')) {  // some writers keep this table in comments
        const string key = keyword.size() > 5 ? keyword.substr(5) : rest.substr(0, rest.find(' '));
        const string name = keyword.size() > 5 ? rest : trim(rest.substr(key.size()));
        for (const string& spelling : {key, "NNAME" + key})
          if (name.empty() || aliases.emplace(spelling, name).first->second != name)
            fail("alias " + key + " has no name or two");
      } else if (keyword == "UNITS" && line[0] == 'P') {
        if (!kUnits.contains(rest) || (!unit.empty() && unit != rest)) fail("unknown or second unit '" + rest + "'");
        unit = rest;
      } else if (line[0] == 'C' && body.starts_with("Number of etch Layers:"))
        etchLayers = static_cast<int>(std::clamp(number(trim(body.substr(22)), path.string()), 0.0, 99.0));
      continue;
    }
    const string code = line.substr(0, 3);
    ended = code == "999";
    if (!allDigits(code) || code == "309") fail("record " + code + " is not understood");
    if (string("317 327 367 307 017 027 067").find(code) == string::npos) continue;
    const bool continues = code[0] == '0';
    if (unit.empty() || (continues && lands.empty())) fail("feature without a unit or without a record to continue");
    // A fixed letter, then digits; leading blanks count as zeros, nothing but blanks means absent.
    const auto value = [&](char letter, size_t column, size_t from, size_t to) -> std::optional<double> {
      string text = line.substr(from - 1, to - from + 1);
      const char sign = to - from == 6 ? text[0] : ' ', found = line[column - 1];
      if (sign == '-' || sign == '+') text[0] = ' ';
      text.erase(0, text.find_first_not_of(' '));
      if (text.empty() && (found == letter || found == ' ')) return std::nullopt;
      if (found != letter || !allDigits(text))
        fail("column " + to_string(column) + " should hold " + letter + " and a number");
      return (sign == '-' ? -1 : 1) * number(text, path.string());
    };
    const double count = kUnits.at(unit);
    const auto x = value('X', 42, 43, 49), y = value('Y', 50, 51, 57);
    if (x.has_value() != y.has_value() || (!x && !continues)) fail("no position");
    Land land = continues ? lands.back() : Land{};  // what a continuation leaves blank it inherits
    if (const string net = trim(line.substr(3, 14)); !net.empty()) land.net = net;
    if (!continues) land.stack = row;
    if (x) {
      land.x = *x * count + offset.at(0).get<double>();
      land.y = *y * count + offset.at(1).get<double>();
    }
    land.line = row;
    land.hole = line[32] == ' ' ? 0 : value('D', 33, 34, 37).value_or(0) * count;
    land.width = value('X', 58, 59, 62).value_or(0) * count;
    land.height = value('Y', 63, 64, 67).value_or(0) * count;
    land.rotation = value('R', 68, 69, 71).value_or(0) * std::numbers::pi / 180;
    land.access = value('A', 39, 40, 41);
    if (code[1] == '6') land.access.reset();  // a tooling hole is no land
    if (land.width > 0) sized.insert(land.stack);
    largest = std::max(largest, land.access.value_or(0));
    lands.push_back(land);
  }
  if (!ended) std::cout << "note: " << path.string() << " does not end with 999, it may be cut off\n";
  for (Land& land : lands) {
    if (const auto it = aliases.find(land.net); it != aliases.end()) land.net = it->second;
    land.top = land.access && (*land.access == 0 || *land.access == 1);
    land.bottom = land.access && (*land.access == 0 || *land.access == (etchLayers > 0 ? etchLayers : largest));
    if (!sized.contains(land.stack)) land.width = land.hole;  // a bare hole is the land only if its stack declares none
  }
  return lands;
}

// How far a point lies outside a land; the pad's own axes are turned counter-clockwise by its rotation.
double outside(const Land& land, double x, double y) {
  const double dx = x - land.x, dy = y - land.y, c = std::cos(land.rotation), s = std::sin(land.rotation);
  if (land.width <= 0) return HUGE_VAL;
  if (land.height <= 0) return std::max(0.0, std::hypot(dx, dy) - land.width / 2);
  return std::hypot(std::max(0.0, std::abs(c * dx + s * dy) - land.width / 2),
                    std::max(0.0, std::abs(c * dy - s * dx) - land.height / 2));
}

struct Probe {
  Row row;
  string name, net, side, type;
  double x = 0, y = 0, drill = 0, force = 0;
};

vector<Probe> readProbes(const fs::path& path) {
  vector<Probe> probes;
  for (const Row& row : readCsv(path,
                                "probe,net,role,side,target,component,pin,x_mm,y_mm,class,tip,head_mm,force_N,odds,"
                                "receptacle_drill_mm,notes")) {
    const auto value = [&](const char* key) {
      return number(row.at(key), path.string() + ", " + row.at("probe") + ", " + key);
    };
    probes.push_back({.row = row,
                      .name = row.at("probe"),
                      .net = row.at("net"),
                      .side = row.at("side"),
                      .type = row.at("class"),
                      .x = value("x_mm"),
                      .y = value("y_mm"),
                      .drill = value("receptacle_drill_mm"),
                      .force = value("force_N")});
  }
  return probes;
}

/// A netlist keeps 14 letters of a longer name, its beginning or its end, in capitals, with ? for what it cannot write.
bool isNet(const string& name, const string& listed) {
  if (name == listed) return true;
  if (listed.size() < 8 || name.size() < listed.size()) return false;
  const auto alike = [&](size_t from) {
    for (size_t i = 0; i < listed.size(); ++i)
      if (listed[i] != '?' &&
          toupper(static_cast<unsigned char>(listed[i])) != toupper(static_cast<unsigned char>(name[from + i])))
        return false;
    return true;
  };
  return alike(0) || alike(name.size() - listed.size());
}

void checkLands(const vector<Probe>& probes, const vector<Land>& lands) {
  for (const Probe& probe : probes) {
    const string who = probe.name + " (" + probe.net + ", " + probe.side + ", " + at(probe.x, probe.y) + "): ";
    expect(probe.side == "top" || probe.side == "bottom", who + "there is no such side");
    expect(!probe.net.empty() && probe.net != "N/C", who + "probes an unconnected point");
    double least = HUGE_VAL;
    size_t line = 0;
    for (const Land& land : lands) {
      if (!isNet(probe.net, land.net) || !(probe.side == "top" ? land.top : land.bottom)) continue;
      if (const double miss = outside(land, probe.x, probe.y); miss < least) {
        least = miss;
        line = land.line;
      }
    }
    if (line == 0)
      expect(false, who + "the netlist has no land of this net on this side");
    else
      expect(least <= kLandTolerance, who + "misses the nearest land of its net, netlist line " + to_string(line) +
                                          ", by " + to_string(least) + " mm");
  }
}

void checkAgreement(const vector<Probe>& probes, const json& plan) {
  std::map<string, json> planned;
  for (const json& entry : plan.at("probes"))
    expect(planned.emplace(entry.at("name").get<string>(), entry).second,
           "plan.json lists probe " + entry.at("name").dump() + " twice");
  for (const Probe& probe : probes) {
    const auto node = planned.extract(probe.name);
    expect(!node.empty(), probe.name + ": is not in plan.json, or twice in probes.csv");
    if (node.empty()) continue;
    const json& entry = node.mapped();
    for (const string key : {"net", "role", "side", "target", "component", "pin", "class", "tip"})
      expect(entry.at(key) == probe.row.at(key), probe.name + ": " + key + " '" + probe.row.at(key) +
                                                     "' in probes.csv, " + entry.at(key).dump() + " in plan.json");
    const auto same = [&](const string& what, double csv, const json& other) {
      expect(near(csv, other.get<double>()),
             probe.name + ": " + what + " is " + to_string(csv) + " in probes.csv, " + other.dump() + " in plan.json");
    };
    same("x", probe.x, entry.at("aim_mm").at(0));
    same("y", probe.y, entry.at("aim_mm").at(1));
    same("force", probe.force, entry.at("force_N"));
    same("receptacle drill", probe.drill, entry.at("receptacle_drill_mm"));
  }
  for (const auto& [name, entry] : planned) expect(false, name + ": is in plan.json but not in probes.csv");
}

void checkSpacing(const vector<Probe>& probes, const json& plan) {
  static const std::map<string, double> kSpacing{
      {"100 mil", 2.54}, {"75 mil", 1.905}, {"50 mil", 1.27}, {"39 mil", 0.99}};
  std::map<string, double> spacing;
  double smallest = HUGE_VAL;
  for (const json& type : plan.at("classes")) {
    const string name = type.at("name").get<string>();
    smallest = std::min(smallest, spacing[name] = type.at("spacing_mm").get<double>());
    expect(kSpacing.contains(name) && std::abs(kSpacing.at(name) - spacing[name]) < 1e-9,
           "plan.json: the rules know no class " + type.dump());
    for (const Probe& probe : probes)
      if (probe.type == name)
        expect(near(probe.drill, type.at("receptacle_drill_mm").get<double>()),
               probe.name + ": drill is not that of its class");
  }
  for (auto one = probes.begin(); one != probes.end(); ++one) {
    expect(spacing.contains(one->type), one->name + ": its class '" + one->type + "' is not in plan.json");
    if (!spacing.contains(one->type)) continue;
    for (auto other = std::next(one); other != probes.end(); ++other) {
      if (one->side != other->side || !spacing.contains(other->type)) continue;
      const double sa = spacing[one->type], sb = spacing[other->type],
                   web = sa <= smallest && sb <= smallest ? 0.20 : 0.25;
      const double least = std::max((sa + sb) / 2, (one->drill + other->drill) / 2 + web),
                   distance = std::hypot(one->x - other->x, one->y - other->y);
      // Places are written on a grid of 1 um: each may be off by 0.7 um.
      if (distance < least - 0.0015)
        expect(false,
               one->name + " and " + other->name + ": " + to_string(distance) + " mm apart, not " + to_string(least));
    }
  }
}

struct Hole {
  double x = 0, y = 0, diameter = 0;
  string what;
};

Hole holeAt(const json& position, double diameter, const string& what) {
  return {position.at(0).get<double>(), position.at(1).get<double>(), diameter, what};
}

vector<Hole> readDrill(const fs::path& path, string& comments) {
  vector<Hole> holes;
  std::map<string, double> tools;
  string tool, file = path.filename().string();
  std::set<string> words;
  size_t row = 0;
  for (const string& raw : readLines(path)) {
    const string line = trim(raw), where = path.string() + ", line " + to_string(++row);
    const bool body = words.contains("%");
    if (!line.empty() && (words.contains("M30") || (words.empty() && line != "M48")))
      unreadable(where, "text outside of the program");
    const auto c = line.find('C'), y = line.find('Y');
    if (line.empty() || line[0] == ';')
      comments += body ? "" : line + '\n';
    else if (std::set<string>{"M48", "METRIC", "%", "G90", "G05", "M30"}.contains(line))
      words.insert(line);
    else if (line[0] == 'T' && !body && c != string::npos && allDigits(line.substr(1, c - 1)))
      expect(tools.emplace(line.substr(0, c), number(line.substr(c + 1), where)).second,
             file + ": defines a tool twice, " + line);
    else if (line[0] == 'T' && body && tools.contains(line))
      tool = line;
    else if (line[0] == 'X' && body && y != string::npos && !tool.empty()) {
      expect(std::count(line.begin(), line.end(), '.') == 2, file + ": no decimal point in " + line);
      holes.push_back({number(line.substr(1, y - 1), where), number(line.substr(y + 1), where), tools.at(tool),
                       "line " + to_string(row)});
    } else
      unreadable(where, "'" + line + "' is not understood");
  }
  for (const char* word : {"METRIC", "G90", "M30"}) expect(words.contains(word), file + ": does not say " + word);
  return holes;
}

// Every hole of either list needs its own partner in the other one, with the same label where both have labels.
void matchHoles(const string& file, const string& source, const vector<Hole>& wanted, const string& other,
                vector<Hole> drilled, bool labelled) {
  const auto text = [](const Hole& hole) {
    return to_string(hole.diameter) + " mm at " + at(hole.x, hole.y) + " (" + hole.what + ")";
  };
  for (const Hole& hole : wanted) {
    const auto partner = std::find_if(drilled.begin(), drilled.end(), [&](const Hole& listed) {
      return near(hole.x, listed.x) && near(hole.y, listed.y) && near(hole.diameter, listed.diameter) &&
             (!labelled || hole.what == listed.what);
    });
    expect(partner != drilled.end(), file + ": in " + source + " but not in " + other + ": " + text(hole));
    if (partner != drilled.end()) drilled.erase(partner);
  }
  for (const Hole& hole : drilled) expect(false, file + ": in " + other + " but not in " + source + ": " + text(hole));
}

bool either(const json& object, const string& key, const string& yes, const string& no) {
  const string word = object.at(key).get<string>();
  if (word != yes && word != no) unreadable("plan.json", key + " is '" + word + "'");
  return word == yes;
}

size_t checkPlates(const fs::path& folder, const json& plan, const vector<Probe>& probes) {
  const string id = plan.at("plan_id").get<string>();
  const bool bottomDown = either(plan, "board_lies", "bottom side down", "top side down");
  std::set<string> sides, files, kinds;
  size_t drilled = 0;
  std::optional<vector<Hole>> orientation;  // stand in one plate, and every other lets them through
  for (const json& plate : plan.at("plates")) {
    const fs::path path = folder / plate.at("file").get<string>(), twinPath = fs::path(path).replace_extension(".csv");
    const string file = path.filename().string(), side = plate.at("probes_side").get<string>();
    const bool lower = either(plate, "position", "lower", "upper");
    // Copper is drawn seen from the board's top. A lower plate's board face and an upper plate's outer face look up:
    // who draws them sees the top of the board only when the bottom side lies down, and X turned over otherwise.
    const bool looksUp = lower == either(plate, "seen_from", "board face", "outer face"),
               mirrored = looksUp != bottomDown;
    string comments;
    const vector<Hole> drill = readDrill(path, comments);
    drilled += drill.size();
    files.insert({file, twinPath.filename().string()});
    for (const json& pocket : plate.at("pockets")) {
      const string pocketFile = fs::path(pocket.at("file").get<string>()).filename().string();
      files.insert(pocketFile);
      expect(fs::exists(folder / "plates" / pocketFile), pocketFile + ": named by plan.json, not there");
    }
    const string plateKind = plate.at("kind").get<string>();
    const bool carries = plateKind == "base" || plateKind == "push" || plateKind == "bridge";
    expect(plateKind == "probe" || plateKind == "moving" || plateKind == "pressure" || carries,
           file + ": unknown kind of plate " + plateKind);
    expect(kinds.insert(plateKind + side).second, file + ": second " + plateKind + " plate for the " + side + " side");
    if (plateKind == "probe") sides.insert(side);
    expect(side == (lower == bottomDown ? "bottom" : "top"),
           file + ": a plate in this position cannot touch the " + side + " side");
    expect(plate.at("mirrored").get<bool>() == mirrored,
           file + (mirrored ? ": must" : ": must not") + " be mirrored, plan.json says otherwise");
    expect(!id.empty() && comments.find(id) != string::npos, file + ": its header does not name the plan id " + id);
    expect((comments.find("MIRRORED") != string::npos) == mirrored,
           file + (mirrored ? ": does not say" : ": wrongly says") + " MIRRORED");
    // A move of the plane: its hand must be the one that the faces demand.
    const vector<double> matrix = plate.at("from_board").get<vector<double>>();
    if (matrix.size() != 6) unreadable(file, "from_board in plan.json has not six numbers");
    expect(std::abs(matrix[0] * matrix[3] - matrix[1] * matrix[2] - (mirrored ? -1 : 1)) < 1e-9 &&
               std::abs(matrix[0] * matrix[1] + matrix[2] * matrix[3]) < 1e-9 &&
               std::abs(matrix[0] * matrix[0] + matrix[2] * matrix[2] - 1) < 1e-9,
           file + ": the board is not laid into the plate by a move, or with the wrong hand");
    const auto onPlate = [&](double x, double y) {
      return std::pair(matrix[0] * x + matrix[1] * y + matrix[4], matrix[2] * x + matrix[3] * y + matrix[5]);
    };
    const auto placedAt = [&](double x, double y, double diameter, const string& what) {
      const auto [px, py] = onPlate(x, y);
      return Hole{px, py, diameter, what};
    };
    vector<Hole> wanted, planned, twin, tooling, pins, blank, guided, guides, turned;
    for (const Probe& probe : probes) {
      if (probe.side != side) continue;
      if (plateKind == "probe")
        wanted.push_back(placedAt(probe.x, probe.y, probe.drill, "receptacle " + probe.name + " " + probe.net));
      if (plateKind == "moving") guided.push_back(placedAt(probe.x, probe.y, 0, "probe " + probe.name));
    }
    for (const json& hole : plan.at("tooling")) tooling.push_back(holeAt(hole.at("at_mm"), 0, "of the board"));
    for (const json& hole : plate.at("holes")) {
      const string kind = hole.at("kind").get<string>(),
                   what = kind + " " + hole.at("label").get<string>() + " " + hole.at("net").get<string>();
      const Hole here = holeAt(hole.at("plate_mm"), hole.at("diameter_mm").get<double>(), what);
      if (!hole.at("drilled").get<bool>()) {
        expect(kind == "hole of the kit", file + ": a hole that is not drilled and not of the kit: " + what);
        blank.push_back(here);
        continue;
      }
      planned.push_back(here);
      if (kind == "receptacle") continue;
      expect(kind == "tooling pin" || kind == "pin clearance" || kind == "plunger clearance" || kind == "board stop" ||
                 kind == "push finger" || kind == "guide pin" || kind == "screw" || kind == "orientation pin" ||
                 kind == "bush" || kind == "shoulder screw" || kind == "stroke stop" || kind == "standoff" ||
                 kind == "pillar clearance" || kind == "clamp rod" || kind == "edge guide",
             file + ": unknown kind of hole in plan.json: " + what);
      const Hole board = holeAt(hole.at("board_mm"), 0, what);
      const string label = hole.at("label").get<string>();
      if (kind == "tooling pin" || label == "PIN1" || label == "PIN2")
        pins.push_back(board);
      else if (kind == "orientation pin" || kind == "pin clearance")
        turned.push_back(Hole{board.x, board.y, 0, label});
      if (kind == "plunger clearance") guides.push_back(Hole{here.x, here.y, 0, what});
      wanted.push_back(placedAt(board.x, board.y, here.diameter, what));
    }
    size_t rows = 0;
    vector<Hole> twinBlank;
    for (const Row& row : readCsv(twinPath,
                                  "no,x_mm,y_mm,dia_mm,kind,probe,net,board_x_mm,board_y_mm,tol_plus_mm,tol_minus_mm,"
                                  "fit,thread,work,depth_mm,through,drill,plan_id")) {
      const auto value = [&](const char* key) {
        return number(row.at(key), twinPath.string() + ", hole " + row.at("no") + ", " + key);
      };
      const string what = row.at("kind") + " " + row.at("probe") + " " + row.at("net"),
                   who = file + ": hole " + row.at("no") + " of its CSV twin ";
      const Hole listed{value("x_mm"), value("y_mm"), value("dia_mm"), what};
      const auto [px, py] = onPlate(value("board_x_mm"), value("board_y_mm"));
      const bool placed = near(px, listed.x) && near(py, listed.y);
      ++rows;
      (row.at("drill") == "yes" ? twin : twinBlank).push_back(listed);
      expect(placed && row.at("plan_id") == id && row.at("no") == to_string(rows),
             who + "has a wrong number, plan id or board position");
    }
    // No pin reaches what only carries the others.
    if (!carries) {
      matchHoles(file, "the board's tooling holes", tooling, "the plate's pins", pins, false);
      if (!orientation) orientation = turned;
      matchHoles(file, "the orientation pins of the first plate", *orientation, "those of this one", turned, false);
    }
    matchHoles(file, "probes.csv", guided, "the guide holes of the moving plate", guides, false);
    matchHoles(file, "plan.json's blank", blank, "the CSV twin's", twinBlank, false);
    matchHoles(file, "probes.csv or tooling", wanted, "the drill file", drill, false);
    matchHoles(file, "probes.csv or tooling", wanted, "plan.json", planned, true);
    matchHoles(file, "probes.csv or tooling", wanted, "the CSV twin", twin, true);
    matchHoles(file, "the CSV twin", twin, "the drill file", drill, false);
  }
  for (const Probe& probe : probes)
    expect(sides.contains(probe.side), probe.name + ": no plate for the " + probe.side + " side");
  for (const auto& entry : fs::directory_iterator(folder / "plates"))
    if (const string name = entry.path().filename().string(); name.ends_with(".drl") || name.ends_with(".csv"))
      expect(files.contains(name), name + ": belongs to no plate of plan.json");
  return drilled;
}

void checkCoverage(const fs::path& path, const vector<Probe>& probes, const json& plan) {
  std::map<string, double> counted, lost;
  for (const Probe& probe : probes) ++counted[probe.net];
  // Probes that leave their travel where the board bends stand in the bed but count for nothing.
  const json& mechanics = plan.at("mechanics");
  if (mechanics.at("used").get<bool>())
    for (const json& name : mechanics.at("lost_probes")) {
      const auto it = std::find_if(probes.begin(), probes.end(),
                                   [&](const Probe& probe) { return probe.name == name.get<string>(); });
      expect(it != probes.end(), "plan.json: lost probe " + name.get<string>() + " is not in probes.csv");
      if (it != probes.end()) ++lost[it->net];
    }
  std::set<string> seen;
  for (const Row& row : readCsv(path, "net,role,mandatory,wanted,got,targets,open_top,open_bottom,status,reason")) {
    const string net = row.at("net"), status = row.at("status"), who = "coverage.csv: net " + net + " ";
    const double wanted = number(row.at("wanted"), path.string() + ", " + net),
                 got = number(row.at("got"), path.string() + ", " + net);
    const double has = (counted.contains(net) ? counted[net] : 0) - (lost.contains(net) ? lost[net] : 0);
    expect(seen.insert(net).second, who + "stands twice");
    expect(got == has, who + "says " + row.at("got") + " probes, probes.csv has " +
                           to_string(static_cast<size_t>(has)) + " that touch");
    expect((status == "met") == (wanted > 0 && got >= wanted),
           who + "is '" + status + "' with " + row.at("got") + " of " + row.at("wanted"));
    expect(status != "do not touch" || !counted.contains(net), who + "must not be touched but is probed");
  }
  for (const auto& [net, count] : counted)
    expect(seen.contains(net), "coverage.csv: probed net " + net + " is missing");
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc != 3) unreadable("usage", "check-plan PLAN_FOLDER NETLIST_FILE");
    const fs::path folder = argv[1];
    const json plan = json::parse(std::ifstream(folder / "plan.json"));
    const vector<Land> lands = readNetlist(argv[2], plan.at("frame").at("netlist_offset_mm"));
    const vector<Probe> probes = readProbes(folder / "probes.csv");
    checkLands(probes, lands);
    checkAgreement(probes, plan);
    checkSpacing(probes, plan);
    const size_t holes = checkPlates(folder, plan, probes);
    checkCoverage(folder / "coverage.csv", probes, plan);
    std::cout << "check-plan: " << probes.size() << " probes, " << plan.at("plates").size() << " plates, " << holes
              << " holes: ";
    std::cout << (violations == 0 ? "OK" : "FAILED with " + to_string(violations) + " violations") << '\n';
    return violations == 0 ? 0 : 1;
  } catch (const std::exception& error) {
    std::cerr << "check-plan: " << (dynamic_cast<const json::exception*>(&error) != nullptr ? "plan.json: " : "")
              << error.what() << '\n';
    return 2;
  }
}
