// Drill files: number formats by evidence, side files, the layers that blind holes join.
#include <algorithm>
#include <cctype>
#include <charconv>
#include <map>

#include "recogniser.h"

namespace teasel {

using formats::DrillFile;
using formats::DrillNotes;

/// The one side file that knows every tool of the program.
const DrillNotes* Recogniser::notes_of(const DrillFile& file) const {
  const DrillNotes* found = nullptr;
  const bool routing = file.routs > 0 && file.holes + file.slots == 0;
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::drill_notes || entry.notes.routing != routing) continue;
    // Parameters alone (no tools listed) serve any program.
    const bool all =
        entry.notes.tools.empty() || std::all_of(file.tools.begin(), file.tools.end(), [&](const auto& tool) {
          return std::any_of(entry.notes.tools.begin(), entry.notes.tools.end(), [&](const auto& noted) {
            return noted.number == tool.number &&
                   (!tool.diameter || !noted.diameter || std::abs(tool.diameter->v - noted.diameter->v) < 0.02);
          });
        });
    if (!all) continue;
    if (found && !found->tools.empty()) return nullptr;  // two that fit: neither is taken
    found = &entry.notes;
  }
  return found;
}

/// What the program leaves open, from its side file.
void Recogniser::take_notes(const DrillNotes& notes, DrillFile& file, DrillInput& in) {
  auto& reasons = evidence(in.file);
  const bool open = file.has_integers && !file.digits_stated && notes.integer_digits && notes.decimals;
  if (!file.unit_stated && notes.millimetres) {
    file.format.millimetres = *notes.millimetres;
    file.unit_stated = true;
  }
  if (open) {
    file.format.integer_digits = *notes.integer_digits;
    file.format.decimals = *notes.decimals;
    file.digits_stated = true;
  }
  if (open && !file.zeros_stated && notes.zeros) {
    file.format.zeros = *notes.zeros;
    file.zeros_stated = true;
  }
  if (open) reasons.push_back(notes.name + " states the number format: " + to_string(file.format));
  std::size_t sizes = 0, counts = 0, wrong = 0;
  std::vector<std::size_t> holes(file.tools.size());
  for (const auto& op : file.ops)
    if (formats::cuts(op.kind) && op.kind <= formats::DrillOp::Kind::slot) holes[op.tool] += op.count;
  bool plated = true, unplated = true;
  for (std::size_t i = 0; i < file.tools.size(); ++i) {
    const auto noted = std::find_if(notes.tools.begin(), notes.tools.end(),
                                    [&](const auto& k) { return k.number == file.tools[i].number; });
    if (noted == notes.tools.end()) continue;
    if (!file.tools[i].diameter && noted->diameter) {
      file.tools[i].diameter = noted->diameter;
      in.tools[noted->number] = *noted->diameter;
      ++sizes;
    }
    if (noted->stated_count >= 0) {
      ++counts;
      wrong += static_cast<std::size_t>(noted->stated_count) != holes[i];
    }
    plated &= noted->plating == formats::Plating::plated;
    unplated &= noted->plating == formats::Plating::unplated;
  }
  if (sizes) reasons.push_back(notes.name + " gives the diameters of " + std::to_string(sizes) + " tools");
  if (counts && wrong)
    diagnostics_.warn(
        {.code = "drill-count",
         .at = {file.name, 0, 0, {}},
         .message = "a side file states other numbers of holes than the drill file contains",
         .found = std::to_string(wrong) + " of " + std::to_string(counts) + " tools differ from " + notes.name,
         .remedy = "check whether the side file is of another release"});
  else if (counts)
    reasons.push_back(notes.name + " counts the same holes for all " + std::to_string(counts) + " tools");
  if (!notes.tools.empty() && plated != unplated) in.plating = plated ? "plated" : "unplated";
}

/// Blind and buried holes: the layers that they join. By the netlist, by the lands that the layers have around them, or
/// by the file's name.
void Recogniser::span(const DrillFile& file, const formats::DrillFormat& format, DrillInput& in) {
  if (file.first_layer || file.last_layer) return;
  if (!span_by_netlist(file, format, in) && !span_by_copper(file, format, in)) span_by_name(in);
}

/// By the layers that the netlist's via records at the same places join. True where the netlist knows the spans of
/// these holes, be it that they go through the whole board.
bool Recogniser::span_by_netlist(const DrillFile& file, const formats::DrillFormat& format, DrillInput& in) {
  if (!netlist_) return false;
  std::map<std::pair<int, int>, std::size_t> votes;
  std::size_t met = 0, spans_known = 0;
  PointGrid grid(0.05);
  std::vector<std::pair<int, int>> spans;
  for (const auto& record : netlist_->records)
    if (!record.continuation && (record.hole || record.kind == formats::NetlistRecord::Kind::blind_via)) {
      grid.add(from_netlist_(record.at), static_cast<int>(spans.size()));
      spans.emplace_back(record.first_layer, record.last_layer);
      spans_known += record.first_layer > 0;
    }
  for (const auto& hole : formats::holes_of(file, format))
    if (!hole.slot)
      if (const int i = grid.nearest(hole.at + in.offset.value_or(Point{}), 0.03); i >= 0) {
        ++votes[spans[static_cast<std::size_t>(i)]];
        ++met;
      }
  for (const auto& [span, count] : votes)
    if (span.first > 0 && span.second > span.first && count >= 3 &&
        static_cast<double>(count) > 0.9 * static_cast<double>(met)) {
      in.first_layer = span.first;
      in.last_layer = span.second;
      evidence(in.file).push_back(percent(static_cast<double>(count) / static_cast<double>(met)) +
                                  " of its holes are vias that the netlist runs from layer " +
                                  std::to_string(span.first) + " to " + std::to_string(span.second));
      return true;
    }
  // A netlist without any spans, as many tools write it, says nothing of blind holes.
  return met > 0 && spans_known > 0;
}

/// By the layers that flash a land at the holes: all of a run of layers and none of the others. True where that settles
/// the matter, also for holes through the whole board.
bool Recogniser::span_by_copper(const DrillFile& file, const formats::DrillFormat& format, DrillInput& in) {
  constexpr double kAll = 0.95, kNone = 0.05;
  constexpr std::size_t kFewest = 3;
  std::map<int, const Recognised*> layers;
  const Recognised* bottom = nullptr;
  std::size_t files = 0;
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::gerber || !entry.role || entry.gerber.objects.empty()) continue;
    const bool inner = entry.role == LayerRole::copper_inner;
    if (!inner && entry.role != LayerRole::copper_top && entry.role != LayerRole::copper_bottom) continue;
    if (entry.clearances || (inner && entry.layer == 0)) return false;
    ++files;
    if (entry.role == LayerRole::copper_bottom)
      bottom = &entry;
    else
      layers[inner ? entry.layer : 1] = &entry;
  }
  // Every layer must be there, or a run of them has gaps that mean nothing.
  if (!bottom || files < 3 || layers.size() + 1 != files || layers.begin()->first != 1 ||
      layers.rbegin()->first != static_cast<int>(layers.size()))
    return false;
  const int last = static_cast<int>(files);
  layers[last] = bottom;
  std::vector<Point> holes;
  for (const auto& hole : formats::holes_of(file, format))
    if (!hole.slot) holes.push_back(hole.at + in.offset.value_or(Point{}));
  if (holes.size() < kFewest) return false;
  std::vector<int> with;
  for (const auto& [number, entry] : layers) {
    const double share = share_met(holes, flash_centres(entry->gerber), {}, 0.05);
    if (share >= kAll)
      with.push_back(number);
    else if (share > kNone)
      return false;
  }
  if (with.size() < 2 || with.back() - with.front() + 1 != static_cast<int>(with.size())) return false;
  if (with.front() == 1 && with.back() == last) return true;
  in.first_layer = with.front();
  in.last_layer = with.back();
  evidence(in.file).push_back("the layers " + std::to_string(with.front()) + " to " + std::to_string(with.back()) +
                              " have lands around its holes, and no other layer has");
  return true;
}

namespace {
/// "front", "in2", "back", "3": the number of the layer; 0: none.
int layer_of_word(const std::string& word, int layers) {
  if (word == "front") return 1;
  if (word == "back") return layers;
  const bool inner = word.rfind("in", 0) == 0;
  const char *begin = word.data() + (inner ? 2 : 0), *end = word.data() + word.size();
  int number = 0;
  if (std::from_chars(begin, end, number).ptr != end || begin == end || number < 1 || number > 99) return 0;
  return inner ? number + 1 : number;
}
}  // namespace

/// As many as the netlist, a job file or the layer files tell.
int Recogniser::copper_layers() const {
  if (const auto* bottom = layer(LayerRole::copper_bottom))
    if (const int own = layers_by_attribute(*bottom)) return own;
  int layers = std::max(stated_layers_, netlist_ ? bottom_code(*netlist_) : 0), files = 0;
  for (const auto& entry : entries_)
    if (entry.kind == FileKind::gerber &&
        (entry.role == LayerRole::copper_top || entry.role == LayerRole::copper_bottom ||
         entry.role == LayerRole::copper_inner)) {
      ++files;
      layers = std::max(layers, entry.layer);
    }
  return std::max(layers, files);
}

/// "-1-6." or "-front-in1." at the end of the name.
void Recogniser::span_by_name(DrillInput& in) {
  const int layers = copper_layers();
  const std::string name = lower(in.file.substr(0, in.file.rfind('.')));
  const std::size_t second_joint = name.rfind('-'), first_joint = second_joint == name.npos || second_joint == 0
                                                                      ? name.npos
                                                                      : name.rfind('-', second_joint - 1);
  if (first_joint == name.npos) return;
  // "board-2023-05-12" is a date, "board_rev-3-1-6" is none.
  const auto is_digit = [&](std::size_t i) { return std::isdigit(static_cast<unsigned char>(name[i])) != 0; };
  std::size_t before = 0;
  while (before < first_joint && is_digit(first_joint - before - 1)) ++before;
  const bool two_digits = second_joint - first_joint == 3 && name.size() - second_joint == 3;
  if (before == 4 || (before > 0 && two_digits && is_digit(first_joint + 1))) return;
  const int first = layer_of_word(name.substr(first_joint + 1, second_joint - first_joint - 1), layers),
            last = layer_of_word(name.substr(second_joint + 1), layers);
  if (first < 1 || last <= first || last > layers) return;
  in.first_layer = first;
  in.last_layer = last;
  evidence(in.file).push_back("CHECK: layers " + std::to_string(first) + " to " + std::to_string(last) +
                              " judging by its name only, which is a weak sign");
}

void Recogniser::drill(Recognised& entry, DrillInput& in) {
  DrillFile& file = entry.drill;
  auto& reasons = evidence(in.file);
  if (const DrillNotes* notes = notes_of(file)) take_notes(*notes, file, in);
  const DrillFit fit = fit_drill(file, witness_.holes);
  formats::DrillFormat format = file.format;
  const bool stated = file.unit_stated && (!file.has_integers || file.digits_stated);
  const std::size_t plain = file.holes + file.slots;
  // A fit needs enough holes to speak; few holes keep what the file or a sister file says.
  if (fit.fitted && fit.share > 0.9 && (plain >= 3 || (plain == 0 && file.routs >= 3))) {
    format = fit.format;
    reasons.push_back(percent(fit.share) + " of the holes meet " +
                      (netlist_ ? "holes of the netlist" : "pads on both outer layers") + " when read as " +
                      to_string(format) + "; the next best reading meets " + percent(fit.runner_up));
    if (distance(fit.offset, {}) > 0.02) {
      in.offset = fit.offset;
      reasons.push_back(
          "the origin of this file differs from that of the Gerber files. The offset was found in the same way");
    }
  } else {
    reasons.push_back(stated ? "the number format is as the file or its side file states it"
                             : "the number format is that of the file's header and the usual default. There are too "
                               "few plated holes to prove it");
    for (const auto& other : entries_)
      if (!stated && &other != &entry && other.kind == FileKind::drill && other.drill.unit_stated == file.unit_stated &&
          other.drill.format.millimetres == file.format.millimetres) {
        const DrillFit sister = fit_drill(other.drill, witness_.holes);
        if (sister.share > 0.9) {
          format = sister.format;
          in.offset = distance(sister.offset, {}) > 0.02 ? std::optional(sister.offset) : std::nullopt;
          reasons.push_back("taken from " + other.file->name + " of the same release, where it is proven");
          break;
        }
      }
  }
  in.unit = format.millimetres ? "mm" : "inch";
  if (file.has_integers) {
    in.digits = std::to_string(format.integer_digits) + "." + std::to_string(format.decimals);
    in.zeros = format.zeros == formats::ZeroRule::leading_kept ? "leading kept" : "trailing kept";
  }
  span(file, format, in);
  if (file.routs) reasons.push_back(std::to_string(file.routs) + " routed strokes: slots, or the board's own edge");
  bool kinds = file.plating != formats::Plating::unknown || !in.plating.empty();
  for (const auto& tool : file.tools) kinds |= tool.plating != formats::Plating::unknown;
  const std::string name = lower(file.name);
  if (!kinds && in.first_layer > 0 && (in.first_layer > 1 || in.last_layer < copper_layers())) {
    in.plating = "plated";
    reasons.push_back("holes that do not go through the board join layers, so they are taken as plated");
  } else if (!kinds &&
             (has(name, "npth") || has(name, "nonplated") || has(name, "non-plated") || has(name, "unplated"))) {
    in.plating = "unplated";
    reasons.push_back(
        "taken as unplated because of its name, which is a weak sign. Holes on pads of the netlist follow the netlist");
  } else if (!kinds) {
    reasons.push_back(
        std::string("the file does not state which holes are plated. Each hole follows ") +
        (netlist_ ? "the netlist record at its place, else the copper around it" : "the copper around it"));
  }
}

/// Nothing but routed strokes, which go around all pads.
bool Recogniser::cuts_the_board_out(const DrillFile& file, const DrillInput& in) const {
  if (file.routs < 3 || file.holes + file.slots > 0 || witness_.all.size() < 3) return false;
  Box routed, pads;
  for (const Point p : witness_.all) pads.add(p);
  for (const auto& hole : formats::holes_of(file, drill_format(file, in))) {
    routed.add(hole.at);
    routed.add(hole.end);
  }
  // By size alone: the file may have an origin of its own.
  return routed.valid() && routed.width() >= pads.width() && routed.height() >= pads.height();
}

/// Holes drawn as a Gerber layer without a word about it: round flashes alone, under a name that speaks of drilling,
/// that lie on the lands of at least two other layers. Drill drawings have symbols and text.
void Recogniser::gerber_drills() {
  constexpr double kOnLands = 0.9;
  constexpr std::size_t kFewest = 3;
  for (Recognised& entry : entries_) {
    const std::string name = lower(entry.file->name.substr(entry.file->name.rfind('/') + 1));
    if (entry.kind != FileKind::gerber || !entry.gerber.file_attribute(".FileFunction").empty() ||
        !(has(name, "drill") || has(name, "pth") || has(name, "hole")))
      continue;
    const auto& objects = entry.gerber.objects;
    const bool holes = std::all_of(objects.begin(), objects.end(), [&](const formats::GerberObject& object) {
      return object.dark && object.kind == formats::GerberObject::Kind::flash &&
             entry.gerber.apertures[object.shape].kind == formats::GerberAperture::Kind::circle;
    });
    const std::vector<Point> places = flash_centres(entry.gerber);
    if (!holes || places.size() < kFewest) continue;
    const auto under = std::count_if(entries_.begin(), entries_.end(), [&](const Recognised& other) {
      return &other != &entry && other.kind == FileKind::gerber &&
             share_met(places, flash_centres(other.gerber), {}, 0.05) >= kOnLands;
    });
    if (under < 2) continue;
    entry.kind = FileKind::drill;
    entry.drill = formats::drill_of_gerber(entry.gerber, entry.diagnostics);
    evidence(entry.file->name)
        .push_back("CHECK: round flashes on the lands of " + std::to_string(under) +
                   " other layers, and a name that speaks of drilling: taken as a drill file");
  }
}

void Recogniser::drills() {
  for (auto& entry : entries_) {
    if (entry.kind != FileKind::drill) continue;
    if (entry.drill.ops.empty()) {
      evidence("ignored").push_back("not used: " + entry.file->name + " (a drill file without holes)");
      continue;
    }
    DrillInput in;
    in.file = entry.file->name;
    drill(entry, in);
    if (cuts_the_board_out(entry.drill, in)) {
      evidence("ignored").push_back("not used: " + in.file + " (routed strokes around all pads: the board's own edge)");
      out_.evidence.erase(in.file);
      continue;
    }
    bool complete = true;
    for (const auto& op : entry.drill.ops)
      if (formats::cuts(op.kind) && !entry.drill.tools[op.tool].diameter) complete = false;
    if (!complete) {
      for (const auto& finding : entry.diagnostics.all())
        if (finding.code == "drill-no-diameter") {
          diagnostics_.warn({.code = "start-file-unreadable",
                             .at = finding.place,
                             .message = "left out of the job: " + finding.message,
                             .found = finding.found,
                             .remedy = finding.remedy});
          break;
        }
      evidence("ignored").push_back("not used: " + in.file + " (no diameters; give them in  tools)");
      out_.evidence.erase(in.file);
      continue;
    }
    for (const auto& finding : entry.diagnostics.all())
      if (finding.code != "drill-no-diameter") diagnostics_.add(finding);
    out_.job.inputs.drills.push_back(std::move(in));
  }
}

}  // namespace teasel
