// Work in a process of its own, on a copy of all memory as it is now. It can be stopped at any moment, and it changes
// nothing but its own copy.
#pragma once
#include <boost/asio/io_context.hpp>
#include <functional>
#include <memory>
#include <string>

namespace teasel::view {

class Child {
 public:
  struct State;
  /// Runs `work` and hands what it returns to `done`, on the loop; "" if the process died. No other thread may run
  /// meanwhile, since the copy would hold its locks for ever.
  Child(boost::asio::io_context& io, const std::function<std::string()>& work, std::function<void(std::string)> done);
  /// Stops the process; `done` is not called any more.
  ~Child();
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

 private:
  std::shared_ptr<State> state_;
};

}  // namespace teasel::view
