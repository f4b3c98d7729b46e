// Writes the demo board's release files into a folder: demo-board FOLDER
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "write.h"

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "usage: demo-board FOLDER\n");
    return 1;
  }
  const demo::Design design = demo::make_design();
  const demo::Routes routes = demo::route(design, {"GND", "3V3"});
  for (const auto& net : routes.failed) std::fprintf(stderr, "net %s is left open\n", net.c_str());
  if (!routes.failed.empty()) return 1;
  std::filesystem::create_directories(argv[1]);
  for (const auto& [name, bytes] : demo::release(design, routes)) {
    std::ofstream out(std::filesystem::path(argv[1]) / name, std::ios::binary);
    out << bytes;
    if (!out.flush()) {
      std::fprintf(stderr, "cannot write %s\n", name.c_str());
      return 1;
    }
  }
  std::printf("%zu parts, %zu pads, %zu tracks, %zu vias\n", design.parts.size(), design.pads.size(), routes.tracks.size(), routes.vias.size());
}
