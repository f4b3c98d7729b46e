// Writes the most strained moment of a planned bed as a deck for CalculiX (ccx), with shell elements of six nodes on a
// mesh of its own, and beside it what teasel says of that moment. tools/bench/compare_deck runs and compares both.
// usage: closing-deck JOB.toml FOLDER
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <map>

#include "../../src/mechanics/bed.h"
#include "teasel/pipeline/run.h"

using namespace teasel;
using namespace teasel::mechanics;

namespace {
constexpr double kMesh = 1;  // mm
constexpr std::size_t kWorst = 10;
constexpr double kStiff = 1e5;          // N/mm
constexpr std::size_t kTied = 900'000;  // numbers of nodes that stand for feet

/// Corners of triangles and the middles of their sides, numbered from 1.
class Shell {
 public:
  explicit Shell(PlateMesh mesh) : mesh_(std::move(mesh)), nodes_(mesh_.nodes) {}
  [[nodiscard]] const PlateMesh& mesh() const { return mesh_; }
  void write(std::ostream& out, double thickness, double modulus, double poisson) {
    std::string elements;
    for (std::size_t i = 0; i < mesh_.triangles.size(); ++i) {
      const auto& t = mesh_.triangles[i];
      elements += std::to_string(i + 1);
      for (const int node : t) elements += ", " + std::to_string(node + 1);
      for (std::size_t k = 0; k < 3; ++k) elements += ", " + std::to_string(middle(t[k], t[(k + 1) % 3]));
      elements += "\n";
    }
    out << "*NODE, NSET=BOARD\n";
    for (std::size_t i = 0; i < nodes_.size(); ++i)
      out << i + 1 << ", " << nodes_[i].x << ", " << nodes_[i].y << ", 0\n";
    out << "*ELEMENT, TYPE=S6, ELSET=PLATE\n" << elements;
    out << "*MATERIAL, NAME=LAMINATE\n*ELASTIC\n" << modulus << ", " << poisson << "\n";
    out << "*SHELL SECTION, ELSET=PLATE, MATERIAL=LAMINATE\n" << thickness << "\n";
  }
  [[nodiscard]] std::size_t nodes() const { return nodes_.size(); }

 private:
  std::size_t middle(int a, int b) {
    const auto [it, fresh] = middles_.try_emplace(std::minmax(a, b), nodes_.size() + 1);
    if (fresh)
      nodes_.push_back(0.5 * (mesh_.nodes[static_cast<std::size_t>(a)] + mesh_.nodes[static_cast<std::size_t>(b)]));
    return it->second;
  }
  PlateMesh mesh_;
  std::vector<Point> nodes_;
  std::map<std::pair<int, int>, std::size_t> middles_;
};

int write_deck(const pipeline::Run& run, const std::filesystem::path& folder) {
  const Planned bed = run.planned();
  const Mechanics& mechanics = run.results.mechanics;
  if (!mechanics.used) {
    std::cerr << "bending was not worked out: " << mechanics.why_not << "\n";
    return 1;
  }
  const BedModel model(bed, mechanics.supports, fine_mesh(bed), true);
  const Closing closing(bed, model, model.all_supports());
  const std::vector<Solved> moments = closing.follow(FreeShape::flat);
  const Solved& peak = Closing::peak(moments);
  // The ten corners nearest to their limits, each on a part of its own.
  std::vector<std::size_t> order(model.gauges().size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return peak.strains[a] / model.gauges()[a].limit > peak.strains[b] / model.gauges()[b].limit;
  });
  std::vector<std::size_t> worst;
  for (const std::size_t i : order) {
    const bool again = std::any_of(worst.begin(), worst.end(), [&](std::size_t k) {
      return model.gauges()[k].component == model.gauges()[i].component;
    });
    if (!again && worst.size() < kWorst) worst.push_back(i);
  }
  // The same contacts and corners, on a mesh of its own.
  std::vector<Point> points;
  std::vector<std::size_t> contact;
  const PlateMesh& coarse = model.press().plate().mesh();
  std::vector<std::vector<NodeWeight>> patches;
  for (std::size_t i = 0; i < model.press().contacts().size(); ++i) {
    if (!model.is_known(i) || !(peak.forces.force[i] > 0)) continue;
    contact.push_back(i);
    std::vector<NodeWeight> patch;
    for (const NodeWeight& part : model.press().contacts()[i].patch) {
      patch.push_back({static_cast<int>(points.size()), part.weight});
      points.push_back(coarse.nodes[static_cast<std::size_t>(part.node)]);
    }
    patches.push_back(std::move(patch));
  }
  for (const std::size_t i : worst) points.push_back(model.gauges()[i].at);
  Polygons board = bed.board.pieces.empty() ? Polygons{bed.board.outline} : bed.board.stiff();
  Polygons holes;
  for (const BoardHole& hole : bed.board.holes)
    if (hole.diameter >= Mm{6} && !hole.slot) holes.push_back({circle(hole.at, hole.diameter.v / 2), {}});
  if (!holes.empty()) board = subtract(board, holes);
  Shell shell(mesh_plate(board, points, Mm{kMesh}));
  std::filesystem::create_directories(folder);
  std::ofstream deck(folder / "deck.inp"), said(folder / "said.csv");
  deck.precision(9);
  const double thickness = model.stiffness().thickness.v;
  shell.write(deck, thickness, model.stiffness().modulus.v, model.stiffness().poisson);
  // A probe's spring and force are shared out over its foot. A support holds the weighted mean of its foot, by a node
  // above it that is tied to that mean.
  std::string fixed, springs, loads, means, held, set = "*NSET, NSET=CONTACTS\n";
  said.precision(9);
  said << "what,name,x,y,value,against\n";
  std::size_t spring = shell.mesh().triangles.size();
  for (std::size_t k = 0; k < contact.size(); ++k) {
    const std::size_t i = contact[k];
    const PressContact& pressed = model.press().contacts()[i];
    const int middle = shell.mesh().node_of[static_cast<std::size_t>(patches[k].front().node)];
    if (middle < 0) continue;
    const std::string id = std::to_string(middle + 1);
    const double up = pressed.from_below ? 1 : -1, force = up * peak.forces.force[i];
    const Point at = shell.mesh().nodes[static_cast<std::size_t>(middle)];
    set += id + "\n";
    if (i >= model.probes()) {
      const std::string tied = std::to_string(kTied + k);
      held += tied + ", " + std::to_string(at.x) + ", " + std::to_string(at.y) + ", 20\n";
      std::vector<std::pair<std::string, double>> terms;
      for (const NodeWeight& part : patches[k])
        if (const int node = shell.mesh().node_of[static_cast<std::size_t>(part.node)]; node >= 0)
          terms.emplace_back(std::to_string(node + 1), part.weight);
      double sum = 0;
      for (const auto& term : terms) sum += term.second;
      terms.emplace_back(tied, -sum);
      means += "*EQUATION\n" + std::to_string(terms.size()) + "\n";
      for (const auto& [node, weight] : terms) means += node + ", 3, " + std::to_string(weight) + "\n";
      // A stiff spring under that node tells its force, by how far it gives way.
      const std::string name = std::to_string(++spring), stiff = std::to_string(kStiff);
      springs += "*ELEMENT, TYPE=SPRING1, ELSET=S" + name + "\n" + name + ", " + tied + "\n*SPRING, ELSET=S" + name +
                 "\n3\n" + stiff + "\n";
      loads += tied + ", 3, " + std::to_string(kStiff * peak.forces.deflection[i]) + "\n";
      fixed += tied + ", 1, 2, 0\n";
      set += tied + "\n";
      said << "support," << tied << "," << at.x << "," << at.y << "," << force << "," << peak.forces.deflection[i]
           << "\n";
      continue;
    }
    // By its spring where that works; else by its force.
    const bool works = peak.forces.does[i] == 2;
    for (const NodeWeight& part : patches[k]) {
      const int node = shell.mesh().node_of[static_cast<std::size_t>(part.node)];
      if (node < 0) continue;
      const std::string here = std::to_string(node + 1);
      if (works) {
        const std::string name = std::to_string(++spring);
        springs += "*ELEMENT, TYPE=SPRING1, ELSET=S" + name + "\n" + name + ", " + here + "\n*SPRING, ELSET=S" + name +
                   "\n3\n" + std::to_string(part.weight * pressed.rate.v) + "\n";
      }
      loads += here + ", 3, " +
               std::to_string(part.weight * (force + (works ? pressed.rate.v * peak.forces.deflection[i] : 0))) + "\n";
    }
    said << "deflection," << id << "," << at.x << "," << at.y << "," << peak.forces.deflection[i] << ",\n";
  }
  for (const std::size_t i : worst) {
    const Gauge& gauge = model.gauges()[i];
    said << "strain," << bed.board.components[gauge.component].name.text() << "," << gauge.at.x << "," << gauge.at.y
         << "," << 1e6 * peak.strains[i] / gauge.raised << "," << 1e6 * gauge.limit << "\n";
  }
  if (!held.empty()) deck << "*NODE\n" << held << means;
  deck << set << springs;
  deck << "*BOUNDARY\n1, 1, 2, 0\n2, 1, 2, 0\n" << fixed;
  deck << "*STEP\n*STATIC\n";
  if (!loads.empty()) deck << "*CLOAD\n" << loads;
  if (peak.moment.pressure > 0)
    deck << "*DLOAD\nPLATE, P, " << (bed.option.option.main == Side::bottom ? 1 : -1) * peak.moment.pressure << "\n";
  deck << "*NODE PRINT, NSET=CONTACTS\nU, RF\n*EL FILE, OUTPUT=3D\nE\n*END STEP\n";
  std::ofstream about(folder / "about.csv");
  about << "thickness_mm,gauge_mm,share,to_go_mm,raised_mm,nodes\n"
        << thickness << "," << bed.rules.mechanics.gauge.v << "," << peak.moment.share << "," << peak.moment.to_go
        << "," << peak.moment.raised << "," << shell.nodes() << "\n";
  return deck && said && about ? 0 : 1;
}
}  // namespace

int main(int count, char** arguments) {
  if (count != 3) {
    std::cerr << "usage: closing-deck JOB.toml FOLDER\n";
    return 2;
  }
  const pipeline::Stage silent = [](const char*, double) {};
  pipeline::Run run;
  pipeline::load(run, arguments[1], silent);
  if (!run.diagnostics.failed()) {
    pipeline::prepare(run, silent);
    pipeline::work(run, {}, silent);
  }
  if (run.diagnostics.failed()) {
    for (const Finding& finding : run.diagnostics.all())
      if (finding.severity == Severity::error) std::cerr << finding.message << ": " << finding.found << "\n";
    return 1;
  }
  return write_deck(run, arguments[2]);
}
