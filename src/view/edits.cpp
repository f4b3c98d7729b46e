// Edits as the page sends them, and which of them it may make.
#include <algorithm>
#include <array>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "live.h"
#include "teasel/enums.h"
#include "teasel/written.h"

namespace teasel::view {

namespace fs = std::filesystem;

namespace {
/// In the words of the page.
constexpr Words<JobEdit::Kind> kKinds{"set", "remove", "append", "insert"};

/// Keys that name a shop's file, each with the kind of shipped files that it chooses from.
constexpr std::array<std::pair<const char*, const char*>, 6> kFiles = {{{"fixture.catalogue", "catalogues"},
                                                                        {"fixture.rules", "rules"},
                                                                        {"fixture.interfaces", "interfaces"},
                                                                        {"fixture.kit", "kits"},
                                                                        {"fixture.style", "styles"},
                                                                        {"fixture.prices", "prices"}}};

bool below(const std::string& path, const std::string& table) {
  return path.rfind(table, 0) == 0 &&
         (path.size() == table.size() || path[table.size()] == '.' || path[table.size()] == '[');
}

/// True for a shipped name, and for a file that lies in the job's folder once all links are followed.
bool in_folder(const std::string& name, const char* kind, const std::string& job_file) {
  if (shipped(kind, name)) return true;
  std::error_code ec;
  const fs::path folder = fs::weakly_canonical(fs::absolute(job_file).parent_path(), ec);
  const fs::path file = fs::weakly_canonical(folder / name, ec);
  const auto rest = file.lexically_relative(folder);
  return !ec && !fs::path(name).is_absolute() && !rest.empty() && *rest.begin() != ".." && rest != ".";
}
}  // namespace

namespace {
constexpr int kDeepest = 6;                 // a keep-out is a list of tables with lists of points
constexpr std::size_t kMostValues = 20000;  // in one edit

std::string toml_at(const Json& value, int depth, std::size_t& values) {
  if (depth > kDeepest || ++values > kMostValues) return {};
  if (value.is_string()) return Toml::text(value.get_ref<const std::string&>()).text();
  if (value.is_boolean() || value.is_number()) return value.dump();
  std::string joined;
  if (value.is_array()) {
    for (const Json& item : value) {
      const std::string text = toml_at(item, depth + 1, values);
      if (text.empty()) return {};
      joined += (joined.empty() ? "" : ", ") + text;
    }
    return "[" + joined + "]";
  }
  if (!value.is_object()) return {};
  for (const auto& [key, item] : value.items()) {
    const std::string text = toml_at(item, depth + 1, values);
    if (text.empty()) return {};
    joined += (joined.empty() ? "" : ", ") + Toml::text(key).text() + " = " + text;
  }
  return "{ " + joined + " }";
}
}  // namespace

std::string to_toml(const Json& value) {
  std::size_t values = 0;
  return toml_at(value, 0, values);
}

namespace {
/// Keys that the option table opens to the page. A table that names files of the shop is set key by key, so that each
/// file is looked at.
bool is_open(const std::string& path) {
  const bool holds_files = std::any_of(kFiles.begin(), kFiles.end(),
                                       [&](const auto& file) { return file.first != path && below(file.first, path); });
  return !holds_files && page_reach(path) != PageReach::none;
}

}  // namespace

bool file_is_allowed(const std::string& path, const Json& value, const std::string& job_file) {
  for (const auto& [key, kind] : kFiles) {
    if (!below(path, key)) continue;
    if (!value.is_string()) return false;
    const std::string& name = value.get_ref<const std::string&>();
    // Without a kit, blanks are cut to the board.
    const bool no_kit = name.empty() && std::string_view(kind) == "kits";
    if (!no_kit && !in_folder(name, kind, job_file)) return false;
  }
  return true;
}

std::optional<JobEdit> edit_of(const Json& edit, const std::string& job_file, std::string& why) {
  auto refused = [&](const char* text) {
    why = text;
    return std::nullopt;
  };
  if (!edit.is_object() || !edit.contains("do") || !edit["do"].is_string() || !edit.contains("path") ||
      !edit["path"].is_string())
    return refused("An edit must say what to do, and where.");
  const auto kind = kKinds.find(edit["do"].get_ref<const std::string&>());
  if (!kind) return refused("An edit must set, remove, append or insert.");
  JobEdit made;
  made.kind = *kind;
  // Every spelling of a key comes down to one, by which it is judged and written.
  const auto path = plain_path(edit["path"].get_ref<const std::string&>());
  if (!path) return refused("A job file has no such key.");
  made.path = *path;
  if (!is_open(made.path)) return refused("This page does not change that key. Change it in the job file.");
  if (made.kind == JobEdit::Kind::remove) return made;
  if (!edit.contains("value")) return refused("The edit has no value.");
  if (!file_is_allowed(made.path, edit["value"], job_file))
    return refused("The value must name a shipped file, or a file in the job's folder.");
  made.value = to_toml(edit["value"]);
  if (made.value.empty())
    return refused("This value cannot be written in a job file: it is null, holds too much, or is nested too deeply.");
  return made;
}

}  // namespace teasel::view
