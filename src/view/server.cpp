#include "server.h"

#include <openssl/crypto.h>
#include <openssl/rand.h>

#include <array>
#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <chrono>
#include <optional>
#include <stdexcept>

namespace teasel::view {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using tcp = asio::ip::tcp;
using boost::system::error_code;

struct Server::State {
  State(asio::io_context& io, const ServerLimits& l, Handler h) : limits(l), handler(std::move(h)), acceptor(io) {}
  ServerLimits limits;
  Handler handler;
  tcp::acceptor acceptor;
  std::string secret, address, host;  ///< host: "127.0.0.1:PORT"
  std::size_t open = 0;
  bool waiting = false;
};

namespace {
std::string new_secret() {
  std::array<unsigned char, 24> bytes{};
  if (RAND_bytes(bytes.data(), static_cast<int>(bytes.size())) != 1)
    throw std::runtime_error("no random numbers for the address");
  static const char* letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  std::string s;
  for (const unsigned char b : bytes) s += letters[b & 63];
  return s;
}

/// In a time that does not tell how much of it is right.
bool same_secret(std::string_view a, std::string_view b) {
  return a.size() == b.size() && CRYPTO_memcmp(a.data(), b.data(), a.size()) == 0;
}

std::string_view view_of(beast::string_view s) {
  return {s.data(), s.size()};
}

class Session : public std::enable_shared_from_this<Session> {
 public:
  Session(tcp::socket socket, std::shared_ptr<Server::State> server, std::function<void()> done)
      : stream_(std::move(socket)), server_(std::move(server)), done_(std::move(done)) {
    parser_.body_limit(server_->limits.body);
    parser_.header_limit(static_cast<std::uint32_t>(server_->limits.head));
  }
  ~Session() { done_(); }
  void run() {
    stream_.expires_after(time());  // one deadline for all of the request, however slowly it drips in
    http::async_read(stream_, buffer_, parser_,
                     [self = shared_from_this()](error_code e, std::size_t) { self->read(e); });
  }

 private:
  std::chrono::milliseconds time() const {
    return std::chrono::milliseconds(static_cast<long>(1000 * server_->limits.seconds));
  }

  void read(error_code e) {
    if (e == http::error::end_of_stream || e == beast::error::timeout || e == asio::error::operation_aborted)
      return close();
    if (e == http::error::body_limit) return answer(413, "the request is too large");
    if (e == http::error::header_limit) return answer(431, "the head of the request is too large");
    if (e) return answer(400, "this is no HTTP request");
    const auto& q = parser_.get();
    if (view_of(q[http::field::host]) != server_->host &&
        view_of(q[http::field::host]) != "localhost" + server_->host.substr(server_->host.find(':')))
      return answer(421, "this address is not served under that name");
    if (q.count(http::field::host) != 1 || q.count(http::field::origin) > 1) return answer(400, "a head twice");
    const bool post = q.method() == http::verb::post;
    if (!post && q.method() != http::verb::get) return answer(405, "GET and POST only");
    const std::string_view origin = view_of(q[http::field::origin]);
    if ((!origin.empty() && origin != "http://" + std::string(view_of(q[http::field::host]))) ||
        (post && origin.empty()))
      return answer(403, "the request comes from another page");
    if (const auto site = view_of(q["Sec-Fetch-Site"]); site == "cross-site" || site == "same-site")
      return answer(403, "the request comes from another page");
    if (post && view_of(q[http::field::content_type]) != "application/json")
      return answer(415, "application/json is expected");
    std::string_view target = view_of(q.target());
    target = target.substr(0, target.find('?'));
    const std::size_t slash = target.find('/', 1);
    if (target.empty() || target[0] != '/' || slash == target.npos ||
        !same_secret(target.substr(1, slash - 1), server_->secret))
      return answer(404, "nothing here");
    Response r;
    try {
      r = server_->handler({post, std::string(target.substr(slash + 1)), q.body()});
    } catch (const std::exception& x) {
      r = {500, "text/plain", x.what()};
    }
    send(std::move(r));
  }
  void answer(unsigned status, const char* text) { send({status, "text/plain", std::string(text) + "\n"}); }
  void send(Response r) {
    response_.result(r.status);
    response_.version(11);
    response_.keep_alive(false);
    response_.set(http::field::content_type, r.type + "; charset=utf-8");
    // The page is one text: nothing from elsewhere, and nobody frames it. The secret goes into no other site's log.
    response_.set("Content-Security-Policy",
                  "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src 'self' data: "
                  "blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'");
    response_.set("X-Content-Type-Options", "nosniff");
    response_.set("Referrer-Policy", "no-referrer");
    response_.set("Cross-Origin-Resource-Policy", "same-origin");
    response_.set("Cross-Origin-Opener-Policy", "same-origin");
    response_.set(http::field::cache_control, "no-store");
    response_.body() = std::move(r.body);
    response_.prepare_payload();
    stream_.expires_after(time());
    http::async_write(stream_, response_, [self = shared_from_this()](error_code, std::size_t) { self->close(); });
  }
  /// What the client still sends is read and thrown away for a moment: a reset would take the answer from it.
  void close() {
    error_code e;
    stream_.socket().shutdown(tcp::socket::shutdown_send, e);
    if (e) return;
    stream_.expires_after(std::chrono::seconds(2));
    drain();
  }
  void drain() {
    stream_.async_read_some(asio::buffer(rest_), [self = shared_from_this()](error_code e, std::size_t) {
      if (!e) self->drain();
    });
  }

  beast::tcp_stream stream_;
  beast::flat_buffer buffer_{64 * 1024};
  http::request_parser<http::string_body> parser_;
  http::response<http::string_body> response_;
  std::array<char, 16 * 1024> rest_{};
  std::shared_ptr<Server::State> server_;
  std::function<void()> done_;
};

void accept(const std::shared_ptr<Server::State>& s) {
  if (s->open >= s->limits.connections || s->waiting || !s->acceptor.is_open()) return;
  s->waiting = true;
  s->acceptor.async_accept([s](error_code e, tcp::socket socket) {
    s->waiting = false;
    if (e == asio::error::operation_aborted) return;
    if (!e) {
      ++s->open;
      std::make_shared<Session>(std::move(socket), s, [weak = std::weak_ptr(s)] {
        if (const auto state = weak.lock()) {
          --state->open;
          accept(state);
        }
      })->run();
    }
    accept(s);
  });
}
}  // namespace

Server::Server(asio::io_context& io, std::uint16_t port, const ServerLimits& limits, Handler handler, Diagnostics& d)
    : state_(std::make_shared<State>(io, limits, std::move(handler))) {
  State& s = *state_;
  const tcp::endpoint end(asio::ip::address_v4::loopback(), port);
  error_code e;
  s.acceptor.open(end.protocol(), e);
  if (!e) s.acceptor.set_option(tcp::acceptor::reuse_address(true), e);
  if (!e) s.acceptor.bind(end, e);
  if (!e) s.acceptor.listen(static_cast<int>(limits.connections), e);
  if (e) {
    d.error("view-port", {"127.0.0.1:" + std::to_string(port), 0, 0, {}}, "the page cannot be served there",
            e.message(), {}, "leave --port out, or give a free one");
    return;
  }
  s.secret = new_secret();
  s.host = "127.0.0.1:" + std::to_string(s.acceptor.local_endpoint().port());
  s.address = "http://" + s.host + "/" + s.secret + "/";
  accept(state_);
}
Server::~Server() {
  error_code e;
  state_->acceptor.close(e);
}
const std::string& Server::address() const {
  return state_->address;
}

}  // namespace teasel::view
