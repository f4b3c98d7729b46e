// Bodies: side, outline, height, and how surely each is known.
#include <algorithm>
#include <set>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kBeside = 2.0;  // mm; from a drawn body to the nearest pad of its part

/// Hull of the lands, grown. With the lands as netlist rectangles turned by their rotation.
std::vector<Point> land_corners(const Feature& f) {
  std::vector<Point> pts;
  for (const Land& l : f.land) {
    if (!l.present) continue;
    const double a = l.rotation * 3.14159265358979323846 / 180, c = std::cos(a), s = std::sin(a);
    for (Point q : rectangle({}, l.width, l.height))
      pts.push_back({f.at.x + c * q.x - s * q.y, f.at.y + s * q.x + c * q.y});
  }
  if (pts.empty()) {
    const double r = std::max(f.hole / 2, 0.1);
    for (Point q : rectangle(f.at, 2 * r, 2 * r)) pts.push_back(q);
  }
  return pts;
}

/// Lands inside the ring of outer lands: the mark of a ball or land grid, whose pads all lie under the body.
bool is_area_array(const Board& b, const Component& c) {
  if (c.holes_only || c.features.size() < 9) return false;
  std::vector<Point> centres;
  for (int f : c.features) centres.push_back(b.features[static_cast<std::size_t>(f)].at);
  const Ring hull = convex_hull(centres);
  if (hull.size() < 3) return false;
  double pitch = 1e9;
  for (std::size_t i = 0; i < centres.size() && i < 60; ++i)
    for (std::size_t j = 0; j < centres.size(); ++j)
      if (i != j) pitch = std::min(pitch, distance(centres[i], centres[j]));
  std::size_t inner = 0;
  for (Point p : centres) inner += distance_to_boundary({{hull, {}}}, p) > 0.75 * pitch;
  return inner * 5 >= centres.size();  // a fifth; a row package with one thermal pad stays far below
}

bool glob_any(const std::vector<std::string>& patterns, const std::string& name) {
  return std::any_of(patterns.begin(), patterns.end(), [&](const std::string& p) { return glob_match(p, name); });
}

void settle_side(Component& c, const Board& b, const Job& job, const PartFacts* facts, bool& contradicted) {
  int top = 0, bottom = 0;
  c.holes_only = true;
  for (int i : c.features) {
    const Feature& f = b.features[static_cast<std::size_t>(i)];
    if (f.hole > 0 || (f.land[0].present && f.land[1].present)) continue;
    if (f.kind == FeatureKind::unplated_hole) continue;
    c.holes_only = false;
    top += f.land[0].present;
    bottom += f.land[1].present;
  }
  const bool only_top = top > 0 && bottom == 0, only_bottom = bottom > 0 && top == 0;
  if (auto it = job.component_sides.find(c.name); it != job.component_sides.end()) {
    c.side = it->second;
    c.side_known = Known::confirmed;
  } else if (facts && facts->side && ((*facts->side == 0 && only_bottom) || (*facts->side == 1 && only_top))) {
    // Surface pads cannot be on the other side than their part.
    c.side = only_top ? Side::top : Side::bottom;
    c.side_known = Known::assumed;
    contradicted = true;
  } else if (facts && facts->side) {
    c.side = *facts->side == 0 ? Side::top : Side::bottom;
    c.side_known = Known::confirmed;
  } else if (!c.holes_only) {
    c.side = top >= bottom ? Side::top : Side::bottom;
    c.side_known = top == 0 || bottom == 0 ? Known::confirmed : Known::assumed;
  } else {
    c.side = Side::top;
    c.side_known = Known::assumed;
  }
}

/// Fitted in any and in all of the build variants that count.
void settle_fitted(Component& c, const Job& job, const PartFacts* f) {
  const bool base = !glob_any(job.not_fitted, c.name) && !(f && f->fitted && !*f->fitted);
  if (job.variants.empty()) {
    c.fitted = c.always_fitted = base;
    return;
  }
  c.fitted = false;
  c.always_fitted = true;
  for (const BuildVariant& v : job.variants) {
    bool here = base;
    if (f)
      if (auto it = f->fitted_in.find(v.name); it != f->fitted_in.end())
        here = it->second && !glob_any(job.not_fitted, c.name);
    if (glob_any(v.not_fitted, c.name))
      here = false;
    else if (glob_any(v.fitted, c.name))
      here = true;
    c.fitted |= here;
    c.always_fitted &= here;
    c.fitted_in.push_back(here);
  }
}

/// Bodies that the job draws: shield lids, packs, whatever no file knows.
void add_covers(Board& b, const Job& job, Diagnostics& d) {
  for (const Cover& k : job.covers) {
    if (std::any_of(b.components.begin(), b.components.end(), [&](const Component& c) { return c.name == k.name; }))
      d.error("cover-name", k.place, "a cover has the name of a component", k.name, {}, "give it another name");
    Component& c = b.components.emplace_back();
    c.name = k.name;
    c.side = k.side;
    c.body = k.area;
    c.height = k.height;
    c.standoff = k.standoff;
    c.outline_by = job.file;
    c.cover = true;
    c.side_known = c.body_known = c.height_known = Known::confirmed;
  }
}

/// True if a drawn body stands about its pads: one of them at least lies under or just beside it.
bool stands_at_pads(const Board& b, const Component& c, const Polygons& outline) {
  return c.features.empty() || std::any_of(c.features.begin(), c.features.end(), [&](int i) {
           return distance_to_area(outline, b.features[static_cast<std::size_t>(i)].at) < kBeside;
         });
}

/// Bodies that stand on no pad of the board: shields glued on, heat sinks, mechanical parts.
void add_padless(Board& b, const std::map<std::string, PartFacts>& facts, Diagnostics& d) {
  std::set<std::string> known;
  for (const Component& c : b.components) known.insert(c.name);
  Few added;
  for (const auto& [name, f] : facts) {
    if (f.outline.empty() || known.count(name)) continue;
    b.components.emplace_back().name = name;
    added.add(name);
  }
  if (added.count())
    d.note("components-without-pads", {}, "parts without pads on the board stand on it as bodies",
           std::to_string(added.count()) + ": " + added.text());
}
/// What the settling of the parts brings to light, to be told once for all of them.
struct Settled {
  Few contradicted, off_pads, floating;
  std::size_t with_side = 0, drawn_on_pads = 0;  ///< of so many
  std::set<std::string> unknown_letters;
  std::size_t assumed = 0, drawn = 0;
  std::vector<OffPart> off_parts;
};

void settle_height(Component& c, const Rules& rules, const PartFacts* f, Settled& s) {
  const std::string letters = reference_letters(c.name);
  const auto standard = rules.heights.find(letters);
  if (f && f->height) {
    c.height = *f->height;
    c.height_known = f->height_doubtful ? Known::assumed : Known::confirmed;
  } else if (standard != rules.heights.end()) {
    c.height = standard->second.v;
    c.height_known = Known::assumed;
  } else {
    c.height = 2 * std::max(rules.tall(), 3.0);
    c.height_known = Known::unknown;
    if (c.fitted) s.unknown_letters.insert(letters.empty() ? c.name : letters);
  }
}

/// The body as drawn, where it stands at its pads; else the hull of the pads, grown.
void settle_body(Component& c, const Board& b, const Rules& rules, const PartFacts* f, Settled& s) {
  std::vector<Point> corners, places;
  for (int i : c.features) {
    for (Point p : land_corners(b.features[static_cast<std::size_t>(i)])) corners.push_back(p);
    places.push_back(b.features[static_cast<std::size_t>(i)].at);
  }
  const Ring hull = convex_hull(std::move(corners));
  c.ring = convex_hull(places);
  c.body_known = Known::assumed;
  if (!c.fitted || c.height <= 0) return;
  const bool draws = f && !f->outline.empty();
  s.drawn_on_pads += draws && !c.features.empty();
  if (draws && stands_at_pads(b, c, f->outline)) {
    c.body = f->outline;
    c.body_known = Known::confirmed;
    c.outline_by = f->outline_by;
    c.standoff = f->standoff;
    s.drawn += 1;
    s.assumed += c.height_known != Known::confirmed;
    return;
  }
  if (draws) {
    Box box;
    for (const Point p : places) box.add(p);
    s.off_parts.push_back({c.name, c.side == Side::bottom, bounds(f->outline).centre(), box.centre()});
    s.off_pads.add(c.name + " by " + f->outline_by);
  }
  if (hull.size() < 3) return;
  // Grown by eight-sided corners drawn around the round ones: never smaller than the true offset, and few vertices.
  std::vector<Point> grown;
  constexpr double kEighth = 3.14159265358979323846 / 4;
  const double r = rules.body_margin.v / std::cos(kEighth / 2);
  for (Point p : hull)
    for (int k = 0; k < 8; ++k)
      grown.push_back(p + r * Point{std::cos(kEighth * (k + 0.5)), std::sin(kEighth * (k + 0.5))});
  c.body = {{convex_hull(std::move(grown)), {}}};
  s.assumed += c.height_known != Known::confirmed;
}

void settle(Component& c, const Board& b, const Job& job, const Rules& rules, const PartFacts* f, Settled& s) {
  bool wrong = false;
  settle_side(c, b, job, f, wrong);
  s.with_side += f && f->side && !c.holes_only;
  if (wrong) s.contradicted.add(c.name + (*f->side ? " bottom" : " top") + " by " + f->side_by);
  settle_fitted(c, job, f);
  if (f) c.value = f->value;
  const auto own = job.protrusions.find(c.name);
  c.protrusion = own != job.protrusions.end() ? own->second.v : rules.travel.lead_protrusion.v;
  c.area_array = is_area_array(b, c);
  settle_height(c, rules, f, s);
  settle_body(c, b, rules, f, s);
}

/// Two sources that cannot both be right: such parts stand on the board.
void put_down_floating(Board& b, Settled& s) {
  for (Component& c : b.components) {
    if (c.standoff <= 0 || c.standoff < c.height || c.body.empty()) continue;
    s.floating.add(c.name + " (" + short_number(c.standoff, 2) + " and " + short_number(c.height, 2) + " mm)");
    c.standoff = 0;
    c.height_known = Known::assumed;
  }
}

/// The hull of a part's pads is no body where other parts stand inside it: a header's outline, a module's footprint, a
/// shield.
void tell_large_bodies(const Board& b, const Job& job, Diagnostics& d) {
  constexpr double kLarge = 0.2;  // of the board
  constexpr std::size_t kMany = 3;
  const double board = std::abs(signed_area(b.outline.outer));
  for (const Component& c : b.components) {
    if (c.body.empty() || c.cover || c.body_known == Known::confirmed || !(area(c.body) > kLarge * board)) continue;
    const auto inside = std::count_if(b.components.begin(), b.components.end(), [&](const Component& o) {
      return &o != &c && o.side == c.side && o.fitted && !o.features.empty() &&
             contains(c.body, b.features[static_cast<std::size_t>(o.features[0])].at);
    });
    if (static_cast<std::size_t>(inside) < kMany) continue;
    d.warn("components-large-body", {job.file, 0, 0, "components"},
           "the body of a part is assumed to cover much of the board, with other parts inside it: no probe lands there "
           "from that side",
           c.name + ", " + percent(area(c.body) / board) + " of the " + to_string(c.side) + " side, " +
               std::to_string(inside) + " parts",
           "pins without a body, such as a header's outline:  [components] height = { \"" + c.name +
               "\" = \"0 mm\" }; not there at test: not_fitted; else give its outline in an IDF file");
  }
}

/// Entries of the job that name no part.
void look_for_names(const Board& b, const Job& job, Diagnostics& d) {
  const auto none = [&](auto&& fits) { return std::none_of(b.components.begin(), b.components.end(), fits); };
  for (const auto& entry : job.protrusions)
    if (none([&](const Component& c) { return c.name == entry.first; }))
      d.warn("components-not-found", {job.file, 0, 0, "components.protrusion"}, "no component has this name",
             entry.first, "correct the entry");
  for (const BuildVariant& v : job.variants)
    for (const auto* list : {&v.not_fitted, &v.fitted})
      for (const auto& name : *list)
        if (none([&](const Component& c) { return glob_match(name, c.name); }))
          d.warn("components-not-found", v.place, "no component fits an entry of a build variant", v.name + ": " + name,
                 "correct the entry");
  for (const auto& [key, list] :
       {std::pair{"components.not_fitted", &job.not_fitted}, {"kelvin.components", &job.kelvin}})
    for (const auto& name : *list)
      if (none([&](const Component& c) { return glob_match(name, c.name); }))
        d.warn("components-not-found", {job.file, 0, 0, key}, "no component fits an entry of the list", name,
               "correct the entry");
}

void tell_contradictions(const Settled& s, const Job& job, Diagnostics& d) {
  const Place at{job.file, 0, 0, "inputs"};
  if (s.off_pads.count()) {
    const std::string common = what_is_common(s.off_parts),
                      message = "drawn bodies stand nowhere near the pads of their parts";
    const std::string text = std::to_string(s.off_pads.count()) + " of " + std::to_string(s.drawn_on_pads) +
                             (common.empty() ? "" : ", " + common) + ": " + s.off_pads.text();
    if (s.off_pads.count() * 10 > s.drawn_on_pads)
      complain(job, d, "check-bodies-off", at, message, text,
               "a shift: correct  [inputs.idf] offset; a mirror: export the file again; else it is of another board; "
               "where accepted, the hull of the pads stands for them");
    else
      d.warn("check-bodies-off", at, message + "; the hull of their pads stands for them", text, "look at these parts");
  }
  if (s.contradicted.count()) {
    const std::string message =
        "parts are said to be on one side and have their surface pads on the other; the pads count";
    const std::string text =
        std::to_string(s.contradicted.count()) + " of " + std::to_string(s.with_side) + ": " + s.contradicted.text();
    if (s.contradicted.count() * 10 > s.with_side)
      complain(job, d, "check-part-sides", at, message, text,
               "a side is mirrored, or the files are of two boards; correct it");
    else
      d.warn("check-part-sides", at, message, text, "overrule in  [components] side");
  }
}

void tell_variants(const Board& b, const Job& job, Diagnostics& d) {
  if (job.variants.empty()) return;
  Few differ(8);
  std::string names;
  for (const Component& c : b.components)
    if (c.fitted && !c.always_fitted) differ.add(c.name);
  for (const BuildVariant& v : job.variants) names += (names.empty() ? "" : ", ") + v.name;
  d.note(
      "variants", {job.file, 0, 0, "variant"},
      "the plan holds for all build variants: " + names +
          "; a part that one of them fits counts as a body, and its holes as filled and as empty",
      plural(differ.count(), "part differs", "parts differ") + (differ.count() ? ": " + differ.text() : std::string()),
      "");
}

void tell_what_is_assumed(const Board& b, const std::map<std::string, PartFacts>& facts, const Settled& s,
                          const Job& job, const Rules& rules, Diagnostics& d) {
  std::set<std::string> names;
  for (const Component& c : b.components) names.insert(c.name);
  for (const auto& [name, f] : facts)
    if (!names.count(name) && f.height)
      d.warn("heights-not-found", {f.height_by, 0, 0, {}},
             "a height is given for a component that the board does not hold", name, "correct the name");
  if (!s.unknown_letters.empty()) {
    std::string list;
    for (const auto& l : s.unknown_letters) list += (list.empty() ? "" : ", ") + l;
    d.note("components-unknown-letters", {job.file, 0, 0, "components.height"},
           "parts with reference letters that have no usual height count as tall", list,
           "give heights in  [components] height  or a heights table");
  }
  if (s.assumed)
    d.note("components-assumed", {job.file, 0, 0, "components"},
           (s.drawn ? std::to_string(s.drawn) + " bodies are drawn by the files, the others are the hull"
                    : std::string("bodies are the hull")) +
               " of a part's pads grown by " + short_number(rules.body_margin.v, 2) +
               " mm; heights without a source are assumed by reference letters",
           std::to_string(s.assumed) + " of " + std::to_string(b.components.size()) + " heights assumed",
           "give heights in  [components] height  or a heights table");
}
}  // namespace

void add_components(Board& b, const Job& job, const Rules& rules, const Sources& sources, Diagnostics& d) {
  const std::map<std::string, PartFacts> facts = gather_parts(b, job, sources, d);
  add_padless(b, facts, d);
  Settled s;
  for (Component& c : b.components) {
    const auto found = facts.find(c.name);
    settle(c, b, job, rules, found == facts.end() ? nullptr : &found->second, s);
  }
  put_down_floating(b, s);
  if (s.floating.count())
    d.warn("components-standoff", {job.file, 0, 0, "components"},
           "parts stand off the board by no less than they are tall: two sources disagree; they are taken to stand on "
           "the board",
           std::to_string(s.floating.count()) + ": " + s.floating.text(), "give their heights in  [components] height");
  tell_large_bodies(b, job, d);
  look_for_names(b, job, d);
  add_covers(b, job, d);
  tell_contradictions(s, job, d);
  tell_variants(b, job, d);
  tell_what_is_assumed(b, facts, s, job, rules, d);
}

}  // namespace teasel
