#include "child.h"

#include <fcntl.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/read.hpp>
#include <cerrno>
#include <csignal>
#include <exception>

namespace teasel::view {

namespace asio = boost::asio;

struct Child::State {
  explicit State(asio::io_context& io) : pipe(io) {}
  asio::posix::stream_descriptor pipe;
  pid_t pid = -1;
  std::string got;
  std::array<char, 64 * 1024> buffer{};
  std::function<void(std::string)> done;
  void reap() {
    if (pid <= 0) return;
    ::kill(pid, SIGKILL);
    while (::waitpid(pid, nullptr, 0) < 0 && errno == EINTR) {}
    pid = -1;
  }
};

namespace {
[[noreturn]] void be_child(int out, const std::function<std::string()>& work, pid_t parent) {
  ::prctl(PR_SET_PDEATHSIG, SIGKILL);
  if (::getppid() != parent) ::_exit(1);
  for (const int each : {SIGINT, SIGTERM, SIGHUP}) std::signal(each, SIG_DFL);
  std::signal(SIGPIPE, SIG_DFL);
  // A connection that this process kept open would not end when the server closes it.
  if (out > 3) ::close_range(3, static_cast<unsigned>(out) - 1, 0);
  ::close_range(static_cast<unsigned>(out) + 1, ~0U, 0);
  std::string result;
  try {
    result = work();
  } catch (const std::exception&) {
    ::_exit(1);
  }
  for (std::size_t i = 0; i < result.size();) {
    const ssize_t written = ::write(out, result.data() + i, result.size() - i);
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) ::_exit(1);
    i += static_cast<std::size_t>(written);
  }
  ::_exit(0);
}

void read_on(const std::shared_ptr<Child::State>& state);
}  // namespace

Child::Child(asio::io_context& io, const std::function<std::string()>& work, std::function<void(std::string)> done)
    : state_(std::make_shared<State>(io)) {
  state_->done = std::move(done);
  std::array<int, 2> ends{};
  const pid_t parent = ::getpid();
  if (::pipe2(ends.data(), O_CLOEXEC) == 0) {
    state_->pid = ::fork();
    if (state_->pid == 0) be_child(ends[1], work, parent);
    ::close(ends[1]);
    if (state_->pid > 0) {
      state_->pipe.assign(ends[0]);
      read_on(state_);
      return;
    }
    ::close(ends[0]);
  }
  asio::post(io, [state = state_] {
    if (state->done) state->done({});
  });
}

namespace {
void read_on(const std::shared_ptr<Child::State>& state) {
  state->pipe.async_read_some(asio::buffer(state->buffer), [state](boost::system::error_code error, std::size_t count) {
    if (!state->done) return;
    state->got.append(state->buffer.data(), count);
    if (!error) return read_on(state);
    state->reap();
    boost::system::error_code ignored;
    state->pipe.close(ignored);
    auto done = std::move(state->done);
    state->done = nullptr;
    done(std::move(state->got));
  });
}
}  // namespace

Child::~Child() {
  state_->done = nullptr;
  state_->reap();
  boost::system::error_code ignored;
  state_->pipe.close(ignored);
}

}  // namespace teasel::view
