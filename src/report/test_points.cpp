// Test points of the designer, as a list and in a line.
#include <algorithm>
#include <array>
#include <map>

#include "text.h"

namespace teasel {

namespace {
/// Rule, measured, required, unit and obstacle; empty where nothing refuses the point.
std::array<std::string, 5> refusal_fields(const Outcome& outcome, const TestPoint& point) {
  if (!point.refusal) return {};
  const Shortfall& shortfall = point.refusal->shortfall;
  std::array<std::string, 5> out{to_string(shortfall.reason), "", "", "",
                                 obstacle_text(shortfall, outcome.board, outcome.job)};
  if (!shortfall.has_numbers()) return out;
  const bool chance = std::string_view(shortfall.unit()) == "1";
  auto number = [&](double value) { return chance ? scientific(value) : fixed(value, 3); };
  out[1] = number(shortfall.measured);
  out[2] = number(shortfall.required);
  out[3] = shortfall.unit();
  return out;
}

std::string names_of(const Outcome& outcome, const std::vector<ProbeId>& probes) {
  std::string text;
  for (const ProbeId probe : probes) text += (text.empty() ? "" : ";") + chosen(outcome).probes[probe].name;
  return text;
}
}  // namespace

std::string test_points_csv(const Outcome& outcome) {
  Csv::Text csv =
      "net,name,side,x_mm,y_mm,diameter_mm,marked_by,fate,probe,other_probes_of_net,class,reason,measured,required,"
      "unit,"
      "obstacle,more_rules,to_open\n";
  for (const TestPoint& point : outcome.results.test_points) {
    const Feature& feature = outcome.board.features[point.feature];
    const auto rule = refusal_fields(outcome, point);
    const ClassId probe_class = point.refusal ? point.refusal->probe_class : ClassId{};
    csv +=
        csv_row({net_of(outcome.board, feature), feature.name, to_string(point.side), fixed(point.at.x, 3),
                 fixed(point.at.y, 3), point.diameter > Mm{} ? fixed(point.diameter, 3) : "", to_string(feature.mark),
                 to_string(point.fate), point.probe ? chosen(outcome).probes[point.probe].name : "",
                 names_of(outcome, point.elsewhere), probe_class ? outcome.catalogue.classes[probe_class].name : "",
                 rule[0], rule[1], rule[2], rule[3], rule[4], point.refusal ? std::to_string(point.refusal->more) : "",
                 point.refusal ? point.refusal->to_open : ""});
  }
  return csv.text();
}

std::vector<std::string> test_point_lines(const Outcome& outcome) {
  const std::vector<TestPoint>& points = outcome.results.test_points;
  if (points.empty()) return {};
  std::map<TestPointFate, std::size_t> count;
  std::map<Reason, std::size_t> refused_by;
  for (const TestPoint& point : points) {
    ++count[point.fate];
    if (point.refusal) ++refused_by[point.refusal->shortfall.reason];
  }
  std::string line = "test points of the designer: " + std::to_string(count[TestPointFate::probed]) + " of " +
                     std::to_string(points.size()) + " probed";
  auto add = [&](std::size_t number, const char* what) {
    if (number) line += ", " + std::to_string(number) + " " + what;
  };
  add(count[TestPointFate::lost], "probed but not touched, because the board bends");
  add(count[TestPointFate::other_point] + count[TestPointFate::not_needed], "not needed");
  add(count[TestPointFate::not_used], "open but not used, because others leave no room or cost less");
  add(count[TestPointFate::other_side], "open on the side without probes");
  add(count[TestPointFate::refused], "refused");
  if (!refused_by.empty()) {
    std::vector<std::pair<std::size_t, Reason>> order;
    for (const auto& [reason, number] : refused_by) order.emplace_back(number, reason);
    std::stable_sort(order.begin(), order.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
    std::string reasons;
    for (const auto& [number, reason] : order)
      reasons += (reasons.empty() ? "" : ", ") + std::string(to_string(reason)) + " " + std::to_string(number);
    line += " (" + reasons + ")";
  }
  return {line + "; test-points.csv"};
}

}  // namespace teasel
