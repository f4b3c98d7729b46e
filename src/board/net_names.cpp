// Names of nets from the fullest source: netlists cut long names and change their letters, layers and IPC-2581 files
// spell them out. Which name belongs to which is told by the pads that both know.
#include <algorithm>
#include <cctype>
#include <map>
#include <set>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr std::size_t kFullField = 14;  // letters of a net name in IPC-D-356

/// By net of the netlist: the names that its pads carry elsewhere, each with a pad that says so.
using Told = std::map<NetId, std::map<std::string, FeatureId>>;

bool is_name(const std::string& name) {
  return !name.empty() && name != "N/C";
}

/// Names on the flashes of outer copper.
void told_by_layers(const Board& board, const Layers& layers, Told& told) {
  constexpr Mm kNear{0.02};
  for (const FeatureId id : board.features.ids()) {
    const Feature& feature = board.features[id];
    if (!feature.net || board.nets[feature.net].unconnected) continue;
    for (const Side side : kBothSides) {
      if (!feature.land[side].present) continue;
      for (const LayerImage& image : layers.copper[side])
        if (const auto* flash = image.flash_at(feature.at, kNear)) {
          const formats::GerberAttributes& attributes = image.file().attributes[flash->attributes];
          if (attributes.has_net && is_name(attributes.net)) told[feature.net].emplace(attributes.net, id);
        }
    }
  }
}

/// Names of the lands of an IPC-2581 file, for nets of which no layer knows one.
void told_by_cad(const Board& board, const formats::Netlist& cad, Told& told) {
  PerSide<PointGrid> grid{{PointGrid(0.1), PointGrid(0.1)}};
  for (std::size_t i = 0; i < cad.records.size(); ++i) {
    const formats::NetlistRecord& record = cad.records[i];
    if (record.unconnected || !is_name(record.net)) continue;
    const BoardPoint at = netlist_shift({})(record.at);
    if (record.access <= 1) grid[Side::top].add(at, static_cast<int>(i));
    if (record.access != 1) grid[Side::bottom].add(at, static_cast<int>(i));
  }
  Told more;
  for (const FeatureId id : board.features.ids()) {
    const Feature& feature = board.features[id];
    if (!feature.net || board.nets[feature.net].unconnected || told.count(feature.net)) continue;
    for (const Side side : kBothSides)
      if (feature.land[side].present)
        if (const int i = grid[side].nearest(feature.at, 0.02); i >= 0)
          more[feature.net].emplace(cad.records[static_cast<std::size_t>(i)].net, id);
  }
  told.merge(more);
}

/// As writers of netlists change a name: capitals only, and a question mark for what is not printed in ASCII.
std::string as_in_netlists(const std::string& name) {
  std::string out;
  for (const char letter : name) {
    const auto code = static_cast<unsigned char>(letter);
    out += code > ' ' && code < 127 ? static_cast<char>(std::toupper(code)) : '?';
  }
  return out;
}
bool has_small_letters(const std::string& name) {
  return std::any_of(name.begin(), name.end(), [](unsigned char letter) { return std::islower(letter) != 0; });
}

/// Whether `told` spells out what `listed` cuts or changes.
bool is_fuller(const std::string& told, const std::string& listed) {
  const std::string changed = as_in_netlists(told), given = as_in_netlists(listed);
  if (changed == given) return has_small_letters(told) || !has_small_letters(listed);
  if (told.size() <= listed.size()) return false;
  return listed.size() == kFullField || listed.rfind("NNAME", 0) == 0 || changed.starts_with(given) ||
         changed.ends_with(given);
}

/// Nets whose pads carry several names, or that share one name: left as they are.
void drop_contradictions(const Board& board, Told& told, const Sources& sources, Diagnostics& diagnostics) {
  std::map<std::string, std::set<NetId>> nets_of;
  for (const auto& [net, names] : told)
    for (const auto& [name, feature] : names) nets_of[name].insert(net);
  Few found(5, "; ");
  std::set<NetId> dropped;
  for (const auto& [net, names] : told) {
    if (names.size() < 2) continue;
    dropped.insert(net);
    Few carried(3, ", ");
    for (const auto& [name, feature] : names) carried.add(name + " at " + board.features[feature].name);
    found.add(board.nets[net].name + " is " + carried.text());
  }
  for (const auto& [name, nets] : nets_of) {
    if (nets.size() < 2) continue;
    dropped.insert(nets.begin(), nets.end());
    Few listed(3, ", ");
    for (const NetId net : nets) listed.add(board.nets[net].name + " at " + board.features[told[net][name]].name);
    found.add(name + " is " + listed.text() + " in the netlist");
  }
  for (const NetId net : dropped) told.erase(net);
  if (!found.count()) return;
  diagnostics.warn({.code = "netlist-names-contradict",
                    .at = {sources.netlist_file, 0, 0, {}},
                    .message = "netlist and layers divide the pads among nets in different ways. Such nets keep the "
                               "names of the netlist",
                    .found = found.text(),
                    .remedy =
                        "give files of one release. Where two long names were cut to one, export the netlist with "
                        "other names or with aliases"});
}
/// Nets whose pads carry the name of another net of the netlist: wires by name would go to the wrong pads.
void check_exchanged(const Board& board, const Told& told, const Job& job, const Sources& sources,
                     Diagnostics& diagnostics) {
  std::map<std::string, NetId> listed_as;
  for (const NetId id : board.nets.ids())
    if (!board.nets[id].unconnected) listed_as.emplace(as_in_netlists(board.nets[id].name.text()), id);
  Few found(5, "; ");
  for (const auto& [net, names] : told) {
    const std::string &listed = board.nets[net].name.text(), &name = names.begin()->first;
    const auto meant = listed_as.find(as_in_netlists(name));
    if (meant == listed_as.end() || meant->second == net || is_fuller(name, listed)) continue;
    found.add(board.features[names.begin()->second].name + " is " + listed + " in the netlist and " + name +
              " in the other file");
  }
  if (!found.count()) return;
  complain(job, diagnostics,
           {.code = "netlist-names-exchanged",
            .at = {sources.netlist_file, 0, 0, {}},
            .message = "the pads of " + plural(found.count(), "net carry", "nets carry") +
                       " the name of another net of the netlist in the layers or the IPC-2581 file",
            .found = found.text(),
            .remedy = "find out which file is right, by the schematic and a meter: wires would go to the wrong pads"});
}
}  // namespace

void name_nets(Board& board, const Layers& layers, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  if (!sources.netlist) return;
  Told told;
  told_by_layers(board, layers, told);
  if (sources.cad) told_by_cad(board, sources.cad->netlist, told);
  drop_contradictions(board, told, sources, diagnostics);
  check_exchanged(board, told, job, sources, diagnostics);
  std::set<std::string> taken;
  for (const Net& net : board.nets) taken.insert(net.name.text());
  Few found(3, "; ");
  for (const auto& [id, names] : told) {
    Net& net = board.nets[id];
    const std::string listed = net.name.text(), &name = names.begin()->first;
    net.name_confirmed = name == listed || is_fuller(name, listed) || is_fuller(listed, name);
    if (name == listed || taken.count(name)) continue;
    // A schematic's name for a pin that nobody connected, as in the netlist's reader.
    if (net.pins < 2 && name.rfind("unconnected-(", 0) == 0) {
      net.unconnected = true;
      net.name = NetName("N/C");
      continue;
    }
    if (!is_fuller(name, listed)) {
      net.name = net.name.also_spelled(name);
      continue;
    }
    net.name = NetName(name).also_spelled(listed);
    if (listed.size() == kFullField && board.names_perhaps_cut > 0) --board.names_perhaps_cut;
    found.add(listed + " is " + name);
  }
  if (found.count())
    diagnostics.note({.code = "netlist-names-spelled-out",
                      .at = {sources.netlist_file, 0, 0, {}},
                      .message = "nets have the full names that other files give their pads. The job file may use the "
                                 "netlist's spelling as well",
                      .found = std::to_string(found.count()) + " nets: " + found.text()});
}

}  // namespace teasel
