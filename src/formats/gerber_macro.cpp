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

/// Recursive descent over + - x / and brackets; `$n` reads a variable, unset ones are 0.
class Expression {
 public:
  Expression(std::string_view text, const std::map<int, double>& variables) : s_(text), variables_(variables) {}
  double value() {
    double v = sum(0);
    if (i_ != s_.size()) fail("unexpected character");
    if (!std::isfinite(v)) fail("result is not a number");
    return v;
  }

 private:
  [[noreturn]] void fail(const char* what) const {
    throw std::runtime_error(std::string(what) + " in macro expression '" + std::string(s_.substr(0, 60)) + "'");
  }
  double sum(int depth) {
    if (depth > 64) fail("too deeply nested brackets");
    double v = product(depth);
    while (i_ < s_.size() && (s_[i_] == '+' || s_[i_] == '-')) {
      const bool plus = s_[i_++] == '+';
      const double w = product(depth);
      v = plus ? v + w : v - w;
    }
    return v;
  }
  double product(int depth) {
    double v = factor(depth);
    while (i_ < s_.size() && (s_[i_] == 'x' || s_[i_] == 'X' || s_[i_] == '/')) {
      const bool times = s_[i_++] != '/';
      const double w = factor(depth);
      if (!times && w == 0) fail("division by zero");
      v = times ? v * w : v / w;
    }
    return v;
  }
  double factor(int depth) {
    bool negative = false;
    while (i_ < s_.size() && (s_[i_] == '+' || s_[i_] == '-')) negative ^= s_[i_++] == '-';
    if (i_ >= s_.size()) fail("missing operand");
    double v{};
    if (s_[i_] == '(') {
      ++i_;
      v = sum(depth + 1);
      if (i_ >= s_.size() || s_[i_] != ')') fail("missing closing bracket");
      ++i_;
    } else if (s_[i_] == '$') {
      ++i_;
      int n{};
      auto [end, err] = std::from_chars(s_.data() + i_, s_.data() + s_.size(), n);
      if (err != std::errc{}) fail("bad variable number");
      i_ = static_cast<std::size_t>(end - s_.data());
      auto it = variables_.find(n);
      v = it == variables_.end() ? 0 : it->second;
    } else {
      auto [end, err] = std::from_chars(s_.data() + i_, s_.data() + s_.size(), v, std::chars_format::fixed);
      if (err != std::errc{}) fail("number expected");
      i_ = static_cast<std::size_t>(end - s_.data());
    }
    return negative ? -v : v;
  }
  std::string_view s_;
  const std::map<int, double>& variables_;
  std::size_t i_ = 0;
};

struct Primitive {
  int code{};
  std::vector<double> p;
  double unit{};
  double at(std::size_t i) const {
    if (i >= p.size()) throw std::runtime_error("macro primitive " + std::to_string(code) + " lacks parameters");
    return p[i];
  }
  double mm(std::size_t i) const { return at(i) * unit; }
  double optional(std::size_t i) const { return i < p.size() ? p[i] : 0; }
};

Affine rotation(double degrees) {
  const double a = degrees * kPi / 180, c = std::cos(a), s = std::sin(a);
  return {c, -s, s, c, 0, 0};
}
Polygons turned(Ring ring, double degrees) {
  if (signed_area(ring) < 0) std::reverse(ring.begin(), ring.end());
  return transformed(Polygons{{std::move(ring), {}}}, rotation(degrees));
}
int whole(double v, int least, int most, const char* what) {
  const double r = std::round(v);
  if (!(r >= least && r <= most)) throw std::runtime_error(std::string("macro ") + what + " out of range");
  return static_cast<int>(r);
}

Polygons moire(const Primitive& q) {
  const Point c{q.mm(0), q.mm(1)};
  const double thickness = q.mm(3), gap = q.mm(4);
  const int rings = whole(q.at(5), 0, 1000, "ring count");
  Polygons area;
  double d = q.mm(2);
  for (int i = 0; i < rings && d > 0; ++i, d -= 2 * (thickness + gap)) {
    Polygons ring{{circle(c, d / 2), {}}};
    const double inner = d - 2 * thickness;
    if (inner > 0) ring = subtract(ring, {{circle(c, inner / 2), {}}});
    area = unite(area, ring);
  }
  const double w = q.mm(6), l = q.mm(7);
  if (w > 0 && l > 0) area = unite(area, {{rectangle(c, l, w), {}}, {rectangle(c, w, l), {}}});
  return transformed(area, rotation(q.optional(8)));
}

Polygons thermal(const Primitive& q) {
  const Point c{q.mm(0), q.mm(1)};
  const double outer = q.mm(2), inner = q.mm(3), gap = q.mm(4);
  Polygons area{{circle(c, outer / 2), {}}};
  Polygons away{{rectangle(c, 2 * outer, gap), {}}, {rectangle(c, gap, 2 * outer), {}}};
  if (inner > 0 && gap * std::sqrt(2.0) < inner) away.push_back({circle(c, inner / 2), {}});
  return transformed(subtract(area, unite(away)), rotation(q.optional(5)));
}

Polygons primitive_area(const Primitive& q) {
  switch (q.code) {
    case 1: {
      if (q.mm(1) <= 0) return {};
      return turned(circle({q.mm(2), q.mm(3)}, q.mm(1) / 2), q.optional(4));
    }
    case 2:
    case 20: {
      const Point a{q.mm(2), q.mm(3)}, b{q.mm(4), q.mm(5)};
      const double len = distance(a, b), half = q.mm(1) / 2;
      if (len == 0 || half <= 0) return {};
      const Point n = (half / len) * Point{a.y - b.y, b.x - a.x};
      return turned({a - n, b - n, b + n, a + n}, q.optional(6));
    }
    case 21:
      if (q.mm(1) <= 0 || q.mm(2) <= 0) return {};
      return turned(rectangle({q.mm(3), q.mm(4)}, q.mm(1), q.mm(2)), q.optional(5));
    case 22:
      if (q.mm(1) <= 0 || q.mm(2) <= 0) return {};
      return turned(rectangle({q.mm(3) + q.mm(1) / 2, q.mm(4) + q.mm(2) / 2}, q.mm(1), q.mm(2)), q.optional(5));
    case 4: {
      const int n = whole(q.at(1), 1, 20000, "vertex count");
      Ring ring;
      for (int i = 0; i <= n; ++i) {
        const std::size_t k = 2 + 2 * static_cast<std::size_t>(i);
        ring.push_back({q.mm(k), q.mm(k + 1)});
      }
      if (ring.size() > 1 && distance(ring.front(), ring.back()) < 1e-5) ring.pop_back();
      if (crossings_exceed(ring, 4 * ring.size() + 1000))
        throw std::runtime_error("a macro outline crosses itself again and again");
      return transformed(fill_contours({ring}), rotation(q.optional(4 + 2 * static_cast<std::size_t>(n))));
    }
    case 5: {
      const int n = whole(q.at(1), 3, 64, "polygon vertex count");
      if (q.mm(4) <= 0) return {};
      Ring ring;
      for (int i = 0; i < n; ++i) {
        const double a = 2 * kPi * i / n;
        ring.push_back({q.mm(2) + q.mm(4) / 2 * std::cos(a), q.mm(3) + q.mm(4) / 2 * std::sin(a)});
      }
      return turned(ring, q.optional(5));
    }
    case 6: return moire(q);
    case 7: return thermal(q);
    default: throw std::runtime_error("macro primitive code " + std::to_string(q.code) + " is not in the format");
  }
}

std::vector<std::string_view> fields_of(std::string_view s) {
  std::vector<std::string_view> fields;
  for (std::size_t from = 0;;) {
    const std::size_t comma = s.find(',', from);
    fields.push_back(s.substr(from, comma == s.npos ? s.npos : comma - from));
    if (comma == s.npos) return fields;
    from = comma + 1;
  }
}
}  // namespace

Polygons evaluate_macro(const std::vector<std::string>& statements, const std::vector<double>& parameters,
                        double unit) {
  std::map<int, double> variables;
  for (std::size_t i = 0; i < parameters.size(); ++i) variables[static_cast<int>(i) + 1] = parameters[i];
  Polygons area;
  Polygons pending;  // exposed primitives not yet united: one boolean for a run of them
  for (const std::string& text : statements) {
    if (text.empty() || text[0] == '0') continue;
    if (text[0] == '$') {
      const std::size_t eq = text.find('=');
      if (eq == std::string::npos) throw std::runtime_error("macro assignment without '='");
      int n{};
      std::from_chars(text.data() + 1, text.data() + eq, n);
      variables[n] = Expression(std::string_view(text).substr(eq + 1), variables).value();
      continue;
    }
    auto fields = fields_of(text);
    Primitive q{whole(Expression(fields[0], variables).value(), 0, 99, "primitive code"), {}, unit};
    if (!fields.back().empty() || fields.size() > 1)
      for (std::size_t i = 1; i < fields.size(); ++i)
        if (!(fields[i].empty() && i + 1 == fields.size())) q.p.push_back(Expression(fields[i], variables).value());
    const bool always_exposed = q.code == 6 || q.code == 7;
    const bool exposed = always_exposed || std::round(q.at(0)) != 0;
    Polygons part = primitive_area(q);
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
