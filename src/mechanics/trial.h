// Tries sets of supports out on a coarse mesh, and foretells what one more or one less would do.
#pragma once
#include "bed.h"

namespace teasel::mechanics {

/// The board pressed at full stroke from one free shape.
struct TriedShape {
  FreeShape shape{};
  ContactForces forces;
  std::vector<Curvature> curvature;  ///< by corner
  double lack{};  ///< sum of what probes lack of their windows (mm) and parts exceed of their limits (share)
};
struct Tried {
  std::vector<TriedShape> shapes;
  double lack{};  ///< of all of them
};

class Trial {
 public:
  Trial(const Planned& in, const std::vector<PlacedSupport>& candidates);
  [[nodiscard]] bool ok() const { return model_.ok(); }
  /// Bent shapes are bent by this share of the bow and twist that are reckoned with; at first by all of it.
  void bend_by(double share);
  /// `present`: by candidate. `like`: of a set that differs little; it saves time.
  [[nodiscard]] Tried press(const std::vector<char>& present, const std::vector<FreeShape>& shapes,
                            const Tried* like = nullptr) const;
  /// By candidate: what would be lacking if it stood there too, or if it did not; the present lack where nothing would
  /// change. Foretold as if all other contacts went on doing what they do.
  [[nodiscard]] std::vector<double> foretold(const Tried& now, const std::vector<char>& present, bool joins) const;

 private:
  /// Corners of parts between the same triangles with the same limit.
  struct Corner {
    std::size_t gauge{};
    double count = 1;
  };
  /// What of a shape is near its limits.
  struct Risk {
    std::vector<std::size_t> probes, corners;
    double elsewhere{};  ///< lack of all others
  };
  [[nodiscard]] double lack_of_probe(std::size_t probe, double travel) const;
  [[nodiscard]] double share_of_limit(std::size_t corner, const Curvature& curvature) const;
  [[nodiscard]] double lack_of_corner(std::size_t corner, double share) const {
    return share > 1 ? corners_[corner].count * (share - 1) : 0;
  }
  [[nodiscard]] TriedShape press(const std::vector<char>& present, FreeShape shape, const TriedShape* like) const;
  [[nodiscard]] Risk risk(const TriedShape& tried) const;
  void foretell(const TriedShape& tried, const std::vector<std::size_t>& asked, bool joins,
                std::vector<double>& lack) const;

  const Planned& in_;
  BedModel model_;
  std::vector<Corner> corners_;
  std::vector<std::vector<float>> effect_;  ///< by candidate: three curvatures at every corner from one newton up
  std::array<PreparedState, kFreeShapes> prepared_;
  std::vector<char> everywhere_;  ///< by contact: its state is known
};

}  // namespace teasel::mechanics
