// Placement and height tables.
#include <algorithm>
#include <map>

#include "recogniser.h"

namespace teasel {

/// Unit and offset of a placement table: the candidate under which most parts lie on the middle of their pads.
void Recogniser::placement(const Recognised& r, const std::map<std::string, std::vector<Point>>& pads) {
  Diagnostics quiet;
  const auto p = formats::read_placement(r.file->bytes, r.file->name, quiet);
  if (quiet.failed() || pads.empty()) {
    evidence("ignored").push_back("not used: " + r.file->name + " (a placement table that could not be read)");
    return;
  }
  std::vector<Point> at, centre;
  for (const auto& row : p.rows) {
    auto it = pads.find(row.component);
    if (it == pads.end()) continue;
    Box box;
    for (Point q : it->second) box.add(q);
    at.push_back({row.x, row.y}), centre.push_back(box.centre());
  }
  if (at.size() < 3) {
    evidence("ignored").push_back("not used: " + r.file->name + " (a placement table with fewer than three parts of the netlist)");
    return;
  }
  // Unit and offset: the candidate under which most parts lie on the middle of their pads.
  struct Try { const char* unit; double k; Point shift; double share; } best{"", 1, {}, -1};
  for (auto [unit, k] : {std::pair{"mm", 1.0}, {"inch", kMmPerInch}, {"mil", kMmPerInch / 1000}, {"um", 0.001}}) {
    if (p.has_unit && k != 1.0) continue;
    std::vector<double> dx, dy;
    for (std::size_t i = 0; i < at.size(); ++i) dx.push_back(centre[i].x - k * at[i].x), dy.push_back(centre[i].y - k * at[i].y);
    auto middle = [](std::vector<double> v) { std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end()); return v[v.size() / 2]; };
    Point s{middle(dx), middle(dy)};
    for (Point shift : {Point{}, s}) {
      std::size_t near = 0;
      for (std::size_t i = 0; i < at.size(); ++i) near += distance(k * at[i] + shift, centre[i]) < 1.0;
      const double share = static_cast<double>(near) / static_cast<double>(at.size());
      if (share > best.share + 0.02) best = {unit, k, shift, share};
    }
  }
  const Point rounded{std::round(best.shift.x * 1000) / 1000, std::round(best.shift.y * 1000) / 1000};
  if (best.share < 0.6) {
    evidence("ignored").push_back("not used: " + r.file->name + " (placement table; no unit and offset puts its parts on their pads, best " + percent(best.share) + ")");
    return;
  }
  auto& job = out_.job;
  const bool same = job.placement_files.empty() || (job.placement_unit == (p.has_unit ? "" : best.unit) && distance(job.placement_offset.value_or(Point{}), rounded) < 1.0);
  if (!same) {
    evidence("ignored").push_back("not used: " + r.file->name + " (its unit or origin differs from " + job.placement_files[0] + ")");
    return;
  }
  if (job.placement_files.empty()) {
    job.placement_unit = p.has_unit ? "" : best.unit;
    if (distance(rounded, {}) > 0.01) job.placement_offset = rounded;
  }
  job.placement_files.push_back(r.file->name);
  evidence("inputs.placement").push_back(r.file->name + ": " + percent(best.share) + " of " + std::to_string(at.size()) + " parts lie within 1 mm of the middle of their pads" + (p.has_unit ? ", unit from " + p.unit_evidence : std::string(", read as ") + best.unit));
}

void Recogniser::tables() {
  std::map<std::string, std::vector<Point>> pads;
  if (netlist_)
    for (const auto& r : netlist_->records)
      if (!r.component.empty() && r.component != "VIA") pads[r.component].push_back(r.at + shift_);
  for (const auto& r : r_) {
    if (r.kind == FileKind::heights) {
      if (!out_.job.heights_file.empty()) d_.warn("start-two-heights", {r.file->name, 0, 0, {}}, "a second table of heights is left out");
      else out_.job.heights_file = r.file->name, evidence("inputs.heights").push_back("a table with component and height columns");
      continue;
    }
    if (r.kind == FileKind::placement) placement(r, pads);
  }
  if (out_.job.placement_files.empty()) evidence("components").push_back("no placement table: sides follow the surface pads; parts with holes only are assumed on top");
  if (out_.job.heights_file.empty()) evidence("components").push_back("no heights: assumed by reference letters, unknown letters count as tall");
}

}  // namespace teasel
