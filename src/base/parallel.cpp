#include "teasel/parallel.h"

#include <algorithm>
#include <atomic>
#include <cstdlib>
#include <exception>
#include <limits>
#include <mutex>
#include <system_error>
#include <thread>
#include <vector>

namespace teasel {

unsigned thread_count() {
  if (const char* wanted = std::getenv("TEASEL_THREADS")) {
    const int count = std::atoi(wanted);
    if (count >= 1 && count <= 256) return static_cast<unsigned>(count);
  }
  return std::max(1u, std::thread::hardware_concurrency());
}

namespace {
thread_local bool inside = false;  // a loop within a loop stays on the thread that reaches it

unsigned threads_for(std::size_t count, std::size_t chunk) {
  if (inside) return 1;
  const std::size_t chunks = (count + chunk - 1) / std::max<std::size_t>(chunk, 1);
  return static_cast<unsigned>(std::min<std::size_t>(thread_count(), chunks));
}
}  // namespace

void parallel_for(std::size_t count, const std::function<void(std::size_t)>& task, std::size_t chunk) {
  const unsigned threads = threads_for(count, chunk);
  std::atomic<std::size_t> next{0};
  std::mutex lock;
  std::exception_ptr first;
  std::size_t first_index = std::numeric_limits<std::size_t>::max();
  auto work = [&] {
    const bool was = inside;
    inside = inside || threads > 1;
    for (;;) {
      const std::size_t from = next.fetch_add(chunk);
      if (from >= count) break;
      for (std::size_t i = from; i < std::min(count, from + chunk); ++i) {
        try {
          task(i);
        } catch (...) {
          std::lock_guard guard(lock);
          if (i < first_index) {
            first_index = i;
            first = std::current_exception();
          }
        }
      }
    }
    inside = was;
  };
  if (threads <= 1) {
    work();
  } else {
    std::vector<std::thread> pool;
    pool.reserve(threads);
    try {
      for (unsigned i = 1; i < threads; ++i) pool.emplace_back(work);
    } catch (const std::system_error&) {
      // The system gives no more threads: those that there are do the work.
    }
    work();
    for (auto& thread : pool) thread.join();
  }
  if (first) std::rethrow_exception(first);
}

}  // namespace teasel
