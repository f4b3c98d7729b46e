// Folders as people have them: copies beside their originals, several revisions, a panel beside its board. Which files
// belong together, and which of them this job is for.
#include <algorithm>
#include <map>
#include <set>
#include <unordered_map>

#include "recogniser.h"

namespace teasel {

namespace {
std::string folder_of(const std::string& name) {
  const std::size_t slash = name.rfind('/');
  return slash == name.npos ? std::string() : name.substr(0, slash);
}
std::string base_of(const std::string& name) {
  return lower(name.substr(name.rfind('/') + 1));
}
bool within(const std::string& name, const std::string& folder) {
  return folder.empty() || name.rfind(folder + "/", 0) == 0;
}
std::string shown(const std::string& folder) {
  return folder.empty() ? "the folder itself" : folder;
}
void leave_out(Recognised& entry, std::string why) {
  entry.kind = FileKind::other;
  entry.gerber.objects.clear();
  entry.why = std::move(why);
}
/// What a file was written for, or says: files of a set. Tables and pictures are shared.
bool of_a_set(FileKind kind) {
  return kind == FileKind::gerber || kind == FileKind::drill || kind == FileKind::drill_notes ||
         kind == FileKind::job_file;
}
}  // namespace

/// Files of the same bytes count once. Layers must have the same name as well: two layers may look alike. In an archive
/// they may have others than they have loose, as long as it has no other layer of that name.
void Recogniser::copies() {
  std::unordered_map<std::string_view, std::vector<Recognised*>> by_bytes;
  std::vector<Recognised*> order;
  for (auto& entry : entries_) order.push_back(&entry);
  // A loose one is the original, and of several the one least deep in the folder.
  std::stable_sort(order.begin(), order.end(), [&](const Recognised* a, const Recognised* b) {
    const auto deep = [](const Recognised* entry) {
      return std::count(entry->file->name.begin(), entry->file->name.end(), '/');
    };
    const bool packed = archive_of(*a->file).empty() != archive_of(*b->file).empty();
    return packed ? archive_of(*a->file).empty() : deep(a) < deep(b);
  });
  std::set<std::pair<std::string, std::string>> packed_names;
  for (const Recognised* entry : order)
    if (const std::string archive = archive_of(*entry->file); !archive.empty())
      packed_names.emplace(archive, base_of(entry->file->name));
  const auto same_layer = [&](const Recognised& packed, const Recognised& other) {
    if (base_of(packed.file->name) == base_of(other.file->name)) return true;
    const std::string archive = archive_of(*packed.file);
    return !archive.empty() && archive_of(*other.file).empty() &&
           !packed_names.count({archive, base_of(other.file->name)});
  };
  for (Recognised* entry : order) {
    if (entry->kind == FileKind::other || entry->file->bytes.empty()) continue;
    std::vector<Recognised*>& alike = by_bytes[entry->file->bytes];
    const bool layer = entry->kind == FileKind::gerber || entry->kind == FileKind::drill;
    const auto original = std::find_if(alike.begin(), alike.end(), [&](const Recognised* other) {
      return other->file != entry->file && (!layer || same_layer(*entry, *other));
    });
    if (original == alike.end()) {
      alike.push_back(entry);
      continue;
    }
    entry->why = "the same as " + (*original)->file->name;
    entry->kind = FileKind::other;
    entry->gerber.objects.clear();
  }
}

/// A project called "power" or "top hat" says nothing of its layers: what all names of a folder begin with is left out.
void Recogniser::shared_names() {
  constexpr std::size_t kFewest = 4;
  std::map<std::string, std::vector<Recognised*>> folders;
  for (Recognised& entry : entries_)
    if (entry.kind == FileKind::gerber) folders[folder_of(entry.file->name)].push_back(&entry);
  for (auto& [folder, layers] : folders) {
    if (layers.size() < kFewest) continue;
    // The ending speaks for itself.
    auto name_of = [](const Recognised* entry) {
      const std::string name = entry->file->name.substr(entry->file->name.rfind('/') + 1);
      return name.substr(0, name.rfind('.'));
    };
    std::string shared = name_of(layers.front());
    for (const Recognised* entry : layers) {
      const std::string name = name_of(entry);
      const auto [ours, theirs] = std::mismatch(shared.begin(), shared.end(), name.begin(), name.end());
      shared.erase(ours, shared.end());
    }
    // Whole words only: "top" and "topmask" share no project.
    const std::size_t end = shared.find_last_of("-_. ");
    for (Recognised* entry : layers) entry->shared = end == shared.npos ? 0 : end + 1;
  }
}

namespace {
/// Layers that lie in one folder, outer copper among them.
struct LayerSet {
  std::string folder, stem;  ///< stem: where the folder holds several sets, what the names begin with
  std::vector<Recognised*> layers;
  std::set<LayerRole> roles;
  std::vector<Point> flashes;  ///< of the outer copper
  Box box;                     ///< of the outer copper
  std::string date;            ///< the latest that a file states
  bool packed = false;         ///< in an archive
  double share = 0;            ///< of the pads of the best netlist
};

/// The role that a file states or that its name says, without settling it.
std::optional<LayerRole> stated_role(const Recognised& entry) {
  Recognised look;
  look.file = entry.file;
  look.kind = entry.kind;
  look.shared = entry.shared;
  look.gerber.file_attributes = entry.gerber.file_attributes;
  look.gerber.comments = entry.gerber.comments;
  if (role_by_attribute(look) || role_by_comments(look) || role_by_name(look)) return look.role;
  return std::nullopt;
}

/// What is left of a name before its first word for a layer: files of one revision share it.
std::string stem_of(const std::string& name) {
  std::string stem = base_of(name);
  stem.resize(std::min(stem.size(), stem.rfind('.')));
  for (const char* word :
       {"top",    "bot",  "front", "back", "f_",   "b_",      "f.",    "b.",    "in1",  "in2", "inner",
        "copper", "mask", "paste", "silk", "edge", "outline", "layer", "drill", "npth", "pth"})
    stem.resize(std::min(stem.size(), stem.find(word)));
  return stem;
}

/// What the names of a set begin with, in folders in which several files state the same outer copper.
class Stems {
 public:
  explicit Stems(const std::vector<Recognised>& entries) {
    std::map<std::pair<std::string, LayerRole>, int> copper;
    for (const Recognised& entry : entries) {
      if (entry.kind != FileKind::gerber || entry.gerber.objects.empty()) continue;
      const std::string folder = folder_of(entry.file->name);
      const std::optional<LayerRole> role = stated_role(entry);
      if (!role) continue;
      roles_[{folder, stem_of(entry.file->name)}].insert(*role);
      if (!is_outer(*role)) continue;
      if (++copper[{folder, *role}] == 2) several_.insert(folder);
    }
  }

  /// Nothing where the folder holds one set, or where the layers that begin like this one are none: a board has more
  /// than outer copper.
  std::string of(const std::string& name) const {
    if (!several_.count(folder_of(name))) return {};
    const auto found = roles_.find({folder_of(name), stem_of(name)});
    if (found == roles_.end()) return {};
    const std::set<LayerRole>& roles = found->second;
    const bool board =
        std::any_of(roles.begin(), roles.end(), is_outer) && !std::all_of(roles.begin(), roles.end(), is_outer);
    return board ? found->first.second : std::string();
  }

 private:
  static bool is_outer(LayerRole role) { return role == LayerRole::copper_top || role == LayerRole::copper_bottom; }

  std::map<std::pair<std::string, std::string>, std::set<LayerRole>> roles_;  ///< by folder and stem
  std::set<std::string> several_;
};

std::vector<LayerSet> sets_of(std::vector<Recognised>& entries) {
  const Stems stems(entries);
  std::map<std::pair<std::string, std::string>, LayerSet> by_folder;
  for (Recognised& entry : entries) {
    if (entry.kind != FileKind::gerber || entry.gerber.objects.empty()) continue;
    const std::string folder = folder_of(entry.file->name), stem = stems.of(entry.file->name);
    LayerSet& set = by_folder[{folder, stem}];
    set.folder = folder;
    set.stem = stem;
    set.layers.push_back(&entry);
    set.date = std::max(set.date, entry.gerber.file_attribute(".CreationDate"));
    const std::optional<LayerRole> role = stated_role(entry);
    if (!role) continue;
    set.roles.insert(*role);
    if (role != LayerRole::copper_top && role != LayerRole::copper_bottom) continue;
    const std::vector<Point> flashes = flash_centres(entry.gerber);
    set.flashes.insert(set.flashes.end(), flashes.begin(), flashes.end());
    for (const Point p : flashes) set.box.add(p);
  }
  std::vector<LayerSet> sets;
  for (auto& [key, set] : by_folder)
    if (set.roles.count(LayerRole::copper_top) || set.roles.count(LayerRole::copper_bottom))
      sets.push_back(std::move(set));
  return sets;
}

/// The least share at which a netlist counts as that of a set.
constexpr double kFits = 0.8;

double share_of(const formats::Netlist& netlist, const LayerSet& set) {
  std::vector<Point> points;
  for (const auto& record : netlist.records)
    if (!record.continuation) points.push_back(record.at.point());
  return points.size() < 3 || set.flashes.size() < 3 ? 0 : fit_offset(points, set.flashes).share;
}

std::string described(const LayerSet& set) {
  std::string text = shown(set.folder) + (set.stem.empty() ? "" : ", files named " + set.stem + "...") + ": " +
                     std::to_string(set.layers.size()) + " layers";
  if (set.box.valid())
    text += ", pads over " + short_number(set.box.width(), 1) + " x " + short_number(set.box.height(), 1) + " mm";
  if (!set.date.empty()) text += ", written " + set.date.substr(0, 10);
  if (set.share > 0) text += ", " + percent(set.share) + " of the netlist's pads meet its copper";
  return text;
}

/// By the netlist, then by how much of a board is there, then by date.
bool comes_before(const LayerSet& a, const LayerSet& b) {
  if ((a.share >= kFits) != (b.share >= kFits)) return a.share >= kFits;
  if (a.roles.size() != b.roles.size()) return a.roles.size() > b.roles.size();
  if (a.date != b.date) return a.date > b.date;
  if (a.packed != b.packed) return b.packed;
  return a.layers.size() > b.layers.size();
}
}  // namespace

/// Several folders with outer copper of their own are several boards or revisions. One is taken, with its evidence.
void Recogniser::sets() {
  std::vector<LayerSet> sets = sets_of(entries_);
  if (sets.size() < 2) return;
  const Stems stems(entries_);
  for (LayerSet& set : sets) set.packed = !archive_of(*set.layers[0]->file).empty();
  for (LayerSet& set : sets)
    for (const Recognised& entry : entries_)
      if (entry.kind == FileKind::netlist) set.share = std::max(set.share, share_of(entry.netlist, set));
  std::stable_sort(sets.begin(), sets.end(), comes_before);
  std::string rivals;
  for (std::size_t i = 1; i < sets.size(); ++i) {
    rivals += (i > 1 ? "; " : "") + described(sets[i]);
    for (Recognised& entry : entries_) {
      const std::string& name = entry.file->name;
      if (sets[i].folder == sets[0].folder) {
        // One folder: its files go by their stems, and what belongs to neither is shared.
        if (of_a_set(entry.kind) && folder_of(name) == sets[i].folder && stems.of(name) == sets[i].stem &&
            sets[i].stem != sets[0].stem)
          leave_out(entry, "of another set of layers, named " + sets[i].stem);
        continue;
      }
      if (!of_a_set(entry.kind) || !within(name, sets[i].folder) || folder_of(name) == sets[0].folder) continue;
      // A folder inside the rejected one that is the chosen one, or holds it, stays.
      if (within(sets[0].folder, sets[i].folder) && within(name, sets[0].folder)) continue;
      if (sets[i].folder.empty() && !folder_of(name).empty()) continue;
      leave_out(entry, "of another set of layers, in " + shown(sets[i].folder));
    }
  }
  evidence("board").push_back("CHECK: the folder holds several sets of layers. Taken: " + described(sets[0]) +
                              ". Left out: " + rivals +
                              ". To take another one, run  teasel start  on its folder alone");
  diagnostics_.warn({.code = "start-several-sets",
                     .at = {sets[1].layers[0]->file->name, 0, 0, {}},
                     .message = "the folder holds several sets of layers: revisions, or a panel beside its board",
                     .found = described(sets[0]) + " is taken; left out: " + rivals,
                     .remedy = "to take another one, run  teasel start  on its folder alone"});
}

/// Of several netlists the one that meets the copper best is taken.
void Recogniser::one_netlist() {
  std::vector<Recognised*> lists;
  for (auto& entry : entries_)
    if (entry.kind == FileKind::netlist) lists.push_back(&entry);
  if (lists.size() < 2) return;
  LayerSet whole;
  for (LayerSet& set : sets_of(entries_))
    whole.flashes.insert(whole.flashes.end(), set.flashes.begin(), set.flashes.end());
  std::vector<std::pair<double, Recognised*>> ranked;
  for (Recognised* list : lists) ranked.emplace_back(share_of(list->netlist, whole), list);
  std::stable_sort(ranked.begin(), ranked.end(), [](const auto& a, const auto& b) {
    if (std::abs(a.first - b.first) > 0.02) return a.first > b.first;
    return a.second->netlist.records.size() > b.second->netlist.records.size();
  });
  std::string others;
  for (std::size_t i = 1; i < ranked.size(); ++i) {
    Recognised& entry = *ranked[i].second;
    others += (i > 1 ? ", " : "") + entry.file->name + " (" + percent(ranked[i].first) + ", " +
              std::to_string(entry.netlist.records.size()) + " records)";
    entry.kind = FileKind::other;
    entry.why = "another netlist; " + ranked[0].second->file->name + " is taken";
  }
  const std::string taken = ranked[0].second->file->name + " (" + percent(ranked[0].first) +
                            " of its pads meet the copper, " +
                            std::to_string(ranked[0].second->netlist.records.size()) + " records)";
  evidence("inputs.netlist.file")
      .push_back("CHECK: the folder holds several netlists. Taken: " + taken + ". Left out: " + others);
  diagnostics_.warn({.code = "start-two-netlists",
                     .at = {ranked[1].second->file->name, 0, 0, {}},
                     .message = "the folder holds several netlists. The one that meets the copper best is taken",
                     .found = taken + "; left out: " + others,
                     .remedy = "if another one is right, name it in  [inputs.netlist] file"});
}

}  // namespace teasel
