// Draws layer files with teasel (through an SVG renderer) and with gerbv, both to one-bit pixels of one grid, and
// counts where they differ. Usage: compare-layers TEASEL [--dpi 625|1250|2500] FILE...   Prints one table row a file:
// pixels, dark ones, differing ones, differing ones more than one and more than two pixels off every edge. Exit status
// 1 if there are any of the last kind.
#include <png.h>
#include <sys/wait.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

namespace fs = std::filesystem;

namespace {
struct Bitmap {
  long w = 0, h = 0;
  std::vector<unsigned char> dark;
  bool at(long x, long y) const {
    return x >= 0 && y >= 0 && x < w && y < h && dark[static_cast<std::size_t>(y * w + x)];
  }
};

bool read_png(const fs::path& path, Bitmap& bitmap) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  if (!png_image_begin_read_from_file(&image, path.c_str())) return false;
  image.format = PNG_FORMAT_GRAY;
  std::vector<unsigned char> grey(PNG_IMAGE_SIZE(image));
  png_color white{255, 255, 255};
  if (!png_image_finish_read(&image, &white, grey.data(), 0, nullptr)) return false;
  bitmap.w = image.width;
  bitmap.h = image.height;
  bitmap.dark.resize(grey.size());
  for (std::size_t i = 0; i < grey.size(); ++i) bitmap.dark[i] = grey[i] < 128;
  return true;
}

std::string slurp(const fs::path& p) {
  std::ifstream in(p, std::ios::binary);
  std::ostringstream s;
  s << in.rdbuf();
  return s.str();
}
int run(const std::string& command) {
  const int raw = std::system(command.c_str());
  return WIFEXITED(raw) ? WEXITSTATUS(raw) : 128;
}
std::string quoted(const std::string& s) {
  std::string q = "'";
  for (char c : s) q += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return q + "'";
}

struct Beyond {
  long one = 0, two = 0;  ///< pixels more than one and more than two pixels off any edge of `a`, where `b` differs
  long x = 0, y = 0;      ///< the first of the worst
};
Beyond beyond_edges(const Bitmap& a, const Bitmap& b) {
  Beyond beyond;
  auto flat = [&](long x, long y, long r) {
    for (long dy = -r; dy <= r; ++dy)
      for (long dx = -r; dx <= r; ++dx)
        if (a.at(x + dx, y + dy) != a.at(x, y)) return false;
    return true;
  };
  for (long y = 2; y + 2 < a.h; ++y)
    for (long x = 2; x + 2 < a.w; ++x) {
      if (a.at(x, y) == b.at(x, y) || !flat(x, y, 1)) continue;
      const bool far = flat(x, y, 2);
      if (beyond.one++ == 0 || (far && beyond.two == 0)) {
        beyond.x = x;
        beyond.y = y;
      }
      beyond.two += far;
    }
  return beyond;
}

struct Options {
  std::string teasel, unit;
  double dpi = 625;  // a pixel of exactly 0.0016 inch: the other program takes few digits of an origin
  bool keep = false;
};

int compare(const Options& options, const std::string& file, const fs::path& folder) {
  const std::string name = fs::path(file).parent_path().filename().string() + "/" + fs::path(file).filename().string();
  const std::string unit = options.unit.empty() ? "" : " --unit " + options.unit;
  if (run(options.teasel + " layers " + quoted(file) + unit + " -o " + quoted(folder.string()) + " >" +
          quoted((folder / "out").string()) + " 2>" + quoted((folder / "err").string())) != 0) {
    std::string why = slurp(folder / "err");
    const std::size_t at = why.find("error ");
    std::printf("| %s | not read: %s |\n", name.c_str(),
                at == why.npos ? "?" : why.substr(at + 6, why.find('\n', at) - at - 6).c_str());
    return 0;
  }
  const fs::path drawing = folder / (fs::path(file).filename().string() + ".svg");
  std::string svg = slurp(drawing);
  double x = 0, y = 0, w = 0, h = 0;
  const std::size_t box = svg.find("viewBox=\"");
  if (std::sscanf(svg.c_str() + box, "viewBox=\"%lf %lf %lf %lf\"", &x, &y, &w, &h) != 4) {
    std::printf("| %s | no viewBox |\n", name.c_str());
    return 1;
  }
  if (w <= 0 || h <= 0) {
    std::printf("| %s | nothing drawn |\n", name.c_str());
    return 0;
  }
  // Small files get more pixels, so that their curves have some.
  double dpi = options.dpi;
  while (std::max(w, h) / 25.4 * dpi < 1000 && dpi < 100'000) dpi *= 2;
  const double pixel = 25.4 / dpi;
  const long px = static_cast<long>(std::floor(x / pixel)) - 2, py = static_cast<long>(std::floor(y / pixel)) - 2;
  const long pw = static_cast<long>(std::ceil((x + w) / pixel)) + 2 - px,
             ph = static_cast<long>(std::ceil((y + h) / pixel)) + 2 - py;
  if (pw > 32000 || ph > 32000) {
    std::printf("| %s | too large to render: %.0f x %.0f mm |\n", name.c_str(), w, h);
    return 0;
  }
  char head[200];
  std::snprintf(head, sizeof head, "viewBox=\"%.9f %.9f %.9f %.9f\" width=\"%ldpx\" height=\"%ldpx\"",
                static_cast<double>(px) * pixel, static_cast<double>(py) * pixel, static_cast<double>(pw) * pixel,
                static_cast<double>(ph) * pixel, pw, ph);
  svg.replace(box, svg.find(">", box) - box, head);
  std::ofstream(folder / "grid.svg", std::ios::binary) << svg;
  std::snprintf(head, sizeof head, " -D %.0f -O %.10gx%.10g -W %.8gx%.8g ", dpi, static_cast<double>(px) / dpi,
                static_cast<double>(-(py + ph)) / dpi, (static_cast<double>(pw) + 0.2) / dpi,
                (static_cast<double>(ph) + 0.2) / dpi);
  const std::string quiet = " >/dev/null 2>&1";
  const int a = run("rsvg-convert --unlimited -b white " + quoted((folder / "grid.svg").string()) + " -o " +
                    quoted((folder / "ours.png").string()) + quiet);
  const int status = run("timeout 300 gerbv -a -x png" + std::string(head) + "-b '#ffffff' -f '#000000ff' -B 0 -o " +
                         quoted((folder / "theirs.png").string()) + " " + quoted(file) + quiet);
  Bitmap ours, theirs;
  if (a != 0 || !read_png(folder / "ours.png", ours)) {
    std::printf("| %s | our drawing cannot be rendered |\n", name.c_str());
    return 1;
  }
  if (status != 0 || !read_png(folder / "theirs.png", theirs)) {
    std::printf("| %s | gerbv cannot render it |\n", name.c_str());
    return 0;
  }
  if (ours.w != theirs.w || ours.h != theirs.h) {
    std::printf("| %s | sizes differ: %ldx%ld, %ldx%ld |\n", name.c_str(), ours.w, ours.h, theirs.w, theirs.h);
    return 1;
  }
  long dark = 0, differ = 0;
  for (std::size_t i = 0; i < ours.dark.size(); ++i) {
    dark += ours.dark[i];
    differ += ours.dark[i] != theirs.dark[i];
  }
  const Beyond a1 = beyond_edges(ours, theirs), b1 = beyond_edges(theirs, ours);
  const Beyond& worst = a1.two > 0 || (b1.two == 0 && a1.one > 0) ? a1 : b1;
  char where[80] = "";
  if (a1.one + b1.one)
    std::snprintf(where, sizeof where, "%.3f, %.3f", (static_cast<double>(px + worst.x) + 0.5) * pixel,
                  -(static_cast<double>(py + worst.y) + 0.5) * pixel);
  std::printf("| %s | %.0f | %ld x %ld | %ld | %ld | %ld | %ld | %s |\n", name.c_str(), dpi, ours.w, ours.h, dark,
              differ, a1.one + b1.one, a1.two + b1.two, where);
  std::fflush(stdout);
  return a1.two + b1.two ? 1 : 0;
}
}  // namespace

int main(int argc, char** argv) {
  Options options;
  std::vector<std::string> files;
  for (int i = 1; i < argc; ++i) {
    const std::string argument = argv[i];
    if (options.teasel.empty())
      options.teasel = quoted(argument);
    else if (argument == "--dpi" && i + 1 < argc)
      options.dpi = std::atof(argv[++i]);
    else if (argument == "--unit" && i + 1 < argc)
      options.unit = argv[++i];
    else if (argument == "--keep")
      options.keep = true;
    else
      files.push_back(argument);
  }
  if (files.empty()) {
    std::fprintf(stderr, "usage: compare-layers TEASEL [--dpi 625|1250|2500] [--unit mm|inch] [--keep] FILE...\n");
    return 2;
  }
  std::string t = (fs::temp_directory_path() / "compare-layers-XXXXXX").string();
  const fs::path folder = ::mkdtemp(t.data());
  int bad = 0;
  for (const auto& f : files) bad |= compare(options, f, folder);
  if (options.keep)
    std::printf("kept in %s\n", folder.c_str());
  else
    fs::remove_all(folder);
  return bad;
}
