// Numbers and XML as text.
#pragma once
#include <cstddef>
#include <cstdio>
#include <initializer_list>
#include <string>
#include <utility>
#include <vector>

namespace demo {

/// Fixed decimals, never a negative zero.
inline std::string num(double v, int decimals) {
  char b[64];
  std::snprintf(b, sizeof b, "%.*f", decimals, v);
  const std::string s = b;
  return s[0] == '-' && s.find_first_of("123456789") == std::string::npos ? s.substr(1) : s;
}

class Xml {
 public:
  using Attributes = std::initializer_list<std::pair<const char*, std::string>>;
  explicit Xml(std::size_t depth) : depth_(depth) {}
  /// An empty value leaves its attribute out.
  void leaf(const char* tag, Attributes a) {
    start(tag, a);
    text_ += "/>\n";
  }
  void open(const char* tag, Attributes a = {}) {
    start(tag, a);
    text_ += ">\n";
    open_.push_back(tag);
  }
  void close(int levels = 1) {
    for (; levels > 0; --levels) {
      const std::string tag = open_.back();
      open_.pop_back();
      indent();
      text_ += "</" + tag + ">\n";
    }
  }
  void insert(const Xml& other) { text_ += other.text_; }
  const std::string& text() const { return text_; }

 private:
  void indent() { text_.append(2 * (depth_ + open_.size()), ' '); }
  void start(const char* tag, Attributes a) {
    indent();
    text_ += std::string("<") + tag;
    for (const auto& [name, value] : a) {
      if (value.empty()) continue;
      text_ += std::string(" ") + name + "=\"";
      for (char c : value) {
        if (c == '&')
          text_ += "&amp;";
        else if (c == '<')
          text_ += "&lt;";
        else if (c == '"')
          text_ += "&quot;";
        else
          text_ += c;
      }
      text_ += '"';
    }
  }
  std::size_t depth_;
  std::vector<const char*> open_;
  std::string text_;
};

}  // namespace demo
