// The command interpreter behind read_gerber: the state of one file while it is read. Words and drawing are in
// gerber.cpp, extended commands (format, apertures, blocks, repeats, attributes) in gerber_extended.cpp.
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

inline constexpr std::size_t kMostObjects = 3'000'000;
inline constexpr std::size_t kMostVertices = 8'000'000;
inline constexpr std::size_t kMostAttributeBytes = 64'000'000;
inline constexpr std::size_t kMostMacroWork = 20'000'000;  // characters, and pairs of primitives, over all apertures
inline constexpr double kFarthest = 10'000;                // mm
inline constexpr int kMostNesting = 8;

class GerberReader {
 public:
  GerberReader(std::string_view bytes, const std::string& name, std::optional<GerberUnit> unit,
               Diagnostics& diagnostics)
      : text_(bytes), diagnostics_(diagnostics), forced_unit_(unit) {
    file_.name = name;
    file_.bytes = bytes.size();
    file_.transforms.push_back({});
    file_.attributes.push_back({});
  }
  GerberFile run();

 private:
  struct Step {
    int nx = 1, ny = 1;
    double dx{}, dy{};
    std::size_t first{};
    bool open = false;
  };

  /// What the deprecated image commands ask for; applied to the whole image at the end.
  struct ImageChange {
    bool swap_axes = false, mirror_a = false, mirror_b = false;
    double scale_a = 1, scale_b = 1, shift_a = 0, shift_b = 0;
    int quarter_turns = 0;
    std::uint32_t line = 0;  ///< of the first command that changes anything; 0 = none does
  };

  // words and statements
  bool settle_unit();
  bool quick_operation(std::size_t& i);
  std::size_t statement(std::size_t i, bool inside);
  std::size_t macro(std::string_view text, std::size_t at);
  void word(std::string_view text);
  void extended(std::string_view statement);
  void comment(std::string_view text);
  void g_code(int code);
  void select(int code);
  // extended commands
  void format(std::string_view text);
  void aperture(std::string_view text);
  void block(std::string_view text);
  void step_repeat(std::string_view text);
  void close_step();
  void attribute(std::string_view text);
  void legacy(std::string_view text);
  bool image_command(std::string_view code, std::string_view rest);
  void change_image();
  // objects
  void operate(int code, Point to, Point ij);
  void plot(Point to, Point ij);
  void arc(Point to, Point ij);
  void close_contour();
  void end_region();
  void add(GerberObject object);
  void flash_block(const GerberAperture& block, Point at);
  GerberObject placed(const GerberObject& object, const Affine& map);
  std::uint32_t transform_index(const Affine& map);
  std::uint32_t attribute_index() {
    const bool region = current_ < 0 || region_ending_;
    if (region || row_epoch_[static_cast<std::size_t>(current_)] != epoch_) return attribute_row(region);
    return row_of_[static_cast<std::size_t>(current_)];
  }
  std::uint32_t attribute_row(bool region);
  void keep_aperture(GerberAperture aperture);
  Point single_quadrant_centre(Point to, Point ij, bool& zero);
  double coordinate(std::string_view digits, int integers, int decimals);

  Place here() const { return {file_.name, line_, 0, {}}; }
  void fail(const char* code, std::string message, std::string found = {}, std::string remedy = {}) {
    if (failures_++ < 20)
      diagnostics_.error({.code = code,
                          .at = here(),
                          .message = std::move(message),
                          .found = std::move(found),
                          .remedy = std::move(remedy)});
  }
  void warn_once(const char* code, std::string message, std::string found = {}) {
    if (!warned_[code]++)
      diagnostics_.warn({.code = code, .at = here(), .message = std::move(message), .found = std::move(found)});
  }

  std::string_view text_;
  Diagnostics& diagnostics_;
  std::optional<GerberUnit> forced_unit_;
  GerberFile file_;
  std::uint32_t line_ = 1;
  int failures_ = 0;
  std::map<std::string, int> warned_;
  double unit_ = 1;
  long long farthest_x_ = 0, farthest_y_ = 0;  // kFarthest in counts of the file
  int x_integers_ = 0, x_decimals_ = 0, y_integers_ = 0, y_decimals_ = 0;
  bool trailing_ = false, incremental_ = false, ended_ = false;
  Point at_;
  int mode_ = 1, operation_ = 0;
  bool multi_quadrant_ = true, quadrant_unstated_ = false, quadrant_looked_up_ = false, in_region_ = false,
       dark_ = true;
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
  using Dictionary = std::map<std::string, std::string>;
  Dictionary aperture_dictionary_, object_dictionary_;  // TA, TO
  std::vector<Dictionary> aperture_attributes_;         // by aperture
  std::uint32_t epoch_ = 1;                             // counts changes of the object dictionary
  std::vector<std::uint32_t> row_epoch_, row_of_;       // by aperture: the attribute row in use, and since when
  bool region_ending_ = false;
  std::size_t attribute_bytes_ = 0, macro_work_ = 0, objects_made_ = 0;
  std::unordered_map<std::string, std::uint32_t> attribute_rows_;
  ImageChange image_;
};

}  // namespace teasel::formats
