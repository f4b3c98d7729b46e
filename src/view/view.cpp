#include "teasel/view.h"

#include <algorithm>
#include <boost/asio/signal_set.hpp>
#include <csignal>

#include "desk.h"

namespace teasel::view {

void serve(const ViewWanted& wanted, const std::function<void(const std::string&)>& say, Diagnostics& diagnostics) {
  boost::asio::io_context io(1);
  Desk desk(io, wanted, diagnostics);
  if (diagnostics.failed()) return;
  ServerLimits limits;
  limits.time = wanted.request;
  limits.head_time = std::min(limits.head_time, limits.time);
  const Server server(
      io, wanted.port, limits, [&](const Request& request) { return desk.answer(request); }, diagnostics);
  if (diagnostics.failed()) return;
  boost::asio::signal_set signals(io, SIGINT, SIGTERM);
  signals.async_wait([&](const boost::system::error_code&, int) { io.stop(); });
  say(server.address());
  io.run();
}

}  // namespace teasel::view
