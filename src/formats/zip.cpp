#include "zip.h"

#include <zip.h>

#include <algorithm>

namespace teasel::formats {

namespace {
constexpr zip_int64_t kMostEntries = 100'000;
constexpr std::uint64_t kHarmless = 20'000'000, kMostRatio = 200;  // text of layers packs twenty times at most

std::string reason(zip_error_t& error) {
  std::string why = zip_error_strerror(&error);
  zip_error_fini(&error);
  return why;
}

/// The upper half of the attributes holds the mode of a file that Unix packed.
bool is_plain(zip_t* archive, std::uint64_t index) {
  zip_uint8_t system{};
  zip_uint32_t attributes{};
  if (zip_file_get_external_attributes(archive, index, 0, &system, &attributes) != 0) return true;
  const zip_uint32_t kind = (attributes >> 16) & 0170000;
  return kind == 0 || kind == 0100000 || kind == 0040000;
}
}  // namespace

void Zip::Close::operator()(void* archive) const {
  zip_discard(static_cast<zip_t*>(archive));
}

std::optional<Zip> Zip::open(std::string_view bytes, std::string& why) {
  zip_error_t error;
  zip_error_init(&error);
  zip_source_t* source = zip_source_buffer_create(bytes.data(), bytes.size(), 0, &error);
  zip_t* archive = source ? zip_open_from_source(source, ZIP_RDONLY, &error) : nullptr;
  if (!archive) {
    if (source) zip_source_free(source);
    why = reason(error);
    return std::nullopt;
  }
  zip_error_fini(&error);
  Zip zip;
  zip.archive_.reset(archive);
  const zip_int64_t count = zip_get_num_entries(archive, 0);
  if (count > kMostEntries) {
    why = std::to_string(count) + " entries";
    return std::nullopt;
  }
  for (zip_int64_t i = 0; i < count; ++i) {
    zip_stat_t stat;
    zip_stat_init(&stat);
    const auto index = static_cast<zip_uint64_t>(i);
    if (zip_stat_index(archive, index, 0, &stat) != 0 || !(stat.valid & ZIP_STAT_NAME)) continue;
    Entry entry;
    entry.name = stat.name;
    entry.index = index;
    entry.size = stat.valid & ZIP_STAT_SIZE ? stat.size : 0;
    entry.packed = stat.valid & ZIP_STAT_COMP_SIZE ? stat.comp_size : 0;
    entry.encrypted = (stat.valid & ZIP_STAT_ENCRYPTION_METHOD) && stat.encryption_method != ZIP_EM_NONE;
    entry.plain = is_plain(archive, index);
    zip.entries_.push_back(std::move(entry));
  }
  std::stable_sort(zip.entries_.begin(), zip.entries_.end(),
                   [](const Entry& a, const Entry& b) { return a.name < b.name; });
  return zip;
}

const Zip::Entry* Zip::find(std::string_view name) const {
  const auto found = std::lower_bound(entries_.begin(), entries_.end(), name,
                                      [](const Entry& entry, std::string_view wanted) { return entry.name < wanted; });
  return found == entries_.end() || found->name != name ? nullptr : &*found;
}

std::optional<std::string> Zip::read(const Entry& entry, std::size_t most, std::string& why) const {
  if (entry.size > most) {
    why = "more than " + std::to_string(most / 1'000'000) + " MB";
    return std::nullopt;
  }
  zip_t* archive = static_cast<zip_t*>(archive_.get());
  const std::unique_ptr<zip_file_t, int (*)(zip_file_t*)> file(zip_fopen_index(archive, entry.index, 0), &zip_fclose);
  if (!file) {
    why = zip_strerror(archive);
    return std::nullopt;
  }
  std::string bytes, chunk(1 << 16, '\0');
  for (zip_int64_t got; (got = zip_fread(file.get(), chunk.data(), chunk.size())) != 0;) {
    if (got < 0) {
      why = zip_file_strerror(file.get());
      return std::nullopt;
    }
    bytes.append(chunk, 0, static_cast<std::size_t>(got));
    if (bytes.size() > entry.size) break;
  }
  if (bytes.size() != entry.size) {
    why = "its size is not the one that the archive states";
    return std::nullopt;
  }
  return bytes;
}

bool is_bomb(const Zip::Entry& entry) {
  return entry.size > kHarmless && entry.size / kMostRatio > entry.packed;
}

}  // namespace teasel::formats
