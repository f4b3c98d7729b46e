// The table of a layer file, as text and as JSON.
#include <cmath>
#include <nlohmann/json.hpp>

#include "teasel/report.h"
#include "teasel/units.h"

namespace teasel {

using formats::LayerFacts;

namespace {
std::string counted(const std::vector<std::pair<std::string, std::size_t>>& list) {
  std::string s;
  for (const auto& [name, n] : list) s += (s.empty() ? "" : ", ") + std::to_string(n) + " " + name;
  return s;
}
}  // namespace

std::string layer_lines(const LayerFacts& f) {
  std::string s = f.file + "\n";
  auto line = [&](const char* key, const std::string& text) {
    s += "  " + std::string(key) + std::string(12 - std::string_view(key).size(), ' ') + text + "\n";
  };
  const Box& b = f.extents;
  line("extents", b.valid() ? "x " + fixed(b.x0, 3) + " to " + fixed(b.x1, 3) + ", y " + fixed(b.y0, 3) + " to " +
                                  fixed(b.y1, 3) + " mm; " + fixed(b.width(), 3) + " x " + fixed(b.height(), 3) + " mm"
                            : "nothing is drawn");
  line("objects", std::to_string(f.flashes + f.strokes + f.arcs + f.regions) + ": " + std::to_string(f.flashes) +
                      " flashes, " + std::to_string(f.strokes) + " strokes, " + std::to_string(f.arcs) + " arcs, " +
                      std::to_string(f.regions) + " regions; " + std::to_string(f.clear) + " clear");
  line("apertures", f.apertures.empty() ? "none" : counted(f.apertures));
  line("file",
       std::string("unit ") + (f.millimetres ? "mm" : "inch") + ", image " + (f.negative ? "negative" : "positive"));
  if (f.area) line("area", fixed(*f.area, 4) + " mm2 dark, composited");
  for (const auto& [name, value] : f.file_attributes) line("attribute", name + (value.empty() ? "" : " = " + value));
  if (!f.functions.empty()) line("functions", counted(f.functions));
  if (f.nets || f.components)
    line("names", std::to_string(f.nets) + " nets, " + std::to_string(f.components) + " components");
  return s;
}

std::string layers_json(const std::vector<LayerFacts>& all) {
  auto list = nlohmann::ordered_json::array();
  auto micro = [](double v) { return std::round(v * 1e6) / 1e6; };
  for (const LayerFacts& f : all) {
    nlohmann::ordered_json j;
    j["file"] = f.file;
    if (f.extents.valid())
      j["extents_mm"] = {micro(f.extents.x0), micro(f.extents.y0), micro(f.extents.x1), micro(f.extents.y1)};
    j["flashes"] = f.flashes;
    j["strokes"] = f.strokes;
    j["arcs"] = f.arcs;
    j["regions"] = f.regions;
    j["clear"] = f.clear;
    j["unit"] = f.millimetres ? "mm" : "inch";
    j["negative_image"] = f.negative;
    auto table = [](const auto& rows) {
      auto t = nlohmann::ordered_json::object();
      for (const auto& [name, value] : rows) t[name] = value;
      return t;
    };
    j["apertures"] = table(f.apertures);
    j["attributes"] = table(f.file_attributes);
    j["functions"] = table(f.functions);
    j["nets"] = f.nets;
    j["components"] = f.components;
    if (f.area) j["area_mm2"] = micro(*f.area);
    list.push_back(std::move(j));
  }
  return nlohmann::ordered_json{{"status", "done"}, {"layers", list}}.dump(
             2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) +
         "\n";
}

}  // namespace teasel
