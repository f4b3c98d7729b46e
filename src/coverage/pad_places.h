// Where a new test pad of one net would fit on one side of the board.
#pragma once
#include <array>
#include <memory>
#include <vector>

#include "free_space.h"
#include "teasel/coverage.h"

namespace teasel {

struct PadPlace {
  Point at;
  double free_diameter{}, distance{};
  bool with_via = false;  ///< the net has no copper on this side: from its copper on the other one
  bool in_pour = false;   ///< a plane of another net would have to give way
};

class PadPlaces {
 public:
  PadPlaces(const Board& board, const Access& access, const OptionResult& option, const Job& job,
            const Catalogue& catalogue, const Rules& rules, Side side);
  /// Up to two: the roomiest among those as near as can be, and the largest empty circle within reach where that is
  /// roomier. Where none is clear of copper, one that only a plane stands in the way of. What is found is taken: later
  /// nets keep clear.
  std::vector<PadPlace> find(int net);
  /// From now on `find` looks for nets without copper on this side, and for them alone; the via comes from their copper
  /// on the other one.
  void turn_to_vias();
  [[nodiscard]] bool copper_known() const { return layer_ >= 0; }

 private:
  void owners();
  [[nodiscard]] int owner_of(const CopperShape& s) const {
    return s.net < 0 ? -1 : net_of_copper_[static_cast<std::size_t>(s.net)];
  }
  [[nodiscard]] bool blocked(Point p, const Guest& guest) const;
  [[nodiscard]] bool pierces(Point p, int owner) const;
  void through(std::vector<Solid>& via);
  void copper(std::vector<Solid>& solids) const;
  void others(std::vector<Solid>& solids) const;
  [[nodiscard]] double apart(const PlacedProbe& p) const;
  [[nodiscard]] std::vector<Solid> all_of_this_side() const;
  std::vector<Solid> own(int net, Side side) const;

  const Board& b_;
  const Access& a_;
  const OptionResult& r_;
  const Rules& rules_;
  const Job& job_;
  const Catalogue& cat_;
  Side side_;
  const CopperNets* cu_;  ///< null: no copper layer is given
  double spacing_;        ///< between a new probe and any other, mm
  std::array<int, 2> layers_{-1, -1};
  int layer_ = -1;
  std::vector<int> net_of_copper_;  ///< board net of each traced net
  std::vector<std::vector<std::size_t>> shapes_of_net_[2];
  std::array<std::vector<CopperShape>, 2> shapes_;
  std::vector<const Polygon*> areas_;  ///< bodies and keep-outs
  std::unique_ptr<BoxIndex> area_index_;
  std::vector<std::pair<const Polygon*, int>>
      small_;  ///< filled copper of the other layers that is no plane, and its net
  std::unique_ptr<BoxIndex> small_index_;
  std::vector<Solid> taken_;  ///< pads that were found, and the probes upon them
  bool vias_ = false;
  std::unique_ptr<FreeSpace> space_;
};

}  // namespace teasel
