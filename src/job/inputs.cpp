// Reads [inputs] of a job file.
#include <charconv>

#include "read_parts.h"

namespace teasel {

namespace {
void read_netlist_input(TomlTable& inputs, Job& job) {
  inputs.table("netlist", [&](TomlTable& netlist) {
    job.inputs.netlist_file = netlist.text("file");
    job.inputs.netlist_unit = netlist.choice_or_nothing("unit");
    job.inputs.netlist_mask = netlist.choice_or_nothing("mask_field");
    job.inputs.netlist_offset = netlist.point("offset");
  });
}

void read_gerbers(TomlTable& inputs, Job& job) {
  inputs.tables("gerber", [&](TomlTable& entry) {
    GerberInput in;
    in.file = entry.text("file");
    const std::string role = entry.text("role", "ignore");
    if (const auto known = layer_role(role))
      in.role = *known;
    else
      entry.error("role", "this is no role of a layer", role,
                  "copper top, copper bottom, copper inner, mask top, mask bottom, paste top, paste bottom, silk top, "
                  "silk bottom, outline, flex, rigid, stiffener, drawing or ignore");
    const std::string image = entry.choice_or_nothing("image");
    const bool copper =
        in.role == LayerRole::copper_top || in.role == LayerRole::copper_bottom || in.role == LayerRole::copper_inner;
    if (!image.empty() && copper != (image == "copper" || image == "clearances"))
      entry.error("image", "this image does not fit the layer's role", image,
                  copper ? "copper or clearances" : "openings or mask");
    in.mask_image_inverted = image == "mask";
    in.clearances = image == "clearances";
    in.layer = entry.whole("layer");
    in.unit = entry.choice_or_nothing("unit");
    in.place = entry.place("file");
    job.inputs.gerbers.push_back(std::move(in));
  });
}

void read_drills(TomlTable& inputs, Job& job) {
  inputs.tables("drill", [&](TomlTable& entry) {
    DrillInput in;
    in.file = entry.text("file");
    in.unit = entry.choice_or_nothing("unit");
    in.zeros = entry.choice_or_nothing("zeros");
    in.digits = entry.text("digits");
    if (!in.digits.empty() && !(in.digits.size() == 3 && in.digits[1] == '.' && in.digits[0] >= '0' &&
                                in.digits[0] <= '8' && in.digits[2] >= '0' && in.digits[2] <= '8'))
      entry.error("digits", "the number of digits before and after the point is expected", in.digits,
                  "such as \"2.5\"");
    in.plating = entry.choice_or_nothing("plating");
    in.offset = entry.point("offset");
    in.first_layer = entry.whole("first_layer");
    in.last_layer = entry.whole("last_layer");
    entry.table("tools", [&](TomlTable& tools) {
      tools.each([&](const std::string& key) {
        int number{};
        const auto diameter = tools.length(key);
        if (key.size() < 2 || key[0] != 'T' ||
            std::from_chars(key.data() + 1, key.data() + key.size(), number).ec != std::errc{})
          return tools.error(key, "a tool name is expected", key, "such as T1");
        if (diameter) in.tools[number] = *diameter;
      });
    });
    in.place = entry.place("file");
    job.inputs.drills.push_back(std::move(in));
  });
}

void read_part_files(TomlTable& inputs, Job& job) {
  inputs.table("placement", [&](TomlTable& table) {
    job.inputs.placement_files = table.texts("files");
    job.inputs.placement_unit = table.choice_or_nothing("unit");
    job.inputs.placement_offset = table.point("offset");
    job.inputs.placement_bottom = table.choice_or_nothing("bottom");
    job.inputs.placement_bottom_offset = table.point("bottom_offset");
  });
  inputs.table("ipc2581", [&](TomlTable& cad) {
    job.inputs.cad_file = cad.text("file");
    job.inputs.cad_step = cad.text("step");
    job.inputs.cad_variant = cad.text("variant");
    job.inputs.cad_mask = cad.choice_or_nothing("mask_image");
  });
  inputs.table("idf", [&](TomlTable& idf) {
    job.inputs.idf_board = idf.text("board");
    job.inputs.idf_library = idf.text("library");
    job.inputs.idf_offset = idf.point("offset");
  });
  inputs.table("bom", [&](TomlTable& bom) {
    job.inputs.bom_file = bom.text("file");
    job.inputs.bom_variant = bom.text("variant");
  });
  inputs.tables("bsdl", [&](TomlTable& entry) {
    BsdlInput in{entry.text("file"), entry.text("component"), entry.text("package"), entry.place("file")};
    if (in.file.empty() || in.component.empty())
      entry.error("component", "a boundary-scan description needs a file and a component",
                  in.file + " / " + in.component, "file and component");
    job.inputs.bsdl.push_back(std::move(in));
  });
}

/// Files of which a job says no more than their name.
void read_lone_files(TomlTable& inputs, Job& job) {
  for (const Option& row : job_options()) {
    if (!row.lone_file) continue;
    const std::string key = row.path;  // "inputs.heights.file"
    const std::size_t from = key.find('.') + 1;
    inputs.table(key.substr(from, key.rfind('.') - from), [&](TomlTable& table) {
      if (std::string file = table.text("file"); !file.empty()) job.inputs.lone_files[key] = std::move(file);
    });
  }
}

void read_bench_files(TomlTable& inputs, Job& job) {
  inputs.table("pads", [&](TomlTable& table) { job.inputs.pads_file = table.text("file"); });
  inputs.table("references", [&](TomlTable& table) {
    job.inputs.references_file = table.text("file");
    job.inputs.photo_model = table.choice_or_nothing("model");
    job.inputs.reference_error = table.length("least_error").value_or(job.inputs.reference_error);
    if (job.inputs.reference_error.v < 0.001 || job.inputs.reference_error.v > 5)
      table.error("least_error", "the least error of a reading is out of range",
                  short_number(job.inputs.reference_error.v, 4) + " mm", "0.001 to 5 mm");
  });
  inputs.table("continuity", [&](TomlTable& continuity) {
    job.inputs.continuity_file = continuity.text("file");
    job.inputs.joined_below = continuity.amount<Ohms>("joined_below_ohm");
    job.inputs.open_above = continuity.amount<Ohms>("open_above_ohm");
    if (job.inputs.open_above < job.inputs.joined_below)
      continuity.error("open_above_ohm", "the limit for open pads must not lie below the limit for joined pads",
                       short_number(job.inputs.open_above.v, 3), "joined_below_ohm or more");
  });
}

void read_outline(TomlTable& inputs, Job& job) {
  inputs.table("outline", [&](TomlTable& outline) {
    job.inputs.outline_file = outline.text("file");
    job.inputs.outline_polygon = outline.points("polygon");
    if (!job.inputs.outline_polygon.empty() && job.inputs.outline_polygon.size() < 3)
      outline.error("polygon", "an outline needs three corners or more",
                    std::to_string(job.inputs.outline_polygon.size()), "three or more");
    job.inputs.outline_choice = outline.whole("choice");
    job.inputs.outline_area = outline.amount<Mm2>("area_mm2");
  });
}
}  // namespace

std::string JobInputs::lone_file(const std::string& key) const {
  const auto file = lone_files.find(key);
  return file == lone_files.end() ? "" : file->second;
}

void read_inputs(TomlTable& inputs, Job& job) {
  read_netlist_input(inputs, job);
  read_gerbers(inputs, job);
  read_drills(inputs, job);
  read_part_files(inputs, job);
  read_lone_files(inputs, job);
  read_bench_files(inputs, job);
  read_outline(inputs, job);
}

}  // namespace teasel
