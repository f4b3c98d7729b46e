// Work in a process of its own, on a copy of everything as it is: it can be stopped at any moment, and what it does to
// memory it does to its own.
#pragma once
#include <boost/asio/io_context.hpp>
#include <functional>
#include <memory>
#include <string>

namespace teasel::view {

class Child {
 public:
  struct State;
  /// Runs `work` and hands what it returns to `done`, on the loop; "" if it died. Only while no other thread runs.
  Child(boost::asio::io_context& io, const std::function<std::string()>& work, std::function<void(std::string)> done);
  /// Stops it; `done` is not called any more.
  ~Child();
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

 private:
  std::shared_ptr<State> state_;
};

}  // namespace teasel::view
