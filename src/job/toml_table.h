// Reading TOML with places: every key is taken by name; what nobody took is an unknown key.
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
#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel {

class TomlTable {
 public:
  TomlTable(const toml::table& table, std::string path, std::string file, Diagnostics& d)
      : table_(table), path_(std::move(path)), file_(std::move(file)), d_(d) {}

  bool has(std::string_view key) const { return table_.contains(key); }
  Place place(std::string_view key = {}) const;
  std::string text(std::string_view key, std::string standard = {});
  std::string choice(std::string_view key, const std::vector<std::string>& allowed, std::string standard);
  double number(std::string_view key, double standard, double least, double most);
  int whole(std::string_view key, int standard, int least, int most);
  std::optional<bool> yes_no(std::string_view key);
  std::optional<Mm> length(std::string_view key);
  Mm required_length(std::string_view key);
  std::optional<Newton> force(std::string_view key);
  std::optional<Point> point(std::string_view key);  ///< ["1 mm", "2 mm"]
  std::vector<Point> points(std::string_view key);   ///< [["1 mm","2 mm"], ...]
  std::vector<std::string> texts(std::string_view key);
  /// Calls f for the table under key, if there is one.
  void table(std::string_view key, const std::function<void(TomlTable&)>& f);
  /// Calls f for each table of an array of tables.
  void tables(std::string_view key, const std::function<void(TomlTable&)>& f);
  /// Calls f(key) for every key (free keys, such as component names).
  void each(const std::function<void(const std::string&)>& f);
  /// Every value below, as "key.key = value"; none of its keys is unknown.
  std::vector<std::string> leaves();
  /// Reports keys that were never asked for, with the nearest asked key.
  void finish();
  void error(std::string_view key, std::string message, std::string found, std::string expected);

 private:
  const toml::node* take(std::string_view key);
  std::optional<Point> point_of(const toml::node& node, std::string_view key);
  const toml::table& table_;
  std::string path_, file_;
  Diagnostics& d_;
  std::set<std::string, std::less<>> asked_;
};

/// Parses and hands the root to f; a syntax error becomes a finding with line and column.
void with_toml(std::string_view text, const std::string& file, Diagnostics& d,
               const std::function<void(TomlTable&)>& f);

/// The same with values of another file in place of some: every leaf and every list under `change_key` of `changes`, by
/// its path. What they say wrongly is found where they stand.
void with_changed_toml(std::string_view text, const std::string& file, std::string_view changes,
                       const std::string& changes_file, std::string_view change_key, Diagnostics& d,
                       const std::function<void(TomlTable&)>& f);

/// Smallest number of edits between two words, for suggestions.

}  // namespace teasel
