// Writes the demo board's release files, the same as one IPC-2581 file, or its next revision:
// demo-board [--ipc2581 | --revision-g] FOLDER
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string_view>

#include "write.h"

int main(int argc, char** argv) {
  const std::string_view option = argc == 3 ? argv[1] : "";
  const bool single = option == "--ipc2581", next = option == "--revision-g";
  if (argc != 2 && !single && !next) {
    std::fprintf(stderr, "usage: demo-board [--ipc2581 | --revision-g] FOLDER\n");
    return 1;
  }
  const std::filesystem::path folder = argv[argc - 1];
  const demo::Design design = next ? demo::next_revision(demo::make_design()) : demo::make_design();
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
