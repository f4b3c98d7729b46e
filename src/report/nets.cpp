// Traced nets and their differences from the netlist, as lists.
#include <algorithm>
#include <map>
#include <set>

#include "text.h"

namespace teasel {

std::string nets_csv(const Board& board) {
  Csv::Text csv =
      "number,name,name_from,other_names,anchor_x_mm,anchor_y_mm,anchor_layer,lands,plated_holes,netlist_nets,netlist_"
      "spellings\n";
  if (!board.connectivity.copper) return csv.text();
  for (const CopperNet& traced : board.connectivity.copper->nets()) {
    const CopperNetId i = CopperNetId::of_number(traced.number - 1);
    const bool met = board.connectivity.netlist_nets.has(i) && !board.connectivity.netlist_nets[i].empty();
    if (traced.drawn_only() && !met) continue;  // lettering and frames
    std::string others;
    for (const auto& other : traced.other_names) others += (others.empty() ? "" : ";") + other;
    std::string listed, spellings;
    if (board.connectivity.netlist_nets.has(i))
      for (const NetId net : board.connectivity.netlist_nets[i]) {
        const NetName& name = board.nets[net].name;
        listed += (listed.empty() ? "" : ";") + name;
        if (!name.other_spelling().empty()) spellings += (spellings.empty() ? "" : ";") + name.other_spelling();
      }
    csv += csv_row({std::to_string(traced.number), traced.name, traced.named ? "attribute" : "number", others,
                    fixed(traced.anchor.x, 3), fixed(traced.anchor.y, 3), std::to_string(traced.anchor_layer),
                    std::to_string(traced.lands), std::to_string(traced.holes), listed, spellings});
  }
  return csv.text();
}

std::string differences_csv(const Board& board) {
  Csv::Text csv = "kind,net,other_net,at,x_mm,y_mm,side,other_at,other_x_mm,other_y_mm,other_side\n";
  for (const NetDifference& difference : board.connectivity.differences)
    csv += csv_row({difference.open ? "open" : "short", difference.net, difference.other, difference.at_name,
                    fixed(difference.at.x, 3), fixed(difference.at.y, 3), to_string(difference.side),
                    difference.other_name, fixed(difference.other_at.x, 3), fixed(difference.other_at.y, 3),
                    to_string(difference.other_side)});
  return csv.text();
}

std::vector<std::string> nets_lines(const Board& board) {
  std::vector<std::string> lines;
  const Connectivity& connectivity = board.connectivity;
  if (!connectivity.copper) return {"no outer copper layer is given, so no net can be traced"};
  std::size_t named = 0, split = 0;
  std::size_t drawn = 0;
  for (const CopperNet& traced : connectivity.copper->nets()) {
    named += traced.named;
    split += !traced.other_names.empty();
    drawn += traced.drawn_only();
  }
  lines.push_back(std::to_string(connectivity.copper->nets().size() - drawn) + " nets traced through " +
                  std::to_string(connectivity.copper->layers().size()) + " of " + std::to_string(board.copper_layers) +
                  " copper layers and " + std::to_string(board.holes.size()) + " holes; " + std::to_string(named) +
                  " named by attributes" + (split ? ", " + std::to_string(split) + " with more than one name" : ""));
  if (!connectivity.missing_layers.empty()) {
    std::string list;
    for (int number : connectivity.missing_layers) list += (list.empty() ? "" : ", ") + std::to_string(number);
    lines.push_back("layers without a file: " + list + "; no opens are claimed");
  }
  if (board.traced) {
    lines.push_back("no netlist is given, so there is nothing to compare with");
    return lines;
  }
  lines.push_back(std::to_string(connectivity.agreeing) + " of " + std::to_string(connectivity.compared) +
                  " netlist nets agree with the copper");
  const auto respelled = std::count_if(board.nets.begin(), board.nets.end(),
                                       [](const Net& net) { return !net.name.other_spelling().empty(); });
  if (respelled > 0)
    lines.push_back(std::to_string(respelled) +
                    " nets have two spellings, one of the netlist and one of the layers. Either may be used in the job "
                    "file; nets.csv lists both");
  for (const NetDifference& difference : connectivity.differences)
    lines.push_back(std::string(difference.open ? "open   " : "short  ") + difference.net +
                    (difference.open ? "" : " = " + difference.other) + ": " + difference.at_name + " at (" +
                    fixed(difference.at.x, 3) + ", " + fixed(difference.at.y, 3) + ") " + to_string(difference.side) +
                    ", " + difference.other_name + " at (" + fixed(difference.other_at.x, 3) + ", " +
                    fixed(difference.other_at.y, 3) + ") " + to_string(difference.other_side));
  return lines;
}

}  // namespace teasel
