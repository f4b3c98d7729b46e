// Laws of recognising a release: what does not change the board does not change what is understood. Held on the demo
// release.
#include <algorithm>
#include <catch2/catch.hpp>
#include <functional>
#include <regex>

#include "teasel/pipeline/files.h"

using namespace teasel;

namespace {
std::vector<FolderFile> demo() {
  Diagnostics diagnostics;
  std::vector<FolderFile> files = pipeline::read_folder(TEASEL_SOURCE "/data/demo", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  return files;
}

/// What a first job says of the board, by the old names of the files.
struct Understood {
  std::map<std::string, std::string> roles;  ///< of layers, by file
  std::map<std::string, std::string> drills;
  std::string netlist;
  std::optional<Point> shift;
  double area{};
};
Understood understood(const std::vector<FolderFile>& files,
                      const std::function<std::string(const std::string&)>& old_name) {
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  for (const Finding& finding : diagnostics.all()) INFO(to_string(finding));
  REQUIRE_FALSE(diagnostics.failed());
  Understood out;
  const JobInputs& inputs = first.job.inputs;
  for (const GerberInput& layer : inputs.gerbers) {
    // Silk and drawings are no one's landing: which of them a layer is called does not matter.
    const bool matters = layer.role <= LayerRole::paste_bottom;
    out.roles[old_name(layer.file)] =
        matters ? std::string(to_string(layer.role)) + (layer.mask_image_inverted ? ", inverted" : "") : "silent";
  }
  for (const DrillInput& drill : inputs.drills)
    out.drills[old_name(drill.file)] = drill.unit + " " + drill.zeros + " " + drill.digits;
  out.netlist = old_name(inputs.netlist_file);
  out.shift = inputs.netlist_offset;
  out.area = inputs.outline_area.v;
  return out;
}
void same(const Understood& one, const Understood& other) {
  CHECK(one.roles == other.roles);
  CHECK(one.drills == other.drills);
  CHECK(one.netlist == other.netlist);
  CHECK(one.shift.has_value() == other.shift.has_value());
  if (one.shift && other.shift) CHECK(distance(*one.shift, *other.shift) < 0.01);
  CHECK(one.area == Approx(other.area));
}
std::string same_name(const std::string& name) {
  return name;
}
}  // namespace

TEST_CASE("files under names that say nothing are understood as before (law: content decides)") {
  const std::vector<FolderFile> files = demo();
  std::vector<FolderFile> renamed = files;
  std::map<std::string, std::string> old_names;
  for (std::size_t i = 0; i < renamed.size(); ++i) {
    renamed[i].name = "a" + std::to_string(i + 10);
    old_names[renamed[i].name] = files[i].name;
  }
  same(understood(files, same_name),
       understood(renamed, [&](const std::string& name) { return name.empty() ? name : old_names.at(name); }));
}

TEST_CASE("line ends and the order of the files make no difference (law: the same bytes of meaning)") {
  const std::vector<FolderFile> files = demo();
  std::vector<FolderFile> windows = files;
  for (FolderFile& file : windows) {
    std::string text;
    for (const char letter : file.bytes) text += letter == '\n' ? std::string("\r\n") : std::string(1, letter);
    file.bytes = std::move(text);
  }
  std::vector<FolderFile> turned = files;
  std::reverse(turned.begin(), turned.end());
  const Understood before = understood(files, same_name);
  same(before, understood(windows, same_name));
  same(before, understood(turned, same_name));
}

TEST_CASE("layers without their attributes are told by what they cover (law: content decides)") {
  const std::vector<FolderFile> files = demo();
  std::vector<FolderFile> bare = files;
  static const std::regex kAttributes("%T[FAOD][^%]*%\r?\n?|G04 #@![^*]*\\*\r?\n?");
  for (FolderFile& file : bare)
    if (file.name.ends_with(".gbr")) file.bytes = std::regex_replace(file.bytes, kAttributes, "");
  const Understood before = understood(files, same_name), after = understood(bare, same_name);
  // Inner copper covers no pad of either side: without its attribute it is set aside, and that is a stated loss.
  for (const auto& [name, role] : before.roles) {
    INFO(name);
    if (role == "copper inner") continue;
    CHECK(after.roles.at(name) == role);
  }
  CHECK(after.area == Approx(before.area));
}

TEST_CASE("without the netlist and the placement the layers and the board edge stay (law: loss of a witness)") {
  const std::vector<FolderFile> files = demo();
  std::vector<FolderFile> fewer;
  for (const FolderFile& file : files)
    if (!file.name.ends_with(".ipc") && file.name != "placement.csv") fewer.push_back(file);
  const Understood before = understood(files, same_name), after = understood(fewer, same_name);
  CHECK(after.roles == before.roles);
  CHECK(after.area == Approx(before.area));
  CHECK(after.netlist.empty());
}
