#include "pack.h"

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

}  // namespace teasel
