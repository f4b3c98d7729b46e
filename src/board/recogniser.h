// The recogniser's rooms: files by content, layers, holes, tables. One object, so that each sees what the others found.
#pragma once
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "build.h"
#include "placement_fit.h"
#include "teasel/formats/gerber_job.h"
#include "teasel/formats/input_formats.h"

namespace teasel {

using formats::FileKind;

struct Recognised {
  const FolderFile* file{};
  FileKind kind = FileKind::other;
  formats::GerberFile gerber;
  formats::DrillFile drill;
  formats::Netlist netlist;
  formats::GerberJob job_file;
  formats::DrillNotes notes;
  formats::CadBoard cad;
  Diagnostics diagnostics;
  std::optional<LayerRole> role;
  int layer = 0;            ///< copper: number from the top, 0 = unknown
  bool clearances = false;  ///< copper: a negative plane
  std::string unit;         ///< where the file states none and evidence settled it
  std::string why;
  bool by_content = false;  ///< role from what it covers, not from its own statement
  std::size_t shared = 0;   ///< letters at the beginning of its name that all layers beside it share
  [[nodiscard]] std::size_t strokes() const;
};

/// Points of the board by class, in the frame of the Gerber files.
struct Witness {
  std::vector<Point> top_smd, bottom_smd, through, vias, all, holes;
  std::vector<double> top_size, bottom_size;
};

std::string lower(std::string text);
inline bool has(const std::string& text, std::string_view what) {
  return text.find(what) != text.npos;
}
double share_dark(const LayerImage& image, const std::vector<Point>& points);
/// A grid over the box of these points: what is dark of it is the share of the board that a layer draws.
std::vector<Point> grid_over(const std::vector<Point>& points);

// What one file says of itself, strongest first; true if it says something.
bool role_by_attribute(Recognised& entry);
bool role_by_comments(Recognised& entry);
/// A weak sign, for folders without a netlist.
bool role_by_name(Recognised& entry);
void role_by_content(Recognised& entry, const Witness& witness);
/// Number of a copper layer by its own attribute or by its name; 0 = none.
int layer_number(const Recognised& entry);

class Recogniser {
 public:
  Recogniser(const std::vector<FolderFile>& files, Diagnostics& diagnostics)
      : files_(files), diagnostics_(diagnostics) {}
  FirstJob run();

 private:
  // recognise.cpp
  static void read(Recognised& entry);
  void read_all();
  void leave_out_unreadable(Recognised& entry);
  void settle_units();
  void job_files();
  void netlist();
  void take_netlist(const formats::Netlist& netlist);
  void take_pad_list(const std::vector<const Recognised*>& pads);
  void take_bench_tables();
  void offset();
  void leave_out_other_frame();
  void note_sheets(const Recognised& entry);
  void ignored();
  /// The name of the archive that a file lies in; empty: it lies loose.
  [[nodiscard]] std::string archive_of(const FolderFile& file) const;
  // recognise_sets.cpp
  void copies();
  void shared_names();
  void sets();
  void one_netlist();
  // recognise_layers.cpp
  void roles();
  void numbered_bottom();
  void witness_of_copper();
  void number_layers();
  void gerbers();
  void mask_images();
  void outline();
  void take_outline(const Recognised& entry, const std::vector<OutlineCandidate>& found, std::size_t choice,
                    const Box& points);
  [[nodiscard]] std::vector<const Recognised*> edge_files() const;
  [[nodiscard]] std::vector<Point> points_inside() const;
  // recognise_claims.cpp
  bool far_side_by_flashes(const std::vector<Recognised*>& same, bool top);
  void copper_among_masks();
  void poured_layers();
  void one_of_each(bool masks);
  // recognise_flex.cpp
  void flex_layers();
  void narrow_edge(const Polygon& face);
  // recognise_holes.cpp
  void gerber_drills();
  void drills();
  void drill(Recognised& entry, DrillInput& in);
  [[nodiscard]] bool cuts_the_board_out(const formats::DrillFile& file, const DrillInput& in) const;
  const formats::DrillNotes* notes_of(const formats::DrillFile& file) const;
  void take_notes(const formats::DrillNotes& notes, formats::DrillFile& file, DrillInput& in);
  void span(const formats::DrillFile& file, const formats::DrillFormat& format, DrillInput& in);
  bool span_by_netlist(const formats::DrillFile& file, const formats::DrillFormat& format, DrillInput& in);
  bool span_by_copper(const formats::DrillFile& file, const formats::DrillFormat& format, DrillInput& in);
  void span_by_name(DrillInput& in);
  [[nodiscard]] int copper_layers() const;
  // recognise_cad.cpp
  void cad();
  Recognised* only_cad();
  void cad_masks();
  void idf();
  void idf_offset(const formats::Mechanics& mechanics);
  void idf_bodies(const formats::Mechanics& mechanics);
  [[nodiscard]] std::set<std::string> known_parts() const;
  void bom();
  void bsdl();
  // recognise_tables.cpp
  void tables();
  void placement(const Recognised& entry, const std::map<std::string, PartPads>& pads);

  std::vector<std::string>& evidence(const std::string& key) { return out_.evidence[key]; }
  [[nodiscard]] const formats::GerberFile* layer(LayerRole role) const {
    for (const auto& entry : entries_)
      if (entry.kind == FileKind::gerber && entry.role == role) return &entry.gerber;
    return nullptr;
  }

  const std::vector<FolderFile>& files_;
  Diagnostics& diagnostics_;
  FirstJob out_;
  std::set<std::string> names_;  ///< of the files
  std::vector<Recognised> entries_;
  const formats::Netlist* netlist_ = nullptr;  ///< the folder's own, or that of its IPC-2581 file
  const formats::CadBoard* cad_ = nullptr;
  bool bench_ = false;  ///< known from a pad list alone
  Witness witness_;
  Map<NetlistFrame, BoardFrame> from_netlist_;
  std::vector<Point> pad_points_;
  std::optional<Point> size_;  ///< of the outline, by a job file
  std::string size_by_;
  int stated_layers_ = 0;
};

}  // namespace teasel
