// HTTP/1.1 on the loopback address, for one reader. Nobody gets anything without the secret in the address: neither
// another page in the same browser, which Host and Origin give away, nor another user of the machine. RFC 9110, 9112;
// the checks follow the Fetch standard's rules for Origin.
#pragma once
#include <boost/asio/io_context.hpp>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "teasel/diagnostics.h"
#include "teasel/units.h"

namespace teasel::view {

struct Request {
  bool post = false;
  std::string path;  ///< below the secret: "", "state", ...
  std::string body;
};
struct Response {
  unsigned status = 200;
  std::string type = "application/json", body;
};
/// Called on the server's own thread, one request at a time. Where an answer would take long it says so at once, and
/// the page asks again.
using Handler = std::function<Response(const Request&)>;

struct ServerLimits {
  std::size_t body = 256 * 1024, head = 16 * 1024;
  std::size_t connections = 32;  ///< open at once
  /// More wait in their order, up to this number. Where the queue is full the system drops who knocks, and whose turn
  /// it is becomes chance.
  int queue = 1024;
  Seconds time{10};  ///< from the end of a request's head to the end of its body, and again for its answer
  /// From accepting a connection to the end of the head, once half of all places are taken: who says nothing keeps a
  /// place that another waits for. Before that, as long as for a body.
  Seconds head_time{1};
};

class Server {
 public:
  struct State;
  /// Listens on 127.0.0.1. An error, such as a port in use, goes to `diagnostics`.
  Server(boost::asio::io_context& io, std::uint16_t port, const ServerLimits& limits, Handler handler,
         Diagnostics& diagnostics);
  ~Server();
  /// http://127.0.0.1:PORT/SECRET/
  [[nodiscard]] const std::string& address() const;

 private:
  std::shared_ptr<State> state_;
};

}  // namespace teasel::view
