// A zip in memory, opened for reading. What stands in its directory is not believed: reading stops at a limit.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace teasel::formats {

class Zip {
 public:
  struct Entry {
    std::string name;  ///< as written, in UTF-8
    std::uint64_t index{}, size{}, packed{};
    bool encrypted = false;
    bool plain = true;  ///< neither a link nor a device
  };
  /// Nothing, with the reason, if the bytes are no zip or a damaged one. `bytes` must outlive the object.
  static std::optional<Zip> open(std::string_view bytes, std::string& why);

  /// By name, whatever their order in the file.
  [[nodiscard]] const std::vector<Entry>& entries() const { return entries_; }
  [[nodiscard]] const Entry* find(std::string_view name) const;
  /// The unpacked bytes. Nothing, with the reason, if they are damaged or more than `most`.
  [[nodiscard]] std::optional<std::string> read(const Entry& entry, std::size_t most, std::string& why) const;

 private:
  struct Close {
    void operator()(void* archive) const;
  };
  std::unique_ptr<void, Close> archive_;
  std::vector<Entry> entries_;
};

/// Whether it unpacks to so many times its size that it was made to fill memory.
bool is_bomb(const Zip::Entry& entry);

}  // namespace teasel::formats
