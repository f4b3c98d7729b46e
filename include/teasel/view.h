// A job in a browser on this machine: looked at, changed, planned again, saved.
#pragma once
#include <cstdint>
#include <functional>
#include <string>

#include "teasel/diagnostics.h"
#include "teasel/units.h"

namespace teasel::view {

struct ViewWanted {
  std::string path;                   ///< a job file, or a folder of release files
  std::string job_file = "job.toml";  ///< of a folder: the file to write once its inputs are confirmed
  std::uint16_t port = 0;             ///< 0: any free one
  bool mechanics = true;
  Seconds request{10};  ///< for one request to arrive and be answered, planning not counted
};

/// Serves on 127.0.0.1 alone until interrupted, under an address that holds a secret; `say` gets that address once it
/// can be opened. Errors that keep it from starting go to `diagnostics`.
void serve(const ViewWanted& wanted, const std::function<void(const std::string& address)>& say,
           Diagnostics& diagnostics);

}  // namespace teasel::view
