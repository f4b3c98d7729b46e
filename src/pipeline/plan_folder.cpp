#include "teasel/pipeline/plan_folder.h"

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <nlohmann/json.hpp>

#include "teasel/job/shipped.h"
#include "teasel/pipeline/files.h"
#include "written_files.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
constexpr const char* kFixture = "fixture.json";
constexpr std::string_view kShippedEnd = " (shipped)", kStanding = "fixture that stands: ";

struct Input {
  std::string file, hash;
};

std::string text_of(const nlohmann::json& object, const char* key) {
  const auto found = object.is_object() ? object.find(key) : object.end();
  return found != object.end() && found->is_string() ? found->get<std::string>() : std::string();
}

/// The inputs that a plan names, the job file first.
std::vector<Input> inputs_of(const OpenFolder& folder) {
  std::vector<Input> inputs;
  const auto plan = nlohmann::json::parse(folder.read(kPlan, kLargestOutput).value_or(""), nullptr, false);
  if (!plan.is_object() || !plan.contains("inputs") || !plan["inputs"].is_array()) return inputs;
  for (const auto& input : plan["inputs"]) inputs.push_back({text_of(input, "file"), text_of(input, "sha256")});
  return inputs;
}

/// SHA-256 of an input as it is read; empty where it cannot be read.
std::string hash_of(const fs::path& path) {
  Diagnostics ignored;
  const auto bytes = read_file(path, path.string(), ignored);
  return bytes ? sha256(*bytes) : std::string();
}

/// The job file of a plan: the one that is named, or one of its name above the folder or in the current one. The one
/// that did not change comes first.
fs::path job_of(const fs::path& folder, const std::string& job_file, const Input& named) {
  if (!job_file.empty()) return job_file;
  std::error_code error;
  fs::path found;
  for (const fs::path& place : {folder / ".." / named.file, fs::path(named.file)}) {
    if (!fs::is_regular_file(place, error)) continue;
    if (hash_of(place) == named.hash) return place.lexically_normal();
    if (found.empty()) found = place.lexically_normal();
  }
  return found;
}

/// Compares one input. Shipped files change with the program.
void compare_input(FolderCheck& check, const Input& input, const fs::path& base) {
  const std::string_view name = input.file;
  std::string now;
  if (name.rfind(kStanding, 0) == 0) {
    check.inputs_unknown.push_back(input.file);
    return;
  }
  if (name.ends_with(kShippedEnd)) {
    const std::size_t slash = name.find('/');
    const auto text = slash == name.npos
                          ? std::nullopt
                          : shipped(std::string(name.substr(0, slash)).c_str(),
                                    std::string(name.substr(slash + 1, name.size() - slash - 1 - kShippedEnd.size())));
    now = text ? sha256(*text) : std::string();
  } else {
    now = hash_of(base / input.file);
  }
  ++check.inputs;
  if (now.empty())
    check.inputs_missing.push_back(input.file);
  else if (now != input.hash)
    check.inputs_changed.push_back(input.file);
}

void compare_inputs(FolderCheck& check, const OpenFolder& folder, const fs::path& path, const std::string& job_file,
                    Diagnostics& diagnostics) {
  const std::vector<Input> inputs = inputs_of(folder);
  if (inputs.empty()) return;
  const fs::path job = job_of(path, job_file, inputs[0]);
  if (job.empty()) {
    for (const Input& input : inputs) check.inputs_unknown.push_back(input.file);
    return;
  }
  std::error_code error;
  if (!fs::is_regular_file(job, error))
    return diagnostics.error({.code = "file-not-found",
                              .at = {job.string(), 0, 0, {}},
                              .message = "the job file does not exist or is not a plain file",
                              .remedy = "give the job file that the plan was made from"});
  check.job = job.string();
  compare_input(check, {job.filename().string(), inputs[0].hash}, job.parent_path());
  for (std::size_t i = 1; i < inputs.size(); ++i) compare_input(check, inputs[i], job.parent_path());
}

/// The folder held open, with what was written into it; nothing, with an error, where it is no output folder.
struct Opened {
  OpenFolder folder;
  WrittenFiles written;
};
std::optional<Opened> open_written(const fs::path& path, Diagnostics& diagnostics) {
  auto folder = OpenFolder::at(path);
  auto written = folder ? written_files(*folder) : std::nullopt;
  if (written) return Opened{std::move(*folder), std::move(*written)};
  diagnostics.error({.code = "folder-not-written",
                     .at = {path.string(), 0, 0, {}},
                     .message = folder ? "teasel wrote no outputs into this folder" : "the folder cannot be opened",
                     .found = folder ? std::string("no ") + kHashes + " and no " + kPlan : std::strerror(errno),
                     .remedy = "give the output folder of a run"});
  return std::nullopt;
}

std::string date_of_mark(const OpenFolder& folder) {
  const auto text = folder.read(kBuilt, kLargestOutput);
  if (!text) return {};
  const std::string date = text_of(nlohmann::json::parse(*text, nullptr, false), "built");
  return date.empty() ? "unknown" : date;
}

/// What of a plan a fixture is built by.
bool is_built_by(const std::string& path) {
  return path == kPlan || path == kFixture || path.rfind("plates/", 0) == 0 || path.rfind("rework/", 0) == 0;
}
}  // namespace

FolderCheck check_folder(const fs::path& folder, const std::string& job_file, Diagnostics& diagnostics) {
  FolderCheck check;
  const auto opened = open_written(folder, diagnostics);
  if (!opened) return check;
  const auto stock = take_stock(opened->folder, opened->written);
  if (!stock) {
    diagnostics.error({.code = "folder-not-written",
                       .at = {folder.string(), 0, 0, {}},
                       .message = "the folder cannot be looked through",
                       .found = std::strerror(errno),
                       .remedy = "give the output folder of a run"});
    return check;
  }
  check.plan_id = opened->written.plan_id;
  check.built = date_of_mark(opened->folder);
  check.written = opened->written.hashes.size();
  check.touched = stock->touched;
  check.missing = stock->missing;
  for (const std::string& path : stock->foreign)
    (path.rfind(std::string(kKept) + "/", 0) == 0 ? check.kept : check.foreign).push_back(path);
  compare_inputs(check, opened->folder, folder, job_file, diagnostics);
  return check;
}

void mark_built(const fs::path& folder, const std::string& date, Diagnostics& diagnostics) {
  const auto opened = open_written(folder, diagnostics);
  if (!opened) return;
  const auto& [open, written] = *opened;
  const Place at{folder.string(), 0, 0, {}};
  if (open.holds(kBuilt))
    return diagnostics.error({.code = "built-already",
                              .at = at,
                              .message = "the plan in this folder is marked as built already",
                              .found = date_of_mark(open),
                              .remedy = "take the mark away first:  teasel built --undo " + folder.string()});
  if (written.plan_id.empty() || written.hashes.count(kFixture) == 0)
    return diagnostics.error(
        {.code = "built-no-fixture",
         .at = at,
         .message = "no fixture can be built by this folder",
         .found = written.plan_id.empty() ? "no plan.json in it" : "no fixture.json: its plates have faults",
         .remedy = "give the folder of the plan that the fixture was built by"});
  const auto stock = take_stock(open, written);
  std::string changed;
  for (const auto* list : {stock ? &stock->touched : nullptr, stock ? &stock->missing : nullptr})
    if (list)
      for (const std::string& path : *list)
        if (is_built_by(path)) changed += (changed.empty() ? "" : ", ") + path;
  if (!stock || !changed.empty())
    return diagnostics.error({.code = "built-changed",
                              .at = at,
                              .message = "files that the fixture is built by were changed since the plan was written",
                              .found = changed,
                              .expected = "the files as they were written",
                              .remedy = "put them back, or plan again and compare with the fixture"});
  nlohmann::ordered_json mark{{"schema", 1}, {"built", date}, {"plan_id", written.plan_id}};
  for (const char* name : {kPlan, kFixture})
    mark["sha256"][name] = sha256(open.read(name, kLargestOutput).value_or(""));
  write_file(folder / kBuilt, mark.dump(2) + "\n", diagnostics);
}

void unmark_built(const fs::path& folder, Diagnostics& diagnostics) {
  const auto opened = open_written(folder, diagnostics);
  if (!opened) return;
  if (!opened->folder.holds(kBuilt))
    return diagnostics.error({.code = "built-not",
                              .at = {folder.string(), 0, 0, {}},
                              .message = "the plan in this folder is not marked as built",
                              .remedy = "give the folder that holds built.json"});
  if (!opened->folder.remove(kBuilt) || !opened->folder.sync())
    diagnostics.error({.code = "write-failed",
                       .at = {(folder / kBuilt).string(), 0, 0, {}},
                       .message = "the mark cannot be taken away",
                       .found = std::strerror(errno),
                       .remedy = "check the permissions of the folder"});
}

bool is_date(const std::string& text) {
  int year = 0, month = 0, day = 0, end = 0;
  if (std::sscanf(text.c_str(), "%4d-%2d-%2d%n", &year, &month, &day, &end) != 3) return false;
  if (text.size() != 10 || end != 10 || text[4] != '-' || text[7] != '-') return false;
  using namespace std::chrono;
  return year_month_day(std::chrono::year(year), std::chrono::month(static_cast<unsigned>(month)),
                        std::chrono::day(static_cast<unsigned>(day)))
      .ok();
}

}  // namespace teasel::pipeline
