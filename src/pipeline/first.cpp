#include "teasel/pipeline/first.h"

#include <algorithm>
#include <filesystem>
#include <set>
#include <sstream>

#include "teasel/pipeline/files.h"
#include "teasel/pipeline/run.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
/// Calls `change` with every file that the job names.
template <class Change>
void each_file(JobInputs& inputs, const Change& change) {
  for (std::string* file :
       {&inputs.netlist_file, &inputs.pads_file, &inputs.outline_file, &inputs.references_file, &inputs.continuity_file,
        &inputs.cad_file, &inputs.idf_board, &inputs.idf_library, &inputs.bom_file})
    change(*file);
  for (auto& [key, file] : inputs.lone_files) change(file);
  for (auto& layer : inputs.gerbers) change(layer.file);
  for (auto& drill : inputs.drills) change(drill.file);
  for (auto& file : inputs.placement_files) change(file);
  for (auto& description : inputs.bsdl) change(description.file);
}

fs::path absolute_parent(const std::string& file) {
  if (is_stream(file)) return fs::current_path();
  return fs::absolute(file).lexically_normal().parent_path();
}

/// A release with the places of its files, as a job file beside it names them.
class Release {
 public:
  Release(const std::string& path, const std::string& out, Diagnostics& d)
      : job_folder_(absolute_parent(out)), unpack_folder_(fs::path(out).stem().string() + "-files") {
    const fs::path whole = fs::absolute(path).lexically_normal();
    const fs::path named = whole.filename().empty() ? whole.parent_path() : whole;
    std::error_code none;
    const bool archive = !fs::is_directory(named, none);
    folder_ = archive ? named.parent_path() : named;
    name_ = (archive ? named.stem() : named.filename()).string();
    files_ = read_folder(path, d);
    for (const FolderFile& file : files_) by_name_[file.name] = &file;
    leave_out_unpacked();
  }
  [[nodiscard]] const std::vector<FolderFile>& files() const { return files_; }
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::string& unpack_folder() const { return unpack_folder_; }
  /// The file of this name, if it lies in an archive; its archive's name then goes into `archive`.
  [[nodiscard]] const FolderFile* packed(const std::string& name, std::string& archive) const {
    for (std::size_t slash = name.find('/'); slash != name.npos; slash = name.find('/', slash + 1))
      if (archive = name.substr(0, slash); by_name_.count(archive)) return by_name_.at(name);
    return nullptr;
  }
  [[nodiscard]] bool holds(const std::string& name) const { return by_name_.count(name) > 0; }
  /// Where a file stands, or is to stand, seen from the job file. Paths in a job file are relative to it.
  [[nodiscard]] std::string place(const std::string& name) const {
    std::string archive;
    return packed(name, archive) ? unpack_folder_ + "/" + name
                                 : fs::proximate(folder_ / name, job_folder_).generic_string();
  }

 private:
  /// What an earlier call unpacked is no second set of files.
  void leave_out_unpacked() {
    std::string archive;
    std::set<std::string> unpacked;
    for (const FolderFile& file : files_)
      if (packed(file.name, archive))
        unpacked.insert(fs::proximate(job_folder_ / unpack_folder_ / file.name, folder_).generic_string());
    std::erase_if(files_, [&](const FolderFile& file) { return unpacked.count(file.name) > 0; });
    by_name_.clear();
    for (const FolderFile& file : files_) by_name_[file.name] = &file;
  }

  fs::path job_folder_, folder_;
  std::string unpack_folder_, name_;
  std::vector<FolderFile> files_;
  std::map<std::string, const FolderFile*> by_name_;
};

/// Keeps the bytes of what the job takes from archives, and tells where it is to stand.
void take_packed(const Release& release, FirstDraft& draft) {
  std::map<std::string, std::size_t> taken;  // by archive
  each_file(draft.job.inputs, [&](const std::string& name) {
    std::string archive;
    const FolderFile* file = release.packed(name, archive);
    if (file && draft.packed.emplace(release.place(name), file->bytes).second) ++taken[archive];
  });
  if (taken.empty()) return;
  draft.unpack_folder = release.unpack_folder();
  for (const auto& [archive, count] : taken)
    draft.evidence["board"].push_back("unpacked into " + draft.unpack_folder + ": " + std::to_string(count) +
                                      (count == 1 ? " file of " : " files of ") + archive);
}
}  // namespace

FirstDraft first_draft(const std::string& folder, const std::string& out, const Stage& stage, Diagnostics& d) {
  FirstDraft draft;
  stage("reading", 0.1);
  const Release release(folder, out, d);
  if (d.failed()) return draft;
  stage("recognising", 0.4);
  FirstJob first = recognise(release.files(), d);
  if (d.failed()) return draft;
  for (auto& [key, lines] : first.evidence) {
    const std::size_t hash = key.find('#');
    const std::string name = key.substr(0, hash);
    draft.evidence[release.holds(name) ? release.place(name) + (hash == key.npos ? "" : key.substr(hash)) : key] =
        lines;
  }
  Job& job = draft.job = std::move(first.job);
  if (job.name.empty()) job.name = release.name();
  take_packed(release, draft);
  each_file(job.inputs, [&](std::string& name) {
    if (!name.empty()) name = release.place(name);
  });
  draft.text = write_first_job(job, draft.evidence);
  return draft;
}

namespace {
/// Why a file cannot be put there, or nothing. `there`: it stands there already, the same.
std::string obstacle(const fs::path& base, const std::string& file, const std::string& bytes, bool& there) {
  std::error_code none;
  fs::path path = base;
  there = false;
  for (const fs::path& part : fs::path(file)) {
    path /= part;
    const fs::file_status status = fs::symlink_status(path, none);
    if (status.type() == fs::file_type::not_found) return {};
    const bool last = path == base / file;
    if (status.type() != (last ? fs::file_type::regular : fs::file_type::directory))
      return last ? "something else than a file stands there" : "not a plain folder: " + path.generic_string();
  }
  Diagnostics ignored;
  const auto found = read_file(path, file, ignored);
  there = found && *found == bytes;
  return there ? std::string() : "a file with other contents stands there";
}
}  // namespace

void write_packed(const FirstDraft& draft, const std::string& job_file, Diagnostics& diagnostics) {
  const fs::path base = absolute_parent(job_file);
  std::vector<const FilesAtHand::value_type*> missing;
  for (const auto& file : draft.packed) {
    bool there = false;
    if (const std::string why = obstacle(base, file.first, file.second, there); !why.empty())
      return diagnostics.error(
          {.code = "unpack-exists",
           .at = {file.first, 0, 0, {}},
           .message = "a file of an archive cannot be unpacked, and nothing was written",
           .found = why,
           .remedy = "move the folder " + draft.unpack_folder + " away, or give the job file another name with -o"});
    if (!there) missing.push_back(&file);
  }
  std::error_code none;
  for (const auto* file : missing) {
    fs::create_directories((base / file->first).parent_path(), none);
    write_file(base / file->first, file->second, diagnostics);
    if (diagnostics.failed()) return;
  }
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

std::optional<std::string> preview_of(const FirstDraft& draft, const std::string& job_file, const Stage& stage,
                                      Diagnostics& diagnostics) {
  Run run;
  run.at_hand = draft.packed;
  load_text(run, draft.text, job_file, stage);
  if (!run.diagnostics.failed()) return preview_svg(run.board, run.sources, open_points(draft.text, run.job));
  for (const Finding& finding : run.diagnostics.all())
    if (finding.severity == Severity::error) diagnostics.add(finding);
  return std::nullopt;
}

std::optional<std::string> try_draft(FirstDraft& draft, const std::string& job_file, const Stage& stage,
                                     Diagnostics& diagnostics) {
  constexpr int kMostLeftOut = 10;
  for (int left_out = 0;; ++left_out) {
    Diagnostics errors;
    if (auto picture = preview_of(draft, job_file, stage, errors)) return picture;
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
