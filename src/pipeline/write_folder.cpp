// Writes an output folder whole or not at all, and keeps what somebody made in the one that stood there.
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <set>

#include "open_folder.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/output_table.h"
#include "teasel/report/measured.h"
#include "written_files.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
constexpr const char* kVerify = "verify.csv";
constexpr const char* kEarlier = "verify-earlier.csv";
constexpr const char* kStageInside = ".teasel-stage-";

std::string reason() {
  return std::strerror(errno);
}

/// "a.csv, b.csv, c.csv and 4 more"
std::string some_of(const std::vector<std::string>& names) {
  constexpr std::size_t kMost = 3;
  std::string text;
  for (std::size_t i = 0; i < std::min(names.size(), kMost); ++i) text += (i ? ", " : "") + names[i];
  return names.size() > kMost ? text + " and " + std::to_string(names.size() - kMost) + " more" : text;
}

/// True where this program works inside the folder: swapped for another one, it would vanish under whoever stands in
/// it.
bool stands_in(const OpenFolder& folder) {
  const auto wanted = folder.status(".");
  std::optional<struct stat> below;
  std::string up = ".";
  for (int level = 0; wanted && level < 1000; ++level, up += "/..") {
    const auto here = OpenFolder::at(up);
    const auto status = here ? here->status(".") : std::nullopt;
    if (!status || (below && below->st_dev == status->st_dev && below->st_ino == status->st_ino)) break;
    if (status->st_dev == wanted->st_dev && status->st_ino == wanted->st_ino) return true;
    below = status;
  }
  return false;
}

class FolderWriter {
 public:
  FolderWriter(const fs::path& given, Diagnostics& diagnostics) : given_(given), diagnostics_(diagnostics) {}
  /// Looks at what stands there; false, with an error, where it may not be replaced.
  bool look();
  void write(std::map<std::string, std::string> files);

  /// The folder was replaced by another run meanwhile: nothing was written, and it may be tried again.
  [[nodiscard]] bool vanished() const { return vanished_; }

 private:
  using Files = std::map<std::string, std::string>;
  bool fail(const std::string& what, const std::string& why, const std::string& remedy = {});
  bool resolve();
  bool open_parent();
  bool may_replace();
  void carry_measurements(Files& files);
  bool stage_files(const OpenFolder& stage, const Files& files);
  bool stage_foreign(const OpenFolder& stage);
  bool keep(const std::string& path, const OpenFolder& to, const std::string& name_there);
  bool swap_in(const std::string& stage_name);
  bool place_files(const OpenFolder& stage, const Files& files);
  void write_beside(const Files& files);
  void write_inside(const Files& files);
  void retire(const std::string& name);
  void clear_leftovers(const OpenFolder& where, const std::string& stem);
  void tell();

  fs::path given_, above_;
  bool in_place_ = false;
  Diagnostics& diagnostics_;
  std::optional<OpenFolder> parent_;  ///< none: the folder is written in its place
  std::string name_;                  ///< in the parent
  std::optional<OpenFolder> target_;  ///< none: it does not stand yet
  std::optional<WrittenFiles> written_;
  Stock stock_;
  std::vector<std::string> kept_, foreign_;
  bool vanished_ = false;
};

bool FolderWriter::fail(const std::string& what, const std::string& why, const std::string& remedy) {
  diagnostics_.error({.code = "write-failed",
                      .at = {given_.string(), 0, 0, {}},
                      .message = what,
                      .found = why,
                      .remedy = remedy.empty() ? "choose another output folder; nothing was written" : remedy});
  return false;
}

/// Finds the folder and the one that it lies in. A link is followed and stays.
bool FolderWriter::resolve() {
  fs::path path = given_;
  while (path.has_relative_path() && path.filename().empty()) path = path.parent_path();
  std::error_code error;
  if (fs::is_symlink(path, error)) {
    path = fs::canonical(path, error);
    if (error) return fail("the output path is a link that leads nowhere", error.message());
  }
  name_ = path.filename().string();
  target_ = OpenFolder::at(path);
  if (!target_ && errno != ENOENT)
    return fail("the output path is not a folder", errno == ENOTDIR ? "a file stands there" : reason());
  if (name_.empty() || name_ == "." || name_ == "..") {
    in_place_ = true;
    return target_ || fail("there is no such folder", path.string());
  }
  if (target_ && ::faccessat(target_->descriptor(), ".", W_OK | X_OK, 0) != 0)
    return fail("the output folder cannot be written", reason());
  above_ = path.parent_path();
  return true;
}

/// Opens the folder that the new one is to lie in. Without it an old folder is written in its place.
bool FolderWriter::open_parent() {
  if (in_place_ || (target_ && stands_in(*target_))) return true;
  std::error_code error;
  if (!target_ && !above_.empty()) fs::create_directories(above_, error);
  parent_ = OpenFolder::at(above_);
  return parent_ || target_ || fail("the output folder cannot be made", error ? error.message() : reason());
}

bool FolderWriter::may_replace() {
  if (!target_) return true;
  if (target_->holds(kBuilt)) {
    diagnostics_.error({.code = "write-built",
                        .at = {(given_ / kBuilt).string(), 0, 0, {}},
                        .message = "a fixture was built by the plan in this folder, so it is not overwritten",
                        .remedy = "give another folder with -o. If no fixture was built by it:  teasel built --undo " +
                                  given_.string()});
    return false;
  }
  clear_leftovers(*target_, kStageInside);
  written_ = written_files(*target_);
  const std::vector<std::string> names = target_->names();
  if (!written_ && !names.empty())
    return fail("the output folder is not an earlier plan, so nothing in it is changed", some_of(names));
  if (!written_) return true;
  auto stock = take_stock(*target_, *written_);
  if (!stock) return fail("the output folder cannot be looked through", reason());
  stock_ = std::move(*stock);
  return true;
}

bool FolderWriter::look() {
  return resolve() && may_replace();
}

/// What was measured goes into the new list of checks, step by step.
void FolderWriter::carry_measurements(Files& files) {
  if (!target_ || !written_) return;
  const std::string old = target_->read(kVerify, kLargestOutput).value_or(""),
                    earlier = target_->read(kEarlier, kLargestOutput).value_or("");
  if (old.empty() && earlier.empty()) return;
  const Place at{(given_ / kVerify).string(), 0, 0, {}};
  const auto made = files.count(kVerify) ? teasel::carry_measurements(files[kVerify], old, earlier) : std::nullopt;
  if (!made) {
    // Neither is dropped, also where nobody touched it since it was written.
    for (const auto& [name, text] : {std::pair(kVerify, &old), std::pair(kEarlier, &earlier)}) {
      const auto there = std::find(stock_.as_written.begin(), stock_.as_written.end(), name);
      if (there == stock_.as_written.end() || !holds_measurements(*text)) continue;
      stock_.touched.emplace_back(name);
      stock_.as_written.erase(there);
    }
    return;
  }
  files[kVerify] = made->verify;
  if (!made->earlier.empty()) files[kEarlier] = made->earlier;
  if (made->carried)
    diagnostics_.note({.code = "verify-carried",
                       .at = at,
                       .message = "what was measured was carried into the new list, step by step",
                       .found = std::to_string(made->carried) + " steps hold, " + std::to_string(made->open) +
                                " are still to be measured"});
  if (made->failed)
    diagnostics_.warn({.code = "verify-step-failed",
                       .at = at,
                       .message = "steps that this plan still has did not pass when they were measured",
                       .found = std::to_string(made->failed) + ", first: " + made->first_failed,
                       .remedy = "mend the fixture and measure them again before it is used"});
  if (made->gone)
    diagnostics_.warn(
        {.code = "verify-step-gone",
         .at = at,
         .message = "steps that were measured are not in the new plan. They are kept in " + std::string(kEarlier),
         .found = std::to_string(made->gone) + " steps"});
}

bool FolderWriter::stage_files(const OpenFolder& stage, const Files& files) {
  for (const auto& [name, bytes] : files)
    if (!stage.write(name, bytes)) return fail("an output file cannot be written: " + name, reason());
  if (!stage.write(kHashes, hashes_text(files)))
    return fail(std::string("an output file cannot be written: ") + kHashes, reason());
  return true;
}

/// Puts a file of the old folder under `kept`, by the plan that it belongs to.
bool FolderWriter::keep(const std::string& path, const OpenFolder& to, const std::string& name_there) {
  const std::string id = written_ && !written_->plan_id.empty() ? written_->plan_id : "earlier";
  for (int number = 1; number < 10'000; ++number) {
    const std::string name =
        std::string(kKept) + "/" + id + (number == 1 ? "" : "-" + std::to_string(number)) + "/" + name_there;
    if (to.holds(name)) continue;
    if (!target_->link(path, to, name)) {
      // Another run has put its own folder there since this one looked.
      vanished_ = errno == ENOENT;
      return !vanished_ && fail("a file cannot be kept: " + path, reason());
    }
    kept_.push_back(name);
    return true;
  }
  return fail("a file cannot be kept: " + path, "there are ten thousand of this name");
}

/// Links what somebody put into the old folder, or changed there, into the new one.
bool FolderWriter::stage_foreign(const OpenFolder& stage) {
  for (const FolderEntry& entry : stock_.entries) {
    if (entry.kind != FolderEntry::Kind::folder || is_ours(entry.path) || entry.path == kKept) continue;
    const auto old = target_->status(entry.path);
    const auto made = stage.below(entry.path, true);
    if (made && old) ::fchmod(made->descriptor(), old->st_mode & 07777);
  }
  for (const std::string& path : stock_.foreign) {
    if (!stage.holds(path) && target_->link(path, stage, path)) {
      if (path.rfind(std::string(kKept) + "/", 0) != 0) foreign_.push_back(path);
    } else if (!keep(path, stage, path)) {
      return false;
    }
  }
  return std::all_of(stock_.touched.begin(), stock_.touched.end(),
                     [&](const std::string& path) { return keep(path, stage, path); });
}

/// True once the new folder stands where the old one stood.
bool FolderWriter::swap_in(const std::string& stage_name) {
  if (!target_) return parent_->rename(stage_name, *parent_, name_);
  return parent_->exchange(stage_name, name_);
}

/// Every folder's list of names to the disk.
void sync_folders(const OpenFolder& folder) {
  if (const auto entries = folder.list())
    for (const FolderEntry& entry : *entries)
      if (entry.kind == FolderEntry::Kind::folder)
        if (const auto inner = folder.below(entry.path)) (void)inner->sync();
  (void)folder.sync();
}

/// Into a folder beside it, which then takes its place in one step.
void FolderWriter::write_beside(const Files& files) {
  const std::string stem = ".teasel-" + sha256(name_).substr(0, 8) + "-";
  clear_leftovers(*parent_, stem);
  std::string stage_name;
  const auto stage = parent_->make_own(stem, stage_name);
  if (!stage) {
    if (target_) return write_inside(files);
    fail("the output folder cannot be made", reason());
    return;
  }
  if (target_)
    if (const auto status = target_->status(".")) ::fchmod(stage->descriptor(), status->st_mode & 07777);
  if (!stage_files(*stage, files) || (target_ && !stage_foreign(*stage))) {
    (void)parent_->remove_tree(stage_name);
    return;
  }
  sync_folders(*stage);
  if (!swap_in(stage_name)) {
    const std::string why = reason();
    (void)parent_->remove_tree(stage_name);
    kept_.clear();
    foreign_.clear();
    // The root of another file system, or a file system without exchange.
    if (target_) return write_inside(files);
    fail("the output folder cannot be made", why);
    return;
  }
  (void)parent_->sync();
  if (target_) retire(stage_name);
  tell();
}

/// Takes the old folder away, but for what was changed in it since it was looked at.
void FolderWriter::retire(const std::string& name) {
  const auto old = parent_->below(name), now = parent_->below(name_);
  const auto entries = old ? old->list() : std::nullopt;
  if (!entries || !now) return;
  const auto looked_at = [&](const FolderEntry& entry) {
    return std::any_of(stock_.entries.begin(), stock_.entries.end(), [&](const FolderEntry& before) {
      return before.path == entry.path && before.stamp == entry.stamp;
    });
  };
  for (const FolderEntry& entry : *entries) {
    if (entry.kind == FolderEntry::Kind::folder || looked_at(entry)) continue;
    const std::string place = now->holds(entry.path) ? std::string(kKept) + "/late/" + entry.path : entry.path;
    if (!old->rename(entry.path, *now, place)) return;
    kept_.push_back(place);
  }
  (void)parent_->remove_tree(name);
}

/// File by file where the folder itself has to stay: one of a process that stands in it, or the root of a file system.
void FolderWriter::write_inside(const Files& files) {
  std::string stage_name;
  const auto stage = target_->make_own(kStageInside, stage_name);
  if (!stage) {
    fail("the output folder cannot be written", reason());
    return;
  }
  const bool written = stage_files(*stage, files) && place_files(*stage, files);
  (void)target_->remove_tree(stage_name);
  if (!written) return;
  sync_folders(*target_);
  for (const std::string& path : stock_.foreign)
    if (path.rfind(std::string(kKept) + "/", 0) != 0) foreign_.push_back(path);
  tell();
}

bool FolderWriter::place_files(const OpenFolder& stage, const Files& files) {
  for (const std::string& path : stock_.touched)
    if (!keep(path, *target_, path)) return false;
  for (const std::string& path : stock_.foreign)
    if (files.count(path) > 0 && !keep(path, *target_, path)) return false;
  for (const auto& [path, bytes] : files)
    if (!stage.rename(path, *target_, path))
      return fail("an output file cannot be put in its place: " + path, reason(),
                  "the folder holds old and new files now; plan into another one");
  for (const auto* list : {&stock_.as_written, &stock_.touched})
    for (const std::string& path : *list)
      if (files.count(path) == 0) (void)target_->remove(path);
  for (auto entry = stock_.entries.rbegin(); entry != stock_.entries.rend(); ++entry)
    if (entry->kind == FolderEntry::Kind::folder && is_ours(entry->path))
      if (const auto inner = target_->below(entry->path); inner && inner->names().empty())
        (void)target_->remove_tree(entry->path);
  // Last, so that a folder of two plans is known as one.
  return stage.rename(kHashes, *target_, kHashes) ||
         fail(std::string("an output file cannot be put in its place: ") + kHashes, reason());
}

/// Folders that a killed run left behind: gone, as far as each file is teasel's own or also stands in the plan.
void FolderWriter::clear_leftovers(const OpenFolder& where, const std::string& stem) {
  std::set<std::pair<std::uint64_t, std::uint64_t>> standing;
  for (const std::string& name : where.names()) {
    if (name.rfind(stem, 0) != 0) continue;
    const auto folder = where.below(name);
    if (!folder || !folder->lock()) continue;
    if (standing.empty() && target_)
      for (const FolderEntry& entry : target_->list().value_or(std::vector<FolderEntry>{}))
        if (entry.path.rfind(name, 0) != 0) standing.emplace(entry.stamp.device, entry.stamp.number);
    const auto written = written_files(*folder);
    const auto stock = take_stock(*folder, written.value_or(WrittenFiles{}));
    if (!stock) continue;
    const std::set<std::string> own(stock->as_written.begin(), stock->as_written.end());
    const bool spare = std::all_of(stock->entries.begin(), stock->entries.end(), [&](const FolderEntry& entry) {
      return entry.kind == FolderEntry::Kind::folder || entry.path == kHashes || own.count(entry.path) > 0 ||
             (!written && is_ours(entry.path)) || standing.count({entry.stamp.device, entry.stamp.number}) > 0;
    });
    if (spare) (void)where.remove_tree(name);
  }
}

void FolderWriter::tell() {
  if (!foreign_.empty())
    diagnostics_.note({.code = "output-foreign",
                       .at = {given_.string(), 0, 0, {}},
                       .message = "files that teasel did not write stay in the folder",
                       .found = some_of(foreign_)});
  if (!kept_.empty())
    diagnostics_.warn({.code = "output-kept",
                       .at = {given_.string(), 0, 0, {}},
                       .message = "files of the earlier run were changed since it wrote them. They are kept",
                       .found = some_of(kept_),
                       .remedy = "delete them once you no longer need them"});
}

void FolderWriter::write(Files files) {
  if (!open_parent()) return;
  carry_measurements(files);
  if (parent_)
    write_beside(files);
  else
    write_inside(files);
}
}  // namespace

bool may_write_folder(const fs::path& folder, Diagnostics& diagnostics) {
  return FolderWriter(folder, diagnostics).look();
}

void write_folder(const fs::path& folder, const std::map<std::string, std::string>& files, Diagnostics& diagnostics) {
  constexpr int kAttempts = 5;
  for (int attempt = 0; attempt < kAttempts; ++attempt) {
    FolderWriter writer(folder, diagnostics);
    if (writer.look()) writer.write(files);
    if (!writer.vanished()) return;
  }
  diagnostics.error({.code = "write-failed",
                     .at = {folder.string(), 0, 0, {}},
                     .message = "another run writes into this folder again and again",
                     .remedy = "choose another output folder; nothing was written"});
}

}  // namespace teasel::pipeline
