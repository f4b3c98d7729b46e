// Where push fingers find room on one side of the board.
#pragma once
#include <cstdint>
#include <vector>

#include "teasel/board.h"
#include "teasel/job.h"

namespace teasel {

/// A raster of the board: distance from each cell to the nearest cell where a finger may stand.
class FingerRoom {
 public:
  FingerRoom(const Board& board, const Job& job, const Rules& rules, Side side);
  /// mm; exact to one cell.
  [[nodiscard]] double distance_to_room(Point p) const;

 private:
  Box box_;
  double cell_ = 0.5;
  long nx_ = 0, ny_ = 0;
  std::vector<float> distance_;
};

}  // namespace teasel
