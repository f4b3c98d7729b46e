// Materials, cost by way of building, the flying probe beside them, upkeep.
#include <cmath>

#include "sheet.h"

namespace teasel {

namespace {
std::string amount(double v) {
  return short_number(v, 3);
}
std::string coins(double v) {
  return fixed(v, 2);
}
std::string way(const Outcome& o, const BedCost& b) {
  return "bed, " + o.plan.options[b.option].option.name();
}
std::string from_boards(const std::optional<double>& boards) {
  return !boards ? "never" : *boards <= 1 ? "from the first board" : "from " + fixed(std::ceil(*boards), 0) + " boards";
}
std::string wanted_needs(const Outcome& o) {
  return std::to_string(o.cost.flying.wanted);
}
}  // namespace

std::string materials_csv(const Outcome& o) {
  std::string s = "item,detail,used_on,unit,needed,spare,to_order,price,sum,currency,plan_id\n";
  for (const Material& m : o.cost.materials) {
    const bool priced = m.price > 0;
    s += csv_row({m.item, m.detail, m.used_on, m.unit, amount(m.needed), amount(m.spare), amount(m.needed + m.spare),
                  priced ? coins(m.price) : "", priced ? coins((m.needed + m.spare) * m.price) : "", o.prices.currency,
                  o.plan_id});
  }
  return s;
}

std::string cost_csv(const Outcome& o) {
  std::string s = "way,group,item,quantity,unit,price,sum,note,plan_id\n";
  auto row = [&](const std::string& w, const char* group, const std::string& item, const std::string& quantity,
                 const std::string& unit, const std::string& price, const std::string& sum,
                 const std::string& note = {}) {
    s += csv_row({w, group, item, quantity, unit, price, sum, note, o.plan_id});
  };
  const auto& c = o.cost;
  for (const BedCost& b : c.beds) {
    const std::string w = way(o, b);
    for (const CostLine& l : b.lines)
      row(w, l.group.c_str(), l.item, amount(l.quantity), l.unit, coins(l.price), money(l.sum));
    row(w, "total", "to build", "", "", "", money(b.build), b.fault.empty() ? "" : "cannot be built so: " + b.fault);
    row(w, "total", "each board", amount(std::round(b.seconds * 10) / 10), "s", "", fixed(b.per_board, 3),
        "station, operator, worn probes, cleaning");
    row(w, "total", "needs served in full", std::to_string(b.needs), "of " + wanted_needs(o), "", "");
    row(w, "total", "all boards", amount(c.boards), "boards", "",
        coins(static_cast<double>(b.build) / 100 + b.per_board * c.boards));
    row(w, "total", "cheaper than the flying probe", b.break_even ? fixed(std::ceil(*b.break_even), 0) : "", "boards",
        "", "", from_boards(b.break_even));
  }
  const FlyingRun& f = c.flying;
  const std::string w = "flying probe";
  row(w, "total", "to set up", "", "", "", money(c.flying_setup));
  row(w, "time", "flying", fixed(f.way, 0), "mm", "", "",
      fixed(f.moving, 1) + " s shared by " + std::to_string(o.prices.flying.heads) + " heads");
  row(w, "time", "touching", std::to_string(f.stops.size()), "touches", "", "", fixed(f.touching, 1) + " s");
  row(w, "time", "loading" + std::string(f.sides == 2 && !o.prices.flying.both_sides ? " and turning over" : ""),
      fixed(f.handling, 1), "s", "", "");
  row(w, "total", "each board", amount(std::round(f.seconds() * 10) / 10), "s", "", fixed(c.flying_per_board, 3),
      "machine and operator");
  row(w, "total", "needs that a head can touch", std::to_string(f.reached), "of " + wanted_needs(o), "", "");
  row(w, "total", "all boards", amount(c.boards), "boards", "",
      coins(static_cast<double>(c.flying_setup) / 100 + c.flying_per_board * c.boards));
  return s;
}

std::vector<std::string> cost_lines(const Outcome& o) {
  const auto& c = o.cost;
  if (c.beds.empty()) return {};
  const BedCost& b = c.beds[c.chosen];
  const FlyingRun& f = c.flying;
  std::vector<std::string> lines = {"cost with the price list \"" + o.prices.name + "\", in " + o.prices.currency +
                                    ":"};
  for (const BedCost& x : c.beds) {
    std::string l = "  " + way(o, x) + (&x == &b ? " (chosen)" : "") + ": " + money(x.build) + " to build, " +
                    fixed(x.seconds, 0) + " s and " + fixed(x.per_board, 2) + " a board, " + std::to_string(x.needs) +
                    " of " + wanted_needs(o) + " needs in full";
    if (!x.fault.empty())
      l += "; cannot be built so: " + x.fault;
    else if (x.needs == 0)
      l += "; of no use";
    else
      l += x.break_even ? "; cheaper than the flying probe " + from_boards(x.break_even)
                        : "; never cheaper than the flying probe";
    lines.push_back(l);
  }
  if (f.sides > 0)
    lines.push_back("  flying probe: " + money(c.flying_setup) + " to set up, " + fixed(f.seconds(), 0) + " s and " +
                    fixed(c.flying_per_board, 2) + " a board (" + std::to_string(f.stops.size()) + " touches, " +
                    fixed(f.way / 1000, 1) + " m, " + (f.sides == 2 ? "both sides" : "one side") + "), touches " +
                    std::to_string(f.reached) + " of " + wanted_needs(o) +
                    " needs; it does not power or program the board");
  if (c.clean_every > 0)
    lines.push_back("  clean the tips every " + fixed(c.clean_every, 0) +
                    " boards; upkeep.csv says when probes are worn");
  return lines;
}

std::string upkeep_csv(const Outcome& o) {
  std::string s =
      "side,class,tip,surface,probes,life_touches,clean_every_touches,changes_over_boards,boards,cost,currency,plan_"
      "id\n";
  for (const Upkeep& u : o.cost.upkeep)
    s += csv_row({to_string(u.side), o.catalogue.classes[static_cast<std::size_t>(u.probe_class)].name, u.tip,
                  u.surface, std::to_string(u.probes), fixed(u.life, 0), fixed(u.clean_every, 0),
                  std::to_string(u.changes), fixed(o.cost.boards, 0), money(u.cost), o.prices.currency, o.plan_id});
  return s;
}

std::string flying_probe_csv(const Outcome& o) {
  std::string s = "stop,side,net,target,x_mm,y_mm,plan_id\n";
  int n = 0;
  for (const FlyingStop& x : o.cost.flying.stops)
    s += csv_row({std::to_string(++n), to_string(x.side), net_name(o, x.need), feature_of(o, x.target).name,
                  fixed(x.at.x, 3), fixed(x.at.y, 3), o.plan_id});
  return s;
}

std::string cost_svg(const Outcome& o) {
  const auto& c = o.cost;
  struct Line {
    std::string name;
    double build, each;
    const char *colour, *dash;
  };
  // Okabe and Ito's palette, told apart by dashes as well.
  const char* colours[] = {"#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00"};
  const char* dashes[] = {"", "7 2", "2 2", "7 2 2 2", "1 1.5", "4 1 1 1"};
  std::vector<Line> lines;
  double far = std::max(10.0, 3 * c.boards);
  for (const BedCost& b : c.beds) {
    const std::size_t k = lines.size() % 6;
    if (!b.fault.empty()) continue;
    lines.push_back({o.plan.options[b.option].option.name() + (b.option == o.plan.chosen ? " (chosen)" : ""),
                     static_cast<double>(b.build) / 100, b.per_board, colours[k], dashes[k]});
    if (b.break_even) far = std::max(far, 3 * *b.break_even);
  }
  if (c.flying.sides > 0)
    lines.push_back({"flying probe", static_cast<double>(c.flying_setup) / 100, c.flying_per_board, kInk, ""});
  const int decades = static_cast<int>(std::ceil(std::log10(std::min(far, 1e7)) - 1e-9));
  double low = INFINITY, high = 1;
  for (const Line& l : lines) {
    low = std::min(low, l.build + l.each);
    high = std::max(high, l.build + l.each * std::pow(10, decades));
  }
  low = std::pow(10, std::floor(std::log10(std::max(1.0, std::min(low, high)))));
  high = std::pow(10, std::ceil(std::log10(high)));
  constexpr double kLeft = 26, kTop = 22, kWide = 170, kHigh = 105;
  Sheet s(272, 150, "Cost over the number of boards, plan " + o.plan_id);
  auto x_of = [&](double boards) { return kLeft + kWide * std::log10(std::max(1.0, boards)) / decades; };
  auto y_of = [&](double cost) {
    return kTop + kHigh * (1 - std::log10(std::clamp(cost, low, high) / low) / std::max(1e-9, std::log10(high / low)));
  };
  auto thousands = [](double v) {
    std::string t = fixed(v, 0);
    for (int k = static_cast<int>(t.size()) - 3; k > 0; k -= 3) t.insert(static_cast<std::size_t>(k), " ");
    return t;
  };
  s.text({10, 9}, 4.5, "Cost of all boards, building or set-up included");
  s.text({10, 15}, 3,
         o.board.name + "; price list: " + o.prices.name + "; " + o.prices.currency +
             " over boards, both scales logarithmic; plan " + o.plan_id);
  for (int d = 0; d <= decades; ++d) {
    const double x = x_of(std::pow(10, d));
    s.line({x, kTop}, {x, kTop + kHigh}, "stroke=\"#ccd2d8\" stroke-width=\"0.2\"");
    s.text({x, kTop + kHigh + 5}, 3, thousands(std::pow(10, d)), "middle");
  }
  for (int d = 0; low * std::pow(10, d) <= high * 1.001; ++d) {
    const double v = low * std::pow(10, d);
    s.line({kLeft, y_of(v)}, {kLeft + kWide, y_of(v)}, "stroke=\"#ccd2d8\" stroke-width=\"0.2\"");
    s.text({kLeft - 2, y_of(v) + 1}, 3, thousands(v), "end");
  }
  s.text({kLeft + kWide / 2, kTop + kHigh + 11}, 3.2, "boards", "middle");
  if (c.boards >= 1 && x_of(c.boards) <= kLeft + kWide) {
    s.line({x_of(c.boards), kTop}, {x_of(c.boards), kTop + kHigh},
           "stroke=\"#7a838c\" stroke-dasharray=\"0.6 1\" stroke-width=\"0.3\"");
    s.text({x_of(c.boards) - 1, kTop + kHigh - 2}, 2.6, thousands(c.boards) + " boards counted", "end", 0, "#59616b");
  }
  std::vector<std::pair<double, std::size_t>> ends;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const Line& l = lines[i];
    std::string d;
    constexpr int kSteps = 120;
    for (int k = 0; k <= kSteps; ++k) {
      const double boards = std::pow(10, decades * static_cast<double>(k) / kSteps);
      d += (k ? "L" : "M") + num(x_of(boards)) + " " + num(y_of(l.build + l.each * boards));
    }
    s.raw("<path d=\"" + d + "\" stroke=\"" + l.colour + "\" stroke-width=\"0.7\"" +
          (*l.dash ? std::string(" stroke-dasharray=\"") + l.dash + "\"" : std::string()) + "/>\n");
    ends.emplace_back(y_of(l.build + l.each * std::pow(10, decades)), i);
  }
  // Names beside the ends, pushed apart, and led back to their lines.
  std::stable_sort(ends.begin(), ends.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  double y = kTop - 2;
  for (const auto& [end, i] : ends) {
    const Line& l = lines[i];
    y = std::max(y + 5, end + 1);
    s.line({kLeft + kWide, end}, {kLeft + kWide + 4, y - 1},
           (std::string("stroke=\"") + l.colour + "\" stroke-width=\"0.25\"").c_str());
    s.line({kLeft + kWide + 4, y - 1}, {kLeft + kWide + 12, y - 1},
           (std::string("stroke=\"") + l.colour + "\" stroke-width=\"0.7\"" +
            (*l.dash ? std::string(" stroke-dasharray=\"") + l.dash + "\"" : std::string()))
               .c_str());
    s.text({kLeft + kWide + 14, y}, 2.7, l.name);
  }
  const BedCost* b = c.beds.empty() ? nullptr : &c.beds[c.chosen];
  if (b && b->fault.empty() && b->break_even && *b->break_even > 1 && c.flying.sides > 0) {
    const double boards = *b->break_even, cost = static_cast<double>(b->build) / 100 + b->per_board * boards;
    s.raw("<circle cx=\"" + num(x_of(boards)) + "\" cy=\"" + num(y_of(cost)) +
          "\" r=\"1.6\" fill=\"white\" stroke-width=\"0.5\"/>\n");
    s.text({x_of(boards), y_of(cost) - 3.5}, 3, "break-even at " + thousands(std::ceil(boards)) + " boards", "end");
  }
  return s.file();
}

}  // namespace teasel
