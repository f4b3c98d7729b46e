// Least distances between probes.
#include <catch2/catch.hpp>

#include "teasel/plan.h"

using namespace teasel;

TEST_CASE("least distances: mean of the spacings, or hole radii and web where that is more (common practice)") {
  Catalogue catalogue;
  Rules rules;
  rules.web = Mm{0.25};
  rules.web_smallest_class = Mm{0.2};
  auto add = [&](double spacing, double hole) {
    ProbeClass probe;
    probe.spacing = Mm{spacing};
    probe.receptacle_drill = Mm{hole};
    catalogue.classes.push_back(probe);
  };
  add(2.54, 1.7);
  add(1.27, 1.0);
  add(0.99, 0.9);
  CHECK(least_distance_nm(catalogue, rules, ClassId{0}, ClassId{0}) == 2'540'000);
  CHECK(least_distance_nm(catalogue, rules, ClassId{0}, ClassId{1}) == 1'905'000);
  CHECK(least_distance_nm(catalogue, rules, ClassId{2}, ClassId{2}) == 1'100'000);  // 0.9 + 0.2 web beats 0.99
  CHECK(least_distance_nm(catalogue, rules, ClassId{1}, ClassId{2}) == 1'200'000);  // 0.95 + 0.25 web beats 1.13
}
