// The table of a layer file, as text and as JSON.
#include <cmath>
#include <nlohmann/json.hpp>

#include "teasel/report.h"
#include "teasel/units.h"
#include "teasel/written.h"

namespace teasel {

using formats::LayerFacts;

namespace {
std::string counted(const std::vector<std::pair<std::string, std::size_t>>& list) {
  std::string text;
  for (const auto& [name, count] : list) text += (text.empty() ? "" : ", ") + std::to_string(count) + " " + name;
  return text;
}
}  // namespace

std::string layer_lines(const LayerFacts& facts) {
  std::string lines = visible(facts.file) + "\n";
  auto line = [&](const char* key, const std::string& text) {
    lines += "  " + std::string(key) + std::string(12 - std::string_view(key).size(), ' ') + visible(text) + "\n";
  };
  const Box& box = facts.extents;
  line("extents", box.valid()
                      ? "x " + fixed(box.x0, 3) + " to " + fixed(box.x1, 3) + ", y " + fixed(box.y0, 3) + " to " +
                            fixed(box.y1, 3) + " mm; " + fixed(box.width(), 3) + " x " + fixed(box.height(), 3) + " mm"
                      : "nothing is drawn");
  line("objects", std::to_string(facts.flashes + facts.strokes + facts.arcs + facts.regions) + ": " +
                      std::to_string(facts.flashes) + " flashes, " + std::to_string(facts.strokes) + " strokes, " +
                      std::to_string(facts.arcs) + " arcs, " + std::to_string(facts.regions) + " regions; " +
                      std::to_string(facts.clear) + " clear");
  line("apertures", facts.apertures.empty() ? "none" : counted(facts.apertures));
  line("file", std::string("unit ") + (facts.millimetres ? "mm" : "inch") + ", image " +
                   (facts.negative ? "negative" : "positive"));
  if (facts.area) line("area", fixed(facts.area->v, 4) + " mm2 dark, composited");
  for (const auto& [name, value] : facts.file_attributes)
    line("attribute", name + (value.empty() ? "" : " = " + value));
  if (!facts.functions.empty()) line("functions", counted(facts.functions));
  if (facts.nets || facts.components)
    line("names", std::to_string(facts.nets) + " nets, " + std::to_string(facts.components) + " components");
  return lines;
}

std::string layers_json(const std::vector<LayerFacts>& all) {
  auto list = nlohmann::ordered_json::array();
  auto micro = [](double v) { return std::round(v * 1e6) / 1e6; };
  for (const LayerFacts& facts : all) {
    nlohmann::ordered_json j;
    j["file"] = facts.file;
    if (facts.extents.valid())
      j["extents_mm"] = {micro(facts.extents.x0), micro(facts.extents.y0), micro(facts.extents.x1),
                         micro(facts.extents.y1)};
    j["flashes"] = facts.flashes;
    j["strokes"] = facts.strokes;
    j["arcs"] = facts.arcs;
    j["regions"] = facts.regions;
    j["clear"] = facts.clear;
    j["unit"] = facts.millimetres ? "mm" : "inch";
    j["negative_image"] = facts.negative;
    auto table = [](const auto& rows) {
      auto object = nlohmann::ordered_json::object();
      for (const auto& [name, value] : rows) object[name] = value;
      return object;
    };
    j["apertures"] = table(facts.apertures);
    j["attributes"] = table(facts.file_attributes);
    j["functions"] = table(facts.functions);
    j["nets"] = facts.nets;
    j["components"] = facts.components;
    if (facts.area) j["area_mm2"] = micro(facts.area->v);
    list.push_back(std::move(j));
  }
  return nlohmann::ordered_json{{"status", "done"}, {"layers", list}}.dump(
             2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) +
         "\n";
}

}  // namespace teasel
