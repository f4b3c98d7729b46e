// What the test asks of each net: roles from the job file first, from net names second; needs follow.
#pragma once
#include <string>
#include <vector>

#include "teasel/board.h"
#include "teasel/job.h"

namespace teasel {

struct Need {
  int net = -1;
  Role role{};
  int wanted = 0;           ///< probes; 0 = none wanted
  bool mandatory = false;
  std::string because;      ///< who said so: the job file, a name pattern, the number of pins
};

/// One need for each net, in net order. Ground gets as many probes as all rails together, within the table's limits.
std::vector<Need> needs_of(const Board& board, const Job& job, const RoleTable& roles, Diagnostics& diagnostics);

}  // namespace teasel
