// Netlist records and pad lists to features and nets.
#include <algorithm>
#include <set>
#include <tuple>

#include "build.h"

namespace teasel {

const char* to_string(FeatureKind k) {
  static const char* names[] = {"test pad", "lead", "via", "SMD pad", "unplated hole", "fiducial"};
  return names[static_cast<int>(k)];
}
const char* to_string(Known k) {
  static const char* names[] = {"confirmed", "assumed", "unknown"};
  return names[static_cast<int>(k)];
}

std::string reference_letters(const std::string& c) {
  std::size_t i = 0;
  while (i < c.size() && ((c[i] >= 'A' && c[i] <= 'Z') || (c[i] >= 'a' && c[i] <= 'z'))) ++i;
  return c.substr(0, i);
}

int bottom_code(const formats::Netlist& n, std::string* evidence) {
  std::map<int, int> seen;
  for (const auto& r : n.records)
    if (r.access > 1) ++seen[r.access];
  int code = 0;
  std::string why;
  if (seen.empty()) {
    code = n.stated_layers > 1 ? n.stated_layers : 2;
    why = "no record is at the bottom alone";
  } else if (n.stated_layers > 1 && seen.count(n.stated_layers)) {
    code = n.stated_layers;
    why = "the file's comments state " + std::to_string(code) + " layers";
  } else {
    code = seen.rbegin()->first;
    why = "the largest access code is A" + std::string(code < 10 ? "0" : "") + std::to_string(code);
  }
  if (evidence) *evidence = why;
  return code;
}

namespace {
class Builder {
 public:
  Builder(Board& board, Diagnostics& d) : b_(board), d_(d) {}

  int net(const std::string& name, bool unconnected) {
    if (!unconnected)
      if (auto it = nets_.find(name); it != nets_.end()) return it->second;
    Net n;
    n.name = unconnected ? "N/C" : name;
    n.unconnected = unconnected;
    b_.nets.push_back(std::move(n));
    const int id = static_cast<int>(b_.nets.size() - 1);
    if (!unconnected) nets_[name] = id;
    return id;
  }
  int component(const std::string& name) {
    auto [it, fresh] = components_.try_emplace(name, static_cast<int>(b_.components.size()));
    if (fresh) {
      b_.components.emplace_back();
      b_.components.back().name = name;
    }
    return it->second;
  }
  void finish();

 private:
  Board& b_;
  Diagnostics& d_;
  std::map<std::string, int> nets_, components_;
};

std::string coordinates(Point p) {
  return fixed(p.x, 3) + "/" + fixed(p.y, 3);
}

/// Unique names, and the membership lists of nets and components.
void Builder::finish() {
  std::map<std::string, int> taken;
  std::map<std::pair<int, std::string>, int> pin_net;
  std::set<int> complained;
  std::set<std::tuple<int, int, std::string>> pins;
  for (std::size_t i = 0; i < b_.features.size(); ++i) {
    Feature& f = b_.features[i];
    if (f.name.empty()) {
      const std::string base = f.kind == FeatureKind::via             ? "via@" + coordinates(f.at)
                               : f.kind == FeatureKind::unplated_hole ? "hole@" + coordinates(f.at)
                               : f.component >= 0 ? b_.components[static_cast<std::size_t>(f.component)].name +
                                                        (f.pin.empty() ? "" : "-" + f.pin)
                                                  : "pad@" + coordinates(f.at);
      f.name = base;
    }
    const int n = ++taken[f.name];
    if (n > 1) f.name += "#" + std::to_string(n);
    if (f.net >= 0) {
      Net& net = b_.nets[static_cast<std::size_t>(f.net)];
      net.features.push_back(static_cast<int>(i));
      if (f.kind != FeatureKind::via && f.kind != FeatureKind::unplated_hole &&
          (f.component < 0 || f.pin.empty() || pins.emplace(f.net, f.component, f.pin).second))
        ++net.pins;
    }
    if (f.component < 0) continue;
    Component& c = b_.components[static_cast<std::size_t>(f.component)];
    c.features.push_back(static_cast<int>(i));
    if (f.pin.empty() || f.net < 0 || b_.nets[static_cast<std::size_t>(f.net)].unconnected) continue;
    auto [it, fresh] = pin_net.try_emplace({f.component, f.pin}, f.net);
    if (!fresh && it->second != f.net && complained.insert(f.component).second)
      d_.warn("board-pin-on-two-nets", f.place, "one pin stands on two nets; two parts may share a cut name",
              c.name + "-" + f.pin + " on " + b_.nets[static_cast<std::size_t>(it->second)].name + " and " +
                  b_.nets[static_cast<std::size_t>(f.net)].name,
              "check the names; the body of this part is not trusted");
  }
}

Land land_of(const formats::NetlistRecord& r) {
  Land l;
  if (!r.width || *r.width <= 0) return l;
  l.present = true;
  l.width = *r.width;
  l.round = !r.height || *r.height <= 0;
  l.height = l.round ? l.width : *r.height;
  l.rotation = r.rotation;
  return l;
}

void put_land(Feature& f, const formats::NetlistRecord& r, int bottom) {
  const Land l = land_of(r);
  if (!l.present) return;
  if (r.access == 0 || r.access == 1) f.land[0] = l;
  if (r.access == 0 || r.access == bottom) f.land[1] = l;
}
}  // namespace

void add_netlist(Board& b, const formats::Netlist& n, Point offset, Diagnostics& d) {
  using Kind = formats::NetlistRecord::Kind;
  Builder build(b, d);
  const int bottom = bottom_code(n);
  b.names_perhaps_cut = n.perhaps_cut;
  b.copper_layers = std::max(b.copper_layers, std::max(bottom, n.stated_layers));
  std::set<std::tuple<long long, long long, std::string, int, int>> vias;
  std::size_t twice = 0;
  for (const auto& r : n.records) {
    const Point at = r.at + offset;
    // The same via listed twice is one.
    if (r.component == "VIA" && !r.continuation &&
        !vias.insert({std::llround(at.x * 1000), std::llround(at.y * 1000), r.net, r.first_layer, r.last_layer})
             .second) {
      ++twice;
      continue;
    }
    if (r.continuation && !b.features.empty() && distance(b.features.back().at, at) < 0.01) {
      Feature& f = b.features.back();
      if (r.hole) {
        f.hole = f.netlist_hole = *r.hole;
        f.plated = r.plated;
      }
      put_land(f, r, bottom);
      continue;
    }
    Feature f;
    f.at = at;
    f.place = {n.name, r.line, 0, {}};
    f.mask_code = r.mask_code;
    f.test_point = r.test_point;
    f.plated = r.plated;
    f.first_layer = r.first_layer;
    f.last_layer = r.last_layer;
    if (r.hole) f.hole = f.netlist_hole = *r.hole;
    put_land(f, r, bottom);
    const bool via = r.component == "VIA" || r.kind == Kind::blind_via;
    f.kind = r.kind == Kind::tooling && !r.plated ? FeatureKind::unplated_hole
             : via                                ? FeatureKind::via
             : r.kind == Kind::surface            ? FeatureKind::smd_pad
                                                  : FeatureKind::lead;
    if (r.kind == Kind::through && f.hole == 0 && !via) f.kind = FeatureKind::lead;
    f.net = f.kind == FeatureKind::unplated_hole ? -1 : build.net(r.net, r.unconnected);
    if (!via && !r.component.empty()) {
      f.component = build.component(r.component);
      f.pin = r.pin;
    }
    b.features.push_back(std::move(f));
  }
  build.finish();
  if (twice)
    d.note("netlist-twice", {n.name, 0, 0, {}}, "vias that the netlist lists twice count once",
           std::to_string(twice) + " records");
}

void add_pad_list(Board& b, const std::vector<formats::PadRow>& pads, const std::string& file, Diagnostics& d) {
  Builder build(b, d);
  for (const auto& r : pads) {
    Feature f;
    f.name = r.pad;
    f.at = r.at;
    f.place = {file, r.line, 0, {}};
    f.hole = r.drill;
    f.plated = r.plated;
    f.place_sigma = r.error;
    Land l{true, r.width, r.height > 0 ? r.height : r.width, r.rotation, r.height <= 0};
    if (r.side != 1) f.land[0] = l;
    if (r.side != 0) f.land[1] = l;
    f.kind = r.drill > 0 && !r.plated ? FeatureKind::unplated_hole
             : r.component == "VIA"   ? FeatureKind::via
             : r.component.empty()    ? FeatureKind::test_pad
             : r.drill > 0            ? FeatureKind::lead
                                      : FeatureKind::smd_pad;
    const bool unconnected = r.net.empty() || r.net == "N/C";
    f.net = f.kind == FeatureKind::unplated_hole ? -1 : build.net(r.net, unconnected);
    if (!r.component.empty() && r.component != "VIA") {
      f.component = build.component(r.component);
      f.pin = r.pin;
    }
    b.features.push_back(std::move(f));
  }
  build.finish();
}

void name_kinds(Board& b, const Layers& layers) {
  for (Feature& f : b.features) {
    if (f.kind == FeatureKind::unplated_hole || f.kind == FeatureKind::via) continue;
    for (int s = 0; s < 2; ++s)
      for (const auto& image : layers.copper[static_cast<std::size_t>(s)])
        if (const auto* flash = f.land[static_cast<std::size_t>(s)].present ? image.flash_at(f.at, 0.02) : nullptr) {
          const std::string& function = image.file().attributes[flash->attributes].aper_function;
          if (function == "TestPad") f.kind = FeatureKind::test_pad;
          if (function.substr(0, 11) == "FiducialPad") f.kind = FeatureKind::fiducial;
        }
    if (f.component < 0) {
      if (b.traced) continue;  // parts are unknown: a land may well belong to one
      // A land without a part: a bare pad, drilled or not.
      if (f.kind == FeatureKind::smd_pad || f.kind == FeatureKind::lead) f.kind = FeatureKind::test_pad;
      continue;
    }
    const Component& c = b.components[static_cast<std::size_t>(f.component)];
    const std::string letters = reference_letters(c.name);
    if (c.features.size() <= 2 && (letters == "TP" || letters == "TST" || letters == "TEST") &&
        f.kind != FeatureKind::fiducial)
      f.kind = FeatureKind::test_pad;
    if (c.features.size() <= 2 && (letters == "FID" || letters == "FD" || letters == "FIDU"))
      f.kind = FeatureKind::fiducial;
  }
}

}  // namespace teasel
