// A job that changes under the reader's hands: its text, its plan, and the way back.
#pragma once
#include <deque>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "teasel/job/edit.h"
#include "teasel/pipeline/run.h"

namespace teasel::view {

using Json = nlohmann::ordered_json;

/// A board, judged and planned, that follows quick edits.
struct LivePlan {
  pipeline::Run run;  ///< its access is empty: see `judging`
  std::unique_ptr<Judging> judging;
  std::unique_ptr<Planner> planner;
  Diagnostics loaded, understood;  ///< findings of the board; of everything before the verdicts
  std::vector<TargetId> touched;   ///< judged anew by the last edit
};

/// Reads, judges and plans; null with findings where that fails.
std::unique_ptr<LivePlan> plan_text(const std::string& text, const std::string& job_file, bool mechanics,
                                    const pipeline::Stage& stage, Diagnostics& diagnostics);

/// How much has to be worked out again after an edit.
enum class Reach { nothing, quick, needs, everything };
Reach reach_of(const std::string& before, const std::string& after, const LivePlan& plan);

/// Takes in an edit of needs, on the board and the verdicts at hand. Returns false with findings where that fails;
/// the plan then stays as it was.
bool follow_needs(LivePlan& plan, const std::string& before, const std::string& after, const pipeline::Stage& stage,
                  Diagnostics& diagnostics);
/// Takes in a quick edit. Returns false with findings where the plan cannot keep to it; the plan then stays as it was.
bool follow(LivePlan& plan, const std::string& after, Diagnostics& diagnostics);

/// A figure by which two plans are compared.
struct Figure {
  std::string what, text;
  double value{};  ///< only compared with the same figure of another plan
  int better{};    ///< 1: more is better; -1: less is better; 0: neither
};
/// Known as soon as the probes are placed.
std::vector<Figure> figures(const LivePlan& plan);
/// Known only when bending, plates and costs have been worked out.
std::vector<Figure> settled_figures(const pipeline::Run& run);

/// Where a probe of a plan stands.
struct ProbePlace {
  NetName net;
  std::string place;  ///< pad, side and class in words
  TargetId target;    ///< none: the target belongs to a board that was read before
};
std::vector<ProbePlace> places_of(const LivePlan& plan);
/// Which probes moved, went or came: rows of net, what happened, from, to; and the targets to look at.
Json moves(const std::vector<ProbePlace>& before, const std::vector<ProbePlace>& now);

/// Lines that differ between two texts: "- old", "+ new", with their numbers.
std::vector<std::string> changed_lines(const std::string& before, const std::string& after);

/// The value in one line. Bytes of file or net names that are not UTF-8 are replaced.
std::string written(const Json& value);
std::vector<std::string> errors_of(const Diagnostics& diagnostics);

/// A JSON value as TOML; "" for a value that TOML cannot express, that is nested deeper than any of a job file, or that
/// holds more than 20,000 values.
std::string to_toml(const Json& value);
/// Whether the value may stand at this plain path: where the path names a file of the shop, the value is a shipped name
/// or a file in the job's folder once all links are followed. True for all other paths.
bool file_is_allowed(const std::string& path, const Json& value, const std::string& job_file);
/// The edit, if the live page may make it: it names no file outside the job's folder and changes no input. Otherwise
/// `why` says what is wrong with it.
std::optional<JobEdit> edit_of(const Json& edit, const std::string& job_file, std::string& why);

/// Texts of the past and of what was undone. The oldest are forgotten where there are too many, or where together they
/// are too long; the last step back is always kept.
class History {
 public:
  static constexpr std::size_t kMostTexts = 1000, kMostBytes = 32'000'000;
  explicit History(std::string text) : now_(std::move(text)) {}
  [[nodiscard]] const std::string& now() const { return now_; }
  [[nodiscard]] bool can_undo() const { return !past_.empty(); }
  [[nodiscard]] bool can_redo() const { return !undone_.empty(); }
  [[nodiscard]] const std::string& before() const { return past_.back(); }
  [[nodiscard]] const std::string& after() const { return undone_.back(); }
  [[nodiscard]] std::size_t steps_back() const { return past_.size(); }
  void add(std::string text) {
    bytes_ += now_.size();
    past_.push_back(std::move(now_));
    now_ = std::move(text);
    undone_.clear();
    while (past_.size() > 1 && (past_.size() > kMostTexts || bytes_ > kMostBytes)) {
      bytes_ -= past_.front().size();
      past_.pop_front();
    }
  }
  void undo() {
    undone_.push_back(std::move(now_));
    now_ = std::move(past_.back());
    bytes_ -= now_.size();
    past_.pop_back();
  }
  void redo() {
    bytes_ += now_.size();
    past_.push_back(std::move(now_));
    now_ = std::move(undone_.back());
    undone_.pop_back();
  }

 private:
  std::string now_;
  std::deque<std::string> past_;
  std::size_t bytes_ = 0;  ///< of the past
  std::vector<std::string> undone_;
};

}  // namespace teasel::view
