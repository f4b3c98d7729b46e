// What is known of each reason for which a target is blocked.
#pragma once
#include "teasel/access.h"

namespace teasel {

struct ReasonRow {
  Reason id{};
  const char* text{};  ///< as it is written into lists and waivers
  bool above{};        ///< the measured value is too large; else it is too small
  bool chance{};       ///< both values are probabilities; else they are lengths in mm
  bool waivable{};     ///< false: there is no metal, or the user himself forbade the target
};
const ReasonRow& row_of(Reason reason);

}  // namespace teasel
