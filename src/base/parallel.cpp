#include "teasel/parallel.h"

#include <algorithm>
#include <atomic>
#include <cstdlib>
#include <exception>
#include <limits>
#include <mutex>
#include <thread>
#include <vector>

namespace teasel {

unsigned thread_count() {
  if (const char* e = std::getenv("TEASEL_THREADS")) {
    const int n = std::atoi(e);
    if (n >= 1 && n <= 256) return static_cast<unsigned>(n);
  }
  return std::max(1u, std::thread::hardware_concurrency());
}

namespace {
thread_local bool inside = false;  // a loop within a loop runs on the thread it finds itself on
}  // namespace

void parallel_for(std::size_t n, const std::function<void(std::size_t)>& f, std::size_t chunk) {
  const unsigned threads = inside ? 1
                                  : static_cast<unsigned>(std::min<std::size_t>(
                                        thread_count(), (n + chunk - 1) / std::max<std::size_t>(chunk, 1)));
  std::atomic<std::size_t> next{0};
  std::mutex lock;
  std::exception_ptr first;
  std::size_t first_index = std::numeric_limits<std::size_t>::max();
  auto work = [&] {
    const bool was = inside;
    inside = inside || threads > 1;
    for (;;) {
      const std::size_t from = next.fetch_add(chunk);
      if (from >= n) break;
      for (std::size_t i = from; i < std::min(n, from + chunk); ++i) {
        try {
          f(i);
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
    for (unsigned t = 1; t < threads; ++t) pool.emplace_back(work);
    work();
    for (auto& t : pool) t.join();
  }
  if (first) std::rethrow_exception(first);
}

}  // namespace teasel
