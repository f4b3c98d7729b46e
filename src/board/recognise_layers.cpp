// Which layer each Gerber file is, and where the board ends.
#include <algorithm>
#include <cctype>
#include <charconv>
#include <set>

#include "recogniser.h"

namespace teasel {

using formats::GerberFile;

/// .FileFunction, in the file or in comments.
bool role_by_attribute(Recognised& r) {
  const std::string f = lower(r.gerber.file_attribute(".FileFunction"));
  if (f.empty()) return false;
  const bool top = has(f, ",top"), bottom = has(f, ",bot");
  r.why = "its attribute says .FileFunction " + r.gerber.file_attribute(".FileFunction");
  if (f.rfind("copper", 0) == 0)
    r.role = top ? LayerRole::copper_top : bottom ? LayerRole::copper_bottom : LayerRole::copper_inner;
  else if (f.rfind("soldermask", 0) == 0 && (top || bottom))
    r.role = top ? LayerRole::mask_top : LayerRole::mask_bottom;
  else if (f.rfind("paste", 0) == 0 && (top || bottom))
    r.role = top ? LayerRole::paste_top : LayerRole::paste_bottom;
  else if (f.rfind("legend", 0) == 0 && (top || bottom))
    r.role = top ? LayerRole::silk_top : LayerRole::silk_bottom;
  else if (f.rfind("profile", 0) == 0)
    r.role = LayerRole::outline;
  else if (has(f, "drawing") || has(f, "drillmap") || f.rfind("other", 0) == 0)
    r.role = LayerRole::drawing;
  else
    r.role = LayerRole::ignore;
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
  using R = LayerRole;
  static constexpr std::pair<std::string_view, R> kSigns[] = {
      {"SOLDERMASK_TOP", R::mask_top},      {"SOLDERMASK_BOTTOM", R::mask_bottom},
      {"PASTEMASK_TOP", R::paste_top},      {"PASTEMASK_BOTTOM", R::paste_bottom},
      {"ETCH/TOP", R::copper_top},          {"ETCH/BOTTOM", R::copper_bottom},
      {"ETCH/", R::copper_inner},           {"SILKSCREEN_TOP", R::silk_top},
      {"SILKSCREEN_BOTTOM", R::silk_bottom}};
  auto sign = std::find_if(std::begin(kSigns), std::end(kSigns), [&](const auto& k) { return any(k.first); });
  if (sign != std::end(kSigns))
    r.role = sign->second;
  else if (layers.size() <= 3 && !any("DRAWING") && any("BOARD GEOMETRY/OUTLINE"))
    r.role = R::outline;
  else if (any("OUTLINE"))
    r.role = R::drawing;
  else {
    r.role = R::ignore;
    r.why = "its header lists no copper, mask, paste or outline layer";
  }
  return true;
}

double share_dark(const LayerImage& image, const std::vector<Point>& points) {
  if (points.empty()) return -1;
  std::size_t n = 0, on = 0;
  for (std::size_t i = 0; i < points.size(); i += 1 + points.size() / 400) {
    ++n;
    on += image.dark(points[i]);
  }
  return static_cast<double>(on) / static_cast<double>(n);
}

namespace {
/// Signs in file names, by the usual words and endings; common practice, no source.
struct NameSign {
  std::string_view text;
  LayerRole role;
};
bool word_in(const std::string& name, std::string_view word) {
  for (std::size_t at = 0; (at = name.find(word, at)) != name.npos; ++at) {
    auto letter = [&](std::size_t i) { return i < name.size() && std::isalpha(static_cast<unsigned char>(name[i])); };
    if ((at == 0 || !letter(at - 1)) && !letter(at + word.size())) return true;
  }
  return false;
}
}  // namespace

bool role_by_name(Recognised& r) {
  using R = LayerRole;
  const std::string name = lower(r.file->name.substr(r.file->name.rfind('/') + 1));
  const std::string ending = name.rfind('.') == name.npos ? "" : name.substr(name.rfind('.') + 1),
                    stem = name.substr(0, name.rfind('.'));
  static constexpr NameSign kEndings[] = {{"gtl", R::copper_top},  {"gbl", R::copper_bottom}, {"gts", R::mask_top},
                                          {"gbs", R::mask_bottom}, {"gtp", R::paste_top},     {"gbp", R::paste_bottom},
                                          {"gto", R::silk_top},    {"gbo", R::silk_bottom},   {"gko", R::outline}};
  r.why = "by its name only, a weak sign: CHECK";
  for (const NameSign& k : kEndings)
    if (ending == k.text) {
      r.role = k.role;
      return true;
    }
  auto face = [&](char letter) {  // "F_Cu", "b.mask"
    for (std::string_view rest : {"cu", "mask", "paste", "silk"})
      for (char joint : {'_', '.', '-'})
        if (has(stem, std::string{letter, joint} + std::string(rest))) return true;
    return false;
  };
  const bool top = has(stem, "top") || has(stem, "front") || face('f'),
             bottom = has(stem, "bot") || has(stem, "back") || face('b');
  auto side = [&](R t, R b) {
    if (top == bottom) return false;
    r.role = top ? t : b;
    return true;
  };
  static constexpr NameSign kStems[] = {
      {"smt", R::mask_top}, {"smb", R::mask_bottom}, {"spt", R::paste_top}, {"spb", R::paste_bottom}};
  for (const NameSign& k : kStems)
    if (word_in(stem, k.text)) {
      r.role = k.role;
      return true;
    }
  if (has(stem, "paste")) return side(R::paste_top, R::paste_bottom);
  if (has(stem, "soldermask") || word_in(stem, "mask")) return side(R::mask_top, R::mask_bottom);
  if (has(stem, "silk") || has(stem, "legend") || has(stem, "assembly") || has(stem, "mask") || word_in(stem, "comp")) {
    r.role = R::ignore;
    return true;
  }
  if (has(stem, "outline") || has(stem, "profile") || has(stem, "edge_cuts") || has(stem, "edge-cuts") ||
      has(stem, "boardoutline")) {
    r.role = R::outline;
    return true;
  }
  const int n = layer_number(r);
  if (n > 1 && !top && !bottom) {
    r.role = R::copper_inner;
    return true;
  }
  if (word_in(stem, "top") || word_in(stem, "bottom") || word_in(stem, "bot") || has(stem, "copper") ||
      has(stem, "_cu") || has(stem, "-cu") || has(stem, ".cu") || has(stem, "etch"))
    return side(R::copper_top, R::copper_bottom);
  r.why.clear();
  return false;
}

int layer_number(const Recognised& r) {
  const std::string f = lower(r.gerber.file_attribute(".FileFunction"));
  int n = 0;
  if (f.rfind("copper,l", 0) == 0) {
    std::from_chars(f.data() + 8, f.data() + f.size(), n);
    return n >= 1 && n <= 99 ? n : 0;
  }
  // "lyr4", "L2-GND1", "layer_3", "In1_Cu": the word, a joint, the number.
  const std::string name = lower(r.file->name.substr(r.file->name.rfind('/') + 1));
  for (const auto& [word, add] :
       {std::pair<std::string_view, int>{"layer", 0}, {"lyr", 0}, {"inner", 1}, {"in", 1}, {"l", 0}})
    for (std::size_t at = 0; (at = name.find(word, at)) != name.npos; ++at) {
      if (at > 0 && std::isalpha(static_cast<unsigned char>(name[at - 1]))) continue;
      std::size_t i = at + word.size();
      if (i < name.size() && (name[i] == '-' || name[i] == '_' || name[i] == ' ')) ++i;
      int k = 0;
      const auto [end, err] = std::from_chars(name.data() + i, name.data() + name.size(), k);
      if (err == std::errc{} && k >= 1 && k <= 99 &&
          !(end < name.data() + name.size() && std::isalpha(static_cast<unsigned char>(*end)) && *end != 'p' &&
            *end != 's'))
        return k + add;
    }
  return 0;
}

/// Which points a layer covers, and how large its pads are, tell copper from mask from paste.
void role_by_content(Recognised& r, const Witness& w) {
  r.by_content = true;
  const LayerImage image(r.gerber, false);
  const double top = share_dark(image, w.top_smd), bottom = share_dark(image, w.bottom_smd),
               through = share_dark(image, w.through), via = share_dark(image, w.vias);
  const std::size_t strokes = r.strokes();
  // A layer belongs to the side whose pads it covers; pours cover some of the other side's as well.
  const bool top_side = top > 0.85 && top > bottom + 0.15, bottom_side = bottom > 0.85 && bottom > top + 0.15;
  const std::string counts = "it covers " + (top < 0 ? std::string("no") : percent(top) + " of the") + " top pads, " +
                             (bottom < 0 ? std::string("no") : percent(bottom) + " of the") + " bottom pads, " +
                             (through < 0 ? std::string("no") : percent(through) + " of the") + " component holes, " +
                             (via < 0 ? std::string("no") : percent(via) + " of the") + " vias";
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
  if (copper) {
    r.role = top_side ? LayerRole::copper_top : LayerRole::copper_bottom;
    r.why += ", and has traces";
  } else if (through > 0.7 || (grown && through < 0)) {
    r.role = top_side ? LayerRole::mask_top : LayerRole::mask_bottom;
    r.why += grown ? ", with openings larger than the lands" : "";
  } else {
    r.role = top_side ? LayerRole::paste_top : LayerRole::paste_bottom;
    r.why += ": surface pads only";
  }
}

void Recogniser::roles() {
  for (auto& r : r_) {
    if (r.kind != FileKind::gerber || r.role) continue;
    if (!role_by_attribute(r) && !role_by_comments(r) && !netlist_ && pad_points_.empty()) role_by_name(r);
    for (const auto& c : r.gerber.comments)
      if (c.rfind("Mode:", 0) == 0 && has(c, "Negative")) r.clearances = true;
  }
}

/// Two layers that claim one place: told apart by the netlist, or refused.
void Recogniser::one_of_each() {
  for (LayerRole role :
       {LayerRole::copper_top, LayerRole::copper_bottom, LayerRole::mask_top, LayerRole::mask_bottom}) {
    std::vector<Recognised*> same;
    for (auto& r : r_)
      if (r.kind == FileKind::gerber && r.role == role) same.push_back(&r);
    if (same.size() < 2) continue;
    const bool mask = role == LayerRole::mask_top || role == LayerRole::mask_bottom;
    const bool top = role == LayerRole::copper_top || role == LayerRole::mask_top;
    // Masks that open every via look like copper to the netlist; the traces tell.
    if (!mask && std::all_of(same.begin(), same.end(), [](const auto* r) { return r->by_content; })) {
      const auto most = *std::max_element(same.begin(), same.end(),
                                          [](const auto* a, const auto* b) { return a->strokes() < b->strokes(); });
      for (auto* r : same)
        if (r != most) {
          r->role = top ? LayerRole::mask_top : LayerRole::mask_bottom;
          r->why += "; " + most->file->name + " covers the same and has " + std::to_string(most->strokes()) +
                    " strokes against " + std::to_string(r->strokes()) + ", so this one is the mask";
        }
      continue;
    }
    std::vector<double> share;
    for (auto* r : same) share.push_back(share_dark(LayerImage(r->gerber, false), top ? w_.top_smd : w_.bottom_smd));
    const std::size_t best = static_cast<std::size_t>(std::max_element(share.begin(), share.end()) - share.begin());
    std::string names;
    for (std::size_t i = 0; i < same.size(); ++i)
      names += (i ? ", " : "") + same[i]->file->name + " (" + percent(std::max(share[i], 0.0)) + " of the side's pads)";
    std::size_t good = 0;
    for (double s : share) good += s > 0.7;
    // Without a netlist the pads themselves come from one of the two: they cannot tell.
    if (!mask && (good > 1 || !netlist_ || share[best] < 0.7))
      return d_.error("start-two-layers", {same[1]->file->name, 0, 0, {}},
                      std::string("two files claim to be ") + to_string(role), names, "one",
                      "remove the stale one, or write the job file by hand");
    if (mask)
      d_.warn("start-two-layers", {same[1]->file->name, 0, 0, {}},
              std::string("two files claim to be ") + to_string(role) + "; the one that covers more pads is taken",
              names, "remove the stale one");
    for (std::size_t i = 0; i < same.size(); ++i)
      if (i != best) {
        same[i]->role = LayerRole::ignore;
        same[i]->why += "; but " + same[best]->file->name + " covers the pads better";
      }
  }
}

/// Inner layers get the numbers that their names state, where these are all there, all different and fit.
void Recogniser::number_layers() {
  std::vector<Recognised*> inner;
  std::set<int> seen;
  for (auto& r : r_)
    if (r.kind == FileKind::gerber && r.role == LayerRole::copper_inner) {
      r.layer = layer_number(r);
      inner.push_back(&r);
      seen.insert(r.layer);
    }
  if (inner.empty()) return;
  const int bottom = netlist_ ? bottom_code(*netlist_) : stated_layers_;
  const bool fit = seen.size() == inner.size() && *seen.begin() >= 2 && (bottom <= 2 || *seen.rbegin() < bottom);
  for (Recognised* r : inner) {
    if (fit)
      evidence(r->file->name)
          .push_back("layer " + std::to_string(r->layer) +
                     (r->gerber.file_attribute(".FileFunction").empty() ? " by its name" : " by its attribute"));
    else
      r->layer = 0;
  }
  if (!fit)
    evidence("board").push_back(
        "CHECK: the order of the inner layers is that of their file names; set  layer  where holes are blind or "
        "buried");
}

/// Without a netlist the flashes of the outer copper stand for pads.
void Recogniser::witness_of_copper() {
  const GerberFile *top = layer(LayerRole::copper_top), *bottom = layer(LayerRole::copper_bottom);
  const auto t = top ? flash_centres(*top) : std::vector<Point>{},
             b = bottom ? flash_centres(*bottom) : std::vector<Point>{};
  auto size = [](const GerberFile* f, std::size_t i) {
    std::size_t k = 0;
    if (!f) return 0.0;
    for (const auto& o : f->objects)
      if (o.kind == formats::GerberObject::Kind::flash && o.dark && k++ == i) {
        const Box box = formats::box_of(*f, o);
        return std::min(box.width(), box.height());
      }
    return 0.0;
  };
  PointGrid on_bottom(0.05);
  for (std::size_t i = 0; i < b.size(); ++i) on_bottom.add(b[i], static_cast<int>(i));
  PointGrid on_top(0.05);
  for (std::size_t i = 0; i < t.size(); ++i) on_top.add(t[i], static_cast<int>(i));
  for (std::size_t i = 0; i < t.size(); ++i) {
    w_.all.push_back(t[i]);
    if (on_bottom.nearest(t[i], 0.02) >= 0) {
      w_.through.push_back(t[i]);
      w_.holes.push_back(t[i]);
    } else {
      w_.top_smd.push_back(t[i]);
      w_.top_size.push_back(i < 3000 ? size(top, i) : 0);
    }
  }
  for (std::size_t i = 0; i < b.size(); ++i)
    if (on_top.nearest(b[i], 0.02) < 0) {
      w_.all.push_back(b[i]);
      w_.bottom_smd.push_back(b[i]);
      w_.bottom_size.push_back(i < 3000 ? size(bottom, i) : 0);
    }
  w_.vias = w_.through;
}

void Recogniser::gerbers() {
  std::vector<const Recognised*> order;
  for (const auto& r : r_)
    if (r.kind == FileKind::gerber && r.role) order.push_back(&r);
  std::stable_sort(order.begin(), order.end(), [](const auto* a, const auto* b) { return *a->role < *b->role; });
  for (const auto* r : order) {
    GerberInput in;
    in.file = r->file->name;
    in.role = *r->role;
    in.unit = r->unit;
    if (in.role == LayerRole::copper_inner || in.role == LayerRole::copper_top || in.role == LayerRole::copper_bottom) {
      in.clearances = r->clearances;
      if (in.role == LayerRole::copper_inner) in.layer = r->layer;
      if (in.role == LayerRole::copper_bottom && !netlist_)
        if (const int n = std::max(layer_number(*r), stated_layers_); n > 2) {
          in.layer = n;
          evidence(in.file).push_back("the board has " + std::to_string(n) +
                                      " copper layers, by this file's name or attribute or by a job file");
        }
      if (in.clearances)
        evidence(in.file).push_back("its header says  Mode: Negative: what is drawn is free of copper");
    }
    out_.job.gerbers.push_back(in);
    evidence(in.file).push_back(r->why);
  }
}

void Recogniser::mask_images() {
  for (auto& in : out_.job.gerbers) {
    if (in.role != LayerRole::mask_top && in.role != LayerRole::mask_bottom) continue;
    const GerberFile* f = layer(in.role);
    const auto& points = in.role == LayerRole::mask_top ? (w_.top_smd.empty() ? w_.through : w_.top_smd)
                                                        : (w_.bottom_smd.empty() ? w_.through : w_.bottom_smd);
    if (!f || points.empty()) continue;
    const double dark = share_dark(LayerImage(*f, false), points);
    in.mask_image_inverted = dark < 0.3;
    evidence(in.file + "#image")
        .push_back(percent(dark) + " of the pads of this side lie on drawn areas, so the image shows " +
                   (in.mask_image_inverted ? "mask" : "openings"));
  }
}

void Recogniser::outline() {
  std::vector<Point> points;
  if (netlist_)
    for (const auto& r : netlist_->records) {
      if (r.plated) points.push_back(r.at + shift_);  // unplated holes may lie in rails outside the board
    }
  else
    points = pad_points_.empty() ? w_.holes : pad_points_;
  std::vector<const Recognised*> order;
  auto rank = [](const Recognised& r) {
    if (r.role == LayerRole::outline) return 0;
    if (r.role == LayerRole::drawing) return 1;
    const std::string n = lower(r.file->name);
    if (r.role == LayerRole::ignore)
      return has(n, "outline") || has(n, "edge") || has(n, "profile") || has(n, "rout") ? 1 : 2;
    return r.role == LayerRole::copper_top || r.role == LayerRole::copper_bottom ? 3 : 4;
  };
  for (const auto& r : r_)
    if (r.kind == FileKind::gerber && !r.gerber.objects.empty()) order.push_back(&r);
  std::stable_sort(order.begin(), order.end(), [&](const auto* a, const auto* b) { return rank(*a) < rank(*b); });
  auto& e = evidence("inputs.outline");
  if (bench_ && order.empty())
    return e.push_back(
        "CHECK: no file draws the board's edge; give its corners:  polygon = [[\"0 mm\", \"0 mm\"], [\"40 mm\", \"0 "
        "mm\"], ...]");
  if (points.size() < 3) {
    e.push_back(
        "CHECK: too few pads are known to tell the board's edge from other loops; the box around the pads will stand "
        "for the board");
    return;
  }
  for (const auto* r : order) {
    const auto found = outline_candidates(r->gerber, points);
    if (found.empty()) {
      if (rank(*r) < 2)
        e.push_back(r->file->name + ": no closed face encloses all " + std::to_string(points.size()) +
                    " pads and plated holes");
      continue;
    }
    out_.job.outline_file = r->file->name;
    out_.job.outline_area = std::round(found[0].area * 100) / 100;
    const Box b = bounds(found[0].face.outer);
    e.push_back("smallest closed face that encloses all " + std::to_string(points.size()) +
                " pads and plated holes: " + short_number(b.width(), 3) + " x " + short_number(b.height(), 3) +
                " mm, " + found[0].how + ", " + std::to_string(found[0].face.holes.size()) + " cutouts");
    for (std::size_t i = 0; i < found.size() && i < 8; ++i)
      e.push_back("face " + std::to_string(i + 1) + ": " + short_number(found[i].area, 2) + " mm2, " + found[i].how +
                  (i == 0 ? "   <- chosen" : ""));
    if (size_ && (std::abs(b.width() - size_->x) > 0.2 || std::abs(b.height() - size_->y) > 0.2))
      d_.warn("outline-size", {r->file->name, 0, 0, {}}, "the outline's size is not the one that the job file states",
              short_number(b.width(), 3) + " x " + short_number(b.height(), 3) + " mm here, " +
                  short_number(size_->x, 3) + " x " + short_number(size_->y, 3) + " mm in " + size_by_,
              "look at the drawing; one of the two is of another revision, or holds a frame");
    if (found.size() > 1 && found[1].area < 1.1 * found[0].area) {
      e.push_back("CHECK: the first two faces are within 10 % in area; look at the drawing and set  choice");
      d_.warn("outline-close-call", {r->file->name, 0, 0, {}},
              "two faces are within 10 % in area; the smaller is taken",
              short_number(found[0].area, 2) + " and " + short_number(found[1].area, 2) + " mm2",
              "set  choice  in  [inputs.outline]");
    }
    for (auto& in : out_.job.gerbers)
      if (in.file == out_.job.outline_file && in.role == LayerRole::ignore) in.role = LayerRole::drawing;
    return;
  }
  if (cad_ && cad_->mechanics.outline) return e.push_back("the edge is the profile of " + cad_->name);
  if (std::any_of(r_.begin(), r_.end(), [](const Recognised& r) { return r.kind == FileKind::idf_board; }))
    return e.push_back(
        "no layer file holds a closed face around all pads; the edge is that of the IDF file, where it encloses them");
  e.push_back("CHECK: no file holds a closed face around all pads; the box around the pads will stand for the board");
}

}  // namespace teasel
