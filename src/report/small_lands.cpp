// What the shop must hold where probes stand on lands below the usual size.
#include "text.h"

namespace teasel {

namespace {
/// "0.65 mm where the board lies, 0.90 mm on the other side", as far as there are such probes.
std::string usual_sizes(const Outcome& outcome) {
  const SmallLands& small = outcome.results.small_lands;
  std::string text;
  if (small.on_main_side > 0) text = fixed(outcome.rules.usual_land_main, 2) + " mm on the side that the board lies on";
  if (small.on_main_side < small.probes)
    text += (text.empty() ? "" : ", ") + fixed(outcome.rules.usual_land_other, 2) + " mm on the other side";
  return text;
}

std::string within(const ShopTolerance& tolerance, bool uniform) {
  return "within " + fixed(tolerance.counted, 3) + " mm" + (uniform ? "" : " (3 sigma)");
}

/// ", or holes lie 0.061 mm off"; empty where no size that was tried is too much.
void add_most(std::string& text, const char* what, const ShopTolerance& tolerance) {
  if (!(tolerance.most < kWideTolerance)) return;
  text += (text.empty() ? "" : ", or ") + std::string(what) + " up to " + fixed(tolerance.most, 3) + " mm";
}
}  // namespace

std::vector<std::string> small_land_lines(const Outcome& outcome) {
  const SmallLands& small = outcome.results.small_lands;
  if (small.probes == 0) return {};
  const Rules::Errors& errors = outcome.rules.errors;
  const auto name = [&](int probe) { return chosen(outcome).probes[ProbeId::of_number(probe)].name; };
  std::vector<std::string> lines;
  lines.push_back(
      (small.probes == 1 ? "1 probe stands on a land" : std::to_string(small.probes) + " probes stand on lands") +
      std::string(" below the usual size (") + usual_sizes(outcome) + "). The smallest measures " +
      fixed(small.diameter, 2) + " mm (" + name(small.smallest) + ")");
  lines.push_back("  for these the shop must hold what the odds count with: plate holes " +
                  within(small.drilling, errors.plate_drilling.uniform) + ", receptacles " +
                  within(small.receptacle, errors.receptacle.uniform) + ", tips pointing within " +
                  fixed(small.largest_pointing, 3) + " mm. Then they reject " +
                  (small.sum_of_misses <= 1.5 * kLeastChance.v * small.probes ? "" : "at most ") +
                  spoken(small.sum_of_misses) + " of good " + touched_at_once(outcome));
  std::string most;
  add_most(most, "holes off by", small.drilling);
  add_most(most, "receptacles off by", small.receptacle);
  add_most(most, "tips pointing off by", small.pointing);
  if (small.pointing.most < kWideTolerance) most += ", where " + fixed(small.pointing.counted, 3) + " mm are counted";
  if (!most.empty())
    lines.push_back("  taken singly, the most that keeps each of them within the " +
                    spoken(outcome.rules.largest_miss.v) + " of misses allowed: " + most);
  return lines;
}

}  // namespace teasel
