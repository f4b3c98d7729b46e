// Materials, cost by way of building, the flying probe beside them, upkeep.
#include <cmath>

#include "sheet.h"

namespace teasel {

namespace {
std::string amount(double value) {
  return short_number(value, 3);
}
std::string coins(double money) {
  return fixed(money, 2);
}
std::string way(const Outcome& outcome, const BedCost& bed) {
  return "bed, " + outcome.plan.options[bed.option].option.name();
}
std::string from_boards(const std::optional<double>& boards) {
  if (!boards) return "never";
  return *boards <= 1 ? "from the first board" : "from " + fixed(std::ceil(*boards), 0) + " boards";
}
/// "4100 to 9800 boards, moved most by ..."; empty where nothing moves it.
std::string range_of(const BedCost& bed) {
  if (bed.moved_by.empty() || !bed.even_least) return {};
  const std::string least = fixed(std::ceil(*bed.even_least), 0);
  return (bed.even_most ? "between " + least + " and " + fixed(std::ceil(*bed.even_most), 0) + " boards"
                        : "from " + least + " boards on, or never") +
         ", as far as the price list may be off; moved most by " + bed.moved_by;
}
std::string wanted_needs(const Outcome& outcome) {
  return std::to_string(outcome.results.cost.flying.wanted);
}
}  // namespace

std::string materials_csv(const Outcome& outcome) {
  Csv::Text csv = "item,detail,used_on,unit,needed,spare,to_order,price,sum,currency,plan_id\n";
  const Respin& respin = outcome.results.respin;
  for (const Material& material : respin.used ? respin.materials : outcome.results.cost.materials) {
    const bool priced = material.price > Money{};
    csv += csv_row({material.item, material.detail, material.used_on, material.unit, amount(material.needed),
                    amount(material.spare), amount(material.needed + material.spare),
                    priced ? coins(material.price.v) : "",
                    priced ? coins((material.needed + material.spare) * material.price.v) : "", outcome.prices.currency,
                    outcome.plan_id});
  }
  return csv.text();
}

std::string cost_csv(const Outcome& outcome) {
  Csv::Text csv = "way,group,item,quantity,unit,price,sum,note,plan_id\n";
  auto row = [&](const std::string& name, const std::string& group, const std::string& item,
                 const std::string& quantity, const std::string& unit, const std::string& price, const std::string& sum,
                 const std::string& note = {}) {
    csv += csv_row({name, group, item, quantity, unit, price, sum, note, outcome.plan_id});
  };
  const auto& cost = outcome.results.cost;
  for (const BedCost& bed : cost.beds) {
    const std::string name = way(outcome, bed);
    for (const CostLine& item : bed.lines)
      row(name, item.group, item.item, amount(item.quantity), item.unit, coins(item.price.v), money(item.sum));
    row(name, "total", "to build", "", "", "", money(bed.build),
        bed.fault.empty() ? "" : "cannot be built so: " + bed.fault);
    row(name, "total", "each board", amount(std::round(bed.time.v * 10) / 10), "s", "", fixed(bed.per_board, 3),
        "station, operator, worn probes, cleaning");
    row(name, "total", "needs served in full", std::to_string(bed.needs), "of " + wanted_needs(outcome), "", "");
    row(name, "total", "all boards", amount(cost.boards), "boards", "",
        coins(bed.build.units() + bed.per_board.v * cost.boards));
    row(name, "total", "cheaper than the flying probe", bed.break_even ? fixed(std::ceil(*bed.break_even), 0) : "",
        "boards", "", "", from_boards(bed.break_even));
    row(name, "total", "cheaper than the flying probe, range",
        bed.even_least ? fixed(std::ceil(*bed.even_least), 0) : "", "boards", "", "", range_of(bed));
  }
  const FlyingRun& flight = cost.flying;
  const std::string name = "flying probe";
  row(name, "total", "to set up", "", "", "", money(cost.flying_setup));
  row(name, "time", "flying", fixed(flight.way, 0), "mm", "", "",
      fixed(flight.moving, 1) + " s shared by " + std::to_string(outcome.prices.flying.heads) + " heads");
  row(name, "time", "touching", std::to_string(flight.stops.size()), "touches", "", "",
      fixed(flight.touching, 1) + " s");
  row(name, "time", "measuring parts", std::to_string(flight.parts), "parts", "", "",
      fixed(flight.measuring, 1) + " s, one after the other");
  row(name, "time",
      "loading" + std::string(flight.sides == 2 && !outcome.prices.flying.both_sides ? " and turning over" : ""),
      fixed(flight.handling, 1), "s", "", "");
  if (cost.flying_program > Seconds{})
    row(name, "time", "programming at a place of its own", fixed(cost.flying_program, 1), "s", "", "", "operator only");
  row(name, "total", "each board", amount(std::round(cost.flying_time.v * 10) / 10), "s", "",
      fixed(cost.flying_per_board, 3),
      cost.flying_program > Seconds{} ? "machine and operator, programming included" : "machine and operator");
  row(name, "total", "needs that a head can touch", std::to_string(flight.reached), "of " + wanted_needs(outcome), "",
      "");
  row(name, "total", "all boards", amount(cost.boards), "boards", "",
      coins(cost.flying_setup.units() + cost.flying_per_board.v * cost.boards));
  return csv.text();
}

std::vector<std::string> cost_lines(const Outcome& outcome) {
  const auto& cost = outcome.results.cost;
  if (cost.beds.empty()) return {};
  const BedCost& chosen_bed = cost.beds[cost.chosen];
  const FlyingRun& flight = cost.flying;
  const std::string of_panel = cost.boards_a_touch > 1 ? ", needs" + of_the_panel(outcome) +
                                                             "; time and money a board are its share of the panel's"
                                                       : std::string();
  std::vector<std::string> lines = {"cost with the price list \"" + outcome.prices.name + "\", in " +
                                    outcome.prices.currency + of_panel + ":"};
  for (const BedCost& bed : cost.beds) {
    std::string line = "  " + way(outcome, bed) + (&bed == &chosen_bed ? " (chosen)" : "") + ": " + money(bed.build) +
                       " to build, " + fixed(bed.time, 0) + " s and " + fixed(bed.per_board, 2) + " a board, " +
                       std::to_string(bed.needs) + " of " + wanted_needs(outcome) + " needs in full";
    if (!bed.fault.empty())
      line += "; cannot be built so: " + bed.fault;
    else if (bed.needs == 0)
      line += "; it serves no need in full";
    else
      line += bed.break_even ? "; cheaper than the flying probe " + from_boards(bed.break_even)
                             : "; never cheaper than the flying probe";
    lines.push_back(line);
    if (const std::string range = range_of(bed); &bed == &chosen_bed && !range.empty()) lines.push_back("    " + range);
  }
  if (flight.sides > 0)
    lines.push_back(
        "  flying probe: " + money(cost.flying_setup) + " to set up, " + fixed(cost.flying_time, 0) + " s and " +
        fixed(cost.flying_per_board, 2) + " a board (" + std::to_string(flight.stops.size()) + " touches, " +
        fixed(flight.way / 1000, 1) + " m, " + (flight.sides == 2 ? "both sides" : "one side") + ", " +
        std::to_string(flight.parts) + " parts measured one by one), touches " + std::to_string(flight.reached) +
        " of " + wanted_needs(outcome) + " needs; a flying probe does not power the board" +
        (cost.flying_program > Seconds{} ? ", and programming it takes another " + fixed(cost.flying_program, 0) +
                                               " s at a place of its own, which is counted"
                                         : std::string()));
  if (cost.clean_every > Touches{})
    lines.push_back("  clean the tips every " + fixed(cost.clean_every, 0) + " " + touched_at_once(outcome) +
                    "; upkeep.csv says when probes are worn");
  return lines;
}

std::string upkeep_csv(const Outcome& outcome) {
  Csv::Text csv =
      "side,class,tip,surface,probes,life_touches,clean_every_touches,changes_over_boards,boards,cost,currency,plan_"
      "id\n";
  for (const Upkeep& upkeep : outcome.results.cost.upkeep)
    csv += csv_row({to_string(upkeep.side), outcome.catalogue.classes[upkeep.probe_class].name, upkeep.tip,
                    upkeep.surface, std::to_string(upkeep.probes), fixed(upkeep.life, 0), fixed(upkeep.clean_every, 0),
                    std::to_string(upkeep.changes), fixed(outcome.results.cost.boards, 0), money(upkeep.cost),
                    outcome.prices.currency, outcome.plan_id});
  return csv.text();
}

std::string flying_probe_csv(const Outcome& outcome) {
  Csv::Text csv = "stop,side,net,target,x_mm,y_mm,plan_id\n";
  int number = 0;
  for (const FlyingStop& stop : outcome.results.cost.flying.stops)
    csv += csv_row({std::to_string(++number), to_string(stop.side), net_name(outcome, stop.need),
                    feature_of(outcome, stop.target).name, fixed(stop.at.x, 3), fixed(stop.at.y, 3), outcome.plan_id});
  return csv.text();
}

namespace {
/// One way to test, as a line over the number of boards.
struct WayLine {
  std::string name{};
  double build{}, each{};
  const char* colour = kInk;
  const char* dash = "";
  [[nodiscard]] double at(double boards) const { return build + each * boards; }
  [[nodiscard]] Markup stroke(const char* width) const {
    return Markup("stroke=\"") + colour + "\" stroke-width=\"" + width + "\"" +
           (*dash ? Markup(" stroke-dasharray=\"") + dash + "\"" : Markup());
  }
};

std::string thousands(double value) {
  std::string text = fixed(value, 0);
  for (int k = static_cast<int>(text.size()) - 3; k > 0; k -= 3) text.insert(static_cast<std::size_t>(k), " ");
  return text;
}

/// Money over boards, both axes logarithmic.
class CostChart {
 public:
  explicit CostChart(const Outcome& outcome)
      : outcome_(outcome), sheet_(272, 150, "Cost over the number of boards, plan " + outcome.plan_id) {}
  Markup run() {
    choose_lines();
    choose_axes();
    draw_axes();
    draw_lines();
    draw_break_even();
    return sheet_.drawing();
  }

 private:
  static constexpr double kLeft = 26, kTop = 22, kWide = 170, kHigh = 105;
  [[nodiscard]] double x_of(double boards) const {
    return kLeft + kWide * std::log10(std::max(1.0, boards)) / decades_;
  }
  [[nodiscard]] double y_of(double cost) const {
    return kTop +
           kHigh * (1 - std::log10(std::clamp(cost, low_, high_) / low_) / std::max(1e-9, std::log10(high_ / low_)));
  }
  void choose_lines();
  void choose_axes();
  void draw_axes();
  void draw_lines();
  void draw_break_even();

  const Outcome& outcome_;
  Sheet sheet_;
  std::vector<WayLine> lines_;
  double far_ = 0;  ///< boards that the axis must reach
  int decades_ = 0;
  double low_ = INFINITY, high_ = 1;
};

void CostChart::choose_lines() {
  // Okabe and Ito's palette, told apart by dashes as well.
  constexpr const char* kColours[] = {"#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00"};
  constexpr const char* kDashes[] = {"", "7 2", "2 2", "7 2 2 2", "1 1.5", "4 1 1 1"};
  const CostComparison& cost = outcome_.results.cost;
  far_ = std::max(10.0, 3 * cost.boards);
  for (const BedCost& bed : cost.beds) {
    const std::size_t k = lines_.size() % 6;
    if (!bed.fault.empty()) continue;
    const std::string mark = bed.option == outcome_.plan.chosen ? " (chosen)" : "";
    lines_.push_back({.name = outcome_.plan.options[bed.option].option.name() + mark,
                      .build = bed.build.units(),
                      .each = bed.per_board.v,
                      .colour = kColours[k],
                      .dash = kDashes[k]});
    if (bed.break_even) far_ = std::max(far_, 3 * *bed.break_even);
  }
  if (cost.flying.sides > 0)
    lines_.push_back({.name = "flying probe", .build = cost.flying_setup.units(), .each = cost.flying_per_board.v});
}

void CostChart::choose_axes() {
  decades_ = static_cast<int>(std::ceil(std::log10(std::min(far_, 1e7)) - 1e-9));
  for (const WayLine& line : lines_) {
    low_ = std::min(low_, line.at(1));
    high_ = std::max(high_, line.at(std::pow(10, decades_)));
  }
  low_ = std::pow(10, std::floor(std::log10(std::max(1.0, std::min(low_, high_)))));
  high_ = std::pow(10, std::ceil(std::log10(high_)));
}

void CostChart::draw_axes() {
  sheet_.text({10, 9}, 4.5, "Cost of all boards, building or set-up included");
  sheet_.text({10, 15}, 3,
              outcome_.board.name + "; price list: " + outcome_.prices.name + "; " + outcome_.prices.currency +
                  " over boards, both scales logarithmic; plan " + outcome_.plan_id);
  for (int decade = 0; decade <= decades_; ++decade) {
    const double x = x_of(std::pow(10, decade));
    sheet_.line({x, kTop}, {x, kTop + kHigh}, "stroke=\"#ccd2d8\" stroke-width=\"0.2\"");
    sheet_.text({x, kTop + kHigh + 5}, 3, thousands(std::pow(10, decade)), "middle");
  }
  for (int decade = 0; low_ * std::pow(10, decade) <= high_ * 1.001; ++decade) {
    const double cost = low_ * std::pow(10, decade);
    sheet_.line({kLeft, y_of(cost)}, {kLeft + kWide, y_of(cost)}, "stroke=\"#ccd2d8\" stroke-width=\"0.2\"");
    sheet_.text({kLeft - 2, y_of(cost) + 1}, 3, thousands(cost), "end");
  }
  sheet_.text({kLeft + kWide / 2, kTop + kHigh + 11}, 3.2, "boards", "middle");
  const double boards = outcome_.results.cost.boards;
  if (boards >= 1 && x_of(boards) <= kLeft + kWide) {
    sheet_.line({x_of(boards), kTop}, {x_of(boards), kTop + kHigh},
                "stroke=\"#7a838c\" stroke-dasharray=\"0.6 1\" stroke-width=\"0.3\"");
    sheet_.text({x_of(boards) - 1, kTop + kHigh - 2}, 2.6, thousands(boards) + " boards counted", "end", 0, "#59616b");
  }
}

void CostChart::draw_lines() {
  std::vector<std::pair<double, std::size_t>> ends;
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    const WayLine& line = lines_[i];
    Markup path;
    constexpr int kSteps = 120;
    for (int k = 0; k <= kSteps; ++k) {
      const double boards = std::pow(10, decades_ * static_cast<double>(k) / kSteps);
      path += (k ? "L" : "M") + num(x_of(boards)) + " " + num(y_of(line.at(boards)));
    }
    sheet_.raw("<path d=\"" + path + "\" " + line.stroke("0.7") + "/>\n");
    ends.emplace_back(y_of(line.at(std::pow(10, decades_))), i);
  }
  // Names stand beside the ends of the lines. Where they would overlap they are pushed apart and led back.
  std::stable_sort(ends.begin(), ends.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  double y = kTop - 2;
  for (const auto& [end, i] : ends) {
    const WayLine& line = lines_[i];
    y = std::max(y + 5, end + 1);
    sheet_.line({kLeft + kWide, end}, {kLeft + kWide + 4, y - 1},
                Markup("stroke=\"") + line.colour + "\" stroke-width=\"0.25\"");
    sheet_.line({kLeft + kWide + 4, y - 1}, {kLeft + kWide + 12, y - 1}, line.stroke("0.7"));
    sheet_.text({kLeft + kWide + 14, y}, 2.7, line.name);
  }
}

void CostChart::draw_break_even() {
  const CostComparison& cost = outcome_.results.cost;
  if (cost.beds.empty() || cost.flying.sides == 0) return;
  const BedCost& bed = cost.beds[cost.chosen];
  if (!bed.fault.empty() || !bed.break_even || *bed.break_even <= 1) return;
  const double boards = *bed.break_even, sum = bed.build.units() + bed.per_board.v * boards;
  sheet_.raw("<circle cx=\"" + num(x_of(boards)) + "\" cy=\"" + num(y_of(sum)) +
             "\" r=\"1.6\" fill=\"white\" stroke-width=\"0.5\"/>\n");
  sheet_.text({x_of(boards), y_of(sum) - 3.5}, 3, "break-even at " + thousands(std::ceil(boards)) + " boards", "end");
}
}  // namespace

Markup cost_drawing(const Outcome& outcome) {
  return CostChart(outcome).run();
}
std::string cost_svg(const Outcome& outcome) {
  return cost_drawing(outcome).text();
}

}  // namespace teasel
