// Bytes for the inside of a page: deflated (RFC 1951 in a gzip frame, RFC 1952), then in letters (base64, RFC 4648).
#pragma once
#include <string>
#include <string_view>

namespace teasel {

std::string packed(std::string_view bytes);

}  // namespace teasel
