// Bodies: side, outline, height, and how surely each is known.
#include <algorithm>
#include <set>
#include <string>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kBeside = 2.0;  // mm; from a drawn body to the nearest pad of its part

/// Hull of the lands, grown. With the lands as netlist rectangles turned by their rotation.
std::vector<Point> land_corners(const Feature& feature) {
  std::vector<Point> pts;
  for (const Land& land : feature.land) {
    if (!land.present) continue;
    const double angle = land.rotation.v * 3.14159265358979323846 / 180, cosine = std::cos(angle),
                 sine = std::sin(angle);
    for (Point q : rectangle({}, land.width.v, land.height.v))
      pts.push_back({feature.at.x + cosine * q.x - sine * q.y, feature.at.y + sine * q.x + cosine * q.y});
  }
  if (pts.empty()) {
    const double half = std::max(feature.hole.v / 2, 0.1);
    for (Point q : rectangle(feature.at, 2 * half, 2 * half)) pts.push_back(q);
  }
  return pts;
}

/// Lands inside the ring of outer lands: the mark of a ball or land grid, whose pads all lie under the body.
bool is_area_array(const Board& board, const Component& part) {
  if (part.holes_only || part.features.size() < 9) return false;
  std::vector<Point> centres;
  for (const FeatureId id : part.features) centres.push_back(board.features[id].at);
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

bool glob_any(const std::vector<std::string>& patterns, const PartName& name) {
  return std::any_of(patterns.begin(), patterns.end(),
                     [&](const std::string& pattern) { return glob_match(pattern, name); });
}

void settle_side(Component& part, const Board& board, const Job& job, const PartFacts* facts, bool& contradicted) {
  int top = 0, bottom = 0;
  part.holes_only = true;
  for (const FeatureId i : part.features) {
    const Feature& feature = board.features[i];
    if (feature.hole > Mm{} || (feature.land[Side::top].present && feature.land[Side::bottom].present)) continue;
    if (feature.kind == FeatureKind::unplated_hole) continue;
    part.holes_only = false;
    top += feature.land[Side::top].present;
    bottom += feature.land[Side::bottom].present;
  }
  const bool only_top = top > 0 && bottom == 0, only_bottom = bottom > 0 && top == 0;
  if (auto it = job.parts.sides.find(part.name); it != job.parts.sides.end()) {
    part.side = it->second;
    part.side_known = Known::confirmed;
  } else if (facts && facts->side &&
             ((facts->side == Side::top && only_bottom) || (facts->side == Side::bottom && only_top))) {
    // Surface pads cannot be on the other side than their part.
    part.side = only_top ? Side::top : Side::bottom;
    part.side_known = Known::assumed;
    contradicted = true;
  } else if (facts && facts->side) {
    part.side = *facts->side;
    part.side_known = Known::confirmed;
  } else if (!part.holes_only) {
    part.side = top >= bottom ? Side::top : Side::bottom;
    part.side_known = top == 0 || bottom == 0 ? Known::confirmed : Known::assumed;
  } else {
    part.side = Side::top;
    part.side_known = Known::assumed;
  }
}

/// Fitted in any and in all of the build variants that count.
void settle_fitted(Component& part, const Job& job, const PartFacts* facts) {
  const bool base = !glob_any(job.parts.not_fitted, part.name) && !(facts && facts->fitted && !*facts->fitted);
  if (job.parts.variants.empty()) {
    part.fitted = part.always_fitted = base;
    return;
  }
  part.fitted = false;
  part.always_fitted = true;
  for (const BuildVariant& variant : job.parts.variants) {
    bool here = base;
    if (facts)
      if (auto it = facts->fitted_in.find(variant.name); it != facts->fitted_in.end())
        here = it->second && !glob_any(job.parts.not_fitted, part.name);
    if (glob_any(variant.not_fitted, part.name))
      here = false;
    else if (glob_any(variant.fitted, part.name))
      here = true;
    part.fitted |= here;
    part.always_fitted &= here;
    part.fitted_in.push_back(here);
  }
}

/// Bodies that the job draws: shield lids, packs, whatever no file knows.
void add_covers(Board& board, const Job& job, Diagnostics& diagnostics) {
  for (const Cover& cover : job.parts.covers) {
    if (std::any_of(board.components.begin(), board.components.end(),
                    [&](const Component& part) { return part.name == cover.name; }))
      diagnostics.error({.code = "cover-name",
                         .at = cover.place,
                         .message = "a cover has the name of a component",
                         .found = cover.name,
                         .remedy = "give it another name"});
    Component& part = board.components.emplace_back();
    part.name = PartName(cover.name);
    part.side = cover.side;
    part.body = cover.area;
    part.height = cover.height;
    part.standoff = cover.standoff;
    part.outline_by = job.file;
    part.cover = true;
    part.side_known = part.body_known = part.height_known = Known::confirmed;
  }
}

/// True if a drawn body stands about its pads: one of them at least lies under or just beside it.
bool stands_at_pads(const Board& board, const Component& part, const Polygons& outline) {
  return part.features.empty() || std::any_of(part.features.begin(), part.features.end(), [&](FeatureId i) {
           return distance_to_area(outline, board.features[i].at) < kBeside;
         });
}

/// Bodies that stand on no pad of the board: shields glued on, heat sinks, mechanical parts.
void add_padless(Board& board, const std::map<std::string, PartFacts>& facts, Diagnostics& diagnostics) {
  std::set<std::string> known;
  for (const Component& part : board.components) known.insert(part.name);
  Few added, flat;
  for (const auto& [name, known_facts] : facts) {
    if (known_facts.outline.empty() || known.count(name)) continue;
    if (!known_facts.height) {
      flat.add(name);
      continue;
    }
    board.components.emplace_back().name = PartName(name);
    added.add(name);
  }
  if (added.count())
    diagnostics.note({.code = "components-without-pads",
                      .message = "parts that have no pads on this board are taken into account as bodies",
                      .found = std::to_string(added.count()) + ": " + added.text()});
  if (flat.count())
    diagnostics.note({.code = "components-flat",
                      .message =
                          "parts that have neither pads nor a height, such as logos and marks, are taken to have "
                          "no body",
                      .found = std::to_string(flat.count()) + ": " + flat.text(),
                      .remedy = "if one of them stands on the board, give its height in  [components] height"});
}
/// What the settling of the parts brings to light, to be told once for all of them.
struct Settled {
  Few contradicted, off_pads, floating, bare;
  std::size_t with_side = 0, drawn_on_pads = 0;  ///< of so many
  std::set<std::string> unknown_letters;
  std::size_t assumed = 0, drawn = 0;
  std::vector<OffPart> off_parts;
};

bool calls_it_a_hole(std::string value) {
  std::transform(value.begin(), value.end(), value.begin(), [](unsigned char letter) { return std::tolower(letter); });
  return value.find("hole") != value.npos;
}
/// A hole for a screw, though the layout gives it the name of a part: it has no body. One unplated hole without a land,
/// or a hole with its ring and stitching vias under the letters that layouts use for holes, or one plated hole as wide
/// as a screw's under letters that no usual part has (common practice, no source). A part that a list says is fitted,
/// or whose body a file knows, is no bare hole; a list that calls it a hole fits nothing there.
bool is_bare_hole(const Component& part, const Board& board, const Rules& rules, const PartFacts* facts) {
  constexpr Mm kScrew{2.0}, kWide{2.5};  // no screw hole is smaller; no lead is so wide
  static const std::set<std::string> kLetters = {"H", "MH", "HOLE", "MTG", "MTH", "MK", "MNT"};
  if (part.features.empty()) return false;
  if (facts && (facts->height || !facts->outline.empty())) return false;
  if (facts && facts->fitted == true && !calls_it_a_hole(facts->value)) return false;
  std::size_t screws = 0, lands = 0;
  for (const FeatureId id : part.features) {
    const Feature& feature = board.features[id];
    if (feature.hole <= Mm{}) return false;
    screws += feature.hole >= kScrew;
    lands += feature.kind != FeatureKind::unplated_hole;
  }
  const std::string letters = reference_letters(part.name);
  const bool named_so = kLetters.count(letters) > 0;
  if (part.features.size() == 1 && !rules.heights.count(letters) && board.features[part.features.front()].hole >= kWide)
    return true;
  return (lands == 0 && (part.features.size() == 1 || named_so)) || (screws == 1 && named_so);
}

void settle_height(Component& part, const Board& board, const Rules& rules, const PartFacts* facts, Settled& settled) {
  const std::string letters = reference_letters(part.name);
  if (is_bare_hole(part, board, rules, facts)) {
    part.height = Mm{};
    part.height_known = Known::assumed;
    settled.bare.add(part.name);
    return;
  }
  const auto standard = rules.heights.find(letters);
  if (facts && facts->height) {
    part.height = *facts->height;
    part.height_known = facts->height_doubtful ? Known::assumed : Known::confirmed;
  } else if (standard != rules.heights.end()) {
    part.height = standard->second;
    part.height_known = Known::assumed;
  } else {
    part.height = 2 * std::max(rules.tall(), Mm{3.0});
    part.height_known = Known::unknown;
    if (part.fitted) settled.unknown_letters.insert(letters.empty() ? part.name : letters);
  }
}

/// The body as drawn, where it stands at its pads; else the hull of the pads, grown.
void settle_body(Component& part, const Board& board, const Rules& rules, const PartFacts* facts, Settled& settled) {
  std::vector<Point> corners, places;
  for (const FeatureId i : part.features) {
    for (Point p : land_corners(board.features[i])) corners.push_back(p);
    places.push_back(board.features[i].at);
  }
  const Ring hull = convex_hull(std::move(corners));
  part.ring = convex_hull(places);
  part.body_known = Known::assumed;
  if (!part.fitted || part.height <= Mm{}) return;
  const bool draws = facts && !facts->outline.empty();
  settled.drawn_on_pads += draws && !part.features.empty();
  if (draws && stands_at_pads(board, part, facts->outline)) {
    part.body = facts->outline;
    part.body_known = Known::confirmed;
    part.outline_by = facts->outline_by;
    part.standoff = facts->standoff;
    settled.drawn += 1;
    settled.assumed += part.height_known != Known::confirmed;
    return;
  }
  if (draws) {
    Box box;
    for (const Point p : places) box.add(p);
    settled.off_parts.push_back({part.name, part.side, bounds(facts->outline).centre(), box.centre()});
    settled.off_pads.add(part.name + " by " + facts->outline_by);
  }
  if (hull.size() < 3) return;
  // Grown by eight-sided corners drawn around the round ones: never smaller than the true offset, and few vertices.
  std::vector<Point> grown;
  constexpr double kEighth = 3.14159265358979323846 / 4;
  const double radius = rules.body_margin.v / std::cos(kEighth / 2);
  for (Point p : hull)
    for (int k = 0; k < 8; ++k)
      grown.push_back(p + radius * Point{std::cos(kEighth * (k + 0.5)), std::sin(kEighth * (k + 0.5))});
  part.body = {{convex_hull(std::move(grown)), {}}};
  settled.assumed += part.height_known != Known::confirmed;
}

void settle(Component& part, const Board& board, const Job& job, const Rules& rules, const PartFacts* facts,
            Settled& settled) {
  bool wrong = false;
  settle_side(part, board, job, facts, wrong);
  settled.with_side += facts && facts->side && !part.holes_only;
  if (wrong) settled.contradicted.add(part.name + " " + to_string(*facts->side) + " by " + facts->side_by);
  settle_fitted(part, job, facts);
  if (facts) part.value = facts->value;
  const auto own = job.parts.protrusions.find(part.name);
  part.protrusion = own != job.parts.protrusions.end() ? own->second : rules.travel.lead_protrusion;
  part.area_array = is_area_array(board, part);
  settle_height(part, board, rules, facts, settled);
  settle_body(part, board, rules, facts, settled);
}

/// Two sources that cannot both be right: such parts stand on the board.
void put_down_floating(Board& board, Settled& settled) {
  for (Component& part : board.components) {
    if (part.standoff <= Mm{} || part.standoff < part.height || part.body.empty()) continue;
    settled.floating.add(part.name + " (" + short_number(part.standoff.v, 2) + " and " +
                         short_number(part.height.v, 2) + " mm)");
    part.standoff = Mm{};
    part.height_known = Known::assumed;
  }
}

/// The hull of a part's pads is no body where other parts stand inside it: a header's outline, a module's footprint, a
/// shield.
void tell_large_bodies(const Board& single, const Job& job, Diagnostics& diagnostics) {
  const double board = std::abs(signed_area(single.outline.outer));
  for (const Component& part : single.components) {
    const std::size_t inside = parts_inside(single, part);
    if (!inside) continue;
    diagnostics.warn(
        {.code = "components-large-body",
         .at = {job.file, 0, 0, "components"},
         .message = "the assumed body of a part covers much of the board, with other parts inside it. No probe can "
                    "land there from that side",
         .found = part.name + ", " + percent(area(part.body) / board) + " of the " + to_string(part.side) + " side, " +
                  std::to_string(inside) + " parts",
         .remedy = "if the part consists of pins alone, as a header does, set  [components] height = { \"" + part.name +
                   "\" = \"0 mm\" }. If it is absent during the test, list it in not_fitted. Otherwise give its "
                   "outline in an IDF file"});
  }
}

/// Entries of the job that name no part.
void look_for_names(const Board& board, const Job& job, Diagnostics& diagnostics) {
  const auto none = [&](auto&& fits) { return std::none_of(board.components.begin(), board.components.end(), fits); };
  for (const auto& entry : job.parts.protrusions)
    if (none([&](const Component& part) { return part.name == entry.first; }))
      diagnostics.warn({.code = "components-not-found",
                        .at = {job.file, 0, 0, "components.protrusion"},
                        .message = "no component has this name",
                        .found = entry.first,
                        .remedy = "correct the entry"});
  for (const BuildVariant& variant : job.parts.variants)
    for (const auto* list : {&variant.not_fitted, &variant.fitted})
      for (const auto& name : *list)
        if (none([&](const Component& part) { return glob_match(name, part.name); }))
          diagnostics.warn({.code = "components-not-found",
                            .at = variant.place,
                            .message = "an entry of a build variant matches no component",
                            .found = variant.name + ": " + name,
                            .remedy = "correct the entry"});
  for (const auto& [key, list] :
       {std::pair{"components.not_fitted", &job.parts.not_fitted}, {"kelvin.components", &job.wants.kelvin}})
    for (const auto& name : *list)
      if (none([&](const Component& part) { return glob_match(name, part.name); }))
        diagnostics.warn({.code = "components-not-found",
                          .at = {job.file, 0, 0, key},
                          .message = "an entry of this list matches no component",
                          .found = name,
                          .remedy = "correct the entry"});
}

void tell_contradictions(const Settled& settled, const Job& job, Diagnostics& diagnostics) {
  const Place at{job.file, 0, 0, "inputs"};
  if (settled.off_pads.count()) {
    const std::string common = what_is_common(settled.off_parts),
                      message = "bodies that the files draw are far away from the pads of their parts";
    const std::string text = std::to_string(settled.off_pads.count()) + " of " + std::to_string(settled.drawn_on_pads) +
                             (common.empty() ? "" : ", " + common) + ": " + settled.off_pads.text();
    if (settled.off_pads.count() * 10 > settled.drawn_on_pads)
      complain(job, diagnostics,
               {.code = "check-bodies-off",
                .at = at,
                .message = message,
                .found = text,
                .remedy = "if all are shifted alike, correct  [inputs.idf] offset. If they are mirrored, export the "
                          "file again. Otherwise the file belongs to another board. When this is accepted, the hull of "
                          "a part's pads is used as its body"});
    else
      diagnostics.warn({.code = "check-bodies-off",
                        .at = at,
                        .message = message + ". The hull of their pads is used instead",
                        .found = text,
                        .remedy = "check these parts"});
  }
  if (settled.contradicted.count()) {
    const std::string message =
        "parts have their surface pads on the side opposite to the one that a file states. The side of the pads is "
        "used";
    const std::string text = std::to_string(settled.contradicted.count()) + " of " + std::to_string(settled.with_side) +
                             ": " + settled.contradicted.text();
    if (settled.contradicted.count() * 10 > settled.with_side)
      complain(job, diagnostics,
               {.code = "check-part-sides",
                .at = at,
                .message = message,
                .found = text,
                .remedy = "one side may be mirrored, or the files may be of two boards. Correct the files"});
    else
      diagnostics.warn({.code = "check-part-sides",
                        .at = at,
                        .message = message,
                        .found = text,
                        .remedy = "to override this, set  [components] side"});
  }
}

void tell_variants(const Board& board, const Job& job, Diagnostics& diagnostics) {
  if (job.parts.variants.empty()) return;
  Few differ(8);
  std::string names;
  for (const Component& part : board.components)
    if (part.fitted && !part.always_fitted) differ.add(part.name);
  for (const BuildVariant& variant : job.parts.variants) names += (names.empty() ? "" : ", ") + variant.name;
  diagnostics.note(
      {.code = "variants",
       .at = {job.file, 0, 0, "variant"},
       .message = "the plan holds for all build variants: " + names +
                  ". A part that any of them fits counts as a body, and its holes are judged both filled and empty",
       .found = plural(differ.count(), "part differs", "parts differ") +
                (differ.count() ? ": " + differ.text() : std::string())});
}

void tell_what_is_assumed(const Board& board, const std::map<std::string, PartFacts>& facts, const Settled& settled,
                          const Job& job, const Rules& rules, Diagnostics& diagnostics) {
  std::set<std::string> names;
  for (const Component& part : board.components) names.insert(part.name);
  for (const auto& [name, known] : facts)
    if (!names.count(name) && known.height)
      diagnostics.warn({.code = "heights-not-found",
                        .at = {known.height_by, 0, 0, {}},
                        .message = "a height is given for a component that is not on the board",
                        .found = name,
                        .remedy = "correct the name"});
  if (!settled.unknown_letters.empty()) {
    std::string list;
    for (const auto& letters : settled.unknown_letters) list += (list.empty() ? "" : ", ") + letters;
    diagnostics.note({.code = "components-unknown-letters",
                      .at = {job.file, 0, 0, "components.height"},
                      .message = "parts whose reference letters have no usual height are taken as tall",
                      .found = list,
                      .remedy = "give heights in  [components] height  or a heights table"});
  }
  if (settled.assumed)
    diagnostics.note({.code = "components-assumed",
                      .at = {job.file, 0, 0, "components"},
                      .message = (settled.drawn ? std::to_string(settled.drawn) +
                                                      " bodies are drawn by the files, the others are the hull"
                                                : std::string("bodies are the hull")) +
                                 " of a part's pads grown by " + short_number(rules.body_margin.v, 2) +
                                 " mm. Heights that no file states are assumed from the reference letters",
                      .found = std::to_string(settled.assumed) + " of " + std::to_string(board.components.size()) +
                               " heights assumed",
                      .remedy = "give heights in  [components] height  or a heights table"});
}
}  // namespace

void add_components(Board& board, const Job& job, const Rules& rules, const Sources& sources,
                    Diagnostics& diagnostics) {
  const std::map<std::string, PartFacts> facts = gather_parts(board, job, sources, diagnostics);
  add_padless(board, facts, diagnostics);
  Settled settled;
  for (Component& part : board.components) {
    const auto found = facts.find(part.name);
    settle(part, board, job, rules, found == facts.end() ? nullptr : &found->second, settled);
  }
  put_down_floating(board, settled);
  if (settled.floating.count())
    diagnostics.warn({.code = "components-standoff",
                      .at = {job.file, 0, 0, "components"},
                      .message = "the clearance under parts is no smaller than their height, so two sources disagree. "
                                 "The parts are taken to stand directly on the board",
                      .found = std::to_string(settled.floating.count()) + ": " + settled.floating.text(),
                      .remedy = "give their heights in  [components] height"});
  if (settled.bare.count())
    diagnostics.note({.code = "components-bare-holes",
                      .at = {job.file, 0, 0, "components"},
                      .message = "parts that are nothing but a hole for a screw are taken to have no body",
                      .found = std::to_string(settled.bare.count()) + ": " + settled.bare.text(),
                      .remedy = "if something stands there during the test, give its height in  [components] height"});
  tell_large_bodies(board, job, diagnostics);
  look_for_names(board, job, diagnostics);
  add_covers(board, job, diagnostics);
  tell_contradictions(settled, job, diagnostics);
  tell_variants(board, job, diagnostics);
  tell_what_is_assumed(board, facts, settled, job, rules, diagnostics);
}

std::size_t parts_inside(const Board& board, const Component& part) {
  constexpr double kLarge = 0.2;  // of the board
  constexpr std::size_t kMany = 3;
  if (part.body.empty() || part.cover || part.body_known == Known::confirmed ||
      !(area(part.body) > kLarge * std::abs(signed_area(board.outline.outer))))
    return 0;
  const auto inside = static_cast<std::size_t>(
      std::count_if(board.components.begin(), board.components.end(), [&](const Component& component) {
        return &component != &part && component.side == part.side && component.fitted && !component.features.empty() &&
               contains(part.body, board.features[component.features[0]].at);
      }));
  return inside < kMany ? 0 : inside;
}

void check_part_limits(const Board& board, const Job& job, Diagnostics& diagnostics) {
  constexpr std::size_t kLettersOff = 1;  // names of parts are short
  for (const auto& [name, limit] : job.mechanics.part_limits) {
    Few similar(3);
    std::set<std::string> told;
    bool known = false;
    for (const Component& part : board.components) {
      const std::string plain = part.name.plain();
      known = known || part.name == name || plain == name;
      if (edit_distance(name, plain) <= kLettersOff && told.insert(plain).second) similar.add(plain);
    }
    if (known) continue;
    const std::string remedy = "correct the entry";
    diagnostics.warn({.code = "components-not-found",
                      .at = {job.file, 0, 0, "mechanics.part_limit_ue"},
                      .message = "no component has this name",
                      .found = name,
                      .remedy = similar.count() ? remedy + "; perhaps " + similar.text() : remedy});
  }
  for (const std::string& glob : job.mechanics.press_on)
    if (std::none_of(board.components.begin(), board.components.end(),
                     [&](const Component& part) { return glob_match(glob, part.name); }))
      diagnostics.warn({.code = "components-not-found",
                        .at = {job.file, 0, 0, "mechanics.press_on"},
                        .message = "no component has this name",
                        .found = glob,
                        .remedy = "correct the entry"});
}

}  // namespace teasel
