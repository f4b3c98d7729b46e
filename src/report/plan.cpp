// What the plan says of itself: proof, the objective part by part, options against one another, rivals, remedies.
#include <algorithm>

#include "text.h"

namespace teasel {

namespace {
std::string gap_text(const OptionResult& plan) {
  if (plan.proven) return "proven optimal";
  const double gap = plan.total() > Cents{} ? 100.0 * static_cast<double>((plan.total() - plan.bound).v) /
                                                  static_cast<double>(plan.total().v)
                                            : 0;
  const std::string most = "at most " + money(plan.total() - plan.bound) + " (" +
                           (gap < 0.01 ? fixed(gap, 4) : fixed(gap, 2)) + " %) above the best possible plan";
  return plan.out_of_time ? "NOT proven best, stopped early: " + most : "best within what is proven: " + most;
}

std::string target_name(const Outcome& outcome, TargetId target) {
  return feature_of(outcome, target).name + ", " + to_string(outcome.access.targets[target].side);
}
}  // namespace

std::vector<std::string> plan_lines(const Outcome& outcome) {
  const OptionResult& plan = chosen(outcome);
  const Breakdown& cost = plan.cost;
  const CostComparison& costs = outcome.results.cost;
  std::vector<std::string> lines;
  lines.push_back("plan: " + gap_text(plan) + ", objective " + money(plan.total()) + ", bound " + money(plan.bound) +
                  " money units");
  std::string sum = "  = beds " + money(cost.beds) + " + probes " + money(cost.probes.probe);
  for (const auto& [name, part] : {std::pair<const char*, Cents>{"wear", cost.probes.wear},
                                   {"new holes and wires", cost.probes.hole},
                                   {"mating connectors", cost.mates},
                                   {"kinds of target", cost.probes.kind},
                                   {"odds", cost.probes.odds},
                                   {"preferred rules", cost.probes.shortfall},
                                   {"wishes left open", cost.wishes},
                                   {"unmet needs", cost.unmet}})
    if (part != Cents{}) sum += std::string(" + ") + name + " " + money(part);
  lines.push_back(sum);
  for (std::size_t i = 0; i < outcome.plan.options.size(); ++i) {
    const OptionResult& option = outcome.plan.options[i];
    lines.push_back("  option " + option.option.name() + ": " + std::to_string(option.probes.size()) + " probes, " +
                    std::to_string(nets_met(outcome.needs, option)) + " nets in full, " +
                    (i < costs.beds.size() ? money(costs.beds[i].build) + " to build" : "not priced") + ", at most " +
                    fixed(option.false_rejects, 2) + " false rejects in a thousand, objective " +
                    money(option.total()) + (option.proven ? "" : " (unproven)") +
                    (costs.beaten.size() > i && costs.beaten[i]
                         ? ", another option is at least as good in cost, nets and false rejects"
                         : "") +
                    (&option == &plan ? "   <- chosen" : ""));
  }
  if (!costs.recommendation.empty()) lines.push_back("advice on the option: " + costs.recommendation);
  if (plan.left_out_by_holes > 0)
    lines.push_back(std::to_string(plan.left_out_by_holes) +
                    " candidates are left out because they are too close to an existing hole of the fixture");
  for (const std::string& limit : plan.tight) lines.push_back("LIMIT reached: " + limit);
  for (const PlacedMate& mate : plan.mates)
    lines.push_back(mate.name + " plugs into " + outcome.job.decisions.mates[mate.mate].component + " and serves " +
                    std::to_string(mate.features.size()) + " pins");
  constexpr std::size_t kShown = 6;
  for (std::size_t i = 0; i < std::min(kShown, plan.wishes.size()); ++i)
    lines.push_back("  wish not fulfilled: " + plan.wishes[i].kind + ", " + net_name(outcome, plan.wishes[i].need) +
                    (plan.wishes[i].of.empty() ? "" : " at " + plan.wishes[i].of) + ", " + money(plan.wishes[i].price));
  if (plan.wishes.size() > kShown)
    lines.push_back("  and " + std::to_string(plan.wishes.size() - kShown) + " more wishes, in plan.json");
  std::size_t shown = 0;
  for (std::size_t i = 0; i < outcome.plan.remedies.size() && shown < kShown; ++i) {
    if (i > 0 && outcome.plan.remedies[i].need == outcome.plan.remedies[i - 1].need) continue;
    if (shown++ == 0)
      lines.push_back(
          "unmet needs that another choice would meet, each with its cheapest change and the extra cost of the plan "
          "(all in remedies.csv):");
    lines.push_back("  " + net_name(outcome, outcome.plan.remedies[i].need) + ": " + outcome.plan.remedies[i].what +
                    ", " + money(outcome.plan.remedies[i].extra));
  }
  return lines;
}

std::string choices_csv(const Outcome& outcome) {
  const OptionResult& plan = chosen(outcome);
  Csv::Text csv =
      "probe,net,target,class,cost,rival,rival_class,rival_cheaper_by,in_its_way,distance_mm,needs_mm,why_not\n";
  Table<ProbeId, const Rival*> rival(plan.probes.size(), nullptr);
  for (const Rival& other : outcome.plan.rivals)
    if (other.probe) rival[other.probe] = &other;
  for (const ProbeId i : plan.probes.ids()) {
    const PlacedProbe& probe = plan.probes[i];
    const Rival* other = rival[i];
    std::vector<std::string> row{probe.name, net_name(outcome, probe.need), target_name(outcome, probe.target),
                                 outcome.catalogue.classes[probe.probe_class].name, money(probe.cost.total())};
    if (other) {
      const bool near = other->against && other->needed > Mm{};
      for (const std::string& field :
           {target_name(outcome, other->target), outcome.catalogue.classes[other->probe_class].name,
            money(other->cheaper),
            other->against
                ? plan.probes[other->against].name + " (" + net_name(outcome, plan.probes[other->against].need) + ")"
                : std::string(),
            near ? fixed(other->distance, 3) : "", near ? fixed(other->needed, 3) : "", other->why})
        row.push_back(field);
    } else
      row.insert(row.end(), {"", "", "", "", "", "", "none is cheaper"});
    csv += csv_row(row);
  }
  return csv.text();
}

std::string remedies_csv(const Outcome& outcome) {
  Csv::Text csv = "net,wanted,got,change,plan_costs_more\n";
  for (const Remedy& remedy : outcome.plan.remedies)
    csv += csv_row({net_name(outcome, remedy.need), std::to_string(outcome.needs[remedy.need].wanted),
                    std::to_string(chosen(outcome).got[remedy.need]), remedy.what, money(remedy.extra)});
  return csv.text();
}

}  // namespace teasel
