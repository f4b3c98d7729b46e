#include "pack.h"

#include <zip.h>
#include <zlib.h>

#include <stdexcept>

namespace teasel {

std::string packed(std::string_view bytes) {
  z_stream z{};
  constexpr int kLevel = 6, kGzip = 15 + 16, kMemory = 9;
  if (deflateInit2(&z, kLevel, Z_DEFLATED, kGzip, kMemory, Z_DEFAULT_STRATEGY) != Z_OK)
    throw std::runtime_error("the page's data cannot be packed");
  std::string small(deflateBound(&z, static_cast<uLong>(bytes.size())), '\0');
  z.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(bytes.data()));
  z.avail_in = static_cast<uInt>(bytes.size());
  z.next_out = reinterpret_cast<Bytef*>(small.data());
  z.avail_out = static_cast<uInt>(small.size());
  const int end = deflate(&z, Z_FINISH);
  small.resize(z.total_out);
  deflateEnd(&z);
  if (end != Z_STREAM_END) throw std::runtime_error("the page's data cannot be packed");
  static const char* letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((small.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < small.size(); i += 3) {
    const std::size_t count = std::min<std::size_t>(3, small.size() - i);
    unsigned bits = 0;
    for (std::size_t k = 0; k < 3; ++k) bits = bits << 8 | (k < count ? static_cast<unsigned char>(small[i + k]) : 0u);
    for (std::size_t k = 0; k < 4; ++k) out += k <= count ? letters[bits >> (18 - 6 * k) & 63] : '=';
  }
  return out;
}

std::string zipped(const std::vector<std::pair<std::string, std::string>>& files) {
  const auto fail = [] { throw std::runtime_error("an archive cannot be made"); };
  zip_error_t error;
  zip_error_init(&error);
  zip_source_t* target = zip_source_buffer_create(nullptr, 0, 0, &error);
  if (!target) fail();
  zip_source_keep(target);
  zip_t* archive = zip_open_from_source(target, ZIP_TRUNCATE, &error);
  if (!archive) fail();
  constexpr time_t kAnyTime = 315'576'000;  // the first day of 1980, about: the oldest that the format knows
  for (const auto& [name, bytes] : files) {
    zip_source_t* from = zip_source_buffer(archive, bytes.data(), bytes.size(), 0);
    const zip_int64_t index = from ? zip_file_add(archive, name.c_str(), from, ZIP_FL_ENC_UTF_8) : -1;
    if (index < 0 || zip_file_set_mtime(archive, static_cast<zip_uint64_t>(index), kAnyTime, 0) != 0) fail();
  }
  if (zip_close(archive) != 0 || zip_source_open(target) != 0) fail();
  zip_stat_t stat;
  zip_stat_init(&stat);
  zip_source_stat(target, &stat);
  std::string out(stat.size, '\0');
  const zip_int64_t got = zip_source_read(target, out.data(), out.size());
  zip_source_close(target);
  zip_source_free(target);
  if (got != static_cast<zip_int64_t>(out.size())) fail();
  return out;
}

}  // namespace teasel
