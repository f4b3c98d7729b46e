// Pieces of plan.json and summary.json, each written by the file of its subject.
#pragma once
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "text.h"

namespace teasel::json {
using Json = nlohmann::ordered_json;

inline double mm(double value) {
  const double result = std::round(value * 1e6) / 1e6;  // 1 nm
  return result == 0 ? 0 : result;
}
template <class Tag>
double mm(Amount<Tag> amount) {
  return mm(amount.v);
}
inline Json point(Point place) {
  return Json::array({mm(place.x), mm(place.y)});
}

/// json_cost.cpp
Json probe_cost_json(const ProbeCost& cost);
Json cost_json(const Breakdown& cost);
Json cost_json(const Outcome& outcome);

/// json_build.cpp. `folder`: where the plates' files lie in the output.
Json plates_json(const Outcome& outcome, const std::vector<Plate>& list, const std::string& folder);
Json mechanics_json(const Outcome& outcome);

/// json_audit.cpp. Everything of the audit but its lists of parts and pins, which have files of their own.
Json audit_json(const Outcome& outcome);

}  // namespace teasel::json
