#include "first.h"

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>

#include "teasel/enums.h"
#include "teasel/pipeline/files.h"
#include "teasel/report.h"
#include "teasel/written.h"

namespace teasel::view {

namespace fs = std::filesystem;

namespace {
constexpr const char* kTables[] = {"inputs.", "board.", "fixture.", "components."};  // of which this page changes keys

/// A first job file as this program writes it, read line by line: heads of tables, comments, and one key a line.
class FirstJobReader {
 public:
  explicit FirstJobReader(const std::string& text) : text_(text) {}
  Json tables() {
    for (std::size_t from = 0; from < text_.size();) {
      const std::size_t end = std::min(text_.find('\n', from), text_.size());
      take(text_.substr(from, end - from));
      from = end + 1;
      // Evidence below a table's last key speaks of the whole table.
      const bool table_ends = from >= text_.size() || text_[from] == '\n';
      if (!evidence_.empty() && !tables_.empty() && table_ends) tables_.back()["more"] = evidence_;
    }
    return std::move(tables_);
  }

 private:
  void take(const std::string& line) {
    if (line.empty()) {
      evidence_ = Json::array();
    } else if (line[0] == '#') {
      const std::size_t said = line.find_first_not_of("# ");
      evidence_.push_back(line.substr(said == line.npos ? line.size() : said));
    } else if (line[0] == '[') {
      begin_table(line);
    } else if (const std::size_t equals = line.find(" = "); equals != line.npos && !tables_.empty()) {
      const Json value = Json::parse(toml_as_json("v = " + line.substr(equals + 3)), nullptr, false);
      tables_.back()["keys"].push_back({{"key", line.substr(0, equals)},
                                        {"value", value.is_object() ? value["v"] : Json()},
                                        {"evidence", evidence_}});
      evidence_ = Json::array();
    }
  }
  void begin_table(const std::string& line) {
    const bool list = line[1] == '[';
    const std::size_t brackets = list ? 2 : 1;
    std::string path = line.substr(brackets, line.find(']') - brackets);
    if (list) path += "[" + std::to_string(rows_of_list_[path]++) + "]";
    tables_.push_back({{"path", path}, {"keys", Json::array()}});
    evidence_ = Json::array();
  }

  const std::string& text_;
  Json tables_ = Json::array(), evidence_ = Json::array();
  std::map<std::string, int> rows_of_list_;
};

bool names_an_input(const std::string& path) {
  for (const char* end : {".file", ".files", ".board", ".library"})
    if (path.ends_with(end) && path != end) return true;
  return path.find(".files[") != path.npos;
}
/// The path is a key that this page changes, and nothing in the value names a file that the program did not find.
bool is_open(const std::string& path, const Json& value, const std::string& job_file) {
  const bool known =
      std::any_of(std::begin(kTables), std::end(kTables), [&](const char* table) { return path.starts_with(table); });
  if (!known || names_an_input(path) || !file_is_allowed(path, value, job_file)) return false;
  if (value.is_array())
    for (const Json& item : value)
      if (item.is_structured() && !is_open(path + "[0]", item, job_file)) return false;
  if (value.is_object())
    for (const auto& [key, item] : value.items())
      if (!is_open(path + "." + Toml::keys(key).text(), item, job_file)) return false;
  return true;
}
}  // namespace

std::optional<FirstFolder> first_folder(const std::string& folder, const std::string& out, Diagnostics& diagnostics) {
  const pipeline::Stage silent = [](const char*, double) {};
  pipeline::FirstDraft draft = pipeline::first_draft(folder, out, silent, diagnostics);
  if (diagnostics.failed()) return std::nullopt;
  // What `start` leaves out is left out here. What still fails is told on the page, where it can be corrected.
  pipeline::try_draft(draft, out, silent, diagnostics);
  return FirstFolder(folder, out, std::move(draft));
}

void FirstFolder::understand() {
  Diagnostics diagnostics;
  picture_ = pipeline::preview_of(
      draft_, out_, [](const char*, double) {}, diagnostics);
  errors_ = errors_of(diagnostics);
  ++pictures_;
}

Response FirstFolder::preview() const {
  if (!picture_) return {404, "text/plain", "There is no picture, since the job cannot be read as it stands.\n"};
  return {200, "image/svg+xml", *picture_};
}

Json FirstFolder::state() const {
  Json roles = Json::array();
  for (std::size_t i = 0; i < enumerators<LayerRole>(); ++i) roles.push_back(to_string(static_cast<LayerRole>(i)));
  return {{"first", true},
          {"folder", folder_},
          {"file", out_},
          {"tables", FirstJobReader(draft_.text).tables()},
          {"roles", std::move(roles)},
          {"preview", picture_ ? Json("preview/" + std::to_string(pictures_)) : Json()},
          {"errors", errors_},
          {"text", draft_.text}};
}

Response FirstFolder::drawing(const std::string& number) const {
  std::size_t row{};
  const bool is_number = std::from_chars(number.data(), number.data() + number.size(), row).ec == std::errc{};
  if (!is_number || row >= draft_.job.inputs.gerbers.size()) return {404, "text/plain", "There is no such layer.\n"};
  const GerberInput& input = draft_.job.inputs.gerbers[row];
  Diagnostics diagnostics;
  const auto packed = draft_.packed.find(input.file);
  auto bytes = packed != draft_.packed.end()
                   ? std::optional(packed->second)
                   : pipeline::read_file(fs::absolute(out_).parent_path() / input.file, input.file, diagnostics);
  if (bytes) bytes = pipeline::as_text(std::move(*bytes), input.file, diagnostics);
  if (!bytes) return {404, "text/plain", to_string(diagnostics.all()[0]) + "\n"};
  std::optional<formats::GerberUnit> unit;
  if (!input.unit.empty()) unit = input.unit == "mm" ? formats::GerberUnit::mm : formats::GerberUnit::inch;
  const formats::GerberFile file = formats::read_gerber(*bytes, input.file, diagnostics, unit);
  if (diagnostics.failed()) return {422, "text/plain", to_string(diagnostics.all()[0]) + "\n"};
  return {200, "image/svg+xml", layer_svg(file)};
}

Response FirstFolder::edit(const std::string& body) {
  const Json edit = Json::parse(body, nullptr, false);
  auto refused = [](unsigned status, const std::string& why) {
    return Response{status, "application/json", written({{"error", why}})};
  };
  if (!edit.is_object() || !edit.contains("path") || !edit["path"].is_string() || !edit.contains("value"))
    return refused(400, "The request must hold a key and its value.");
  const auto path = plain_path(edit["path"].get_ref<const std::string&>());
  const std::string value = to_toml(edit["value"]);
  if (!path || value.empty() || !is_open(*path, edit["value"], out_))
    return refused(403, "This page does not change that key. Change it in the job file.");
  Diagnostics diagnostics;
  const auto text = edited_text(draft_.text, out_, {{JobEdit::Kind::set, *path, value}}, diagnostics);
  if (text) read_job(*text, out_, diagnostics);
  if (!text || diagnostics.failed()) {
    std::string why;
    for (const std::string& error : errors_of(diagnostics)) why += (why.empty() ? "" : "\n") + error;
    return refused(422, why);
  }
  draft_.text = *text;
  understand();
  return {200, "application/json", written(state())};
}

}  // namespace teasel::view
