// Netlist records and pad lists to features and nets.
#include <algorithm>
#include <charconv>
#include <set>
#include <tuple>

#include "build.h"
#include "teasel/enums.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr Words<FeatureKind> kKinds{"test pad", "lead", "via", "SMD pad", "unplated hole", "fiducial"};
constexpr Words<Known> kKnown{"confirmed", "assumed", "unknown"};
constexpr Words<TestMark> kMarks{"", "IPC-2581 file", "aperture function TestPad", "designator"};
}  // namespace
const char* to_string(FeatureKind kind) {
  return kKinds[kind];
}
const char* to_string(TestMark mark) {
  return kMarks[mark];
}
const char* to_string(Known known) {
  return kKnown[known];
}

int bottom_code(const formats::Netlist& netlist, std::string* evidence) {
  std::map<int, int> seen;
  for (const auto& record : netlist.records)
    if (record.access > 1) ++seen[record.access];
  int code = 0;
  std::string why;
  if (seen.empty()) {
    code = netlist.stated_layers > 1 ? netlist.stated_layers : 2;
    why = "no record is at the bottom alone";
  } else if (netlist.stated_layers > 1 && seen.count(netlist.stated_layers)) {
    code = netlist.stated_layers;
    why = "the file's comments state " + std::to_string(code) + " layers";
  } else {
    code = seen.rbegin()->first;
    why = "the largest access code is A" + std::string(code < 10 ? "0" : "") + std::to_string(code);
  }
  if (evidence) *evidence = why;
  return code;
}

int layers_by_attribute(const formats::GerberFile& bottom) {
  // ".FileFunction,Copper,L4,Bot" (Gerber format, 5.6.3).
  const std::string function = bottom.file_attribute(".FileFunction");
  const std::size_t at = function.find(",L");
  if (role_of_function(function) != LayerRole::copper_bottom || at == function.npos) return 0;
  int number = 0;
  std::from_chars(function.data() + at + 2, function.data() + function.size(), number);
  return number >= 2 && number <= 99 ? number : 0;
}

namespace {
class Builder {
 public:
  Builder(Board& board, Diagnostics& diagnostics) : board_(board), diagnostics_(diagnostics) {}

  NetId net(const std::string& name, bool unconnected) {
    if (!unconnected)
      if (auto it = nets_.find(name); it != nets_.end()) return it->second;
    Net net;
    net.name = NetName(unconnected ? "N/C" : name);
    net.unconnected = unconnected;
    const NetId id = board_.nets.add(std::move(net));
    if (!unconnected) nets_[name] = id;
    return id;
  }
  ComponentId component(const std::string& name) {
    auto [it, fresh] = components_.try_emplace(name, board_.components.next());
    if (fresh) board_.components.emplace_back().name = PartName(name);
    return it->second;
  }
  void finish();

 private:
  Board& board_;
  Diagnostics& diagnostics_;
  std::map<std::string, NetId> nets_;
  std::map<std::string, ComponentId> components_;
};

std::string coordinates(Point p) {
  return fixed(p.x, 3) + "/" + fixed(p.y, 3);
}

/// What a pad is called that no file names.
std::string made_name(const Board& board, const Feature& feature) {
  if (feature.kind == FeatureKind::via) return "via@" + coordinates(feature.at);
  if (feature.kind == FeatureKind::unplated_hole) return "hole@" + coordinates(feature.at);
  if (!feature.component) return "pad@" + coordinates(feature.at);
  return board.components[feature.component].name + (feature.pin.empty() ? "" : "-" + feature.pin);
}

/// Unique names, and the membership lists of nets and components.
void Builder::finish() {
  std::map<std::string, int> taken;
  std::map<std::pair<ComponentId, std::string>, NetId> pin_net;
  std::set<ComponentId> complained;
  std::set<std::tuple<NetId, ComponentId, std::string>> pins;
  for (const FeatureId id : board_.features.ids()) {
    Feature& feature = board_.features[id];
    if (feature.name.empty()) feature.name = PadName(made_name(board_, feature));
    const int count = ++taken[feature.name];
    if (count > 1) feature.name = PadName(feature.name + "#" + std::to_string(count));
    if (feature.net) {
      Net& net = board_.nets[feature.net];
      net.features.push_back(id);
      if (feature.kind != FeatureKind::via && feature.kind != FeatureKind::unplated_hole &&
          (!feature.component || feature.pin.empty() ||
           pins.emplace(feature.net, feature.component, feature.pin).second))
        ++net.pins;
    }
    if (!feature.component) continue;
    Component& part = board_.components[feature.component];
    part.features.push_back(id);
    if (feature.pin.empty() || !feature.net || board_.nets[feature.net].unconnected) continue;
    auto [it, fresh] = pin_net.try_emplace({feature.component, feature.pin}, feature.net);
    if (!fresh && it->second != feature.net && complained.insert(feature.component).second)
      diagnostics_.warn({.code = "board-pin-on-two-nets",
                         .at = feature.place,
                         .message = "one pin is on two nets. Two parts may have the same name after it was cut",
                         .found = part.name + "-" + feature.pin + " on " + board_.nets[it->second].name + " and " +
                                  board_.nets[feature.net].name,
                         .remedy = "check the names. The body of this part is unreliable"});
  }
}

Land land_of(const formats::NetlistRecord& record) {
  Land land;
  if (!record.width || *record.width <= Mm{}) return land;
  land.present = true;
  land.width = *record.width;
  land.round = !record.height || *record.height <= Mm{};
  land.height = land.round ? land.width : *record.height;
  land.rotation = record.rotation;
  return land;
}

void put_land(Feature& feature, const formats::NetlistRecord& record, int bottom) {
  const Land land = land_of(record);
  if (!land.present) return;
  if (record.access == 0 || record.access == 1) feature.land[Side::top] = land;
  if (record.access == 0 || record.access == bottom) feature.land[Side::bottom] = land;
}
bool is_via(const formats::NetlistRecord& record) {
  return record.component == "VIA" || record.kind == formats::NetlistRecord::Kind::blind_via;
}

FeatureKind kind_of(const formats::NetlistRecord& record) {
  using Kind = formats::NetlistRecord::Kind;
  if (record.kind == Kind::tooling && !record.plated) return FeatureKind::unplated_hole;
  if (is_via(record)) return FeatureKind::via;
  return record.kind == Kind::surface ? FeatureKind::smd_pad : FeatureKind::lead;
}

FeatureKind kind_of(const formats::PadRow& row) {
  const bool drilled = row.drill > Mm{};
  if (drilled && !row.plated) return FeatureKind::unplated_hole;
  if (row.component == "VIA") return FeatureKind::via;
  if (row.component.empty()) return FeatureKind::test_pad;
  return drilled ? FeatureKind::lead : FeatureKind::smd_pad;
}
}  // namespace

void add_netlist(Board& board, const formats::Netlist& netlist, Diagnostics& diagnostics) {
  Builder build(board, diagnostics);
  const int bottom = bottom_code(netlist);
  board.names_perhaps_cut = netlist.perhaps_cut;
  board.copper_layers = std::max(board.copper_layers, std::max(bottom, netlist.stated_layers));
  std::set<std::tuple<long long, long long, std::string, int, int>> vias;
  std::size_t twice = 0;
  for (const auto& record : netlist.records) {
    const BoardPoint at = board.from_netlist(record.at);
    // The same via listed twice is one.
    if (record.component == "VIA" && !record.continuation &&
        !vias.insert({std::llround(at.x * 1000), std::llround(at.y * 1000), record.net, record.first_layer,
                      record.last_layer})
             .second) {
      ++twice;
      continue;
    }
    if (record.continuation && !board.features.empty() && distance(board.features.back().at, at) < 0.01) {
      Feature& feature = board.features.back();
      if (record.hole) {
        feature.hole = feature.netlist_hole = *record.hole;
        feature.plated = record.plated;
      }
      put_land(feature, record, bottom);
      continue;
    }
    Feature feature;
    feature.at = at;
    feature.place = {netlist.name, record.line, 0, {}};
    feature.mask_code = record.mask_code;
    if (record.test_point) feature.mark = TestMark::cad_file;
    feature.plated = record.plated;
    feature.first_layer = record.first_layer;
    feature.last_layer = record.last_layer >= bottom ? 0 : record.last_layer;  // through all
    if (record.hole) feature.hole = feature.netlist_hole = *record.hole;
    put_land(feature, record, bottom);
    feature.kind = kind_of(record);
    if (feature.kind != FeatureKind::unplated_hole) feature.net = build.net(record.net, record.unconnected);
    if (!is_via(record) && !record.component.empty()) {
      feature.component = build.component(record.component);
      feature.pin = record.pin;
    }
    board.features.push_back(std::move(feature));
  }
  build.finish();
  if (twice)
    diagnostics.note({.code = "netlist-twice",
                      .at = {netlist.name, 0, 0, {}},
                      .message = "vias that the netlist lists twice are counted once",
                      .found = std::to_string(twice) + " records"});
}

void add_pad_list(Board& board, const std::vector<formats::PadRow>& pads, const std::string& file,
                  Diagnostics& diagnostics) {
  Builder build(board, diagnostics);
  for (const auto& pad : pads) {
    Feature feature;
    feature.name = PadName(pad.pad);
    feature.at = pad.at;
    feature.place = {file, pad.line, 0, {}};
    feature.hole = pad.drill;
    feature.plated = pad.plated;
    feature.place_sigma = pad.error;
    const bool round = pad.height <= Mm{};
    for (const Side side : kBothSides)
      if (pad.sides.has(side))
        feature.land[side] = {.present = true,
                              .width = pad.width,
                              .height = round ? pad.width : pad.height,
                              .rotation = pad.rotation,
                              .round = round};
    feature.kind = kind_of(pad);
    const bool unconnected = pad.net.empty() || pad.net == "N/C";
    if (feature.kind != FeatureKind::unplated_hole) feature.net = build.net(pad.net, unconnected);
    if (!pad.component.empty() && pad.component != "VIA") {
      feature.component = build.component(pad.component);
      feature.pin = pad.pin;
    }
    board.features.push_back(std::move(feature));
  }
  build.finish();
}

namespace {
/// The land of a hole as copper draws it: its flash, or else a ring wherever copper lies all around.
Land land_in_copper(const std::vector<LayerImage>& copper, const Feature& feature) {
  constexpr Mm kNear{0.05};
  constexpr double kRing = 0.1;  // mm beyond the hole's edge
  Land land;
  for (const LayerImage& image : copper) {
    if (const auto* flash = image.flash_at(feature.at, kNear)) {
      const Box box = formats::box_of(image.file(), *flash);
      land.present = true;
      land.width = Mm{box.width()};
      land.height = Mm{box.height()};
      const auto& aperture = image.file().apertures[flash->shape];
      land.round = aperture.kind == formats::GerberAperture::Kind::circle;
      return land;
    }
    const double away = feature.hole.v / 2 + kRing;
    const Point at = feature.at;
    if (image.dark(Point{at.x + away, at.y}) && image.dark(Point{at.x - away, at.y}) &&
        image.dark(Point{at.x, at.y + away}) && image.dark(Point{at.x, at.y - away})) {
      land.present = land.round = true;
      land.width = land.height = feature.hole + 2 * Mm{kRing};
      return land;
    }
  }
  return land;
}
}  // namespace

void lands_from_copper(Board& board, const Layers& layers, Diagnostics& diagnostics) {
  Few found;
  for (Feature& feature : board.features) {
    const bool unstated = !feature.land[Side::top].present && !feature.land[Side::bottom].present;
    if (!unstated || !feature.plated || feature.hole <= Mm{} || feature.kind == FeatureKind::unplated_hole) continue;
    for (const Side side : kBothSides) feature.land[side] = land_in_copper(layers.copper[side], feature);
    if (feature.land[Side::top].present || feature.land[Side::bottom].present) found.add(feature.name.text());
  }
  if (found.count())
    diagnostics.note({.code = "lands-from-copper",
                      .message = "the netlist states no size for lands of holes. The copper layers draw them",
                      .found = std::to_string(found.count()) + ": " + found.text()});
}

namespace {
/// What the layers call the land, where they name the functions of their apertures.
void name_by_attributes(Feature& feature, const Layers& layers) {
  const bool via = feature.kind == FeatureKind::via;
  for (const Side side : kBothSides)
    for (const auto& image : layers.copper[side])
      if (const auto* flash = feature.land[side].present ? image.flash_at(feature.at, Mm{0.02}) : nullptr) {
        const std::string& function = image.file().attributes[flash->attributes].aper_function;
        if (function == "TestPad") {
          if (!via) feature.kind = FeatureKind::test_pad;
          if (feature.mark == TestMark::none) feature.mark = TestMark::attribute;
        }
        if (!via && function.substr(0, 11) == "FiducialPad") feature.kind = FeatureKind::fiducial;
      }
}
}  // namespace

void name_kinds(Board& board, const Layers& layers) {
  for (Feature& feature : board.features) {
    if (feature.kind == FeatureKind::unplated_hole) continue;
    name_by_attributes(feature, layers);
    if (feature.kind == FeatureKind::via) continue;
    if (!feature.component) {
      if (board.traced) continue;  // parts are unknown: a land may well belong to one
      // A land without a part: a bare pad, drilled or not.
      if (feature.kind == FeatureKind::smd_pad || feature.kind == FeatureKind::lead)
        feature.kind = FeatureKind::test_pad;
      continue;
    }
    const Component& part = board.components[feature.component];
    const std::string letters = reference_letters(part.name);
    if (part.features.size() <= 2 && (letters == "TP" || letters == "TST" || letters == "TEST") &&
        feature.kind != FeatureKind::fiducial) {
      feature.kind = FeatureKind::test_pad;
      if (feature.mark == TestMark::none) feature.mark = TestMark::designator;
    }
    if (part.features.size() <= 2 && (letters == "FID" || letters == "FD" || letters == "FIDU"))
      feature.kind = FeatureKind::fiducial;
  }
}

}  // namespace teasel
