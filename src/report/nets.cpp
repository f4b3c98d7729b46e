// Traced nets and their differences from the netlist, as lists.
#include <map>
#include <set>

#include "text.h"

namespace teasel {

std::string nets_csv(const Board& b) {
  std::string s =
      "number,name,name_from,other_names,anchor_x_mm,anchor_y_mm,anchor_layer,lands,plated_holes,netlist_nets\n";
  if (!b.connectivity.copper) return s;
  for (const CopperNet& n : b.connectivity.copper->nets()) {
    const std::size_t i = static_cast<std::size_t>(n.number - 1);
    const bool met = i < b.connectivity.netlist_nets.size() && !b.connectivity.netlist_nets[i].empty();
    if (n.drawn_only() && !met) continue;  // lettering and frames
    std::string others;
    for (const auto& o : n.other_names) others += (others.empty() ? "" : ";") + o;
    std::string listed;
    if (i < b.connectivity.netlist_nets.size())
      for (int net : b.connectivity.netlist_nets[i])
        listed += (listed.empty() ? "" : ";") + b.nets[static_cast<std::size_t>(net)].name;
    s += csv_row({std::to_string(n.number), n.name, n.named ? "attribute" : "number", others, fixed(n.anchor.x, 3),
                  fixed(n.anchor.y, 3), std::to_string(n.anchor_layer), std::to_string(n.lands),
                  std::to_string(n.holes), listed});
  }
  return s;
}

std::string differences_csv(const Board& b) {
  std::string s = "kind,net,other_net,at,x_mm,y_mm,side,other_at,other_x_mm,other_y_mm,other_side\n";
  for (const NetDifference& n : b.connectivity.differences)
    s += csv_row({n.open ? "open" : "short", n.net, n.other, n.at_name, fixed(n.at.x, 3), fixed(n.at.y, 3),
                  to_string(n.side), n.other_name, fixed(n.other_at.x, 3), fixed(n.other_at.y, 3),
                  to_string(n.other_side)});
  return s;
}

std::vector<std::string> nets_lines(const Board& b) {
  std::vector<std::string> lines;
  const Connectivity& c = b.connectivity;
  if (!c.copper) return {"no outer copper layer is given: no net can be traced"};
  std::size_t named = 0, split = 0;
  std::size_t drawn = 0;
  for (const CopperNet& n : c.copper->nets()) {
    named += n.named;
    split += !n.other_names.empty();
    drawn += n.drawn_only();
  }
  lines.push_back(std::to_string(c.copper->nets().size() - drawn) + " nets traced through " +
                  std::to_string(c.copper->layers().size()) + " of " + std::to_string(b.copper_layers) +
                  " copper layers and " + std::to_string(b.holes.size()) + " holes; " + std::to_string(named) +
                  " named by attributes" + (split ? ", " + std::to_string(split) + " with more than one name" : ""));
  if (!c.missing_layers.empty()) {
    std::string list;
    for (int n : c.missing_layers) list += (list.empty() ? "" : ", ") + std::to_string(n);
    lines.push_back("layers without a file: " + list + "; no opens are claimed");
  }
  if (b.traced) {
    lines.push_back("no netlist is given: nothing to compare with");
    return lines;
  }
  lines.push_back(std::to_string(c.agreeing) + " of " + std::to_string(c.compared) +
                  " netlist nets agree with the copper");
  for (const NetDifference& n : c.differences)
    lines.push_back(std::string(n.open ? "open   " : "short  ") + n.net + (n.open ? "" : " = " + n.other) + ": " +
                    n.at_name + " at (" + fixed(n.at.x, 3) + ", " + fixed(n.at.y, 3) + ") " + to_string(n.side) + ", " +
                    n.other_name + " at (" + fixed(n.other_at.x, 3) + ", " + fixed(n.other_at.y, 3) + ") " +
                    to_string(n.other_side));
  return lines;
}

}  // namespace teasel
