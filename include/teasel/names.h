// Names of parts, pads and nets. On a panel a name begins with the board's place, "P1:U7"; these types are the only
// place that knows how the two are joined. Where two files of a release spell one name in two ways, the name carries
// the other spelling along, and a pattern may fit either.
#pragma once
#include <compare>
#include <cstddef>
#include <functional>
#include <ostream>
#include <string>
#include <string_view>
#include <utility>

namespace teasel {

template <class Tag>
class Name {
 public:
  Name() = default;
  /// A name of the single board, as its files write it.
  explicit Name(std::string plain) : text_(std::move(plain)) {}
  explicit Name(const char* plain) : text_(plain) {}
  explicit Name(std::string_view plain) : text_(plain) {}
  /// The same on one board of a panel.
  [[nodiscard]] static Name in_panel(std::string_view place, const Name& on_board) {
    Name name;
    name.text_ = std::string(place) + ":";
    name.plain_from_ = name.text_.size();
    name.text_ += on_board.plain();
    name.other_ = on_board.other_;
    return name;
  }
  /// The same name with a second spelling that stands for it as well; empty: none.
  [[nodiscard]] Name also_spelled(const std::string& other) const {
    Name name = *this;
    name.other_ = other;
    return name;
  }
  /// As it is printed: "P1:U7", or "U7" where there is no panel.
  [[nodiscard]] const std::string& text() const { return text_; }
  /// On the single board: "U7".
  [[nodiscard]] std::string plain() const { return text_.substr(plain_from_); }
  /// The board of the panel: "P1"; empty where there is none.
  [[nodiscard]] std::string place() const {
    return plain_from_ == 0 ? std::string{} : text_.substr(0, plain_from_ - 1);
  }
  /// The second spelling, without a place; empty: there is none.
  [[nodiscard]] const std::string& other_spelling() const { return other_; }
  /// Whether a job or a file means this name: in either spelling, with its place or without.
  [[nodiscard]] bool is_meant_by(std::string_view written) const {
    if (written == text_ || written == std::string_view(text_).substr(plain_from_)) return true;
    return !other_.empty() && (written == other_ || written == text_.substr(0, plain_from_) + other_);
  }
  [[nodiscard]] bool empty() const { return text_.empty(); }
  [[nodiscard]] operator const std::string&() const { return text_; }
  friend auto operator<=>(const Name& a, const Name& b) { return a.text_ <=> b.text_; }
  friend bool operator==(const Name& a, const Name& b) { return a.text_ == b.text_; }
  friend bool operator==(const Name& a, std::string_view b) { return a.text_ == b; }
  friend bool operator==(const Name& a, const std::string& b) { return a.text_ == b; }
  friend bool operator==(const Name& a, const char* b) { return a.text_ == b; }
  friend std::string operator+(const std::string& a, const Name& b) { return a + b.text_; }
  friend std::string operator+(std::string&& a, const Name& b) { return std::move(a) + b.text_; }
  friend std::string operator+(const char* a, const Name& b) { return a + b.text_; }
  friend std::string operator+(const Name& a, const std::string& b) { return a.text_ + b; }
  friend std::string operator+(const Name& a, const char* b) { return a.text_ + b; }
  friend std::ostream& operator<<(std::ostream& out, const Name& a) { return out << a.text_; }

 private:
  std::string text_, other_;
  std::size_t plain_from_ = 0;
};

using PartName = Name<struct PartNameTag>;
using PadName = Name<struct PadNameTag>;
using NetName = Name<struct NetNameTag>;

/// Letters before the digits of a part's own name, whatever board of a panel it stands on: "P1:R12" -> "R".
std::string reference_letters(const PartName& part);
/// Reference letters of a name that a user or a file writes for the single board.
std::string reference_letters(std::string_view plain);

/// Case-blind match; * any text, # one digit, ? one character.
bool glob_match(std::string_view pattern, std::string_view text);
/// The same for a name without its place, in either spelling.
template <class Tag>
bool plain_match(std::string_view pattern, const Name<Tag>& name) {
  return glob_match(pattern, std::string_view(name.plain())) ||
         (!name.other_spelling().empty() && glob_match(pattern, std::string_view(name.other_spelling())));
}
/// The same for a name. A plain pattern speaks of every board of a panel; one that holds a place ("P2:U7*") may speak
/// of one board.
template <class Tag>
bool glob_match(std::string_view pattern, const Name<Tag>& name) {
  if (plain_match(pattern, name)) return true;
  if (pattern.find(':') == pattern.npos) return false;
  return glob_match(pattern, std::string_view(name.text())) ||
         (!name.other_spelling().empty() &&
          glob_match(pattern,
                     std::string_view(Name<Tag>::in_panel(name.place(), Name<Tag>(name.other_spelling())).text())));
}

}  // namespace teasel

template <class Tag>
struct std::hash<teasel::Name<Tag>> {
  std::size_t operator()(const teasel::Name<Tag>& name) const noexcept { return std::hash<std::string>{}(name.text()); }
};
