// Bytes that are packed.
#pragma once
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace teasel {

/// For the inside of a page: deflated (RFC 1951 in a gzip frame, RFC 1952), then in letters (base64, RFC 4648).
std::string packed(std::string_view bytes);
/// A ZIP archive of these files by name; the same bytes whenever it is made.
std::string zipped(const std::vector<std::pair<std::string, std::string>>& files);

}  // namespace teasel
