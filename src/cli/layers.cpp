#include "layers.h"

#include <filesystem>
#include <fstream>
#include <map>
#include <stdexcept>

#include "teasel/formats/drill.h"
#include "teasel/formats/netlist.h"
#include "teasel/parallel.h"
#include "teasel/pipeline/files.h"
#include "teasel/report.h"

namespace teasel::cli {

using namespace pipeline;

namespace fs = std::filesystem;

namespace {
/// What came of one file.
struct ReadLayer {
  Diagnostics diagnostics;
  formats::LayerFacts facts;
  std::string svg;
};

/// What the bytes are instead of a Gerber layer; null where they may be one.
const char* other_kind(const std::string& bytes) {
  if (std::string_view(bytes).substr(0, 256).find('\0') != bytes.npos) return "a binary file";
  if (formats::looks_like_netlist(bytes)) return "a netlist";
  if (formats::looks_like_drill(bytes)) return "a drill file";
  return bytes.find('*') == bytes.npos ? "a text without a single Gerber command" : nullptr;
}

void read_one(const std::string& path, const LayersWanted& wanted, ReadLayer& layer) {
  Diagnostics& diagnostics = layer.diagnostics;
  auto bytes = read_file(path, path, diagnostics);
  if (bytes) bytes = as_text(std::move(*bytes), path, diagnostics);
  if (!bytes) return;
  if (const char* kind = other_kind(*bytes)) {
    diagnostics.error(
        {.code = "layers-not-a-layer",
         .at = {path, 0, 0, {}},
         .message = std::string("this is ") + kind + ", not a Gerber layer file",
         .remedy =
             "give layer files only. Netlists, drill files and tables are read by  teasel start  and  teasel check"});
    return;
  }
  const formats::GerberFile file = formats::read_gerber(*bytes, path, diagnostics, wanted.unit);
  if (diagnostics.failed()) return;
  layer.facts = formats::layer_facts(file);
  if (wanted.area) {
    try {
      layer.facts.area = formats::composited_area(file);
    } catch (const std::length_error& error) {
      diagnostics.error({.code = "layers-too-dense",
                         .at = {path, 0, 0, {}},
                         .message = std::string("the image of the layer cannot be composed: ") + error.what(),
                         .remedy = "leave out --area. The file is damaged or malicious"});
    }
  }
  if (wanted.drawings) layer.svg = layer_svg(file);
}

fs::path drawing_of(const std::string& file, const LayersWanted& wanted) {
  return fs::path(wanted.folder) / (fs::path(file).filename().string() + ".svg");
}

/// A drawing may replace an earlier drawing, nothing else.
bool may_write(const fs::path& path) {
  std::error_code ignored;
  if (!fs::exists(fs::symlink_status(path, ignored))) return true;
  std::ifstream in(path, std::ios::binary);
  std::string head(kLayerSvgHead.size(), '\0');
  in.read(head.data(), static_cast<std::streamsize>(head.size()));
  return in && head == kLayerSvgHead;
}
}  // namespace

std::vector<formats::LayerFacts> layers(const LayersWanted& wanted, Diagnostics& diagnostics) {
  std::vector<ReadLayer> all(wanted.files.size());
  parallel_for(
      all.size(), [&](std::size_t i) { read_one(wanted.files[i], wanted, all[i]); }, 1);
  std::map<fs::path, std::string> drawn_from;
  std::vector<formats::LayerFacts> facts;
  for (std::size_t i = 0; i < all.size(); ++i) {
    diagnostics.merge(all[i].diagnostics);
    facts.push_back(std::move(all[i].facts));
    if (!wanted.drawings || diagnostics.failed()) continue;
    const fs::path drawing = drawing_of(wanted.files[i], wanted);
    if (auto [other, fresh] = drawn_from.emplace(drawing, wanted.files[i]); !fresh)
      diagnostics.error({.code = "layers-same-name",
                         .at = {wanted.files[i], 0, 0, {}},
                         .message = "two layer files would be drawn into one drawing: " + drawing.string(),
                         .found = "the other one is " + other->second,
                         .remedy = "draw them into two folders"});
    else if (!may_write(drawing))
      diagnostics.error({.code = "layers-exists",
                         .at = {drawing.string(), 0, 0, {}},
                         .message = "there is a file here that teasel did not draw. It is not replaced",
                         .remedy = "choose another folder with -o"});
  }
  if (!wanted.drawings || diagnostics.failed()) return facts;
  std::error_code ignored;
  fs::create_directories(wanted.folder, ignored);
  for (std::size_t i = 0; i < all.size() && !diagnostics.failed(); ++i)
    write_file(drawing_of(wanted.files[i], wanted), all[i].svg, diagnostics);
  return facts;
}

}  // namespace teasel::cli
