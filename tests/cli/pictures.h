// Pictures of layer files by teasel and by gerbv, counted pixel by pixel.
#pragma once
#include <catch2/catch.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "run_command.h"

namespace test {

/// A row of compare-layers.
struct Picture {
  std::string file;
  long dpi = 0, dark = 0, differ = 0;
};

/// Compares the pictures of the files (as a shell takes them) and checks that no edge stands elsewhere. `copies`: how
/// often a sharp corner may stand in a file. Returns the rows; none where a program that is needed is not installed.
inline std::vector<Picture> check_pictures(const std::string& files, long copies = 1) {
  std::vector<Picture> pictures;
  if (std::string(COMPARE_LAYERS_BINARY).empty() ||
      run("command -v gerbv && command -v rsvg-convert", fs::temp_directory_path()).status != 0) {
    WARN("skipped: gerbv, rsvg-convert or the PNG library is not installed");
    return pictures;
  }
  const Folder folder;
  const Result result = run("'" COMPARE_LAYERS_BINARY "' " + teasel() + files, folder.path);
  std::istringstream rows(result.out);
  for (std::string row; std::getline(rows, row);) {
    INFO(row);
    Picture picture;
    long width = 0, height = 0, one = 0, two = 0;
    const std::size_t bar = row.find('|', 2);
    REQUIRE(bar != row.npos);
    picture.file = row.substr(2, bar - 3);
    REQUIRE(std::sscanf(row.c_str() + bar, "| %ld | %ld x %ld | %ld | %ld | %ld | %ld |", &picture.dpi, &width, &height,
                        &picture.dark, &picture.differ, &one, &two) == 7);
    // The other program moves each edge by up to half a pixel. Where two edges meet at a sharp angle, the corner moves
    // farther.
    CHECK(one <= 5 * copies + picture.dark / 20'000);
    CHECK(two <= 5 * copies);
    pictures.push_back(picture);
  }
  CHECK(!pictures.empty());
  return pictures;
}

}  // namespace test
