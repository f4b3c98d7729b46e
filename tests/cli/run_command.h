// Runs a shell command and keeps what it says.
#pragma once
#include <sys/wait.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "../real_boards.h"

namespace test {
namespace fs = std::filesystem;

inline std::string slurp(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}
/// A fresh folder below the system's folder for temporary files, removed at the end.
struct Folder {
  fs::path path;
  Folder() {
    std::string name = (fs::temp_directory_path() / "teasel-test-XXXXXX").string();
    path = ::mkdtemp(name.data());
  }
  ~Folder() { fs::remove_all(path); }
  Folder(const Folder&) = delete;
};
struct Result {
  int status = -1;
  std::string out, err;
};
inline Result run(const std::string& command, const fs::path& in) {
  Result result;
  const int raw = std::system(("cd '" + in.string() + "' && " + command + " >'" + (in / ".out").string() + "' 2>'" +
                               (in / ".err").string() + "'")
                                  .c_str());
  result.status = WIFEXITED(raw) ? WEXITSTATUS(raw) : 128;
  result.out = slurp(in / ".out");
  result.err = slurp(in / ".err");
  return result;
}
inline std::string teasel() {
  return "'" TEASEL_BINARY "' ";
}
inline std::string source() {
  return TEASEL_SOURCE;
}
#ifdef DEMO_BOARD_BINARY
/// What the demo's generator writes with these options. It runs once for all tests of a program, since routing the
/// board takes a while.
inline const fs::path& generated(const std::string& options) {
  static const Folder folder;
  static const fs::path made = folder.path / "made";
  if (!fs::exists(made)) run("'" DEMO_BOARD_BINARY "' " + options + " made", folder.path);
  return made;
}
#endif
}  // namespace test
