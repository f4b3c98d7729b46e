// Netlists that are tables: a row for each pin, with its net, its place and its side, as layout tools report them.
// Frame: the table's own origin, seen from the top side.
#pragma once
#include <string>
#include <string_view>

#include "teasel/diagnostics.h"
#include "teasel/formats/netlist.h"

namespace teasel::formats {

/// Columns for net, pin, x, y and side, and a unit in a header, in the cells or above the table. Pad lists of the bench
/// and lists that this program writes are none.
bool looks_like_net_table(std::string_view bytes);
/// What a table of nets lacks to be one of these, as the end of a sentence; empty: nothing, or it is no table of nets.
std::string incomplete_net_table(std::string_view bytes);
/// Errors: a place, a size or a side that cannot be read (the line is named); no pin at all.
Netlist read_net_table(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

}  // namespace teasel::formats
