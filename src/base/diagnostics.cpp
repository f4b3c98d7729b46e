#include "teasel/diagnostics.h"

#include <utility>

namespace teasel {

void Diagnostics::add(Finding f) {
  if (f.severity == Severity::error) ++errors_;
  findings_.push_back(std::move(f));
}
void Diagnostics::note(std::string code, Place at, std::string message, std::string found, std::string remedy) {
  add({std::move(code), Severity::note, std::move(at), std::move(message), std::move(found), {}, std::move(remedy)});
}
void Diagnostics::warn(std::string code, Place at, std::string message, std::string found, std::string remedy) {
  add({std::move(code), Severity::warning, std::move(at), std::move(message), std::move(found), {}, std::move(remedy)});
}
void Diagnostics::error(std::string code, Place at, std::string message, std::string found, std::string expected,
                        std::string remedy) {
  add({std::move(code), Severity::error, std::move(at), std::move(message), std::move(found), std::move(expected),
       std::move(remedy)});
}
void Diagnostics::merge(const Diagnostics& other) {
  for (const auto& f : other.all()) add(f);
}

std::string to_string(const Place& place) {
  std::string s = place.file;
  if (place.line) s += ":" + std::to_string(place.line);
  if (place.line && place.column) s += ":" + std::to_string(place.column);
  if (!place.path.empty()) s += (s.empty() ? "" : ": ") + place.path;
  return s;
}

std::string to_string(const Finding& f) {
  const char* kind = f.severity == Severity::error ? "error" : f.severity == Severity::warning ? "warning" : "note";
  std::string where = to_string(f.place);
  std::string s = (where.empty() ? "" : where + ": ") + kind + " " + f.code + ": " + f.message;
  if (!f.found.empty()) s += "\n  found     " + f.found;
  if (!f.expected.empty()) s += "\n  expected  " + f.expected;
  if (!f.remedy.empty()) s += "\n  remedy    " + f.remedy;
  return s;
}

}  // namespace teasel
