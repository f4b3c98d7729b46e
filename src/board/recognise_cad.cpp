// IPC-2581 and IDF files, bills of materials.
#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "recogniser.h"

namespace teasel {

namespace {
std::string stem(const std::string& name) {
  return name.substr(0, name.rfind('.'));
}
/// Which column says what is fitted.
std::string fitted_text(const formats::BomTable& table) {
  if (!table.variants.empty()) return "a column for each build variant";
  if (table.fitted_column.empty()) return "no column says what is fitted, so every listed part is taken as fitted";
  return "column '" + table.fitted_column + "' says what is fitted";
}
}  // namespace

/// The IPC-2581 file of the folder, null where there is none. Of several the fullest is taken, and the choice is asked.
Recognised* Recogniser::only_cad() {
  std::vector<Recognised*> found;
  for (auto& entry : entries_)
    if (entry.kind == FileKind::cad) found.push_back(&entry);
  if (found.empty()) return nullptr;
  const auto fullness = [](const Recognised* entry) {
    return std::tuple(entry->cad.netlist.records.size(), entry->cad.mechanics.bodies.size(), entry->file->name);
  };
  std::stable_sort(found.begin(), found.end(),
                   [&](const Recognised* a, const Recognised* b) { return fullness(a) > fullness(b); });
  if (found.size() == 1) return found[0];
  const auto told = [](const Recognised& entry) {
    return entry.file->name + " (revision " + entry.cad.revision + ", " +
           std::to_string(entry.cad.netlist.records.size()) + " pads, " +
           std::to_string(entry.cad.mechanics.bodies.size()) + " components)";
  };
  std::string others;
  for (std::size_t i = 1; i < found.size(); ++i) {
    others += (i > 1 ? ", " : "") + told(*found[i]);
    found[i]->kind = FileKind::other;
    found[i]->why = "another IPC-2581 file; " + found[0]->file->name + " is taken";
  }
  evidence("inputs.ipc2581")
      .push_back("CHECK: the folder holds several IPC-2581 files. Taken: " + told(*found[0]) + ". Left out: " + others);
  diagnostics_.warn({.code = "start-two-cad",
                     .at = {found[1]->file->name, 0, 0, {}},
                     .message = "the folder holds several IPC-2581 files. The fullest is taken",
                     .found = told(*found[0]) + "; left out: " + others,
                     .remedy = "if another one is right, name it in  [inputs.ipc2581] file"});
  return found[0];
}

/// Whether mask layers of an IPC-2581 file show openings or mask, by the pads of their side.
void Recogniser::cad_masks() {
  auto& reasons = evidence("inputs.ipc2581");
  bool mask = false;
  for (const auto& layer : cad_->layers) {
    if (layer.kind != formats::CadLayer::Kind::mask || layer.image.objects.empty()) continue;
    mask = true;
    std::vector<Point> pads;
    for (const auto& record : cad_->netlist.records)
      if (record.kind == formats::NetlistRecord::Kind::surface && (record.access == 1) == (layer.side == Side::top))
        pads.push_back(from_netlist_(record.at));
    if (pads.size() < 5) continue;
    const double dark = share_dark(LayerImage(layer.image, false), pads);
    if (dark < 0.3) out_.job.inputs.cad_mask = "mask";
    reasons.push_back(layer.image.name + ": " + percent(dark) +
                      " of the pads of its side lie on drawn areas, so it shows " + (dark < 0.3 ? "mask" : "openings"));
  }
  if (!mask)
    reasons.push_back(
        "CHECK: the file holds no mask layer. What is exposed " +
        std::string(cad_->exposure_stated
                        ? "is taken from its PhyNetPoint exposure, which tells what the part library intended"
                        : "is not known, so pads are taken as open and vias as covered"));
}

/// Reads the IPC-2581 file of the folder; alone it makes a whole job.
void Recogniser::cad() {
  Recognised* found = only_cad();
  if (!found) return;
  cad_ = &found->cad;
  auto& reasons = evidence("inputs.ipc2581");
  out_.job.inputs.cad_file = found->file->name;
  std::size_t holes = cad_->mechanics.holes.size(), heights = 0, fitted = 0;
  for (const auto& body : cad_->mechanics.bodies) {
    heights += body.height.has_value();
    fitted += !body.fitted || *body.fitted;
  }
  reasons.push_back("revision " + cad_->revision + ", mode " + cad_->mode + ", step " + cad_->step + ": " +
                    std::to_string(cad_->copper_layers) + " copper layers, " + std::to_string(holes) + " holes, " +
                    std::to_string(cad_->mechanics.bodies.size()) + " components, " + std::to_string(heights) +
                    " of them with a height, " + std::to_string(fitted) + " fitted" +
                    (cad_->variant.empty() ? "" : " by " + cad_->variant));
  reasons.push_back(std::to_string(cad_->pins_met) + " of " + std::to_string(cad_->pins) +
                    " pins lie on pads of their name, components " + cad_->placing);
  for (const auto& step : cad_->steps)
    if (const auto boards = std::count_if(step.places.begin(), step.places.end(),
                                          [&](const auto& place) { return place.step == cad_->step; }))
      reasons.push_back("step " + step.name + " is a panel of " + std::to_string(boards) +
                        " such boards. The plan is for one board. To plan all of them, set  [panel] step = \"" +
                        step.name + "\"");
  if (cad_->steps.size() > 1) out_.job.inputs.cad_step = cad_->step;
  if (cad_->variants.size() > 1) {
    std::string names;
    for (const auto& variant : cad_->variants) names += (names.empty() ? "" : ", ") + variant.name;
    reasons.push_back("CHECK: bills of materials " + names + ". The first is used");
    out_.job.inputs.cad_variant = cad_->variant;
  }
  cad_masks();
  if (cad_->mechanics.thickness && !out_.job.inputs.thickness) {
    out_.job.inputs.thickness = cad_->mechanics.thickness;
    evidence("board").push_back(found->file->name + ": thickness " + short_number(cad_->mechanics.thickness->v, 3) +
                                " mm");
  }
}

/// IDF board and library: those of one name belong together; the offset by holes, else by parts on their pads.
void Recogniser::idf() {
  std::vector<const Recognised*> boards, libraries;
  for (const auto& entry : entries_) {
    if (entry.kind == FileKind::idf_board) boards.push_back(&entry);
    if (entry.kind == FileKind::idf_library) libraries.push_back(&entry);
  }
  if (boards.empty()) {
    for (const auto* entry : libraries)
      evidence("ignored").push_back("not used: " + entry->file->name + " (an IDF library without its board file)");
    return;
  }
  if (boards.size() > 1)
    return diagnostics_.warn({.code = "start-two-idf",
                              .at = {boards[1]->file->name, 0, 0, {}},
                              .message = "the folder holds two IDF board files, and neither is used",
                              .found = boards[0]->file->name + " and " + boards[1]->file->name,
                              .remedy = "name one in  [inputs.idf] board"});
  const Recognised* library = libraries.size() == 1 ? libraries[0] : nullptr;
  for (const auto* entry : libraries)
    if (lower(stem(entry->file->name)) == lower(stem(boards[0]->file->name))) library = entry;
  Diagnostics own;
  const formats::Mechanics mechanics = formats::read_idf(
      boards[0]->file->bytes, boards[0]->file->name,
      library ? std::string_view(library->file->bytes) : std::string_view(), library ? library->file->name : "", own);
  if (own.failed()) {
    for (const auto& finding : own.all())
      if (finding.severity == Severity::error)
        return diagnostics_.warn({.code = "start-file-unreadable",
                                  .at = finding.place,
                                  .message = "left out of the job: " + finding.message,
                                  .found = finding.found,
                                  .remedy = finding.remedy});
  }
  diagnostics_.merge(own);
  auto& reasons = evidence("inputs.idf");
  out_.job.inputs.idf_board = boards[0]->file->name;
  if (library) out_.job.inputs.idf_library = library->file->name;
  std::size_t heights = 0;
  for (const auto& body : mechanics.bodies) heights += body.height.has_value();
  reasons.push_back(std::to_string(mechanics.bodies.size()) + " placed parts, " + std::to_string(heights) +
                    " of them with a height; " + std::to_string(mechanics.holes.size()) + " holes" +
                    (mechanics.vias_left_out ? ", vias left out" : "") + "; " + std::to_string(mechanics.areas.size()) +
                    " outlines and keep-outs" +
                    (library ? "" : "; CHECK: no library file, so bodies have neither outline nor height"));
  idf_offset(mechanics);
  idf_bodies(mechanics);
  if (mechanics.thickness && !out_.job.inputs.thickness) {
    out_.job.inputs.thickness = mechanics.thickness;
    evidence("board").push_back(mechanics.name + ": thickness " + short_number(mechanics.thickness->v, 3) + " mm");
  }
}

/// The origin of an IDF file, by its holes.
void Recogniser::idf_offset(const formats::Mechanics& mechanics) {
  auto& reasons = evidence("inputs.idf");
  std::vector<Point> holes;
  for (const auto& hole : mechanics.holes) holes.push_back(hole.at);
  const std::vector<Point>& targets = witness_.holes;
  if (holes.size() >= 5 && targets.size() >= 5) {
    const double none = share_met(holes, targets, {}, 0.05);
    const OffsetFit fit = fit_offset(holes, targets, 0.05);
    const bool moved = fit.share > none + 0.05 && distance(fit.offset, {}) > 0.02;
    if (moved) out_.job.inputs.idf_offset = fit.offset;
    reasons.push_back(percent(moved ? fit.share : none) + " of its holes meet holes of the board" +
                      (moved ? " with this offset" : ", with no offset"));
  } else {
    reasons.push_back("CHECK: too few holes to prove its origin. No offset is assumed");
  }
}

/// How many of the bodies that an IDF file draws stand at the pads of their parts.
void Recogniser::idf_bodies(const formats::Mechanics& mechanics) {
  if (!netlist_ || mechanics.bodies.empty()) return;
  std::map<std::string, std::vector<Point>> pads;
  for (const auto& record : netlist_->records)
    if (!record.component.empty() && record.component != "VIA")
      pads[record.component].push_back(from_netlist_(record.at));
  const Point shift = out_.job.inputs.idf_offset.value_or(Point{});
  std::size_t parts = 0, at = 0;
  for (const auto& body : mechanics.bodies)
    if (const auto it = pads.find(body.component); it != pads.end() && !body.outline.empty()) {
      ++parts;
      at += std::any_of(it->second.begin(), it->second.end(),
                        [&](Point p) { return distance_to_area(body.outline, p - shift) < 2; });
    }
  if (parts)
    evidence("inputs.idf")
        .push_back((at * 10 < parts * 9 ? "CHECK: only " : "") + std::to_string(at) + " of " + std::to_string(parts) +
                   " drawn bodies stand at the pads of their parts");
}

/// References of the board, as far as its netlist or its placement tables list them.
std::set<std::string> Recogniser::known_parts() const {
  std::set<std::string> parts;
  if (netlist_)
    for (const auto& record : netlist_->records)
      if (!record.component.empty() && record.component != "VIA") parts.insert(record.component);
  if (!parts.empty()) return parts;
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::placement) continue;
    Diagnostics quiet;
    for (const auto& row : formats::read_placement(entry.file->bytes, entry.file->name, quiet).rows)
      parts.insert(row.component);
  }
  return parts;
}

namespace {
struct BomChoice {
  const Recognised* entry{};
  formats::BomTable table;
  std::size_t known = 0, foreign = 0;  ///< references of the board, and others
};
/// The bill of this board, then the fuller one. What lists the same is told apart by its bytes, not by its name.
bool is_better_bom(const BomChoice& a, const BomChoice& b) {
  if (a.known != b.known) return a.known > b.known;
  if (a.foreign != b.foreign) return a.foreign < b.foreign;
  if (a.table.rows.size() != b.table.rows.size()) return a.table.rows.size() > b.table.rows.size();
  return a.entry->file->bytes < b.entry->file->bytes;
}
}  // namespace

/// Of several bills of materials the one that lists most parts of the board is taken.
void Recogniser::bom() {
  const std::set<std::string> parts = known_parts();
  std::vector<BomChoice> found;
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::bom) continue;
    Diagnostics own;
    BomChoice choice{&entry, formats::read_bom(entry.file->bytes, entry.file->name, own)};
    if (own.failed()) {
      evidence("ignored").push_back("not used: " + entry.file->name + " (a bill of materials that could not be read)");
      continue;
    }
    for (const auto& row : choice.table.rows) ++(parts.count(row.component) ? choice.known : choice.foreign);
    found.push_back(std::move(choice));
  }
  if (found.empty()) return;
  std::stable_sort(found.begin(), found.end(), is_better_bom);
  const formats::BomTable& table = found[0].table;
  out_.job.inputs.bom_file = found[0].entry->file->name;
  auto& reasons = evidence("inputs.bom");
  reasons.push_back(std::to_string(table.rows.size()) + " references; " + fitted_text(table));
  note_sheets(*found[0].entry);
  auto listed = [&](const BomChoice& choice) {
    return choice.entry->file->name + " (" + std::to_string(choice.table.rows.size()) + " references" +
           (parts.empty() ? "" : ", " + std::to_string(choice.known) + " of them on the board") + ")";
  };
  for (std::size_t i = 1; i < found.size(); ++i) {
    reasons.push_back("CHECK: another bill of materials is left out: " + listed(found[i]));
    diagnostics_.warn({.code = "start-two-boms",
                       .at = {found[i].entry->file->name, 0, 0, {}},
                       .message = "a second bill of materials is left out. The one that lists most parts of the board "
                                  "is taken",
                       .found = listed(found[i]) + "; taken: " + listed(found[0]),
                       .remedy = "if this one is right, name it in  [inputs.bom] file"});
  }
  if (table.variants.empty()) return;
  std::string names;
  for (const auto& variant : table.variants) names += (names.empty() ? "" : ", ") + variant;
  out_.job.inputs.bom_variant = table.variants[0];
  reasons.push_back("CHECK: variants " + names + ". The first is used");
}

/// A description goes to the component that has its pins, and no others.
void Recogniser::bsdl() {
  std::map<std::string, std::set<std::string>> pins;
  if (netlist_)
    for (const auto& record : netlist_->records)
      if (!record.component.empty() && record.component != "VIA") pins[record.component].insert(record.pin);
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::bsdl) continue;
    Diagnostics own;
    const formats::BsdlDevice dev = formats::read_bsdl(entry.file->bytes, entry.file->name, own);
    if (own.failed()) {
      evidence("ignored").push_back("not used: " + entry.file->name +
                                    " (a boundary-scan description that could not be read)");
      continue;
    }
    std::vector<std::pair<std::string, std::string>> fits;  // component, package
    for (const auto& part : pins)
      for (const auto& [package, map] : dev.packages) {
        const std::set<std::string>& has = part.second;
        std::set<std::string> wanted;
        for (const auto& [signal, list] : map) wanted.insert(list.begin(), list.end());
        const auto met = static_cast<std::size_t>(
            std::count_if(wanted.begin(), wanted.end(), [&](const std::string& pin) { return has.count(pin) > 0; }));
        if (wanted.size() >= 4 && met * 100 >= wanted.size() * 95 && met * 100 >= has.size() * 95) {
          fits.emplace_back(part.first, package);
          break;
        }
      }
    if (fits.empty()) {
      evidence("ignored").push_back("not used: " + entry.file->name +
                                    " (no component has the pins of this boundary-scan description; bind it in  "
                                    "[[inputs.bsdl]]  with component)");
      continue;
    }
    std::string all;
    for (const auto& fit : fits) all += (all.empty() ? "" : ", ") + fit.first;
    auto& reasons = evidence(entry.file->name);
    if (fits.size() == 1)
      reasons.push_back("only component " + all + " has its pins (package " + fits[0].second + ")");
    else
      reasons.push_back("CHECK: " + std::to_string(fits.size()) + " components have its pins: " + all +
                        ". The first is used");
    out_.job.inputs.bsdl.push_back({entry.file->name, fits[0].first, {}, {}});
  }
}

}  // namespace teasel
