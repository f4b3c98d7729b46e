// A first job file for a folder of release files.
#include <algorithm>

#include "teasel/job.h"

namespace teasel {

namespace {
std::string quoted(std::string_view s) {
  std::string q = "\"";
  for (char c : s) {
    if (c == '"' || c == '\\') q += '\\';
    if (static_cast<unsigned char>(c) < 0x20) continue;
    q += c;
  }
  return q + "\"";
}
std::string mm(double v) {
  return quoted(short_number(v, 4) + " mm");
}
std::string point(Point p) {
  return "[" + mm(p.x) + ", " + mm(p.y) + "]";
}

class Writer {
 public:
  Writer(const Job& job, const std::map<std::string, std::vector<std::string>>& evidence)
      : job_(job), evidence_(evidence) {}
  std::string run() {
    head();
    netlist();
    gerbers();
    drills();
    cad();
    others();
    descriptions();
    bench();
    outline();
    rest();
    return out_;
  }

 private:
  void line(std::string_view s = {}) {
    out_ += s;
    out_ += '\n';
  }
  void comments(const std::string& key) {
    auto it = evidence_.find(key);
    if (it == evidence_.end()) return;
    for (const auto& l : it->second) line("# " + l);
  }
  void head() {
    line("# teasel job file, first draft. Every value below was inferred from the release files;");
    line("# the comment above a value is its evidence. Change a value to overrule it.");
    line("# `teasel check` tells what is understood, `teasel plan` plans the fixture.");
    line("schema = 1");
    line();
    line("[board]");
    comments("board");
    line("name = " + quoted(job_.name));
    line("revision = " + quoted(job_.revision));
    if (job_.thickness)
      line("thickness = " + mm(job_.thickness->v));
    else
      line("# CHECK no file states the thickness; 1.6 mm is taken:  thickness = \"1.6 mm\"");
    if (!job_.finish)
      line("# CHECK no file states what bare lands are finished with; tips and springs follow it:  finish = \"gold\"");
    if (job_.finish) line("finish = " + quoted(*job_.finish == Surface::soldered ? "solder" : to_string(*job_.finish)));
    comments("ignored");
  }
  void netlist() {
    if (job_.netlist_file.empty()) {
      comments("inputs.netlist.file");
      return;
    }
    line();
    line("[inputs.netlist]");
    comments("inputs.netlist.file");
    line("file = " + quoted(job_.netlist_file));
    comments("inputs.netlist.unit");
    if (!job_.netlist_unit.empty()) line("unit = " + quoted(job_.netlist_unit));
    comments("inputs.netlist.offset");
    if (job_.netlist_offset) line("offset = " + point(*job_.netlist_offset));
    comments("inputs.netlist.mask_field");
    if (!job_.netlist_mask.empty()) line("mask_field = " + quoted(job_.netlist_mask));
  }
  /// The head of an input given by one file: table, what was recognised, file.
  void file_table(const std::string& table, const std::string& file) {
    line();
    line("[" + table + "]");
    comments(table);
    line("file = " + quoted(file));
  }
  void gerbers() {
    for (const auto& g : job_.gerbers) {
      line();
      line("[[inputs.gerber]]");
      line("file = " + quoted(g.file));
      comments(g.file);
      line("role = " + quoted(to_string(g.role)));
      comments(g.file + "#image");
      if (g.role == LayerRole::mask_top || g.role == LayerRole::mask_bottom)
        line(std::string("image = ") + (g.mask_image_inverted ? "\"mask\"" : "\"openings\""));
      if (g.clearances) line("image = \"clearances\"");
      if (g.layer) line("layer = " + std::to_string(g.layer));
      if (!g.unit.empty()) line("unit = " + quoted(g.unit));
    }
  }
  void drills() {
    for (const auto& g : job_.drills) {
      line();
      line("[[inputs.drill]]");
      line("file = " + quoted(g.file));
      comments(g.file);
      if (!g.unit.empty()) line("unit = " + quoted(g.unit));
      if (!g.digits.empty()) line("digits = " + quoted(g.digits));
      if (!g.zeros.empty()) line("zeros = " + quoted(g.zeros));
      if (!g.plating.empty()) line("plating = " + quoted(g.plating));
      if (g.offset) line("offset = " + point(*g.offset));
      if (!g.tools.empty()) {
        std::string list;
        for (const auto& [number, diameter] : g.tools)
          list += (list.empty() ? "T" : ", T") + std::to_string(number) + " = " + mm(diameter.v);
        line("tools = { " + list + " }");
      }
      if (g.first_layer) {
        line("first_layer = " + std::to_string(g.first_layer));
        line("last_layer = " + std::to_string(g.last_layer));
      }
    }
  }
  void cad() {
    if (!job_.cad_file.empty()) {
      file_table("inputs.ipc2581", job_.cad_file);
      if (!job_.cad_step.empty()) line("step = " + quoted(job_.cad_step));
      if (!job_.cad_variant.empty()) line("variant = " + quoted(job_.cad_variant));
      if (!job_.cad_mask.empty()) line("mask_image = " + quoted(job_.cad_mask));
    }
    if (!job_.idf_board.empty()) {
      line();
      line("[inputs.idf]");
      comments("inputs.idf");
      line("board = " + quoted(job_.idf_board));
      if (!job_.idf_library.empty()) line("library = " + quoted(job_.idf_library));
      if (job_.idf_offset) line("offset = " + point(*job_.idf_offset));
    }
    if (!job_.bom_file.empty()) {
      file_table("inputs.bom", job_.bom_file);
      if (!job_.bom_variant.empty()) line("variant = " + quoted(job_.bom_variant));
    }
  }
  void descriptions() {
    for (const auto& g : job_.bsdl) {
      line();
      line("[[inputs.bsdl]]");
      line("file = " + quoted(g.file));
      comments(g.file);
      line("component = " + quoted(g.component));
    }
  }
  void others() {
    if (!job_.placement_files.empty()) {
      line();
      line("[inputs.placement]");
      comments("inputs.placement");
      std::string list;
      for (const auto& f : job_.placement_files) list += (list.empty() ? "" : ", ") + quoted(f);
      line("files = [" + list + "]");
      if (!job_.placement_unit.empty()) line("unit = " + quoted(job_.placement_unit));
      if (job_.placement_offset) line("offset = " + point(*job_.placement_offset));
      if (!job_.placement_bottom.empty()) line("bottom = " + quoted(job_.placement_bottom));
      if (job_.placement_bottom_offset) line("bottom_offset = " + point(*job_.placement_bottom_offset));
    }
    if (!job_.heights_file.empty()) file_table("inputs.heights", job_.heights_file);
    if (!job_.pads_file.empty()) file_table("inputs.pads", job_.pads_file);
  }
  void bench() {
    if (!job_.references_file.empty()) file_table("inputs.references", job_.references_file);
    if (!job_.continuity_file.empty()) {
      file_table("inputs.continuity", job_.continuity_file);
      line("joined_below_ohm = " + short_number(job_.joined_below, 3));
      line("open_above_ohm = " + short_number(job_.open_above, 3));
    }
  }
  void outline() {
    line();
    line("[inputs.outline]");
    comments("inputs.outline");
    if (job_.outline_file.empty()) return;
    line("file = " + quoted(job_.outline_file));
    line("choice = " + std::to_string(job_.outline_choice));
    if (job_.outline_area > 0) line("area_mm2 = " + short_number(job_.outline_area, 2));
  }
  void rest() {
    line();
    line("[components]");
    comments("components");
    line(std::string("not_fitted = []        # globs, such as \"J7\" or \"R9##\"; ") +
         (job_.bom_file.empty() && job_.cad_file.empty() ? "nothing but this list marks a part as not fitted"
                                                         : "beside what the bill of materials says"));
    line("# height = { U7 = \"2.1 mm\" }   # measured heights; what is not named is assumed by its reference letters");
    line("# side = { J1 = \"bottom\" }     # for parts with holes only, which are assumed on top");
    line();
    comments("need");
    line(
        "# Interfaces are recognised from names, pins and parts; `teasel audit` lists them. Confirm one, or give its "
        "lines:");
    line("# [[interface]]");
    line("# kind = \"1149.1\"");
    line("# mandatory = true");
    line("# [[interface]]");
    line("# kind = \"UART\"");
    line("# name = \"console\"");
    line("# lines = { TX = \"NET_A\", RX = \"NET_B\" }");
    line();
    line(
        "# What the test asks of single nets. The first entry that fits a net decides; nets without an entry get a "
        "role by");
    line(
        "# their interface, one probe if they have two pins or more, supplies and ground more. An unmet mandatory need "
        "gives");
    line("# exit status 2.");
    line("# [[need]]");
    line("# nets = \"SWD*\"");
    line("# role = \"programming\"");
    line("# wanted = 1");
    line("# mandatory = true");
    line();
    line("[fixture]");
    line("catalogue = \"standard\"   # or a TOML file of your own probes");
    line("rules = \"standard\"       # or a TOML file of your own rules");
    line("board_lies = \"auto\"      # \"bottom side down\" or \"top side down\"; auto takes the cheaper");
    line("sides = \"auto\"           # \"bottom\", \"top\" or \"both\"; auto compares all");
    line("drill_face = \"board\"     # the face each plate is drilled from: \"board\" or \"outer\" (wiring side)");
  }

  const Job& job_;
  const std::map<std::string, std::vector<std::string>>& evidence_;
  std::string out_;
};
}  // namespace

std::string write_first_job(const Job& job, const std::map<std::string, std::vector<std::string>>& evidence) {
  return Writer(job, evidence).run();
}

}  // namespace teasel
