// Where real boards lie, if anywhere.
#pragma once
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

namespace test {
inline std::filesystem::path boards() {
  const char* given = std::getenv("TEASEL_BOARDS");
  const std::filesystem::path root = given ? given : TEASEL_SOURCE "/../shared/boards";
  return std::filesystem::is_directory(root) ? root : std::filesystem::path();
}
inline std::string bytes_of(const std::filesystem::path& p) {
  std::ifstream in(p, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}
}  // namespace test
