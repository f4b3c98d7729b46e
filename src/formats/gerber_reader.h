// The command interpreter behind read_gerber: state of one file being read. Words and drawing are in gerber.cpp,
// extended commands (format, apertures, blocks, repeats, attributes) in gerber_extended.cpp.
#pragma once
#include <charconv>
#include <cmath>
#include <map>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "teasel/formats/gerber.h"
#include "text.h"

namespace teasel::formats {

inline constexpr std::size_t kMostObjects = 20'000'000;
inline constexpr std::size_t kMostVertices = 20'000'000;
inline constexpr int kMostNesting = 8;

Box box_of(const GerberFile& file, const GerberObject& object);

class GerberReader {
 public:
  GerberReader(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) : s_(bytes), d_(diagnostics) {
    f_.name = name;
    f_.transforms.push_back({});
    f_.attributes.push_back({});
  }
  GerberFile run();

 private:
  struct Step {
    int nx = 1, ny = 1;
    double dx{}, dy{};
    std::size_t first{};
    bool open = false;
  };

  // words and statements
  bool settle_unit();
  void word(std::string_view w);
  void extended(std::string_view statement);
  void comment(std::string_view text);
  void g_code(int code);
  void operation(int code);
  void select(int code);
  // extended commands
  void format(std::string_view s);
  void aperture(std::string_view s);
  void block(std::string_view s);
  void step_repeat(std::string_view s);
  void close_step();
  void attribute(std::string_view s);
  void legacy(std::string_view s);
  // objects
  void plot(Point to, Point ij);
  void arc(Point to, Point ij);
  void close_contour();
  void end_region();
  void add(GerberObject o);
  void flash_block(const GerberAperture& block, Point at, int depth);
  GerberObject placed(const GerberObject& o, const Affine& t);
  std::uint32_t transform_index(const Affine& t);
  std::uint32_t attribute_index();
  Point single_quadrant_centre(Point to, Point ij, bool& zero);
  double coordinate(std::string_view digits, int integers, int decimals);

  Place here() const { return {f_.name, line_, 0, {}}; }
  void fail(const char* code, std::string message, std::string found = {}, std::string remedy = {}) {
    if (failures_++ < 20) d_.error(code, here(), std::move(message), std::move(found), {}, std::move(remedy));
  }
  void warn_once(const char* code, std::string message, std::string found = {}) {
    if (!warned_[code]++) d_.warn(code, here(), std::move(message), std::move(found));
  }

  std::string_view s_;
  Diagnostics& d_;
  GerberFile f_;
  std::uint32_t line_ = 1;
  int failures_ = 0;
  std::map<std::string, int> warned_;
  double unit_ = 1;
  int xi_ = 0, xd_ = 0, yi_ = 0, yd_ = 0;
  bool trailing_ = false, incremental_ = false, ended_ = false;
  Point at_;
  int g_ = 1, d_mode_ = 0;
  bool multi_quadrant_ = true, in_region_ = false, dark_ = true;
  int current_ = -1;
  double rotation_ = 0, scale_ = 1;
  bool mirror_x_ = false, mirror_y_ = false;
  std::uint32_t transform_ = 0;
  std::map<int, std::uint32_t> by_code_;
  std::map<std::string, std::vector<std::string>> macros_;
  std::vector<Ring> contours_;
  Ring contour_;
  std::size_t vertices_ = 0;
  Step step_;
  std::vector<std::pair<int, std::vector<GerberObject>>> open_blocks_;
  std::map<std::string, std::string> attributes_;
  std::uint32_t attributes_now_ = 0;
  bool attributes_stale_ = true;
  std::unordered_map<std::string, std::uint32_t> attribute_rows_;
};

}  // namespace teasel::formats
