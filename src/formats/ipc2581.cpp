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
  for (const char* copper : {"CONDUCTOR", "CONDFILM", "CONDFOIL", "SIGNAL", "PLANE", "MIXED"})
    if (function == copper) return CadLayer::Kind::copper;
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
  if (!parse_xml(doc_, bytes_, name_, diagnostics_)) return false;
  const XMLElement& root = *doc_.RootElement();
  if (local(root) != "IPC-2581") {
    diagnostics_.error({.code = "ipc2581-root",
                        .at = at(root),
                        .message = "the file is not IPC-2581",
                        .found = std::string(local(root)).substr(0, 40),
                        .expected = "IPC-2581"});
    return false;
  }
  board_.revision = attribute(root, "revision");
  if (board_.revision.substr(0, 1) != "B" && board_.revision.substr(0, 1) != "C") {
    diagnostics_.error({.code = "ipc2581-revision",
                        .at = at(root),
                        .message = "this revision is not read",
                        .found = board_.revision.empty() ? "none stated" : board_.revision,
                        .expected = "B or C",
                        .remedy = "export as revision C"});
    return false;
  }
  return true;
}

void CadReader::content(const XMLElement& root) {
  const XMLElement* content_element = child(root, "Content");
  if (!content_element) return fail("ipc2581-no-content", root, "the file has no Content element");
  for (const XMLElement& element : children(*content_element)) {
    if (local(element) == "FunctionMode") board_.mode = attribute(element, "mode");
    if (local(element) == "BomRef") bom_refs_.emplace_back(attribute(element, "name"));
  }
  dictionaries(*content_element);
}

void CadReader::boms(const XMLElement& root) {
  for (const XMLElement& bom : children(root)) {
    if (local(bom) != "Bom") continue;
    CadVariant variant;
    variant.name = attribute(bom, "name");
    for (const XMLElement& item : children(bom))
      if (local(item) == "BomItem")
        for (const XMLElement& reference : children(item))
          if (local(reference) == "RefDes") {
            const auto [it, fresh] =
                variant.fitted.emplace(std::string(attribute(reference, "name")), flag(reference, "populate", true));
            // Alternatives of one bill: one of them is fitted.
            if (!fresh && it->second != flag(reference, "populate", true)) {
              it->second = true;
              diagnostics_.warn(
                  {.code = "ipc2581-bom-twice",
                   .at = at(reference),
                   .message = "a part is listed both as fitted and as not fitted; it counts as fitted",
                   .found = it->first,
                   .remedy = "correct the bill of materials, or list the part in  [components] not_fitted"});
            }
          }
    board_.variants.push_back(std::move(variant));
  }
}

void CadReader::choose_variant() {
  if (board_.variants.empty()) {
    if (!choice_.variant.empty())
      diagnostics_.error({.code = "ipc2581-variant",
                          .at = {name_, 0, 0, "Bom"},
                          .message = "the file holds no bill of materials",
                          .expected = choice_.variant,
                          .remedy = "remove  [inputs.ipc2581] variant"});
    return;
  }
  std::string names;
  for (const auto& variant : board_.variants)
    names += (names.empty() ? "" : ", ") + (variant.name.empty() ? std::string("(without a name)") : variant.name);
  auto chosen = std::find_if(board_.variants.begin(), board_.variants.end(),
                             [&](const CadVariant& variant) { return variant.name == choice_.variant; });
  if (choice_.variant.empty()) {
    chosen = std::find_if(board_.variants.begin(), board_.variants.end(), [&](const CadVariant& variant) {
      return !bom_refs_.empty() && variant.name == bom_refs_[0];
    });
    if (chosen == board_.variants.end()) chosen = board_.variants.begin();
    if (board_.variants.size() > 1)
      diagnostics_.warn({.code = "ipc2581-variant",
                         .at = {name_, 0, 0, "Bom"},
                         .message = "the file holds several bills of materials; the first one decides what is fitted",
                         .found = names,
                         .remedy = "choose with  [inputs.ipc2581] variant"});
  } else if (chosen == board_.variants.end()) {
    return diagnostics_.error({.code = "ipc2581-variant",
                               .at = {name_, 0, 0, "Bom"},
                               .message = "the file holds no bill of materials of this name",
                               .found = choice_.variant,
                               .expected = names,
                               .remedy = "choose one of them"});
  }
  board_.variant = chosen->name;
}

void CadReader::steps(const XMLElement& cad) {
  for (const XMLElement& element : children(cad)) {
    if (local(element) != "Step") continue;
    CadStep step;
    step.name = attribute(element, "name");
    step.line = static_cast<std::uint32_t>(element.GetLineNum());
    for (const XMLElement& inner : children(element)) {
      step.components += local(inner) == "Component";
      step.layers += local(inner) == "LayerFeature";
      if (local(inner) != "StepRepeat") continue;
      const double columns = number(inner, "nx", 1), rows = number(inner, "ny", 1);
      if (!(columns >= 1 && rows >= 1 && columns * rows <= kMostPlaces)) {
        fail("ipc2581-repeat", inner, "a step is repeated too often or not at all",
             std::string(attribute(inner, "nx")) + " x " + std::string(attribute(inner, "ny")), "1 to 10000");
        continue;
      }
      for (int j = 0; j < static_cast<int>(rows); ++j)
        for (int i = 0; i < static_cast<int>(columns) && step.places.size() < kMostPlaces; ++i)
          step.places.push_back({std::string(attribute(inner, "stepRef")),
                                 {length(inner, "x", 0, scale_) + i * length(inner, "dx", 0, scale_),
                                  length(inner, "y", 0, scale_) + j * length(inner, "dy", 0, scale_)},
                                 Degrees{number(inner, "angle", 0)},
                                 flag(inner, "mirror")});
    }
    board_.steps.push_back(std::move(step));
    step_elements_.push_back(&element);
  }
}

std::optional<std::size_t> CadReader::step_asked_for(const std::string& names) {
  std::optional<std::size_t> chosen;
  for (std::size_t i = 0; i < board_.steps.size(); ++i)
    if (board_.steps[i].name == choice_.step) chosen = i;
  if (!chosen)
    diagnostics_.error({.code = "ipc2581-step",
                        .at = {name_, 0, 0, "CadData/Step"},
                        .message = "the file holds no step of this name",
                        .found = choice_.step,
                        .expected = names,
                        .remedy = "choose one of them"});
  return chosen;
}

/// The painted step that is a board. A board holds no other step and, where this alone does not tell, components.
std::optional<std::size_t> CadReader::only_board(const std::string& names) {
  std::vector<std::size_t> painted, boards;
  for (std::size_t i = 0; i < board_.steps.size(); ++i)
    if (board_.steps[i].layers || board_.steps[i].components) painted.push_back(i);
  for (std::size_t i : painted)
    if (board_.steps[i].places.empty()) boards.push_back(i);
  if (boards.empty()) boards = painted;
  if (boards.size() > 1) {
    std::vector<std::size_t> populated;
    for (std::size_t i : boards)
      if (board_.steps[i].components) populated.push_back(i);
    if (populated.size() == 1) boards = populated;
  }
  if (boards.size() == 1) return boards[0];
  diagnostics_.error(
      {.code = "ipc2581-step",
       .at = {name_, 0, 0, "CadData/Step"},
       .message = boards.empty() ? "no step of the file holds a board" : "several steps could be the board",
       .found = names,
       .expected = "one board",
       .remedy = "name it in  [inputs.ipc2581] step"});
  return std::nullopt;
}

/// Steps that repeat the board, and a board that repeats other steps.
void CadReader::tell_panels(const CadStep& chosen) {
  for (const CadStep& step : board_.steps) {
    const auto count = std::count_if(step.places.begin(), step.places.end(),
                                     [&](const CadPlace& place) { return place.step == board_.step; });
    if (count)
      diagnostics_.note(
          {.code = "ipc2581-panel",
           .at = {name_, step.line, 0, "Step"},
           .message = "step " + step.name +
                      " is a panel that holds the board; the plan is for one board unless the job says  [panel] step",
           .found = std::to_string(count) + " places"});
  }
  if (!chosen.places.empty())
    diagnostics_.warn({.code = "ipc2581-panel",
                       .at = {name_, chosen.line, 0, "Step"},
                       .message = "the chosen step repeats other steps; what these hold is not part of this board",
                       .found = std::to_string(chosen.places.size()) + " places"});
}

/// The step that the job asks for; otherwise the only one that is painted; otherwise the board that the others repeat.
const XMLElement* CadReader::choose_step() {
  std::string names;
  for (std::size_t i = 0; i < board_.steps.size(); ++i) names += (i ? ", " : "") + board_.steps[i].name;
  const std::optional<std::size_t> chosen = choice_.step.empty() ? only_board(names) : step_asked_for(names);
  if (!chosen) return nullptr;
  board_.step = board_.steps[*chosen].name;
  tell_panels(board_.steps[*chosen]);
  return step_elements_[*chosen];
}

void CadReader::number_copper(const XMLElement& cad) {
  // Layers are numbered by the stack-up's sequence where there is one, otherwise in the order of the list.
  std::map<std::string, double> sequence;
  for (const XMLElement& element : children(cad)) {
    if (local(element) != "Stackup") continue;
    if (const Mm thickness{length(element, "overallThickness", 0, scale_)}; thickness > Mm{})
      board_.mechanics.thickness = thickness;
    double before = 0;
    for (const XMLElement& group : children(element))
      if (local(group) == "StackupGroup")
        for (const XMLElement& layer : children(group))
          if (local(layer) == "StackupLayer")
            sequence.emplace(std::string(attribute(layer, "layerOrGroupRef")),
                             before = number(layer, "sequence", before + 1));
  }
  struct Copper {
    std::string name;
    int depth;  // 0 on top, 1 within, 2 at the bottom
    double order;
  };
  std::vector<Copper> copper;
  double listed = 1e6;
  for (const XMLElement& layer : children(cad))
    if (local(layer) == "Layer" && kind_of(attribute(layer, "layerFunction")) == CadLayer::Kind::copper) {
      const std::string name(attribute(layer, "name"));
      const std::string_view side = attribute(layer, "side");
      auto it = sequence.find(name);
      int depth = 1;
      if (side == "TOP") depth = 0;
      if (side == "BOTTOM") depth = 2;
      copper.push_back({name, depth, it == sequence.end() ? listed++ : it->second});
    }
  std::stable_sort(copper.begin(), copper.end(), [](const Copper& a, const Copper& b) {
    return std::tie(a.depth, a.order) < std::tie(b.depth, b.order);
  });
  for (std::size_t i = 0; i < copper.size(); ++i) {
    if (!copper_number_.emplace(copper[i].name, static_cast<int>(i) + 1).second)
      diagnostics_.error({.code = "ipc2581-layer-twice",
                          .at = {name_, 0, 0, "CadData/Layer"},
                          .message = "two copper layers have the same name",
                          .found = copper[i].name,
                          .remedy = "export the file again"});
  }
  board_.copper_layers = static_cast<int>(copper.size());
}

namespace {
std::optional<Side> side_named(std::string_view word) {
  if (word == "TOP") return Side::top;
  if (word == "BOTTOM") return Side::bottom;
  return std::nullopt;
}
}  // namespace

void CadReader::layers(const XMLElement& cad) {
  number_copper(cad);
  for (const XMLElement& element : children(cad)) {
    if (local(element) != "Layer") continue;
    const std::string name(attribute(element, "name"));
    const std::string_view function = attribute(element, "layerFunction");
    const std::optional<Side> side = side_named(attribute(element, "side"));
    layer_side_[name] = side;
    if (function == "DRILL" || function == "ROUT") {
      std::array<int, 2> span{};
      if (const XMLElement* span_element = child(element, "Span")) {
        const auto named = span_of(*span_element);
        if (!named)
          fail("ipc2581-reference", *span_element,
               "a drill layer ends on a layer that is not a copper layer of this file",
               std::string(attribute(*span_element, "fromLayer")) + " to " +
                   std::string(attribute(*span_element, "toLayer")));
        else
          span = *named;
      }
      drill_span_[name] = span;
      continue;
    }
    const auto kind = kind_of(function);
    if (!kind || layer_index_.count(name)) continue;
    CadLayer layer;
    layer.kind = *kind;
    layer.side = side;
    if (*kind == CadLayer::Kind::copper)
      layer.number = copper_number_[name];
    else if (!layer.side)
      continue;
    layer.negative = attribute(element, "polarity") == "NEGATIVE";
    layer.image.name = name_ + "#" + name;
    layer.image.transforms = {Affine{}};
    layer.image.attributes = {GerberAttributes{}};
    layer_index_[name] = board_.layers.size();
    board_.layers.push_back(std::move(layer));
  }
}

std::optional<Polygon> CadReader::profile(const XMLElement& step) {
  const XMLElement* profile_element = child(step, "Profile");
  if (!profile_element) return std::nullopt;
  Ring outer;
  std::vector<Ring> cuts;
  for (const XMLElement& inner : children(*profile_element)) {
    if (local(inner) != "Polygon" && local(inner) != "Cutout") continue;
    Ring ring = path(inner, scale_);
    close(ring);
    if (ring.size() < 3) continue;
    if (local(inner) == "Cutout")
      cuts.push_back(std::move(ring));
    else if (std::abs(signed_area(ring)) > std::abs(signed_area(outer)))
      outer = std::move(ring);
  }
  if (outer.size() < 3) return std::nullopt;
  if (crossings_exceed(outer, 10)) {
    fail("ipc2581-profile", *profile_element, "the board's profile crosses itself");
    return std::nullopt;
  }
  std::vector<Box> boxes;
  for (const Ring& ring : cuts) boxes.push_back(bounds(ring));
  if (heaped(boxes)) {
    fail("ipc2581-profile", *profile_element, "far too many cutouts lie on top of one another");
    return std::nullopt;
  }
  const Polygons whole = subtract(fill_contours({outer}), fill_contours(cuts));
  const auto largest = std::max_element(whole.begin(), whole.end(),
                                        [](const Polygon& a, const Polygon& b) { return area(a) < area(b); });
  return largest == whole.end() ? std::nullopt : std::optional<Polygon>(*largest);
}

CadBoard CadReader::run() {
  board_.name = board_.mechanics.name = name_;
  if (!open()) return std::move(board_);
  const XMLElement& root = *doc_.RootElement();
  const XMLElement* ecad = child(root, "Ecad");
  const XMLElement* header = ecad ? child(*ecad, "CadHeader") : nullptr;
  const XMLElement* cad = ecad ? child(*ecad, "CadData") : nullptr;
  if (!header || !cad) {
    diagnostics_.error({.code = "ipc2581-no-board",
                        .at = at(root),
                        .message = "the file holds no board",
                        .found = board_.mode,
                        .expected = "Ecad with CadHeader and CadData",
                        .remedy = "export the board with layers and components"});
    return std::move(board_);
  }
  scale_ = scale_of(*header);
  content(root);
  boms(root);
  steps(*cad);
  layers(*cad);
  choose_variant();
  const XMLElement* step = diagnostics_.failed() ? nullptr : choose_step();
  if (!step) return std::move(board_);
  board_.mechanics.outline = profile(*step);
  for (std::size_t i = 0; i < board_.steps.size(); ++i)
    if (std::any_of(board_.steps[i].places.begin(), board_.steps[i].places.end(),
                    [&](const CadPlace& place) { return place.step == board_.step; }))
      board_.steps[i].outline = profile(*step_elements_[i]);
  pad_stacks(*step);
  packages(*step);
  components(*step);
  logical_nets(*step);
  physical_nets(*step);
  layer_features(*step);
  if (diagnostics_.failed()) return std::move(board_);
  settle_placing();
  place_bodies();
  netlist();
  board_.test_points = physical_.size();
  return std::move(board_);
}

CadBoard read_ipc2581(std::string_view bytes, const std::string& name, const Ipc2581Choice& choice,
                      Diagnostics& diagnostics) {
  return CadReader(bytes, name, choice, diagnostics).run();
}

}  // namespace teasel::formats
