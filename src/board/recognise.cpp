// A folder of release files to a first job: every file by its content, every open question by evidence.
#include <algorithm>
#include <set>

#include "recogniser.h"
#include "teasel/parallel.h"

namespace teasel {

using formats::GerberFile;
using formats::Netlist;

std::string lower(std::string s) {
  for (char& c : s)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  return s;
}

std::size_t Recognised::strokes() const {
  return static_cast<std::size_t>(std::count_if(gerber.objects.begin(), gerber.objects.end(), [](const auto& o) {
    return o.kind != formats::GerberObject::Kind::flash;
  }));
}

namespace {
FileKind kind_of(const std::string& bytes) {
  const bool utf16 = bytes.rfind("\xFF\xFE", 0) == 0 || bytes.rfind("\xFE\xFF", 0) == 0;  // tables of spreadsheets
  if (!utf16 && std::string_view(bytes).substr(0, 256).find('\0') != bytes.npos)
    return FileKind::other;  // old files may end in NULs
  if (formats::looks_like_ipc2581(bytes)) return FileKind::cad;
  if (formats::looks_like_idf_board(bytes)) return FileKind::idf_board;
  if (formats::looks_like_idf_library(bytes)) return FileKind::idf_library;
  if (formats::looks_like_gerber_job(bytes)) return FileKind::job_file;
  if (formats::looks_like_bsdl(bytes)) return FileKind::bsdl;
  if (formats::looks_like_netlist(bytes)) return FileKind::netlist;
  if (formats::looks_like_gerber(bytes)) return FileKind::gerber;
  if (formats::looks_like_drill_notes(bytes)) return FileKind::drill_notes;
  if (formats::looks_like_drill(bytes)) return FileKind::drill;
  if (formats::looks_like_references(bytes)) return FileKind::references;
  if (formats::looks_like_pad_list(bytes)) return FileKind::pads;
  if (formats::looks_like_continuity(bytes)) return FileKind::continuity;
  if (formats::looks_like_placement(bytes)) return FileKind::placement;
  if (formats::looks_like_heights(bytes)) return FileKind::heights;
  if (formats::looks_like_bom(bytes)) return FileKind::bom;
  return FileKind::other;
}

Witness witness_of(const Netlist& n, Point shift) {
  Witness w;
  const int bottom = bottom_code(n);
  for (const auto& r : n.records) {
    const Point p = r.at + shift;
    w.all.push_back(p);
    if (r.hole || r.kind == formats::NetlistRecord::Kind::blind_via || r.component == "VIA") w.holes.push_back(p);
    if (r.continuation) continue;
    const double size = r.width ? std::min(*r.width, r.height && *r.height > 0 ? *r.height : *r.width) : 0;
    if (r.component == "VIA")
      w.vias.push_back(p);
    else if (r.kind == formats::NetlistRecord::Kind::through && r.plated)
      w.through.push_back(p);
    else if (r.kind == formats::NetlistRecord::Kind::surface && r.access == 1) {
      w.top_smd.push_back(p);
      w.top_size.push_back(size);
    } else if (r.kind == formats::NetlistRecord::Kind::surface && r.access == bottom) {
      w.bottom_smd.push_back(p);
      w.bottom_size.push_back(size);
    }
  }
  return w;
}

}  // namespace

void Recogniser::read_all() {
  r_.resize(files_.size());
  parallel_for(
      files_.size(),
      [&](std::size_t i) {
        Recognised& r = r_[i];
        r.file = &files_[i];
        r.kind = kind_of(files_[i].bytes);
        const std::string& name = files_[i].name;
        if (name.ends_with(".toml")) {
          r.kind = FileKind::other;
          r.why = "a job file";
        }
        if (formats::is_bench_output(files_[i].bytes)) {
          r.kind = FileKind::other;
          r.why = "a result of teasel bench, no measurement";
        }
        if (r.kind == FileKind::other && r.why.empty())
          if (const std::string nearly = formats::incomplete_table(files_[i].bytes); !nearly.empty()) {
            r.why = nearly;
            r.d.warn("start-table-incomplete", {name, 1, 0, {}}, "left out of the job: " + nearly, {},
                     "add them to the header");
          }
        if (files_[i].bytes.rfind("PK\x03\x04", 0) == 0)
          r.why = "a spreadsheet or archive: save its sheet as CSV, or unpack it";
        if (r.kind == FileKind::gerber) r.gerber = formats::read_gerber(files_[i].bytes, files_[i].name, r.d);
        if (r.kind == FileKind::drill) r.drill = formats::read_drill(files_[i].bytes, files_[i].name, r.d);
        if (r.kind == FileKind::gerber && !r.d.failed() && formats::is_gerber_drill(r.gerber)) {
          r.kind = FileKind::drill;
          r.drill = formats::drill_of_gerber(r.gerber, r.d);
        }
        if (r.kind == FileKind::gerber && !r.d.failed() && formats::is_component_layer(r.gerber))
          r.kind = FileKind::placement;
        if (r.kind == FileKind::cad) r.cad = formats::read_ipc2581(files_[i].bytes, files_[i].name, {}, r.d);
        if (r.kind == FileKind::job_file) r.job_file = formats::read_gerber_job(files_[i].bytes, files_[i].name, r.d);
        if (r.kind == FileKind::drill_notes) r.notes = formats::read_drill_notes(files_[i].bytes, files_[i].name, r.d);
        if (r.kind == FileKind::netlist)
          r.netlist = formats::read_netlist(files_[i].bytes, files_[i].name, std::nullopt, r.d);
      },
      1);
  settle_units();
  for (auto& r : r_) {
    // Diameters that the program lacks may stand in a side file.
    if (r.kind == FileKind::drill && std::all_of(r.d.all().begin(), r.d.all().end(), [](const Finding& f) {
          return f.severity != Severity::error || f.code == "drill-no-diameter";
        }))
      continue;
    // A layer that cannot be read is left out with its reason; a netlist that cannot be read ends the matter.
    if ((r.kind == FileKind::gerber || r.kind == FileKind::drill || r.kind == FileKind::job_file ||
         r.kind == FileKind::cad) &&
        r.d.failed()) {
      for (const auto& f : r.d.all())
        if (f.severity == Severity::error) {
          d_.warn("start-file-unreadable", f.place, "left out of the job: " + f.message, f.found, f.remedy);
          break;
        }
      r.role = LayerRole::ignore;
      r.why = "it could not be read";
      r.gerber.objects.clear();
      if (r.kind != FileKind::gerber) r.kind = FileKind::other;
    } else {
      d_.merge(r.d);
    }
  }
}

/// Layer files without a unit: the one under which their flashes meet flashes of the files that state theirs.
void Recogniser::settle_units() {
  std::vector<Point> known;
  for (const auto& r : r_)
    if (r.kind == FileKind::gerber && !r.d.failed()) {
      const auto part = flash_centres(r.gerber);
      known.insert(known.end(), part.begin(), part.end());
    }
  for (auto& r : r_) {
    if (r.kind != FileKind::gerber || r.d.errors() != 1 || r.d.all().back().code != "gerber-no-unit") continue;
    double share[2] = {};
    GerberFile read[2];
    Diagnostics d[2];
    for (int k = 0; k < 2; ++k) {
      read[k] = formats::read_gerber(r.file->bytes, r.file->name, d[k],
                                     k ? formats::GerberUnit::mm : formats::GerberUnit::inch);
      const auto flashes = flash_centres(read[k]);
      if (!d[k].failed() && flashes.size() >= 5 && known.size() >= 5) share[k] = share_met(flashes, known, {}, 0.03);
    }
    const int best = share[1] > share[0] ? 1 : 0;
    if (share[best] < 0.8 || share[1 - best] > 0.2) continue;
    r.gerber = std::move(read[best]);
    r.d = d[best];
    r.unit = best ? "mm" : "inch";
    evidence(r.file->name)
        .push_back("the file states no unit; read in " + r.unit + ", " + percent(share[best]) +
                   " of its flashes meet flashes of the other layers, in the other unit " + percent(share[1 - best]));
  }
}

/// A finish as job files word it: "ENIG", "HAL lead-free", "Immersion silver", "HT_OSP". Nothing where it is not known.
std::optional<Surface> surface_of_words(const std::string& words) {
  const std::string w = lower(words);
  auto has = [&](const char* part) { return w.find(part) != w.npos; };
  if (has("osp")) return Surface::organic;
  if (has("gold") || has("enig") || has("enepig")) return Surface::gold;
  if (has("hal") || has("hasl") || has("solder")) return Surface::soldered;
  if (has("silver")) return Surface::silver;
  if (has("tin")) return Surface::tin;
  return std::nullopt;
}

/// Roles, thickness, size and layer count of the job file, for layers that do not speak for themselves.
void Recogniser::job_files() {
  for (const auto& job : r_) {
    if (job.kind != FileKind::job_file) continue;
    const formats::GerberJob& j = job.job_file;
    const std::size_t slash = job.file->name.rfind('/');
    const std::string folder = slash == std::string::npos ? "" : job.file->name.substr(0, slash + 1);
    for (const auto& entry : j.files) {
      const auto it = std::find_if(r_.begin(), r_.end(), [&](const Recognised& r) {
        return r.kind == FileKind::gerber && lower(r.file->name) == lower(folder + entry.file);
      });
      if (it == r_.end()) continue;
      const std::string own = it->gerber.file_attribute(".FileFunction");
      // "Profile" and "Profile,NP" agree: only what both say counts.
      const std::string a = lower(own) + ",", b = lower(entry.function) + ",";
      if (!own.empty() && a.rfind(b, 0) != 0 && b.rfind(a, 0) != 0)
        return d_.error("start-job-file-disagrees", {job.file->name, 0, 0, "FilesAttributes"},
                        "the job file and a layer file say different things of the layer",
                        entry.file + ": " + entry.function + " here, " + own + " there", {},
                        "one of them is stale: export both again, or write the job file by hand");
      if (own.empty()) {
        it->gerber.file_attributes.emplace_back(".FileFunction", entry.function);
        evidence(it->file->name).push_back("its role stands in " + job.file->name);
      }
    }
    auto& e = evidence("board");
    if (j.thickness && !out_.job.thickness)
      out_.job.thickness = Mm{*j.thickness};
    else if (j.thickness && std::abs(out_.job.thickness->v - *j.thickness) > 0.1 * *j.thickness)
      d_.warn("start-thickness", {job.file->name, 0, 0, {}}, "the job file and the netlist state different thicknesses",
              short_number(*j.thickness, 3) + " mm and " + short_number(out_.job.thickness->v, 3) + " mm",
              "correct board.thickness");
    if (out_.job.revision.empty()) out_.job.revision = j.revision;
    out_.job.finish = surface_of_words(j.finish);
    e.push_back(job.file->name +
                (j.thickness ? ": thickness " + short_number(*j.thickness, 3) + " mm" : ": no thickness") +
                (j.copper_layers ? ", " + std::to_string(j.copper_layers) + " copper layers" : "") +
                (j.finish.empty() ? "" : ", finish " + j.finish) +
                (j.via_protection.empty() ? "" : ", vias protected by type " + j.via_protection));
    if (j.size) {
      size_ = *j.size;
      size_by_ = job.file->name;
    }
    stated_layers_ = std::max(stated_layers_, j.copper_layers);
  }
}

void Recogniser::netlist() {
  std::vector<const Recognised*> lists, pads;
  for (const auto& r : r_) {
    if (r.kind == FileKind::netlist) lists.push_back(&r);
    if (r.kind == FileKind::pads) pads.push_back(&r);
  }
  if (lists.size() > 1)
    return d_.error("start-two-netlists", {lists[1]->file->name, 0, 0, {}}, "the folder holds two netlists",
                    lists[0]->file->name + " and " + lists[1]->file->name, "one",
                    "remove the stale one, or write the job file by hand");
  if (lists.empty() && cad_ && !cad_->netlist.records.empty()) {
    netlist_ = &cad_->netlist;
    out_.job.netlist_mask = cad_->exposure_stated ? "covered" : "ignore";
    if (!pads.empty())
      evidence("ignored").push_back("not used: " + pads[0]->file->name + " (a pad list beside an IPC-2581 file)");
    return;
  }
  if (lists.empty() && pads.empty()) {
    if (std::none_of(r_.begin(), r_.end(),
                     [](const auto& r) { return r.kind == FileKind::gerber && r.gerber.objects.size() > 0; }))
      return d_.error("start-no-netlist", {}, "the folder holds neither a netlist nor layer files that teasel reads",
                      std::to_string(files_.size()) + " files looked at",
                      "an IPC-D-356 or 356A netlist, a pad list (pad,net,x_mm,y_mm,side,width_mm), or copper layers "
                      "and drill files",
                      "export them from the layout tool");
    evidence("inputs.netlist.file")
        .push_back(
            "no netlist: nets are traced through copper and holes; pads have no names and no component is known");
    return;
  }
  if (lists.empty()) {
    out_.job.pads_file = pads[0]->file->name;
    evidence("inputs.pads").push_back("a table with the columns of a pad list");
    Diagnostics own;
    for (const auto& p : formats::read_pad_list(pads[0]->file->bytes, pads[0]->file->name, own))
      if (!p.pixel) pad_points_.push_back(p.at);
    d_.merge(own);
    bench_ = true;
    for (std::size_t i = 1; i < pads.size(); ++i)
      d_.warn("start-two-pad-lists", {pads[i]->file->name, 0, 0, {}}, "a second pad list is left out",
              pads[0]->file->name + " is taken", "join them into one file");
    for (const auto& r : r_) {
      std::string& taken = r.kind == FileKind::references ? out_.job.references_file : out_.job.continuity_file;
      if ((r.kind == FileKind::references || r.kind == FileKind::continuity) && !taken.empty()) {
        d_.warn("start-two-tables", {r.file->name, 0, 0, {}}, "a second table of its kind is left out",
                taken + " is taken", "join them into one file");
        continue;
      }
      if (r.kind == FileKind::references) {
        out_.job.references_file = r.file->name;
        evidence("inputs.references").push_back("a table with pixels and millimetres of named points");
      }
      if (r.kind == FileKind::continuity) {
        out_.job.continuity_file = r.file->name;
        evidence("inputs.continuity").push_back("a table with two pads and a resistance");
      }
    }
    return;
  }
  netlist_ = &lists[0]->netlist;
  out_.job.netlist_file = netlist_->name;
  auto& e = evidence("inputs.netlist.file");
  e.push_back(std::to_string(netlist_->records.size()) + " feature records, " + std::to_string(netlist_->aliases) +
              " net aliases");
  std::string why;
  const int bottom = bottom_code(*netlist_, &why);
  e.push_back("bottom side = access code A" + std::string(bottom < 10 ? "0" : "") + std::to_string(bottom) + ": " +
              why);
  out_.job.netlist_unit = netlist_->unit == formats::NetlistUnit::mm_001 ? "0.001 mm" : "0.0001 in";
  evidence("inputs.netlist.unit").push_back("one count of the file, by its UNITS line");
  out_.job.thickness = netlist_->thickness ? std::optional(Mm{*netlist_->thickness}) : std::nullopt;
  const std::string meaning = mask_field_meaning(*netlist_, &why);
  out_.job.netlist_mask = meaning.empty() ? "ignore" : meaning;
  evidence("inputs.netlist.mask_field")
      .push_back("a set S bit says that the mask is " + (meaning.empty() ? std::string("nothing reliable") : meaning) +
                 ": " + why);
  evidence("inputs.netlist.mask_field")
      .push_back("used only on a side without a mask layer; \"open\", \"covered\" or \"ignore\" overrule");
}

void Recogniser::offset() {
  if (!netlist_) return witness_of_copper();
  if (cad_ && netlist_ == &cad_->netlist) {
    w_ = witness_of(*netlist_, {});
    return;
  }
  // Flashes of every layer vote: which of them is copper is not known yet for all, and need not be.
  w_ = witness_of(*netlist_, {});
  OffsetFit best;
  std::string by;
  for (const auto& r : r_) {
    if (r.kind != FileKind::gerber || r.gerber.objects.empty() || r.role == LayerRole::ignore ||
        r.role == LayerRole::drawing || r.role == LayerRole::outline)
      continue;
    const auto flashes = flash_centres(r.gerber);
    if (flashes.size() < 3) continue;
    const bool bottom = r.role == LayerRole::copper_bottom;
    if (r.role && !bottom && r.role != LayerRole::copper_top) continue;
    std::vector<Point> points = w_.through;
    if (r.role) {
      const auto& smd = bottom ? w_.bottom_smd : w_.top_smd;
      points.insert(points.end(), smd.begin(), smd.end());
    } else if (points.size() < 10) {
      points = w_.all;
    }
    const OffsetFit fit = fit_offset(points, flashes);
    if (fit.share > best.share + 1e-9) {
      best = fit;
      by = r.file->name;
    }
  }
  if (by.empty()) return;
  shift_ = best.offset;
  if (best.share < 0.5) {
    shift_ = {};
    evidence("inputs.netlist.offset")
        .push_back("no offset brings the netlist points onto flashes of a layer (best " + percent(best.share) +
                   "); zero is written, the checks will tell");
  } else {
    evidence("inputs.netlist.offset")
        .push_back(percent(best.share) + " of " + std::to_string(best.points) + " pads meet flashes of " + by +
                   " with this offset");
  }
  evidence("inputs.netlist.offset").push_back("added to netlist coordinates to reach the Gerber frame");
  out_.job.netlist_offset = shift_;
  w_ = witness_of(*netlist_, shift_);
}

void Recogniser::ignored() {
  for (const auto& r : r_)
    if (r.kind == FileKind::other)
      evidence("ignored").push_back("not used: " + r.file->name + " (" +
                                    (r.why.empty() ? "not one of the formats that teasel reads" : r.why) + ")");
}

FirstJob Recogniser::run() {
  read_all();
  cad();
  if (d_.failed()) return std::move(out_);
  netlist();
  job_files();
  if (d_.failed()) return std::move(out_);
  roles();
  offset();
  std::vector<Recognised*> unknown;
  for (auto& r : r_)
    if (r.kind == FileKind::gerber && !r.role) unknown.push_back(&r);
  parallel_for(
      unknown.size(), [&](std::size_t i) { role_by_content(*unknown[i], w_); }, 1);
  one_of_each();
  if (d_.failed()) return std::move(out_);
  number_layers();
  gerbers();
  mask_images();
  drills();
  outline();
  idf();
  tables();
  bom();
  bsdl();
  ignored();
  if (!netlist_ && !bench_ && !layer(LayerRole::copper_top) && !layer(LayerRole::copper_bottom))
    d_.error("start-no-copper", {}, "without a netlist the outer copper layers are needed, and none was recognised",
             std::to_string(files_.size()) + " files looked at",
             "layer files that say what they are (.FileFunction, a job file) or are named so",
             "write the roles into a job file by hand");
  if (!cad_ && !bench_ && !layer(LayerRole::copper_top) && !layer(LayerRole::copper_bottom))
    evidence("board").push_back("CHECK: no outer copper layer was recognised; land shapes come from the netlist");
  return std::move(out_);
}
FirstJob recognise(const std::vector<FolderFile>& files, Diagnostics& d) {
  return Recogniser(files, d).run();
}

}  // namespace teasel
