// A job that changes under the reader's hands: its text, its plan, and the way back.
#pragma once
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "teasel/job/edit.h"
#include "teasel/pipeline/run.h"

namespace teasel::view {

using Json = nlohmann::ordered_json;

/// A board, judged and planned, that follows quick edits.
struct Planned {
  pipeline::Run run;  ///< its access is empty: see `judging`
  std::unique_ptr<Judging> judging;
  std::unique_ptr<Planner> planner;
  Diagnostics loaded, understood;  ///< findings of the board; of everything before the verdicts
  std::vector<int> touched;        ///< targets judged anew by the last edit
};

/// Reads, judges and plans; null with findings where that fails.
std::unique_ptr<Planned> plan_text(const std::string& text, const std::string& job_file, bool mechanics,
                                   const pipeline::Stage& stage, Diagnostics& diagnostics);

/// How much an edit makes necessary.
enum class Reach { nothing, quick, needs, everything };
Reach reach_of(const std::string& before, const std::string& after, const Planned& planned);

/// Takes an edit of needs in, on the board and the verdicts at hand; false with findings, and all as before.
bool follow_needs(Planned& planned, const std::string& before, const std::string& after, const pipeline::Stage& stage,
                  Diagnostics& diagnostics);
/// Takes a quick edit in; false with findings, and all as before, where it cannot be kept.
bool follow(Planned& planned, const std::string& after, Diagnostics& diagnostics);

/// What counts when two plans are compared: one row a figure.
struct Figure {
  std::string what, text;
  double value{};
  int better{};
};  ///< better: 1 if more is better, -1 if less is, 0 neither
std::vector<Figure> figures(const Planned& planned);
/// Of a plan whose bending, plates and costs are worked out, besides.
std::vector<Figure> settled_figures(const pipeline::Run& run);

struct ProbePlace {
  std::string net, place;
  int target = -1;
};  ///< place: pad, side and class in words
std::vector<ProbePlace> places_of(const Planned& planned);
/// Where probes went: rows of net, what happened, from, to; and the targets to look at.
Json moves(const std::vector<ProbePlace>& before, const std::vector<ProbePlace>& now);

/// Lines that differ between two texts: "- old", "+ new", with their numbers.
std::vector<std::string> changed_lines(const std::string& before, const std::string& after);

/// One line; what is not UTF-8 in names of files and nets is replaced.
std::string written(const Json& value);
std::vector<std::string> errors_of(const Diagnostics& diagnostics);

/// A JSON value as TOML; "" for what TOML does not know.
std::string to_toml(const Json& value);
/// The edit, if the live page may make it: no file outside the job's folder is named, no input changed.
std::optional<JobEdit> edit_of(const Json& edit, const std::string& job_file, std::string& why);

/// Texts of the past and of what was undone.
class History {
 public:
  explicit History(std::string text) : now_(std::move(text)) {}
  [[nodiscard]] const std::string& now() const { return now_; }
  [[nodiscard]] bool can_undo() const { return !past_.empty(); }
  [[nodiscard]] bool can_redo() const { return !undone_.empty(); }
  [[nodiscard]] const std::string& before() const { return past_.back(); }
  [[nodiscard]] const std::string& after() const { return undone_.back(); }
  void add(std::string text) {
    past_.push_back(std::move(now_));
    now_ = std::move(text);
    undone_.clear();
  }
  void undo() {
    undone_.push_back(std::move(now_));
    now_ = std::move(past_.back());
    past_.pop_back();
  }
  void redo() {
    past_.push_back(std::move(now_));
    now_ = std::move(undone_.back());
    undone_.pop_back();
  }

 private:
  std::string now_;
  std::vector<std::string> past_, undone_;
};

}  // namespace teasel::view
