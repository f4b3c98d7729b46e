// A folder of release files to a first job: every file by its content, every open question by evidence.
#include <algorithm>
#include <set>

#include "build.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
using formats::DrillFile;
using formats::GerberFile;
using formats::Netlist;

enum class Kind { gerber, drill, netlist, placement, heights, pads, other };

struct Recognised {
  const FolderFile* file{};
  Kind kind = Kind::other;
  GerberFile gerber;
  DrillFile drill;
  Netlist netlist;
  Diagnostics d;
  std::optional<LayerRole> role;
  std::string why;
  bool by_content = false;  ///< role from what it covers, not from its own statement
  [[nodiscard]] std::size_t strokes() const {
    return static_cast<std::size_t>(std::count_if(gerber.objects.begin(), gerber.objects.end(), [](const auto& o) { return o.kind != formats::GerberObject::Kind::flash; }));
  }
};

std::string lower(std::string s) {
  for (char& c : s)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  return s;
}
bool has(const std::string& s, std::string_view what) { return s.find(what) != s.npos; }

Kind kind_of(const std::string& bytes) {
  if (std::string_view(bytes).substr(0, 256).find('\0') != bytes.npos) return Kind::other;  // old files may end in NULs
  if (formats::looks_like_netlist(bytes)) return Kind::netlist;
  if (formats::looks_like_gerber(bytes)) return Kind::gerber;
  if (formats::looks_like_drill(bytes)) return Kind::drill;
  if (formats::looks_like_pad_list(bytes)) return Kind::pads;
  if (formats::looks_like_placement(bytes)) return Kind::placement;
  if (formats::looks_like_heights(bytes)) return Kind::heights;
  return Kind::other;
}

/// .FileFunction, in the file or in comments.
bool role_by_attribute(Recognised& r) {
  const std::string f = lower(r.gerber.file_attribute(".FileFunction"));
  if (f.empty()) return false;
  const bool top = has(f, ",top"), bottom = has(f, ",bot");
  r.why = "its attribute says .FileFunction " + r.gerber.file_attribute(".FileFunction");
  if (f.rfind("copper", 0) == 0) r.role = top ? LayerRole::copper_top : bottom ? LayerRole::copper_bottom : LayerRole::copper_inner;
  else if (f.rfind("soldermask", 0) == 0 && (top || bottom)) r.role = top ? LayerRole::mask_top : LayerRole::mask_bottom;
  else if (f.rfind("paste", 0) == 0 && (top || bottom)) r.role = top ? LayerRole::paste_top : LayerRole::paste_bottom;
  else if (f.rfind("legend", 0) == 0 && (top || bottom)) r.role = top ? LayerRole::silk_top : LayerRole::silk_bottom;
  else if (f.rfind("profile", 0) == 0) r.role = LayerRole::outline;
  else if (has(f, "drawing") || has(f, "drillmap") || f.rfind("other", 0) == 0) r.role = LayerRole::drawing;
  else r.role = LayerRole::ignore;
  return true;
}

/// "Layer:  PIN/SOLDERMASK_TOP" comments name the classes plotted into a film.
bool role_by_comments(Recognised& r) {
  std::set<std::string> layers;
  for (const auto& c : r.gerber.comments)
    if (const std::size_t at = c.find("Layer:"); at == 0) {
      std::string v = c.substr(6);
      v.erase(0, v.find_first_not_of(" \t"));
      layers.insert(v);
    }
  if (layers.empty()) return false;
  auto any = [&](std::string_view s) {
    auto it = std::find_if(layers.begin(), layers.end(), [&](const auto& l) { return has(l, s); });
    if (it != layers.end()) r.why = "its header lists the layer " + *it;
    return it != layers.end();
  };
  using Role = LayerRole;
  static constexpr std::pair<std::string_view, Role> kSigns[] = {
      {"SOLDERMASK_TOP", Role::mask_top}, {"SOLDERMASK_BOTTOM", Role::mask_bottom}, {"PASTEMASK_TOP", Role::paste_top}, {"PASTEMASK_BOTTOM", Role::paste_bottom},
      {"ETCH/TOP", Role::copper_top}, {"ETCH/BOTTOM", Role::copper_bottom}, {"ETCH/", Role::copper_inner}, {"SILKSCREEN_TOP", Role::silk_top}, {"SILKSCREEN_BOTTOM", Role::silk_bottom}};
  auto sign = std::find_if(std::begin(kSigns), std::end(kSigns), [&](const auto& k) { return any(k.first); });
  if (sign != std::end(kSigns)) r.role = sign->second;
  else if (layers.size() <= 3 && !any("DRAWING") && any("BOARD GEOMETRY/OUTLINE")) r.role = Role::outline;
  else if (any("OUTLINE")) r.role = Role::drawing;
  else r.role = Role::ignore, r.why = "its header lists no copper, mask, paste or outline layer";
  return true;
}

/// Points of the netlist by class, in the frame of the Gerber files.
struct Witness {
  std::vector<Point> top_smd, bottom_smd, through, vias, all, holes;
  std::vector<double> top_size, bottom_size;
};
Witness witness_of(const Netlist& n, Point shift) {
  Witness w;
  const int bottom = bottom_code(n);
  for (const auto& r : n.records) {
    const Point p = r.at + shift;
    w.all.push_back(p);
    if (r.hole || r.kind == formats::NetlistRecord::Kind::blind_via || r.component == "VIA") w.holes.push_back(p);
    if (r.continuation) continue;
    const double size = r.width ? std::min(*r.width, r.height && *r.height > 0 ? *r.height : *r.width) : 0;
    if (r.component == "VIA") w.vias.push_back(p);
    else if (r.kind == formats::NetlistRecord::Kind::through && r.plated) w.through.push_back(p);
    else if (r.kind == formats::NetlistRecord::Kind::surface && r.access == 1) w.top_smd.push_back(p), w.top_size.push_back(size);
    else if (r.kind == formats::NetlistRecord::Kind::surface && r.access == bottom) w.bottom_smd.push_back(p), w.bottom_size.push_back(size);
  }
  return w;
}

double share_dark(const LayerImage& image, const std::vector<Point>& points) {
  if (points.empty()) return -1;
  std::size_t n = 0, on = 0;
  for (std::size_t i = 0; i < points.size(); i += 1 + points.size() / 400) ++n, on += image.dark(points[i]);
  return static_cast<double>(on) / static_cast<double>(n);
}

/// Which points a layer covers, and how large its pads are, tell copper from mask from paste.
void role_by_content(Recognised& r, const Witness& w) {
  r.by_content = true;
  const LayerImage image(r.gerber, false);
  const double top = share_dark(image, w.top_smd), bottom = share_dark(image, w.bottom_smd), through = share_dark(image, w.through), via = share_dark(image, w.vias);
  const std::size_t strokes = r.strokes();
  // A layer belongs to the side whose pads it covers; pours cover some of the other side's as well.
  const bool top_side = top > 0.85 && top > bottom + 0.15, bottom_side = bottom > 0.85 && bottom > top + 0.15;
  const std::string counts = "it covers " + (top < 0 ? std::string("no") : percent(top) + " of the") + " top pads, " + (bottom < 0 ? std::string("no") : percent(bottom) + " of the") + " bottom pads, " +
                             (through < 0 ? std::string("no") : percent(through) + " of the") + " component holes, " + (via < 0 ? std::string("no") : percent(via) + " of the") + " vias";
  r.why = counts;
  if (!top_side && !bottom_side) {
    r.role = strokes > 3 && (top < 0.05 && bottom < 0.05) ? LayerRole::drawing : LayerRole::ignore;
    return;
  }
  // Pad sizes against the netlist: mask openings are larger than lands, paste openings not.
  const auto& points = top_side ? w.top_smd : w.bottom_smd;
  const auto& sizes = top_side ? w.top_size : w.bottom_size;
  std::size_t larger = 0, compared = 0;
  for (std::size_t i = 0; i < points.size() && compared < 500; ++i)
    if (const auto* o = image.flash_at(points[i], 0.02); o && sizes[i] > 0) {
      ++compared;
      const Box box = formats::box_of(r.gerber, *o);
      larger += std::min(box.width(), box.height()) > sizes[i] + 0.02;
    }
  const bool grown = compared > 0 && larger * 2 > compared;
  // Copper has traces: about one stroke a pad at least; the strokes of a mask are its frame and text.
  const bool copper = via > 0.85 && strokes * 3 > points.size() + w.through.size() + w.vias.size() && !grown;
  if (copper) r.role = top_side ? LayerRole::copper_top : LayerRole::copper_bottom, r.why += ", and has traces";
  else if (through > 0.7 || (grown && through < 0)) r.role = top_side ? LayerRole::mask_top : LayerRole::mask_bottom, r.why += grown ? ", with openings larger than the lands" : "";
  else r.role = top_side ? LayerRole::paste_top : LayerRole::paste_bottom, r.why += ": surface pads only";
}

class Recogniser {
 public:
  Recogniser(const std::vector<FolderFile>& files, Diagnostics& d) : files_(files), d_(d) {}
  FirstJob run();

 private:
  void read_all();
  void netlist();
  void offset();
  void roles();
  void one_of_each();
  void gerbers();
  void mask_images();
  void drills();
  void outline();
  void tables();
  void ignored();
  std::vector<std::string>& evidence(const std::string& key) { return out_.evidence[key]; }
  const GerberFile* layer(LayerRole role) const {
    for (const auto& r : r_)
      if (r.kind == Kind::gerber && r.role == role) return &r.gerber;
    return nullptr;
  }

  const std::vector<FolderFile>& files_;
  Diagnostics& d_;
  FirstJob out_;
  std::vector<Recognised> r_;
  const Netlist* netlist_ = nullptr;
  Witness w_;
  Point shift_;
  std::vector<Point> pad_points_;
};

void Recogniser::read_all() {
  r_.resize(files_.size());
  parallel_for(files_.size(), [&](std::size_t i) {
    Recognised& r = r_[i];
    r.file = &files_[i];
    r.kind = kind_of(files_[i].bytes);
    if (r.kind == Kind::gerber) r.gerber = formats::read_gerber(files_[i].bytes, files_[i].name, r.d);
    if (r.kind == Kind::drill) r.drill = formats::read_drill(files_[i].bytes, files_[i].name, r.d);
    if (r.kind == Kind::netlist) r.netlist = formats::read_netlist(files_[i].bytes, files_[i].name, std::nullopt, r.d);
  }, 1);
  for (auto& r : r_) {
    // A layer that cannot be read is left out with its reason; a netlist that cannot be read ends the matter.
    if ((r.kind == Kind::gerber || r.kind == Kind::drill) && r.d.failed()) {
      for (const auto& f : r.d.all())
        if (f.severity == Severity::error) {
          d_.warn("start-file-unreadable", f.place, "left out of the job: " + f.message, f.found, f.remedy);
          break;
        }
      r.role = LayerRole::ignore;
      r.why = "it could not be read";
      r.gerber.objects.clear();
      if (r.kind == Kind::drill) {
        r.kind = Kind::other;
        r.why = r.drill.routed > 0 && r.drill.routed == r.drill.hits.size() ? "routing only, and " : "";
        r.why += "it could not be read";
      }
    } else {
      d_.merge(r.d);
    }
  }
}

void Recogniser::netlist() {
  std::vector<const Recognised*> lists, pads;
  for (const auto& r : r_) {
    if (r.kind == Kind::netlist) lists.push_back(&r);
    if (r.kind == Kind::pads) pads.push_back(&r);
  }
  if (lists.size() > 1)
    return d_.error("start-two-netlists", {lists[1]->file->name, 0, 0, {}}, "the folder holds two netlists", lists[0]->file->name + " and " + lists[1]->file->name, "one", "remove the stale one, or write the job file by hand");
  if (lists.empty() && pads.empty())
    return d_.error("start-no-netlist", {}, "the folder holds no netlist that teasel reads", std::to_string(files_.size()) + " files looked at", "an IPC-D-356 or 356A netlist, or a pad list (pad,net,x_mm,y_mm,side,width_mm)", "export one from the layout tool");
  if (lists.empty()) {
    out_.job.pads_file = pads[0]->file->name;
    evidence("inputs.pads").push_back("a table with the columns of a pad list");
    Diagnostics ignored;
    for (const auto& p : formats::read_pad_list(pads[0]->file->bytes, pads[0]->file->name, ignored)) pad_points_.push_back(p.at);
    return;
  }
  netlist_ = &lists[0]->netlist;
  out_.job.netlist_file = netlist_->name;
  auto& e = evidence("inputs.netlist.file");
  e.push_back(std::to_string(netlist_->records.size()) + " feature records, " + std::to_string(netlist_->aliases) + " net aliases");
  std::string why;
  const int bottom = bottom_code(*netlist_, &why);
  e.push_back("bottom side = access code A" + std::string(bottom < 10 ? "0" : "") + std::to_string(bottom) + ": " + why);
  out_.job.netlist_unit = netlist_->unit == formats::NetlistUnit::mm_001 ? "0.001 mm" : "0.0001 in";
  evidence("inputs.netlist.unit").push_back("one count of the file, by its UNITS line");
  out_.job.thickness = netlist_->thickness ? std::optional(Mm{*netlist_->thickness}) : std::nullopt;
  const std::string meaning = mask_field_meaning(*netlist_, &why);
  out_.job.netlist_mask = meaning.empty() ? "ignore" : meaning;
  evidence("inputs.netlist.mask_field").push_back("a set S bit says that the mask is " + (meaning.empty() ? std::string("nothing reliable") : meaning) + ": " + why);
  evidence("inputs.netlist.mask_field").push_back("used only on a side without a mask layer; \"open\", \"covered\" or \"ignore\" overrule");
}

void Recogniser::offset() {
  if (!netlist_) return;
  // Flashes of every layer vote: which of them is copper is not known yet for all, and need not be.
  w_ = witness_of(*netlist_, {});
  OffsetFit best;
  std::string by;
  for (const auto& r : r_) {
    if (r.kind != Kind::gerber || r.gerber.objects.empty() || r.role == LayerRole::ignore || r.role == LayerRole::drawing || r.role == LayerRole::outline) continue;
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
    if (fit.share > best.share + 1e-9) best = fit, by = r.file->name;
  }
  if (by.empty()) return;
  shift_ = best.offset;
  if (best.share < 0.5) {
    shift_ = {};
    evidence("inputs.netlist.offset").push_back("no offset brings the netlist points onto flashes of a layer (best " + percent(best.share) + "); zero is written, the checks will tell");
  } else {
    evidence("inputs.netlist.offset").push_back(percent(best.share) + " of " + std::to_string(best.points) + " pads meet flashes of " + by + " with this offset");
  }
  evidence("inputs.netlist.offset").push_back("added to netlist coordinates to reach the Gerber frame");
  out_.job.netlist_offset = shift_;
  w_ = witness_of(*netlist_, shift_);
}

void Recogniser::roles() {
  for (auto& r : r_)
    if (r.kind == Kind::gerber && !r.role && !role_by_attribute(r)) role_by_comments(r);
}

/// Two layers that claim one place: told apart by the netlist, or refused.
void Recogniser::one_of_each() {
  for (LayerRole role : {LayerRole::copper_top, LayerRole::copper_bottom, LayerRole::mask_top, LayerRole::mask_bottom}) {
    std::vector<Recognised*> same;
    for (auto& r : r_)
      if (r.kind == Kind::gerber && r.role == role) same.push_back(&r);
    if (same.size() < 2) continue;
    const bool mask = role == LayerRole::mask_top || role == LayerRole::mask_bottom;
    const bool top = role == LayerRole::copper_top || role == LayerRole::mask_top;
    // Masks that open every via look like copper to the netlist; the traces tell.
    if (!mask && std::all_of(same.begin(), same.end(), [](const auto* r) { return r->by_content; })) {
      const auto most = *std::max_element(same.begin(), same.end(), [](const auto* a, const auto* b) { return a->strokes() < b->strokes(); });
      for (auto* r : same)
        if (r != most) r->role = top ? LayerRole::mask_top : LayerRole::mask_bottom, r->why += "; " + most->file->name + " covers the same and has " + std::to_string(most->strokes()) + " strokes against " + std::to_string(r->strokes()) + ", so this one is the mask";
      continue;
    }
    std::vector<double> share;
    for (auto* r : same) share.push_back(share_dark(LayerImage(r->gerber, false), top ? w_.top_smd : w_.bottom_smd));
    const std::size_t best = static_cast<std::size_t>(std::max_element(share.begin(), share.end()) - share.begin());
    std::string names;
    for (std::size_t i = 0; i < same.size(); ++i) names += (i ? ", " : "") + same[i]->file->name + " (" + percent(std::max(share[i], 0.0)) + " of the side's pads)";
    std::size_t good = 0;
    for (double s : share) good += s > 0.7;
    if (good > 1 && !mask)
      return d_.error("start-two-layers", {same[1]->file->name, 0, 0, {}}, std::string("two files claim to be ") + to_string(role), names, "one", "remove the stale one, or write the job file by hand");
    for (std::size_t i = 0; i < same.size(); ++i)
      if (i != best) same[i]->role = LayerRole::ignore, same[i]->why += "; but " + same[best]->file->name + " covers the pads better";
  }
}

void Recogniser::gerbers() {
  std::vector<const Recognised*> order;
  for (const auto& r : r_)
    if (r.kind == Kind::gerber && r.role) order.push_back(&r);
  std::stable_sort(order.begin(), order.end(), [](const auto* a, const auto* b) { return *a->role < *b->role; });
  for (const auto* r : order) {
    GerberInput in;
    in.file = r->file->name, in.role = *r->role;
    out_.job.gerbers.push_back(in);
    evidence(in.file).push_back(r->why);
  }
}

void Recogniser::mask_images() {
  for (auto& in : out_.job.gerbers) {
    if (in.role != LayerRole::mask_top && in.role != LayerRole::mask_bottom) continue;
    const GerberFile* f = layer(in.role);
    const auto& points = in.role == LayerRole::mask_top ? (w_.top_smd.empty() ? w_.through : w_.top_smd) : (w_.bottom_smd.empty() ? w_.through : w_.bottom_smd);
    if (!f || points.empty()) continue;
    const double dark = share_dark(LayerImage(*f, false), points);
    in.mask_image_inverted = dark < 0.3;
    evidence(in.file + "#image").push_back(percent(dark) + " of the pads of this side lie on drawn areas, so the image shows " + (in.mask_image_inverted ? "mask" : "openings"));
  }
}

void Recogniser::drills() {
  for (auto& r : r_) {
    if (r.kind != Kind::drill) continue;
    const DrillFile& f = r.drill;
    if (f.hits.empty()) {
      evidence("ignored").push_back("not used: " + f.name + " (a drill file without holes)");
      continue;
    }
    DrillInput in;
    in.file = f.name;
    auto& e = evidence(in.file);
    if (f.routed == f.hits.size()) {
      evidence("ignored").push_back("not used: " + f.name + " (routing only; slots and contours are not planned from yet)");
      continue;
    }
    std::size_t plain = 0;
    for (const auto& h : f.hits) plain += !h.slot;
    std::vector<Point> targets = w_.holes;
    const DrillFit fit = fit_drill(f, targets);
    formats::DrillFormat format = f.format;
    const bool stated = f.unit_stated && (!f.has_integers || f.digits_stated);
    // A fit needs enough holes to speak; few holes keep what the file or a sister file says.
    if (fit.fitted && fit.share > 0.9 && plain >= 3) {
      format = fit.format;
      e.push_back(percent(fit.share) + " of the holes meet holes of the netlist when read as " + to_string(format) + "; the next best reading meets " + percent(fit.runner_up));
      if (distance(fit.offset, {}) > 0.02) {
        in.offset = fit.offset;
        e.push_back("this file's origin differs from the Gerber files'; the offset was found by the same vote");
      }
    } else {
      e.push_back(stated ? "number format as the file states it" : "number format by the file's header and the usual default; too few plated holes to prove it");
      for (const auto& other : r_)
        if (!stated && &other != &r && other.kind == Kind::drill && other.drill.unit_stated == f.unit_stated && other.drill.format.millimetres == f.format.millimetres) {
          const DrillFit sister = fit_drill(other.drill, targets);
          if (sister.share > 0.9) {
            format = sister.format, in.offset = distance(sister.offset, {}) > 0.02 ? std::optional(sister.offset) : std::nullopt;
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
    bool kinds = f.plating != formats::Plating::unknown;
    for (const auto& t : f.tools) kinds |= t.plating != formats::Plating::unknown;
    const std::string name = lower(f.name);
    if (!kinds && (has(name, "npth") || has(name, "nonplated") || has(name, "non-plated") || has(name, "unplated"))) {
      in.plating = "unplated";
      e.push_back("unplated by its name, a weak sign; holes on pads of the netlist follow the netlist");
    } else if (!kinds) {
      e.push_back("the file does not say which holes are plated: each hole follows the netlist record at its place");
    }
    out_.job.drills.push_back(std::move(in));
  }
}

void Recogniser::outline() {
  std::vector<Point> points;
  if (netlist_)
    for (const auto& r : netlist_->records) {
      if (r.plated) points.push_back(r.at + shift_);  // unplated holes may lie in rails outside the board
    }
  else
    points = pad_points_;
  std::vector<const Recognised*> order;
  auto rank = [](const Recognised& r) {
    if (r.role == LayerRole::outline) return 0;
    if (r.role == LayerRole::drawing) return 1;
    const std::string n = lower(r.file->name);
    if (r.role == LayerRole::ignore) return has(n, "outline") || has(n, "edge") || has(n, "profile") || has(n, "rout") ? 1 : 2;
    return r.role == LayerRole::copper_top || r.role == LayerRole::copper_bottom ? 3 : 4;
  };
  for (const auto& r : r_)
    if (r.kind == Kind::gerber && !r.gerber.objects.empty()) order.push_back(&r);
  std::stable_sort(order.begin(), order.end(), [&](const auto* a, const auto* b) { return rank(*a) < rank(*b); });
  auto& e = evidence("inputs.outline");
  for (const auto* r : order) {
    const auto found = outline_candidates(r->gerber, points);
    if (found.empty()) {
      if (rank(*r) < 2) e.push_back(r->file->name + ": no closed face encloses all " + std::to_string(points.size()) + " pads and plated holes");
      continue;
    }
    out_.job.outline_file = r->file->name;
    out_.job.outline_area = std::round(found[0].area * 100) / 100;
    const Box b = bounds(found[0].face.outer);
    e.push_back("smallest closed face that encloses all " + std::to_string(points.size()) + " pads and plated holes: " + short_number(b.width(), 3) + " x " + short_number(b.height(), 3) + " mm, " + found[0].how + ", " + std::to_string(found[0].face.holes.size()) + " cutouts");
    for (std::size_t i = 0; i < found.size() && i < 8; ++i)
      e.push_back("face " + std::to_string(i + 1) + ": " + short_number(found[i].area, 2) + " mm2, " + found[i].how + (i == 0 ? "   <- chosen" : ""));
    if (found.size() > 1 && found[1].area < 1.1 * found[0].area) {
      e.push_back("CHECK: the first two faces are within 10 % in area; look at the drawing and set  choice");
      d_.warn("outline-close-call", {r->file->name, 0, 0, {}}, "two faces are within 10 % in area; the smaller is taken", short_number(found[0].area, 2) + " and " + short_number(found[1].area, 2) + " mm2", "set  choice  in  [inputs.outline]");
    }
    for (auto& in : out_.job.gerbers)
      if (in.file == out_.job.outline_file && in.role == LayerRole::ignore) in.role = LayerRole::drawing;
    return;
  }
  e.push_back("CHECK: no file holds a closed face around all pads; the box around the pads will stand for the board");
}

void Recogniser::tables() {
  std::map<std::string, std::vector<Point>> pads;
  if (netlist_)
    for (const auto& r : netlist_->records)
      if (!r.component.empty() && r.component != "VIA") pads[r.component].push_back(r.at + shift_);
  for (const auto& r : r_) {
    if (r.kind == Kind::heights) {
      if (!out_.job.heights_file.empty()) d_.warn("start-two-heights", {r.file->name, 0, 0, {}}, "a second table of heights is left out");
      else out_.job.heights_file = r.file->name, evidence("inputs.heights").push_back("a table with component and height columns");
      continue;
    }
    if (r.kind != Kind::placement) continue;
    Diagnostics quiet;
    const auto p = formats::read_placement(r.file->bytes, r.file->name, quiet);
    if (quiet.failed() || pads.empty()) {
      evidence("ignored").push_back("not used: " + r.file->name + " (a placement table that could not be read)");
      continue;
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
      continue;
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
      continue;
    }
    auto& job = out_.job;
    const bool same = job.placement_files.empty() || (job.placement_unit == (p.has_unit ? "" : best.unit) && distance(job.placement_offset.value_or(Point{}), rounded) < 1.0);
    if (!same) {
      evidence("ignored").push_back("not used: " + r.file->name + " (its unit or origin differs from " + job.placement_files[0] + ")");
      continue;
    }
    if (job.placement_files.empty()) {
      job.placement_unit = p.has_unit ? "" : best.unit;
      if (distance(rounded, {}) > 0.01) job.placement_offset = rounded;
    }
    job.placement_files.push_back(r.file->name);
    evidence("inputs.placement").push_back(r.file->name + ": " + percent(best.share) + " of " + std::to_string(at.size()) + " parts lie within 1 mm of the middle of their pads" + (p.has_unit ? ", unit from " + p.unit_evidence : std::string(", read as ") + best.unit));
  }
  if (out_.job.placement_files.empty()) evidence("components").push_back("no placement table: sides follow the surface pads; parts with holes only are assumed on top");
  if (out_.job.heights_file.empty()) evidence("components").push_back("no heights: assumed by reference letters, unknown letters count as tall");
}

void Recogniser::ignored() {
  for (const auto& r : r_)
    if (r.kind == Kind::other) evidence("ignored").push_back("not used: " + r.file->name + " (" + (r.why.empty() ? "not one of the formats that teasel reads" : r.why) + ")");
}

FirstJob Recogniser::run() {
  read_all();
  netlist();
  if (d_.failed()) return std::move(out_);
  roles();
  offset();
  std::vector<Recognised*> unknown;
  for (auto& r : r_)
    if (r.kind == Kind::gerber && !r.role) unknown.push_back(&r);
  parallel_for(unknown.size(), [&](std::size_t i) { role_by_content(*unknown[i], w_); }, 1);
  one_of_each();
  if (d_.failed()) return std::move(out_);
  gerbers();
  mask_images();
  drills();
  outline();
  tables();
  ignored();
  if (!layer(LayerRole::copper_top) && !layer(LayerRole::copper_bottom)) evidence("board").push_back("CHECK: no outer copper layer was recognised; land shapes come from the netlist");
  return std::move(out_);
}
}  // namespace

FirstJob recognise(const std::vector<FolderFile>& files, Diagnostics& d) { return Recogniser(files, d).run(); }

}  // namespace teasel
