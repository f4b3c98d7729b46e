// Where a new test pad of one net would fit on one side of the board.
#pragma once
#include <array>
#include <memory>
#include <optional>
#include <vector>

#include "free_space.h"
#include "teasel/coverage.h"

namespace teasel {

struct PadPlace {
  Point at;
  double free_diameter{}, distance{};  ///< mm
  bool with_via = false;               ///< the net has no copper on this side: from its copper on the other one
  bool in_pour = false;                ///< a plane of another net would have to give way
};

class PadPlaces {
 public:
  PadPlaces(const Board& board, const Access& access, const OptionResult& option, const Job& job,
            const Catalogue& catalogue, const Rules& rules, Side side);
  /// Up to two: the roomiest among those as near as can be, and the largest empty circle within reach where that is
  /// roomier. Where none is clear of copper, one that only a plane stands in the way of. What is found is taken: later
  /// nets keep clear.
  std::vector<PadPlace> find(NetId net);
  /// From now on `find` looks for nets without copper on this side, and for them alone; the via comes from their copper
  /// on the other one.
  void turn_to_vias();
  [[nodiscard]] bool copper_known() const { return layer_.has_value(); }

 private:
  void owners();
  [[nodiscard]] NetId owner_of(const CopperShape& shape) const {
    return shape.net ? net_of_copper_[shape.net] : NetId{};
  }
  [[nodiscard]] bool blocked(Point p, const Guest& guest) const;
  [[nodiscard]] bool pierces(Point p, NetId owner) const;
  void through(std::vector<Solid>& via);
  void copper(std::vector<Solid>& solids) const;
  void others(std::vector<Solid>& solids) const;
  [[nodiscard]] double apart(const PlacedProbe& probe) const;
  [[nodiscard]] std::vector<Solid> all_of_this_side() const;
  std::vector<Solid> own(NetId net, Side side) const;

  const Board& board_;
  const Access& access_;
  const OptionResult& option_;
  const Rules& rules_;
  const Job& job_;
  const Catalogue& catalogue_;
  Side side_;
  const CopperNets* copper_;  ///< null: no copper layer is given
  double spacing_;            ///< between a new probe and any other, mm
  PerSide<std::optional<std::size_t>> layers_;
  std::optional<std::size_t> layer_;
  Table<CopperNetId, NetId> net_of_copper_;  ///< board net of each traced net
  PerSide<Table<NetId, std::vector<std::size_t>>> shapes_of_net_;
  PerSide<std::vector<CopperShape>> shapes_;
  std::vector<const Polygon*> areas_;  ///< bodies and keep-outs
  std::unique_ptr<BoxIndex> area_index_;
  std::vector<std::pair<const Polygon*, NetId>>
      small_;  ///< filled copper of the other layers that is no plane, and its net
  std::unique_ptr<BoxIndex> small_index_;
  std::vector<Solid> taken_;  ///< pads that were found, and the probes upon them
  bool vias_ = false;
  std::unique_ptr<FreeSpace> space_;
};

}  // namespace teasel
