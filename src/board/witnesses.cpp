// What in a release confirms each thing that a plan rests on. A fact that one file alone states is right only if this
// file is.
#include <algorithm>
#include <cmath>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kSamePlace = 0.05;  // mm
constexpr std::size_t kEnough = 5;   // points, below which a share says nothing
constexpr double kMost = 0.9;        // share that confirms

class Witnesses {
 public:
  Witnesses(const Board& board, const Layers& layers, const std::optional<EdgeFit>& edge, const Job& job,
            const Sources& sources)
      : board_(board), layers_(layers), edge_(edge), job_(job), sources_(sources) {
    for (const Side side : kBothSides) {
      lands_[side] = flash_centres(layers.copper[side]);
      for (const Feature& feature : board.features)
        if (!board.traced && feature.land[side].present && feature.kind != FeatureKind::unplated_hole)
          pads_[side].push_back(feature.at);
    }
  }
  std::vector<Fact> run() {
    outline();
    for (const Side side : kBothSides) {
      copper(side);
      openings(side, "mask", layers_.mask[side]);
      openings(side, "paste", layers_.paste[side]);
    }
    plated_holes();
    unplated_holes();
    names();
    places();
    thickness();
    heights();
    return std::move(facts_);
  }

 private:
  Fact& add(std::string what, const std::string& from) {
    facts_.push_back({.what = std::move(what), .from = named(from), .witnesses = {}, .against = {}});
    return facts_.back();
  }
  /// The file without its folders.
  static std::string named(const std::string& file) { return file.substr(file.rfind('/') + 1); }
  static std::string of(double share, std::size_t count, const std::string& what) {
    return percent(share) + " of " + std::to_string(count) + " " + what;
  }
  /// A witness where most points meet, a word against where they do not.
  static void weigh(Fact& fact, const std::vector<Point>& points, const std::vector<Point>& places,
                    const std::string& what, const std::string& where) {
    if (points.size() < kEnough || places.size() < kEnough) return;
    const double share = share_met(points, places, {}, kSamePlace);
    if (share >= kMost)
      fact.witnesses.push_back(of(share, points.size(), what) + " " + where);
    else if (fact.against.empty())
      fact.against = of(share, points.size(), what) + " " + where;
  }
  /// What a layer file says of itself.
  void header(Fact& fact, const formats::GerberFile& file, LayerRole role) const {
    const std::string function = file.file_attribute(".FileFunction");
    if (const auto stated = role_of_function(function); stated && *stated == role)
      fact.witnesses.push_back("its header says " + function);
  }

  void outline() {
    if (board_.outline_assumed) {
      add("outline", "assumed").against = "no file draws a closed edge";
      return;
    }
    const std::string own = !job_.inputs.outline_polygon.empty() ? "corners in the job file"
                            : job_.inputs.outline_file.empty()   ? "another file than a layer"
                                                                 : job_.inputs.outline_file;
    Fact& fact = add("outline", own);
    for (std::size_t i = 0; i < sources_.gerbers.size(); ++i)
      if (sources_.gerbers[i].name == own) header(fact, sources_.gerbers[i], LayerRole::outline);
    if (edge_) {
      if (length(edge_->shift) < kSamePlace)
        fact.witnesses.push_back(edge_->clearance > Mm{0.05}
                                     ? "copper keeps " + short_number(edge_->clearance.v, 2) + " mm from all four edges"
                                     : "copper is drawn along all four edges alike");
      else
        fact.against = "copper does not keep one distance from its edges";
    }
    auto drawn = [&](const formats::Mechanics& mechanics, Point shift) {
      if (!mechanics.outline || own == "another file than a layer") return;
      const Box theirs = bounds(mechanics.outline->outer), mine = bounds(board_.outline.outer);
      const Point low = Point{theirs.x0, theirs.y0} + shift, high = Point{theirs.x1, theirs.y1} + shift;
      if (distance(low, {mine.x0, mine.y0}) < kSamePlace && distance(high, {mine.x1, mine.y1}) < kSamePlace)
        fact.witnesses.push_back(named(mechanics.name) + " draws the same extents");
      else
        fact.against = named(mechanics.name) + " draws other extents";
    };
    if (sources_.cad) drawn(sources_.cad->mechanics, {});
    if (sources_.idf) drawn(*sources_.idf, job_.inputs.idf_offset.value_or(Point{}));
  }

  void copper(Side side) {
    if (layers_.copper[side].empty()) return;
    const formats::GerberFile& file = layers_.copper[side].front().file();
    Fact& fact = add("copper of the " + std::string(to_string(side)) + " side", file.name);
    header(fact, file, side == Side::top ? LayerRole::copper_top : LayerRole::copper_bottom);
    weigh(fact, pads_[side], lands_[side], "pads of the netlist", "are flashed in it");
    for (const LayerImage& mask : layers_.mask[side])
      weigh(fact, flash_centres(mask.file()), lands_[side], "openings of " + named(mask.file().name),
            "lie on its lands");
  }

  void openings(Side side, const std::string& what, const std::vector<LayerImage>& images) {
    for (const LayerImage& image : images) {
      Fact& fact = add(what + " of the " + std::string(to_string(side)) + " side", image.file().name);
      const LayerRole role = what == "mask" ? (side == Side::top ? LayerRole::mask_top : LayerRole::mask_bottom)
                                            : (side == Side::top ? LayerRole::paste_top : LayerRole::paste_bottom);
      header(fact, image.file(), role);
      weigh(fact, flash_centres(image.file()), lands_[side], "openings", "lie on lands of the side");
      // Copper decides which side it is; of two sides that are alike it does not.
      if (share_met(flash_centres(image.file()), lands_[other(side)], {}, kSamePlace) >= kMost &&
          fact.witnesses.size() == 1)
        fact.against = "as many lie on lands of the other side";
    }
  }

  [[nodiscard]] std::vector<Point> drilled(formats::Plating plating) const {
    std::vector<Point> points;
    for (const BoardHole& hole : board_.holes)
      if (!hole.slot && hole.plating == plating) points.push_back(hole.at);
    return points;
  }
  [[nodiscard]] std::string drill_files(formats::Plating plating) const {
    Few names(3, ", ");
    std::vector<std::string> seen;
    for (const BoardHole& hole : board_.holes)
      if (hole.plating == plating && std::find(seen.begin(), seen.end(), hole.place.file) == seen.end()) {
        seen.push_back(hole.place.file);
        names.add(named(hole.place.file));
      }
    return names.text();
  }
  void plated_holes() {
    const std::vector<Point> holes = drilled(formats::Plating::plated);
    if (holes.empty()) return;
    Fact& fact = add("plated holes", drill_files(formats::Plating::plated));
    std::vector<Point> listed;
    for (const Feature& feature : board_.features)
      if (!board_.traced && (feature.netlist_hole > Mm{} || feature.kind == FeatureKind::via))
        listed.push_back(feature.at);
    weigh(fact, holes, listed, "holes", "are holes of the netlist");
    for (const Side side : kBothSides)
      if (!lands_[side].empty()) {
        weigh(fact, holes, lands_[side], "holes", "lie on lands of the " + std::string(to_string(side)) + " side");
        break;
      }
  }

  void unplated_holes() {
    const std::vector<Point> holes = drilled(formats::Plating::unplated);
    if (holes.empty()) return;
    Fact& fact = add("unplated holes, by which the board is placed", drill_files(formats::Plating::unplated));
    auto met_by = [&](const std::vector<Point>& places, const std::string& where) {
      if (places.empty()) return;
      const double share = share_met(holes, places, {}, kSamePlace);
      if (share >= kMost) fact.witnesses.push_back(of(share, holes.size(), "holes") + " " + where);
    };
    std::vector<Point> listed;
    for (const Feature& feature : board_.features)
      if (feature.netlist_hole > Mm{}) listed.push_back(feature.at);
    if (!board_.traced) met_by(listed, "are holes of the netlist");
    if (sources_.idf) {
      std::vector<Point> theirs;
      for (const auto& hole : sources_.idf->holes) theirs.push_back(hole.at + job_.inputs.idf_offset.value_or(Point{}));
      met_by(theirs, "are holes of " + named(sources_.idf->name));
    }
    std::vector<Point> bare;
    for (const Side side : kBothSides)
      for (const LayerImage& mask : layers_.mask[side])
        for (const Point p : flash_centres(mask.file())) bare.push_back(p);
    met_by(bare, "have an opening in the mask about them");
  }

  void names() {
    std::size_t named = 0, confirmed = 0;
    Few alone(3, ", ");
    for (const Net& net : board_.nets) {
      if (net.unconnected || net.pins < 2) continue;
      ++named;
      confirmed += net.name_confirmed;
      if (!net.name_confirmed) alone.add(net.name.text());
    }
    if (!named) return;
    Fact& fact = add("names of nets", board_.traced ? "the copper, by attributes or numbers" : sources_.netlist_file);
    if (confirmed)
      fact.witnesses.push_back(std::to_string(confirmed) + " of " + std::to_string(named) +
                               " nets have the same name on their pads in another file");
    if (confirmed < named) fact.against = std::to_string(named - confirmed) + " have no second source: " + alone.text();
  }

  void places() {
    std::map<std::string, Box> lands_of;
    for (const Component& part : board_.components)
      for (const FeatureId id : part.features) lands_of[part.name.text()].add(board_.features[id].at);
    for (const formats::Placement& table : sources_.placements) {
      std::size_t known = 0, near = 0;
      for (const auto& row : table.rows)
        if (const auto part = lands_of.find(row.component); part != lands_of.end()) {
          ++known;
          near += part->second.grown(3.0).contains(placed(job_, table, row));
        }
      Fact& fact = add("places and sides of parts", table.name);
      if (known < kEnough) continue;
      const double share = static_cast<double>(near) / static_cast<double>(known);
      (share >= kMost ? fact.witnesses.emplace_back() : fact.against) = of(share, known, "parts lie at their own pads");
    }
  }

  void thickness() {
    const bool known = board_.thickness_known != Known::assumed;
    Fact& fact = add("thickness of the board", known ? "stated" : "assumed");
    if (sources_.idf && sources_.idf->thickness) {
      const std::string text =
          named(sources_.idf->name) + " states " + short_number(sources_.idf->thickness->v, 3) + " mm";
      (std::abs((*sources_.idf->thickness - board_.thickness).v) < 0.1 ? fact.witnesses.emplace_back() : fact.against) =
          text;
    }
  }

  void heights() {
    std::size_t bodies = 0, known = 0;
    for (const Component& part : board_.components) {
      if (part.body.empty()) continue;
      ++bodies;
      known += part.height_known != Known::assumed;
    }
    if (!bodies) return;
    Fact& fact = add("heights of parts", known ? "heights, IDF or IPC-2581 file" : "assumed");
    if (known < bodies)
      fact.against = std::to_string(bodies - known) + " of " + std::to_string(bodies) + " are assumed from the names";
  }

  const Board& board_;
  const Layers& layers_;
  const std::optional<EdgeFit>& edge_;
  const Job& job_;
  const Sources& sources_;
  PerSide<std::vector<Point>> lands_, pads_;
  std::vector<Fact> facts_;
};
}  // namespace

std::vector<Fact> facts_of(const Board& board, const Layers& layers, const std::optional<EdgeFit>& edge, const Job& job,
                           const Sources& sources) {
  return Witnesses(board, layers, edge, job, sources).run();
}

}  // namespace teasel
