// Writes a large copper layer: half strokes, half flashes, a few regions, over 200 x 150 mm.
// usage: make-layer MEGABYTES FILE
#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string>

namespace {
std::uint64_t state = 88172645463325252ull;
/// xorshift64: the same file on every machine.
long draw(long below) {
  state ^= state << 13;
  state ^= state >> 7;
  state ^= state << 17;
  return static_cast<long>(state % static_cast<std::uint64_t>(below));
}
constexpr long kWidth = 200'000'000, kHeight = 150'000'000;  // nm
std::string at(long x, long y) {
  return "X" + std::to_string(x) + "Y" + std::to_string(y);
}
}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) {
    std::fprintf(stderr, "usage: make-layer MEGABYTES FILE\n");
    return 2;
  }
  const double bytes = std::atof(argv[1]) * 1e6;
  std::FILE* out = std::fopen(argv[2], "wb");
  if (!out) {
    std::perror(argv[2]);
    return 1;
  }
  std::string text = "%FSLAX46Y46*%\n%MOMM*%\n%TF.FileFunction,Copper,L1,Top*%\n";
  for (int i = 10; i < 40; ++i)
    text += "%ADD" + std::to_string(i) + "C," + std::to_string(0.1 + 0.02 * (i - 10)) + "*%\n";
  for (int i = 40; i < 60; ++i)
    text += "%ADD" + std::to_string(i) + (i % 2 ? "R," : "O,") + std::to_string(0.3 + 0.02 * (i - 40)) + "X" +
            std::to_string(0.5 + 0.03 * (i - 40)) + "*%\n";
  text += "G01*\n";
  double written = 0;
  while (written < bytes) {
    const long aperture = 10 + draw(50);
    text += "D" + std::to_string(aperture) + "*\n";
    if (aperture < 40) {
      for (int k = 0; k < 20; ++k) {
        long x = draw(kWidth), y = draw(kHeight);
        text += at(x, y) + "D02*\n";
        for (long j = 1 + draw(6); j > 0; --j) {
          x = std::clamp(x + draw(6'000'000) - 3'000'000, 0L, kWidth);
          y = std::clamp(y + draw(6'000'000) - 3'000'000, 0L, kHeight);
          text += at(x, y) + "D01*\n";
        }
      }
    } else {
      for (int k = 0; k < 60; ++k) text += at(draw(kWidth), draw(kHeight)) + "D03*\n";
    }
    if (draw(20) == 0) {
      const long x = draw(kWidth - 5'000'000), y = draw(kHeight - 5'000'000);
      text += "G36*\n" + at(x, y) + "D02*\n" + at(x + 4'000'000, y + draw(1'000'000)) + "D01*\n" +
              at(x + 4'500'000, y + 4'000'000) + "D01*\n" + at(x, y + 3'000'000) + "D01*\n" + at(x, y) + "D01*\nG37*\n";
    }
    written += static_cast<double>(std::fwrite(text.data(), 1, text.size(), out));
    text.clear();
  }
  std::fputs("M02*\n", out);
  return std::fclose(out) == 0 ? 0 : 1;
}
