// What the sources say of each part: side, height, outline, fitted or not; and where they differ.
#include <algorithm>
#include <set>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kElsewhere = 3.0;  // mm; origins of one part in two libraries lie nearer (common practice, no source)
constexpr Mm kTallest{25};  // taller ones are looked at twice (from memory: libraries write defaults such as 50.8)

/// A column of a bill of materials, and the build variant that it stands for (empty: the only one).
struct BomColumn {
  std::string variant;
  std::size_t column{};
};

/// Which column says what is fitted.
std::string column_text(const formats::BomTable& table, const std::vector<BomColumn>& used) {
  if (table.fitted_column.empty() && table.variants.empty())
    return "it has no column that says what is fitted, so every listed part is taken as fitted";
  const std::string& column = table.variants.empty() ? table.fitted_column : table.variants[used.front().column];
  return "column '" + column + "'" + (used.size() > 1 ? " and those of the other build variants" : "");
}

/// Parts of the board that a bill of materials does not list; test points, fiducials and holes never are on one.
Few unlisted(const std::set<std::string>& known, const std::set<std::string>& listed) {
  Few left;
  for (const auto& name : known)
    if (!listed.count(name)) {
      const std::string letters = reference_letters(name);
      if (letters == "TP" || letters == "FID" || letters == "MH" || letters == "H" || letters == "TST") continue;
      left.add(name);
    }
  return left;
}

class Gatherer {
 public:
  Gatherer(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics)
      : board_(board), job_(job), sources_(sources), diagnostics_(diagnostics) {}
  std::map<std::string, PartFacts> run();

 private:
  void mechanics(const formats::Mechanics& mechanics, Point shift);
  void tables();
  void bom();
  std::size_t fitted_by(const formats::BomRow& row, const std::vector<BomColumn>& used, const std::string& file);
  std::vector<BomColumn> columns(const formats::BomTable& table);
  void cad_variants();
  void full_names();
  void side(PartFacts& facts, const std::string& name, std::optional<Side> said, const std::string& by);
  void place(PartFacts& facts, const std::string& name, BoardPoint at, const std::string& by);
  void heights_of_job();
  void height(PartFacts& facts, const std::string& name, Mm tall, const std::string& by);
  struct Differences {
    std::size_t count = 0;
    std::string first;
  };
  void differ(Differences& list, const std::string& text) {
    if (list.count++ < 3) list.first += (list.first.empty() ? "" : "; ") + text;
  }
  void report(const Differences& list, const char* code, const std::string& what, const std::string& stronger) {
    if (list.count)
      diagnostics_.warn({.code = code,
                         .at = {job_.file, 0, 0, "inputs"},
                         .message = what,
                         .found = std::to_string(list.count) + ": " + list.first + (list.count > 3 ? "; ..." : ""),
                         .remedy = stronger});
  }

  const Board& board_;
  const Job& job_;
  const Sources& sources_;
  Diagnostics& diagnostics_;
  std::map<std::string, PartFacts> out_;
  Differences sides_, heights_, fitted_, doubtful_, places_;
};

void Gatherer::side(PartFacts& facts, const std::string& name, std::optional<Side> said, const std::string& by) {
  if (!said) return;
  if (!facts.side) {
    facts.side = said;
    facts.side_by = by;
  } else if (facts.side != said)
    differ(sides_,
           name + " " + to_string(*facts.side) + " in " + facts.side_by + ", " + to_string(*said) + " in " + by);
}

void Gatherer::place(PartFacts& facts, const std::string& name, BoardPoint at, const std::string& by) {
  if (!facts.at) {
    facts.at = at;
    facts.at_by = by;
  } else if (distance(*facts.at, at) > kElsewhere)
    differ(places_,
           name + " " + short_number(distance(*facts.at, at), 2) + " mm apart in " + facts.at_by + " and " + by);
}

/// The source that comes first is the weaker one here: later calls override earlier ones.
void Gatherer::height(PartFacts& facts, const std::string& name, Mm tall, const std::string& by) {
  if (facts.height && std::abs(facts.height->v - tall.v) > 0.05 + 0.05 * tall.v)
    differ(heights_, name + " " + short_number(facts.height->v, 2) + " mm in " + facts.height_by + ", " +
                         short_number(tall.v, 2) + " mm in " + by);
  facts.height = tall;
  facts.height_by = by;
  facts.height_doubtful = false;
}

void Gatherer::mechanics(const formats::Mechanics& mechanics, Point shift) {
  for (const auto& row : mechanics.bodies) {
    PartFacts& facts = out_[row.component];
    side(facts, row.component, row.side, mechanics.name);
    if (row.height) {
      height(facts, row.component, *row.height, mechanics.name);
      if (*row.height > kTallest) {
        facts.height_doubtful = true;
        differ(doubtful_, row.component + " " + short_number(row.height->v, 2) + " mm");
      }
    }
    if (!row.outline.empty() && facts.outline.empty()) {
      facts.outline = transformed(row.outline, {1, 0, 0, 1, shift.x, shift.y});
      facts.outline_by = mechanics.name;
      facts.standoff = row.standoff;
      facts.place = {mechanics.name, row.line, 0, {}};
    }
    place(facts, row.component, row.at + shift, mechanics.name);
    if (row.fitted) {
      if (facts.fitted && *facts.fitted != *row.fitted)
        differ(fitted_, row.component + " in " + facts.fitted_by + " and " + mechanics.name);
      else {
        facts.fitted = row.fitted;
        facts.fitted_by = mechanics.name;
      }
    }
  }
}

void Gatherer::tables() {
  for (const auto& table : sources_.placements)
    for (const auto& row : table.rows) {
      PartFacts& facts = out_[row.component];
      side(facts, row.component, row.side, table.name);
      place(facts, row.component, placed(job_, table, row), table.name);
      if (row.height) height(facts, row.component, *row.height, table.name);
      if (!row.value.empty()) facts.value = row.value;
      if (row.fitted) {
        if (facts.fitted && *facts.fitted != *row.fitted)
          differ(fitted_, row.component + " in " + facts.fitted_by + " and " + table.name);
        else {
          facts.fitted = row.fitted;
          facts.fitted_by = table.name;
        }
      }
    }
  const std::string heights_file = job_.inputs.lone_file("inputs.heights.file");
  for (const auto& row : sources_.lone_tables.heights)
    height(out_[row.component], row.component, row.height, heights_file);
}

std::vector<BomColumn> Gatherer::columns(const formats::BomTable& table) {
  std::string names;
  for (const auto& variant : table.variants) names += (names.empty() ? "" : ", ") + variant;
  std::vector<BomColumn> out;
  auto wanted = [&](const std::string& name, const std::string& variant, Place place) {
    if (table.variants.empty()) {
      if (!name.empty())
        diagnostics_.error({.code = "bom-variant",
                            .at = std::move(place),
                            .message = "the bill of materials has no variants",
                            .found = name,
                            .remedy = "remove the key that chooses a variant"});
      else
        out.push_back({variant, 0});
      return;
    }
    const auto it = std::find(table.variants.begin(), table.variants.end(), name);
    if (it == table.variants.end())
      diagnostics_.error({.code = "bom-variant",
                          .at = std::move(place),
                          .message = name.empty()
                                         ? "the bill of materials holds several build variants, and none is chosen"
                                         : "the bill of materials holds no such variant",
                          .found = name,
                          .expected = names,
                          .remedy = "choose one of them"});
    else
      out.push_back({variant, static_cast<std::size_t>(it - table.variants.begin())});
  };
  for (const BuildVariant& build : job_.parts.variants)
    wanted(build.bom.empty() ? job_.inputs.bom_variant : build.bom, build.name, build.place);
  if (job_.parts.variants.empty()) wanted(job_.inputs.bom_variant, {}, {job_.file, 0, 0, "inputs.bom.variant"});
  return out;
}

/// Takes what a row says of its part. Returns how often that is "not fitted", by the first build variant if by any.
std::size_t Gatherer::fitted_by(const formats::BomRow& row, const std::vector<BomColumn>& used,
                                const std::string& file) {
  std::size_t left_out = 0;
  for (const BomColumn& choice : used) {
    if (choice.column >= row.fitted.size() || !row.fitted[choice.column]) continue;
    const bool fitted = *row.fitted[choice.column];
    PartFacts& facts = out_[row.component];
    if (!choice.variant.empty()) {
      facts.fitted_in[choice.variant] = fitted;
      facts.fitted_by = file;
      left_out += !fitted && &choice == &used.front();
      continue;
    }
    if (facts.fitted && *facts.fitted != fitted)
      differ(fitted_, row.component + (*facts.fitted ? " fitted" : " not fitted") + " in " + facts.fitted_by + ", " +
                          (fitted ? "fitted" : "not fitted") + " in " + file);
    facts.fitted = fitted;
    facts.fitted_by = file;
    left_out += !fitted;
  }
  return left_out;
}

void Gatherer::bom() {
  if (!sources_.bom) return;
  const formats::BomTable& table = *sources_.bom;
  const std::vector<BomColumn> used = columns(table);
  if (diagnostics_.failed()) return;
  std::set<std::string> known, listed;
  for (const Component& part : board_.components) known.insert(part.name);
  std::size_t foreign = 0, off = 0;
  std::string first;
  for (const auto& row : table.rows) {
    listed.insert(row.component);
    if (!known.count(row.component) && !out_.count(row.component)) {
      if (foreign++ == 0) first = row.component;
      continue;
    }
    if (!row.value.empty()) out_[row.component].value = row.value;
    off += fitted_by(row, used, table.name);
  }
  const Few without = unlisted(known, listed);
  diagnostics_.note(
      {.code = "bom-read",
       .at = {table.name, 0, 0, {}},
       .message = std::to_string(listed.size()) + " parts in the bill of materials, " + std::to_string(off) +
                  " of them not fitted",
       .found = column_text(table, used) +
                (foreign ? "; " + std::to_string(foreign) + " are not on this board, first " + first : "")});
  if (without.count())
    diagnostics_.warn({.code = "bom-unlisted",
                       .at = {table.name, 0, 0, {}},
                       .message = "parts of the board that the bill of materials does not list are taken as fitted",
                       .found = std::to_string(without.count()) + ": " + without.text(),
                       .remedy = "list those that are not fitted in  [components] not_fitted"});
  if (foreign > 3 && foreign * 2 > listed.size())
    diagnostics_.warn({.code = "bom-foreign",
                       .at = {table.name, 0, 0, {}},
                       .message = "most of the bill of materials is not on this board",
                       .found = std::to_string(foreign) + " of " + std::to_string(listed.size()),
                       .remedy = "check whether the bill of materials belongs to this board"});
}

/// Build variants that name a bill of materials of the IPC-2581 file.
void Gatherer::cad_variants() {
  for (const BuildVariant& build : job_.parts.variants) {
    if (build.cad.empty()) continue;
    const auto* list = sources_.cad ? &sources_.cad->variants : nullptr;
    const auto found = list
                           ? std::find_if(list->begin(), list->end(),
                                          [&](const formats::CadVariant& variant) { return variant.name == build.cad; })
                           : decltype(list->begin()){};
    if (!list || found == list->end()) {
      std::string names;
      if (list)
        for (const auto& variant : *list) names += (names.empty() ? "" : ", ") + variant.name;
      diagnostics_.error(
          {.code = "ipc2581-variant",
           .at = build.place,
           .message =
               list ? "the IPC-2581 file holds no bill of materials of this name"
                    : "a build variant names a bill of materials of an IPC-2581 file, but the job names no such file",
           .found = build.cad,
           .expected = names,
           .remedy = "correct  [[variant]] ipc2581"});
      continue;
    }
    for (const auto& [name, fitted] : found->fitted) out_[name].fitted_in[build.name] = fitted;
  }
}

/// Netlists cut references to six characters; other files hold them whole.
void Gatherer::full_names() {
  std::map<std::string, std::vector<std::string>> longer;
  for (const auto& [name, facts] : out_)
    if (name.size() > 6) longer[name.substr(0, 6)].push_back(name);
  for (const Component& part : board_.components) {
    const auto it = part.name.text().size() == 6 ? longer.find(part.name) : longer.end();
    if (it == longer.end() || it->second.size() != 1 || out_.count(part.name)) continue;
    out_[part.name] = std::move(out_[it->second[0]]);
    out_.erase(it->second[0]);
    diagnostics_.note({.code = "parts-name-cut",
                       .at = {job_.file, 0, 0, "inputs"},
                       .message = "the netlist cuts references to six characters. A cut one is taken for the only "
                                  "longer reference that begins with it",
                       .found = part.name + " = " + it->second[0]});
  }
}

/// A name speaks of its part alone, and outweighs a glob that fits it as well.
void Gatherer::heights_of_job() {
  auto take = [&](const std::string& name, Mm tall) {
    PartFacts& facts = out_[name];
    facts.height = tall;
    facts.height_by = job_.file;
    facts.height_doubtful = false;
  };
  auto is_glob = [](const std::string& name) { return name.find_first_of("*?") != name.npos; };
  for (const auto& [name, tall] : job_.parts.heights)
    if (is_glob(name))
      for (const Component& part : board_.components)
        if (glob_match(name, part.name)) take(part.name.text(), tall);
  for (const auto& [name, tall] : job_.parts.heights)
    if (!is_glob(name)) take(name, tall);
}

std::map<std::string, PartFacts> Gatherer::run() {
  // Weakest first for heights, strongest first for sides and outlines: both orders agree but for heights of tables.
  if (sources_.cad) mechanics(sources_.cad->mechanics, {});
  if (sources_.idf) mechanics(*sources_.idf, job_.inputs.idf_offset.value_or(Point{}));
  tables();
  cad_variants();
  bom();
  heights_of_job();
  full_names();
  report(sides_, "parts-sides-differ", "the files put parts on different sides",
         "the side that is named first is used. To override it, set  [components] side");
  report(places_, "parts-places-differ", "the files give different positions for parts",
         "the pads show which one is right. See the findings check-placement and check-bodies-off");
  report(heights_, "parts-heights-differ", "the files give different heights for parts",
         "the height that is named second is used. A height table takes precedence over a placement table, then come "
         "IDF and IPC-2581. To override it, set  [components] height");
  report(fitted_, "parts-fitted-differ", "the files disagree about which parts are fitted",
         "the bill of materials is used. To override it, set  [components] not_fitted");
  report(doubtful_, "parts-heights-doubtful",
         "heights above " + short_number(kTallest.v, 0) +
             " mm are used as stated, but may be defaults of the part library",
         "measure them, and give them in  [components] height");
  return std::move(out_);
}
}  // namespace

std::string what_is_common(const std::vector<OffPart>& off) {
  if (off.size() < 3) return {};
  const std::size_t most = off.size() - off.size() / 5;
  auto middle = [&](auto value) {
    std::vector<double> v;
    for (const OffPart& part : off) v.push_back(value(part));
    std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
    return v[v.size() / 2];
  };
  auto agree = [&](auto x, auto y, Point centre) {
    return static_cast<std::size_t>(std::count_if(off.begin(), off.end(), [&](const OffPart& part) {
             return std::abs(x(part) - centre.x) < 1 && std::abs(y(part) - centre.y) < 1;
           })) >= most;
  };
  const auto dx = [](const OffPart& part) { return part.said.x - part.pads.x; };
  const auto dy = [](const OffPart& part) { return part.said.y - part.pads.y; };
  const auto sx = [](const OffPart& part) { return part.said.x + part.pads.x; };
  const auto sy = [](const OffPart& part) { return part.said.y + part.pads.y; };
  const auto all_on = [&](Side side) {
    return std::all_of(off.begin(), off.end(), [&](const OffPart& part) { return part.side == side; });
  };
  std::string text;
  for (const Side side : kBothSides)
    if (all_on(side)) text = std::string("all of them on the ") + to_string(side);
  const auto say = [&](const std::string& what) { text += (text.empty() ? "" : ", ") + what; };
  const Point shift{middle(dx), middle(dy)};
  if (agree(dx, dy, shift))
    say("by (" + short_number(shift.x, 2) + ", " + short_number(shift.y, 2) + ") mm");
  else if (agree(sx, dy, {middle(sx), 0}))
    say("where they would be if x were mirrored about " + short_number(middle(sx) / 2, 2) +
        " mm, so the export is mirrored");
  else if (agree(dx, sy, {0, middle(sy)}))
    say("where they would be if y were mirrored about " + short_number(middle(sy) / 2, 2) +
        " mm, so the export is mirrored");
  return text;
}

Mm placement_unit(const Job& job) {
  if (job.inputs.placement_unit == "inch") return Mm{kMmPerInch};
  if (job.inputs.placement_unit == "mil") return mil(1);
  return Mm{job.inputs.placement_unit == "um" ? 0.001 : 1.0};
}

BoardPoint placed(const Job& job, const formats::Placement& table, const formats::PlacementRow& row) {
  const double k = table.has_unit ? 1.0 : placement_unit(job).v;
  const bool turned = row.side == Side::bottom && job.inputs.placement_bottom == "from the bottom";
  const Point offset = job.inputs.placement_offset.value_or(Point{});
  if (!turned) return k * Point{row.x, row.y} + offset;
  return k * Point{-row.x, row.y} + job.inputs.placement_bottom_offset.value_or(offset);
}

std::map<std::string, PartFacts> gather_parts(const Board& board, const Job& job, const Sources& sources,
                                              Diagnostics& diagnostics) {
  return Gatherer(board, job, sources, diagnostics).run();
}

}  // namespace teasel
