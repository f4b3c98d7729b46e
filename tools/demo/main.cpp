// Writes the demo board's release files, or the board as one IPC-2581 file: demo-board [--ipc2581] FOLDER
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string_view>

#include "write.h"

int main(int argc, char** argv) {
  const bool single = argc == 3 && std::string_view(argv[1]) == "--ipc2581";
  if (argc != 2 && !single) {
    std::fprintf(stderr, "usage: demo-board [--ipc2581] FOLDER\n");
    return 1;
  }
  const std::filesystem::path folder = argv[argc - 1];
  const demo::Design design = demo::make_design();
  const demo::Routes routes = demo::route(design, {"GND", "3V3"});
  for (const auto& net : routes.failed) std::fprintf(stderr, "net %s is left open\n", net.c_str());
  if (!routes.failed.empty()) return 1;
  std::map<std::string, std::string> files;
  if (single) files["buoy-node.xml"] = demo::ipc2581(design, routes);
  else files = demo::release(design, routes);
  std::filesystem::create_directories(folder);
  for (const auto& [name, bytes] : files) {
    std::ofstream out(folder / name, std::ios::binary);
    out << bytes;
    if (!out.flush()) {
      std::fprintf(stderr, "cannot write %s\n", name.c_str());
      return 1;
    }
  }
  std::printf("%zu parts, %zu pads, %zu tracks, %zu vias\n", design.parts.size(), design.pads.size(), routes.tracks.size(), routes.vias.size());
}
