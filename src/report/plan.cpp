// What the plan says of itself: proof, the objective part by part, options against one another, rivals, remedies.
#include <algorithm>

#include "text.h"

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

std::string gap_text(const OptionResult& r) {
  if (r.proven) return "proven optimal";
  const double gap =
      r.total() > 0 ? 100.0 * static_cast<double>(r.total() - r.bound) / static_cast<double>(r.total()) : 0;
  const std::string most = "at most " + money(r.total() - r.bound) + " (" +
                           (gap < 0.01 ? fixed(gap, 4) : fixed(gap, 2)) + " %) above the best there is";
  return r.out_of_time ? "NOT proven best, stopped early: " + most : "best to within what is proven: " + most;
}

std::string target_name(const Outcome& o, int target) {
  return feature_of(o, target).name + ", " + to_string(o.access.targets[at(target)].side);
}
}  // namespace

std::vector<std::string> plan_lines(const Outcome& o) {
  const OptionResult& r = chosen(o);
  const Breakdown& c = r.cost;
  std::vector<std::string> lines;
  lines.push_back("plan: " + gap_text(r) + ", objective " + money(r.total()) + ", bound " + money(r.bound) +
                  " money units");
  std::string sum = "  = beds " + money(c.beds) + " + probes " + money(c.probes.probe);
  for (const auto& [name, part] : {std::pair<const char*, Cents>{"wear", c.probes.wear},
                                   {"new holes", c.probes.hole},
                                   {"mating connectors", c.mates},
                                   {"kinds of target", c.probes.kind},
                                   {"odds", c.probes.odds},
                                   {"preferred rules", c.probes.shortfall},
                                   {"wishes left open", c.wishes},
                                   {"unmet needs", c.unmet}})
    if (part != 0) sum += std::string(" + ") + name + " " + money(part);
  lines.push_back(sum);
  for (std::size_t i = 0; i < o.plan.options.size(); ++i) {
    const OptionResult& x = o.plan.options[i];
    lines.push_back("  option " + x.option.name() + ": " + std::to_string(x.probes.size()) + " probes, " +
                    std::to_string(nets_met(o.needs, x)) + " nets in full, beds and probes " +
                    money(x.cost.to_build()) + " by the rule set" + ", false rejects " + fixed(x.false_rejects, 2) +
                    " in a thousand, objective " + money(x.total()) + (x.proven ? "" : " (unproven)") +
                    (o.plan.beaten.size() > i && o.plan.beaten[i]
                         ? ", another option is as good in cost, nets and false rejects, or better"
                         : "") +
                    (&x == &r ? "   <- chosen" : ""));
  }
  lines.push_back("advice on the option: " + o.plan.recommendation);
  if (r.left_out_by_holes > 0)
    lines.push_back(std::to_string(r.left_out_by_holes) +
                    " candidates are left out because a hole that the fixture has is too near");
  for (const std::string& t : r.tight) lines.push_back("LIMIT reached: " + t);
  for (const PlacedMate& m : r.mates)
    lines.push_back(m.name + " plugs into " + o.job.mates[at(m.mate)].component + " and serves " +
                    std::to_string(m.features.size()) + " pins");
  constexpr std::size_t kShown = 6;
  for (std::size_t i = 0; i < std::min(kShown, r.wishes.size()); ++i)
    lines.push_back("  wish left open: " + r.wishes[i].kind + ", " + net_name(o, r.wishes[i].need) +
                    (r.wishes[i].of.empty() ? "" : " at " + r.wishes[i].of) + ", " + money(r.wishes[i].price));
  if (r.wishes.size() > kShown)
    lines.push_back("  and " + std::to_string(r.wishes.size() - kShown) + " more wishes, in plan.json");
  std::size_t shown = 0;
  for (std::size_t i = 0; i < o.plan.remedies.size() && shown < kShown; ++i) {
    if (i > 0 && o.plan.remedies[i].need == o.plan.remedies[i - 1].need) continue;
    if (shown++ == 0)
      lines.push_back(
          "unmet needs that another choice would meet (cheapest change, what the plan would cost more; all in "
          "remedies.csv):");
    lines.push_back("  " + net_name(o, o.plan.remedies[i].need) + ": " + o.plan.remedies[i].what + ", " +
                    money(o.plan.remedies[i].extra));
  }
  return lines;
}

std::string choices_csv(const Outcome& o) {
  const OptionResult& r = chosen(o);
  std::string s =
      "probe,net,target,class,cost,rival,rival_class,rival_cheaper_by,in_its_way,distance_mm,needs_mm,why_not\n";
  std::vector<const Rival*> rival(r.probes.size(), nullptr);
  for (const Rival& x : o.plan.rivals)
    if (x.probe >= 0) rival[at(x.probe)] = &x;
  for (std::size_t i = 0; i < r.probes.size(); ++i) {
    const PlacedProbe& p = r.probes[i];
    const Rival* x = rival[i];
    std::vector<std::string> row{p.name, net_name(o, p.need), target_name(o, p.target),
                                 o.catalogue.classes[at(p.probe_class)].name, money(p.cost.total())};
    if (x) {
      const bool near = x->against >= 0 && x->needed > 0;
      for (const std::string& v :
           {target_name(o, x->target), o.catalogue.classes[at(x->probe_class)].name, money(x->cheaper),
            x->against < 0 ? std::string()
                           : r.probes[at(x->against)].name + " (" + net_name(o, r.probes[at(x->against)].need) + ")",
            near ? fixed(x->distance, 3) : "", near ? fixed(x->needed, 3) : "", x->why})
        row.push_back(v);
    } else
      row.insert(row.end(), {"", "", "", "", "", "", "none is cheaper"});
    for (std::size_t k = 0; k < row.size(); ++k) s += (k ? "," : "") + csv_field(row[k]);
    s += "\n";
  }
  return s;
}

std::string remedies_csv(const Outcome& o) {
  std::string s = "net,wanted,got,change,plan_costs_more\n";
  for (const Remedy& x : o.plan.remedies)
    s += csv_row({net_name(o, x.need), std::to_string(o.needs[at(x.need)].wanted),
                  std::to_string(chosen(o).got[at(x.need)]), x.what, money(x.extra)});
  return s;
}

}  // namespace teasel
