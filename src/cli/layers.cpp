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
struct One {
  Diagnostics diagnostics;
  formats::LayerFacts facts;
  std::string svg;
};

void read_one(const std::string& path, const LayersWanted& wanted, One& one) {
  const auto bytes = read_file(path, path, one.diagnostics);
  if (!bytes) return;
  const char* kind = std::string_view(*bytes).substr(0, 256).find('\0') != bytes->npos ? "a binary file"
                     : formats::looks_like_netlist(*bytes)                             ? "a netlist"
                     : formats::looks_like_drill(*bytes)                               ? "a drill file"
                                                                                       : nullptr;
  if (!kind && bytes->find('*') == std::string::npos) kind = "a text without a single Gerber command";
  if (kind) {
    one.diagnostics.error(
        "layers-not-a-layer", {path, 0, 0, {}}, std::string("this is ") + kind + ", not a Gerber layer file", {}, {},
        "give layer files; netlists, drill files and tables are read by  teasel start  and  teasel check");
    return;
  }
  const formats::GerberFile file = formats::read_gerber(*bytes, path, one.diagnostics, wanted.unit);
  if (one.diagnostics.failed()) return;
  one.facts = formats::layer_facts(file);
  if (wanted.area) {
    try {
      one.facts.area = formats::composited_area(file);
    } catch (const std::length_error& e) {
      one.diagnostics.error("layers-too-dense", {path, 0, 0, {}},
                            std::string("the image cannot be composited: ") + e.what(), {}, {},
                            "the file is damaged or hostile; leave out --area");
    }
  }
  if (wanted.drawings) one.svg = layer_svg(file);
}

/// A drawing may replace an earlier drawing, nothing else.
bool may_write(const fs::path& path) {
  std::error_code ec;
  if (!fs::exists(fs::symlink_status(path, ec))) return true;
  std::ifstream in(path, std::ios::binary);
  std::string head(kLayerSvgHead.size(), '\0');
  in.read(head.data(), static_cast<std::streamsize>(head.size()));
  return in && head == kLayerSvgHead;
}
}  // namespace

std::vector<formats::LayerFacts> layers(const LayersWanted& wanted, Diagnostics& d) {
  std::vector<One> all(wanted.files.size());
  parallel_for(
      all.size(), [&](std::size_t i) { read_one(wanted.files[i], wanted, all[i]); }, 1);
  std::map<fs::path, std::string> targets;
  std::vector<formats::LayerFacts> facts;
  for (std::size_t i = 0; i < all.size(); ++i) {
    d.merge(all[i].diagnostics);
    facts.push_back(std::move(all[i].facts));
    if (!wanted.drawings || d.failed()) continue;
    const fs::path to = fs::path(wanted.folder) / (fs::path(wanted.files[i]).filename().string() + ".svg");
    if (auto [it, fresh] = targets.emplace(to, wanted.files[i]); !fresh)
      d.error("layers-same-name", {wanted.files[i], 0, 0, {}}, "two files would be drawn into one: " + to.string(),
              "also from " + it->second, {}, "draw them into two folders");
    else if (!may_write(to))
      d.error("layers-exists", {to.string(), 0, 0, {}},
              "a file stands there that teasel did not draw; it is left alone", {}, {},
              "choose another folder with -o");
  }
  if (!wanted.drawings || d.failed()) return facts;
  std::error_code ec;
  fs::create_directories(wanted.folder, ec);
  for (std::size_t i = 0; i < all.size() && !d.failed(); ++i)
    write_file(fs::path(wanted.folder) / (fs::path(wanted.files[i]).filename().string() + ".svg"), all[i].svg, d);
  return facts;
}

}  // namespace teasel::cli
