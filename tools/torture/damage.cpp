#include "damage.h"

#include <algorithm>
#include <cctype>
#include <cmath>

namespace torture {

namespace {
std::size_t pick(Dice& d, std::size_t n) {
  return n == 0 ? 0 : d() % n;
}

std::vector<std::string> lines_of(const std::string& t) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < t.size();) {
    const std::size_t n = std::min(t.find('\n', i), t.size());
    out.push_back(t.substr(i, n - i));
    i = n + 1;
  }
  return out;
}
std::string joined(const std::vector<std::string>& lines) {
  std::string t;
  for (const auto& l : lines) t += l + "\n";
  return t;
}
std::string replaced_once(std::string t, const std::string& what, const std::string& with) {
  if (const std::size_t i = t.find(what); i != t.npos) t.replace(i, what.size(), with);
  return t;
}

std::string truncated(const std::string& t, Dice& d) {
  return t.substr(0, t.size() / 10 + pick(d, t.size() * 8 / 10 + 1));
}
std::string noise(const std::string& t, Dice& d) {
  std::string out = t;
  for (std::size_t n = 1 + pick(d, 6); n > 0 && !out.empty(); --n) out[pick(d, out.size())] = static_cast<char>(d());
  return out;
}
std::string not_utf8(const std::string& t, Dice& d) {
  std::string out = t;
  out.insert(pick(d, out.size()), "\xC3\x28\xFF\xFE");
  return out;
}
std::string lines_deleted(const std::string& t, Dice& d) {
  auto l = lines_of(t);
  for (std::size_t n = 1 + pick(d, 3); n > 0 && !l.empty(); --n)
    l.erase(l.begin() + static_cast<std::ptrdiff_t>(pick(d, l.size())));
  return joined(l);
}
std::string block_deleted(const std::string& t, Dice& d) {
  auto l = lines_of(t);
  if (l.size() < 20) return t;
  const std::size_t from = pick(d, l.size() * 3 / 4), n = 1 + pick(d, l.size() / 5);
  l.erase(l.begin() + static_cast<std::ptrdiff_t>(from),
          l.begin() + static_cast<std::ptrdiff_t>(std::min(from + n, l.size())));
  return joined(l);
}
std::string lines_doubled(const std::string& t, Dice& d) {
  auto l = lines_of(t);
  for (std::size_t n = 1 + pick(d, 5); n > 0 && !l.empty(); --n) {
    const std::size_t i = pick(d, l.size());
    l.insert(l.begin() + static_cast<std::ptrdiff_t>(i), l[i]);
  }
  return joined(l);
}
std::string lines_swapped(const std::string& t, Dice& d) {
  auto l = lines_of(t);
  if (l.size() > 3)
    for (std::size_t n = 1 + pick(d, 4); n > 0; --n) std::swap(l[pick(d, l.size())], l[pick(d, l.size())]);
  return joined(l);
}
std::string digit_changed(const std::string& t, Dice& d) {
  std::string out = t;
  for (int tries = 0; tries < 200 && !out.empty(); ++tries)
    if (const std::size_t i = pick(d, out.size()); std::isdigit(static_cast<unsigned char>(out[i]))) {
      out[i] = static_cast<char>('0' + (out[i] - '0' + 1 + static_cast<int>(pick(d, 9))) % 10);
      break;
    }
  return out;
}
std::string huge(const std::string& t, Dice&) {
  std::string out = t;
  const auto l = lines_of(t);
  const std::string middle = l.empty() ? "X" : l[l.size() / 2] + "\n";
  while (out.size() < 4'000'000) out += middle;
  return out;
}
std::string other_unit(const std::string& t, Dice&) {
  for (const auto& [a, b] : {std::pair<const char*, const char*>{"%MOMM*%", "%MOIN*%"},
                             {"%MOIN*%", "%MOMM*%"},
                             {"METRIC", "INCH"},
                             {"INCH", "METRIC"},
                             {"M71", "M72"},
                             {"M72", "M71"},
                             {"UNITS CUST 1", "UNITS CUST 0"},
                             {"UNITS CUST 0", "UNITS CUST 1"},
                             {"(mm)", "(inch)"}})
    if (t.find(a) != t.npos) return replaced_once(t, a, b);
  return t;
}
std::string long_line(const std::string& t, Dice& d) {
  std::string out = t;
  out.insert(pick(d, out.size()), std::string(300'000, 'X'));
  return out;
}
}  // namespace

std::string with_coordinates(const std::string& t, const std::function<double(char, double)>& f) {
  std::string out;
  out.reserve(t.size() + t.size() / 8);
  bool definition = false;  // of an aperture: its X is no coordinate
  for (std::size_t i = 0; i < t.size();) {
    const char c = t[i];
    if (t.compare(i, 3, "%AD") == 0 || t.compare(i, 3, "%AM") == 0)
      definition = true;
    else if (definition && c == '%')
      definition = false;
    if (definition) {
      out += c;
      ++i;
      continue;
    }
    const bool word = i > 0 && (std::isalnum(static_cast<unsigned char>(t[i - 1])) &&
                                !std::isdigit(static_cast<unsigned char>(t[i - 1])));
    std::size_t j = i + 1;
    if ((c == 'X' || c == 'Y') && !word) {
      if (j < t.size() && (t[j] == '+' || t[j] == '-')) ++j;
      const std::size_t digits = j;
      std::size_t point = t.npos;
      while (j < t.size() && (std::isdigit(static_cast<unsigned char>(t[j])) || (t[j] == '.' && point == t.npos))) {
        if (t[j] == '.') point = j;
        ++j;
      }
      if (j - digits >= 3) {
        const bool sign = t[i + 1] == '+' || t[i + 1] == '-', decimal = point != t.npos;
        const double v = f(c, std::stod(t.substr(i + 1, j - i - 1)));
        const std::size_t width = j - digits;
        std::string n;
        if (decimal) {
          n = std::to_string(std::abs(v));
          n.resize(std::min(n.size(), n.find('.') + 1 + (j - point - 1)));
        } else {
          n = std::to_string(std::llround(std::abs(v)));
          if (n.size() < width) n.insert(0, width - n.size(), '0');
        }
        out += c;
        out += v < 0 ? "-" : sign ? "+" : "";
        out += n;
        i = j;
        continue;
      }
    }
    out += c;
    ++i;
  }
  return out;
}

const std::vector<Damage>& damages() {
  static const std::vector<Damage> all = {
      {"cut off", true, truncated},
      {"noise", true, noise},
      {"not UTF-8", false, not_utf8},
      {"lines deleted", true, lines_deleted},
      {"block deleted", true, block_deleted},
      {"lines doubled", false, lines_doubled},
      {"lines swapped", true, lines_swapped},
      {"digit changed", true, digit_changed},
      {"huge", false, huge},
      {"long line", false, long_line},
      {"other unit", true, other_unit},
      {"mirrored", true,
       [](const std::string& t, Dice&) {
         return with_coordinates(t, [](char a, double v) { return a == 'X' ? -v : v; });
       }},
      {"upside down", true,
       [](const std::string& t, Dice&) {
         return with_coordinates(t, [](char a, double v) { return a == 'Y' ? -v : v; });
       }},
      {"shifted by a thousandth", true,
       [](const std::string& t, Dice&) {
         double most = 0;
         with_coordinates(t, [&](char, double v) {
           most = std::max(most, std::abs(v));
           return v;
         });
         return with_coordinates(t, [&](char, double v) { return v + most / 1000; });
       }},
      {"shifted by a hundredth", true,
       [](const std::string& t, Dice&) {
         double most = 0;
         with_coordinates(t, [&](char, double v) {
           most = std::max(most, std::abs(v));
           return v;
         });
         return with_coordinates(t, [&](char, double v) { return v + most / 100; });
       }},
      {"scaled by 1.01", true,
       [](const std::string& t, Dice&) { return with_coordinates(t, [](char, double v) { return v * 1.01; }); }},
      {"scaled by 2.54", true,
       [](const std::string& t, Dice&) { return with_coordinates(t, [](char, double v) { return v * 2.54; }); }},
  };
  return all;
}

}  // namespace torture
