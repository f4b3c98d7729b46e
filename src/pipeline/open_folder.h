// A folder held open. Names are looked up from it, so that neither the length of its path nor a rename above it
// matters, and no link leads out of it.
#pragma once
#include <sys/stat.h>

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace teasel::pipeline {

/// What tells that a file is still the one that was looked at.
struct FileStamp {
  std::uint64_t device{}, number{}, size{};
  std::int64_t changed{};  ///< nanoseconds
  bool operator==(const FileStamp&) const = default;
};

struct FolderEntry {
  enum class Kind : std::uint8_t { file, folder, other };  ///< links, pipes and sockets are `other`
  std::string path;                                        ///< below the folder, with slashes
  Kind kind{};
  FileStamp stamp;
};

/// Calls that fail say so and leave the reason in errno.
class OpenFolder {
 public:
  /// Of a path that may be relative; links are followed.
  static std::optional<OpenFolder> at(const std::filesystem::path& path);
  OpenFolder(OpenFolder&& other) noexcept;
  OpenFolder& operator=(OpenFolder&& other) noexcept;
  OpenFolder(const OpenFolder&) = delete;
  OpenFolder& operator=(const OpenFolder&) = delete;
  ~OpenFolder();

  [[nodiscard]] int descriptor() const { return descriptor_; }
  [[nodiscard]] std::optional<struct stat> status(const std::string& path) const;
  [[nodiscard]] bool holds(const std::string& path) const { return status(path).has_value(); }
  /// A folder below this one, no link followed. `make`: those that are missing on the way are made.
  [[nodiscard]] std::optional<OpenFolder> below(const std::string& path, bool make = false) const;
  /// A new folder with a name of its own behind `stem`, locked as long as it is held open; `name` becomes its name.
  [[nodiscard]] std::optional<OpenFolder> make_own(const std::string& stem, std::string& name) const;
  /// True where nobody else holds the lock of this folder.
  [[nodiscard]] bool lock() const;

  /// The bytes of a plain file of up to `most` bytes, no link followed.
  [[nodiscard]] std::optional<std::string> read(const std::string& path, std::uint64_t most) const;
  /// A new file, whose data are on the disk when this returns. Folders on the way are made.
  [[nodiscard]] bool write(const std::string& path, const std::string& bytes, mode_t mode = 0666) const;
  /// The same file under a second name, of another folder; a copy where the file system has no second names.
  [[nodiscard]] bool link(const std::string& path, const OpenFolder& to, const std::string& name) const;
  [[nodiscard]] bool rename(const std::string& path, const OpenFolder& to, const std::string& name) const;
  [[nodiscard]] bool exchange(const std::string& one, const std::string& other) const;
  [[nodiscard]] bool remove(const std::string& path) const;
  /// With all that it holds.
  [[nodiscard]] bool remove_tree(const std::string& path) const;
  /// Everything below, folders before what they hold, by name. Nothing beyond `most` entries: errno is then E2BIG.
  [[nodiscard]] std::optional<std::vector<FolderEntry>> list(std::size_t most = 100'000) const;
  /// The names in this folder alone.
  [[nodiscard]] std::vector<std::string> names() const;
  /// The folder's own list of names is on the disk when this returns.
  [[nodiscard]] bool sync() const;

 private:
  explicit OpenFolder(int descriptor) : descriptor_(descriptor) {}
  /// Name and folder of a path, opened; folders on the way are made where `make` says so.
  [[nodiscard]] std::optional<OpenFolder> folder_of(const std::string& path, std::string& name, bool make) const;
  bool copy(const std::string& path, const OpenFolder& to, const std::string& name) const;

  int descriptor_ = -1;
};

/// Writes all bytes; false with errno set.
bool write_all(int descriptor, const std::string& bytes);
/// Data of an open file to the disk. A file system that cannot is no error.
bool sync_data(int descriptor);
/// Eight random letters and digits.
std::string random_letters();

}  // namespace teasel::pipeline
