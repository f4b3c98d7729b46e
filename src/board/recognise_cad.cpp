// IPC-2581 and IDF files, bills of materials.
#include <algorithm>
#include <map>
#include <set>

#include "recogniser.h"

namespace teasel {

namespace {
std::string stem(const std::string& name) {
  return name.substr(0, name.rfind('.'));
}
}  // namespace

/// Reads the IPC-2581 file of the folder; alone it makes a whole job.
void Recogniser::cad() {
  Recognised* found = nullptr;
  for (auto& r : r_) {
    if (r.kind != FileKind::cad) continue;
    if (found)
      return d_.error("start-two-cad", {r.file->name, 0, 0, {}}, "the folder holds two IPC-2581 files",
                      found->file->name + " and " + r.file->name, "one",
                      "remove the stale one, or write the job file by hand");
    found = &r;
  }
  if (!found) return;
  cad_ = &found->cad;
  auto& e = evidence("inputs.ipc2581");
  out_.job.cad_file = found->file->name;
  std::size_t holes = cad_->mechanics.holes.size(), heights = 0, fitted = 0;
  for (const auto& b : cad_->mechanics.bodies) {
    heights += b.height.has_value();
    fitted += !b.fitted || *b.fitted;
  }
  e.push_back("revision " + cad_->revision + ", mode " + cad_->mode + ", step " + cad_->step + ": " +
              std::to_string(cad_->copper_layers) + " copper layers, " + std::to_string(holes) + " holes, " +
              std::to_string(cad_->mechanics.bodies.size()) + " components, " + std::to_string(heights) +
              " of them with a height, " + std::to_string(fitted) + " fitted" +
              (cad_->variant.empty() ? "" : " by " + cad_->variant));
  e.push_back(std::to_string(cad_->pins_met) + " of " + std::to_string(cad_->pins) +
              " pins lie on pads of their name, components " + cad_->placing);
  for (const auto& s : cad_->steps)
    if (const auto n =
            std::count_if(s.places.begin(), s.places.end(), [&](const auto& p) { return p.step == cad_->step; }))
      e.push_back("step " + s.name + " is a panel of " + std::to_string(n) +
                  " such boards; the plan is for one, or for all of them with  [panel] step = \"" + s.name + "\"");
  if (cad_->steps.size() > 1) out_.job.cad_step = cad_->step;
  if (cad_->variants.size() > 1) {
    std::string names;
    for (const auto& v : cad_->variants) names += (names.empty() ? "" : ", ") + v.name;
    e.push_back("CHECK: bills of materials " + names + "; the first is taken");
    out_.job.cad_variant = cad_->variant;
  }
  bool mask = false;
  for (const auto& l : cad_->layers) {
    if (l.kind != formats::CadLayer::Kind::mask || l.image.objects.empty()) continue;
    mask = true;
    std::vector<Point> pads;
    for (const auto& r : cad_->netlist.records)
      if (r.kind == formats::NetlistRecord::Kind::surface && (r.access == 1) == (l.side == 0)) pads.push_back(r.at);
    if (pads.size() < 5) continue;
    const double dark = share_dark(LayerImage(l.image, false), pads);
    if (dark < 0.3) out_.job.cad_mask = "mask";
    e.push_back(l.image.name + ": " + percent(dark) + " of the pads of its side lie on drawn areas, so it shows " +
                (dark < 0.3 ? "mask" : "openings"));
  }
  if (!mask)
    e.push_back("CHECK: the file holds no mask layer; what lies bare " +
                std::string(cad_->exposure_stated
                                ? "is taken from its PhyNetPoint exposure, which says what the library meant"
                                : "is not known: pads count as open, vias as covered"));
  if (cad_->mechanics.thickness && !out_.job.thickness) {
    out_.job.thickness = Mm{*cad_->mechanics.thickness};
    evidence("board").push_back(found->file->name + ": thickness " + short_number(*cad_->mechanics.thickness, 3) +
                                " mm");
  }
}

/// IDF board and library: those of one name belong together; the offset by holes, else by parts on their pads.
void Recogniser::idf() {
  std::vector<const Recognised*> boards, libraries;
  for (const auto& r : r_) {
    if (r.kind == FileKind::idf_board) boards.push_back(&r);
    if (r.kind == FileKind::idf_library) libraries.push_back(&r);
  }
  if (boards.empty()) {
    for (const auto* l : libraries)
      evidence("ignored").push_back("not used: " + l->file->name + " (an IDF library without its board file)");
    return;
  }
  if (boards.size() > 1)
    return d_.warn("start-two-idf", {boards[1]->file->name, 0, 0, {}},
                   "the folder holds two IDF board files; neither is used",
                   boards[0]->file->name + " and " + boards[1]->file->name, "name one in  [inputs.idf] board");
  const Recognised* library = libraries.size() == 1 ? libraries[0] : nullptr;
  for (const auto* l : libraries)
    if (lower(stem(l->file->name)) == lower(stem(boards[0]->file->name))) library = l;
  Diagnostics own;
  const formats::Mechanics m = formats::read_idf(boards[0]->file->bytes, boards[0]->file->name,
                                                 library ? std::string_view(library->file->bytes) : std::string_view(),
                                                 library ? library->file->name : "", own);
  if (own.failed()) {
    for (const auto& f : own.all())
      if (f.severity == Severity::error)
        return d_.warn("start-file-unreadable", f.place, "left out of the job: " + f.message, f.found, f.remedy);
  }
  d_.merge(own);
  auto& e = evidence("inputs.idf");
  out_.job.idf_board = boards[0]->file->name;
  if (library) out_.job.idf_library = library->file->name;
  std::size_t heights = 0;
  for (const auto& b : m.bodies) heights += b.height.has_value();
  e.push_back(std::to_string(m.bodies.size()) + " placed parts, " + std::to_string(heights) +
              " of them with a height; " + std::to_string(m.holes.size()) + " holes" +
              (m.vias_left_out ? ", vias left out" : "") + "; " + std::to_string(m.areas.size()) +
              " outlines and keep-outs" +
              (library ? "" : "; CHECK: no library file, so bodies have neither outline nor height"));
  std::vector<Point> holes;
  for (const auto& h : m.holes) holes.push_back(h.at);
  const std::vector<Point>& targets = w_.holes;
  if (holes.size() >= 5 && targets.size() >= 5) {
    const double none = share_met(holes, targets, {}, 0.05);
    const OffsetFit fit = fit_offset(holes, targets, 0.05);
    const bool moved = fit.share > none + 0.05 && distance(fit.offset, {}) > 0.02;
    if (moved) out_.job.idf_offset = fit.offset;
    e.push_back(percent(moved ? fit.share : none) + " of its holes meet holes of the board" +
                (moved ? " with this offset" : ", with no offset"));
  } else {
    e.push_back("CHECK: too few holes to prove its origin; no offset is assumed");
  }
  if (netlist_ && !m.bodies.empty()) {
    std::map<std::string, std::vector<Point>> pads;
    for (const auto& r : netlist_->records)
      if (!r.component.empty() && r.component != "VIA") pads[r.component].push_back(r.at + shift_);
    const Point shift = out_.job.idf_offset.value_or(Point{});
    std::size_t parts = 0, at = 0;
    for (const auto& b : m.bodies)
      if (const auto it = pads.find(b.component); it != pads.end() && !b.outline.empty()) {
        ++parts;
        at += std::any_of(it->second.begin(), it->second.end(),
                          [&](Point p) { return distance_to_area(b.outline, p - shift) < 2; });
      }
    if (parts)
      e.push_back((at * 10 < parts * 9 ? "CHECK: only " : "") + std::to_string(at) + " of " + std::to_string(parts) +
                  " drawn bodies stand at the pads of their parts");
  }
  if (m.thickness && !out_.job.thickness) {
    out_.job.thickness = Mm{*m.thickness};
    evidence("board").push_back(m.name + ": thickness " + short_number(*m.thickness, 3) + " mm");
  }
}

void Recogniser::bom() {
  for (const auto& r : r_) {
    if (r.kind != FileKind::bom) continue;
    if (!out_.job.bom_file.empty()) {
      d_.warn("start-two-boms", {r.file->name, 0, 0, {}}, "a second bill of materials is left out",
              out_.job.bom_file + " is taken");
      continue;
    }
    Diagnostics own;
    const formats::BomTable t = formats::read_bom(r.file->bytes, r.file->name, own);
    if (own.failed()) {
      evidence("ignored").push_back("not used: " + r.file->name + " (a bill of materials that could not be read)");
      continue;
    }
    out_.job.bom_file = r.file->name;
    auto& e = evidence("inputs.bom");
    e.push_back(std::to_string(t.rows.size()) + " references; " +
                (!t.variants.empty()       ? "a column for each build variant"
                 : t.fitted_column.empty() ? "no column for what is fitted: every part that is listed is fitted"
                                           : "column '" + t.fitted_column + "' says what is fitted"));
    if (t.variants.empty()) continue;
    std::string names;
    for (const auto& v : t.variants) names += (names.empty() ? "" : ", ") + v;
    out_.job.bom_variant = t.variants[0];
    e.push_back("CHECK: variants " + names + "; the first is taken");
  }
}

/// A description goes to the component that has its pins, and no others.
void Recogniser::bsdl() {
  std::map<std::string, std::set<std::string>> pins;
  if (netlist_)
    for (const auto& r : netlist_->records)
      if (!r.component.empty() && r.component != "VIA") pins[r.component].insert(r.pin);
  for (const auto& r : r_) {
    if (r.kind != FileKind::bsdl) continue;
    Diagnostics own;
    const formats::BsdlDevice dev = formats::read_bsdl(r.file->bytes, r.file->name, own);
    if (own.failed()) {
      evidence("ignored").push_back("not used: " + r.file->name +
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
            std::count_if(wanted.begin(), wanted.end(), [&](const std::string& p) { return has.count(p) > 0; }));
        if (wanted.size() >= 4 && met * 100 >= wanted.size() * 95 && met * 100 >= has.size() * 95) {
          fits.emplace_back(part.first, package);
          break;
        }
      }
    if (fits.empty()) {
      evidence("ignored").push_back("not used: " + r.file->name +
                                    " (no component has the pins of this boundary-scan description; bind it in  "
                                    "[[inputs.bsdl]]  with component)");
      continue;
    }
    std::string all;
    for (const auto& f : fits) all += (all.empty() ? "" : ", ") + f.first;
    auto& e = evidence(r.file->name);
    if (fits.size() == 1)
      e.push_back("of all components " + all + " alone has its pins (package " + fits[0].second + ")");
    else
      e.push_back("CHECK: " + std::to_string(fits.size()) + " components have its pins: " + all +
                  "; the first is taken");
    out_.job.bsdl.push_back({r.file->name, fits[0].first, {}, {}});
  }
}

}  // namespace teasel
