#include "desk.h"

#include <sys/stat.h>

#include <algorithm>
#include <boost/asio/post.hpp>
#include <filesystem>

#include "teasel/job/shipped.h"
#include "teasel/pipeline/files.h"
#include "teasel/report.h"

namespace teasel::view {

namespace fs = std::filesystem;

namespace {
constexpr std::size_t kMostEdits = 200;  // in one request

Response json(const Json& j, unsigned status = 200) {
  return {status, "application/json", written(j)};
}

Json parts_json(const PageParts& p) {
  return {{"head", p.head}, {"rest", p.rest}, {"data", p.data}};
}

Json rows_of(const std::vector<Figure>& list) {
  Json rows = Json::array();
  for (const Figure& f : list)
    rows.push_back({{"what", f.what}, {"text", f.text}, {"value", f.value}, {"better", f.better}});
  return rows;
}
std::vector<Figure> rows_from(const Json& rows) {
  std::vector<Figure> out;
  for (const Json& r : rows) out.push_back({r.at("what"), r.at("text"), r.at("value"), r.at("better")});
  return out;
}

/// Before and now, figure by figure; what is not known yet is left out.
Json compared(const std::vector<Figure>& before, const std::vector<Figure>& now) {
  Json rows = Json::array();
  for (const Figure& f : now) {
    const auto b = std::find_if(before.begin(), before.end(), [&](const Figure& x) { return x.what == f.what; });
    if (b == before.end()) continue;
    const bool same = b->text == f.text;
    rows.push_back({{"what", f.what},
                    {"before", b->text},
                    {"now", f.text},
                    {"sense", same || f.better == 0                    ? 0
                              : (f.value > b->value) == (f.better > 0) ? 1
                                                                       : -1}});
  }
  return rows;
}

bool replace_file(const std::string& file, const std::string& text, Diagnostics& d) {
  std::error_code ec;
  // A link stays a link, and the file keeps its rights.
  const fs::path real = fs::exists(file, ec) ? fs::canonical(file, ec) : fs::path(file);
  struct stat s {};
  const bool there = ::stat(real.c_str(), &s) == 0;
  pipeline::write_file(real, text, d);
  if (there && !d.failed()) ::chmod(real.c_str(), s.st_mode & 07777);
  return !d.failed();
}
}  // namespace

Desk::Desk(boost::asio::io_context& io, const ViewWanted& wanted, Diagnostics& d) : io_(io), wanted_(wanted) {
  std::error_code ec;
  if (fs::is_directory(wanted.path, ec)) {
    file_ = wanted.job_file;
    if (fs::exists(file_, ec))
      d.error("view-exists", {file_, 0, 0, {}}, "a job file of this name exists; it may hold your edits", {}, {},
              "view that file, or give another name with -o");
    else
      first_ = first_folder(wanted.path, file_, d);
    return;
  }
  file_ = wanted.path;
  const auto text = pipeline::read_file(file_, file_, d);
  if (!text) return;
  on_disk_ = *text;
  history_.emplace(*text);
  work(*text, Reach::everything, [] {});
}

Desk::~Desk() {
  child_.reset();
  if (worker_.joinable()) worker_.join();
}

Response Desk::answer(const Request& q) {
  if (!q.post) {
    if (q.path.empty())
      return {200, "text/html",
              first_ ? first_shell("Release files in " + fs::absolute(wanted_.path).lexically_normal().generic_string())
                     : live_shell(fs::path(file_).filename().string() + ", live")};
    if (q.path == "state") return first_ ? json(first_->state()) : state();
    if (q.path == "page" && !first_) return page();
    if (q.path == "shop" && !first_) return shop();
    if (first_ && q.path.rfind("layer/", 0) == 0) return first_->drawing(q.path.substr(6));
    return {404, "text/plain", "nothing here\n"};
  }
  if (first_) {
    if (q.path == "edit") return first_->edit(q.body);
    if (q.path == "begin") return begin();
    return {404, "text/plain", "nothing here\n"};
  }
  if (busy_ && (q.path == "edit" || q.path == "undo" || q.path == "redo" || q.path == "again"))
    return json({{"error", "a change is still being worked out"}}, 503);
  if (q.path == "edit") return edit(q);
  if (q.path == "undo" || q.path == "redo") return step(q.path == "undo");
  if (q.path == "save") return save();
  if (q.path == "again") return read_again();
  return {404, "text/plain", "nothing here\n"};
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
  Json j = {{"version", version_},
            {"settled", settled_version_ == version_},
            {"settling", child_ != nullptr},
            {"failed", settling_failed_},
            {"file", file_},
            {"planned", planned_ != nullptr},
            {"busy", busy_}};
  if (busy_) {
    const std::lock_guard hold(progress_lock_);
    j["doing"] = progress_what_;
    j["share"] = progress_;
  }
  j["can_undo"] = history_->can_undo();
  j["can_redo"] = history_->can_redo();
  j["lines"] = changed_lines(on_disk_, history_->now());
  j["disk_differs"] = disk_differs();
  j["findings"] = findings_;
  j["effect"] = effect_;
  j["moves"] = moves_;
  j["job"] = job_json();
  return json(j);
}

/// What a job may choose from.
Response Desk::shop() {
  Json j = {{"version", version_}};
  for (const char* kind : {"styles", "kits"}) j[kind] = shipped_names(kind);
  if (!planned_ || busy_) return json(j);
  const pipeline::Run& run = planned_->run;
  Diagnostics ignored;
  Json classes = Json::array(), kinds = Json::array();
  if (const auto text = pipeline::shop_text("catalogues", run.job.catalogue, file_))
    for (const ProbeClass& c : read_catalogue(*text, run.job.catalogue, ignored).classes) classes.push_back(c.name);
  for (const auto& [kind, rule] : run.rules.shared_space) kinds.push_back(kind);
  j["classes"] = std::move(classes);
  j["kinds"] = std::move(kinds);
  j["panel"] = !run.board.places.empty();
  if (const auto rules = pipeline::shop_text("rules", run.job.rules, file_))
    j["rules"] = Json::parse(toml_as_json(*rules), nullptr, false);
  return json(j);
}

Response Desk::page() {
  if (!planned_ || busy_) return json({{"error", "nothing is planned yet"}}, 503);
  if (page_version_ != version_) {
    // Until bending, plates and costs are known again: what is known without them.
    pipeline::Run& run = planned_->run;
    const Access& access = planned_->judging->access();
    run.mechanics = {};
    run.plates.clear();
    run.wiring.clear();
    run.cost = {};
    run.advice.clear();
    run.bed = {};
    run.sensitivity.clear();
    run.proving = {};
    pipeline::cover(run, access);
    const Outcome o = run.outcome(access);
    Json j = parts_json(page_parts(o, pipeline::page_lists(o)));
    j["version"] = version_;
    j["settled"] = false;
    page_ = written(j);
    page_version_ = version_;
  }
  return {200, "application/json", page_};
}

Response Desk::refused(const Diagnostics& d) const {
  return json({{"error", "the change was not taken"}, {"findings", errors_of(d)}, {"version", version_}}, 422);
}

Response Desk::edit(const Request& q) {
  const Json body = Json::parse(q.body, nullptr, false);
  if (!body.is_object() || !body.contains("edits") || !body["edits"].is_array() || body["edits"].empty() ||
      body["edits"].size() > kMostEdits || body.value("version", Json()) != version_)
    return json({{"error", body.is_object() && body.value("version", Json()) != version_
                               ? "the plan has changed since; look again"
                               : "a list of edits is expected"},
                 {"version", version_}},
                body.is_object() && body.contains("version") ? 409 : 400);
  std::vector<JobEdit> edits;
  for (const Json& e : body["edits"]) {
    std::string why;
    const auto one = edit_of(e, file_, why);
    if (!one) return json({{"error", why}, {"version", version_}}, 403);
    edits.push_back(*one);
  }
  Diagnostics d;
  auto text = edited_text(history_->now(), file_, edits, d);
  if (!text) return refused(d);
  if (*text == history_->now()) return json({{"version", version_}, {"nothing", true}});
  return take(*text, [this, t = *text] { history_->add(t); });
}

Response Desk::step(bool back) {
  if (back ? !history_->can_undo() : !history_->can_redo())
    return json({{"error", "there is nothing to do so with"}, {"version", version_}}, 409);
  const std::string text = back ? history_->before() : history_->after();
  return take(text, [this, back] { back ? history_->undo() : history_->redo(); });
}

Response Desk::save() {
  if (disk_differs())
    return json(
        {{"error",
          "the file has changed on disk since it was read; it is left alone. Copy your lines, or read it again"},
         {"version", version_}},
        409);
  Diagnostics d;
  if (history_->now() != on_disk_ && !replace_file(file_, history_->now(), d))
    return json({{"error", d.all()[0].message + ": " + d.all()[0].found}, {"version", version_}}, 500);
  on_disk_ = history_->now();
  return json({{"version", version_}, {"saved", true}});
}

Response Desk::read_again() {
  Diagnostics d;
  const auto text = pipeline::read_file(file_, file_, d);
  if (!text) return refused(d);
  on_disk_ = *text;
  // What was changed here stays behind as the past. Inputs may be others as well.
  work(*text, Reach::everything, [this, t = *text] {
    if (history_->now() != t) history_->add(t);
  });
  return json({{"version", version_}, {"busy", true}}, 202);
}

Response Desk::begin() {
  Diagnostics d;
  const std::string text = first_->text();
  std::error_code ec;
  if (fs::exists(file_, ec))
    return json({{"error", "a file named " + file_ + " has come to be; it is left alone"}}, 409);
  pipeline::write_file(file_, text, d);
  if (d.failed()) return refused(d);
  first_.reset();
  on_disk_ = text;
  history_.emplace(text);
  work(text, Reach::everything, [] {});
  return json({{"begun", true}}, 202);
}

Response Desk::take(std::string text, const std::function<void()>& keep) {
  findings_.clear();
  const Reach reach = planned_ ? reach_of(history_->now(), text, *planned_) : Reach::everything;
  if (reach == Reach::needs || reach == Reach::everything) {
    work(std::move(text), reach, keep);
    return json({{"version", version_}, {"busy", true}}, 202);
  }
  auto before = figures(*planned_);
  auto places = places_of(*planned_);
  Diagnostics d;
  if (reach == Reach::quick) {
    child_.reset();
    if (!follow(*planned_, text, d)) {
      findings_ = errors_of(d);
      settle();
      return refused(d);
    }
  } else {
    planned_->touched.clear();
  }
  keep();
  accept(before, places);
  Json j = {{"version", version_},
            {"effect", effect_},
            {"moves", moves_},
            {"job", job_json()},
            {"can_undo", history_->can_undo()},
            {"can_redo", history_->can_redo()},
            {"lines", changed_lines(on_disk_, history_->now())}};
  std::string out = written(j);
  out.back() = ',';
  out += "\"patch\":" + page_patch(planned_->run.outcome(planned_->judging->access()), planned_->touched) + "}";
  return {200, "application/json", std::move(out)};
}

void Desk::accept(const std::vector<Figure>& before, const std::vector<ProbePlace>& places_before) {
  ++version_;
  settled_before_ = settled_figures_;
  effect_ = compared(before, figures(*planned_));
  moves_ = moves(places_before, places_of(*planned_));
  settle();
}

/// Bending, plates, costs, advice: by another process on a copy of what is known, so that an edit can end it.
void Desk::settle() {
  child_.reset();
  settling_failed_.clear();
  if (!planned_ || settled_version_ == version_) return;
  ++children_;
  child_ = std::make_unique<Child>(
      io_,
      [this] {
        pipeline::Run& run = planned_->run;
        PlanLimits limits;
        limits.seconds = run.job.time_limit;
        const auto silent = [](const char*, double) {};
        PlanResult whole = planned_->planner->plan({}, limits, run.diagnostics);
        run.plan = std::move(whole);
        run.access = std::move(*planned_->judging).take();
        if (!run.diagnostics.failed()) pipeline::finish(run, limits, silent);
        if (run.diagnostics.failed()) return written({{"findings", errors_of(run.diagnostics)}});
        const Outcome o = run.outcome();
        Json j = parts_json(page_parts(o, pipeline::page_lists(o)));
        j["version"] = version_;
        j["settled"] = true;
        j["figures"] = rows_of(settled_figures(run));
        return written(j);
      },
      [this](const std::string& result) { settled(result); });
}

void Desk::settled(const std::string& result) {
  Json j = Json::parse(result, nullptr, false);
  // The child itself is still about: it goes when the loop is back.
  boost::asio::post(io_, [this, number = children_] {
    if (number == children_) child_.reset();
  });
  if (!j.is_object() || !j.contains("data")) {
    settling_failed_ = "bending, plates and costs could not be worked out";
    if (j.is_object() && j.contains("findings") && !j["findings"].empty())
      settling_failed_ += ": " + j["findings"][0].get<std::string>();
    return;
  }
  settled_figures_ = rows_from(j["figures"]);
  const Json more = compared(settled_before_, settled_figures_);
  if (effect_.is_array())
    for (const Json& row : more) effect_.push_back(row);
  j.erase("figures");
  page_ = written(j);
  page_version_ = settled_version_ = version_;
}

void Desk::work(std::string text, Reach reach, std::function<void()> keep) {
  child_.reset();
  if (worker_.joinable()) worker_.join();
  busy_ = true;
  figures_at_work_.clear();
  places_at_work_.clear();
  if (planned_) {
    figures_at_work_ = figures(*planned_);
    places_at_work_ = places_of(*planned_);
  }
  findings_.clear();
  {
    const std::lock_guard hold(progress_lock_);
    progress_what_ = "reading";
    progress_ = 0;
  }
  worker_ = std::thread([this, text = std::move(text), before = history_->now(), reach, keep = std::move(keep)] {
    const pipeline::Stage stage = [this](const char* what, double share) {
      const std::lock_guard hold(progress_lock_);
      progress_what_ = what;
      progress_ = share;
    };
    auto found = std::make_shared<Diagnostics>();
    auto made = std::make_shared<std::unique_ptr<Planned>>();
    bool good = false;
    try {
      if (reach == Reach::needs)
        good = follow_needs(*planned_, before, text, stage, *found);
      else {
        *made = plan_text(text, file_, wanted_.mechanics, stage, *found);
        good = *made != nullptr;
      }
    } catch (const std::exception& e) {
      found->error("internal", {file_, 0, 0, {}}, "the job could not be planned", e.what());
    }
    boost::asio::post(io_, [this, made, good, found, keep] { worked(std::move(*made), good, *found, keep); });
  });
}

void Desk::worked(std::unique_ptr<Planned> made, bool good, const Diagnostics& found,
                  const std::function<void()>& keep) {
  worker_.join();
  busy_ = false;
  if (!good) {
    findings_ = errors_of(found);
    if (planned_) {
      ++version_;
      page_version_ = -1;
      settle();
    }  // the page asks again, and finds the old plan
    return;
  }
  std::vector<Figure> before = std::move(figures_at_work_);
  std::vector<ProbePlace> places = std::move(places_at_work_);
  const bool first = before.empty();
  if (made) {
    planned_ = std::move(made);
    // Targets are numbers of one board; names hold.
    for (ProbePlace& p : places) p.target = -1;
  }
  if (first) places = places_of(*planned_);
  keep();
  accept(before, places);
}

}  // namespace teasel::view
