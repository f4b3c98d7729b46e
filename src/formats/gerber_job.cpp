#include "teasel/formats/gerber_job.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "text.h"

namespace teasel::formats {

namespace {
using Json = nlohmann::json;
constexpr std::size_t kLargest = 16'000'000;

const Json* at(const Json& json, const char* key) {
  if (!json.is_object()) return nullptr;
  auto it = json.find(key);
  return it == json.end() ? nullptr : &*it;
}
std::string text_at(const Json& json, const char* key) {
  const Json* value = at(json, key);
  return value && value->is_string() ? value->get<std::string>() : std::string();
}

/// The job format spells two functions differently from the layer files.
std::string layer_spelling(std::string function) {
  for (const auto& [from, to] :
       {std::pair<std::string_view, std::string_view>{"SolderMask", "Soldermask"}, {"SolderPaste", "Paste"}})
    if (function.substr(0, from.size()) == from) function = std::string(to) + function.substr(from.size());
  return function;
}

class JobReader {
 public:
  JobReader(std::string_view bytes, const std::string& name, Diagnostics& diagnostics)
      : bytes_(bytes), diagnostics_(diagnostics) {
    job_.name = name;
  }
  GerberJob run();

 private:
  void json();
  void old_form();
  /// A length: a number, or a string that is one.
  std::optional<double> length(const Json* value, const std::string& key);
  void entry(const std::string& file, const std::string& function, bool negative);
  Place here(const std::string& key = {}) const { return {job_.name, 0, 0, key}; }

  std::string_view bytes_;
  Diagnostics& diagnostics_;
  GerberJob job_;
};

std::optional<double> JobReader::length(const Json* json, const std::string& key) {
  if (!json || json->is_null()) return std::nullopt;
  double value{};
  if (json->is_number())
    value = json->get<double>();
  else if (!json->is_string() || !number(json->get<std::string>(), value)) {
    diagnostics_.error({.code = "gbrjob-bad-number",
                        .at = here(key),
                        .message = "a plain number of millimetres is expected",
                        .found = json->dump(-1, ' ', false, Json::error_handler_t::replace).substr(0, 40),
                        .remedy = "write it without its unit"});
    return std::nullopt;
  }
  if (value > 0 && value < 10'000) return value;
  diagnostics_.warn({.code = "gbrjob-odd-number",
                     .at = here(key),
                     .message = "this is not the size of a board; it is left out",
                     .found = std::to_string(value)});
  return std::nullopt;
}

void JobReader::entry(const std::string& file, const std::string& function, bool negative) {
  if (file.empty() || function.empty()) return;
  if (file[0] == '/' || file[0] == '\\' || file.find(':') != file.npos || file.find("..") != file.npos)
    return diagnostics_.error({.code = "gbrjob-bad-path",
                               .at = here("FilesAttributes"),
                               .message = "a path leads out of the folder",
                               .found = file.substr(0, 80),
                               .remedy = "name files relative to the job file"});
  if (job_.files.size() >= 1000) return;
  job_.files.push_back({file, layer_spelling(function), negative});
}

void JobReader::json() {
  const Json root = Json::parse(bytes_, nullptr, false);
  if (root.is_discarded() || !root.is_object())
    return diagnostics_.error({.code = "gbrjob-bad-json",
                               .at = here(),
                               .message = "this is not a JSON object",
                               .found = std::string(bytes_.substr(0, 40)),
                               .remedy = "the file is damaged; export it again, or leave it out"});
  const Json* specs = at(root, "GeneralSpecs");
  if (!specs) specs = at(root, "Overall");  // the older name of one writer
  if (specs) {
    if (const auto mm = length(at(*specs, "BoardThickness"), "GeneralSpecs.BoardThickness")) job_.thickness = Mm{*mm};
    if (const Json* size = at(*specs, "Size")) {
      const auto x = length(at(*size, "X"), "GeneralSpecs.Size.X"), y = length(at(*size, "Y"), "GeneralSpecs.Size.Y");
      if (x && y) job_.size = Point{*x, *y};
    }
    if (const Json* count = at(*specs, "LayerNumber");
        count && count->is_number() && count->get<double>() >= 1 && count->get<double>() <= 99)
      job_.copper_layers = count->get<int>();
    job_.finish = text_at(*specs, "Finish");
    job_.via_protection = text_at(*specs, "ViaProtection");
    if (const Json* project = at(*specs, "ProjectId")) job_.revision = text_at(*project, "Revision");
    if (job_.revision == "rev?") job_.revision.clear();
  }
  if (const Json* files = at(root, "FilesAttributes"); files && files->is_array())
    for (const Json& file : *files)
      entry(text_at(file, "Path"), text_at(file, "FileFunction"), text_at(file, "FilePolarity") == "Negative");
  if (const Json* stack = at(root, "MaterialStackup"); stack && stack->is_array())
    for (const Json& layer : *stack) {
      const std::string type = text_at(layer, "Type");
      if (type == "Legend" || type == "SolderPaste") continue;
      if (const auto mm = length(at(layer, "Thickness"), "MaterialStackup.Thickness")) job_.stackup += Mm{*mm};
    }
  if (job_.thickness && job_.stackup > Mm{} && std::abs((job_.stackup - *job_.thickness).v) > 0.1 * job_.thickness->v)
    diagnostics_.warn({.code = "gbrjob-thickness",
                       .at = here(),
                       .message = "the board thickness and the sum of the stack-up differ by more than 10 %",
                       .found = std::to_string(job_.thickness->v) + " mm and " + std::to_string(job_.stackup.v) + " mm",
                       .remedy = "correct board.thickness in the job file"});
}

/// Reads lines such as  %TJ.B_Thickness,1.57*%
void JobReader::old_form() {
  for (std::size_t i = 0; (i = bytes_.find("TJ.", i)) != bytes_.npos;) {
    const std::size_t end = bytes_.find('*', i);
    if (end == bytes_.npos) return;
    const auto fields = split(bytes_.substr(i + 3, end - i - 3), ',');
    i = end;
    double value{};
    if (fields.size() < 2) continue;
    if (fields[0] == "B_LayerNum" && number(fields[1], value) && value >= 1 && value <= 99)
      job_.copper_layers = static_cast<int>(value);
    if (fields[0] == "B_Thickness" && number(fields[1], value) && value > 0 && value < 100) job_.thickness = Mm{value};
    if (fields[0] == "B_Finish") job_.finish = trim(fields[1]);
    double height{};
    if (fields[0] == "B_Size" && fields.size() > 2 && number(fields[1], value) && number(fields[2], height) &&
        value > 0 && height > 0)
      job_.size = Point{value, height};
  }
}

GerberJob JobReader::run() {
  if (bytes_.size() > kLargest)
    diagnostics_.error({.code = "gbrjob-too-large", .at = here(), .message = "the job file is larger than 16 MB"});
  else if (trim(bytes_.substr(0, 100)).substr(0, 1) == "{" || bytes_.substr(0, 3) == "\xEF\xBB\xBF")
    json();
  else
    old_form();
  return std::move(job_);
}
}  // namespace

bool looks_like_gerber_job(std::string_view bytes) {
  const std::string_view head = trim(bytes.substr(0, 20'000));
  if (head.find("%TJ.") != head.npos && head.find("JobInfo") != head.npos) return true;
  if (head.empty() || (head[0] != '{' && head.substr(0, 4) != "\xEF\xBB\xBF{")) return false;
  return head.find("\"GeneralSpecs\"") != head.npos || head.find("\"FilesAttributes\"") != head.npos ||
         (head.find("\"Overall\"") != head.npos && head.find("\"Header\"") != head.npos);
}

GerberJob read_gerber_job(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  return JobReader(bytes, name, diagnostics).run();
}

}  // namespace teasel::formats
