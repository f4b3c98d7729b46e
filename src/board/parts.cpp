// What the sources say of each part: side, height, outline, fitted or not; and where they differ.
#include <algorithm>
#include <set>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kElsewhere = 3.0;  // mm; origins of one part in two libraries lie nearer (common practice, no source)
constexpr double kTallest =
    25.0;  // mm; taller ones are looked at twice (from memory: libraries write defaults such as 50.8)

/// A column of a bill of materials, and the build variant that it stands for (empty: the only one).
struct BomColumn {
  std::string variant;
  std::size_t column{};
};

class Gatherer {
 public:
  Gatherer(const Board& b, const Job& job, const Sources& s, Diagnostics& d) : b_(b), job_(job), s_(s), d_(d) {}
  std::map<std::string, PartFacts> run();

 private:
  void mechanics(const formats::Mechanics& m, Point shift);
  void tables();
  void bom();
  std::vector<BomColumn> columns(const formats::BomTable& t);
  void cad_variants();
  void full_names();
  void side(PartFacts& f, const std::string& name, int side, const std::string& by);
  void place(PartFacts& f, const std::string& name, Point at, const std::string& by);
  void height(PartFacts& f, const std::string& name, double h, const std::string& by);
  struct Differences {
    std::size_t count = 0;
    std::string first;
  };
  void differ(Differences& list, const std::string& text) {
    if (list.count++ < 3) list.first += (list.first.empty() ? "" : "; ") + text;
  }
  void report(const Differences& list, const char* code, const std::string& what, const std::string& stronger) {
    if (list.count)
      d_.warn(code, {job_.file, 0, 0, "inputs"}, what,
              std::to_string(list.count) + ": " + list.first + (list.count > 3 ? "; ..." : ""), stronger);
  }

  const Board& b_;
  const Job& job_;
  const Sources& s_;
  Diagnostics& d_;
  std::map<std::string, PartFacts> out_;
  Differences sides_, heights_, fitted_, doubtful_, places_;
};

void Gatherer::side(PartFacts& f, const std::string& name, int s, const std::string& by) {
  if (s < 0) return;
  if (!f.side) {
    f.side = s;
    f.side_by = by;
  } else if (*f.side != s)
    differ(sides_, name + " " + (*f.side ? "bottom" : "top") + " in " + f.side_by + ", " + (s ? "bottom" : "top") +
                       " in " + by);
}

void Gatherer::place(PartFacts& f, const std::string& name, Point at, const std::string& by) {
  if (!f.at) {
    f.at = at;
    f.at_by = by;
  } else if (distance(*f.at, at) > kElsewhere)
    differ(places_, name + " " + short_number(distance(*f.at, at), 2) + " mm apart in " + f.at_by + " and " + by);
}

/// The source that comes first is the weaker one here: later calls overrule.
void Gatherer::height(PartFacts& f, const std::string& name, double h, const std::string& by) {
  if (f.height && std::abs(*f.height - h) > 0.05 + 0.05 * h)
    differ(heights_, name + " " + short_number(*f.height, 2) + " mm in " + f.height_by + ", " + short_number(h, 2) +
                         " mm in " + by);
  f.height = h;
  f.height_by = by;
  f.height_doubtful = false;
}

void Gatherer::mechanics(const formats::Mechanics& m, Point shift) {
  for (const auto& row : m.bodies) {
    PartFacts& f = out_[row.component];
    side(f, row.component, row.side, m.name);
    if (row.height) {
      height(f, row.component, *row.height, m.name);
      if (*row.height > kTallest) {
        f.height_doubtful = true;
        differ(doubtful_, row.component + " " + short_number(*row.height, 2) + " mm");
      }
    }
    if (!row.outline.empty() && f.outline.empty()) {
      f.outline = transformed(row.outline, {1, 0, 0, 1, shift.x, shift.y});
      f.outline_by = m.name;
      f.standoff = row.standoff;
      f.place = {m.name, row.line, 0, {}};
    }
    place(f, row.component, row.at + shift, m.name);
    if (row.fitted) {
      if (f.fitted && *f.fitted != *row.fitted)
        differ(fitted_, row.component + " in " + f.fitted_by + " and " + m.name);
      else {
        f.fitted = row.fitted;
        f.fitted_by = m.name;
      }
    }
  }
}

void Gatherer::tables() {
  for (const auto& p : s_.placements)
    for (const auto& r : p.rows) {
      PartFacts& f = out_[r.component];
      side(f, r.component, r.side, p.name);
      place(f, r.component, placed(job_, p, r), p.name);
      if (r.height) height(f, r.component, *r.height, p.name);
      if (!r.value.empty()) f.value = r.value;
      if (r.fitted) {
        if (f.fitted && *f.fitted != *r.fitted)
          differ(fitted_, r.component + " in " + f.fitted_by + " and " + p.name);
        else {
          f.fitted = r.fitted;
          f.fitted_by = p.name;
        }
      }
    }
  for (const auto& h : s_.heights) height(out_[h.component], h.component, h.height, job_.heights_file);
}

std::vector<BomColumn> Gatherer::columns(const formats::BomTable& t) {
  std::string names;
  for (const auto& v : t.variants) names += (names.empty() ? "" : ", ") + v;
  std::vector<BomColumn> out;
  auto wanted = [&](const std::string& name, const std::string& variant, Place place) {
    if (t.variants.empty()) {
      if (!name.empty())
        d_.error("bom-variant", std::move(place), "the bill of materials has no variants", name, {},
                 "remove the choice");
      else
        out.push_back({variant, 0});
      return;
    }
    const auto it = std::find(t.variants.begin(), t.variants.end(), name);
    if (it == t.variants.end())
      d_.error("bom-variant", std::move(place),
               name.empty() ? "the bill of materials holds several build variants, and none is chosen"
                            : "the bill of materials holds no such variant",
               name, names, "choose one of them");
    else
      out.push_back({variant, static_cast<std::size_t>(it - t.variants.begin())});
  };
  for (const BuildVariant& v : job_.variants) wanted(v.bom.empty() ? job_.bom_variant : v.bom, v.name, v.place);
  if (job_.variants.empty()) wanted(job_.bom_variant, {}, {job_.file, 0, 0, "inputs.bom.variant"});
  return out;
}

void Gatherer::bom() {
  if (!s_.bom) return;
  const formats::BomTable& t = *s_.bom;
  const std::vector<BomColumn> used = columns(t);
  if (d_.failed()) return;
  std::set<std::string> known, listed;
  for (const Component& c : b_.components) known.insert(c.name);
  std::size_t foreign = 0, off = 0;
  std::string first;
  for (const auto& r : t.rows) {
    listed.insert(r.component);
    if (!known.count(r.component) && !out_.count(r.component)) {
      if (foreign++ == 0) first = r.component;
      continue;
    }
    if (!r.value.empty()) out_[r.component].value = r.value;
    for (const BomColumn& u : used) {
      if (u.column >= r.fitted.size() || !r.fitted[u.column]) continue;
      const bool fitted = *r.fitted[u.column];
      PartFacts& f = out_[r.component];
      if (!u.variant.empty()) {
        f.fitted_in[u.variant] = fitted;
        f.fitted_by = t.name;
        off += !fitted && &u == &used.front();
        continue;
      }
      if (f.fitted && *f.fitted != fitted)
        differ(fitted_, r.component + (*f.fitted ? " fitted" : " not fitted") + " in " + f.fitted_by + ", " +
                            (fitted ? "fitted" : "not fitted") + " in " + t.name);
      f.fitted = fitted;
      f.fitted_by = t.name;
      off += !fitted;
    }
  }
  Few without;
  for (const auto& n : known)
    if (!listed.count(n)) {
      const std::string letters = reference_letters(n);
      if (letters == "TP" || letters == "FID" || letters == "MH" || letters == "H" || letters == "TST") continue;
      without.add(n);
    }
  const std::string column_text = t.fitted_column.empty() && t.variants.empty()
                                      ? "it has no column for that: every part that it lists is fitted"
                                      : "column '" +
                                            (t.variants.empty() ? t.fitted_column : t.variants[used.front().column]) +
                                            "'" + (used.size() > 1 ? " and those of the other build variants" : "");
  d_.note(
      "bom-read", {t.name, 0, 0, {}},
      std::to_string(listed.size()) + " parts in the bill of materials, " + std::to_string(off) + " of them not fitted",
      column_text + (foreign ? "; " + std::to_string(foreign) + " are not on this board, first " + first : ""));
  if (without.count())
    d_.warn("bom-unlisted", {t.name, 0, 0, {}},
            "parts of the board that the bill of materials does not list count as fitted",
            std::to_string(without.count()) + ": " + without.text(),
            "list those that are not fitted in  [components] not_fitted");
  if (foreign > 3 && foreign * 2 > listed.size())
    d_.warn("bom-foreign", {t.name, 0, 0, {}}, "most of the bill of materials is not on this board",
            std::to_string(foreign) + " of " + std::to_string(listed.size()), "is it the bill of this board?");
}

/// Build variants that name a bill of materials of the IPC-2581 file.
void Gatherer::cad_variants() {
  for (const BuildVariant& v : job_.variants) {
    if (v.cad.empty()) continue;
    const auto* list = s_.cad ? &s_.cad->variants : nullptr;
    const auto found =
        list ? std::find_if(list->begin(), list->end(), [&](const formats::CadVariant& c) { return c.name == v.cad; })
             : decltype(list->begin()){};
    if (!list || found == list->end()) {
      std::string names;
      if (list)
        for (const auto& c : *list) names += (names.empty() ? "" : ", ") + c.name;
      d_.error("ipc2581-variant", v.place,
               list ? "the IPC-2581 file holds no bill of materials of this name"
                    : "a build variant names a bill of materials of an IPC-2581 file, and the job names no such file",
               v.cad, names, "correct  [[variant]] ipc2581");
      continue;
    }
    for (const auto& [name, fitted] : found->fitted) out_[name].fitted_in[v.name] = fitted;
  }
}

/// Netlists cut references to six characters; other files hold them whole.
void Gatherer::full_names() {
  std::map<std::string, std::vector<std::string>> longer;
  for (const auto& [name, f] : out_)
    if (name.size() > 6) longer[name.substr(0, 6)].push_back(name);
  for (const Component& c : b_.components) {
    const auto it = c.name.size() == 6 ? longer.find(c.name) : longer.end();
    if (it == longer.end() || it->second.size() != 1 || out_.count(c.name)) continue;
    out_[c.name] = std::move(out_[it->second[0]]);
    out_.erase(it->second[0]);
    d_.note("parts-name-cut", {job_.file, 0, 0, "inputs"},
            "a reference that the netlist cuts to six characters is taken for the only longer one",
            c.name + " = " + it->second[0]);
  }
}

std::map<std::string, PartFacts> Gatherer::run() {
  // Weakest first for heights, strongest first for sides and outlines: both orders agree but for heights of tables.
  if (s_.cad) mechanics(s_.cad->mechanics, {});
  if (s_.idf) mechanics(*s_.idf, job_.idf_offset.value_or(Point{}));
  tables();
  cad_variants();
  bom();
  for (const auto& [name, h] : job_.heights) {
    out_[name].height = h.v;
    out_[name].height_by = job_.file;
    out_[name].height_doubtful = false;
  }
  full_names();
  report(sides_, "parts-sides-differ", "sources put parts on different sides",
         "the first that is named counts; overrule in  [components] side");
  report(places_, "parts-places-differ", "sources put parts at different places",
         "the pads tell which is right: see check-placement and check-bodies-off");
  report(heights_, "parts-heights-differ", "sources give parts different heights",
         "the second that is named counts: a height table over a placement over IDF over IPC-2581; overrule in  "
         "[components] height");
  report(fitted_, "parts-fitted-differ", "sources differ on what is fitted",
         "the bill of materials counts; overrule in  [components] not_fitted");
  report(doubtful_, "parts-heights-doubtful",
         "heights above " + short_number(kTallest, 0) + " mm are kept, but may be a library's default",
         "measure them, and give them in  [components] height");
  return std::move(out_);
}
}  // namespace

std::string what_is_common(const std::vector<OffPart>& off) {
  if (off.size() < 3) return {};
  const std::size_t most = off.size() - off.size() / 5;
  auto middle = [&](auto value) {
    std::vector<double> v;
    for (const OffPart& p : off) v.push_back(value(p));
    std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
    return v[v.size() / 2];
  };
  auto agree = [&](auto x, auto y, Point m) {
    return static_cast<std::size_t>(std::count_if(off.begin(), off.end(), [&](const OffPart& p) {
             return std::abs(x(p) - m.x) < 1 && std::abs(y(p) - m.y) < 1;
           })) >= most;
  };
  const auto dx = [](const OffPart& p) { return p.said.x - p.pads.x; };
  const auto dy = [](const OffPart& p) { return p.said.y - p.pads.y; };
  const auto sx = [](const OffPart& p) { return p.said.x + p.pads.x; };
  const auto sy = [](const OffPart& p) { return p.said.y + p.pads.y; };
  const std::size_t bottom =
      static_cast<std::size_t>(std::count_if(off.begin(), off.end(), [](const OffPart& p) { return p.bottom; }));
  std::string text = bottom == off.size() ? "all of them on the bottom" : bottom == 0 ? "all of them on the top" : "";
  const auto say = [&](const std::string& s) { text += (text.empty() ? "" : ", ") + s; };
  const Point shift{middle(dx), middle(dy)};
  if (agree(dx, dy, shift))
    say("by (" + short_number(shift.x, 2) + ", " + short_number(shift.y, 2) + ") mm");
  else if (agree(sx, dy, {middle(sx), 0}))
    say("where they would be if x were mirrored about " + short_number(middle(sx) / 2, 2) +
        " mm: the export is mirrored");
  else if (agree(dx, sy, {0, middle(sy)}))
    say("where they would be if y were mirrored about " + short_number(middle(sy) / 2, 2) +
        " mm: the export is mirrored");
  return text;
}

double placement_unit(const Job& job) {
  return job.placement_unit == "inch"  ? kMmPerInch
         : job.placement_unit == "mil" ? kMmPerInch / 1000
         : job.placement_unit == "um"  ? 0.001
                                       : 1.0;
}

Point placed(const Job& job, const formats::Placement& table, const formats::PlacementRow& row) {
  const double k = table.has_unit ? 1.0 : placement_unit(job);
  const bool turned = row.side == 1 && job.placement_bottom == "from the bottom";
  const Point offset = job.placement_offset.value_or(Point{});
  if (!turned) return k * Point{row.x, row.y} + offset;
  return k * Point{-row.x, row.y} + job.placement_bottom_offset.value_or(offset);
}

std::map<std::string, PartFacts> gather_parts(const Board& b, const Job& job, const Sources& s, Diagnostics& d) {
  return Gatherer(b, job, s, d).run();
}

}  // namespace teasel
