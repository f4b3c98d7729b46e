#include "teasel/formats/gerber_job.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "text.h"

namespace teasel::formats {

namespace {
using Json = nlohmann::json;
constexpr std::size_t kLargest = 16'000'000;

const Json* at(const Json& j, const char* key) {
  if (!j.is_object()) return nullptr;
  auto it = j.find(key);
  return it == j.end() ? nullptr : &*it;
}
std::string text_at(const Json& j, const char* key) {
  const Json* v = at(j, key);
  return v && v->is_string() ? v->get<std::string>() : std::string();
}

/// The job format spells two functions differently from the layer files.
std::string layer_spelling(std::string f) {
  for (const auto& [from, to] :
       {std::pair<std::string_view, std::string_view>{"SolderMask", "Soldermask"}, {"SolderPaste", "Paste"}})
    if (f.substr(0, from.size()) == from) f = std::string(to) + f.substr(from.size());
  return f;
}

class JobReader {
 public:
  JobReader(std::string_view bytes, const std::string& name, Diagnostics& d) : bytes_(bytes), d_(d) { j_.name = name; }
  GerberJob run();

 private:
  void json();
  void old_form();
  /// A length: a number, or a string that is one.
  std::optional<double> length(const Json* v, const std::string& key);
  void entry(const std::string& file, const std::string& function, bool negative);
  Place here(const std::string& key = {}) const { return {j_.name, 0, 0, key}; }

  std::string_view bytes_;
  Diagnostics& d_;
  GerberJob j_;
};

std::optional<double> JobReader::length(const Json* v, const std::string& key) {
  if (!v || v->is_null()) return std::nullopt;
  double x{};
  if (v->is_number())
    x = v->get<double>();
  else if (!v->is_string() || !number(v->get<std::string>(), x)) {
    d_.error("gbrjob-bad-number", here(key), "a plain number of millimetres is expected",
             v->dump(-1, ' ', false, Json::error_handler_t::replace).substr(0, 40), {}, "write it without its unit");
    return std::nullopt;
  }
  if (x > 0 && x < 10'000) return x;
  d_.warn("gbrjob-odd-number", here(key), "a length of no board is left out", std::to_string(x));
  return std::nullopt;
}

void JobReader::entry(const std::string& file, const std::string& function, bool negative) {
  if (file.empty() || function.empty()) return;
  if (file[0] == '/' || file[0] == '\\' || file.find(':') != file.npos || file.find("..") != file.npos)
    return d_.error("gbrjob-bad-path", here("FilesAttributes"), "a path leads out of the folder", file.substr(0, 80),
                    {}, "name files relative to the job file");
  if (j_.files.size() >= 1000) return;
  j_.files.push_back({file, layer_spelling(function), negative});
}

void JobReader::json() {
  const Json root = Json::parse(bytes_, nullptr, false);
  if (root.is_discarded() || !root.is_object())
    return d_.error("gbrjob-bad-json", here(), "this is not a JSON object", std::string(bytes_.substr(0, 40)), {},
                    "the file is damaged; export it again, or leave it out");
  const Json* specs = at(root, "GeneralSpecs");
  if (!specs) specs = at(root, "Overall");  // one writer's older name for the same
  if (specs) {
    j_.thickness = length(at(*specs, "BoardThickness"), "GeneralSpecs.BoardThickness");
    if (const Json* size = at(*specs, "Size")) {
      const auto x = length(at(*size, "X"), "GeneralSpecs.Size.X"), y = length(at(*size, "Y"), "GeneralSpecs.Size.Y");
      if (x && y) j_.size = Point{*x, *y};
    }
    if (const Json* n = at(*specs, "LayerNumber");
        n && n->is_number() && n->get<double>() >= 1 && n->get<double>() <= 99)
      j_.copper_layers = n->get<int>();
    j_.finish = text_at(*specs, "Finish");
    j_.via_protection = text_at(*specs, "ViaProtection");
    if (const Json* project = at(*specs, "ProjectId")) j_.revision = text_at(*project, "Revision");
    if (j_.revision == "rev?") j_.revision.clear();
  }
  if (const Json* files = at(root, "FilesAttributes"); files && files->is_array())
    for (const Json& f : *files)
      entry(text_at(f, "Path"), text_at(f, "FileFunction"), text_at(f, "FilePolarity") == "Negative");
  if (const Json* stack = at(root, "MaterialStackup"); stack && stack->is_array())
    for (const Json& layer : *stack) {
      const std::string type = text_at(layer, "Type");
      if (type == "Legend" || type == "SolderPaste") continue;
      if (auto t = length(at(layer, "Thickness"), "MaterialStackup.Thickness")) j_.stackup += *t;
    }
  if (j_.thickness && j_.stackup > 0 && std::abs(j_.stackup - *j_.thickness) > 0.1 * *j_.thickness)
    d_.warn("gbrjob-thickness", here(), "board thickness and the sum of the stack-up differ by more than 10 %",
            std::to_string(*j_.thickness) + " mm and " + std::to_string(j_.stackup) + " mm",
            "correct board.thickness in the job file");
}

/// "%TJ.B_Thickness,1.57*%"
void JobReader::old_form() {
  for (std::size_t i = 0; (i = bytes_.find("TJ.", i)) != bytes_.npos;) {
    const std::size_t end = bytes_.find('*', i);
    if (end == bytes_.npos) return;
    const auto fields = split(bytes_.substr(i + 3, end - i - 3), ',');
    i = end;
    double v{};
    if (fields.size() < 2) continue;
    if (fields[0] == "B_LayerNum" && number(fields[1], v) && v >= 1 && v <= 99) j_.copper_layers = static_cast<int>(v);
    if (fields[0] == "B_Thickness" && number(fields[1], v) && v > 0 && v < 100) j_.thickness = v;
    if (fields[0] == "B_Finish") j_.finish = trim(fields[1]);
    double w{};
    if (fields[0] == "B_Size" && fields.size() > 2 && number(fields[1], v) && number(fields[2], w) && v > 0 && w > 0)
      j_.size = Point{v, w};
  }
}

GerberJob JobReader::run() {
  if (bytes_.size() > kLargest)
    d_.error("gbrjob-too-large", here(), "a job file of more than 16 MB");
  else if (trim(bytes_.substr(0, 100)).substr(0, 1) == "{" || bytes_.substr(0, 3) == "\xEF\xBB\xBF")
    json();
  else
    old_form();
  return std::move(j_);
}
}  // namespace

bool looks_like_gerber_job(std::string_view bytes) {
  const std::string_view head = trim(bytes.substr(0, 20'000));
  if (head.find("%TJ.") != head.npos && head.find("JobInfo") != head.npos) return true;
  if (head.empty() || (head[0] != '{' && head.substr(0, 4) != "\xEF\xBB\xBF{")) return false;
  return head.find("\"GeneralSpecs\"") != head.npos || head.find("\"FilesAttributes\"") != head.npos ||
         (head.find("\"Overall\"") != head.npos && head.find("\"Header\"") != head.npos);
}

GerberJob read_gerber_job(std::string_view bytes, const std::string& name, Diagnostics& d) {
  return JobReader(bytes, name, d).run();
}

}  // namespace teasel::formats
