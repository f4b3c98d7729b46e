#include "teasel/pipeline/first.h"

#include <algorithm>
#include <filesystem>
#include <sstream>

#include "teasel/pipeline/files.h"
#include "teasel/pipeline/run.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

FirstDraft first_draft(const std::string& folder, const std::string& out, const Stage& stage, Diagnostics& d) {
  FirstDraft draft;
  stage("reading", 0.1);
  const auto files = read_folder(folder, d);
  if (d.failed()) return draft;
  stage("recognising", 0.4);
  FirstJob first = recognise(files, d);
  if (d.failed()) return draft;
  // Paths in a job file are relative to it.
  const fs::path base = is_stream(out) ? fs::current_path() : fs::absolute(out).parent_path();
  std::map<std::string, std::vector<std::string>>& evidence = draft.evidence;
  auto moved = [&](const std::string& name) {
    return name.empty() ? name : fs::proximate(fs::absolute(fs::path(folder) / name), base).generic_string();
  };
  for (auto& [key, lines] : first.evidence) {
    const std::size_t hash = key.find('#');
    const std::string name = key.substr(0, hash);
    const bool file = std::any_of(files.begin(), files.end(), [&](const FolderFile& f) { return f.name == name; });
    evidence[file ? moved(name) + (hash == key.npos ? "" : key.substr(hash)) : key] = lines;
  }
  Job& job = draft.job = std::move(first.job);
  const fs::path whole = fs::absolute(folder).lexically_normal();
  if (job.name.empty()) job.name = (whole.filename().empty() ? whole.parent_path() : whole).filename().string();
  job.inputs.netlist_file = moved(job.inputs.netlist_file);
  job.inputs.pads_file = moved(job.inputs.pads_file);
  job.inputs.outline_file = moved(job.inputs.outline_file);
  for (std::string* f : {&job.inputs.references_file, &job.inputs.continuity_file, &job.inputs.cad_file,
                         &job.inputs.idf_board, &job.inputs.idf_library, &job.inputs.bom_file})
    *f = moved(*f);
  for (auto& [key, file] : job.inputs.lone_files) file = moved(file);
  for (auto& g : job.inputs.gerbers) g.file = moved(g.file);
  for (auto& g : job.inputs.drills) g.file = moved(g.file);
  for (auto& p : job.inputs.placement_files) p = moved(p);
  for (auto& p : job.inputs.bsdl) p.file = moved(p.file);
  draft.text = write_first_job(job, evidence);
  return draft;
}

namespace {
/// What the comments marked CHECK say.
std::vector<std::string> open_points(const std::string& text, const Job& job) {
  std::vector<std::string> points;
  std::uint32_t number = 0;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    if (!std::binary_search(job.open_checks.begin(), job.open_checks.end(), ++number)) continue;
    const std::size_t at = line.find("CHECK");
    constexpr std::size_t kSays = 12;  // letters; less says nothing by itself
    points.push_back(line.size() > at + kSays ? line.substr(at) : "CHECK: " + line.substr(2, at - 2));
  }
  return points;
}

/// Takes a file out of the inputs that a board can be planned without; false: it is none of them.
bool take_out(JobInputs& inputs, const std::string& file) {
  if (file.empty()) return false;
  bool found = false;
  auto clear = [&](std::string& name) {
    if (name != file) return;
    name.clear();
    found = true;
  };
  clear(inputs.bom_file);
  if (inputs.idf_board == file || inputs.idf_library == file) {
    inputs.idf_board.clear();
    inputs.idf_library.clear();
    inputs.idf_offset.reset();
    found = true;
  }
  clear(inputs.references_file);
  found |= std::erase(inputs.placement_files, file) > 0;
  found |= std::erase_if(inputs.bsdl, [&](const BsdlInput& input) { return input.file == file; }) > 0;
  found |= std::erase_if(inputs.lone_files, [&](const auto& entry) { return entry.second == file; }) > 0;
  return found;
}

/// The file that an error is about: by its place, or by what the check compares.
std::string file_at_fault(const JobInputs& inputs, const Finding& error) {
  const std::string& code = error.code;
  if (code.starts_with("check-placement") && !inputs.placement_files.empty()) return inputs.placement_files.back();
  if ((code == "check-bodies-off" || code == "check-part-sides" || code.starts_with("check-idf")) &&
      !inputs.idf_board.empty())
    return inputs.idf_board;
  if (code == "check-part-sides" && !inputs.placement_files.empty()) return inputs.placement_files.back();
  if (code.starts_with("bom-")) return inputs.bom_file;
  return error.place.file;
}

/// Leaves out of the draft what an error is about. False: the board cannot do without.
bool leave_out(FirstDraft& draft, const Finding& error) {
  const std::string file = file_at_fault(draft.job.inputs, error);
  if (!take_out(draft.job.inputs, file)) return false;
  draft.evidence["ignored"].push_back("CHECK: left out, since the job fails with it: " + file + ": " + error.message +
                                      (error.found.empty() ? "" : " (" + error.found + ")"));
  return true;
}
}  // namespace

std::optional<std::string> preview_of(const std::string& text, const std::string& job_file, const Stage& stage,
                                      Diagnostics& diagnostics) {
  Run run;
  load_text(run, text, job_file, stage);
  if (!run.diagnostics.failed()) return preview_svg(run.board, run.sources, open_points(text, run.job));
  for (const Finding& finding : run.diagnostics.all())
    if (finding.severity == Severity::error) diagnostics.add(finding);
  return std::nullopt;
}

std::optional<std::string> try_draft(FirstDraft& draft, const std::string& job_file, const Stage& stage,
                                     Diagnostics& diagnostics) {
  constexpr int kMostLeftOut = 10;
  for (int left_out = 0;; ++left_out) {
    Diagnostics errors;
    if (auto picture = preview_of(draft.text, job_file, stage, errors)) return picture;
    if (left_out == kMostLeftOut || !leave_out(draft, errors.all()[0])) {
      diagnostics.merge_part(errors);
      return std::nullopt;
    }
    diagnostics.warn({.code = "start-left-out",
                      .at = errors.all()[0].place,
                      .message = "a file is left out of the job, since the job fails with it",
                      .found = errors.all()[0].message + ": " + errors.all()[0].found,
                      .remedy = errors.all()[0].remedy});
    draft.text = write_first_job(draft.job, draft.evidence);
  }
}

}  // namespace teasel::pipeline
