// A job that states nothing, a Job as the program begins it, and the defaults of the option table are one and the same.
#include <catch2/catch.hpp>
#include <functional>
#include <map>
#include <set>

#include "teasel/job.h"

using namespace teasel;

namespace {
std::string yes_no(bool value) {
  return value ? "yes" : "no";
}

/// A default as a job holds it, in the words of the table.
const std::map<std::string, std::function<std::string(const Job&)>>& defaults() {
  static const std::map<std::string, std::function<std::string(const Job&)>> list = {
      {"board.finish",
       [](const Job& job) { return std::string(to_string(job.inputs.finish.value_or(Surface::unknown))); }},
      {"inputs.placement.bottom",
       [](const Job& job) {
         return job.inputs.placement_bottom.empty() ? "from the top" : job.inputs.placement_bottom;
       }},
      {"inputs.ipc2581.mask_image",
       [](const Job& job) { return job.inputs.cad_mask.empty() ? "openings" : job.inputs.cad_mask; }},
      {"inputs.references.model",
       [](const Job& job) { return job.inputs.photo_model.empty() ? "by the points" : job.inputs.photo_model; }},
      {"inputs.references.least_error",
       [](const Job& job) { return short_number(job.inputs.reference_error.v, 4) + " mm"; }},
      {"inputs.continuity.joined_below_ohm", [](const Job& job) { return short_number(job.inputs.joined_below.v, 4); }},
      {"inputs.continuity.open_above_ohm", [](const Job& job) { return short_number(job.inputs.open_above.v, 4); }},
      {"inputs.outline.choice", [](const Job& job) { return std::to_string(job.inputs.outline_choice); }},
      {"inputs.outline.area_mm2", [](const Job& job) { return short_number(job.inputs.outline_area.v, 4); }},
      {"gate.supplies", [](const Job& job) { return yes_no(job.wants.gate.supplies); }},
      {"kelvin.below_ohm", [](const Job& job) { return short_number(job.wants.kelvin_below.v, 4); }},
      {"panel.plans", [](const Job& job) { return std::string(job.panel.alike ? "alike" : "free"); }},
      {"fixture.catalogue", [](const Job& job) { return job.fixture.catalogue; }},
      {"fixture.rules", [](const Job& job) { return job.fixture.rules; }},
      {"fixture.interfaces", [](const Job& job) { return job.fixture.interfaces; }},
      {"fixture.style", [](const Job& job) { return job.fixture.style; }},
      {"fixture.prices", [](const Job& job) { return job.fixture.prices; }},
      {"fixture.supports",
       [](const Job& job) { return std::string(job.mechanics.lay_out_supports ? "laid out" : "by hand"); }},
      {"fixture.board_lies", [](const Job& job) { return job.fixture.board_lies; }},
      {"fixture.sides", [](const Job& job) { return job.fixture.sides; }},
      {"fixture.drill_face", [](const Job& job) { return job.fixture.drill_face; }},
      {"fixture.channels", [](const Job& job) { return std::to_string(job.fixture.channels); }},
      {"fixture.largest_force", [](const Job& job) { return short_number(job.fixture.largest_force.v, 4) + " N"; }},
      {"history.touches", [](const Job& job) { return short_number(job.history.touches, 4); }},
      {"history.contact_faults", [](const Job& job) { return short_number(job.history.faults, 4); }},
      {"mechanics.solve", [](const Job& job) { return yes_no(job.mechanics.used); }},
      {"plan.time_limit_s", [](const Job& job) { return short_number(job.effort.time_limit.v, 4); }},
      {"plan.boundary_scan",
       [](const Job& job) { return std::string(job.wants.scan_saves_probes ? "save probes" : "report"); }},
      {"plan.advice", [](const Job& job) { return yes_no(job.effort.advice); }},
      {"plan.proof", [](const Job& job) { return yes_no(job.effort.proof); }},
      {"plan.seed", [](const Job& job) { return std::to_string(job.effort.seed); }},
      {"plan.simulated_fixtures", [](const Job& job) { return std::to_string(job.effort.simulated_fixtures); }},
      {"plan.simulated_boards", [](const Job& job) { return std::to_string(job.effort.simulated_boards); }},
  };
  return list;
}

/// What a row gives is of another file, of the geometry, or of what is read first: no value that a job begins with.
const std::set<std::string> kElsewhere = {"schema",
                                          "panel.array.columns",
                                          "panel.array.rows",
                                          "panel.array.turn",
                                          "mechanics.modulus_gpa",
                                          "mechanics.modulus_across_gpa",
                                          "mechanics.bow_percent",
                                          "mechanics.strain_limit_ue"};
}  // namespace

TEST_CASE("a default of the option table is that of a job that states nothing (law: one value in one place)") {
  Diagnostics diagnostics;
  const Job read = read_job("[inputs.netlist]\nfile = \"a.ipc\"\n", "j.toml", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  const Job begun;
  for (const Option& row : job_options()) {
    const std::string path = row.path, type = row.type, standard = row.standard;
    const bool scalar = type == "text" || type == "number" || type == "whole" || type == "yes/no" || type == "length";
    if (!scalar || standard.empty() || path.find("[]") != std::string::npos || kElsewhere.count(path)) continue;
    INFO(path);
    const auto found = defaults().find(path);
    REQUIRE(found != defaults().end());
    CHECK(found->second(read) == standard);
    CHECK(found->second(begun) == standard);
  }
}
