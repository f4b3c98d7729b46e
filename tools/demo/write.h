// Release files of the demo board, as text.
#pragma once
#include <map>
#include <string>

#include "design.h"
#include "route.h"

namespace demo {
/// File name to bytes.
std::map<std::string, std::string> release(const Design& design, const Routes& routes);
/// Board and library of bodies, by file name; part of the release.
std::map<std::string, std::string> idf(const Design& design);
/// Boundary-scan descriptions of its two large devices; part of the release.
std::map<std::string, std::string> bsdl(const Design& design);
/// The same board in one file, instead of a release.
std::string ipc2581(const Design& design, const Routes& routes);
}  // namespace demo
