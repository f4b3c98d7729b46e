// A board known only from the bench, as text and lists.
#include <cmath>
#include <set>

#include "text.h"

namespace teasel {

namespace {
constexpr std::size_t kShown = 12;

std::string ohms(double v) {
  return v < 0 ? "" : std::isinf(v) ? "open" : short_number(v, 3);
}
std::string point(Point p) {
  return "(" + fixed(p.x, 3) + ", " + fixed(p.y, 3) + ")";
}

void photo_lines(const PhotoFit& f, std::vector<std::string>& out) {
  out.push_back((f.photo.empty() ? std::string("picture") : "picture " + f.photo) + ", seen from the " +
                (f.from_top ? "top" : "bottom") + ": " + to_string(f.model) + " map, " +
                short_number(f.scale_at(f.centre) * 1000, 2) + " um a pixel in the middle; one reading is off by " +
                short_number(f.sigma, 3) + " mm, one sigma, each axis" +
                (f.proven ? "" : " (assumed: no residual tells)"));
  for (const PhotoPoint& p : f.points)
    out.push_back("  " + p.name + ": board " + point(p.board) + ", residual " + point(p.residual) + " mm" +
                  (p.without > 0 ? ", off a fit without it by " + short_number(p.without, 3) + " mm" : "") +
                  (p.outlier ? "   LEFT OUT: it does not fit the others" : ""));
}
}  // namespace

std::vector<std::string> bench_lines(const Board& b, const BenchGuess& g, const BenchOdds& odds) {
  std::vector<std::string> out;
  if (!b.bench.used) return {"this board is not known from a pad list alone: there is nothing to say from the bench"};
  out.push_back(std::to_string(b.features.size()) + " pads, " + std::to_string(b.nets.size()) + " nets by " +
                std::to_string(b.bench.readings.size()) + " readings");
  for (const PhotoFit& f : b.bench.photos) photo_lines(f, out);
  if (odds.pads)
    out.push_back("what measuring costs: the chance that one touch misses, worst of " + std::to_string(odds.pads) +
                  " open pads (" + odds.worst_pad + ", place known to " + short_number(odds.worst_sigma, 3) +
                  " mm) is " + scientific(odds.worst_with) + ", and would be " + scientific(odds.worst_without) +
                  " if places were exact; " + std::to_string(odds.lost) + " pads are closed by it alone");
  if (b.bench.questions)
    out.push_back(std::to_string(b.bench.questions) + " pairs of nets without any reading between them; measure first" +
                  (b.bench.next.size() > kShown
                       ? " (" + std::to_string(kShown) + " are shown, the others stand in next-readings.csv):"
                       : ":"));
  for (std::size_t i = 0; i < std::min(kShown, b.bench.next.size()); ++i) {
    const NextReading& n = b.bench.next[i];
    out.push_back("  " + n.pad_a + " - " + n.pad_b + ": " + n.why +
                  (n.settles > 1 ? "; if joined it settles " + std::to_string(n.settles) + " questions" : ""));
  }
  if (b.bench.readings.empty()) return out;
  out.push_back(
      "measure resistances only on a board without supply, its battery taken out and its capacitors discharged");
  if (g.ground >= 0)
    out.push_back("ground could be " + b.nets[static_cast<std::size_t>(g.ground)].name + ": " + g.ground_because);
  for (std::size_t i = 0; i < g.supplies.size(); ++i)
    out.push_back("a supply could be " + b.nets[static_cast<std::size_t>(g.supplies[i])].name + ": " +
                  g.supplies_because[i]);
  for (const PadGroup& p : g.groups) {
    out.push_back("a guess, " + p.confidence + ": these pads could be a " + p.interface +
                  (p.interface == "1149.1" ? " port" : ""));
    for (const auto& [pad, role] : p.pads) out.push_back("  " + pad + ": " + role);
    for (const auto& e : p.evidence) out.push_back("    " + e);
  }
  if (!g.groups.empty())
    out.push_back(
        "resistances prove no function: confirm on the schematic, or at a current-limited supply, before anything is "
        "driven");
  if (!g.missing.empty()) out.push_back("readings that would sharpen the guess:");
  for (const NextReading& n : g.missing) out.push_back("  " + n.pad_a + " - " + n.pad_b + ": " + n.why);
  return out;
}

std::string bench_pads_csv(const Board& b, const BenchGuess& g) {
  std::string s = "pad,net,side,x_mm,y_mm,width_mm,height_mm,place_sigma_mm,ohm_to_supply,ohm_to_ground,pull\n";
  for (const Feature& f : b.features) {
    const Land& l = f.land[0].present ? f.land[0] : f.land[1];
    const RailReading* r = nullptr;
    for (const RailReading& line : g.lines)
      if (line.net == f.net) r = &line;
    s += csv_row({f.name, f.net < 0 ? "" : b.nets[static_cast<std::size_t>(f.net)].name,
                  f.land[0].present && f.land[1].present ? "both"
                  : f.land[0].present                    ? "top"
                                                         : "bottom",
                  fixed(f.at.x, 3), fixed(f.at.y, 3), fixed(l.width, 3), l.round ? "0" : fixed(l.height, 3),
                  fixed(f.place_sigma, 4), r ? ohms(r->to_supply) : "", r ? ohms(r->to_ground) : "",
                  r ? to_string(r->pull) : ""});
  }
  return s;
}

std::string next_readings_csv(const Board& b, const BenchGuess& g) {
  std::string s = "pad_a,pad_b,ohms,why\n";
  std::set<std::pair<std::string, std::string>> listed;
  for (const auto* list : {&g.missing, &b.bench.next})
    for (const NextReading& n : *list)
      if (listed.insert(std::minmax(n.pad_a, n.pad_b)).second) s += csv_row({n.pad_a, n.pad_b, "", n.why});
  return s;
}

}  // namespace teasel
