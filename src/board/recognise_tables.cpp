// Placement and height tables.
#include <algorithm>
#include <map>

#include "recogniser.h"
#include "teasel/formats/input_formats.h"

namespace teasel {

void Recogniser::placement(const Recognised& entry, const std::map<std::string, PartPads>& pads) {
  Diagnostics quiet;
  const auto table = formats::read_placement(entry.file->bytes, entry.file->name, quiet);
  auto ignore = [&](const std::string& why) {
    evidence("ignored").push_back("not used: " + entry.file->name + " (" + why + ")");
  };
  if (quiet.failed()) return ignore("a placement table that could not be read");
  PlacementFit fit;
  std::string where;
  if (!pads.empty()) {
    fit = fit_placement(table, pads);
    if (fit.share < 0) return ignore("a placement table with fewer than three parts of the netlist");
    where = " parts lie within 1 mm of the middle of their pads";
  } else {
    PerSide<Lands> lands;
    for (const Side side : kBothSides)
      if (const auto* file = layer(side == Side::top ? LayerRole::copper_top : LayerRole::copper_bottom))
        for (const auto& object : file->objects)
          if (object.kind == formats::GerberObject::Kind::flash && object.dark) {
            const Box box = formats::box_of(*file, object);
            lands[side].at.push_back(object.start);
            lands[side].size.push_back({box.width(), box.height()});
          }
    fit = fit_placement(table, lands);
    where = " parts lie within 0.1 mm of the middle between two equal lands";
  }
  const double least = pads.empty() ? 0.4 : 0.6;
  if (fit.share < least)
    return ignore("a placement table whose parts no unit and offset puts on their pads, best " +
                  percent(std::max(fit.share, 0.0)));
  auto& job = out_.job;
  if (!job.inputs.placement_files.empty() &&
      (job.inputs.placement_unit != fit.unit ||
       distance(job.inputs.placement_offset.value_or(Point{}), fit.shift) > 1.0 ||
       (fit.bottom_parts > 2 && fit.turned != (job.inputs.placement_bottom == "from the bottom"))))
    return ignore("its unit or origin differs from " + job.inputs.placement_files[0]);
  if (job.inputs.placement_files.empty()) {
    job.inputs.placement_unit = fit.unit;
    if (distance(fit.shift, {}) > 0.01) job.inputs.placement_offset = fit.shift;
  }
  if (fit.turned) {
    job.inputs.placement_bottom = "from the bottom";
    job.inputs.placement_bottom_offset = fit.bottom_shift;
  }
  job.inputs.placement_files.push_back(entry.file->name);
  auto& reasons = evidence("inputs.placement");
  reasons.push_back(entry.file->name + ": " + percent(fit.share) + " of " + std::to_string(fit.parts) + where +
                    (table.has_unit ? ", unit from " + table.unit_evidence : ", read as " + fit.unit));
  note_sheets(entry);
  if (fit.bottom_parts >= 3)
    reasons.push_back(fit.turned ? "bottom parts are written as seen from the bottom, with x running the other way"
                                 : "bottom parts stand in the same frame as top parts");
  if (fit.sides_compared)
    reasons.push_back(std::to_string(fit.sides_compared - fit.sides_wrong) + " of " +
                      std::to_string(fit.sides_compared) +
                      " parts with surface pads on one side only have them on the side that the table says");
  if (!fit.rotation.empty()) reasons.push_back(fit.rotation);
}

void Recogniser::tables() {
  std::map<std::string, PartPads> pads;
  if (netlist_) {
    const int bottom = bottom_code(*netlist_);
    for (const auto& record : netlist_->records) {
      if (record.component.empty() || record.component == "VIA" || record.continuation) continue;
      PartPads& pads_of_part = pads[record.component];
      pads_of_part.box.add(from_netlist_(record.at));
      pads_of_part.points.push_back(from_netlist_(record.at));
      if (record.pin == "1" || record.pin == "A1") pads_of_part.pin_1 = from_netlist_(record.at);
      if (record.kind == formats::NetlistRecord::Kind::surface) {
        pads_of_part.top += record.access == 1;
        pads_of_part.bottom += record.access == bottom;
      }
    }
  }
  for (const auto& entry : entries_) {
    if (const formats::InputFormat& format = formats::format_of(entry.kind); format.read) {
      const std::string key = format.job_key;
      if (const auto [taken, first] = out_.job.inputs.lone_files.emplace(key, entry.file->name); first) {
        evidence(key.substr(0, key.rfind('.'))).push_back("a table with the columns of such a file");
        note_sheets(entry);
      } else
        diagnostics_.warn({.code = "start-two-tables",
                           .at = {entry.file->name, 0, 0, {}},
                           .message = "a second table of its kind is left out",
                           .found = taken->second + " is taken",
                           .remedy = "join them into one file"});
    }
    if (entry.kind == FileKind::placement) placement(entry, pads);
  }
  if (cad_ || !out_.job.inputs.idf_board.empty()) {
    evidence("components")
        .push_back("bodies, sides and heights come from " + (cad_ ? cad_->name : out_.job.inputs.idf_board) +
                   " where it states them. Other heights are assumed from the reference letters");
    return;
  }
  if (out_.job.inputs.placement_files.empty())
    evidence("components")
        .push_back(
            "there is no placement table. Sides follow the surface pads, and parts with holes only are assumed on top");
  if (out_.job.inputs.lone_file("inputs.heights.file").empty())
    evidence("components")
        .push_back(
            "there are no heights. They are assumed from the reference letters, and unknown letters are taken as tall");
}

}  // namespace teasel
