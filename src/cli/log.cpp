#include "log.h"

#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <cstdio>
#include <iostream>
#include <map>

#include "teasel/written.h"

namespace teasel::cli {

namespace {
spdlog::level::level_enum level_of(const Common& common) {
  if (common.quiet) return spdlog::level::err;
  return common.verbose ? spdlog::level::debug : spdlog::level::warn;
}
/// A terminal, and nobody asked for none.
bool wants_colour() {
  const char* no_color = std::getenv("NO_COLOR");
  return isatty(STDOUT_FILENO) && !(no_color && *no_color);
}
}  // namespace

void set_up_log(const Common& common) {
  const bool colour = wants_colour();
  auto sink = std::make_shared<spdlog::sinks::stderr_color_sink_mt>(colour ? spdlog::color_mode::automatic
                                                                           : spdlog::color_mode::never);
  auto log = std::make_shared<spdlog::logger>("teasel", sink);
  log->set_pattern("%^%v%$");
  log->set_level(level_of(common));
  spdlog::set_default_logger(log);
}

void log_findings(const Diagnostics& diagnostics) {
  const bool all = spdlog::default_logger_raw()->should_log(spdlog::level::debug);
  std::map<std::string, std::size_t> count, told;
  for (const Finding& finding : diagnostics.all())
    if (finding.severity != Severity::note) ++count[finding.code];
  for (const Finding& finding : diagnostics.all()) {
    // A few of a kind show what is meant.
    constexpr std::size_t kOfAKind = 3;
    std::string text = to_string(finding);
    if (finding.severity != Severity::note && !all) {
      const std::size_t here = ++told[finding.code], of = count[finding.code];
      if (here > kOfAKind) continue;
      if (here == kOfAKind && of > here)
        text += "\n  and " + std::to_string(of - here) + " more of this kind; -v shows them";
    }
    if (finding.severity == Severity::error)
      spdlog::error(text);
    else if (finding.severity == Severity::warning)
      spdlog::warn(text);
    else
      spdlog::debug(text);
  }
}

void log_error(const std::string& text) {
  spdlog::error(visible(text));
}

void say(std::string_view line) {
  std::cout << visible(line) << "\n";
}
void say_json(std::string_view json) {
  std::cout << visible_json(json);
}

void print_answers(const std::vector<AnswerRow>& rows) {
  const char* kind = std::getenv("TERM");
  const bool colour = wants_colour() && !(kind && std::string_view(kind) == "dumb");
  const auto code = [](Tone tone) {
    switch (tone) {
      case Tone::good: return "\x1b[32m";
      case Tone::careful: return "\x1b[33m";
      case Tone::bad: return "\x1b[1;31m";
      case Tone::plain: break;
    }
    return "";
  };
  for (const AnswerRow& row : rows) {
    std::string title = row.title;
    title.resize(kAnswerTitle, ' ');
    if (colour)
      std::cout << "\x1b[1m" << visible(title) << "\x1b[0m" << code(row.tone) << visible(row.text) << "\x1b[0m\n";
    else
      std::cout << visible(title) << visible(row.text) << "\n";
  }
}

Progress::Progress(bool quiet)
    : shown_(!quiet && isatty(STDERR_FILENO)),
      lines_(!quiet && !isatty(STDERR_FILENO)),
      start_(std::chrono::steady_clock::now()) {}

void Progress::operator()(const char* what, double fraction) {
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  spdlog::debug("{} ({:.2f} s)", what, seconds);
  constexpr double kPatience = 2;
  if (lines_ && seconds > kPatience && fraction < 1)
    std::fprintf(stderr, "%.0f s: %s (%.0f %%)\n", seconds, what, 100 * fraction);
  if (!shown_ || seconds < 1) return;
  std::string bar(20, ' ');
  for (int i = 0; i < static_cast<int>(fraction * 20); ++i) bar[static_cast<std::size_t>(i)] = '=';
  std::fprintf(stderr, "\r[%s] %-24s", bar.c_str(), what);
  std::fflush(stderr);
  drawn_ = true;
}

void Progress::clear() {
  if (drawn_) {
    std::fprintf(stderr, "\r%*s\r", 50, "");
    std::fflush(stderr);
  }
  drawn_ = false;
}

}  // namespace teasel::cli
