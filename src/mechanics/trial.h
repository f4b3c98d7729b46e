// Tries sets of supports out on a coarse mesh, and foretells what one more or one less would do.
#pragma once
#include <cmath>

#include "bed.h"

namespace teasel::mechanics {

/// One of the scenes that are tried: a free shape in a moment of the closing.
using SceneNumber = std::size_t;
using Scenes = std::vector<SceneNumber>;
/// Every free shape, closed, comes first.
inline constexpr SceneNumber scene_of(FreeShape shape) {
  return static_cast<SceneNumber>(shape);
}
/// The board pressed in one scene.
struct TriedShape {
  SceneNumber scene{};
  ContactForces forces;
  std::vector<Curvature> curvature;  ///< by corner
  double lack{};  ///< sum of what probes lack of their windows (mm), and parts and supports exceed of theirs (share)
};
struct Tried {
  std::vector<TriedShape> shapes;
  double lack{};  ///< of all of them
};

inline constexpr double kSpare = 0.9;  ///< of the limits: the final mesh is finer than the one of the trials

class Trial {
 public:
  Trial(const Planned& in, const std::vector<PlacedSupport>& candidates);
  [[nodiscard]] bool ok() const { return model_.ok(); }
  [[nodiscard]] const BedModel& model() const { return model_; }
  /// Bent shapes are bent by this share of the bow and twist that are reckoned with; at first by all of it.
  void bend_by(double share);
  /// One more scene: as it was pressed on a fine mesh, with the probes that touched there.
  SceneNumber add(FreeShape shape, const Solved& solved);
  /// `present`: by candidate. `like`: of a set that differs little; it saves time. With more lacking than `most` it
  /// stops early: then only the lack counts, and it is too small.
  [[nodiscard]] Tried press(const std::vector<char>& present, const Scenes& scenes, const Tried* like = nullptr,
                            double most = INFINITY) const;
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
  /// A probe's travel is judged where the board is tested.
  [[nodiscard]] double lack_of_probe(SceneNumber scene, std::size_t probe, double travel) const;
  [[nodiscard]] double share_of_limit(std::size_t corner, const Curvature& curvature) const;
  [[nodiscard]] double lack_of_corner(std::size_t corner, double share) const {
    return share > 1 ? corners_[corner].count * (share - 1) : 0;
  }
  [[nodiscard]] TriedShape press(const std::vector<char>& present, SceneNumber scene, const TriedShape* like) const;
  [[nodiscard]] Risk risk(const TriedShape& tried) const;
  void foretell(const TriedShape& tried, const std::vector<std::size_t>& asked, bool joins,
                std::vector<double>& lack) const;

  const Planned& in_;
  BedModel model_;
  std::vector<Corner> corners_;
  std::vector<double> bears_;               ///< N, by candidate
  std::vector<std::vector<float>> effect_;  ///< by candidate: three curvatures at every corner from one newton up
  struct Scene {
    FreeShape shape{};
    Moment moment;
    std::vector<char> touching;  ///< by probe; empty: all
    PreparedState prepared;
    std::vector<char> everywhere;  ///< by contact: its state is known
    /// By corner, with all springs and no support: where all probes touch, supports alone change it.
    std::vector<Curvature> unsupported;
  };
  [[nodiscard]] std::vector<Curvature> curvatures(const Scene& scene, const ContactForces& forces) const;
  void prepare(Scene& scene) const;
  std::vector<Scene> scenes_;
  double bend_ = 1;
};

}  // namespace teasel::mechanics
