// Writes a first job file for a folder of release files.
#include <algorithm>

#include "teasel/job.h"
#include "teasel/written.h"

namespace teasel {

namespace {
Toml::Text quoted(std::string_view text) {
  return Toml::text(text);
}
Toml::Text mm(double length) {
  return quoted(short_number(length, 4) + " mm");
}
Toml::Text point(Point p) {
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
    return out_.text();
  }

 private:
  void line(const Toml::Text& text = {}) {
    out_ += text;
    out_ += "\n";
  }
  void comments(const std::string& key) {
    auto it = evidence_.find(key);
    if (it == evidence_.end()) return;
    for (const auto& line_of_evidence : it->second) line(Toml::comment(line_of_evidence));
  }
  void head() {
    line("# First draft of a teasel job file. Every value below was inferred from the release files.");
    line("# The comment above a value is its evidence. Change the value to override it.");
    line("# `teasel check` shows how the files are understood, `teasel plan` plans the fixture.");
    line("schema = 1");
    line();
    line("[board]");
    comments("board");
    line("name = " + quoted(job_.name));
    line("revision = " + quoted(job_.revision));
    if (job_.inputs.thickness)
      line("thickness = " + mm(job_.inputs.thickness->v));
    else
      line("# CHECK No file states the thickness of the board. 1.6 mm is assumed:  thickness = \"1.6 mm\"");
    if (!job_.inputs.finish)
      line("# CHECK No file states the finish of bare lands, by which tips and springs are chosen:  finish = \"gold\"");
    if (job_.inputs.finish)
      line("finish = " + quoted(*job_.inputs.finish == Surface::soldered ? "solder" : to_string(*job_.inputs.finish)));
    comments("ignored");
  }
  void netlist() {
    if (job_.inputs.netlist_file.empty()) {
      comments("inputs.netlist.file");
      return;
    }
    line();
    line("[inputs.netlist]");
    comments("inputs.netlist.file");
    line("file = " + quoted(job_.inputs.netlist_file));
    comments("inputs.netlist.unit");
    if (!job_.inputs.netlist_unit.empty()) line("unit = " + quoted(job_.inputs.netlist_unit));
    comments("inputs.netlist.offset");
    if (job_.inputs.netlist_offset) line("offset = " + point(*job_.inputs.netlist_offset));
    comments("inputs.netlist.mask_field");
    if (!job_.inputs.netlist_mask.empty()) line("mask_field = " + quoted(job_.inputs.netlist_mask));
  }
  /// The head of an input given by one file: table, what was recognised, file.
  void file_table(const char* table, const std::string& file) {
    line();
    line(Toml::Text("[") + table + "]");
    comments(table);
    line("file = " + quoted(file));
  }
  void gerbers() {
    for (const auto& layer : job_.inputs.gerbers) {
      line();
      line("[[inputs.gerber]]");
      line("file = " + quoted(layer.file));
      comments(layer.file);
      line("role = " + quoted(to_string(layer.role)));
      comments(layer.file + "#image");
      if (layer.role == LayerRole::mask_top || layer.role == LayerRole::mask_bottom)
        line(Toml::Text("image = ") + (layer.mask_image_inverted ? "\"mask\"" : "\"openings\""));
      if (layer.clearances) line("image = \"clearances\"");
      if (layer.layer) line("layer = " + Toml::whole(layer.layer));
      if (!layer.unit.empty()) line("unit = " + quoted(layer.unit));
    }
  }
  void drills() {
    for (const auto& drill : job_.inputs.drills) {
      line();
      line("[[inputs.drill]]");
      line("file = " + quoted(drill.file));
      comments(drill.file);
      if (!drill.unit.empty()) line("unit = " + quoted(drill.unit));
      if (!drill.digits.empty()) line("digits = " + quoted(drill.digits));
      if (!drill.zeros.empty()) line("zeros = " + quoted(drill.zeros));
      if (!drill.plating.empty()) line("plating = " + quoted(drill.plating));
      if (drill.offset) line("offset = " + point(*drill.offset));
      if (!drill.tools.empty()) {
        Toml::Text list;
        for (const auto& [number, diameter] : drill.tools)
          list += (list.empty() ? "T" : ", T") + Toml::whole(number) + " = " + mm(diameter.v);
        line("tools = { " + list + " }");
      }
      if (drill.first_layer) {
        line("first_layer = " + Toml::whole(drill.first_layer));
        line("last_layer = " + Toml::whole(drill.last_layer));
      }
    }
  }
  void cad() {
    if (!job_.inputs.cad_file.empty()) {
      file_table("inputs.ipc2581", job_.inputs.cad_file);
      if (!job_.inputs.cad_step.empty()) line("step = " + quoted(job_.inputs.cad_step));
      if (!job_.inputs.cad_variant.empty()) line("variant = " + quoted(job_.inputs.cad_variant));
      if (!job_.inputs.cad_mask.empty()) line("mask_image = " + quoted(job_.inputs.cad_mask));
    }
    if (!job_.inputs.idf_board.empty()) {
      line();
      line("[inputs.idf]");
      comments("inputs.idf");
      line("board = " + quoted(job_.inputs.idf_board));
      if (!job_.inputs.idf_library.empty()) line("library = " + quoted(job_.inputs.idf_library));
      if (job_.inputs.idf_offset) line("offset = " + point(*job_.inputs.idf_offset));
    }
    if (!job_.inputs.bom_file.empty()) {
      file_table("inputs.bom", job_.inputs.bom_file);
      if (!job_.inputs.bom_variant.empty()) line("variant = " + quoted(job_.inputs.bom_variant));
    }
  }
  void descriptions() {
    for (const auto& description : job_.inputs.bsdl) {
      line();
      line("[[inputs.bsdl]]");
      line("file = " + quoted(description.file));
      comments(description.file);
      line("component = " + quoted(description.component));
    }
  }
  void others() {
    if (!job_.inputs.placement_files.empty()) {
      line();
      line("[inputs.placement]");
      comments("inputs.placement");
      Toml::Text list;
      for (const auto& file : job_.inputs.placement_files) list += (list.empty() ? "" : ", ") + quoted(file);
      line("files = [" + list + "]");
      if (!job_.inputs.placement_unit.empty()) line("unit = " + quoted(job_.inputs.placement_unit));
      if (job_.inputs.placement_offset) line("offset = " + point(*job_.inputs.placement_offset));
      if (!job_.inputs.placement_bottom.empty()) line("bottom = " + quoted(job_.inputs.placement_bottom));
      if (job_.inputs.placement_bottom_offset) line("bottom_offset = " + point(*job_.inputs.placement_bottom_offset));
    }
    for (const auto& [key, file] : job_.inputs.lone_files) {
      const std::string table = key.substr(0, key.rfind('.'));
      line();
      line("[" + Toml::keys(table) + "]");
      comments(table);
      line("file = " + quoted(file));
    }
    if (!job_.inputs.pads_file.empty()) file_table("inputs.pads", job_.inputs.pads_file);
  }
  void bench() {
    if (!job_.inputs.references_file.empty()) file_table("inputs.references", job_.inputs.references_file);
    if (!job_.inputs.continuity_file.empty()) {
      file_table("inputs.continuity", job_.inputs.continuity_file);
      line("joined_below_ohm = " + Toml::number(job_.inputs.joined_below.v, 3));
      line("open_above_ohm = " + Toml::number(job_.inputs.open_above.v, 3));
    }
  }
  void outline() {
    line();
    line("[inputs.outline]");
    comments("inputs.outline");
    if (job_.inputs.outline_file.empty()) return;
    line("file = " + quoted(job_.inputs.outline_file));
    line("choice = " + Toml::whole(job_.inputs.outline_choice));
    if (job_.inputs.outline_area > Mm2{}) line("area_mm2 = " + Toml::number(job_.inputs.outline_area.v, 2));
  }
  void rest() {
    line();
    line("[components]");
    comments("components");
    line(Toml::Text("not_fitted = []        # globs, such as \"J7\" or \"R9##\"; ") +
         (job_.inputs.bom_file.empty() && job_.inputs.cad_file.empty() ? "only this list marks parts as not fitted"
                                                                       : "in addition to the bill of materials"));
    line("# height = { U7 = \"2.1 mm\" }   # measured heights; other heights are assumed by reference letters");
    line("# side = { J1 = \"bottom\" }     # parts with through holes only are assumed to be on top");
    line();
    comments("need");
    line("# Interfaces are recognised by names, pins and parts, and `teasel audit` lists them.");
    line("# Confirm an interface, or state its lines:");
    line("# [[interface]]");
    line("# kind = \"1149.1\"");
    line("# mandatory = true");
    line("# [[interface]]");
    line("# kind = \"UART\"");
    line("# name = \"console\"");
    line("# lines = { TX = \"NET_A\", RX = \"NET_B\" }");
    line();
    line("# What the test needs of single nets. The first entry that fits a net decides.");
    line("# A net without an entry has the role of its interface. It gets one probe if it has two pins or more;");
    line("# supplies and ground get more. If a mandatory need is not met, the exit status is 2.");
    line("# [[need]]");
    line("# nets = \"SWD*\"");
    line("# role = \"programming\"");
    line("# wanted = 1");
    line("# mandatory = true");
    line();
    line("[fixture]");
    line("catalogue = \"standard\"   # or a TOML file of your own probes");
    line("rules = \"standard\"       # or a TOML file of your own rules");
    line("board_lies = \"auto\"      # \"bottom side down\" or \"top side down\"; auto = the cheaper of the two");
    line("sides = \"auto\"           # \"bottom\", \"top\" or \"both\"; auto = the cheapest of them");
    line(
        "drill_face = \"board\"     # the face from which each plate is drilled: \"board\" or \"outer\" (wiring side)");
  }

  const Job& job_;
  const std::map<std::string, std::vector<std::string>>& evidence_;
  Toml::Text out_;
};
}  // namespace

std::string write_first_job(const Job& job, const std::map<std::string, std::vector<std::string>>& evidence) {
  return Writer(job, evidence).run();
}

}  // namespace teasel
