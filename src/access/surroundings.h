// What lies about an aim point: bodies, other metal, edges, holes, keep-outs; with distances and directions.
#pragma once
#include <array>
#include <memory>
#include <optional>
#include <vector>

#include "box_tree.h"
#include "fingers.h"
#include "targets.h"
#include "teasel/access.h"

namespace teasel {

inline constexpr double kNowhere = 1e9;

/// Distances in mm.
struct Near {
  double edge = kNowhere;  ///< from the pad's edge
  double aim = kNowhere;   ///< from the aim point
  Point way;               ///< unit vector towards it; zero inside
  [[nodiscard]] bool found() const { return aim < kNowhere; }
};
struct NearBody : Near {
  ComponentId component;
  bool own = false;   ///< the body of the pad's own part
  bool core = false;  ///< of the own part, only what lies deep inside the drawn outline
};
/// One piece of bare metal: that of an exposure, or a row of the board's metal that belongs to no pad.
struct MetalPiece {
  ExposureId exposure;   ///< none: `bare` counts
  std::size_t bare = 0;  ///< row of Board::bare_metal
};
struct NearMetal : Near {
  MetalPiece piece;
  bool convex = true;
  const Polygons* metal = nullptr;
};
struct NearKeepOut : Near {
  KeepOutId keep_out;
};
/// What one rule of two values is for.
struct NearThing : Near {
  Reason reason{};
  const Rule* rule = nullptr;
  Obstacle what;
};

/// All bare metal of a board in one list: exposures come first, then metal that belongs to no pad.
std::size_t metal_pieces(const Board& board);
MetalPiece metal_piece(const Board& board, std::size_t row);
const Polygons& copper_of(const Board& board, MetalPiece piece);
Side side_of(const Board& board, MetalPiece piece);

struct Surroundings {
  std::vector<NearBody> bodies;
  std::vector<NearMetal> conductors;
  std::vector<NearKeepOut> keep_outs;
  std::vector<NearThing> things;  ///< the edge, unplated holes, the nearest tooling hole, the nearest fiducial
  Mm finger;                      ///< from the aim to room for a push finger on the other side
  std::vector<BanId> bans;        ///< that fit the target
  std::vector<WaiverId> waivers;
};

class Neighbourhood {
 public:
  Neighbourhood(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules,
                const PerSide<BoxTree>& bodies);
  [[nodiscard]] Surroundings about(const Access& access, const Spot& spot, const Covering& covering) const;
  /// To be called when the job's keep-outs, bans or waivers have changed. Returns the targets to which that makes a
  /// difference, ascending.
  std::vector<TargetId> follow(const Access& access, const Job& job);

 private:
  /// A ban or a waiver that names a feature.
  template <class I>
  struct Entry {
    I id;
    bool of_board{};           ///< its names are plain, so that its side is the board's own
    std::optional<Side> side;  ///< that it is limited to
    std::string rule;          ///< likewise
    bool operator==(const Entry&) const = default;
  };
  template <class I>
  using Entries = Table<FeatureId, std::vector<Entry<I>>>;
  struct Query;

  void index_metal();
  void index_holes();
  void index_edges();
  void cut_cores(const Catalogue& catalogue);
  void lay_keep_outs();
  void name_entries();
  std::vector<Box> changed_keep_outs() const;
  void add_bodies(Surroundings& out, const Query& query) const;
  void add_metal(Surroundings& out, const Query& query) const;
  void add_fiducials(Surroundings& out, const Query& query) const;
  void add_outline(Surroundings& out, const Query& query) const;
  void add_holes(Surroundings& out, const Query& query) const;
  void add_keep_outs(Surroundings& out, const Query& query) const;
  void add_decisions(Surroundings& out, const Query& query) const;
  [[nodiscard]] double reach_of_keep_outs(const LandingShape& shape, const Spot& spot) const;
  template <class I>
  std::vector<I> on_side(const std::vector<Entry<I>>& entries, const Feature& feature, Side side) const;

  const Board& board_;
  const Job* job_;
  const Rules& rules_;
  const PerSide<BoxTree>& bodies_;
  PerSide<BoxTree> metal_, fiducials_, keep_outs_;
  std::vector<Box> piece_boxes_;
  std::vector<char> convex_;  ///< by row of the list of all bare metal
  double widest_shared_ = 0;
  BoxTree holes_, edges_;
  Table<HoleId, Polygons> hole_areas_;
  std::vector<std::pair<Point, Point>> edge_list_;
  PerSide<std::unique_ptr<FingerRoom>> fingers_;
  Entries<BanId> bans_;
  Entries<WaiverId> waivers_;
  Table<KeepOutId, KeepOut> laid_;      ///< the keep-outs that are known here
  Table<ComponentId, Polygons> cores_;  ///< where the outline is drawn about the lands: the part that is surely body
  double widest_ = 0;                   ///< no part of a probe with its tolerance reaches farther from the aim
};

}  // namespace teasel
