// The job's [inputs].
#include <charconv>

#include "read_parts.h"

namespace teasel {

namespace {
void read_netlist_input(TomlTable& t, Job& job) {
  t.table("netlist", [&](TomlTable& n) {
    job.netlist_file = n.text("file");
    job.netlist_unit = n.choice("unit", {"0.0001 in", "0.001 mm"}, "");
    job.netlist_mask = n.choice("mask_field", {"open", "covered", "ignore"}, "");
    job.netlist_offset = n.point("offset");
  });
}

void read_gerbers(TomlTable& t, Job& job) {
  t.tables("gerber", [&](TomlTable& g) {
    GerberInput in;
    in.file = g.text("file");
    const std::string role = g.text("role", "ignore");
    if (auto r = layer_role(role))
      in.role = *r;
    else
      g.error("role", "unknown layer role", role,
              "copper top, copper bottom, copper inner, mask top, mask bottom, paste top, paste bottom, silk top, silk "
              "bottom, outline, drawing or ignore");
    const std::string image = g.choice("image", {"openings", "mask", "copper", "clearances"}, "");
    const bool copper =
        in.role == LayerRole::copper_top || in.role == LayerRole::copper_bottom || in.role == LayerRole::copper_inner;
    if (!image.empty() && copper != (image == "copper" || image == "clearances"))
      g.error("image", "this image does not go with the layer's role", image,
              copper ? "copper or clearances" : "openings or mask");
    in.mask_image_inverted = image == "mask";
    in.clearances = image == "clearances";
    in.layer = g.whole("layer", 0, 0, 99);
    in.unit = g.choice("unit", {"inch", "mm"}, "");
    in.place = g.place("file");
    job.gerbers.push_back(std::move(in));
  });
}

void read_drills(TomlTable& t, Job& job) {
  t.tables("drill", [&](TomlTable& g) {
    DrillInput in;
    in.file = g.text("file");
    in.unit = g.choice("unit", {"inch", "mm"}, "");
    in.zeros = g.choice("zeros", {"leading kept", "trailing kept"}, "");
    in.digits = g.text("digits");
    if (!in.digits.empty() && !(in.digits.size() == 3 && in.digits[1] == '.' && in.digits[0] >= '0' &&
                                in.digits[0] <= '8' && in.digits[2] >= '0' && in.digits[2] <= '8'))
      g.error("digits", "digits before and behind the point are expected", in.digits, "such as \"2.5\"");
    in.plating = g.choice("plating", {"plated", "unplated"}, "");
    in.offset = g.point("offset");
    in.first_layer = g.whole("first_layer", 0, 0, 99);
    in.last_layer = g.whole("last_layer", 0, 0, 99);
    g.table("tools", [&](TomlTable& tools) {
      tools.each([&](const std::string& key) {
        int n{};
        auto v = tools.length(key);
        if (key.size() < 2 || key[0] != 'T' ||
            std::from_chars(key.data() + 1, key.data() + key.size(), n).ec != std::errc{})
          return tools.error(key, "a tool name is expected", key, "such as T1");
        if (v) in.tools[n] = *v;
      });
    });
    in.place = g.place("file");
    job.drills.push_back(std::move(in));
  });
}

void read_part_files(TomlTable& t, Job& job) {
  t.table("placement", [&](TomlTable& p) {
    job.placement_files = p.texts("files");
    job.placement_unit = p.choice("unit", {"mm", "inch", "mil", "um"}, "");
    job.placement_offset = p.point("offset");
    job.placement_bottom = p.choice("bottom", {"from the top", "from the bottom"}, "");
    job.placement_bottom_offset = p.point("bottom_offset");
  });
  t.table("ipc2581", [&](TomlTable& c) {
    job.cad_file = c.text("file");
    job.cad_step = c.text("step");
    job.cad_variant = c.text("variant");
    job.cad_mask = c.choice("mask_image", {"openings", "mask"}, "");
  });
  t.table("idf", [&](TomlTable& i) {
    job.idf_board = i.text("board");
    job.idf_library = i.text("library");
    job.idf_offset = i.point("offset");
  });
  t.table("bom", [&](TomlTable& m) {
    job.bom_file = m.text("file");
    job.bom_variant = m.text("variant");
  });
  t.tables("bsdl", [&](TomlTable& g) {
    BsdlInput in{g.text("file"), g.text("component"), g.text("package"), g.place("file")};
    if (in.file.empty() || in.component.empty())
      g.error("component", "a boundary-scan description is bound to a component", in.file + " / " + in.component,
              "file and component");
    job.bsdl.push_back(std::move(in));
  });
  t.table("heights", [&](TomlTable& h) { job.heights_file = h.text("file"); });
}

void read_bench_files(TomlTable& t, Job& job) {
  t.table("pads", [&](TomlTable& p) { job.pads_file = p.text("file"); });
  t.table("references", [&](TomlTable& r) {
    job.references_file = r.text("file");
    job.photo_model = r.choice("model", {"similarity", "affine", "projective"}, "");
    job.reference_error = r.length("least_error").value_or(job.reference_error);
    if (job.reference_error.v < 0.001 || job.reference_error.v > 5)
      r.error("least_error", "the error of a reading is out of range", short_number(job.reference_error.v, 4) + " mm",
              "0.001 to 5 mm");
  });
  t.table("continuity", [&](TomlTable& c) {
    job.continuity_file = c.text("file");
    job.joined_below = c.number("joined_below_ohm", 5, 0.001, 1e6);
    job.open_above = c.number("open_above_ohm", 100, 0.001, 1e9);
    if (job.open_above < job.joined_below)
      c.error("open_above_ohm", "pads cannot be apart at less than what joins them", short_number(job.open_above, 3),
              "joined_below_ohm or more");
  });
}

void read_outline(TomlTable& t, Job& job) {
  t.table("outline", [&](TomlTable& o) {
    job.outline_file = o.text("file");
    job.outline_polygon = o.points("polygon");
    if (!job.outline_polygon.empty() && job.outline_polygon.size() < 3)
      o.error("polygon", "an outline needs three corners", std::to_string(job.outline_polygon.size()), "three or more");
    job.outline_choice = o.whole("choice", 1, 1, 100);
    job.outline_area = o.number("area_mm2", 0, 0, 1e9);
  });
}
}  // namespace

void read_inputs(TomlTable& t, Job& job) {
  read_netlist_input(t, job);
  read_gerbers(t, job);
  read_drills(t, job);
  read_part_files(t, job);
  read_bench_files(t, job);
  read_outline(t, job);
}

}  // namespace teasel
