// Text on its way into a file or onto a terminal. What a release, a job or a file name says is never code there: it
// gets in by the functions below alone, each of which escapes for one format.
#pragma once
#include <cstddef>
#include <string>
#include <string_view>
#include <utility>

namespace teasel {

/// Text that may stand in a file of one format as it is. Constants of the program are such text; a std::string is not,
/// and only the functions of `Format` make one of it.
template <class Format>
class Written {
 public:
  Written() = default;
  Written(const char* constant) : text_(constant) {}
  [[nodiscard]] const std::string& text() const { return text_; }
  [[nodiscard]] bool empty() const { return text_.empty(); }
  Written& operator+=(const Written& more) {
    text_ += more.text_;
    return *this;
  }
  Written& operator+=(const char* constant) {
    text_ += constant;
    return *this;
  }
  friend Written operator+(Written before, const Written& more) {
    before += more;
    return before;
  }

 private:
  friend Format;
  explicit Written(std::string escaped) : text_(std::move(escaped)) {}
  std::string text_;
};

/// One line that a terminal, an editor or a browser shows as it is and obeys nothing of: control characters, marks that
/// turn the direction of writing, and bytes that are no UTF-8 are shown as \xNN, byte by byte.
std::string visible(std::string_view text);
/// The same for a text of several lines, whose ends stay.
std::string visible_lines(std::string_view text);
/// JSON in which the letters that visible() does not show stand as \uNNNN. It says the same.
std::string visible_json(std::string_view json);
/// The letters of the text's longest beginning of at most so many bytes; no letter is cut.
std::string_view first_bytes(std::string_view text, std::size_t most);
bool is_utf8(std::string_view text);

struct Toml {
  using Text = Written<Toml>;
  /// A basic string in quotes. A byte that is no UTF-8, which TOML cannot say, is written as in visible().
  static Text text(std::string_view outside);
  /// A line of comment, without its end.
  static Text comment(std::string_view outside);
  /// Keys joined by points. A key that is more than letters, digits, _ and - is put in quotes.
  static Text keys(std::string_view path);
  static Text number(double value, int decimals);
  static Text whole(long long value);
};

struct Csv {
  using Text = Written<Csv>;
  /// A cell as visible() shows it, quoted where it must be (RFC 4180). The backslash of a text that holds \xNN by
  /// itself is written as \x5c, so that no two texts give the same cell. A spreadsheet takes a cell that begins with
  /// =, +, - or @ for a formula. An apostrophe is put before it, unless what follows the sign can neither call a
  /// function nor name another file: letters, digits, blanks and . _ - + / % # $ ~ alone. So +5V and -0.25 stay. Behind
  /// a semicolon, at which some spreadsheets part cells, the same is done.
  static Text cell(std::string_view outside);
  /// What cell() was made from, without the quotes.
  static std::string from_cell(std::string_view cell);
};

/// SVG and HTML.
struct Xml {
  using Text = Written<Xml>;
  /// Character data, or the value of an attribute in quotes of either kind.
  static Text text(std::string_view outside);
  static Text number(double value, int decimals);
  static Text whole(long long value);
};

/// Files for machines, of printable ASCII in lines: drill, rout, DXF.
struct Machine {
  using Text = Written<Machine>;
  /// Part of one line. A letter that is no ASCII becomes one '?'.
  static Text text(std::string_view outside);
  static Text number(double value, int decimals);
  static Text whole(long long value);
};

}  // namespace teasel
