// A folder of release files to a first job: every file by its content, every open question by evidence.
#include <algorithm>
#include <set>

#include "recogniser.h"
#include "teasel/formats/archive.h"
#include "teasel/formats/net_table.h"
#include "teasel/formats/workbook.h"
#include "teasel/parallel.h"

namespace teasel {

using formats::GerberFile;
using formats::Netlist;

std::string lower(std::string text) {
  for (char& letter : text)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter + 32);
  return text;
}

std::size_t Recognised::strokes() const {
  return static_cast<std::size_t>(std::count_if(gerber.objects.begin(), gerber.objects.end(), [](const auto& object) {
    return object.kind != formats::GerberObject::Kind::flash;
  }));
}

namespace {
Witness witness_of(const Netlist& netlist, const Map<NetlistFrame, BoardFrame>& from_netlist) {
  Witness witness;
  const int bottom = bottom_code(netlist);
  for (const auto& record : netlist.records) {
    const Point p = from_netlist(record.at);
    witness.all.push_back(p);
    if (record.hole || record.kind == formats::NetlistRecord::Kind::blind_via || record.component == "VIA")
      witness.holes.push_back(p);
    if (record.continuation) continue;
    double size = record.width.value_or(Mm{}).v;
    if (record.width && record.height && *record.height > Mm{}) size = std::min(size, record.height->v);
    if (record.component == "VIA")
      witness.vias.push_back(p);
    else if (record.kind == formats::NetlistRecord::Kind::through && record.plated)
      witness.through.push_back(p);
    else if (record.kind == formats::NetlistRecord::Kind::surface && record.access == 1) {
      witness.top_smd.push_back(p);
      witness.top_size.push_back(size);
    } else if (record.kind == formats::NetlistRecord::Kind::surface && record.access == bottom) {
      witness.bottom_smd.push_back(p);
      witness.bottom_size.push_back(size);
    }
  }
  return witness;
}

}  // namespace

namespace {
/// Why a packed file of no known kind is not used; empty where it is not packed.
std::string why_packed(const std::string& bytes) {
  if (formats::is_workbook(bytes)) {
    Diagnostics own;
    formats::read_workbook(bytes, "", own);
    return own.failed() ? "a workbook that cannot be read: " + own.all().back().found
                        : "a workbook without a table that teasel reads";
  }
  if (formats::is_archive(bytes)) return "an archive of which nothing could be read";
  if (formats::is_zip(bytes)) return "a packed document: save its table as CSV or as an Office Open XML workbook";
  if (bytes.starts_with("\xD0\xCF\x11\xE0"))
    return "a document of an old binary kind: save its table as CSV or as an Office Open XML workbook";
  return {};
}
}  // namespace

void Recogniser::read(Recognised& entry) {
  const FolderFile& file = *entry.file;
  if (file.name.ends_with(".toml")) {
    entry.kind = FileKind::other;
    entry.why = "a job file";
  }
  if (formats::is_bench_output(file.bytes)) {
    entry.kind = FileKind::other;
    entry.why = "a result of teasel bench, not a measurement";
  }
  if (entry.kind == FileKind::other && entry.why.empty())
    if (const std::string nearly = formats::incomplete_table(file.bytes); !nearly.empty()) {
      entry.why = nearly;
      entry.diagnostics.warn({.code = "start-table-incomplete",
                              .at = {file.name, 1, 0, {}},
                              .message = "left out of the job: " + nearly,
                              .remedy = "add them to the header"});
    }
  if (entry.kind == FileKind::other && entry.why.empty()) entry.why = why_packed(file.bytes);
  if (entry.kind == FileKind::gerber) entry.gerber = formats::read_gerber(file.bytes, file.name, entry.diagnostics);
  if (entry.kind == FileKind::drill) entry.drill = formats::read_drill(file.bytes, file.name, entry.diagnostics);
  if (entry.kind == FileKind::gerber && !entry.diagnostics.failed() && formats::is_gerber_drill(entry.gerber)) {
    entry.kind = FileKind::drill;
    entry.drill = formats::drill_of_gerber(entry.gerber, entry.diagnostics);
  }
  if (entry.kind == FileKind::gerber && !entry.diagnostics.failed() && formats::is_component_layer(entry.gerber))
    entry.kind = FileKind::placement;
  if (entry.kind == FileKind::cad) entry.cad = formats::read_ipc2581(file.bytes, file.name, {}, entry.diagnostics);
  if (entry.kind == FileKind::job_file)
    entry.job_file = formats::read_gerber_job(file.bytes, file.name, entry.diagnostics);
  if (entry.kind == FileKind::drill_notes)
    entry.notes = formats::read_drill_notes(file.bytes, file.name, entry.diagnostics);
  if (entry.kind == FileKind::netlist)
    entry.netlist = formats::read_netlist(file.bytes, file.name, std::nullopt, entry.diagnostics);
}

void Recogniser::read_all() {
  for (const FolderFile& file : files_) names_.insert(file.name);
  std::vector<std::vector<FileKind>> kinds(files_.size());
  parallel_for(
      files_.size(), [&](std::size_t i) { kinds[i] = formats::kinds_of(files_[i].bytes); }, 1);
  for (std::size_t i = 0; i < files_.size(); ++i)
    for (const FileKind kind : kinds[i]) {
      entries_.emplace_back();
      entries_.back().file = &files_[i];
      entries_.back().kind = kind;
    }
  parallel_for(
      entries_.size(), [&](std::size_t i) { read(entries_[i]); }, 1);
  settle_units();
  for (auto& entry : entries_) {
    const auto& findings = entry.diagnostics.all();
    // Diameters that the program lacks may stand in a side file.
    if (entry.kind == FileKind::drill && std::all_of(findings.begin(), findings.end(), [](const Finding& finding) {
          return finding.severity != Severity::error || finding.code == "drill-no-diameter";
        }))
      continue;
    // A layer that cannot be read is left out with its reason; a netlist that cannot be read ends the matter.
    const bool spared = entry.kind == FileKind::gerber || entry.kind == FileKind::drill ||
                        entry.kind == FileKind::job_file || entry.kind == FileKind::cad;
    if (spared && entry.diagnostics.failed())
      leave_out_unreadable(entry);
    else
      diagnostics_.merge(entry.diagnostics);
  }
}

void Recogniser::leave_out_unreadable(Recognised& entry) {
  const auto& findings = entry.diagnostics.all();
  const auto error = std::find_if(findings.begin(), findings.end(),
                                  [](const Finding& finding) { return finding.severity == Severity::error; });
  diagnostics_.warn({.code = "start-file-unreadable",
                     .at = error->place,
                     .message = "left out of the job: " + error->message,
                     .found = error->found,
                     .remedy = error->remedy});
  entry.role = LayerRole::ignore;
  entry.why = "it could not be read";
  entry.gerber.objects.clear();
  if (entry.kind != FileKind::gerber) entry.kind = FileKind::other;
}

/// Layer files without a unit: the one under which their flashes meet flashes of the files that state theirs.
void Recogniser::settle_units() {
  std::vector<Point> known;
  for (const auto& entry : entries_)
    if (entry.kind == FileKind::gerber && !entry.diagnostics.failed()) {
      const auto part = flash_centres(entry.gerber);
      known.insert(known.end(), part.begin(), part.end());
    }
  for (auto& entry : entries_) {
    if (entry.kind != FileKind::gerber || entry.diagnostics.errors() != 1 ||
        entry.diagnostics.all().back().code != "gerber-no-unit")
      continue;
    double share[2] = {};
    GerberFile read[2];
    Diagnostics messages[2];
    for (int k = 0; k < 2; ++k) {
      read[k] = formats::read_gerber(entry.file->bytes, entry.file->name, messages[k],
                                     k ? formats::GerberUnit::mm : formats::GerberUnit::inch);
      const auto flashes = flash_centres(read[k]);
      if (!messages[k].failed() && flashes.size() >= 5 && known.size() >= 5)
        share[k] = share_met(flashes, known, {}, 0.03);
    }
    const int best = share[1] > share[0] ? 1 : 0;
    if (share[best] < 0.8 || share[1 - best] > 0.2) continue;
    entry.gerber = std::move(read[best]);
    entry.diagnostics = messages[best];
    entry.unit = best ? "mm" : "inch";
    evidence(entry.file->name)
        .push_back("the file states no unit. Read in " + entry.unit + ", " + percent(share[best]) +
                   " of its flashes meet flashes of the other layers. Read in the other unit the share is " +
                   percent(share[1 - best]));
  }
}

/// A finish as job files word it: "ENIG", "HAL lead-free", "Immersion silver", "HT_OSP". Nothing where it is not known.
std::optional<Surface> surface_of_words(const std::string& words) {
  const std::string wording = lower(words);
  auto has = [&](const char* part) { return wording.find(part) != wording.npos; };
  if (has("osp")) return Surface::organic;
  if (has("gold") || has("enig") || has("enepig")) return Surface::gold;
  if (has("hal") || has("hasl") || has("solder")) return Surface::soldered;
  if (has("silver")) return Surface::silver;
  if (has("tin")) return Surface::tin;
  return std::nullopt;
}

/// Roles, thickness, size and layer count of the job file, for layers that do not speak for themselves.
void Recogniser::job_files() {
  for (const auto& job : entries_) {
    if (job.kind != FileKind::job_file) continue;
    const formats::GerberJob& stated = job.job_file;
    const std::size_t slash = job.file->name.rfind('/');
    const std::string folder = slash == std::string::npos ? "" : job.file->name.substr(0, slash + 1);
    for (const auto& entry : stated.files) {
      const auto it = std::find_if(entries_.begin(), entries_.end(), [&](const Recognised& other) {
        return other.kind == FileKind::gerber && lower(other.file->name) == lower(folder + entry.file);
      });
      if (it == entries_.end()) continue;
      const std::string own = it->gerber.file_attribute(".FileFunction");
      // "Profile" and "Profile,NP" agree: only what both say counts.
      const std::string there = lower(own) + ",", here = lower(entry.function) + ",";
      if (!own.empty() && there.rfind(here, 0) != 0 && here.rfind(there, 0) != 0) {
        const std::string both = entry.function + " in " + job.file->name + ", " + own + " in the layer file itself";
        evidence(it->file->name).push_back("CHECK: its function is " + both + ". The layer file's own is used");
        diagnostics_.warn(
            {.code = "start-job-file-disagrees",
             .at = {job.file->name, 0, 0, "FilesAttributes"},
             .message = "the Gerber job file and the layer file state different functions for the layer. The layer "
                        "file's own is used",
             .found = entry.file + ": " + both,
             .remedy =
                 "one of them is out of date. Look at the layer, and correct its role in the job file if needed"});
      }
      if (own.empty()) {
        it->gerber.file_attributes.emplace_back(".FileFunction", entry.function);
        evidence(it->file->name).push_back("its role stands in " + job.file->name);
      }
    }
    auto& reasons = evidence("board");
    if (stated.thickness && !out_.job.inputs.thickness)
      out_.job.inputs.thickness = stated.thickness;
    else if (stated.thickness &&
             std::abs(out_.job.inputs.thickness->v - stated.thickness->v) > 0.1 * stated.thickness->v)
      diagnostics_.warn({.code = "start-thickness",
                         .at = {job.file->name, 0, 0, {}},
                         .message = "the Gerber job file and the netlist state different thicknesses",
                         .found = short_number(stated.thickness->v, 3) + " mm and " +
                                  short_number(out_.job.inputs.thickness->v, 3) + " mm",
                         .remedy = "correct board.thickness"});
    if (out_.job.revision.empty()) out_.job.revision = stated.revision;
    out_.job.inputs.finish = surface_of_words(stated.finish);
    reasons.push_back(
        job.file->name +
        (stated.thickness ? ": thickness " + short_number(stated.thickness->v, 3) + " mm" : ": no thickness") +
        (stated.copper_layers ? ", " + std::to_string(stated.copper_layers) + " copper layers" : "") +
        (stated.finish.empty() ? "" : ", finish " + stated.finish) +
        (stated.via_protection.empty() ? "" : ", vias protected by type " + stated.via_protection));
    if (stated.size) {
      size_ = *stated.size;
      size_by_ = job.file->name;
    }
    stated_layers_ = std::max(stated_layers_, stated.copper_layers);
  }
}

void Recogniser::netlist() {
  std::vector<const Recognised*> lists, pads;
  for (const auto& entry : entries_) {
    if (entry.kind == FileKind::netlist) lists.push_back(&entry);
    if (entry.kind == FileKind::pads) pads.push_back(&entry);
  }
  if (lists.empty() && cad_ && !cad_->netlist.records.empty()) {
    netlist_ = &cad_->netlist;
    out_.job.inputs.netlist_mask = cad_->exposure_stated ? "covered" : "ignore";
    if (!pads.empty())
      evidence("ignored").push_back("not used: " + pads[0]->file->name + " (a pad list beside an IPC-2581 file)");
    return;
  }
  if (lists.empty() && pads.empty()) {
    if (std::none_of(entries_.begin(), entries_.end(), [](const auto& entry) {
          return entry.kind == FileKind::gerber && entry.gerber.objects.size() > 0;
        }))
      return diagnostics_.error(
          {.code = "start-no-netlist",
           .message = "the folder holds neither a netlist nor layer files that teasel reads",
           .found = std::to_string(files_.size()) + " files looked at",
           .expected = "an IPC-D-356 or 356A netlist, a pad list (pad,net,x_mm,y_mm,side,width_mm), or copper layers "
                       "and drill files",
           .remedy = "export them from the layout tool"});
    evidence("inputs.netlist.file")
        .push_back(
            "there is no netlist. Nets are traced through copper and holes, pads have no names, and no component is "
            "known");
    return;
  }
  if (lists.empty())
    take_pad_list(pads);
  else {
    take_netlist(lists[0]->netlist);
    note_sheets(*lists[0]);
    if (formats::is_workbook(lists[0]->file->bytes) || formats::looks_like_net_table(lists[0]->file->bytes)) {
      out_.job.inputs.netlist_unit.clear();
      evidence("inputs.netlist.unit") = {"a table with a net, a place and a side for each pin, which states its unit"};
    }
  }
}

void Recogniser::take_pad_list(const std::vector<const Recognised*>& pads) {
  const FolderFile& taken = *pads[0]->file;
  out_.job.inputs.pads_file = taken.name;
  evidence("inputs.pads").push_back("a table with the columns of a pad list");
  note_sheets(*pads[0]);
  Diagnostics own;
  for (const auto& pad : formats::read_pad_list(taken.bytes, taken.name, own))
    if (!pad.pixel) pad_points_.push_back(pad.at);
  diagnostics_.merge(own);
  bench_ = true;
  for (std::size_t i = 1; i < pads.size(); ++i)
    diagnostics_.warn({.code = "start-two-pad-lists",
                       .at = {pads[i]->file->name, 0, 0, {}},
                       .message = "a second pad list is left out",
                       .found = taken.name + " is taken",
                       .remedy = "join them into one file"});
  take_bench_tables();
}

/// Reference points and readings of a board that is known from the bench.
void Recogniser::take_bench_tables() {
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::references && entry.kind != FileKind::continuity) continue;
    const bool references = entry.kind == FileKind::references;
    std::string& taken = references ? out_.job.inputs.references_file : out_.job.inputs.continuity_file;
    if (!taken.empty()) {
      diagnostics_.warn({.code = "start-two-tables",
                         .at = {entry.file->name, 0, 0, {}},
                         .message = "a second table of its kind is left out",
                         .found = taken + " is taken",
                         .remedy = "join them into one file"});
      continue;
    }
    taken = entry.file->name;
    note_sheets(entry);
    if (references)
      evidence("inputs.references").push_back("a table with pixels and millimetres of named points");
    else
      evidence("inputs.continuity").push_back("a table with two pads and a resistance");
  }
}

void Recogniser::take_netlist(const Netlist& netlist) {
  netlist_ = &netlist;
  out_.job.inputs.netlist_file = netlist_->name;
  auto& reasons = evidence("inputs.netlist.file");
  reasons.push_back(std::to_string(netlist_->records.size()) + " feature records, " +
                    std::to_string(netlist_->aliases) + " net aliases");
  std::string why;
  const int bottom = bottom_code(*netlist_, &why);
  reasons.push_back("bottom side = access code A" + std::string(bottom < 10 ? "0" : "") + std::to_string(bottom) +
                    ": " + why);
  out_.job.inputs.netlist_unit = netlist_->unit == formats::NetlistUnit::mm_001 ? "0.001 mm" : "0.0001 in";
  evidence("inputs.netlist.unit").push_back("one count of the file, by its UNITS line");
  out_.job.inputs.thickness = netlist_->thickness;
  if (netlist_->thickness)
    evidence("board").push_back(netlist_->name + ": thickness " + short_number(netlist_->thickness->v, 3) + " mm");
  const std::string meaning = mask_field_meaning(*netlist_, &why);
  out_.job.inputs.netlist_mask = meaning.empty() ? "ignore" : meaning;
  evidence("inputs.netlist.mask_field")
      .push_back((meaning.empty() ? std::string("a set S bit has no reliable meaning")
                                  : "a set S bit means that the mask is " + meaning) +
                 ": " + why);
  evidence("inputs.netlist.mask_field")
      .push_back("this is used only on a side without a mask layer. \"open\", \"covered\" or \"ignore\" overrides it");
}

/// Layers and drills beside an IPC-2581 file that lie in another frame: that file draws all of them itself.
void Recogniser::leave_out_other_frame() {
  constexpr double kMeets = 0.5;
  double best = -1;
  for (const auto& entry : entries_)
    if (entry.kind == FileKind::gerber)
      if (const auto flashes = flash_centres(entry.gerber); flashes.size() >= 10 && witness_.all.size() >= 10)
        best = std::max(best, share_met(flashes, witness_.all, {}, 0.05));
  if (best < 0 || best >= kMeets) return;
  for (auto& entry : entries_) {
    if (entry.kind != FileKind::gerber && entry.kind != FileKind::drill) continue;
    entry.kind = FileKind::other;
    entry.gerber.objects.clear();
    entry.why = "in another frame than the IPC-2581 file";
  }
  evidence("board").push_back("CHECK: the layer files lie in another frame than " + cad_->name + " (at best " +
                              percent(best) +
                              " of the pads of one meet its lands), so that its own layers and holes are used");
}

void Recogniser::offset() {
  if (!netlist_) return witness_of_copper();
  if (cad_ && netlist_ == &cad_->netlist) {
    witness_ = witness_of(*netlist_, netlist_shift({}));
    leave_out_other_frame();
    return;
  }
  // Flashes of every layer vote: which of them is copper is not known yet for all, and need not be.
  witness_ = witness_of(*netlist_, netlist_shift({}));
  OffsetFit best;
  double unmoved = 0;  // share that meets them as it is
  std::string by;
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::gerber || entry.gerber.objects.empty() || entry.role == LayerRole::ignore ||
        entry.role == LayerRole::drawing || entry.role == LayerRole::outline)
      continue;
    const auto flashes = flash_centres(entry.gerber);
    if (flashes.size() < 3) continue;
    const bool bottom = entry.role == LayerRole::copper_bottom;
    if (entry.role && !bottom && entry.role != LayerRole::copper_top) continue;
    std::vector<Point> points = witness_.through;
    if (entry.role) {
      const auto& smd = bottom ? witness_.bottom_smd : witness_.top_smd;
      points.insert(points.end(), smd.begin(), smd.end());
    } else if (points.size() < 10) {
      points = witness_.all;
    }
    const OffsetFit fit = fit_offset(points, flashes);
    if (fit.share > best.share + 1e-9) {
      best = fit;
      unmoved = share_met(points, flashes, {});
      by = entry.file->name;
    }
  }
  if (by.empty()) return;
  Point shift = best.offset;
  // Lands that are drawn as areas have no flash. So many points meet flashes by no chance.
  constexpr double kMany = 30, kClearly = 3;
  const bool many = best.share * static_cast<double>(best.points) >= kMany && best.share > kClearly * unmoved;
  if (best.share < 0.5 && !many) {
    shift = {};
    evidence("inputs.netlist.offset")
        .push_back("no offset brings the netlist points onto flashes of a layer (best " + percent(best.share) +
                   "). Zero is written, and the checks will show whether that is right");
  } else {
    evidence("inputs.netlist.offset")
        .push_back((best.share < 0.5 ? "CHECK: only " : "") + percent(best.share) + " of " +
                   std::to_string(best.points) + " pads meet flashes of " + by + " with this offset");
  }
  evidence("inputs.netlist.offset").push_back("this is added to netlist coordinates to reach the Gerber frame");
  out_.job.inputs.netlist_offset = shift;
  from_netlist_ = netlist_shift(shift);
  witness_ = witness_of(*netlist_, from_netlist_);
}

/// A workbook of several sheets: which of them is read.
void Recogniser::note_sheets(const Recognised& entry) {
  if (!formats::is_workbook(entry.file->bytes)) return;
  const std::vector<std::string> sheets = formats::sheets_of(entry.file->bytes, entry.kind);
  if (sheets.empty()) return;
  std::string others;
  for (std::size_t i = 1; i < sheets.size(); ++i) others += (i > 1 ? ", " : "") + sheets[i];
  const std::string key = formats::format_of(entry.kind).job_key;
  evidence(entry.kind == FileKind::netlist ? key : key.substr(0, key.rfind('.')))
      .push_back(others.empty()
                     ? entry.file->name + ": sheet " + sheets[0] + " is read"
                     : "CHECK: several sheets of " + entry.file->name + " hold such a table. Read: " + sheets[0] +
                           ". Not read: " + others + ". If another one is right, save it as CSV and name that file");
}

/// An archive of which no file is used is told as one.
void Recogniser::ignored() {
  std::map<std::string, bool> used;  // by archive
  for (const auto& entry : entries_)
    if (const std::string archive = archive_of(*entry.file); !archive.empty())
      used[archive] |= entry.kind != FileKind::other || entry.why.find("the same as") == 0;
  for (const auto& [archive, any] : used)
    if (!any) evidence("ignored").push_back("not used: " + archive + " (an archive without a file that teasel reads)");
  for (const auto& entry : entries_) {
    if (entry.kind != FileKind::other || used.count(entry.file->name)) continue;
    const auto archive = used.find(archive_of(*entry.file));
    if (archive == used.end() || archive->second)
      evidence("ignored").push_back("not used: " + entry.file->name + " (" +
                                    (entry.why.empty() ? "not one of the formats that teasel reads" : entry.why) + ")");
  }
}

std::string Recogniser::archive_of(const FolderFile& file) const {
  const std::string& name = file.name;
  for (std::size_t slash = name.find('/'); slash != name.npos; slash = name.find('/', slash + 1))
    if (std::string above = name.substr(0, slash); names_.count(above)) return above;
  return {};
}

FirstJob Recogniser::run() {
  read_all();
  copies();
  shared_names();
  gerber_drills();
  sets();
  one_netlist();
  cad();
  if (diagnostics_.failed()) return std::move(out_);
  netlist();
  job_files();
  if (diagnostics_.failed()) return std::move(out_);
  roles();
  // Without a netlist the outer copper is what all others are held against: it is settled first.
  if (!netlist_) one_of_each(false);
  offset();
  std::vector<Recognised*> unknown;
  for (auto& entry : entries_)
    if (entry.kind == FileKind::gerber && !entry.role) unknown.push_back(&entry);
  parallel_for(
      unknown.size(), [&](std::size_t i) { role_by_content(*unknown[i], witness_); }, 1);
  copper_among_masks();
  poured_layers();
  one_of_each(true);
  if (diagnostics_.failed()) return std::move(out_);
  number_layers();
  flex_layers();
  gerbers();
  mask_images();
  drills();
  outline();
  idf();
  tables();
  bom();
  bsdl();
  ignored();
  if (!netlist_ && !bench_ && !layer(LayerRole::copper_top) && !layer(LayerRole::copper_bottom)) {
    // The job file is written all the same: that is where the roles are to be stated.
    Diagnostics part;
    part.error({.code = "start-no-copper",
                .message = "without a netlist the outer copper layers are needed, but none was recognised",
                .found = std::to_string(files_.size()) + " files looked at",
                .expected = "layer files that state their function (by .FileFunction or a Gerber job file) or are "
                            "named after it",
                .remedy = "state the roles of the layers in the job file, under  [[inputs.gerber]] role"});
    diagnostics_.merge_part(part);
  }
  if (!cad_ && !bench_ && !layer(LayerRole::copper_top) && !layer(LayerRole::copper_bottom))
    evidence("board").push_back("CHECK: no outer copper layer was recognised. Land shapes come from the netlist");
  return std::move(out_);
}
FirstJob recognise(const std::vector<FolderFile>& files, Diagnostics& diagnostics) {
  return Recogniser(files, diagnostics).run();
}

}  // namespace teasel
