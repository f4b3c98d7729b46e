// Damage that keeps every file well-formed: small shifts, wrong tools, lost ends with a proper end, other names.
#include <algorithm>
#include <cctype>
#include <cmath>
#include <map>

#include "damage.h"

namespace torture {

namespace {
bool is_gerber(const std::string& text) {
  return text.find("%FS") != text.npos;
}
bool is_drill(const std::string& text) {
  return text.rfind("M48", 0) == 0 || text.find("\nM48") != text.npos;
}
bool is_netlist(const std::string& text) {
  return text.find("\n327") != text.npos || text.find("\n317") != text.npos;
}

/// Counts of the file's coordinates in a millimetre; 0 where the file leaves it to its reader.
double counts_per_mm(const std::string& text) {
  constexpr double kInch = 25.4;
  if (is_gerber(text)) {
    const std::size_t format = text.find('X', text.find("%FS"));
    if (format + 2 >= text.size() || !std::isdigit(static_cast<unsigned char>(text[format + 2]))) return 0;
    const double scale = std::pow(10, text[format + 2] - '0');
    return text.find("%MOIN") != text.npos ? scale / kInch : scale;
  }
  if (is_netlist(text)) return text.find("CUST 1") != text.npos ? 1000 : 10000 / kInch;
  if (!is_drill(text)) return 0;
  const std::size_t point = text.find('.', text.find("\n%"));
  if (point == text.npos) return text.find("METRIC") != text.npos ? 1000 : 0;  // three decimals are usual
  return text.find("INCH") != text.npos ? 1 / kInch : 1;
}

std::string shifted(const std::string& text, double mm) {
  const double scale = counts_per_mm(text);
  if (scale == 0) return text;
  return with_coordinates(text, [&](char axis, double value) { return axis == 'X' ? value + mm * scale : value; });
}

/// Every number behind `mark` at the beginning of a line and a tool's or aperture's number, times a factor.
std::string sizes_times(const std::string& text, const std::string& mark, char before, double factor, int most) {
  std::string out;
  int changed = 0;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    std::string line = text.substr(from, end - from);
    const std::size_t size = line.rfind(mark, 0) == 0 ? line.find(before, mark.size()) : line.npos;
    if (size != line.npos && changed < most) {
      std::size_t last = size + 1;
      while (last < line.size() && (std::isdigit(static_cast<unsigned char>(line[last])) || line[last] == '.')) ++last;
      if (last > size + 1) {
        const double value = std::stod(line.substr(size + 1, last - size - 1)) * factor;
        line.replace(size + 1, last - size - 1, std::to_string(value));
        ++changed;
      }
    }
    out += line;
    if (end < text.size()) out += '\n';
    from = end + 1;
  }
  return out;
}

/// The first part of the file and what an exporter writes at the end.
std::string shortened(const std::string& text, double share) {
  const std::string end = is_gerber(text) ? "M02*\n" : is_netlist(text) ? "999\n" : is_drill(text) ? "M30\n" : "";
  if (end.empty()) return text;
  const std::size_t cut = text.find('\n', static_cast<std::size_t>(share * static_cast<double>(text.size())));
  return cut == text.npos ? text : text.substr(0, cut + 1) + end;
}

/// An opening or a pour over everything.
std::string flooded(const std::string& text) {
  const std::size_t end = text.rfind("M02");
  if (!is_gerber(text) || end == text.npos) return text;
  double least_x = 1e18, least_y = 1e18, most_x = -1e18, most_y = -1e18;
  with_coordinates(text, [&](char axis, double value) {
    (axis == 'X' ? least_x : least_y) = std::min(axis == 'X' ? least_x : least_y, value);
    (axis == 'X' ? most_x : most_y) = std::max(axis == 'X' ? most_x : most_y, value);
    return value;
  });
  auto at = [](double x, double y) {
    return "X" + std::to_string(std::llround(x)) + "Y" + std::to_string(std::llround(y));
  };
  const std::string area = "G36*\n" + at(least_x, least_y) + "D02*\nG01*\n" + at(most_x, least_y) + "D01*\n" +
                           at(most_x, most_y) + "D01*\n" + at(least_x, most_y) + "D01*\n" + at(least_x, least_y) +
                           "D01*\nG37*\n";
  return text.substr(0, end) + area + text.substr(end);
}

/// Net names of a netlist's records, each given to `other`.
std::string with_nets(const std::string& text, const std::function<std::string(const std::string&)>& other) {
  constexpr std::size_t kName = 3, kWidth = 14;
  std::string out = text;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    const std::string code = text.substr(from, 3);
    if ((code == "317" || code == "327" || code == "367") && end - from > kName + kWidth) {
      std::string name = text.substr(from + kName, kWidth);
      name.erase(name.find_last_not_of(' ') + 1);
      std::string put = other(name);
      put.resize(kWidth, ' ');
      out.replace(from + kName, kWidth, put);
    }
    from = end + 1;
  }
  return out;
}
std::vector<std::string> nets_of(const std::string& text) {
  std::vector<std::string> names;
  with_nets(text, [&](const std::string& name) {
    if (!name.empty() && name != "N/C" && std::find(names.begin(), names.end(), name) == names.end())
      names.push_back(name);
    return name;
  });
  return names;
}
std::string nets_changed(const std::string& text, Dice& dice, int kind) {
  const std::vector<std::string> names = nets_of(text);
  if (!is_netlist(text) || names.size() < 3) return text;
  const std::size_t one = dice() % names.size(), two = (one + 1 + dice() % (names.size() - 1)) % names.size();
  return with_nets(text, [&](const std::string& name) -> std::string {
    const auto at = std::find(names.begin(), names.end(), name);
    if (at == names.end()) return name;
    const std::size_t i = static_cast<std::size_t>(at - names.begin());
    if (kind == 0) return names[(i + 1) % names.size()];
    if (kind == 1) return i == one ? names[two] : i == two ? names[one] : name;
    if (kind == 2) return i == one ? "RENAMED" : name;
    return i == one ? names[two] : name;
  });
}
/// Access codes of the two outer sides.
std::string sides_exchanged(const std::string& text) {
  if (!is_netlist(text)) return text;
  const auto each_code = [&](const auto& use) {
    for (std::size_t i = text.find("A0"); i != text.npos && i + 3 < text.size(); i = text.find("A0", i + 1))
      if (text[i + 3] == 'X') use(i + 2);
  };
  char bottom = '2';
  each_code([&](std::size_t at) { bottom = std::max(bottom, text[at]); });
  std::string out = text;
  each_code([&](std::size_t at) {
    if (text[at] == '1') out[at] = bottom;
    if (text[at] == bottom) out[at] = '1';
  });
  return out;
}
/// The first aperture is defined once more, three times as large, before the end.
std::string aperture_twice(const std::string& text) {
  const std::size_t first = text.find("%ADD"), end = text.find("*%", first);
  const std::size_t middle = text.find("D03*\n", text.size() / 2);
  if (!is_gerber(text) || first == text.npos || end == text.npos || middle == text.npos) return text;
  const std::string again = sizes_times(text.substr(first, end + 2 - first), "%ADD", ',', 3, 1);
  return text.substr(0, middle + 5) + again + "\n" + text.substr(middle + 5);
}
}  // namespace

const std::vector<Damage>& release_damages() {
  static const std::vector<Damage> all = {
      {"shifted by 0.2 mm", true, [](const std::string& text, Dice&) { return shifted(text, 0.2); }},
      {"shifted by 0.5 mm", true, [](const std::string& text, Dice&) { return shifted(text, 0.5); }},
      {"scaled by 1.005", true,
       [](const std::string& text, Dice&) {
         return with_coordinates(text, [](char, double value) { return value * 1.005; });
       }},
      {"tools times 0.8", true,
       [](const std::string& text, Dice&) { return is_drill(text) ? sizes_times(text, "T", 'C', 0.8, 999) : text; }},
      {"tools times 25.4", true,
       [](const std::string& text, Dice&) { return is_drill(text) ? sizes_times(text, "T", 'C', 25.4, 999) : text; }},
      {"apertures doubled", true,
       [](const std::string& text, Dice&) { return sizes_times(text, "%ADD", ',', 2, 999); }},
      {"one aperture doubled", true,
       [](const std::string& text, Dice&) { return sizes_times(text, "%ADD", ',', 2, 1); }},
      {"apertures of no size", true,
       [](const std::string& text, Dice&) { return sizes_times(text, "%ADD", ',', 0, 999); }},
      {"aperture defined twice", true, [](const std::string& text, Dice&) { return aperture_twice(text); }},
      {"95 % with a proper end", true, [](const std::string& text, Dice&) { return shortened(text, 0.95); }},
      {"half with a proper end", true, [](const std::string& text, Dice&) { return shortened(text, 0.5); }},
      {"flooded", true, [](const std::string& text, Dice&) { return flooded(text); }},
      {"net names rotated", true, [](const std::string& text, Dice& dice) { return nets_changed(text, dice, 0); }},
      {"two nets exchanged", true, [](const std::string& text, Dice& dice) { return nets_changed(text, dice, 1); }},
      {"one net renamed", true, [](const std::string& text, Dice& dice) { return nets_changed(text, dice, 2); }},
      {"two nets merged", true, [](const std::string& text, Dice& dice) { return nets_changed(text, dice, 3); }},
      {"access codes exchanged", true, [](const std::string& text, Dice&) { return sides_exchanged(text); }},
  };
  return all;
}

}  // namespace torture
