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

inline std::string slurp(const fs::path& p) {
  std::ifstream in(p, std::ios::binary);
  std::ostringstream s;
  s << in.rdbuf();
  return s.str();
}
/// A fresh folder below the build tree, removed at the end.
struct Folder {
  fs::path path;
  Folder() {
    std::string t = (fs::temp_directory_path() / "teasel-test-XXXXXX").string();
    path = ::mkdtemp(t.data());
  }
  ~Folder() { fs::remove_all(path); }
  Folder(const Folder&) = delete;
};
struct Result {
  int status = -1;
  std::string out, err;
};
inline Result run(const std::string& command, const fs::path& in) {
  Result r;
  const int raw = std::system(("cd '" + in.string() + "' && " + command + " >'" + (in / ".out").string() + "' 2>'" +
                               (in / ".err").string() + "'")
                                  .c_str());
  r.status = WIFEXITED(raw) ? WEXITSTATUS(raw) : 128;
  r.out = slurp(in / ".out"), r.err = slurp(in / ".err");
  return r;
}
inline std::string teasel() {
  return "'" TEASEL_BINARY "' ";
}
inline std::string source() {
  return TEASEL_SOURCE;
}
/// The real boards: the folder named in TEASEL_BOARDS, or the usual place beside the source; empty if there are none.
#ifdef DEMO_BOARD_BINARY
/// What the demo's generator writes with these options: routing the board takes a while, so once for all tests of a
/// program.
inline const fs::path& generated(const std::string& options) {
  static const Folder f;
  static const fs::path made = f.path / "made";
  if (!fs::exists(made)) run("'" DEMO_BOARD_BINARY "' " + options + " made", f.path);
  return made;
}
#endif
}  // namespace test
