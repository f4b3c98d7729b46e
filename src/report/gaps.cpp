#include "teasel/report/gaps.h"

#include "teasel/fixture/gaps.h"
#include "teasel/fixture/mechanism.h"
#include "text.h"

namespace teasel {

std::string gaps_csv(const Outcome& outcome) {
  Csv::Text csv = "bed,between,and,state,gap_mm,may_be_gone_mm,meets,plan_id\n";
  const BuildInputs in{outcome, outcome.results.coverage, outcome.results.mechanics.supports,
                       &outcome.results.mechanism};
  for (const Gap& gap : gaps(in, outcome.results.plates, outcome.results.set_heights))
    csv += csv_row({gap.lower ? "lower" : "upper", gap.between, gap.and_, gap.state, fixed(gap.room, 3),
                    fixed(gap.least, 3), gap.meets() ? "yes" : "no", outcome.plan_id});
  return csv.text();
}

std::string mechanism_csv(const Outcome& outcome) {
  Csv::Text csv = "label,part,size,standard,x_mm,y_mm,how,plan_id\n";
  for (const MechanismPart& part : outcome.results.mechanism.parts)
    csv += csv_row({part.label, part.part, part.size, part.standard, fixed(part.at.x, 3), fixed(part.at.y, 3), part.how,
                    outcome.plan_id});
  return csv.text();
}

}  // namespace teasel
