// Edits as the page sends them, and which of them it may make.
#include <array>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "live.h"

namespace teasel::view {

namespace fs = std::filesystem;

namespace {
/// What the live page may change: keys, or tables with all that is in them. Nothing that names a file to read, but for
/// those of the shop, which are looked at below.
constexpr std::array kOpen = {"lock",
                              "ban",
                              "keep_out",
                              "need",
                              "waiver",
                              "support",
                              "gate",
                              "rule_changes",
                              "fixture.catalogue",
                              "fixture.rules",
                              "fixture.interfaces",
                              "fixture.kit",
                              "fixture.style",
                              "fixture.prices",
                              "fixture.supports",
                              "fixture.classes",
                              "fixture.board_lies",
                              "fixture.sides",
                              "fixture.drill_face",
                              "fixture.most",
                              "fixture.channels",
                              "fixture.largest_force",
                              "fixture.tooling",
                              "mechanics",
                              "plan.advice",
                              "plan.boundary_scan",
                              "components.not_fitted",
                              "components.height",
                              "components.side",
                              "components.protrusion"};
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

/// A shipped name, or a file that lies in the job's folder, links followed.
bool in_folder(const std::string& name, const char* kind, const std::string& job_file) {
  if (shipped(kind, name)) return true;
  std::error_code ec;
  const fs::path folder = fs::weakly_canonical(fs::absolute(job_file).parent_path(), ec),
                 file = fs::weakly_canonical(folder / name, ec);
  const auto rest = file.lexically_relative(folder);
  return !ec && !fs::path(name).is_absolute() && !rest.empty() && *rest.begin() != ".." && rest != ".";
}
}  // namespace

std::string to_toml(const Json& v) {
  if (v.is_string()) return toml_text(v.get<std::string>());
  if (v.is_boolean() || v.is_number()) return v.dump();
  std::string s;
  if (v.is_array()) {
    for (const Json& x : v) {
      const std::string t = to_toml(x);
      if (t.empty()) return {};
      s += (s.empty() ? "" : ", ") + t;
    }
    return "[" + s + "]";
  }
  if (!v.is_object()) return {};
  for (const auto& [key, x] : v.items()) {
    const std::string t = to_toml(x);
    if (t.empty()) return {};
    s += (s.empty() ? "" : ", ") + toml_text(key) + " = " + t;
  }
  return "{ " + s + " }";
}

std::optional<JobEdit> edit_of(const Json& e, const std::string& job_file, std::string& why) {
  auto no = [&](const char* text) {
    why = text;
    return std::nullopt;
  };
  if (!e.is_object() || !e.contains("do") || !e["do"].is_string() || !e.contains("path") || !e["path"].is_string())
    return no("an edit says what to do, and where");
  JobEdit out;
  const std::string what = e["do"].get<std::string>();
  out.path = e["path"].get<std::string>();
  if (what == "set")
    out.kind = JobEdit::Kind::set;
  else if (what == "remove")
    out.kind = JobEdit::Kind::remove;
  else if (what == "append")
    out.kind = JobEdit::Kind::append;
  else if (what == "insert")
    out.kind = JobEdit::Kind::insert;
  else
    return no("an edit sets, removes, appends or inserts");
  bool open = false;
  for (const char* key : kOpen) open = open || below(out.path, key);
  if (!open) return no("this page does not change that key");
  if (out.kind == JobEdit::Kind::remove) return out;
  if (!e.contains("value")) return no("an edit without a value");
  for (const auto& [key, kind] : kFiles)
    if (below(out.path, key) &&
        (!e["value"].is_string() ||
         (!in_folder(e["value"].get<std::string>(), kind, job_file) &&
          !(e["value"].get_ref<const std::string&>().empty() && std::string_view(kind) == "kits"))))
      return no("a shipped name, or a file in the job's folder, is expected");
  out.value = to_toml(e["value"]);
  if (out.value.empty()) return no("a job file cannot say this value");
  return out;
}

}  // namespace teasel::view
