#include "gerber_macro.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <stdexcept>
#include <string_view>

namespace teasel::formats {

namespace {
constexpr double kPi = 3.14159265358979323846;

/// Recursive descent over + - x / and brackets. `$n` reads a variable; a variable that was not set is 0.
class Expression {
 public:
  Expression(std::string_view text, const std::map<int, double>& variables) : text_(text), variables_(variables) {}
  double value() {
    double result = sum(0);
    if (next_ != text_.size()) fail("unexpected character");
    if (!std::isfinite(result)) fail("result is not a number");
    return result;
  }

 private:
  [[noreturn]] void fail(const char* what) const {
    throw std::runtime_error(std::string(what) + " in macro expression '" + std::string(text_.substr(0, 60)) + "'");
  }
  double sum(int depth) {
    if (depth > 64) fail("too deeply nested brackets");
    double result = product(depth);
    while (next_ < text_.size() && (text_[next_] == '+' || text_[next_] == '-')) {
      const bool plus = text_[next_++] == '+';
      const double operand = product(depth);
      result = plus ? result + operand : result - operand;
    }
    return result;
  }
  double product(int depth) {
    double result = factor(depth);
    while (next_ < text_.size() && (text_[next_] == 'x' || text_[next_] == 'X' || text_[next_] == '/')) {
      const bool times = text_[next_++] != '/';
      const double operand = factor(depth);
      if (!times && operand == 0) fail("division by zero");
      result = times ? result * operand : result / operand;
    }
    return result;
  }
  double factor(int depth) {
    bool negative = false;
    while (next_ < text_.size() && (text_[next_] == '+' || text_[next_] == '-')) negative ^= text_[next_++] == '-';
    if (next_ >= text_.size()) fail("missing operand");
    double result{};
    if (text_[next_] == '(') {
      ++next_;
      result = sum(depth + 1);
      if (next_ >= text_.size() || text_[next_] != ')') fail("missing closing bracket");
      ++next_;
    } else if (text_[next_] == '$') {
      ++next_;
      int number{};
      auto [end, err] = std::from_chars(text_.data() + next_, text_.data() + text_.size(), number);
      if (err != std::errc{}) fail("bad variable number");
      next_ = static_cast<std::size_t>(end - text_.data());
      auto it = variables_.find(number);
      result = it == variables_.end() ? 0 : it->second;
    } else {
      auto [end, err] =
          std::from_chars(text_.data() + next_, text_.data() + text_.size(), result, std::chars_format::fixed);
      if (err != std::errc{}) fail("number expected");
      next_ = static_cast<std::size_t>(end - text_.data());
    }
    return negative ? -result : result;
  }
  std::string_view text_;
  const std::map<int, double>& variables_;
  std::size_t next_ = 0;
};

struct Primitive {
  int code{};
  std::vector<double> parameters;
  double unit{};
  double at(std::size_t i) const {
    if (i >= parameters.size())
      throw std::runtime_error("macro primitive " + std::to_string(code) + " lacks parameters");
    return parameters[i];
  }
  double mm(std::size_t i) const { return at(i) * unit; }
  double optional(std::size_t i) const { return i < parameters.size() ? parameters[i] : 0; }
};

Affine rotation(double degrees) {
  const double angle = degrees * kPi / 180, cosine = std::cos(angle), sine = std::sin(angle);
  return {cosine, -sine, sine, cosine, 0, 0};
}
Polygons turned(Ring ring, double degrees) {
  if (signed_area(ring) < 0) std::reverse(ring.begin(), ring.end());
  return transformed(Polygons{{std::move(ring), {}}}, rotation(degrees));
}
int whole(double given, int least, int most, const char* what) {
  const double rounded = std::round(given);
  if (!(rounded >= least && rounded <= most)) throw std::runtime_error(std::string("macro ") + what + " out of range");
  return static_cast<int>(rounded);
}

Polygons moire(const Primitive& primitive) {
  const Point centre{primitive.mm(0), primitive.mm(1)};
  const double thickness = primitive.mm(3), gap = primitive.mm(4);
  const int rings = whole(primitive.at(5), 0, 1000, "ring count");
  Polygons area;
  double diameter = primitive.mm(2);
  for (int i = 0; i < rings && diameter > 0; ++i, diameter -= 2 * (thickness + gap)) {
    Polygons ring{{circle(centre, diameter / 2), {}}};
    const double inner = diameter - 2 * thickness;
    if (inner > 0) ring = subtract(ring, {{circle(centre, inner / 2), {}}});
    area = unite(area, ring);
  }
  const double width = primitive.mm(6), length = primitive.mm(7);
  if (width > 0 && length > 0)
    area = unite(area, {{rectangle(centre, length, width), {}}, {rectangle(centre, width, length), {}}});
  return transformed(area, rotation(primitive.optional(8)));
}

Polygons thermal(const Primitive& primitive) {
  const Point centre{primitive.mm(0), primitive.mm(1)};
  const double outer = primitive.mm(2), inner = primitive.mm(3), gap = primitive.mm(4);
  Polygons area{{circle(centre, outer / 2), {}}};
  Polygons away{{rectangle(centre, 2 * outer, gap), {}}, {rectangle(centre, gap, 2 * outer), {}}};
  if (inner > 0 && gap * std::sqrt(2.0) < inner) away.push_back({circle(centre, inner / 2), {}});
  return transformed(subtract(area, unite(away)), rotation(primitive.optional(5)));
}

Polygons primitive_area(const Primitive& primitive) {
  switch (primitive.code) {
    case 1: {
      if (primitive.mm(1) <= 0) return {};
      return turned(circle({primitive.mm(2), primitive.mm(3)}, primitive.mm(1) / 2), primitive.optional(4));
    }
    case 2:
    case 20: {
      const Point a{primitive.mm(2), primitive.mm(3)}, b{primitive.mm(4), primitive.mm(5)};
      const double length = distance(a, b), half = primitive.mm(1) / 2;
      if (length == 0 || half <= 0) return {};
      const Point across = (half / length) * Point{a.y - b.y, b.x - a.x};
      return turned({a - across, b - across, b + across, a + across}, primitive.optional(6));
    }
    case 21:
      if (primitive.mm(1) <= 0 || primitive.mm(2) <= 0) return {};
      return turned(rectangle({primitive.mm(3), primitive.mm(4)}, primitive.mm(1), primitive.mm(2)),
                    primitive.optional(5));
    case 22:
      if (primitive.mm(1) <= 0 || primitive.mm(2) <= 0) return {};
      return turned(rectangle({primitive.mm(3) + primitive.mm(1) / 2, primitive.mm(4) + primitive.mm(2) / 2},
                              primitive.mm(1), primitive.mm(2)),
                    primitive.optional(5));
    case 4: {
      const int vertices = whole(primitive.at(1), 1, 20000, "vertex count");
      Ring ring;
      for (int i = 0; i <= vertices; ++i) {
        const std::size_t k = 2 + 2 * static_cast<std::size_t>(i);
        ring.push_back({primitive.mm(k), primitive.mm(k + 1)});
      }
      if (ring.size() > 1 && distance(ring.front(), ring.back()) < 1e-5) ring.pop_back();
      if (crossings_exceed(ring, 4 * ring.size() + 1000))
        throw std::runtime_error("a macro outline crosses itself again and again");
      return transformed(fill_contours({ring}),
                         rotation(primitive.optional(4 + 2 * static_cast<std::size_t>(vertices))));
    }
    case 5: {
      const int vertices = whole(primitive.at(1), 3, 64, "polygon vertex count");
      if (primitive.mm(4) <= 0) return {};
      Ring ring;
      for (int i = 0; i < vertices; ++i) {
        const double angle = 2 * kPi * i / vertices;
        ring.push_back({primitive.mm(2) + primitive.mm(4) / 2 * std::cos(angle),
                        primitive.mm(3) + primitive.mm(4) / 2 * std::sin(angle)});
      }
      return turned(ring, primitive.optional(5));
    }
    case 6: return moire(primitive);
    case 7: return thermal(primitive);
    default:
      throw std::runtime_error("macro primitive code " + std::to_string(primitive.code) + " is not in the format");
  }
}

std::vector<std::string_view> fields_of(std::string_view text) {
  std::vector<std::string_view> fields;
  for (std::size_t from = 0;;) {
    const std::size_t comma = text.find(',', from);
    fields.push_back(text.substr(from, comma == text.npos ? text.npos : comma - from));
    if (comma == text.npos) return fields;
    from = comma + 1;
  }
}
}  // namespace

Polygons evaluate_macro(const std::vector<std::string>& statements, const std::vector<double>& parameters,
                        double unit) {
  std::map<int, double> variables;
  for (std::size_t i = 0; i < parameters.size(); ++i) variables[static_cast<int>(i) + 1] = parameters[i];
  Polygons area;
  Polygons pending;  // a run of exposed primitives, which one boolean unites
  for (const std::string& text : statements) {
    if (text.empty() || text[0] == '0') continue;
    if (text[0] == '$') {
      const std::size_t eq = text.find('=');
      if (eq == std::string::npos) throw std::runtime_error("macro assignment without '='");
      int number{};
      std::from_chars(text.data() + 1, text.data() + eq, number);
      variables[number] = Expression(std::string_view(text).substr(eq + 1), variables).value();
      continue;
    }
    auto fields = fields_of(text);
    Primitive primitive{whole(Expression(fields[0], variables).value(), 0, 99, "primitive code"), {}, unit};
    if (!fields.back().empty() || fields.size() > 1)
      for (std::size_t i = 1; i < fields.size(); ++i)
        if (!(fields[i].empty() && i + 1 == fields.size()))
          primitive.parameters.push_back(Expression(fields[i], variables).value());
    const bool always_exposed = primitive.code == 6 || primitive.code == 7;
    const bool exposed = always_exposed || std::round(primitive.at(0)) != 0;
    Polygons part = primitive_area(primitive);
    if (exposed) {
      pending.insert(pending.end(), part.begin(), part.end());
    } else {
      area = subtract(unite(area, pending), part);
      pending.clear();
    }
  }
  if (pending.empty()) return area;
  return area.empty() ? unite(pending) : unite(area, pending);
}

}  // namespace teasel::formats
