// A board known only from the bench, as text and lists.
#include <cmath>
#include <set>

#include "text.h"

namespace teasel {

namespace {
constexpr std::size_t kShown = 12;

std::string ohms(Ohms resistance) {
  if (resistance < Ohms{}) return "";
  return std::isinf(resistance.v) ? "open" : short_number(resistance, 3);
}
std::string point(Point place) {
  return "(" + fixed(place.x, 3) + ", " + fixed(place.y, 3) + ")";
}

void photo_lines(const PhotoFit& fit, std::vector<std::string>& out) {
  out.push_back((fit.photo.empty() ? std::string("picture") : "picture " + fit.photo) + ", seen from the " +
                (fit.from_top ? "top" : "bottom") + ": " + to_string(fit.model) + " map, " +
                short_number(fit.scale_at(fit.centre).v * 1000, 2) +
                " um per pixel in the middle; each reading has an error of " + short_number(fit.sigma, 3) +
                " mm (one sigma, each axis)" +
                (fit.proven ? "" : ", which is assumed, because there are no residuals to judge by"));
  for (const PhotoPoint& mark : fit.points)
    out.push_back(
        "  " + mark.name + ": board " + point(mark.board) + ", residual " + point(mark.residual) + " mm" +
        (mark.without > Mm{} ? ", lies off a fit made without it by " + short_number(mark.without, 3) + " mm" : "") +
        (mark.outlier ? "   LEFT OUT: it does not fit the others" : ""));
}
}  // namespace

std::vector<std::string> bench_lines(const Board& board, const BenchGuess& guess, const BenchOdds& odds) {
  std::vector<std::string> out;
  if (!board.bench.used)
    return {"this board is not known from a pad list alone, so there is nothing to report from the bench"};
  out.push_back(std::to_string(board.features.size()) + " pads, " + std::to_string(board.nets.size()) + " nets by " +
                std::to_string(board.bench.readings.size()) + " readings");
  for (const PhotoFit& fit : board.bench.photos) photo_lines(fit, out);
  if (odds.pads)
    out.push_back("what measured places cost: the largest chance that one touch misses, of " +
                  std::to_string(odds.pads) + " open pads (" + odds.worst_pad + ", place known to " +
                  short_number(odds.worst_sigma, 3) + " mm) is " + scientific(odds.worst_with.v) + ", and would be " +
                  scientific(odds.worst_without.v) + " if places were exact; " + std::to_string(odds.lost) +
                  " pads are closed for this reason alone");
  if (board.bench.questions)
    out.push_back(std::to_string(board.bench.questions) +
                  " pairs of nets without any reading between them; measure first" +
                  (board.bench.next.size() > kShown
                       ? " (" + std::to_string(kShown) + " are shown, the rest are in next-readings.csv):"
                       : ":"));
  for (std::size_t i = 0; i < std::min(kShown, board.bench.next.size()); ++i) {
    const NextReading& reading = board.bench.next[i];
    out.push_back(
        "  " + reading.pad_a + " - " + reading.pad_b + ": " + reading.why +
        (reading.settles > 1 ? "; if joined it settles " + std::to_string(reading.settles) + " questions" : ""));
  }
  if (board.bench.readings.empty()) return out;
  out.push_back(
      "measure resistances only on an unpowered board, with its battery removed and its capacitors discharged");
  if (guess.ground) out.push_back("ground could be " + board.nets[guess.ground].name + ": " + guess.ground_because);
  for (std::size_t i = 0; i < guess.supplies.size(); ++i)
    out.push_back("a supply could be " + board.nets[guess.supplies[i]].name + ": " + guess.supplies_because[i]);
  for (const PadGroup& group : guess.groups) {
    out.push_back("a guess, " + group.confidence + ": these pads could be a " + group.interface +
                  (group.interface == "1149.1" ? " port" : ""));
    for (const auto& [pad, role] : group.pads) out.push_back("  " + pad + ": " + role);
    for (const auto& evidence : group.evidence) out.push_back("    " + evidence);
  }
  if (!guess.groups.empty())
    out.push_back(
        "a resistance does not prove what a pad is for: confirm it on the schematic, or with a current-limited supply, "
        "before anything is driven");
  if (!guess.missing.empty()) out.push_back("readings that would make the guess surer:");
  for (const NextReading& reading : guess.missing)
    out.push_back("  " + reading.pad_a + " - " + reading.pad_b + ": " + reading.why);
  return out;
}

std::string bench_pads_csv(const Board& board, const BenchGuess& guess) {
  Csv::Text csv = "pad,net,side,x_mm,y_mm,width_mm,height_mm,place_sigma_mm,ohm_to_supply,ohm_to_ground,pull\n";
  for (const Feature& feature : board.features) {
    const bool top = feature.land[Side::top].present, bottom = feature.land[Side::bottom].present;
    const Land& land = feature.land[top ? Side::top : Side::bottom];
    Sides sides = bottom || !top ? Sides{Side::bottom} : Sides{};
    if (top) sides.add(Side::top);
    const RailReading* rail = nullptr;
    for (const RailReading& line : guess.lines)
      if (line.net == feature.net) rail = &line;
    csv += csv_row({feature.name, net_of(board, feature), to_string(sides), fixed(feature.at.x, 3),
                    fixed(feature.at.y, 3), fixed(land.width, 3), land.round ? "0" : fixed(land.height, 3),
                    fixed(feature.place_sigma, 4), rail ? ohms(rail->to_supply) : "", rail ? ohms(rail->to_ground) : "",
                    rail ? to_string(rail->pull) : ""});
  }
  return csv.text();
}

std::string next_readings_csv(const Board& board, const BenchGuess& guess) {
  Csv::Text csv = "pad_a,pad_b,ohms,why\n";
  std::set<std::pair<std::string, std::string>> listed;
  for (const auto* list : {&guess.missing, &board.bench.next})
    for (const NextReading& reading : *list)
      if (listed.insert(std::minmax(reading.pad_a, reading.pad_b)).second)
        csv += csv_row({reading.pad_a, reading.pad_b, "", reading.why});
  return csv.text();
}

}  // namespace teasel
