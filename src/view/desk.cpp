#include "desk.h"

#include <algorithm>
#include <boost/asio/post.hpp>
#include <filesystem>

#include "teasel/job/shipped.h"
#include "teasel/pipeline/files.h"
#include "teasel/report.h"

namespace teasel::view {

namespace fs = std::filesystem;

namespace {
constexpr std::size_t kMostEdits = 200;         // in one request
constexpr std::size_t kLongestJob = 4'000'000;  // bytes, as far as the page makes it grow
constexpr const char* kUnsaved = ".unsaved";    // behind the name of the job file

Response json(const Json& value, unsigned status = 200) {
  return {status, "application/json", written(value)};
}
Response nothing_here() {
  return {404, "text/plain", "There is nothing here.\n"};
}

Json parts_json(const PageParts& parts) {
  return {{"head", parts.head}, {"rest", parts.rest}, {"data", parts.data}};
}

Json rows_of(const std::vector<Figure>& list) {
  Json rows = Json::array();
  for (const Figure& figure : list)
    rows.push_back({{"what", figure.what}, {"text", figure.text}, {"value", figure.value}, {"better", figure.better}});
  return rows;
}
std::vector<Figure> rows_from(const Json& rows) {
  std::vector<Figure> list;
  for (const Json& row : rows) list.push_back({row.at("what"), row.at("text"), row.at("value"), row.at("better")});
  return list;
}

/// 1: better than before; -1: worse; 0: the same to the eye, or neither.
int sense_of(const Figure& before, const Figure& now) {
  if (before.text == now.text || now.better == 0) return 0;
  return (now.value > before.value) == (now.better > 0) ? 1 : -1;
}

/// Before and now, figure by figure. A figure that only one of the plans has is left out.
Json compared(const std::vector<Figure>& before, const std::vector<Figure>& now) {
  Json rows = Json::array();
  for (const Figure& figure : now) {
    const auto same =
        std::find_if(before.begin(), before.end(), [&](const Figure& each) { return each.what == figure.what; });
    if (same == before.end()) continue;
    rows.push_back(
        {{"what", figure.what}, {"before", same->text}, {"now", figure.text}, {"sense", sense_of(*same, figure)}});
  }
  return rows;
}

}  // namespace

Desk::Desk(boost::asio::io_context& io, const ViewWanted& wanted, Diagnostics& diagnostics) : io_(io), wanted_(wanted) {
  std::error_code ignored;
  if (pipeline::is_release(wanted.path)) {
    file_ = wanted.job_file;
    if (fs::exists(file_, ignored))
      diagnostics.error({.code = "view-exists",
                         .at = {file_, 0, 0, {}},
                         .message = "a job file of this name exists, and it may hold your edits",
                         .remedy = "view that file, or give another name with -o"});
    else
      first_ = first_folder(wanted.path, file_, diagnostics);
    return;
  }
  file_ = wanted.path;
  const auto text = pipeline::read_file(file_, file_, diagnostics);
  if (!text) return;
  if (pipeline::is_utf16(*text)) {
    diagnostics.error({.code = "view-utf16",
                       .at = {file_, 0, 0, {}},
                       .message = "the page does not change a job file in UTF-16",
                       .remedy = "save the job file as UTF-8"});
    return;
  }
  on_disk_ = *text;
  history_.emplace(*text);
  take_up_unsaved();
  work(history_->now(), Reach::everything, [] {});
}

/// What an earlier server was asked for and did not save. It is the text to begin with, and what is on disk is one step
/// back, unless the job file was written later.
void Desk::take_up_unsaved() {
  const std::string beside = file_ + kUnsaved;
  std::error_code none;
  if (!fs::is_regular_file(beside, none)) return;
  Diagnostics diagnostics;
  const auto text = pipeline::read_file(beside, beside, diagnostics);
  if (!text || *text == on_disk_) return;
  if (fs::last_write_time(beside, none) < fs::last_write_time(file_, none) ||
      (read_job(*text, file_, diagnostics), diagnostics.failed())) {
    unsaved_said_ = "Changes that were not saved lie in " + beside +
                    ". They are not taken up, because the job file was written later, or because they cannot be read.";
    return;
  }
  history_->add(*text);
  unsaved_said_ = "Changes of an earlier time that were not saved were taken up again. Undo leads to the saved job.";
}

/// Writes what is not saved beside the job file, so that it outlives this process.
void Desk::keep_unsaved() {
  const std::string beside = file_ + kUnsaved;
  std::error_code none;
  if (history_->now() == on_disk_) {
    fs::remove(beside, none);
    return;
  }
  Diagnostics diagnostics;
  pipeline::write_file(beside, history_->now(), diagnostics);
  // Who may not read the job may not read this.
  if (const auto job = fs::status(file_, none); fs::exists(job)) fs::permissions(beside, job.permissions(), none);
  if (diagnostics.failed()) unsaved_said_ = "What is not saved cannot be kept beside the job file: " + beside;
}

Desk::~Desk() {
  child_.reset();
  if (worker_.joinable()) worker_.join();
}

Response Desk::answer(const Request& request) {
  if (first_) return answer_of_first(request);
  const std::string& path = request.path;
  if (!request.post) {
    if (path.empty()) return {200, "text/html", live_shell(fs::path(file_).filename().string() + ", live")};
    if (path == "live.js") return {200, "text/javascript", live_script()};
    if (path == "state") return state();
    if (path == "page") return page();
    if (path == "shop") return shop();
    return nothing_here();
  }
  if (busy_ && (path == "edit" || path == "undo" || path == "redo" || path == "again"))
    return json({{"error", "The last change is still being worked out. Wait until that is done."}}, 503);
  if (path == "edit") return edit(request);
  if (path == "undo" || path == "redo") return step(path == "undo");
  if (path == "save") return save();
  if (path == "again") return read_again();
  return nothing_here();
}

Response Desk::answer_of_first(const Request& request) {
  const std::string& path = request.path;
  if (request.post) {
    if (path == "edit") return first_->edit(request.body);
    return path == "begin" ? begin() : nothing_here();
  }
  static const std::string layer = "layer/";
  if (path.empty()) {
    const fs::path folder = fs::absolute(wanted_.path).lexically_normal();
    return {200, "text/html", first_shell("Release files in " + folder.generic_string())};
  }
  if (path == "first.js") return {200, "text/javascript", first_script()};
  if (path == "state") return json(first_->state());
  if (path.starts_with("preview/")) return first_->preview();
  if (path.starts_with(layer)) return first_->drawing(path.substr(layer.size()));
  return nothing_here();
}

bool Desk::disk_differs() const {
  Diagnostics ignored;
  const auto text = pipeline::read_file(file_, file_, ignored);
  return !text || *text != on_disk_;
}

Json Desk::job_json() const {
  return Json::parse(toml_as_json(history_->now()), nullptr, false);
}

Response Desk::state() {
  Json said = {{"version", version_},
               {"settled", settled_version_ == version_},
               {"settling", child_ != nullptr},
               {"failed", settling_failed_},
               {"file", file_},
               {"planned", plan_ != nullptr},
               {"busy", busy_}};
  if (busy_) {
    const std::lock_guard hold(progress_lock_);
    said["doing"] = progress_what_;
    said["share"] = progress_;
  }
  said["can_undo"] = history_->can_undo();
  said["can_redo"] = history_->can_redo();
  said["lines"] = changed_lines(on_disk_, history_->now());
  said["disk_differs"] = disk_differs();
  said["findings"] = findings_;
  if (!unsaved_said_.empty()) said["findings"].push_back(unsaved_said_);
  said["effect"] = effect_;
  said["moves"] = moves_;
  said["job"] = job_json();
  return json(said);
}

/// What a job may choose from.
Response Desk::shop() {
  Json choice = {{"version", version_}};
  for (const char* kind : {"styles", "kits"}) choice[kind] = shipped_names(kind);
  if (!plan_ || busy_) return json(choice);
  const pipeline::Run& run = plan_->run;
  Diagnostics ignored;
  Json classes = Json::array(), kinds = Json::array();
  if (const auto text = pipeline::shop_text("catalogues", run.job.fixture.catalogue, file_))
    for (const ProbeClass& probe : read_catalogue(*text, run.job.fixture.catalogue, ignored).classes)
      classes.push_back(probe.name);
  for (const auto& [kind, rule] : run.rules.shared_space) kinds.push_back(kind);
  choice["classes"] = std::move(classes);
  choice["kinds"] = std::move(kinds);
  choice["panel"] = !run.board.places.empty();
  if (const auto rules = pipeline::shop_text("rules", run.job.fixture.rules, file_))
    choice["rules"] = Json::parse(toml_as_json(*rules), nullptr, false);
  return json(choice);
}

Response Desk::page() {
  if (!plan_ || busy_) return json({{"error", "Nothing has been planned yet."}}, 503);
  if (page_version_ != version_) {
    // Until bending, plates and costs are known again, the page shows what is known without them.
    pipeline::Run& run = plan_->run;
    const Access& access = plan_->judging->access();
    run.results.mechanics = {};
    run.results.plates.clear();
    run.results.wiring.clear();
    run.results.cost = {};
    run.results.advice.clear();
    run.results.bed = {};
    run.results.sensitivity.clear();
    run.results.small_lands = {};
    run.results.proving = {};
    pipeline::cover(run, access);
    const Outcome outcome = run.outcome(access);
    Json parts = parts_json(page_parts(outcome, pipeline::page_lists(run, outcome)));
    parts["version"] = version_;
    parts["settled"] = false;
    page_ = written(parts);
    page_version_ = version_;
  }
  return {200, "application/json", page_};
}

Response Desk::refused(const Diagnostics& diagnostics) const {
  return json({{"error", "The change could not be made."}, {"findings", errors_of(diagnostics)}, {"version", version_}},
              422);
}

Response Desk::edit(const Request& request) {
  const Json body = Json::parse(request.body, nullptr, false);
  const bool of_this_plan = body.is_object() && body.value("version", Json()) == version_;
  const bool has_edits = body.is_object() && body.contains("edits") && body["edits"].is_array() &&
                         !body["edits"].empty() && body["edits"].size() <= kMostEdits;
  if (!of_this_plan || !has_edits) {
    const bool late = body.is_object() && !of_this_plan;
    return json({{"error", late ? "The plan has changed in the meantime. Look at it again before you change it."
                                : "The request must hold a list of edits, not too many at once."},
                 {"version", version_}},
                body.is_object() && body.contains("version") ? 409 : 400);
  }
  std::vector<JobEdit> edits;
  for (const Json& each : body["edits"]) {
    std::string why;
    const auto edit = edit_of(each, file_, why);
    if (!edit) return json({{"error", why}, {"version", version_}}, 403);
    edits.push_back(*edit);
  }
  Diagnostics diagnostics;
  const auto text = edited_text(history_->now(), file_, edits, diagnostics);
  if (!text) return refused(diagnostics);
  if (text->size() > std::max(kLongestJob, history_->now().size()))
    return json(
        {{"error", "The job would hold more than 4 MB, which is more than this page changes."}, {"version", version_}},
        422);
  if (*text == history_->now()) return json({{"version", version_}, {"nothing", true}});
  return take(*text, [this, made = *text] { history_->add(made); });
}

Response Desk::step(bool back) {
  if (back ? !history_->can_undo() : !history_->can_redo())
    return json({{"error", back ? "There is nothing to undo." : "There is nothing to redo."}, {"version", version_}},
                409);
  const std::string text = back ? history_->before() : history_->after();
  return take(text, [this, back] { back ? history_->undo() : history_->redo(); });
}

Response Desk::save() {
  if (disk_differs())
    return json({{"error",
                  "The file has changed on disk since it was read, so it was not overwritten. Copy your lines, or read "
                  "the file "
                  "again."},
                 {"version", version_}},
                409);
  Diagnostics diagnostics;
  if (history_->now() != on_disk_) pipeline::write_file(file_, history_->now(), diagnostics);
  if (diagnostics.failed()) {
    const Finding& first = diagnostics.all()[0];
    return json({{"error", first.message + ": " + first.found}, {"version", version_}}, 500);
  }
  on_disk_ = history_->now();
  unsaved_said_.clear();
  keep_unsaved();
  return json({{"version", version_}, {"saved", true}});
}

Response Desk::read_again() {
  Diagnostics diagnostics;
  const auto text = pipeline::read_file(file_, file_, diagnostics);
  if (!text) return refused(diagnostics);
  on_disk_ = *text;
  // What was changed here stays in the history. The input files may have changed as well, so everything is made anew.
  work(*text, Reach::everything, [this, read = *text] {
    if (history_->now() != read) history_->add(read);
  });
  return json({{"version", version_}, {"busy", true}}, 202);
}

Response Desk::begin() {
  Diagnostics diagnostics;
  const std::string text = first_->draft().text;
  std::error_code ignored;
  if (fs::exists(file_, ignored))
    return json({{"error", "A file named " + file_ + " exists by now. It was not overwritten."}}, 409);
  pipeline::write_packed(first_->draft(), file_, diagnostics);
  if (!diagnostics.failed()) pipeline::write_file(file_, text, diagnostics);
  if (diagnostics.failed()) return refused(diagnostics);
  first_.reset();
  on_disk_ = text;
  history_.emplace(text);
  work(text, Reach::everything, [] {});
  return json({{"begun", true}}, 202);
}

Response Desk::take(std::string text, const std::function<void()>& keep) {
  findings_.clear();
  const Reach reach = plan_ ? reach_of(history_->now(), text, *plan_) : Reach::everything;
  if (reach == Reach::needs || reach == Reach::everything) {
    work(std::move(text), reach, keep);
    return json({{"version", version_}, {"busy", true}}, 202);
  }
  const auto before = figures(*plan_);
  const auto places = places_of(*plan_);
  Diagnostics diagnostics;
  if (reach == Reach::quick) {
    child_.reset();
    if (!follow(*plan_, text, diagnostics)) {
      findings_ = errors_of(diagnostics);
      settle();
      return refused(diagnostics);
    }
  } else {
    plan_->touched.clear();
  }
  keep();
  accept(before, places);
  const Json said = {{"version", version_},
                     {"effect", effect_},
                     {"moves", moves_},
                     {"job", job_json()},
                     {"can_undo", history_->can_undo()},
                     {"can_redo", history_->can_redo()},
                     {"lines", changed_lines(on_disk_, history_->now())}};
  // The patch is JSON text already: it goes in before the last bracket.
  std::string text_said = written(said);
  text_said.back() = ',';
  text_said += "\"patch\":" + page_patch(plan_->run.outcome(plan_->judging->access()), plan_->touched) + "}";
  return {200, "application/json", std::move(text_said)};
}

void Desk::accept(const std::vector<Figure>& before, const std::vector<ProbePlace>& places_before) {
  ++version_;
  keep_unsaved();
  settled_before_ = settled_figures_;
  effect_ = compared(before, figures(*plan_));
  moves_ = moves(places_before, places_of(*plan_));
  settle();
}

/// Bending, plates, costs and advice are worked out by another process on a copy of what is known, so that the next
/// edit can stop it at once.
void Desk::settle() {
  child_.reset();
  settling_failed_.clear();
  if (!plan_ || settled_version_ == version_) return;
  ++children_;
  child_ = std::make_unique<Child>(
      io_,
      [this] {
        pipeline::Run& run = plan_->run;
        PlanLimits limits;
        limits.time = run.job.effort.time_limit;
        const auto silent = [](const char*, double) {};
        PlanResult whole = plan_->planner->plan({}, limits, run.diagnostics);
        run.plan = std::move(whole);
        run.access = std::move(*plan_->judging).take();
        if (!run.diagnostics.failed()) pipeline::finish(run, limits, silent);
        if (run.diagnostics.failed()) return written({{"findings", errors_of(run.diagnostics)}});
        const Outcome outcome = run.outcome();
        Json parts = parts_json(page_parts(outcome, pipeline::page_lists(run, outcome)));
        parts["version"] = version_;
        parts["settled"] = true;
        parts["figures"] = rows_of(settled_figures(run));
        return written(parts);
      },
      [this](const std::string& result) { settled(result); });
}

void Desk::settled(const std::string& result) {
  Json parts = Json::parse(result, nullptr, false);
  // This is called from within the child's own code: it is taken away only once the loop is back.
  boost::asio::post(io_, [this, number = children_] {
    if (number == children_) child_.reset();
  });
  if (!parts.is_object() || !parts.contains("data")) {
    settling_failed_ = "Bending, plates and costs could not be worked out";
    if (parts.is_object() && parts.contains("findings") && !parts["findings"].empty())
      settling_failed_ += ": " + parts["findings"][0].get<std::string>();
    return;
  }
  settled_figures_ = rows_from(parts["figures"]);
  const Json more = compared(settled_before_, settled_figures_);
  if (effect_.is_array())
    for (const Json& row : more) effect_.push_back(row);
  parts.erase("figures");
  page_ = written(parts);
  page_version_ = settled_version_ = version_;
}

void Desk::work(std::string text, Reach reach, std::function<void()> keep) {
  child_.reset();
  if (worker_.joinable()) worker_.join();
  busy_ = true;
  figures_at_work_.clear();
  places_at_work_.clear();
  if (plan_) {
    figures_at_work_ = figures(*plan_);
    places_at_work_ = places_of(*plan_);
  }
  findings_.clear();
  {
    const std::lock_guard hold(progress_lock_);
    progress_what_ = "reading";
    progress_ = 0;
  }
  auto plan_anew = [this, text = std::move(text), before = history_->now(), reach, keep = std::move(keep)] {
    const pipeline::Stage stage = [this](const char* what, double share) {
      const std::lock_guard hold(progress_lock_);
      progress_what_ = what;
      progress_ = share;
    };
    auto found = std::make_shared<Diagnostics>();
    auto made = std::make_shared<std::unique_ptr<LivePlan>>();
    bool good = false;
    try {
      if (reach == Reach::needs)
        good = follow_needs(*plan_, before, text, stage, *found);
      else {
        *made = plan_text(text, file_, wanted_.mechanics, stage, *found);
        good = *made != nullptr;
      }
    } catch (const std::exception& exception) {
      found->error({.code = "internal",
                    .at = {file_, 0, 0, {}},
                    .message = "the job could not be planned",
                    .found = exception.what()});
    }
    boost::asio::post(io_, [this, made, good, found, keep] { worked(std::move(*made), good, *found, keep); });
  };
  try {
    worker_ = std::thread(plan_anew);
  } catch (const std::system_error&) {
    // The system gives no thread: the page waits until the plan is there.
    plan_anew();
  }
}

void Desk::worked(std::unique_ptr<LivePlan> made, bool good, const Diagnostics& found,
                  const std::function<void()>& keep) {
  if (worker_.joinable()) worker_.join();
  busy_ = false;
  if (!good) {
    findings_ = errors_of(found);
    if (plan_) {
      // With a new number the page asks again, and finds the old plan.
      ++version_;
      page_version_ = -1;
      settle();
    }
    return;
  }
  std::vector<Figure> before = std::move(figures_at_work_);
  std::vector<ProbePlace> places = std::move(places_at_work_);
  const bool first = before.empty();
  if (made) {
    plan_ = std::move(made);
    // The names still hold, but the targets belong to the board that was read before.
    for (ProbePlace& place : places) place.target = {};
  }
  if (first) places = places_of(*plan_);
  keep();
  accept(before, places);
}

}  // namespace teasel::view
