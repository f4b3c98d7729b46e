#include "teasel/formats/archive.h"

#include <algorithm>
#include <map>
#include <optional>

#include "text.h"
#include "zip.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kLargestFile = 300'000'000;
constexpr int kDeepest = 3;                // archives in archives
constexpr std::size_t kLongestName = 800;  // letters; a file system takes some 4000, the job file's folder included

std::string small(std::string_view text) {
  std::string out(text);
  for (char& letter : out)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter + 32);
  return out;
}

/// The path of an entry, with slashes; nothing if it leads out of its folder or cannot be a name everywhere.
std::optional<std::string> safe_path(std::string written) {
  std::replace(written.begin(), written.end(), '\\', '/');
  const bool drive = written.size() > 1 && written[1] == ':';
  if (written.empty() || written[0] == '/' || drive || written.size() > kLongestName) return std::nullopt;
  std::string path;
  for (const std::string_view part : split(written, '/')) {
    if (part == ".." || part.size() > 200) return std::nullopt;
    if (part.empty() || part == ".") continue;
    for (const char letter : part)
      if (static_cast<unsigned char>(letter) < 0x20 || letter == 0x7F) return std::nullopt;
    path += (path.empty() ? "" : "/") + std::string(part);
  }
  return path;
}

bool is_hidden(std::string_view path) {
  for (const std::string_view part : split(path, '/'))
    if (!part.empty() && part[0] == '.') return true;
  return false;
}

/// Unpacks one archive of a release with those inside it.
class Unpacker {
 public:
  Unpacker(const std::string& name, ArchiveAllowance& allowance, Diagnostics& diagnostics)
      : name_(name), left_(allowance), allowance_(allowance), diagnostics_(diagnostics) {}
  std::vector<ArchiveFile> run(std::string_view bytes);

 private:
  /// Why a file is left out: a code of its own each, said once for the archive.
  enum class Cause : std::uint8_t { encrypted, unsafe, damaged, large, deep };
  struct Refusal {
    std::size_t count = 0;
    std::string first;
  };
  void refuse(Cause cause, const std::string& path, const std::string& why = {}) {
    Refusal& refusal = refused_[cause];
    if (refusal.count++ == 0) refusal.first = path + (why.empty() ? "" : ": " + why);
  }
  void unpack(std::string_view bytes, const std::string& folder, int depth);
  void take(const Zip& zip, const Zip::Entry& entry, const std::string& path, int depth);
  bool keep(std::string path, std::string bytes);
  void leave_out_clashes();
  void report(Cause cause, const char* code, const char* message, const char* remedy) const;
  void say() const;
  void warn(const char* code, const char* message, std::string found, const char* remedy) const {
    diagnostics_.warn(
        {.code = code, .at = {name_, 0, 0, {}}, .message = message, .found = std::move(found), .remedy = remedy});
  }

  const std::string& name_;
  ArchiveAllowance left_;
  ArchiveAllowance& allowance_;
  Diagnostics& diagnostics_;
  bool beyond_ = false;                                    ///< the allowance
  std::map<std::string, std::vector<std::string>> files_;  ///< contents by path; several: a clash
  std::map<Cause, Refusal> refused_;
};

bool Unpacker::keep(std::string path, std::string bytes) {
  if (left_.files == 0 || left_.bytes < bytes.size()) {
    beyond_ = true;
    return false;
  }
  --left_.files;
  left_.bytes -= bytes.size();
  std::vector<std::string>& there = files_[std::move(path)];
  if (std::find(there.begin(), there.end(), bytes) == there.end()) there.push_back(std::move(bytes));
  return true;
}

void Unpacker::take(const Zip& zip, const Zip::Entry& entry, const std::string& path, int depth) {
  if (entry.encrypted) return refuse(Cause::encrypted, path);
  if (entry.size > kLargestFile || is_bomb(entry)) return refuse(Cause::large, path);
  if (left_.bytes < entry.size) {
    beyond_ = true;
    return;
  }
  std::string why;
  std::optional<std::string> bytes = zip.read(entry, kLargestFile, why);
  if (!bytes) return refuse(Cause::damaged, path, why);
  if (!is_archive(*bytes)) {
    keep(path, std::move(*bytes));
  } else if (depth == kDeepest) {
    refuse(Cause::deep, path);
  } else {
    if (left_.bytes < bytes->size()) {
      beyond_ = true;
      return;
    }
    left_.bytes -= bytes->size();
    unpack(*bytes, path + "/", depth + 1);
  }
}

void Unpacker::unpack(std::string_view bytes, const std::string& folder, int depth) {
  std::string why;
  const std::optional<Zip> zip = Zip::open(bytes, why);
  if (!zip) {
    if (depth > 1) return refuse(Cause::damaged, folder, why);
    return warn("archive-unreadable", "the archive cannot be read, so nothing of it is used", why,
                "get it again, or unpack it yourself");
  }
  // An earlier plan of this program is no part of a release.
  std::vector<std::string> plans;
  for (const Zip::Entry& entry : zip->entries())
    if (entry.name.ends_with("/plan.json")) plans.push_back(entry.name.substr(0, entry.name.size() - 9));
  for (const Zip::Entry& entry : zip->entries()) {
    if (beyond_) return;
    const std::optional<std::string> path = safe_path(entry.name);
    const bool of_plan =
        std::any_of(plans.begin(), plans.end(), [&](const std::string& plan) { return entry.name.starts_with(plan); });
    if (!path || !entry.plain)
      refuse(Cause::unsafe, entry.name.substr(0, 100));
    else if (!path->empty() && !entry.name.ends_with('/') && !entry.name.ends_with('\\') && !is_hidden(*path) &&
             !is_dropping(*path) && !of_plan)
      take(*zip, entry, folder + *path, depth);
  }
}

/// Two files of one name, or a file where another needs a folder: which of them is meant is not known.
void Unpacker::leave_out_clashes() {
  std::vector<std::string> clashes;
  for (const auto& [path, contents] : files_) {
    bool clash = contents.size() > 1;
    for (std::size_t slash = path.find('/'); slash != path.npos && !clash; slash = path.find('/', slash + 1))
      clash = files_.count(path.substr(0, slash)) > 0;
    if (clash) clashes.push_back(path);
  }
  for (const std::string& path : clashes) files_.erase(path);
  if (!clashes.empty())
    warn("archive-name-twice", "names in the archive clash, and those files are left out",
         std::to_string(clashes.size()) + (clashes.size() == 1 ? " file, " : " files, first ") + clashes[0],
         "pack the archive again, or unpack it yourself");
}

void Unpacker::report(Cause cause, const char* code, const char* message, const char* remedy) const {
  const auto refusal = refused_.find(cause);
  if (refusal == refused_.end()) return;
  const auto& [count, first] = refusal->second;
  warn(code, message, std::to_string(count) + (count == 1 ? " file: " : " files, first ") + first, remedy);
}

void Unpacker::say() const {
  report(Cause::encrypted, "archive-encrypted", "files in the archive are encrypted and are left out",
         "unpack the archive with its password, and put its files into the folder");
  report(Cause::unsafe, "archive-unsafe-name", "links, and names that lead out of the archive's folder, are left out",
         "find out where the archive comes from, and unpack what you trust yourself");
  report(Cause::damaged, "archive-damaged", "files in the archive cannot be unpacked and are left out",
         "get the archive again, or unpack it yourself");
  report(Cause::large, "archive-large-file",
         "files in the archive are larger than 300 MB, or are packed to less than a 200th, and are left out",
         "unpack them yourself if the board needs them");
  report(Cause::deep, "archive-too-deep", "archives that lie more than three deep in one another are left out",
         "unpack the outer archives yourself");
}

std::vector<ArchiveFile> Unpacker::run(std::string_view bytes) {
  unpack(bytes, "", 1);
  if (beyond_) {
    warn("archive-too-large", "the archives hold more than 2000 files or 1 GB, so nothing of this one is used", "",
         "unpack it yourself, and give the folder of one release");
    return {};
  }
  leave_out_clashes();
  say();
  allowance_ = left_;
  std::vector<ArchiveFile> files;
  for (auto& [path, contents] : files_) files.push_back({path, std::move(contents[0])});
  return files;
}
}  // namespace

bool is_zip(std::string_view bytes) {
  return bytes.starts_with("PK\x03\x04") || bytes.starts_with("PK\x05\x06");
}

bool is_archive(std::string_view bytes) {
  if (!is_zip(bytes)) return false;
  std::string why;
  const std::optional<Zip> zip = Zip::open(bytes, why);
  return !zip || (!zip->find("[Content_Types].xml") && !zip->find("mimetype"));
}

std::string other_archive(std::string_view bytes) {
  if (bytes.starts_with("7z\xBC\xAF\x27\x1C")) return "7z";
  if (bytes.starts_with("Rar!\x1A\x07")) return "rar";
  if (bytes.starts_with("\x1F\x8B\x08")) return "gzip";
  if (bytes.starts_with("BZh")) return "bzip2";
  if (bytes.starts_with("\xFD"
                        "7zXZ"))
    return "xz";
  if (bytes.size() > 262 && bytes.substr(257, 5) == "ustar") return "tar";
  return {};
}

bool is_dropping(std::string_view path) {
  for (const std::string_view part : split(path, '/')) {
    if (part == "__MACOSX" || part == ".DS_Store" || part.starts_with("._")) return true;
    const std::string name = small(part);
    if (name == "thumbs.db" || name == "desktop.ini") return true;
  }
  return false;
}

std::vector<ArchiveFile> read_archive(std::string_view bytes, const std::string& name, ArchiveAllowance& allowance,
                                      Diagnostics& diagnostics) {
  return Unpacker(name, allowance, diagnostics).run(bytes);
}

}  // namespace teasel::formats
