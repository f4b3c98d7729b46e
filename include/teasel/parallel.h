// Work on several threads with the same result on any number of them: each index writes its own slot.
#pragma once
#include <cstddef>
#include <functional>

namespace teasel {

/// Threads used by `parallel_for`; 0 = as many as the machine has. The environment variable TEASEL_THREADS overrides
/// it.
unsigned thread_count();

/// Calls f(i) for i in [0, n). The first exception (by index) is thrown again after all threads have ended.
void parallel_for(std::size_t n, const std::function<void(std::size_t)>& f, std::size_t chunk = 16);

}  // namespace teasel
