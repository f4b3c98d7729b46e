// Reads TOML and remembers where each value stands. Every key is taken by name; a key that nobody took is unknown.
#pragma once
#include <functional>
#include <set>
#include <string>
#include <string_view>
#include <vector>
#include "teasel/job.h"

#define TOML_EXCEPTIONS 0
#include <toml++/toml.h>

#include "teasel/diagnostics.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel {

class TomlTable {
 public:
  TomlTable(const toml::table& table, std::string path, std::string file, Diagnostics& diagnostics)
      : table_(table), path_(std::move(path)), file_(std::move(file)), diagnostics_(diagnostics) {}

  bool has(std::string_view key) const { return table_.contains(key); }
  Place place(std::string_view key = {}) const;
  std::string text(std::string_view key, std::string standard = {});
  std::string choice(std::string_view key, const std::vector<std::string>& allowed, std::string standard);
  double number(std::string_view key, double standard, double least, double most);
  /// A number that the key's name gives a unit: amperes, below_ohm.
  template <class Amount>
  Amount amount(std::string_view key, double standard, double least, double most) {
    return Amount{number(key, standard, least, most)};
  }
  int whole(std::string_view key, int standard, int least, int most);
  // The same for keys of a job file: default, range and words are those of the key's row of the option table.
  std::string choice(std::string_view key);
  std::string text_or_default(std::string_view key);
  std::string words(std::string_view key);              ///< one of the row's words; any text if it has none
  std::string choice_or_nothing(std::string_view key);  ///< empty where the key is absent
  double number(std::string_view key);
  template <class Amount>
  Amount amount(std::string_view key) {
    return Amount{number(key)};
  }
  int whole(std::string_view key);
  bool switched(std::string_view key);  ///< yes or no
  std::optional<bool> yes_no(std::string_view key);
  std::optional<Mm> length(std::string_view key);
  Mm required_length(std::string_view key);
  std::optional<Newton> force(std::string_view key);
  std::optional<Point> point(std::string_view key);      ///< ["1 mm", "2 mm"]
  std::vector<BoardPoint> points(std::string_view key);  ///< [["1 mm", "2 mm"], ...]
  std::optional<Side> side(std::string_view key);        ///< absent or empty: nothing
  Side side(std::string_view key, Side standard);
  std::vector<std::string> texts(std::string_view key);
  /// Calls f for the table under key, if there is one.
  void table(std::string_view key, const std::function<void(TomlTable&)>& use);
  /// Calls f for each table of an array of tables.
  void tables(std::string_view key, const std::function<void(TomlTable&)>& use);
  /// Calls f(key) for every key (free keys, such as component names).
  void each(const std::function<void(const std::string&)>& use);
  /// Every value below, as "key.key = value"; none of its keys is unknown.
  std::vector<std::string> leaves();
  /// Reports keys that were never asked for, with the nearest asked key.
  void finish();
  void error(std::string_view key, std::string message, std::string found, std::string expected);

 private:
  const Option& option(std::string_view key) const;
  const toml::node* take(std::string_view key);
  std::optional<Point> point_of(const toml::node& node, std::string_view key);
  const toml::table& table_;
  std::string path_, file_;
  Diagnostics& diagnostics_;
  std::set<std::string, std::less<>> asked_;
};

/// False where the library would end in a fault: nested too deep, or letters of other scripts outside of texts. Ask
/// before each parse.
bool can_be_parsed(std::string_view text);
/// Parses a text and hands its root to f. A syntax error becomes a finding with line and column.
void with_toml(std::string_view text, const std::string& file, Diagnostics& diagnostics,
               const std::function<void(TomlTable&)>& use);

/// The same, with some values replaced by those of another file: every leaf and every list under `change_key` of
/// `changes` takes the place of the value with the same path. Findings about such a value name its own file and line.
void with_changed_toml(std::string_view text, const std::string& file, std::string_view changes,
                       const std::string& changes_file, std::string_view change_key, Diagnostics& diagnostics,
                       const std::function<void(TomlTable&)>& use);

}  // namespace teasel
