// Signs that a part of the board bends: layers that say so of themselves, and an edge with narrow parts.
#include <algorithm>
#include <set>

#include "recogniser.h"
#include "teasel/words.h"

namespace teasel {

namespace {
/// What words of a layer say, the first that fits: "rigid-flex" is the name of a board, not of a layer.
struct FlexWord {
  std::string_view word;
  LayerRole role;
};
constexpr FlexWord kFlexWords[] = {{"stiffener", LayerRole::stiffener}, {"bendarea", LayerRole::flex},
                                   {"bend area", LayerRole::flex},      {"bend_area", LayerRole::flex},
                                   {"flex", LayerRole::flex},           {"rigid", LayerRole::rigid}};
constexpr std::string_view kCoverlay[] = {"coverlay", "cover layer", "cover_layer"};

/// What a layer says of itself in words, its file name left out.
std::string own_words(const formats::GerberFile& file) {
  std::string words = lower(file.file_attribute(".FileFunction")) + " " + lower(file.image_name);
  for (const std::string& comment : file.comments)
    if (comment.rfind("Layer:", 0) == 0) words += " " + lower(comment);
  return words;
}

std::optional<LayerRole> flex_role(const std::string& words) {
  const bool both = has(words, "rigid") && has(words, "flex");
  for (const FlexWord& known : kFlexWords)
    if (has(words, known.word) && !(both && (known.word == "flex" || known.word == "rigid"))) return known.role;
  return std::nullopt;
}
bool is_coverlay(const std::string& words) {
  return std::any_of(std::begin(kCoverlay), std::end(kCoverlay),
                     [&](std::string_view word) { return has(words, word); });
}
std::string stem_of(const Recognised& entry) {
  return lower(entry.file->name.substr(entry.file->name.rfind('/') + 1));
}

/// A part of the board between edges that lie near to one another.
struct NarrowPart {
  Box box;
  double width{}, length{};
  double reach{};  ///< farthest of its corners from the wide parts
};
struct Narrowness {
  std::vector<NarrowPart> parts;
  std::size_t islands = 0;  ///< wide parts
};

/// The parts of a face that a disc does not reach which fits well into its widest part. Cutouts do not count.
Narrowness narrow_parts(const Polygon& face) {
  constexpr double kWidest = 8, kShare = 0.6;          // mm; share of the widest part's width
  constexpr double kLeastWidth = 0.8, kLeastLong = 3;  // mm
  constexpr double kLeastIsland = 20;                  // mm2
  Narrowness out;
  const Polygons whole{{face.outer, {}}};
  const double width = std::min(kWidest, kShare * 2 * largest_inscribed_circle(whole[0], 0.05).radius);
  const Polygons shrunk = offset(whole, -width / 2);
  const Polygons wide = offset(shrunk, width / 2);
  for (const Polygon& island : wide) out.islands += area(island) >= kLeastIsland;
  for (const Polygon& part : subtract(whole, wide)) {
    NarrowPart narrow;
    narrow.width = 2 * largest_inscribed_circle(part, 0.05).radius;
    if (narrow.width < kLeastWidth) continue;
    narrow.length = area(part) / narrow.width;
    narrow.box = bounds(part.outer);
    for (const Point corner : part.outer) narrow.reach = std::max(narrow.reach, distance_to_area(wide, corner));
    if (narrow.length >= kLeastLong && narrow.length >= narrow.width) out.parts.push_back(narrow);
  }
  return out;
}
}  // namespace

/// Drawings that say that they show what bends, what does not, or what stiffens.
void Recogniser::flex_layers() {
  std::size_t layers = 0;
  for (const Recognised& entry : entries_) layers += entry.kind == FileKind::gerber;
  // A word in the name of every other file is the board's.
  const auto is_own = [&](std::string_view word) {
    std::size_t in = 0;
    for (const Recognised& entry : entries_) in += entry.kind == FileKind::gerber && has(stem_of(entry), word);
    return in > 0 && in <= 6 && 2 * in < layers;
  };
  std::string coverlays;
  for (Recognised& entry : entries_) {
    if (entry.kind != FileKind::gerber || entry.gerber.objects.empty() ||
        (entry.role && *entry.role != LayerRole::drawing && *entry.role != LayerRole::ignore))
      continue;
    std::string words = own_words(entry.gerber);
    std::optional<LayerRole> role = flex_role(words);
    if (const std::string stem = stem_of(entry); !role)
      for (const FlexWord& known : kFlexWords)
        if (!role && has(stem, known.word) && is_own(known.word)) role = flex_role(stem);
    if (role) {
      entry.role = role;
      entry.why = std::string("its words say that it draws ") +
                  (*role == LayerRole::flex    ? "what bends"
                   : *role == LayerRole::rigid ? "the stiff parts of a board whose other parts bend"
                                               : "stiffeners of a part that bends") +
                  ": CHECK";
    } else if (is_coverlay(words + " " + stem_of(entry))) {
      coverlays += (coverlays.empty() ? "" : ", ") + entry.file->name;
    }
  }
  if (!coverlays.empty() && !layer(LayerRole::flex) && !layer(LayerRole::rigid))
    evidence("inputs.outline")
        .push_back("CHECK: " + coverlays +
                   " is a cover layer, so parts of the board bend, but no file says which. Draw them in  [[flex]]");
}

void Recogniser::narrow_edge(const Polygon& face) {
  if (layer(LayerRole::flex) || layer(LayerRole::rigid)) return;
  const Narrowness found = narrow_parts(face);
  // Wide parts joined by narrow ones, or a tail, which is no strip along an edge: chosen, no source.
  constexpr double kTail = 3, kEndOn = 0.7;
  const bool tail = std::any_of(found.parts.begin(), found.parts.end(), [](const NarrowPart& part) {
    return part.length >= kTail * part.width && part.reach >= kEndOn * part.length;
  });
  if (found.parts.empty() || (found.islands < 2 && !tail)) return;
  auto& reasons = evidence("inputs.outline");
  reasons.push_back("CHECK: the board edge has " + plural(found.parts.size(), "narrow part", "narrow parts") +
                    " beside " + plural(found.islands, "wide one", "wide ones") +
                    ". If the board is rigid-flex, draw the parts that bend, as here. Or give the layer that draws the "
                    "stiff parts  role = \"rigid\"");
  constexpr std::size_t kShown = 6;
  for (std::size_t i = 0; i < std::min(kShown, found.parts.size()); ++i) {
    const NarrowPart& part = found.parts[i];
    auto corner = [](double x, double y) {
      return "[\"" + short_number(x, 2) + " mm\", \"" + short_number(y, 2) + " mm\"]";
    };
    reasons.push_back("[[flex]]  # " + short_number(part.width, 1) + " mm wide");
    reasons.push_back("from = " + corner(part.box.x0, part.box.y0));
    reasons.push_back("to = " + corner(part.box.x1, part.box.y1));
  }
}

}  // namespace teasel
