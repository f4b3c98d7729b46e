// Writes one file.
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "open_folder.h"
#include "teasel/pipeline/files.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
/// What a path leads to through links at its end, whether or not it exists.
std::optional<fs::path> behind_links(fs::path path) {
  constexpr int kMostLinks = 40;
  std::error_code error;
  for (int i = 0; fs::is_symlink(path, error); ++i) {
    const fs::path next = fs::read_symlink(path, error);
    if (error) return std::nullopt;
    if (i == kMostLinks) {
      errno = ELOOP;
      return std::nullopt;
    }
    path = next.is_absolute() ? next : path.parent_path() / next;
  }
  return path;
}

/// The number of the open stream that a path names: 1 for /dev/stdout; -1: none.
int stream_number(const fs::path& path) {
  const std::string name = path.lexically_normal().string();
  if (name == "/dev/stdout") return STDOUT_FILENO;
  if (name == "/dev/stderr") return STDERR_FILENO;
  for (const std::string folder : {"/dev/fd/", "/proc/self/fd/"})
    if (name.rfind(folder, 0) == 0 && name.size() > folder.size() && name.size() < folder.size() + 5 &&
        name.find_first_not_of("0123456789", folder.size()) == name.npos)
      return std::stoi(name.substr(folder.size()));
  return -1;
}

bool write_stream(const fs::path& path, const std::string& bytes) {
  const int number = stream_number(path);
  const int stream = number >= 0 ? ::dup(number) : ::open(path.c_str(), O_WRONLY | O_NOCTTY | O_CLOEXEC);
  if (stream < 0) return false;
  const bool written = write_all(stream, bytes);
  const int why = errno;
  const bool closed = ::close(stream) == 0;
  if (!written) errno = why;
  return written && closed;
}

/// Beside the file first. What killed runs left of it is cleared.
bool replace(const fs::path& path, const std::string& bytes) {
  const auto folder = OpenFolder::at(path.parent_path());
  if (!folder) return false;
  const std::string name = path.filename().string(), stem = ".teasel-" + sha256(name).substr(0, 8) + "-file-";
  for (const std::string& left : folder->names())
    if (left.rfind(stem, 0) == 0)
      if (const auto stage = folder->below(left); stage && stage->lock()) (void)folder->remove_tree(left);
  std::string stage_name;
  const auto stage = folder->make_own(stem, stage_name);
  if (!stage) return false;
  const auto old = folder->status(name);
  bool done = stage->write("new", bytes);
  if (done && old) {
    const auto status = stage->status("new");
    done = status && ::fchmodat(stage->descriptor(), "new", old->st_mode & 07777, 0) == 0;
  }
  done = done && stage->rename("new", *folder, name);
  const int why = errno;
  if (done) (void)folder->sync();
  (void)folder->remove_tree(stage_name);
  errno = why;
  return done;
}
}  // namespace

bool is_stream(const fs::path& path) {
  std::error_code error;
  const auto kind = fs::status(path, error).type();
  return stream_number(path) >= 0 || kind == fs::file_type::character || kind == fs::file_type::block ||
         kind == fs::file_type::fifo || kind == fs::file_type::socket;
}

void write_file(const fs::path& path, const std::string& bytes, Diagnostics& d) {
  const auto real = behind_links(path);
  std::error_code error;
  bool done = false;
  if (is_stream(path))
    done = write_stream(path, bytes);
  else if (real && fs::is_directory(*real, error))
    errno = EISDIR;
  else if (real)
    done = replace(*real, bytes);
  if (!done)
    d.error({.code = "write-failed",
             .at = {path.string(), 0, 0, {}},
             .message = "the file cannot be written",
             .found = std::strerror(errno),
             .remedy = "choose another path"});
}

}  // namespace teasel::pipeline
