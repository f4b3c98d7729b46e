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
  /// The job's keep-outs are others now.
  void keep_out(const Job& job);
  /// mm; exact to one cell.
  [[nodiscard]] double distance_to_room(Point p) const;

 private:
  [[nodiscard]] Point place(long i, long j) const;
  void take(std::vector<float>& room, const Polygons& area) const;
  Side side_;
  Box box_;
  double need_ = 0, below_ = 0;  ///< mm: about a finger's middle; keep-outs that begin above this leave room
  double cell_ = 0.5;
  long nx_ = 0, ny_ = 0;
  std::vector<float> room_, distance_;  ///< 0 where a finger may stand, but for keep-outs; squared cells
};

}  // namespace teasel
