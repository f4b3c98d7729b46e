// Placement and height tables.
#include <algorithm>
#include <map>

#include "recogniser.h"

namespace teasel {

void Recogniser::placement(const Recognised& r, const std::map<std::string, PartPads>& pads) {
  Diagnostics quiet;
  const auto p = formats::read_placement(r.file->bytes, r.file->name, quiet);
  auto ignore = [&](const std::string& why) {
    evidence("ignored").push_back("not used: " + r.file->name + " (" + why + ")");
  };
  if (quiet.failed()) return ignore("a placement table that could not be read");
  PlacementFit fit;
  std::string where;
  if (!pads.empty()) {
    fit = fit_placement(p, pads);
    if (fit.share < 0) return ignore("a placement table with fewer than three parts of the netlist");
    where = " parts lie within 1 mm of the middle of their pads";
  } else {
    std::array<Lands, 2> lands;
    for (int side = 0; side < 2; ++side)
      if (const auto* f = layer(side ? LayerRole::copper_bottom : LayerRole::copper_top))
        for (const auto& o : f->objects)
          if (o.kind == formats::GerberObject::Kind::flash && o.dark) {
            const Box box = formats::box_of(*f, o);
            lands[static_cast<std::size_t>(side)].at.push_back(o.start);
            lands[static_cast<std::size_t>(side)].size.push_back({box.width(), box.height()});
          }
    fit = fit_placement(p, lands);
    where = " parts lie within 0.1 mm of the middle between two equal lands";
  }
  const double least = pads.empty() ? 0.4 : 0.6;
  if (fit.share < least)
    return ignore("placement table; no unit and offset puts its parts on their pads, best " +
                  percent(std::max(fit.share, 0.0)));
  auto& job = out_.job;
  if (!job.placement_files.empty() &&
      (job.placement_unit != fit.unit || distance(job.placement_offset.value_or(Point{}), fit.shift) > 1.0 ||
       (fit.bottom_parts > 2 && fit.turned != (job.placement_bottom == "from the bottom"))))
    return ignore("its unit or origin differs from " + job.placement_files[0]);
  if (job.placement_files.empty()) {
    job.placement_unit = fit.unit;
    if (distance(fit.shift, {}) > 0.01) job.placement_offset = fit.shift;
  }
  if (fit.turned) {
    job.placement_bottom = "from the bottom";
    job.placement_bottom_offset = fit.bottom_shift;
  }
  job.placement_files.push_back(r.file->name);
  auto& e = evidence("inputs.placement");
  e.push_back(r.file->name + ": " + percent(fit.share) + " of " + std::to_string(fit.parts) + where +
              (p.has_unit ? ", unit from " + p.unit_evidence : ", read as " + fit.unit));
  if (fit.bottom_parts >= 3)
    e.push_back(fit.turned ? "bottom parts are written as seen from the bottom: their x runs the other way"
                           : "bottom parts stand in the same frame as top parts");
  if (fit.sides_compared)
    e.push_back(std::to_string(fit.sides_compared - fit.sides_wrong) + " of " + std::to_string(fit.sides_compared) +
                " parts with surface pads on one side only have them on the side that the table says");
  if (!fit.rotation.empty()) e.push_back(fit.rotation);
}

void Recogniser::tables() {
  std::map<std::string, PartPads> pads;
  if (netlist_) {
    const int bottom = bottom_code(*netlist_);
    for (const auto& r : netlist_->records) {
      if (r.component.empty() || r.component == "VIA" || r.continuation) continue;
      PartPads& p = pads[r.component];
      p.box.add(r.at + shift_);
      p.points.push_back(r.at + shift_);
      if (r.pin == "1" || r.pin == "A1") p.pin_1 = r.at + shift_;
      if (r.kind == formats::NetlistRecord::Kind::surface) {
        p.top += r.access == 1;
        p.bottom += r.access == bottom;
      }
    }
  }
  for (const auto& r : r_) {
    if (r.kind == FileKind::heights) {
      if (!out_.job.heights_file.empty())
        d_.warn("start-two-heights", {r.file->name, 0, 0, {}}, "a second table of heights is left out",
                out_.job.heights_file + " is taken");
      else {
        out_.job.heights_file = r.file->name;
        evidence("inputs.heights").push_back("a table with component and height columns");
      }
      continue;
    }
    if (r.kind == FileKind::placement) placement(r, pads);
  }
  if (cad_ || !out_.job.idf_board.empty()) {
    evidence("components")
        .push_back("bodies, sides and heights come from " + (cad_ ? cad_->name : out_.job.idf_board) +
                   " where it gives them; other heights are assumed by reference letters");
    return;
  }
  if (out_.job.placement_files.empty())
    evidence("components")
        .push_back("no placement table: sides follow the surface pads; parts with holes only are assumed on top");
  if (out_.job.heights_file.empty())
    evidence("components").push_back("no heights: assumed by reference letters, unknown letters count as tall");
}

}  // namespace teasel
