#include "teasel/report/gaps.h"

#include "teasel/fixture/gaps.h"
#include "text.h"

namespace teasel {

std::string gaps_csv(const Outcome& outcome) {
  Csv::Text csv = "bed,between,and,state,gap_mm,may_be_gone_mm,meets,plan_id\n";
  const BuildInputs in{outcome, outcome.results.coverage, outcome.results.mechanics.supports};
  for (const Gap& gap : gaps(in, outcome.results.plates, outcome.results.set_heights))
    csv += csv_row({gap.lower ? "lower" : "upper", gap.between, gap.and_, gap.state, fixed(gap.room, 3),
                    fixed(gap.least, 3), gap.meets() ? "yes" : "no", outcome.plan_id});
  return csv.text();
}

}  // namespace teasel
