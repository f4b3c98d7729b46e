// Proves a finished plan folder against the raw IPC-D-356 netlist it was made from.
// It has readers of its own and shares no code with the planner, so that one wrong assumption cannot hide in both.
// Exit status: 0 the plan holds, 1 violations were printed, 2 wrong usage or unreadable input.

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <iterator>
#include <limits>
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
using std::string;
using std::vector;
namespace fs = std::filesystem;

constexpr double kExact = 1e-6;               // the same decimals printed twice
constexpr double kRounded = 0.0005 + 1e-9;    // one side printed with three decimals
constexpr double kLandTolerance = 0.02 + 0.0127;  // aim tolerance plus netlist rounding
const std::map<string, double> kSpacing{{"100 mil", 2.54}, {"75 mil", 1.905}, {"50 mil", 1.27}, {"39 mil", 0.99}};

struct Unreadable : std::runtime_error {
    using std::runtime_error::runtime_error;
};

std::size_t violations = 0;

void violation(const string& text) {
    ++violations;
    std::cout << "violation: " << text << '\n';
}

string mm(double value) {
    char buffer[400];  // fixed notation of the largest double needs 313 characters
    std::snprintf(buffer, sizeof buffer, "%.4f", value);
    return buffer;
}

string point(double x, double y) { return "X" + mm(x) + " Y" + mm(y); }

bool near(double a, double b, double tolerance) { return std::abs(a - b) <= tolerance; }

string trim(const string& text) {
    const auto first = text.find_first_not_of(" \r");
    return first == string::npos ? "" : text.substr(first, text.find_last_not_of(" \r") - first + 1);
}

bool allDigits(const string& text) { return !text.empty() && text.find_first_not_of("0123456789") == string::npos; }

double number(const string& text, const string& where) {
    double value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value))
        throw Unreadable(where + ": '" + text + "' is no number");
    return value;
}

string readText(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    if (!fs::is_regular_file(path) || !in) throw Unreadable(path.string() + ": cannot be opened");
    string text{std::istreambuf_iterator<char>(in), {}};
    if (in.bad()) throw Unreadable(path.string() + ": cannot be read");
    return text;
}

vector<string> readLines(const fs::path& path) {
    vector<string> lines(1);
    for (const char c : readText(path)) {
        if (c == '\n') lines.emplace_back();
        else if (c != '\r') lines.back() += c;
    }
    return lines;
}

using Row = std::map<string, string>;

// RFC 4180: quoted fields may hold commas, doubled quotes and line breaks.
vector<Row> readCsv(const fs::path& path, const vector<string>& columns) {
    const string text = readText(path);
    vector<vector<string>> records(1, vector<string>(1));
    bool quoted = false, closed = false;
    const auto fail = [&](const string& why) -> void {
        throw Unreadable(path.string() + ", record " + std::to_string(records.size()) + ": " + why);
    };
    for (std::size_t i = 0; i < text.size(); ++i) {
        string& field = records.back().back();
        const char c = text[i];
        if (quoted) {
            if (c != '"') field += c;
            else if (i + 1 < text.size() && text[i + 1] == '"') field += text[++i];
            else { quoted = false; closed = true; }
        } else if (c == ',') { records.back().emplace_back(); closed = false; }
        else if (c == '\n') { records.emplace_back(1); closed = false; }
        else if (c == '\r' && i + 1 < text.size() && text[i + 1] == '\n') continue;
        else if (closed) fail("text after a closing quote");
        else if (c == '"') { if (!field.empty()) fail("quote inside a plain field"); quoted = true; }
        else field += c;
    }
    if (quoted) fail("quote is never closed");
    if (records.back() == vector<string>(1)) records.pop_back();
    if (records.empty() || records.front() != columns) throw Unreadable(path.string() + ": columns differ from what is expected");
    vector<Row> rows;
    for (std::size_t i = 1; i < records.size(); ++i) {
        if (records[i].size() != columns.size())
            throw Unreadable(path.string() + ", record " + std::to_string(i + 1) + ": wrong number of fields");
        for (std::size_t k = 0; k < columns.size(); ++k) (i > rows.size() ? rows.emplace_back() : rows.back())[columns[k]] = records[i][k];
    }
    return rows;
}

// ---- netlist -------------------------------------------------------------------------------------------------------

struct Land {
    string net;
    double x = 0, y = 0, width = 0, height = 0, rotation = 0, hole = 0;
    std::optional<int> access;
    std::size_t line = 0, stack = 0;
};

struct Netlist {
    vector<Land> lands;
    std::set<string> nets;
    std::set<std::size_t> sizedStacks;
    int bottom = 2;
    [[nodiscard]] bool reachable(const Land& land, const string& side) const {
        return land.access && (*land.access == 0 || *land.access == (side == "top" ? 1 : bottom));
    }
};

Netlist readNetlist(const fs::path& path, double offsetX, double offsetY) {
    Netlist netlist;
    std::map<string, string> aliases;
    double count = 0;  // millimetres of one count, 0 until the file states its unit
    bool radians = false, ended = false;
    std::optional<int> etchLayers;
    int largest = 0;
    std::size_t row = 0;
    const auto fail = [&](const string& why) -> void {
        throw Unreadable(path.string() + ", line " + std::to_string(row) + ": " + why);
    };
    const auto alias = [&](const string& key, const string& name) {
        if (const auto [it, fresh] = aliases.emplace(key, name); !fresh && it->second != name) fail("alias " + key + " stands for two nets");
    };
    for (string line : readLines(path)) {
        ++row;
        if (trim(line).empty()) continue;
        if (line.find('\t') != string::npos) fail("holds a tab, so its columns are uncertain");
        if (ended) fail("record after 999");
        line.resize(std::max<std::size_t>(line.size(), 80), ' ');
        const auto columns = [&line](std::size_t from, std::size_t to) { return trim(line.substr(from - 1, to - from + 1)); };
        if (line[0] == 'P' || line[0] == 'C') {
            const string body = trim(line.substr(1));
            const auto blank = std::min(body.find(' '), body.size());
            const string keyword = body.substr(0, blank), rest = trim(body.substr(blank));
            const string etch = "Number of etch Layers:";
            // Some writers keep the alias table in comments, so both kinds of line are searched.
            if (keyword.starts_with("NNAME") && keyword.size() > 5) {
                alias(keyword, rest);
                alias(keyword.substr(5), rest);
            } else if (keyword == "NNAME" && line[0] == 'P') {
                const auto gap = rest.find(' ');
                if (gap == string::npos) fail("alias without a name");
                alias(rest.substr(0, gap), trim(rest.substr(gap)));
                alias("NNAME" + rest.substr(0, gap), trim(rest.substr(gap)));
            } else if (keyword == "UNITS" && line[0] == 'P') {
                const double found = rest == "CUST" || rest == "CUST 0" || rest == "CUST 2" ? 0.00254 : rest == "CUST 1" || rest == "SI" ? 0.001 : 0;
                if (found == 0) fail("unknown unit '" + rest + "'");
                if (count != 0 && count != found) fail("second unit");
                count = found;
                radians = rest == "CUST 2";
            } else if (line[0] == 'C' && body.starts_with(etch)) {
                etchLayers = static_cast<int>(number(trim(body.substr(etch.size())), path.string()));
            }
            continue;
        }
        const string code = line.substr(0, 3);
        static const std::set<string> features{"317", "327", "367", "307", "017", "027", "067"};
        static const std::set<string> others{"099", "088", "370", "070", "380", "080", "378", "078", "379", "079", "389", "089", "390", "090"};
        ended = code == "999";
        if (ended || others.contains(code)) continue;
        if (code == "309") fail("stepped images are not understood");
        if (!features.contains(code)) fail("unknown record");
        if (count == 0) fail("feature before the unit is known");
        // A fixed letter, then digits; leading blanks count as zeros, all blank means absent.
        const auto value = [&](char letter, std::size_t at, std::size_t from, std::size_t to) -> std::optional<double> {
            string text = line.substr(from - 1, to - from + 1);
            const bool negative = text[0] == '-';
            if ((negative || text[0] == '+') && to - from == 6) text[0] = ' ';
            text = text.substr(std::min(text.find_first_not_of(' '), text.size()));
            if (line[at - 1] != letter && (line[at - 1] != ' ' || !text.empty())) fail(string("column ") + std::to_string(at) + " should hold " + letter);
            if (text.empty()) return std::nullopt;
            if (!allDigits(text)) fail("columns " + std::to_string(from) + "-" + std::to_string(to) + " hold no number");
            return (negative ? -1 : 1) * std::stod(text);
        };
        Land land;
        land.line = row;
        land.net = columns(4, 17);
        land.stack = netlist.lands.empty() || code[0] != '0' ? row : netlist.lands.back().stack;
        const auto x = value('X', 42, 43, 49), y = value('Y', 50, 51, 57);
        land.hole = line[32] == 'D' ? value('D', 33, 34, 37).value_or(0) * count : 0;
        land.width = value('X', 58, 59, 62).value_or(0) * count;
        land.height = value('Y', 63, 64, 67).value_or(0) * count;
        land.rotation = value('R', 68, 69, 71).value_or(0) * std::numbers::pi / 180;
        if (radians && land.rotation != 0) fail("rotation in radians is not understood");
        if (const auto access = value('A', 39, 40, 41)) land.access = static_cast<int>(*access);
        largest = std::max(largest, land.access.value_or(0));
        if (code[0] == '0') {
            if (netlist.lands.empty()) fail("continuation of nothing");
            if (land.net.empty()) land.net = netlist.lands.back().net;
        }
        if (x && y) { land.x = *x * count + offsetX; land.y = *y * count + offsetY; }
        else if (code[0] == '0' && !x && !y) { land.x = netlist.lands.back().x; land.y = netlist.lands.back().y; }
        else fail("no position");
        if (land.width > 0) netlist.sizedStacks.insert(land.stack);
        // Tooling holes stay in the list for their continuations, but are never a land.
        if (code[1] == '6') land.access.reset();
        netlist.lands.push_back(land);
    }
    if (!ended) std::cout << "note: " << path.string() << " does not end with 999, it may be cut off\n";
    netlist.bottom = etchLayers.value_or(std::max(largest, 2));
    for (Land& land : netlist.lands) {
        if (const auto it = aliases.find(land.net); it != aliases.end()) land.net = it->second;
        netlist.nets.insert(land.net);
    }
    return netlist;
}

// How far a point lies outside a land; the pad's own axes are turned counter-clockwise by its rotation.
double outside(const Netlist& netlist, const Land& land, double x, double y) {
    const double dx = x - land.x, dy = y - land.y;
    // A hole without a size is a land only if no other record of its stack declares one.
    if (land.width <= 0 && (land.hole <= 0 || netlist.sizedStacks.contains(land.stack))) return std::numeric_limits<double>::infinity();
    if (land.width <= 0 || land.height <= 0) return std::max(0.0, std::hypot(dx, dy) - (land.width > 0 ? land.width : land.hole) / 2);
    const double c = std::cos(land.rotation), s = std::sin(land.rotation);
    return std::hypot(std::max(0.0, std::abs(c * dx + s * dy) - land.width / 2), std::max(0.0, std::abs(c * dy - s * dx) - land.height / 2));
}

// ---- probes --------------------------------------------------------------------------------------------------------

struct Probe {
    Row row;
    string name, net, side, type;
    double x = 0, y = 0, drill = 0, force = 0;
};

vector<Probe> readProbes(const fs::path& path) {
    vector<Probe> probes;
    for (const Row& row : readCsv(path, {"probe", "net", "role", "side", "target", "component", "pin", "x_mm", "y_mm", "class", "tip",
                                         "force_N", "odds", "receptacle_drill_mm"})) {
        const auto value = [&](const char* key) { return number(row.at(key), path.string() + ", " + row.at("probe") + ", " + key); };
        probes.push_back({row, row.at("probe"), row.at("net"), row.at("side"), row.at("class"), value("x_mm"), value("y_mm"),
                          value("receptacle_drill_mm"), value("force_N")});
        const Probe& probe = probes.back();
        if (probe.side != "top" && probe.side != "bottom") violation(probe.name + ": side is '" + probe.side + "'");
        if (!(value("odds") >= 0 && value("odds") <= 1)) violation(probe.name + ": odds lie outside 0 to 1");
    }
    return probes;
}

void checkLands(const vector<Probe>& probes, const Netlist& netlist) {
    for (const Probe& probe : probes) {
        const string who = probe.name + " (" + probe.net + ", " + probe.side + ", " + point(probe.x, probe.y) + "): ";
        if (probe.net.empty() || probe.net == "N/C") { violation(who + "probes an unconnected point"); continue; }
        if (!netlist.nets.contains(probe.net)) { violation(who + "the netlist has no such net"); continue; }
        double least = std::numeric_limits<double>::infinity();
        std::size_t line = 0;
        for (const Land& land : netlist.lands) {
            if (land.net != probe.net || !netlist.reachable(land, probe.side)) continue;
            if (const double miss = outside(netlist, land, probe.x, probe.y); miss < least) { least = miss; line = land.line; }
        }
        if (line == 0) violation(who + "the net has no land on this side");
        else if (least > kLandTolerance) violation(who + "misses the nearest land of its net (netlist line " + std::to_string(line) + ") by " + mm(least) + " mm");
    }
}

void checkAgreement(const vector<Probe>& probes, const json& plan) {
    std::map<string, const json*> listed;
    for (const json& entry : plan.at("probes"))
        if (!listed.emplace(entry.at("name").get<string>(), &entry).second) violation("plan.json lists probe " + entry.at("name").get<string>() + " twice");
    std::set<string> seen;
    for (const Probe& probe : probes) {
        if (!seen.insert(probe.name).second) violation("probes.csv lists probe " + probe.name + " twice");
        const auto found = listed.find(probe.name);
        if (found == listed.end()) { violation(probe.name + ": is in probes.csv but not in plan.json"); continue; }
        const json& entry = *found->second;
        for (const char* key : {"net", "role", "side", "target", "component", "pin", "class", "tip"})
            if (entry.at(key).get<string>() != probe.row.at(key))
                violation(probe.name + ": " + key + " is '" + probe.row.at(key) + "' in probes.csv, '" + entry.at(key).get<string>() + "' in plan.json");
        const auto same = [&](const string& what, double csv, double planned) {
            if (!near(csv, planned, kRounded)) violation(probe.name + ": " + what + " is " + mm(csv) + " in probes.csv, " + mm(planned) + " in plan.json");
        };
        same("x", probe.x, entry.at("aim_mm").at(0).get<double>());
        same("y", probe.y, entry.at("aim_mm").at(1).get<double>());
        same("force", probe.force, entry.at("force_N").get<double>());
        same("receptacle drill", probe.drill, entry.at("receptacle_drill_mm").get<double>());
    }
    for (const auto& [name, entry] : listed)
        if (!seen.contains(name)) violation(name + ": is in plan.json but not in probes.csv");
}

void checkSpacing(const vector<Probe>& probes, const json& plan) {
    std::map<string, double> spacing;
    double smallest = std::numeric_limits<double>::infinity();
    for (const json& type : plan.at("classes")) {
        const string name = type.at("name").get<string>();
        spacing[name] = type.at("spacing_mm").get<double>();
        smallest = std::min(smallest, spacing[name]);
        const auto known = kSpacing.find(name);
        if (known == kSpacing.end()) violation("plan.json: unknown probe class " + name);
        else if (!near(known->second, spacing[name], 1e-9)) violation("plan.json: class " + name + " has spacing " + mm(spacing[name]) + " mm");
        for (const Probe& probe : probes)
            if (probe.type == name && !near(probe.drill, type.at("receptacle_drill_mm").get<double>(), kRounded))
                violation(probe.name + ": receptacle drill " + mm(probe.drill) + " mm is not that of its class");
    }
    for (const Probe& probe : probes)
        if (!spacing.contains(probe.type)) violation(probe.name + ": its class '" + probe.type + "' is not in plan.json");
    for (auto a = probes.begin(); a != probes.end(); ++a) {
        for (auto b = std::next(a); b != probes.end(); ++b) {
            if (a->side != b->side || !spacing.contains(a->type) || !spacing.contains(b->type)) continue;
            const double sa = spacing[a->type], sb = spacing[b->type];
            const double web = sa <= smallest && sb <= smallest ? 0.20 : 0.25;
            const double least = std::max((sa + sb) / 2, (a->drill + b->drill) / 2 + web);
            const double distance = std::hypot(a->x - b->x, a->y - b->y);
            if (distance < least - kExact) violation(a->name + " and " + b->name + ": stand " + mm(distance) + " mm apart, need " + mm(least) + " mm");
        }
    }
}

// ---- plates --------------------------------------------------------------------------------------------------------

struct Hole {
    double x = 0, y = 0, diameter = 0;
    string what;
};

struct Drill {
    string header;  // all comments before the first coordinate
    vector<Hole> holes;
};

Drill readDrill(const fs::path& path) {
    Drill drill;
    std::map<string, double> tools;
    string tool;
    double x = 0, y = 0;
    bool started = false, body = false, metric = false, absolute = false, ended = false;
    const string file = path.filename().string();
    std::size_t row = 0;
    for (const string& raw : readLines(path)) {
        ++row;
        const string line = trim(raw), where = path.string() + ", line " + std::to_string(row);
        if (line.empty()) continue;
        if (!started && line != "M48") throw Unreadable(where + ": M48 expected");
        started = true;
        if (ended) throw Unreadable(where + ": text after the end of the program");
        if (line[0] == ';') { if (!body) drill.header += line + '\n'; }
        else if (line == "M48" || line == "G05") continue;
        else if (line == "%" || line == "M95") body = true;
        else if (line.starts_with("METRIC") || line == "M71") metric = true;
        else if (line.starts_with("INCH") || line == "M72") violation(file + ": is in inches");
        else if (line == "G90") absolute = true;
        else if (line == "G91") violation(file + ": is incremental");
        else if (line == "M30") ended = true;
        else if (line[0] == 'T' && !body) {
            const auto c = std::min(line.find('C'), line.size() - 1);
            if (!allDigits(line.substr(1, c - 1))) throw Unreadable(where + ": tool not understood");
            if (!tools.emplace(line.substr(0, c), number(line.substr(c + 1), where)).second) violation(file + ": defines " + line.substr(0, c) + " twice");
        } else if (line[0] == 'T') {
            tool = line;
            if (!tools.contains(tool)) throw Unreadable(where + ": tool is not in the table");
        } else if (body && (line[0] == 'X' || line[0] == 'Y')) {
            if (tool.empty()) throw Unreadable(where + ": hole before a tool");
            const auto split = line[0] == 'X' ? std::min(line.find('Y'), line.size()) : 0;
            const string xs = split > 0 ? line.substr(1, split - 1) : "", ys = split < line.size() ? line.substr(split + 1) : "";
            if (split > 0) x = number(xs, where);
            if (split < line.size()) y = number(ys, where);
            if ((split > 0 && xs.find('.') == string::npos) || (split < line.size() && ys.find('.') == string::npos))
                violation(file + ", line " + std::to_string(row) + ": coordinate without a decimal point");
            drill.holes.push_back({x, y, tools.at(tool), "line " + std::to_string(row)});
        } else throw Unreadable(where + ": not understood");
    }
    if (!metric) violation(file + ": does not say METRIC");
    if (!absolute) violation(file + ": does not say G90");
    if (!ended) violation(file + ": has no M30, it may be cut off");
    return drill;
}

// Every hole of either list has its own partner in the other one.
void matchHoles(const string& file, const vector<Hole>& wanted, const string& source, const vector<Hole>& drilled) {
    vector<bool> taken(drilled.size());
    const auto text = [](const Hole& hole) { return mm(hole.diameter) + " mm at " + point(hole.x, hole.y) + " (" + hole.what + ")"; };
    for (const Hole& hole : wanted) {
        std::size_t i = 0;
        while (i < drilled.size() && (taken[i] || !near(hole.x, drilled[i].x, kExact) || !near(hole.y, drilled[i].y, kExact) || !near(hole.diameter, drilled[i].diameter, kExact))) ++i;
        if (i < drilled.size()) taken[i] = true;
        else violation(file + ": " + source + " asks for a hole of " + text(hole) + ", none is drilled");
    }
    for (std::size_t i = 0; i < drilled.size(); ++i)
        if (!taken[i]) violation(file + ": " + source + " knows no hole of " + text(drilled[i]));
}

// The board's copper is drawn seen from its top. A face is seen turned over, that is with X reversed, when the
// top of the board points away from whoever looks at that face.
bool mustMirror(bool bottomDown, bool lower, bool boardFace) {
    const bool seenFromAbove = lower == boardFace;  // a lower plate's board face and an upper plate's outer face look up
    return seenFromAbove != bottomDown;
}

bool either(const json& object, const char* key, const string& yes, const string& no) {
    const string word = object.at(key).get<string>();
    if (word != yes && word != no) throw Unreadable(string("plan.json: ") + key + " is '" + word + "'");
    return word == yes;
}

std::size_t checkPlates(const fs::path& folder, const json& plan, const vector<Probe>& probes) {
    const string id = plan.at("plan_id").get<string>();
    if (id.empty()) throw Unreadable("plan.json: plan_id is empty");
    const bool bottomDown = either(plan, "board_lies", "bottom side down", "top side down");
    std::set<string> sides, files;
    std::size_t drilled = 0;
    for (const json& plate : plan.at("plates")) {
        const fs::path path = folder / plate.at("file").get<string>();
        const string file = path.filename().string(), side = plate.at("probes_side").get<string>();
        const bool lower = either(plate, "position", "lower", "upper");
        const bool mirrored = mustMirror(bottomDown, lower, either(plate, "seen_from", "board face", "outer face"));
        const double turn = mirrored ? -1 : 1;
        files.insert({file, fs::path(file).replace_extension(".csv").string()});
        if (!sides.insert(side).second) violation(file + ": second plate for the " + side + " side");
        if (side != (lower == bottomDown ? "bottom" : "top")) violation(file + ": this plate does not face the " + side + " side of the board");
        if (plate.at("mirrored").get<bool>() != mirrored) violation(file + ": plan.json says " + (mirrored ? "not mirrored, but it must be" : "mirrored, but it must not be"));

        const Drill drill = readDrill(path);
        drilled += drill.holes.size();
        if (drill.header.find(id) == string::npos) violation(file + ": its header does not name the plan id " + id);
        if ((drill.header.find("MIRRORED") != string::npos) != mirrored) violation(file + ": its header " + (mirrored ? "does not say" : "wrongly says") + " MIRRORED");

        vector<Hole> wanted, planned, twin;
        std::map<string, const Probe*> here;
        for (const Probe& probe : probes) {
            if (probe.side != side) continue;
            here[probe.name] = &probe;
            wanted.push_back({turn * probe.x, probe.y, probe.drill, probe.name});
        }
        vector<std::size_t> pins(plan.at("tooling").size());
        std::map<string, const json*> tooling;
        for (const json& hole : plate.at("holes")) {
            const string label = hole.at("label").get<string>(), kind = hole.at("kind").get<string>();
            const double x = hole.at("board_mm").at(0).get<double>(), y = hole.at("board_mm").at(1).get<double>(), diameter = hole.at("diameter_mm").get<double>();
            planned.push_back({hole.at("plate_mm").at(0).get<double>(), hole.at("plate_mm").at(1).get<double>(), diameter, label});
            if (kind == "receptacle") continue;
            if (kind != "tooling pin" && kind != "pin clearance") violation(file + ": hole " + label + " is of unknown kind '" + kind + "'");
            wanted.push_back({turn * x, y, diameter, label});
            tooling[label] = &hole;
            bool onTooling = false;
            for (std::size_t i = 0; i < pins.size(); ++i) {
                const json& at = plan.at("tooling").at(i).at("at_mm");
                if (!near(at.at(0).get<double>(), x, kRounded) || !near(at.at(1).get<double>(), y, kRounded)) continue;
                onTooling = true;
                ++pins[i];
            }
            if (!onTooling) violation(file + ": " + kind + " " + label + " stands on no tooling hole of the board");
        }
        for (const std::size_t uses : pins)
            if (uses != 1) violation(file + ": a tooling hole of the board has " + std::to_string(uses) + " pins or clearances");

        const fs::path csv = fs::path(path).replace_extension(".csv");
        const string csvFile = csv.filename().string();
        for (const Row& row : readCsv(csv, {"no", "x_mm", "y_mm", "dia_mm", "kind", "probe", "net", "board_x_mm", "board_y_mm", "plan_id"})) {
            const auto value = [&](const char* key) { return number(row.at(key), csv.string() + ", hole " + row.at("no") + ", " + key); };
            const double x = value("board_x_mm"), y = value("board_y_mm"), diameter = value("dia_mm");
            const string who = csvFile + ", hole " + row.at("no") + " (" + row.at("probe") + "): ";
            twin.push_back({value("x_mm"), value("y_mm"), diameter, "hole " + row.at("no")});
            if (row.at("no") != std::to_string(twin.size())) violation(who + "numbers do not run 1, 2, 3");
            if (!near(turn * x, twin.back().x, kExact) || !near(y, twin.back().y, kExact)) violation(who + "plate and board position disagree");
            if (row.at("plan_id") != id) violation(who + "plan id is '" + row.at("plan_id") + "'");
            if (row.at("kind") == "receptacle") {
                const auto probe = here.find(row.at("probe"));
                if (probe == here.end()) violation(who + "no such probe on this side");
                else if (probe->second->net != row.at("net") || !near(probe->second->x, x, kExact) || !near(probe->second->y, y, kExact) || !near(probe->second->drill, diameter, kExact))
                    violation(who + "net, board position or diameter differ from probes.csv");
            } else if (const auto pin = tooling.find(row.at("probe")); pin == tooling.end() || pin->second->at("kind").get<string>() != row.at("kind"))
                violation(who + "is no tooling hole of plan.json");
        }
        matchHoles(file, wanted, "probes.csv and the tooling", drill.holes);
        matchHoles(file, planned, "plan.json", drill.holes);
        matchHoles(file, twin, csvFile, drill.holes);
    }
    for (const Probe& probe : probes)
        if (!sides.contains(probe.side)) violation(probe.name + ": no plate carries the probes of the " + probe.side + " side");
    if (fs::is_directory(folder / "plates"))
        for (const auto& entry : fs::directory_iterator(folder / "plates"))
            if (const string name = entry.path().filename().string(); !files.contains(name) && (name.ends_with(".drl") || name.ends_with(".csv")))
                violation(name + ": belongs to no plate of plan.json");
    return drilled;
}

void checkCoverage(const fs::path& path, const vector<Probe>& probes) {
    std::map<string, double> counted;
    for (const Probe& probe : probes) ++counted[probe.net];
    std::set<string> seen;
    for (const Row& row : readCsv(path, {"net", "role", "mandatory", "wanted", "got", "targets", "open_top", "open_bottom", "status", "reason"})) {
        const string& net = row.at("net");
        const double wanted = number(row.at("wanted"), path.string() + ", " + net), got = number(row.at("got"), path.string() + ", " + net);
        const double has = counted.contains(net) ? counted.at(net) : 0;
        if (!seen.insert(net).second) violation("coverage.csv: net " + net + " stands twice");
        if (got != has) violation("coverage.csv: net " + net + " says " + row.at("got") + " probes, probes.csv has " + std::to_string(static_cast<int>(has)));
        if ((row.at("status") == "met") != (wanted > 0 && got >= wanted))
            violation("coverage.csv: net " + net + " is '" + row.at("status") + "' with " + row.at("got") + " of " + row.at("wanted") + " probes");
        if (row.at("status") == "do not touch" && has > 0) violation("coverage.csv: net " + net + " must not be touched but is probed");
    }
    for (const auto& [net, count] : counted)
        if (!seen.contains(net)) violation("coverage.csv: probed net " + net + " is missing");
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 3) {
        std::cerr << "usage: check-plan PLAN_FOLDER NETLIST_FILE\n";
        return 2;
    }
    try {
        const fs::path folder = argv[1];
        const json plan = json::parse(readText(folder / "plan.json"));
        const json& offset = plan.at("frame").at("netlist_offset_mm");
        const Netlist netlist = readNetlist(argv[2], offset.at(0).get<double>(), offset.at(1).get<double>());
        const vector<Probe> probes = readProbes(folder / "probes.csv");
        checkLands(probes, netlist);
        checkAgreement(probes, plan);
        checkSpacing(probes, plan);
        const std::size_t holes = checkPlates(folder, plan, probes);
        checkCoverage(folder / "coverage.csv", probes);
        std::cout << "check-plan: " << probes.size() << " probes, " << plan.at("plates").size() << " plates, " << holes << " holes: ";
        if (violations == 0) std::cout << "OK\n";
        else std::cout << "FAILED with " << violations << " violations\n";
        return violations == 0 ? 0 : 1;
    } catch (const std::exception& error) {
        std::cerr << "check-plan: unreadable: " << error.what() << '\n';
        return 2;
    }
}
