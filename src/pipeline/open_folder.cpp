#include "open_folder.h"

#include <dirent.h>
#include <fcntl.h>
#include <sys/file.h>
#include <sys/random.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <memory>
#include <utility>

namespace teasel::pipeline {

namespace {
constexpr int kFolder = O_RDONLY | O_DIRECTORY | O_CLOEXEC;
constexpr std::size_t kDeepest = 200;  // folders within folders

FileStamp stamp_of(const struct stat& status) {
  return {.device = status.st_dev,
          .number = status.st_ino,
          .size = static_cast<std::uint64_t>(status.st_size),
          .changed = static_cast<std::int64_t>(status.st_mtim.tv_sec) * 1'000'000'000 + status.st_mtim.tv_nsec};
}

/// Keeps the reason of a failure over calls that tidy up behind it.
class KeptReason {
 public:
  KeptReason() : reason_(errno) {}
  ~KeptReason() { errno = reason_; }
  KeptReason(const KeptReason&) = delete;
  KeptReason& operator=(const KeptReason&) = delete;

 private:
  int reason_;
};
}  // namespace

bool write_all(int descriptor, const std::string& bytes) {
  for (std::size_t done = 0; done < bytes.size();) {
    const ssize_t n = ::write(descriptor, bytes.data() + done, bytes.size() - done);
    if (n < 0 && errno == EINTR) continue;
    if (n == 0) errno = EIO;
    if (n <= 0) return false;
    done += static_cast<std::size_t>(n);
  }
  return true;
}

bool sync_data(int descriptor) {
  while (::fsync(descriptor) != 0) {
    if (errno == EINTR) continue;
    return errno == EINVAL || errno == ENOTSUP || errno == EROFS;
  }
  return true;
}

std::string random_letters() {
  constexpr std::string_view kLetters = "abcdefghijklmnopqrstuvwxyz0123456789";
  std::array<unsigned char, 8> raw{};
  if (::getrandom(raw.data(), raw.size(), 0) != static_cast<ssize_t>(raw.size())) {
    struct timespec now {};
    ::clock_gettime(CLOCK_MONOTONIC, &now);
    std::uint64_t mixed = static_cast<std::uint64_t>(now.tv_nsec) * 2654435761u ^ static_cast<std::uint64_t>(getpid());
    for (unsigned char& letter : raw) letter = static_cast<unsigned char>((mixed >>= 7) & 255);
  }
  std::string letters;
  for (const unsigned char letter : raw) letters += kLetters[letter % kLetters.size()];
  return letters;
}

std::optional<OpenFolder> OpenFolder::at(const std::filesystem::path& path) {
  const int descriptor = ::open(path.empty() ? "." : path.c_str(), kFolder);
  if (descriptor < 0) return std::nullopt;
  return OpenFolder(descriptor);
}

OpenFolder::OpenFolder(OpenFolder&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
OpenFolder& OpenFolder::operator=(OpenFolder&& other) noexcept {
  std::swap(descriptor_, other.descriptor_);
  return *this;
}
OpenFolder::~OpenFolder() {
  const KeptReason kept;
  if (descriptor_ >= 0) ::close(descriptor_);
}

std::optional<OpenFolder> OpenFolder::below(const std::string& path, bool make) const {
  OpenFolder here(::dup(descriptor_));
  for (std::size_t from = 0; from < path.size() && here.descriptor_ >= 0;) {
    const std::size_t end = std::min(path.find('/', from), path.size());
    const std::string name = path.substr(from, end - from);
    from = end + 1;
    if (name == "..") {
      errno = EINVAL;
      return std::nullopt;
    }
    if (make && ::mkdirat(here.descriptor_, name.c_str(), 0777) != 0 && errno != EEXIST) return std::nullopt;
    here = OpenFolder(::openat(here.descriptor_, name.c_str(), kFolder | O_NOFOLLOW));
  }
  if (here.descriptor_ < 0) return std::nullopt;
  return here;
}

std::optional<OpenFolder> OpenFolder::folder_of(const std::string& path, std::string& name, bool make) const {
  const std::size_t slash = path.rfind('/');
  name = slash == path.npos ? path : path.substr(slash + 1);
  return below(slash == path.npos ? std::string() : path.substr(0, slash), make);
}

std::optional<struct stat> OpenFolder::status(const std::string& path) const {
  std::string name;
  const auto folder = folder_of(path, name, false);
  struct stat status {};
  if (!folder || ::fstatat(folder->descriptor_, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) != 0) return std::nullopt;
  return status;
}

bool OpenFolder::lock() const {
  // A file system without locks has no second run to keep out.
  return ::flock(descriptor_, LOCK_EX | LOCK_NB) == 0 || errno != EWOULDBLOCK;
}

std::optional<OpenFolder> OpenFolder::make_own(const std::string& stem, std::string& name) const {
  for (int tries = 0; tries < 100; ++tries) {
    name = stem + random_letters();
    if (::mkdirat(descriptor_, name.c_str(), 0777) != 0) {
      if (errno == EEXIST) continue;
      return std::nullopt;
    }
    auto made = below(name);
    // Whoever clears what killed runs left may have been faster than the lock.
    if (made && made->lock() && holds(name)) return made;
  }
  return std::nullopt;
}

std::optional<std::string> OpenFolder::read(const std::string& path, std::uint64_t most) const {
  std::string name;
  const auto folder = folder_of(path, name, false);
  if (!folder) return std::nullopt;
  const int file = ::openat(folder->descriptor_, name.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  if (file < 0) return std::nullopt;
  struct stat status {};
  std::optional<std::string> bytes;
  if (::fstat(file, &status) != 0 || !S_ISREG(status.st_mode)) {
    errno = EINVAL;
  } else if (static_cast<std::uint64_t>(status.st_size) > most) {
    errno = EFBIG;
  } else {
    bytes.emplace(static_cast<std::size_t>(status.st_size), '\0');
    std::size_t done = 0;
    while (done < bytes->size()) {
      const ssize_t n = ::read(file, bytes->data() + done, bytes->size() - done);
      if (n < 0 && errno == EINTR) continue;
      if (n <= 0) break;
      done += static_cast<std::size_t>(n);
    }
    bytes->resize(done);
  }
  const KeptReason kept;
  ::close(file);
  return bytes;
}

bool OpenFolder::write(const std::string& path, const std::string& bytes, mode_t mode) const {
  std::string name;
  const auto folder = folder_of(path, name, true);
  if (!folder) return false;
  const int file = ::openat(folder->descriptor_, name.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, mode);
  if (file < 0) return false;
  const bool written = write_all(file, bytes) && sync_data(file);
  const KeptReason kept;
  return ::close(file) == 0 && written;
}

bool OpenFolder::copy(const std::string& path, const OpenFolder& to, const std::string& name) const {
  const auto status = this->status(path);
  if (!status || !S_ISREG(status->st_mode)) return false;
  const auto bytes = read(path, 4'000'000'000);
  if (!bytes || !to.write(name, *bytes, status->st_mode & 07777)) return false;
  std::string last;
  const auto folder = to.folder_of(name, last, false);
  const std::array<struct timespec, 2> times{status->st_atim, status->st_mtim};
  return folder && ::utimensat(folder->descriptor_, last.c_str(), times.data(), AT_SYMLINK_NOFOLLOW) == 0;
}

bool OpenFolder::link(const std::string& path, const OpenFolder& to, const std::string& name) const {
  std::string from_name, to_name;
  const auto from_folder = folder_of(path, from_name, false), to_folder = to.folder_of(name, to_name, true);
  if (!from_folder || !to_folder) return false;
  if (::linkat(from_folder->descriptor_, from_name.c_str(), to_folder->descriptor_, to_name.c_str(), 0) == 0)
    return true;
  return errno != EEXIST && copy(path, to, name);
}

bool OpenFolder::rename(const std::string& path, const OpenFolder& to, const std::string& name) const {
  std::string from_name, to_name;
  const auto from_folder = folder_of(path, from_name, false), to_folder = to.folder_of(name, to_name, true);
  return from_folder && to_folder &&
         ::renameat(from_folder->descriptor_, from_name.c_str(), to_folder->descriptor_, to_name.c_str()) == 0;
}

bool OpenFolder::exchange(const std::string& one, const std::string& other) const {
  constexpr unsigned kExchange = 2;  // RENAME_EXCHANGE
  return ::syscall(SYS_renameat2, descriptor_, one.c_str(), descriptor_, other.c_str(), kExchange) == 0;
}

bool OpenFolder::remove(const std::string& path) const {
  std::string name;
  const auto folder = folder_of(path, name, false);
  if (!folder) return false;
  return ::unlinkat(folder->descriptor_, name.c_str(), 0) == 0 ||
         (errno == EISDIR && ::unlinkat(folder->descriptor_, name.c_str(), AT_REMOVEDIR) == 0);
}

bool OpenFolder::remove_tree(const std::string& path) const {
  if (const auto inner = below(path)) {
    bool all = true;
    for (const std::string& name : inner->names()) all = inner->remove_tree(name) && all;
    if (!all) return false;
  }
  return remove(path);
}

std::vector<std::string> OpenFolder::names() const {
  std::vector<std::string> found;
  const int again = ::openat(descriptor_, ".", kFolder);
  const std::unique_ptr<DIR, int (*)(DIR*)> stream(again < 0 ? nullptr : ::fdopendir(again), ::closedir);
  if (!stream) return found;
  while (const dirent* entry = ::readdir(stream.get())) {
    const std::string name = entry->d_name;
    if (name != "." && name != "..") found.push_back(name);
  }
  std::sort(found.begin(), found.end());
  return found;
}

std::optional<std::vector<FolderEntry>> OpenFolder::list(std::size_t most) const {
  std::vector<FolderEntry> entries;
  struct Level {
    std::string path;
    std::size_t depth;
  };
  std::vector<Level> open{{"", 0}};
  while (!open.empty()) {
    const Level level = std::move(open.back());
    open.pop_back();
    const auto folder = below(level.path);
    if (!folder) return std::nullopt;
    for (const std::string& name : folder->names()) {
      struct stat status {};
      if (::fstatat(folder->descriptor_, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) != 0) continue;
      using Kind = FolderEntry::Kind;
      const Kind kind = S_ISREG(status.st_mode) ? Kind::file : S_ISDIR(status.st_mode) ? Kind::folder : Kind::other;
      entries.push_back({level.path.empty() ? name : level.path + "/" + name, kind, stamp_of(status)});
      if (kind == Kind::folder) open.push_back({entries.back().path, level.depth + 1});
      if (entries.size() > most || level.depth > kDeepest) {
        errno = E2BIG;
        return std::nullopt;
      }
    }
  }
  std::sort(entries.begin(), entries.end(), [](const FolderEntry& a, const FolderEntry& b) { return a.path < b.path; });
  return entries;
}

bool OpenFolder::sync() const {
  return sync_data(descriptor_);
}

}  // namespace teasel::pipeline
