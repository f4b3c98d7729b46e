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
  State(asio::io_context& io, const ServerLimits& given, Handler to_call)
      : limits(given), handler(std::move(to_call)), acceptor(io) {}
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
  std::string secret;
  for (const unsigned char byte : bytes) secret += letters[byte & 63];
  return secret;
}

/// Takes the same time however much of the secret is right, so that nobody can guess it piece by piece.
bool same_secret(std::string_view a, std::string_view b) {
  return a.size() == b.size() && CRYPTO_memcmp(a.data(), b.data(), a.size()) == 0;
}

std::string_view view_of(beast::string_view text) {
  return {text.data(), text.size()};
}

class Connection : public std::enable_shared_from_this<Connection> {
 public:
  Connection(tcp::socket socket, std::shared_ptr<Server::State> server, std::function<void()> done)
      : stream_(std::move(socket)), server_(std::move(server)), done_(std::move(done)) {
    parser_.body_limit(server_->limits.body);
    parser_.header_limit(static_cast<std::uint32_t>(server_->limits.head));
  }
  ~Connection() { done_(); }
  void run() {
    // Places are scarce only once many are taken: a busy browser may open a connection long before it uses it.
    const bool scarce = 2 * server_->open > server_->limits.connections;
    stream_.expires_after(milliseconds_of(scarce ? server_->limits.head_time : server_->limits.time));
    http::async_read_header(stream_, buffer_, parser_, [self = shared_from_this()](error_code error, std::size_t) {
      if (error || self->parser_.is_done())
        self->read(error);
      else
        self->read_body();
    });
  }

 private:
  static std::chrono::milliseconds milliseconds_of(Seconds time) {
    return std::chrono::milliseconds(static_cast<long>(1000 * time.v));
  }
  std::chrono::milliseconds time() const { return milliseconds_of(server_->limits.time); }

  void read_body() {
    stream_.expires_after(time());  // one deadline for all of it, however slowly it drips in
    http::async_read(stream_, buffer_, parser_,
                     [self = shared_from_this()](error_code error, std::size_t) { self->read(error); });
  }

  void read(error_code error) {
    if (error == http::error::end_of_stream || error == beast::error::timeout ||
        error == asio::error::operation_aborted)
      return close();
    if (error == http::error::body_limit) return answer(413, "The request is too large.");
    if (error == http::error::header_limit) return answer(431, "The head of the request is too large.");
    if (error) return answer(400, "This is not an HTTP request.");
    const auto& request = parser_.get();
    if (const auto fault = fault_of_head()) return answer(fault->status, fault->text);
    std::string_view target = view_of(request.target());
    target = target.substr(0, target.find('?'));
    const std::size_t slash = target.find('/', 1);
    if (target.empty() || target[0] != '/' || slash == target.npos ||
        !same_secret(target.substr(1, slash - 1), server_->secret))
      return answer(404, "There is nothing here.");
    Response response;
    try {
      const bool post = request.method() == http::verb::post;
      response = server_->handler({post, std::string(target.substr(slash + 1)), request.body()});
    } catch (const std::exception& exception) {
      response = {500, "text/plain", exception.what()};
    }
    send(std::move(response));
  }
  struct Fault {
    unsigned status;
    const char* text;
  };
  /// What the head of the request has that a request of our own page has not.
  std::optional<Fault> fault_of_head() const {
    const auto& request = parser_.get();
    const std::string_view host = view_of(request[http::field::host]);
    if (host != server_->host && host != "localhost" + server_->host.substr(server_->host.find(':')))
      return Fault{421, "Nothing is served under that host name."};
    if (request.count(http::field::host) != 1 || request.count(http::field::origin) > 1)
      return Fault{400, "A header field of the request stands in it twice."};
    const bool post = request.method() == http::verb::post;
    if (!post && request.method() != http::verb::get) return Fault{405, "Only GET and POST are allowed."};
    const std::string_view origin = view_of(request[http::field::origin]);
    const bool foreign = !origin.empty() && origin != "http://" + std::string(host);
    const auto site = view_of(request["Sec-Fetch-Site"]);
    if (foreign || (post && origin.empty()) || site == "cross-site" || site == "same-site")
      return Fault{403, "The request comes from another page."};
    if (post && view_of(request[http::field::content_type]) != "application/json")
      return Fault{415, "The body must be application/json."};
    return std::nullopt;
  }
  void answer(unsigned status, const char* text) { send({status, "text/plain", std::string(text) + "\n"}); }
  void send(Response response) {
    response_.result(response.status);
    response_.version(11);
    response_.keep_alive(false);
    response_.set(http::field::content_type, response.type + "; charset=utf-8");
    // The page is a single text. It loads nothing from elsewhere, no other page may frame it, and the secret in its
    // address reaches no other site's log.
    response_.set("Content-Security-Policy",
                  "default-src 'none'; script-src 'self'; style-src 'unsafe-inline'; img-src 'self' data: "
                  "blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'");
    response_.set("X-Content-Type-Options", "nosniff");
    response_.set("Referrer-Policy", "no-referrer");
    response_.set("Cross-Origin-Resource-Policy", "same-origin");
    response_.set("Cross-Origin-Opener-Policy", "same-origin");
    response_.set(http::field::cache_control, "no-store");
    response_.body() = std::move(response.body);
    response_.prepare_payload();
    stream_.expires_after(time());
    http::async_write(stream_, response_, [self = shared_from_this()](error_code, std::size_t) { self->close(); });
  }
  /// For a moment, what the client still sends is read and thrown away. A reset could make it lose the answer.
  void close() {
    error_code error;
    stream_.socket().shutdown(tcp::socket::shutdown_send, error);
    if (error) return;
    stream_.expires_after(std::chrono::seconds(2));
    drain();
  }
  void drain() {
    stream_.async_read_some(asio::buffer(rest_), [self = shared_from_this()](error_code error, std::size_t) {
      if (!error) self->drain();
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

void accept(const std::shared_ptr<Server::State>& server) {
  if (server->open >= server->limits.connections || server->waiting || !server->acceptor.is_open()) return;
  server->waiting = true;
  server->acceptor.async_accept([server](error_code error, tcp::socket socket) {
    server->waiting = false;
    if (error == asio::error::operation_aborted) return;
    if (!error) {
      ++server->open;
      std::make_shared<Connection>(std::move(socket), server, [weak = std::weak_ptr(server)] {
        if (const auto state = weak.lock()) {
          --state->open;
          accept(state);
        }
      })->run();
    }
    accept(server);
  });
}
}  // namespace

Server::Server(asio::io_context& io, std::uint16_t port, const ServerLimits& limits, Handler handler,
               Diagnostics& diagnostics)
    : state_(std::make_shared<State>(io, limits, std::move(handler))) {
  tcp::acceptor& acceptor = state_->acceptor;
  const tcp::endpoint end(asio::ip::address_v4::loopback(), port);
  error_code error;
  acceptor.open(end.protocol(), error);
  if (!error) acceptor.set_option(tcp::acceptor::reuse_address(true), error);
  if (!error) acceptor.bind(end, error);
  if (!error) acceptor.listen(limits.queue, error);
  if (error) {
    diagnostics.error({.code = "view-port",
                       .at = {"127.0.0.1:" + std::to_string(port), 0, 0, {}},
                       .message = "the page cannot be served at this port",
                       .found = error.message(),
                       .remedy = "leave --port out, or give a port that is free"});
    return;
  }
  state_->secret = new_secret();
  state_->host = "127.0.0.1:" + std::to_string(acceptor.local_endpoint().port());
  state_->address = "http://" + state_->host + "/" + state_->secret + "/";
  accept(state_);
}
Server::~Server() {
  error_code ignored;
  state_->acceptor.close(ignored);
}
const std::string& Server::address() const {
  return state_->address;
}

}  // namespace teasel::view
