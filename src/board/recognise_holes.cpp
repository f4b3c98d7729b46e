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
const DrillNotes* Recogniser::notes_of(const DrillFile& f) const {
  const DrillNotes* found = nullptr;
  const bool routing = f.routs > 0 && f.holes + f.slots == 0;
  for (const auto& r : r_) {
    if (r.kind != FileKind::drill_notes || r.notes.routing != routing) continue;
    // Parameters alone (no tools listed) serve any program.
    const bool all =
        r.notes.tools.empty() || std::all_of(f.tools.begin(), f.tools.end(), [&](const auto& t) {
          return std::any_of(r.notes.tools.begin(), r.notes.tools.end(), [&](const auto& n) {
            return n.number == t.number && (!t.diameter || !n.diameter || std::abs(*t.diameter - *n.diameter) < 0.02);
          });
        });
    if (!all) continue;
    if (found && !found->tools.empty()) return nullptr;  // two that fit: neither is taken
    found = &r.notes;
  }
  return found;
}

/// What the program leaves open, from its side file.
void Recogniser::take_notes(const DrillNotes& n, DrillFile& f, DrillInput& in) {
  auto& e = evidence(in.file);
  const bool open = f.has_integers && !f.digits_stated && n.integer_digits && n.decimals;
  if (!f.unit_stated && n.millimetres) {
    f.format.millimetres = *n.millimetres;
    f.unit_stated = true;
  }
  if (open) {
    f.format.integer_digits = *n.integer_digits;
    f.format.decimals = *n.decimals;
    f.digits_stated = true;
  }
  if (open && !f.zeros_stated && n.zeros) {
    f.format.zeros = *n.zeros;
    f.zeros_stated = true;
  }
  if (open) e.push_back(n.name + " states the number format: " + to_string(f.format));
  std::size_t sizes = 0, counts = 0, wrong = 0;
  std::vector<std::size_t> holes(f.tools.size());
  for (const auto& o : f.ops)
    if (formats::cuts(o.kind) && o.kind <= formats::DrillOp::Kind::slot) holes[o.tool] += o.count;
  bool plated = true, unplated = true;
  for (std::size_t i = 0; i < f.tools.size(); ++i) {
    const auto t =
        std::find_if(n.tools.begin(), n.tools.end(), [&](const auto& k) { return k.number == f.tools[i].number; });
    if (t == n.tools.end()) continue;
    if (!f.tools[i].diameter && t->diameter) {
      f.tools[i].diameter = t->diameter;
      in.tools[t->number] = Mm{*t->diameter};
      ++sizes;
    }
    if (t->stated_count >= 0) {
      ++counts;
      wrong += static_cast<std::size_t>(t->stated_count) != holes[i];
    }
    plated &= t->plating == formats::Plating::plated;
    unplated &= t->plating == formats::Plating::unplated;
  }
  if (sizes) e.push_back(n.name + " gives the diameters of " + std::to_string(sizes) + " tools");
  if (counts && wrong)
    d_.warn("drill-count", {f.name, 0, 0, {}}, "a side file counts other numbers of holes than the program holds",
            std::to_string(wrong) + " of " + std::to_string(counts) + " tools differ from " + n.name,
            "is it of another release?");
  else if (counts)
    e.push_back(n.name + " counts the same holes for all " + std::to_string(counts) + " tools");
  if (!n.tools.empty() && plated != unplated) in.plating = plated ? "plated" : "unplated";
}

/// Blind and buried holes: the layers that the netlist's via records at the same places join.
void Recogniser::span(const DrillFile& f, const formats::DrillFormat& format, DrillInput& in) {
  if (f.first_layer || f.last_layer) return;
  std::map<std::pair<int, int>, std::size_t> votes;
  std::size_t met = 0;
  if (netlist_) {
    PointGrid grid(0.05);
    std::vector<std::pair<int, int>> spans;
    for (const auto& r : netlist_->records)
      if (!r.continuation && (r.hole || r.kind == formats::NetlistRecord::Kind::blind_via)) {
        grid.add(r.at + shift_, static_cast<int>(spans.size()));
        spans.emplace_back(r.first_layer, r.last_layer);
      }
    for (const auto& h : formats::holes_of(f, format))
      if (!h.slot)
        if (const int i = grid.nearest(h.at + in.offset.value_or(Point{}), 0.03); i >= 0) {
          ++votes[spans[static_cast<std::size_t>(i)]];
          ++met;
        }
  }
  for (const auto& [s, n] : votes)
    if (s.first > 0 && s.second > s.first && n >= 3 && static_cast<double>(n) > 0.9 * static_cast<double>(met)) {
      in.first_layer = s.first;
      in.last_layer = s.second;
      evidence(in.file).push_back(percent(static_cast<double>(n) / static_cast<double>(met)) +
                                  " of its holes are vias that the netlist runs from layer " + std::to_string(s.first) +
                                  " to " + std::to_string(s.second));
      return;
    }
  if (met) return;
  // "-1-6." at the end of the name.
  const std::string name = f.name.substr(0, f.name.rfind('.'));
  const std::size_t b = name.rfind('-'), a = b == name.npos || b == 0 ? name.npos : name.rfind('-', b - 1);
  int first = 0, last = 0;
  if (a == name.npos || std::from_chars(name.data() + a + 1, name.data() + b, first).ptr != name.data() + b ||
      std::from_chars(name.data() + b + 1, name.data() + name.size(), last).ptr != name.data() + name.size())
    return;
  // "board-2023-05-12" is a date: no third number before, and no more layers than the board is known to have.
  if (a > 0 && std::isdigit(static_cast<unsigned char>(name[a - 1]))) return;
  int layers = std::max(stated_layers_, netlist_ ? bottom_code(*netlist_) : 0), files = 0;
  for (const auto& r : r_)
    if (r.kind == FileKind::gerber &&
        (r.role == LayerRole::copper_top || r.role == LayerRole::copper_bottom || r.role == LayerRole::copper_inner)) {
      ++files;
      layers = std::max(layers, r.layer);
    }
  if (first < 1 || last <= first || last > std::max(layers, files)) return;
  in.first_layer = first;
  in.last_layer = last;
  evidence(in.file).push_back("CHECK: layers " + std::to_string(first) + " to " + std::to_string(last) +
                              " by its name only, a weak sign");
}

void Recogniser::drill(Recognised& r, DrillInput& in) {
  DrillFile& f = r.drill;
  auto& e = evidence(in.file);
  if (const DrillNotes* n = notes_of(f)) take_notes(*n, f, in);
  const DrillFit fit = fit_drill(f, w_.holes);
  formats::DrillFormat format = f.format;
  const bool stated = f.unit_stated && (!f.has_integers || f.digits_stated);
  const std::size_t plain = f.holes + f.slots;
  // A fit needs enough holes to speak; few holes keep what the file or a sister file says.
  if (fit.fitted && fit.share > 0.9 && (plain >= 3 || (plain == 0 && f.routs >= 3))) {
    format = fit.format;
    e.push_back(percent(fit.share) + " of the holes meet " +
                (netlist_ ? "holes of the netlist" : "pads on both outer layers") + " when read as " +
                to_string(format) + "; the next best reading meets " + percent(fit.runner_up));
    if (distance(fit.offset, {}) > 0.02) {
      in.offset = fit.offset;
      e.push_back("this file's origin differs from the Gerber files'; the offset was found by the same vote");
    }
  } else {
    e.push_back(stated ? "number format as the file or its side file states it"
                       : "number format by the file's header and the usual default; too few plated holes to prove it");
    for (const auto& other : r_)
      if (!stated && &other != &r && other.kind == FileKind::drill && other.drill.unit_stated == f.unit_stated &&
          other.drill.format.millimetres == f.format.millimetres) {
        const DrillFit sister = fit_drill(other.drill, w_.holes);
        if (sister.share > 0.9) {
          format = sister.format;
          in.offset = distance(sister.offset, {}) > 0.02 ? std::optional(sister.offset) : std::nullopt;
          e.push_back("taken from " + other.file->name + " of the same release, where it is proven");
          break;
        }
      }
  }
  in.unit = format.millimetres ? "mm" : "inch";
  if (f.has_integers) {
    in.digits = std::to_string(format.integer_digits) + "." + std::to_string(format.decimals);
    in.zeros = format.zeros == formats::ZeroRule::leading_kept ? "leading kept" : "trailing kept";
  }
  span(f, format, in);
  if (f.routs) e.push_back(std::to_string(f.routs) + " routed strokes: slots, or the board's own edge");
  bool kinds = f.plating != formats::Plating::unknown || !in.plating.empty();
  for (const auto& t : f.tools) kinds |= t.plating != formats::Plating::unknown;
  const std::string name = lower(f.name);
  if (!kinds && (has(name, "npth") || has(name, "nonplated") || has(name, "non-plated") || has(name, "unplated"))) {
    in.plating = "unplated";
    e.push_back("unplated by its name, a weak sign; holes on pads of the netlist follow the netlist");
  } else if (!kinds) {
    e.push_back(std::string("the file does not say which holes are plated: each hole follows ") +
                (netlist_ ? "the netlist record at its place, else the copper around it" : "the copper around it"));
  }
}

void Recogniser::drills() {
  for (auto& r : r_) {
    if (r.kind != FileKind::drill) continue;
    if (r.drill.ops.empty()) {
      evidence("ignored").push_back("not used: " + r.file->name + " (a drill file without holes)");
      continue;
    }
    DrillInput in;
    in.file = r.file->name;
    drill(r, in);
    bool complete = true;
    for (const auto& o : r.drill.ops)
      if (formats::cuts(o.kind) && !r.drill.tools[o.tool].diameter) complete = false;
    if (!complete) {
      for (const auto& f : r.d.all())
        if (f.code == "drill-no-diameter") {
          d_.warn("start-file-unreadable", f.place, "left out of the job: " + f.message, f.found, f.remedy);
          break;
        }
      evidence("ignored").push_back("not used: " + in.file + " (no diameters; give them in  tools)");
      out_.evidence.erase(in.file);
      continue;
    }
    for (const auto& f : r.d.all())
      if (f.code != "drill-no-diameter") d_.add(f);
    out_.job.drills.push_back(std::move(in));
  }
}

}  // namespace teasel
