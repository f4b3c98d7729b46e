// What the live page talks to: one job, its state, and the work that goes on behind it.
#pragma once
#include <boost/asio/io_context.hpp>
#include <memory>
#include <mutex>
#include <nlohmann/json.hpp>
#include <optional>
#include <thread>

#include "child.h"
#include "first.h"
#include "live.h"
#include "server.h"
#include "teasel/view.h"

namespace teasel::view {

class Desk {
 public:
  /// A job file, or release files whose first job is confirmed before anything is planned.
  Desk(boost::asio::io_context& io, const ViewWanted& wanted, Diagnostics& diagnostics);
  ~Desk();
  Response answer(const Request& request);

 private:
  /// The same before the inputs of release files are confirmed.
  Response answer_of_first(const Request& request);
  Response state();
  Response page();
  Response shop();
  Response edit(const Request& request);
  Response step(bool back);
  Response save();
  Response read_again();
  Response begin();

  /// Makes `text` the text of the job; `keep` puts it into the history. Works in the background where more has to be
  /// made anew than a quick edit asks for.
  Response take(std::string text, const std::function<void()>& keep);
  void work(std::string text, Reach reach, std::function<void()> keep);
  void worked(std::unique_ptr<LivePlan> made, bool good, const Diagnostics& found, const std::function<void()>& keep);
  void take_up_unsaved();
  void keep_unsaved();
  void settle();
  void settled(const std::string& result);
  Json job_json() const;
  void accept(const std::vector<Figure>& before, const std::vector<ProbePlace>& places_before);
  Response refused(const Diagnostics& diagnostics) const;
  [[nodiscard]] bool disk_differs() const;

  boost::asio::io_context& io_;
  ViewWanted wanted_;
  std::string file_, on_disk_;
  std::optional<History> history_;
  std::optional<FirstFolder> first_;  ///< until its inputs are confirmed
  std::unique_ptr<LivePlan> plan_;
  int version_ = 0;           ///< grows with every plan
  int settled_version_ = -1;  ///< the plan whose bending, plates and costs are in the page below
  int page_version_ = -1;
  std::string page_;  ///< JSON, of `page_version_`
  std::unique_ptr<Child> child_;
  int children_ = 0;  ///< started so far
  std::string settling_failed_;
  std::thread worker_;
  bool busy_ = false;
  std::mutex progress_lock_;
  std::string progress_what_;
  double progress_ = 0;
  std::vector<std::string> findings_;  ///< of the edit that was refused last, or of a job that cannot be planned
  std::string unsaved_said_;           ///< what became of changes that an earlier server did not save
  Json effect_, moves_ = Json::object();
  std::vector<Figure> settled_figures_, settled_before_;
  std::vector<Figure> figures_at_work_;  ///< of the plan before the work that goes on in the background
  std::vector<ProbePlace> places_at_work_;
};

}  // namespace teasel::view
