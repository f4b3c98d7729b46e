// Layers that claim one place on the board: told apart by what they draw, or asked about.
#include <algorithm>

#include "recogniser.h"
#include "teasel/words.h"

namespace teasel {

/// A pour covers the pads of the other side as well, but only their own side's copper flashes them. Two layers that
/// both seem to be one copper are the two sides where one of them flashes hardly any of its pads, and no other layer is
/// that side's copper. True where that settles the matter.
bool Recogniser::far_side_by_flashes(const std::vector<Recognised*>& same, bool top) {
  constexpr double kFlashed = 0.8, kPoured = 0.3;
  const LayerRole far = top ? LayerRole::copper_bottom : LayerRole::copper_top;
  const auto& pads = top ? witness_.top_smd : witness_.bottom_smd;
  if (same.size() != 2 || layer(far) || pads.size() < 3) return false;
  double share[2] = {};
  for (std::size_t i = 0; i < 2; ++i) share[i] = share_met(pads, flash_centres(same[i]->gerber), {}, 0.05);
  const std::size_t near = share[0] >= share[1] ? 0 : 1;
  if (!same[near]->by_content || share[near] < kFlashed || share[1 - near] > kPoured) return false;
  same[1 - near]->role = far;
  same[1 - near]->why += "; it flashes " + percent(share[1 - near]) + " of these pads against " + percent(share[near]) +
                         " of " + same[near]->file->name + ", so this one is the other side: CHECK";
  return true;
}

/// Where a netlist states pads smaller than the copper draws them, copper looks like a mask by its sizes. Of two such
/// layers of a side without copper the one with traces is the copper.
void Recogniser::copper_among_masks() {
  for (const bool top : {true, false}) {
    const LayerRole copper = top ? LayerRole::copper_top : LayerRole::copper_bottom,
                    mask = top ? LayerRole::mask_top : LayerRole::mask_bottom;
    if (layer(copper)) continue;
    std::vector<Recognised*> masks;
    for (Recognised& entry : entries_)
      if (entry.kind == FileKind::gerber && entry.by_content && entry.role == mask) masks.push_back(&entry);
    if (masks.size() < 2) continue;
    std::stable_sort(masks.begin(), masks.end(),
                     [](const auto* a, const auto* b) { return a->strokes() > b->strokes(); });
    constexpr std::size_t kClearly = 4;  // times the strokes of the next
    if (masks[0]->strokes() < kClearly * std::max<std::size_t>(masks[1]->strokes(), 10)) continue;
    masks[0]->role = copper;
    masks[0]->why += "; it has " + std::to_string(masks[0]->strokes()) + " strokes against " +
                     std::to_string(masks[1]->strokes()) + " of " + masks[1]->file->name +
                     ", so this is the copper: CHECK";
  }
}

/// Pours cover the pads of a side that only its own copper, mask and paste draw one by one. A layer that covers them
/// and draws none is copper of another layer.
void Recogniser::poured_layers() {
  constexpr double kDrawn = 0.8, kPoured = 0.3, kMuch = 0.4;
  constexpr std::size_t kEnough = 10;
  for (const bool top : {true, false}) {
    const auto& pads = top ? witness_.top_smd : witness_.bottom_smd;
    if (pads.size() < kEnough) continue;
    const LayerRole own = top ? LayerRole::copper_top : LayerRole::copper_bottom,
                    far = top ? LayerRole::copper_bottom : LayerRole::copper_top,
                    mask = top ? LayerRole::mask_top : LayerRole::mask_bottom,
                    paste = top ? LayerRole::paste_top : LayerRole::paste_bottom;
    bool copper = false;
    std::vector<Recognised*> poured;
    for (Recognised& entry : entries_) {
      if (entry.kind != FileKind::gerber || !entry.role) continue;
      if (*entry.role != own && *entry.role != mask && *entry.role != paste) continue;
      const double drawn = share_met(pads, flash_centres(entry.gerber), {}, 0.05);
      copper |= *entry.role == own && drawn >= kDrawn;
      if (entry.by_content && drawn <= kPoured &&
          share_dark(LayerImage(entry.gerber, false), grid_over(witness_.all)) > kMuch)
        poured.push_back(&entry);
    }
    if (!copper) continue;
    // One that has traces may be the other side's copper, where no other file is.
    std::stable_sort(poured.begin(), poured.end(),
                     [](const auto* a, const auto* b) { return a->strokes() > b->strokes(); });
    for (Recognised* entry : poured) {
      const bool other_side = !layer(far) && *entry->role == own;
      entry->role = other_side ? far : LayerRole::copper_inner;
      entry->why += std::string("; it draws none of these pads by itself, so this is ") +
                    (other_side ? "the other side's copper" : "copper of another layer") + ": CHECK";
    }
  }
}

/// Two layers that claim one place: told apart by the netlist, or refused.
void Recogniser::one_of_each(bool masks) {
  for (LayerRole role :
       {LayerRole::copper_top, LayerRole::copper_bottom, LayerRole::mask_top, LayerRole::mask_bottom}) {
    if (!masks && role != LayerRole::copper_top && role != LayerRole::copper_bottom) continue;
    std::vector<Recognised*> same;
    for (auto& entry : entries_)
      if (entry.kind == FileKind::gerber && entry.role == role) same.push_back(&entry);
    if (same.size() < 2) continue;
    const bool mask = role == LayerRole::mask_top || role == LayerRole::mask_bottom;
    const bool top = role == LayerRole::copper_top || role == LayerRole::mask_top;
    if (!mask && far_side_by_flashes(same, top)) continue;
    // Masks that open every via look like copper to the netlist; the traces tell.
    if (!mask && std::all_of(same.begin(), same.end(), [](const auto* entry) { return entry->by_content; })) {
      const auto most = *std::max_element(same.begin(), same.end(),
                                          [](const auto* a, const auto* b) { return a->strokes() < b->strokes(); });
      for (auto* entry : same)
        if (entry != most) {
          entry->role = top ? LayerRole::mask_top : LayerRole::mask_bottom;
          entry->why += "; " + most->file->name + " covers the same and has " + std::to_string(most->strokes()) +
                        " strokes against " + std::to_string(entry->strokes()) + ", so this one is the mask";
        }
      continue;
    }
    std::vector<double> share;
    for (auto* entry : same)
      share.push_back(share_dark(LayerImage(entry->gerber, false), top ? witness_.top_smd : witness_.bottom_smd));
    std::size_t best = static_cast<std::size_t>(std::max_element(share.begin(), share.end()) - share.begin());
    std::string names;
    for (std::size_t i = 0; i < same.size(); ++i)
      names += (i ? ", " : "") + same[i]->file->name + " (" +
               (share[i] < 0 ? plural(flash_centres(same[i]->gerber).size(), "land", "lands") + " flashed)"
                             : percent(share[i]) + " of the side's pads)");
    std::size_t good = 0;
    for (double one : share) good += one > 0.7;
    // Without a netlist the pads themselves come from one of the two, and cannot tell. Copper flashes its lands,
    // drawings are strokes: the file with most flashes is taken, of equals the fuller one.
    if (!mask && (good > 1 || !netlist_ || share[best] < 0.7)) {
      auto fullness = [](const Recognised* entry) {
        return std::pair(flash_centres(entry->gerber).size(), entry->gerber.objects.size());
      };
      best = static_cast<std::size_t>(
          std::max_element(same.begin(), same.end(),
                           [&](const auto* a, const auto* b) { return fullness(a) < fullness(b); }) -
          same.begin());
      evidence("board").push_back("CHECK: two files claim to be " + std::string(to_string(role)) + ": " + names +
                                  ". Taken: " + same[best]->file->name + ", which flashes most lands");
    }
    diagnostics_.warn({.code = "start-two-layers",
                       .at = {same[1]->file->name, 0, 0, {}},
                       .message = std::string("two files claim to be ") + to_string(role) + ". One of them is used",
                       .found = names + "; used: " + same[best]->file->name,
                       .remedy = "remove the outdated one, or correct the roles in the job file"});
    for (std::size_t i = 0; i < same.size(); ++i)
      if (i != best) {
        same[i]->role = LayerRole::ignore;
        same[i]->why += "; but " + same[best]->file->name + " is used";
      }
  }
}

}  // namespace teasel
