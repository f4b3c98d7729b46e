// Where push fingers find room on one side of the board.
#pragma once
#include <cstdint>
#include <vector>

#include "teasel/board.h"
#include "teasel/job.h"

namespace teasel {

/// A raster of the board: distance from each cell to the nearest cell where a finger may stand. Lengths in mm.
class FingerRoom {
 public:
  FingerRoom(const Board& board, const Rules& rules, Side side);
  /// Works the room out again after the job's keep-outs have changed.
  void keep_out(const Table<KeepOutId, KeepOut>& keep_outs);
  /// Exact to one cell.
  [[nodiscard]] Mm distance_to_room(BoardPoint place) const;

 private:
  [[nodiscard]] std::size_t cell_at(long i, long j) const { return static_cast<std::size_t>(j * columns_ + i); }
  [[nodiscard]] Point centre_of(long i, long j) const;
  /// Calls `visit(i, j)` for each cell whose centre may lie in the window.
  template <class Visit>
  void each_cell(const Box& window, Visit visit) const;
  void take(std::vector<float>& room, const Polygons& area) const;
  Side side_;
  Box box_;
  double need_ = 0;   ///< free radius about a finger's middle
  double below_ = 0;  ///< keep-outs that begin above this height leave room
  double cell_ = 0.5;
  long columns_ = 0, rows_ = 0;
  std::vector<float> room_;      ///< 0 where a finger may stand if there were no keep-outs
  std::vector<float> distance_;  ///< squared cells
};

}  // namespace teasel
