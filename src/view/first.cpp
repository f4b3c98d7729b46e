#include "first.h"

#include <charconv>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>

#include "teasel/pipeline/files.h"
#include "teasel/pipeline/first.h"
#include "teasel/report.h"

namespace teasel::view {

namespace fs = std::filesystem;

namespace {
/// The job file as it was written by this program: heads, comments, keys, one a line.
Json tables_of(const std::string& text) {
  Json tables = Json::array(), notes = Json::array();
  std::map<std::string, int> count;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t end = std::min(text.find('\n', i), text.size());
    const std::string line = text.substr(i, end - i);
    i = end + 1;
    if (line.empty()) {
      notes = Json::array();
    } else if (line[0] == '#') {
      notes.push_back(
          line.substr(line.find_first_not_of("# ", 0) == line.npos ? line.size() : line.find_first_not_of("# ", 0)));
    } else if (line[0] == '[') {
      const bool list = line[1] == '[';
      std::string path = line.substr(list ? 2 : 1, line.find(']') - (list ? 2 : 1));
      if (list) path += "[" + std::to_string(count[path]++) + "]";
      tables.push_back({{"path", path}, {"keys", Json::array()}});
      notes = Json::array();
    } else if (const std::size_t equals = line.find(" = "); equals != line.npos && !tables.empty()) {
      const Json value = Json::parse(toml_as_json("v = " + line.substr(equals + 3)), nullptr, false);
      tables.back()["keys"].push_back(
          {{"key", line.substr(0, equals)}, {"value", value.is_object() ? value["v"] : Json()}, {"evidence", notes}});
      notes = Json::array();
    }
    // Evidence that stands behind a table's last key speaks of the table.
    if (!notes.empty() && !tables.empty() && (i >= text.size() || text[i] == '\n')) tables.back()["more"] = notes;
  }
  return tables;
}

bool names_a_file(const std::string& path) {
  for (const char* key : {"file", "files", "board", "library"}) {
    const std::string end = std::string(".") + key;
    if (path.size() > end.size() && path.compare(path.size() - end.size(), end.size(), end) == 0) return true;
  }
  return path.find(".files[") != path.npos;
}
}  // namespace

std::optional<FirstFolder> first_folder(const std::string& folder, const std::string& out, Diagnostics& d) {
  pipeline::FirstDraft draft = pipeline::first_draft(
      folder, out, [](const char*, double) {}, d);
  if (d.failed()) return std::nullopt;
  return FirstFolder(folder, out, std::move(draft.job), std::move(draft.text));
}

Json FirstFolder::state() const {
  Json roles = Json::array();
  for (int i = 0; i <= static_cast<int>(LayerRole::ignore); ++i) roles.push_back(to_string(static_cast<LayerRole>(i)));
  return {
      {"first", true}, {"folder", folder_}, {"file", out_}, {"tables", tables_of(text_)}, {"roles", std::move(roles)},
      {"text", text_}};
}

Response FirstFolder::drawing(const std::string& number) const {
  std::size_t n{};
  if (std::from_chars(number.data(), number.data() + number.size(), n).ec != std::errc{} || n >= job_.gerbers.size())
    return {404, "text/plain", "no such layer\n"};
  const GerberInput& in = job_.gerbers[n];
  Diagnostics d;
  const auto bytes = pipeline::read_file(fs::absolute(out_).parent_path() / in.file, in.file, d);
  if (!bytes) return {404, "text/plain", to_string(d.all()[0]) + "\n"};
  std::optional<formats::GerberUnit> unit;
  if (!in.unit.empty()) unit = in.unit == "mm" ? formats::GerberUnit::mm : formats::GerberUnit::inch;
  const formats::GerberFile file = formats::read_gerber(*bytes, in.file, d, unit);
  if (d.failed()) return {422, "text/plain", to_string(d.all()[0]) + "\n"};
  return {200, "image/svg+xml", layer_svg(file)};
}

Response FirstFolder::edit(const std::string& body) {
  const Json j = Json::parse(body, nullptr, false);
  auto no = [](unsigned status, const std::string& why) {
    return Response{status, "application/json", written({{"error", why}})};
  };
  if (!j.is_object() || !j.contains("path") || !j["path"].is_string() || !j.contains("value"))
    return no(400, "a key and its value are expected");
  const std::string path = j["path"].get<std::string>(), value = to_toml(j["value"]);
  if ((path.rfind("inputs.", 0) != 0 && path.rfind("board.", 0) != 0 && path.rfind("fixture.", 0) != 0 &&
       path.rfind("components.", 0) != 0) ||
      names_a_file(path) || value.empty())
    return no(403, "this page does not change that key");
  Diagnostics d;
  const auto text = edited_text(text_, out_, {{JobEdit::Kind::set, path, value}}, d);
  if (text) read_job(*text, out_, d);
  if (!text || d.failed()) {
    std::string why;
    for (const std::string& e : errors_of(d)) why += (why.empty() ? "" : "\n") + e;
    return no(422, why);
  }
  text_ = *text;
  return {200, "application/json", written(state())};
}

}  // namespace teasel::view
