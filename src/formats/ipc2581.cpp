// The frame of an IPC-2581 file: contents, layers, stack-up, steps, bills of materials.
#include "teasel/formats/ipc2581.h"

#include <algorithm>
#include <cmath>

#include "ipc2581_reader.h"
#include "teasel/units.h"

namespace teasel::formats {

namespace {
constexpr int kMostPlaces = 10'000;

std::optional<CadLayer::Kind> kind_of(std::string_view function) {
  for (const char* f : {"CONDUCTOR", "CONDFILM", "CONDFOIL", "SIGNAL", "PLANE", "MIXED"})
    if (function == f) return CadLayer::Kind::copper;
  if (function == "SOLDERMASK") return CadLayer::Kind::mask;
  if (function == "PASTEMASK" || function == "SOLDERPASTE") return CadLayer::Kind::paste;
  return std::nullopt;
}
}  // namespace

bool looks_like_ipc2581(std::string_view bytes) {
  return bytes.substr(0, 4000).find("<IPC-2581") != std::string_view::npos ||
         bytes.substr(0, 4000).find(":IPC-2581") != std::string_view::npos;
}

bool CadReader::open() {
  if (!parse_xml(doc_, bytes_, name_, d_)) return false;
  const XMLElement& root = *doc_.RootElement();
  if (local(root) != "IPC-2581") {
    d_.error("ipc2581-root", at(root), "the file is not IPC-2581", std::string(local(root)).substr(0, 40), "IPC-2581");
    return false;
  }
  out_.revision = attribute(root, "revision");
  if (out_.revision.substr(0, 1) != "B" && out_.revision.substr(0, 1) != "C") {
    d_.error("ipc2581-revision", at(root), "this revision is not read",
             out_.revision.empty() ? "none stated" : out_.revision, "B or C", "export as revision C");
    return false;
  }
  return true;
}

void CadReader::content(const XMLElement& root) {
  const XMLElement* c = child(root, "Content");
  if (!c) return fail("ipc2581-no-content", root, "the file has no Content element");
  for (const XMLElement& e : children(*c)) {
    if (local(e) == "FunctionMode") out_.mode = attribute(e, "mode");
    if (local(e) == "BomRef") bom_refs_.emplace_back(attribute(e, "name"));
  }
  dictionaries(*c);
}

void CadReader::boms(const XMLElement& root) {
  for (const XMLElement& bom : children(root)) {
    if (local(bom) != "Bom") continue;
    CadVariant v;
    v.name = attribute(bom, "name");
    for (const XMLElement& item : children(bom))
      if (local(item) == "BomItem")
        for (const XMLElement& r : children(item))
          if (local(r) == "RefDes") {
            const auto [it, fresh] = v.fitted.emplace(std::string(attribute(r, "name")), flag(r, "populate", true));
            // Alternatives in one bill: one of them is fitted.
            if (!fresh && it->second != flag(r, "populate", true)) {
              it->second = true;
              d_.warn("ipc2581-bom-twice", at(r), "a part is listed twice, as fitted and as not; it counts as fitted",
                      it->first, "correct the bill, or list it in  [components] not_fitted");
            }
          }
    out_.variants.push_back(std::move(v));
  }
}

void CadReader::choose_variant() {
  if (out_.variants.empty()) {
    if (!choice_.variant.empty())
      d_.error("ipc2581-variant", {name_, 0, 0, "Bom"}, "the file holds no bill of materials", {}, choice_.variant,
               "remove the choice");
    return;
  }
  std::string names;
  for (const auto& v : out_.variants)
    names += (names.empty() ? "" : ", ") + (v.name.empty() ? std::string("(without a name)") : v.name);
  auto chosen = std::find_if(out_.variants.begin(), out_.variants.end(),
                             [&](const CadVariant& v) { return v.name == choice_.variant; });
  if (choice_.variant.empty()) {
    chosen = std::find_if(out_.variants.begin(), out_.variants.end(),
                          [&](const CadVariant& v) { return !bom_refs_.empty() && v.name == bom_refs_[0]; });
    if (chosen == out_.variants.end()) chosen = out_.variants.begin();
    if (out_.variants.size() > 1)
      d_.warn("ipc2581-variant", {name_, 0, 0, "Bom"},
              "the file holds several bills of materials; the first is taken for what is fitted", names,
              "choose with  [inputs.ipc2581] variant");
  } else if (chosen == out_.variants.end()) {
    return d_.error("ipc2581-variant", {name_, 0, 0, "Bom"}, "no bill of materials of this name", choice_.variant,
                    names, "choose one of them");
  }
  out_.variant = chosen->name;
}

void CadReader::steps(const XMLElement& cad) {
  for (const XMLElement& e : children(cad)) {
    if (local(e) != "Step") continue;
    CadStep s;
    s.name = attribute(e, "name");
    s.line = static_cast<std::uint32_t>(e.GetLineNum());
    for (const XMLElement& c : children(e)) {
      s.components += local(c) == "Component";
      s.layers += local(c) == "LayerFeature";
      if (local(c) != "StepRepeat") continue;
      const double nx = number(c, "nx", 1), ny = number(c, "ny", 1);
      if (!(nx >= 1 && ny >= 1 && nx * ny <= kMostPlaces)) {
        fail("ipc2581-repeat", c, "a step is repeated out of measure",
             std::string(attribute(c, "nx")) + " x " + std::string(attribute(c, "ny")), "1 to 10000");
        continue;
      }
      for (int j = 0; j < static_cast<int>(ny); ++j)
        for (int i = 0; i < static_cast<int>(nx) && s.places.size() < kMostPlaces; ++i)
          s.places.push_back(
              {std::string(attribute(c, "stepRef")),
               {length(c, "x", 0, k_) + i * length(c, "dx", 0, k_), length(c, "y", 0, k_) + j * length(c, "dy", 0, k_)},
               number(c, "angle", 0),
               flag(c, "mirror")});
    }
    out_.steps.push_back(std::move(s));
    step_elements_.push_back(&e);
  }
}

/// The step asked for; else the only one that is painted; else the board that the others repeat.
const XMLElement* CadReader::choose_step() {
  std::vector<std::size_t> painted;
  std::string names;
  for (std::size_t i = 0; i < out_.steps.size(); ++i) {
    names += (i ? ", " : "") + out_.steps[i].name;
    if (out_.steps[i].layers || out_.steps[i].components) painted.push_back(i);
  }
  std::optional<std::size_t> chosen;
  if (!choice_.step.empty()) {
    for (std::size_t i = 0; i < out_.steps.size(); ++i)
      if (out_.steps[i].name == choice_.step) chosen = i;
    if (!chosen) {
      d_.error("ipc2581-step", {name_, 0, 0, "CadData/Step"}, "the file holds no step of this name", choice_.step,
               names, "choose one of them");
      return nullptr;
    }
  } else {
    // Boards hold components and no other step.
    std::vector<std::size_t> boards;
    for (std::size_t i : painted)
      if (out_.steps[i].places.empty()) boards.push_back(i);
    if (boards.empty()) boards = painted;
    if (boards.size() > 1) {
      std::vector<std::size_t> populated;
      for (std::size_t i : boards)
        if (out_.steps[i].components) populated.push_back(i);
      if (populated.size() == 1) boards = populated;
    }
    if (boards.size() != 1) {
      d_.error("ipc2581-step", {name_, 0, 0, "CadData/Step"},
               boards.empty() ? "no step of the file holds a board" : "several steps could be the board", names,
               "one board", "name it in  [inputs.ipc2581] step");
      return nullptr;
    }
    chosen = boards[0];
  }
  out_.step = out_.steps[*chosen].name;
  for (const CadStep& s : out_.steps) {
    const auto n =
        std::count_if(s.places.begin(), s.places.end(), [&](const CadPlace& p) { return p.step == out_.step; });
    if (n)
      d_.note("ipc2581-panel", {name_, s.line, 0, "Step"},
              "step " + s.name +
                  " is a panel that holds the board; the plan is for one board unless the job says  [panel] step",
              std::to_string(n) + " places", "");
  }
  if (!out_.steps[*chosen].places.empty())
    d_.warn("ipc2581-panel", {name_, out_.steps[*chosen].line, 0, "Step"},
            "the chosen step repeats others; what they hold is not part of this board",
            std::to_string(out_.steps[*chosen].places.size()) + " places");
  return step_elements_[*chosen];
}

void CadReader::number_copper(const XMLElement& cad) {
  // By stack-up sequence where there is one, else in the order of the list.
  std::map<std::string, double> sequence;
  for (const XMLElement& s : children(cad)) {
    if (local(s) != "Stackup") continue;
    if (const double t = length(s, "overallThickness", 0, k_); t > 0) out_.mechanics.thickness = t;
    double before = 0;
    for (const XMLElement& g : children(s))
      if (local(g) == "StackupGroup")
        for (const XMLElement& l : children(g))
          if (local(l) == "StackupLayer")
            sequence.emplace(std::string(attribute(l, "layerOrGroupRef")), before = number(l, "sequence", before + 1));
  }
  struct Copper {
    std::string name;
    int side;
    double order;
  };
  std::vector<Copper> copper;
  double listed = 1e6;
  for (const XMLElement& l : children(cad))
    if (local(l) == "Layer" && kind_of(attribute(l, "layerFunction")) == CadLayer::Kind::copper) {
      const std::string name(attribute(l, "name"));
      const std::string_view side = attribute(l, "side");
      auto it = sequence.find(name);
      copper.push_back({name,
                        side == "TOP"      ? 0
                        : side == "BOTTOM" ? 2
                                           : 1,
                        it == sequence.end() ? listed++ : it->second});
    }
  std::stable_sort(copper.begin(), copper.end(), [](const Copper& a, const Copper& b) {
    return std::tie(a.side, a.order) < std::tie(b.side, b.order);
  });
  for (std::size_t i = 0; i < copper.size(); ++i) {
    if (!copper_number_.emplace(copper[i].name, static_cast<int>(i) + 1).second)
      d_.error("ipc2581-layer-twice", {name_, 0, 0, "CadData/Layer"}, "two copper layers have one name", copper[i].name,
               {}, "export the file again");
  }
  out_.copper_layers = static_cast<int>(copper.size());
}

void CadReader::layers(const XMLElement& cad) {
  number_copper(cad);
  for (const XMLElement& l : children(cad)) {
    if (local(l) != "Layer") continue;
    const std::string name(attribute(l, "name"));
    const std::string_view function = attribute(l, "layerFunction"), side = attribute(l, "side");
    layer_side_[name] = side == "TOP" ? 0 : side == "BOTTOM" ? 1 : -1;
    if (function == "DRILL" || function == "ROUT") {
      std::array<int, 2> span{};
      if (const XMLElement* s = child(l, "Span")) {
        const auto from = copper_number_.find(std::string(attribute(*s, "fromLayer"))),
                   to = copper_number_.find(std::string(attribute(*s, "toLayer")));
        if (from == copper_number_.end() || to == copper_number_.end())
          fail("ipc2581-reference", *s, "a drill layer spans to a layer that is no copper of this file",
               std::string(attribute(*s, "fromLayer")) + " to " + std::string(attribute(*s, "toLayer")));
        else
          span = {std::min(from->second, to->second), std::max(from->second, to->second)};
        if (span[0] == 1 && span[1] == out_.copper_layers) span = {};
      }
      drill_span_[name] = span;
      continue;
    }
    const auto kind = kind_of(function);
    if (!kind || layer_index_.count(name)) continue;
    CadLayer layer;
    layer.kind = *kind;
    layer.side = side == "TOP" ? 0 : side == "BOTTOM" ? 1 : -1;
    if (*kind == CadLayer::Kind::copper)
      layer.number = copper_number_[name];
    else if (layer.side < 0)
      continue;
    layer.negative = attribute(l, "polarity") == "NEGATIVE";
    layer.image.name = name_ + "#" + name;
    layer.image.transforms = {Affine{}};
    layer.image.attributes = {GerberAttributes{}};
    layer_index_[name] = out_.layers.size();
    out_.layers.push_back(std::move(layer));
  }
}

std::optional<Polygon> CadReader::profile(const XMLElement& step) {
  const XMLElement* p = child(step, "Profile");
  if (!p) return std::nullopt;
  Ring outer;
  std::vector<Ring> cuts;
  for (const XMLElement& c : children(*p)) {
    if (local(c) != "Polygon" && local(c) != "Cutout") continue;
    Ring ring = path(c, k_);
    close(ring);
    if (ring.size() < 3) continue;
    if (local(c) == "Cutout")
      cuts.push_back(std::move(ring));
    else if (std::abs(signed_area(ring)) > std::abs(signed_area(outer)))
      outer = std::move(ring);
  }
  if (outer.size() < 3) return std::nullopt;
  if (crossings_exceed(outer, 10)) {
    fail("ipc2581-profile", *p, "the board's profile crosses itself");
    return std::nullopt;
  }
  std::vector<Box> boxes;
  for (const Ring& r : cuts) boxes.push_back(bounds(r));
  if (heaped(boxes)) {
    fail("ipc2581-profile", *p, "cutouts are heaped on one another beyond measure");
    return std::nullopt;
  }
  const Polygons whole = subtract(fill_contours({outer}), fill_contours(cuts));
  const auto largest = std::max_element(whole.begin(), whole.end(),
                                        [](const Polygon& a, const Polygon& b) { return area(a) < area(b); });
  return largest == whole.end() ? std::nullopt : std::optional<Polygon>(*largest);
}

CadBoard CadReader::run() {
  out_.name = out_.mechanics.name = name_;
  if (!open()) return std::move(out_);
  const XMLElement& root = *doc_.RootElement();
  const XMLElement* ecad = child(root, "Ecad");
  const XMLElement* header = ecad ? child(*ecad, "CadHeader") : nullptr;
  const XMLElement* cad = ecad ? child(*ecad, "CadData") : nullptr;
  if (!header || !cad) {
    d_.error("ipc2581-no-board", at(root), "the file holds no board", out_.mode, "Ecad with CadHeader and CadData",
             "export it with layers and components");
    return std::move(out_);
  }
  k_ = scale_of(*header);
  content(root);
  boms(root);
  steps(*cad);
  layers(*cad);
  choose_variant();
  const XMLElement* step = d_.failed() ? nullptr : choose_step();
  if (!step) return std::move(out_);
  out_.mechanics.outline = profile(*step);
  for (std::size_t i = 0; i < out_.steps.size(); ++i)
    if (std::any_of(out_.steps[i].places.begin(), out_.steps[i].places.end(),
                    [&](const CadPlace& p) { return p.step == out_.step; }))
      out_.steps[i].outline = profile(*step_elements_[i]);
  pad_stacks(*step);
  packages(*step);
  components(*step);
  logical_nets(*step);
  physical_nets(*step);
  layer_features(*step);
  if (d_.failed()) return std::move(out_);
  settle_placing();
  place_bodies();
  netlist();
  out_.test_points = physical_.size();
  return std::move(out_);
}

CadBoard read_ipc2581(std::string_view bytes, const std::string& name, const Ipc2581Choice& choice, Diagnostics& d) {
  return CadReader(bytes, name, choice, d).run();
}

}  // namespace teasel::formats
