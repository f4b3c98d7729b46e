// Random layer files, drawn and measured by teasel and by another program.
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <random>

#include "pictures.h"

using namespace test;

namespace {
/// Writes small Gerber files with every kind of aperture and object (Gerber Layer Format Specification 2023.08).
class RandomLayer {
 public:
  explicit RandomLayer(unsigned seed) : random_(seed) {}
  std::string text() {
    text_ = "%FSLAX46Y46*%\n%MOMM*%\n";
    macros();
    apertures();
    text_ += "G75*\n%LPD*%\n";
    const unsigned groups = 3 + below(4);
    for (unsigned group = 0; group < groups; ++group) {
      // The first objects are dark, so that clear ones have something to clear.
      clear_ = group > 0 && below(3) == 0;
      text_ += clear_ ? "%LPC*%\n" : "%LPD*%\n";
      const bool repeated = below(4) == 0;
      // Copies stand apart: the other program paints object by object, not block by block.
      if (repeated) text_ += "%SRX2Y3I24.0J22.5*%\n";
      for (auto n = 2 + below(4); n > 0; --n) object();
      if (repeated) text_ += "%SR*%\n";
    }
    return text_ + "M02*\n";
  }

 private:
  unsigned below(unsigned n) { return static_cast<unsigned>(random_() % n); }
  /// A number of millimetres in steps of 0.01.
  double mm(double least, double most) {
    return std::round((least + (most - least) * below(10'001) / 10'000) * 100) / 100;
  }
  static std::string number(double value) {
    char text[40];
    std::snprintf(text, sizeof text, "%.4f", value);
    return text;
  }
  static std::string xy(double x, double y) {
    return "X" + std::to_string(std::llround(x * 1e6)) + "Y" + std::to_string(std::llround(y * 1e6));
  }
  std::string hole(double inside) { return below(3) == 0 ? "X" + number(inside * mm(0.2, 0.6)) : ""; }

  void macros() {
    const auto turn = [&] { return std::to_string(below(12) * 15); };
    for (unsigned i = 0; i < 4; ++i) {
      text_ += "%AMM" + std::to_string(i) + "*0 random*\n";
      // The other program turns a circle, and a thermal, about its own middle. The format turns it about the origin.
      text_ += "1,1," + number(mm(0.8, 2)) + "," + number(mm(-0.5, 0.5)) + "," + number(mm(-0.5, 0.5)) + "*\n";
      for (auto n = 1 + below(3); n > 0; --n) switch (below(5)) {
          case 0:
            text_ += "20,1," + number(mm(0.2, 0.8)) + "," + number(mm(-2, 0)) + "," + number(mm(-2, 2)) + "," +
                     number(mm(0.5, 2)) + "," + number(mm(-2, 2)) + "," + turn() + "*\n";
            break;
          case 1:
            text_ += "21," + std::to_string(below(2)) + "," + number(mm(0.5, 3)) + "," + number(mm(0.3, 1)) + "," +
                     number(mm(-1, 1)) + "," + number(mm(-1, 1)) + "," + turn() + "*\n";
            break;
          case 2: {
            const double w = mm(0.5, 2), h = mm(0.5, 2);
            text_ += "4,1,4,0,0," + number(w) + ",0," + number(w) + "," + number(h) + ",$1," + number(h + 0.3) +
                     ",0,0," + turn() + "*\n";
            break;
          }
          case 3: text_ += "5,1," + std::to_string(3 + below(8)) + ",0,0,$1x2," + turn() + "*\n"; break;
          default:
            text_ +=
                "7," + (below(2) ? "0,0,$1x3,$1x2,0.2," + turn() : number(mm(0, 0.5)) + ",0.5,$1x3,$1x2,0.2,0") + "*\n";
        }
      text_ += "%\n";
    }
  }
  void apertures() {
    const double c = mm(0.3, 2), w = mm(0.5, 3), h = mm(0.5, 3), p = mm(0.8, 3);
    const double less = std::min(w, h);
    text_ += "%ADD10C," + number(mm(0.1, 0.8)) + "*%\n";  // for strokes
    text_ += "%ADD11C," + number(c) + hole(c) + "*%\n";
    text_ += "%ADD12R," + number(w) + "X" + number(h) + hole(less) + "*%\n";
    text_ += "%ADD13O," + number(w) + "X" + number(h + 0.2) + hole(less) + "*%\n";
    text_ += "%ADD14P," + number(p) + "X" + std::to_string(3 + below(10)) + "X" + std::to_string(below(24) * 15) +
             hole(p / 2) + "*%\n";
    for (int i = 0; i < 4; ++i)
      text_ += "%ADD" + std::to_string(15 + i) + "M" + std::to_string(i) + "," + number(mm(0.4, 1.2)) + "*%\n";
  }
  /// The other program paints nothing at all where a clear flash is of a macro that clears something in itself.
  void flash() {
    text_ += "D" + std::to_string(11 + below(clear_ ? 4 : 8)) + "*\n" + xy(mm(3, 17), mm(3, 17)) + "D03*\n";
  }
  void strokes() {
    text_ += "D10*\nG01*\n" + xy(mm(2, 18), mm(2, 18)) + "D02*\n";
    for (auto n = 1 + below(4); n > 0; --n) text_ += xy(mm(2, 18), mm(2, 18)) + "D01*\n";
  }
  /// From one angle to another on a circle whose points are whole nanometres to within one.
  void arc() {
    const double x = mm(6, 14), y = mm(6, 14), radius = mm(1, 4), from = below(24) * M_PI / 12;
    const double to = below(5) == 0 ? from : from + (1 + below(22)) * M_PI / 12;
    const double dx = std::cos(from) * radius, dy = std::sin(from) * radius;
    text_ += "D10*\n" + xy(x + dx, y + dy) + "D02*\n" + (below(2) ? "G02*\n" : "G03*\n") +
             xy(x + std::cos(to) * radius, y + std::sin(to) * radius) + "I" + std::to_string(std::llround(-dx * 1e6)) +
             "J" + std::to_string(std::llround(-dy * 1e6)) + "D01*\nG01*\n";
  }
  /// Corners by growing angle, so that the contour does not cross itself; now and then a half circle at its end.
  void region() {
    const double x = mm(6, 14), y = mm(6, 14);
    const unsigned corners = 3 + below(6);
    std::vector<std::pair<double, double>> points;
    for (unsigned i = 0; i < corners; ++i) {
      const double angle = 2 * M_PI * i / corners, radius = mm(1, 4);
      points.emplace_back(x + std::round(std::cos(angle) * radius * 100) / 100,
                          y + std::round(std::sin(angle) * radius * 100) / 100);
    }
    text_ += "G36*\n" + xy(points[0].first, points[0].second) + "D02*\nG01*\n";
    for (unsigned i = 1; i < corners; ++i) text_ += xy(points[i].first, points[i].second) + "D01*\n";
    text_ += xy(points[0].first, points[0].second) + "D01*\n";
    if (below(2)) {
      const double left = mm(2, 12), bottom = mm(2, 12), radius = mm(0.5, 2.5);
      text_ += xy(left, bottom) + "D02*\n" + xy(left + 2 * radius, bottom) + "D01*\nG03*\n" + xy(left, bottom) + "I" +
               std::to_string(std::llround(-radius * 1e6)) + "J0D01*\nG01*\n";
    }
    text_ += "G37*\n";
  }
  void object() {
    switch (below(6)) {
      case 0: strokes(); break;
      case 1: arc(); break;
      case 2: region(); break;
      default: flash();
    }
  }

  std::mt19937 random_;
  std::string text_;
  bool clear_ = false;
};
}  // namespace

TEST_CASE(
    "random layers with every kind of aperture, arcs, regions, clear objects and repeats are the same picture, and "
    "have "
    "its area (independent renderer; seeds 1 to 16)") {
  const Folder folder;
  for (unsigned seed = 1; seed <= 16; ++seed)
    std::ofstream(folder.path / ("seed" + std::to_string(seed) + ".gbr"), std::ios::binary) << RandomLayer(seed).text();
  const auto pictures = check_pictures("'" + folder.path.string() + "'/*.gbr", 6);  // copies of a repeat
  for (const Picture& picture : pictures) {
    const std::string name = picture.file.substr(picture.file.rfind('/') + 1);
    const Result facts = run(teasel() + "layers --area --json " + name, folder.path);
    INFO(name << facts.err);
    REQUIRE(facts.status == 0);
    const double area = nlohmann::json::parse(facts.out)["layers"][0]["area_mm2"];
    // A pixel is dark where more than half of it is: over a long edge that evens out. What the two programs see
    // differently is not known to either.
    const double pixel = 25.4 / static_cast<double>(picture.dpi);
    CHECK(std::abs(area - static_cast<double>(picture.dark) * pixel * pixel) <=
          0.002 * area + static_cast<double>(picture.differ) * pixel * pixel);
  }
}
