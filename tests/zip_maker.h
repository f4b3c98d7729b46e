// Makes zips for tests, in memory.
#pragma once
#include <zip.h>

#include <stdexcept>
#include <string>
#include <vector>

struct ZipEntry {
  std::string name, bytes{};
  unsigned mode = 0;       // of Unix; 0: not stated
  std::string password{};  // empty: not encrypted
};

inline void must(bool good) {
  if (!good) throw std::logic_error("a zip for a test cannot be made");
}

inline std::string make_zip(const std::vector<ZipEntry>& entries) {
  zip_error_t error;
  zip_error_init(&error);
  zip_source_t* buffer = zip_source_buffer_create(nullptr, 0, 0, &error);
  zip_t* archive = zip_open_from_source(buffer, ZIP_TRUNCATE, &error);
  must(archive != nullptr);
  zip_source_keep(buffer);
  for (const ZipEntry& entry : entries) {
    zip_source_t* source = zip_source_buffer(archive, entry.bytes.data(), entry.bytes.size(), 0);
    const zip_int64_t index = zip_file_add(archive, entry.name.c_str(), source, ZIP_FL_ENC_UTF_8);
    must(index >= 0);
    const auto at = static_cast<zip_uint64_t>(index);
    if (entry.mode) zip_file_set_external_attributes(archive, at, 0, ZIP_OPSYS_UNIX, entry.mode << 16);
    if (!entry.password.empty())
      must(zip_file_set_encryption(archive, at, ZIP_EM_AES_256, entry.password.c_str()) == 0);
  }
  must(zip_close(archive) == 0);
  must(zip_source_open(buffer) == 0);
  zip_stat_t stat;
  must(zip_source_stat(buffer, &stat) == 0);
  std::string bytes(stat.size, '\0');
  must(zip_source_read(buffer, bytes.data(), bytes.size()) == static_cast<zip_int64_t>(bytes.size()));
  zip_source_close(buffer);
  zip_source_free(buffer);
  return bytes;
}

// Writes another name of the same length over each of its places.
inline std::string renamed(std::string zip, const std::string& from, const std::string& to) {
  must(from.size() == to.size());
  int places = 0;
  for (std::size_t at = zip.find(from); at != zip.npos; at = zip.find(from, at + 1), ++places)
    zip.replace(at, from.size(), to);
  must(places >= 2);  // before the bytes, and in the directory
  return zip;
}
