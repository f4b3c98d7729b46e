// What lies about an aim point: bodies, other metal, edges, holes, keep-outs; with distances and directions.
#pragma once
#include <array>
#include <memory>
#include <vector>

#include "box_tree.h"
#include "fingers.h"
#include "targets.h"
#include "teasel/access.h"

namespace teasel {

inline constexpr double kNowhere = 1e9;

struct Near {
  double edge = kNowhere;  ///< from the pad's edge
  double aim = kNowhere;   ///< from the aim point
  Point way;               ///< unit vector towards it; zero inside
  int id = -1;
  bool own = false;    ///< the body of the pad's own part
  bool core = false;   ///< of it, what lies deep inside the drawn outline alone
  bool convex = true;  ///< conductors: its metal has no dent
  const Polygons* metal = nullptr;
};

struct Surroundings {
  std::vector<Near> bodies, conductors, keep_outs, holes;
  Near outline, tooling, fiducial;
  double finger = 0;               ///< from the aim to room for a push finger on the other side
  std::vector<int> bans, waivers;  ///< of the job, that fit the target
};

class Neighbourhood {
 public:
  Neighbourhood(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules,
                const std::array<BoxTree, 2>& bodies);
  [[nodiscard]] Surroundings about(const Access& access, const Spot& spot, const Covering& covering) const;
  /// The job's keep-outs, bans and waivers are others now: the targets about which that changes anything, ascending.
  std::vector<int> follow(const Access& access);
  [[nodiscard]] const Polygons& hole_area(int hole) const { return hole_areas_[static_cast<std::size_t>(hole)]; }

 private:
  void lay_keep_outs();
  void name_entries();
  struct Query;
  void add_bodies(Surroundings& s, const Query& q) const;
  void add_metal(Surroundings& s, const Query& q) const;
  void add_fiducials(Surroundings& s, const Query& q) const;
  void add_outline(Surroundings& s, const Query& q) const;
  void add_holes(Surroundings& s, const Query& q) const;
  void add_keep_outs(Surroundings& s, const Query& q) const;
  void add_decisions(Surroundings& s, const Query& q) const;
  [[nodiscard]] double reach_of_keep_outs(const LandingShape& shape, const Spot& spot) const;
  const Board& b_;
  const Job& job_;
  const Rules& rules_;
  const std::array<BoxTree, 2>& bodies_;
  std::array<BoxTree, 2> metal_, fiducials_, keep_outs_;
  std::vector<Box> piece_boxes_;
  std::vector<char> convex_;  ///< by exposure, then by bare metal
  double widest_shared_ = 0;
  BoxTree holes_, edges_;
  std::vector<Polygons> hole_areas_;
  std::vector<std::pair<Point, Point>> edge_list_;
  std::array<std::unique_ptr<FingerRoom>, 2> fingers_;
  struct Named {
    int entry{};             ///< of the job
    bool of_board{};         ///< its names are plain: its side is the board's own
    std::string side, rule;  ///< that it is limited to
    bool operator==(const Named&) const = default;
  };
  std::vector<std::vector<Named>> bans_, waivers_;  ///< by feature
  std::vector<KeepOut> laid_;                       ///< the keep-outs that are known here
  std::vector<Polygons> cores_;  ///< by component whose drawn outline lies about its lands: what of it is surely body
  double widest_ = 0;            ///< no part of a probe with its tolerance reaches farther from the aim
};

}  // namespace teasel
