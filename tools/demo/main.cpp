// Writes the demo board's release files, with the same as one IPC-2581 file beside them, or its next revision:
// demo-board [--revision-g] [--with-ipc2581] FOLDER
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string_view>

#include "write.h"

int main(int argc, char** argv) {
  bool single = false, next = false, known = argc >= 2;
  for (int i = 1; i + 1 < argc; ++i) {
    const std::string_view option = argv[i];
    if (option == "--with-ipc2581")
      single = true;
    else if (option == "--revision-g")
      next = true;
    else
      known = false;
  }
  if (!known) {
    std::fprintf(stderr, "usage: demo-board [--revision-g] [--with-ipc2581] FOLDER\n");
    return 1;
  }
  const std::filesystem::path folder = argv[argc - 1];
  const demo::Design design = next ? demo::next_revision(demo::make_design()) : demo::make_design();
  const demo::Routes routes = demo::route(design, {"GND", "3V3"});
  for (const auto& net : routes.failed) std::fprintf(stderr, "net %s is left open\n", net.c_str());
  if (!routes.failed.empty()) return 1;
  std::map<std::string, std::string> files = demo::release(design, routes);
  if (single) files["buoy-node.xml"] = demo::ipc2581(design, routes);
  std::filesystem::create_directories(folder);
  for (const auto& [name, bytes] : files) {
    std::ofstream out(folder / name, std::ios::binary);
    out << bytes;
    if (!out.flush()) {
      std::fprintf(stderr, "cannot write %s\n", name.c_str());
      return 1;
    }
  }
  std::printf("%zu parts, %zu pads, %zu tracks, %zu vias\n", design.parts.size(), design.pads.size(),
              routes.tracks.size(), routes.vias.size());
}
