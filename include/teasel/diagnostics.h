// Findings about the user's files: values with place, cause and remedy. Nothing here prints or exits.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

namespace teasel {

enum class Severity : std::uint8_t { note, warning, error };

/// Where a fact stands. `line` and `column` count from 1; 0 = the file as a whole. `path` is a key path in a TOML file.
struct Place {
  std::string file;
  std::uint32_t line{};
  std::uint32_t column{};
  std::string path;
};

/// One finding. `code` is unique in the tree and stable, so that a script may look for it.
struct Finding {
  std::string code;
  Severity severity{};
  Place place;
  std::string message;   ///< one line: what is the matter
  std::string found;     ///< what stood there, or the evidence for a choice
  std::string expected;  ///< what would have been right
  std::string remedy;    ///< what to do, or how to override a choice
  bool of_part = false;  ///< an error that spoils a part of the work alone: the rest is done and written
};

/// What a module says about a finding. Members are named, so that a remedy cannot be passed for what was expected.
struct Saying {
  std::string code{};
  Place at{};
  std::string message{};
  std::string found{};
  std::string expected{};
  std::string remedy{};
};

class Diagnostics {
 public:
  void add(Finding f);
  void note(Saying saying);
  void warn(Saying saying);
  void error(Saying saying);
  /// An error ended the work. Those that spoil only a part of it are counted apart.
  [[nodiscard]] bool failed() const { return errors_ > 0; }
  [[nodiscard]] std::size_t errors() const { return errors_; }
  [[nodiscard]] bool spoiled() const { return spoiled_ > 0; }
  [[nodiscard]] const std::vector<Finding>& all() const { return findings_; }
  void merge(const Diagnostics& other);
  /// The same for a part of the work whose errors do not end the rest.
  void merge_part(const Diagnostics& part);

 private:
  std::vector<Finding> findings_;
  std::size_t errors_{}, spoiled_{};
};

/// "file:line:column", parts that are not known left out.
std::string to_string(const Place& place);
/// The finding as a block of text: headline, then found / expected / remedy, indented.
std::string to_string(const Finding& finding);

}  // namespace teasel
