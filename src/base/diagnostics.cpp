#include "teasel/diagnostics.h"

#include <utility>

#include "teasel/written.h"

namespace teasel {

namespace {
const char* name_of(Severity severity) {
  switch (severity) {
    case Severity::error: return "error";
    case Severity::warning: return "warning";
    case Severity::note: break;
  }
  return "note";
}
}  // namespace

void Diagnostics::add(Finding finding) {
  if (finding.severity == Severity::error) ++(finding.of_part ? spoiled_ : errors_);
  findings_.push_back(std::move(finding));
}
namespace {
Finding finding_of(Saying saying, Severity severity) {
  return {.code = std::move(saying.code),
          .severity = severity,
          .place = std::move(saying.at),
          .message = std::move(saying.message),
          .found = std::move(saying.found),
          .expected = std::move(saying.expected),
          .remedy = std::move(saying.remedy)};
}
}  // namespace

void Diagnostics::note(Saying saying) {
  add(finding_of(std::move(saying), Severity::note));
}
void Diagnostics::warn(Saying saying) {
  add(finding_of(std::move(saying), Severity::warning));
}
void Diagnostics::error(Saying saying) {
  add(finding_of(std::move(saying), Severity::error));
}
void Diagnostics::merge(const Diagnostics& other) {
  for (const auto& finding : other.all()) add(finding);
}

void Diagnostics::merge_part(const Diagnostics& part) {
  for (Finding finding : part.all()) {
    finding.of_part = finding.severity == Severity::error;
    add(std::move(finding));
  }
}

std::string to_string(const Place& place) {
  std::string text = place.file;
  if (place.line) text += ":" + std::to_string(place.line);
  if (place.line && place.column) text += ":" + std::to_string(place.column);
  if (!place.path.empty()) text += (text.empty() ? "" : ": ") + place.path;
  return text;
}

std::string to_string(const Finding& finding) {
  const std::string where = visible(to_string(finding.place));
  std::string text = (where.empty() ? "" : where + ": ") + name_of(finding.severity) + " " + finding.code + ": " +
                     visible(finding.message);
  const auto part = [&](const char* head, const std::string& said) {
    if (!said.empty()) text += head + visible(said);
  };
  part("\n  found     ", finding.found);
  part("\n  expected  ", finding.expected);
  part("\n  remedy    ", finding.remedy);
  return text;
}

}  // namespace teasel
