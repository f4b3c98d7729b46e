// Output folders: written whole, and what a person made in them is never lost.
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <set>

#include "../cli/run_command.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/plan_folder.h"
#include "teasel/report/measured.h"

using namespace test;
using namespace teasel;
using namespace teasel::pipeline;

namespace {
using Files = std::map<std::string, std::string>;

const std::string kHead =
    "step,stage,check,probe,net,pin,against,limit,unit,if_not,measured,passed,measured_on,plan_id\n";

/// A row of verify.csv as a person leaves it.
std::string row(int step, const std::string& net, const std::string& measured, const std::string& plan,
                const std::string& on = {}, const std::string& limit = "<= 2") {
  return std::to_string(step) + ",wiring,continuity,P" + net + "," + net + ",1,tip," + limit + ",ohm,open wire," +
         measured + "," + (measured.empty() ? "" : "yes") + "," + on + "," + plan + "\n";
}

/// As small as a plan can be.
Files plan_files(const std::string& id, const std::string& verify) {
  Files files{{"probes.csv", "probe,net\nP1," + id + "\n"},
              {"plates/lower.drl", "M48\n;" + id + "\n"},
              {"fixture.json", "{\"plan_id\": \"" + id + "\"}\n"},
              {"verify.csv", kHead + verify}};
  std::string outputs;
  for (const auto& [name, bytes] : files)
    outputs += (outputs.empty() ? "" : ", ") + ("{\"file\": \"" + name + "\", \"sha256\": \"" + sha256(bytes) + "\"}");
  files["plan.json"] = "{\"plan_id\": \"" + id + "\", \"inputs\": [], \"outputs\": [" + outputs + "]}\n";
  return files;
}

std::set<std::string> listing(const fs::path& root) {
  std::set<std::string> names;
  for (const auto& entry : fs::recursive_directory_iterator(root))
    if (!entry.is_directory()) names.insert(entry.path().lexically_relative(root).generic_string());
  return names;
}

void put(const fs::path& file, const std::string& text) {
  fs::create_directories(file.parent_path());
  std::ofstream(file, std::ios::binary) << text;
}

Diagnostics write(const fs::path& folder, const Files& files) {
  Diagnostics diagnostics;
  write_folder(folder, files, diagnostics);
  return diagnostics;
}

bool says(const Diagnostics& diagnostics, const std::string& code) {
  for (const Finding& finding : diagnostics.all())
    if (finding.code == code) return true;
  return false;
}

/// Does as `act` says in a process of its own, which stands in `folder`.
template <class Act>
void standing_in(const fs::path& folder, Act act) {
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    if (::chdir(folder.c_str()) == 0) act();
    ::_exit(0);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  CHECK(status == 0);
}
}  // namespace

TEST_CASE("what was measured goes on by step, names its plan, and is put aside where the step is gone (by hand)") {
  const std::string old = kHead + row(1, "A", "1.1", "old") + row(2, "B", "0.9", "old") + row(3, "C", "", "old") +
                          row(4, "D", "1.5", "old");
  const std::string now = kHead + row(1, "B", "", "new") + row(2, "C", "", "new") + row(3, "A", "", "new") +
                          row(4, "D", "", "new", "", "<= 1");
  const auto made = carry_measurements(now, old, "");
  REQUIRE(made);
  CHECK(made->carried == 2);
  CHECK(made->gone == 1);
  // The limit of D is another one now: what passed then need not pass today.
  CHECK(made->verify == kHead + row(1, "B", "0.9", "new", "old") + row(2, "C", "", "new") +
                            row(3, "A", "1.1", "new", "old") + row(4, "D", "", "new", "", "<= 1"));
  CHECK(made->earlier == kHead + row(4, "D", "1.5", "old", "old"));
  // The step comes back, and with it what was put aside.
  const auto back = carry_measurements(kHead + row(1, "D", "", "third"), made->verify, made->earlier);
  REQUIRE(back);
  CHECK(back->verify == kHead + row(1, "D", "1.5", "third", "old"));
  CHECK(back->gone == 2);
  CHECK_FALSE(carry_measurements(now, "no such table\n", ""));
  // The same plan again: nothing to be told apart.
  const auto same = carry_measurements(kHead + row(1, "A", "", "old"), kHead + row(1, "A", "1.1", "old"), "");
  REQUIRE(same);
  CHECK(same->verify == kHead + row(1, "A", "1.1", "old"));
}

TEST_CASE("steps that failed are told apart from those that hold, and from those that wait (by hand)") {
  const auto said = [](std::string line, const std::string& word) {
    return line.replace(line.find(",yes,"), 5, "," + word + ",");
  };
  const std::string old = kHead + row(1, "A", "1.1", "old") + said(row(2, "B", "9", "old"), "NO") +
                          said(row(3, "C", "8", "old"), "Failed.") + said(row(4, "D", "1", "old"), "ok");
  const std::string now = kHead + row(1, "A", "", "new") + row(2, "B", "", "new") + row(3, "C", "", "new") +
                          row(4, "D", "", "new") + row(5, "E", "", "new");
  const auto made = carry_measurements(now, old, "");
  REQUIRE(made);
  CHECK(made->carried == 4);
  CHECK(made->failed == 2);
  CHECK(made->first_failed == "step 2: continuity, PB");
  CHECK(made->open == 1);
}

TEST_CASE("a spreadsheet's own separators and line ends do not cost what was measured (by hand)") {
  std::string old = kHead + row(1, "A", "1.1", "old");
  std::replace(old.begin(), old.end(), ',', ';');
  for (std::size_t at = 0; (at = old.find('\n', at)) != std::string::npos; at += 2) old.replace(at, 1, "\r\n");
  const auto made = carry_measurements(kHead + row(5, "A", "", "new"), "\xEF\xBB\xBF" + old, "");
  REQUIRE(made);
  CHECK(made->verify == kHead + row(5, "A", "1.1", "new", "old"));
}

TEST_CASE("planning again keeps foreign files, changed files and measurements (by hand)") {
  Folder folder;
  const fs::path out = folder.path / "out";
  REQUIRE_FALSE(write(out, plan_files("first", row(1, "A", "", "first") + row(2, "B", "", "first"))).failed());
  put(out / "notes.txt", "mine");
  put(out / "plates/photo.jpg", "picture");
  put(out / "photos/day one/a.jpg", "another");
  fs::create_directories(out / "empty");
  fs::create_symlink("notes.txt", out / "link");
  put(out / "probes.csv", "with a remark\n");
  put(out / "verify.csv", kHead + row(1, "A", "1.1", "first") + row(2, "B", "0.9", "first"));
  const Diagnostics said = write(out, plan_files("second", row(1, "B", "", "second")));
  REQUIRE_FALSE(said.failed());
  CHECK(says(said, "output-kept"));
  CHECK(says(said, "verify-step-gone"));
  CHECK(listing(out) == std::set<std::string>{"notes.txt", "plates/photo.jpg", "photos/day one/a.jpg", "link",
                                              "kept/first/probes.csv", "kept/first/verify.csv", "probes.csv",
                                              "verify.csv", "verify-earlier.csv", "plates/lower.drl", "fixture.json",
                                              "plan.json", "teasel.sha256"});
  CHECK(fs::is_directory(out / "empty"));
  CHECK(slurp(out / "notes.txt") == "mine");
  CHECK(slurp(out / "plates/photo.jpg") == "picture");
  CHECK(fs::read_symlink(out / "link") == "notes.txt");
  CHECK(slurp(out / "kept/first/probes.csv") == "with a remark\n");
  CHECK(slurp(out / "verify.csv") == kHead + row(1, "B", "0.9", "second", "first"));
  CHECK(slurp(out / "verify-earlier.csv") == kHead + row(1, "A", "1.1", "first", "first"));
  CHECK(slurp(out / "probes.csv") == "probe,net\nP1,second\n");
  // Once more: nothing is lost on the way, and nothing stays beside the folder.
  REQUIRE_FALSE(write(out, plan_files("third", row(7, "A", "", "third"))).failed());
  CHECK(slurp(out / "verify.csv") == kHead + row(7, "A", "1.1", "third", "first"));
  CHECK(slurp(out / "kept/first/probes.csv") == "with a remark\n");
  CHECK(slurp(out / "photos/day one/a.jpg") == "another");
  std::set<std::string> beside;
  for (const auto& entry : fs::directory_iterator(folder.path)) beside.insert(entry.path().filename());
  CHECK(beside == std::set<std::string>{"out"});
}

TEST_CASE("an audit in the folder of a plan keeps what was measured (by hand)") {
  Folder folder;
  const fs::path out = folder.path / "out";
  REQUIRE_FALSE(write(out, plan_files("first", row(1, "A", "", "first"))).failed());
  put(out / "verify.csv", kHead + row(1, "A", "1.1", "first"));
  // Carried once, it is a file as teasel wrote it.
  REQUIRE_FALSE(write(out, plan_files("second", row(1, "A", "", "second"))).failed());
  REQUIRE_FALSE(write(out, {{"coverage.csv", "net\n"}}).failed());
  CHECK(slurp(out / "kept/second/verify.csv") == kHead + row(1, "A", "1.1", "second", "first"));
}

TEST_CASE("a folder that is no earlier run is left alone, whatever its names are (by hand)") {
  Folder folder;
  for (const char* name : {"notes.txt", "plan.json", "nets.csv", "teasel.sha256"}) {
    const fs::path out = folder.path / name;
    put(out / name, "mine");
    put(out / "other.txt", "mine too");
    INFO(name);
    CHECK(says(write(out, plan_files("first", "")), "write-failed"));
    CHECK(listing(out) == std::set<std::string>{name, "other.txt"});
  }
  put(folder.path / "file", "mine");
  CHECK(says(write(folder.path / "file", plan_files("first", "")), "write-failed"));
  CHECK(slurp(folder.path / "file") == "mine");
  fs::create_symlink("nowhere", folder.path / "dangling");
  CHECK(says(write(folder.path / "dangling", plan_files("first", "")), "write-failed"));
}

TEST_CASE("a plan that was built is not overwritten until its mark is taken away (by hand)") {
  Folder folder;
  const fs::path out = folder.path / "out";
  const Files files = plan_files("first", row(1, "A", "", "first"));
  Diagnostics said;
  mark_built(out, "2026-11-30", said);
  CHECK(says(said, "folder-not-written"));
  REQUIRE_FALSE(write(out, files).failed());
  put(out / "plates/lower.drl", "M48\n");
  said = {};
  mark_built(out, "2026-11-30", said);
  CHECK(says(said, "built-changed"));
  put(out / "plates/lower.drl", files.at("plates/lower.drl"));
  // What is filled in at the bench does not stand in the way.
  put(out / "verify.csv", kHead + row(1, "A", "1.1", "first"));
  said = {};
  mark_built(out, "2026-11-30", said);
  REQUIRE_FALSE(said.failed());
  CHECK(slurp(out / "built.json").find("\"built\": \"2026-11-30\"") != std::string::npos);
  const auto before = listing(out);
  said = write(out, plan_files("second", ""));
  CHECK(says(said, "write-built"));
  CHECK(listing(out) == before);
  CHECK(slurp(out / "probes.csv") == files.at("probes.csv"));
  said = {};
  mark_built(out, "2026-12-01", said);
  CHECK(says(said, "built-already"));
  said = {};
  unmark_built(out, said);
  CHECK_FALSE(said.failed());
  unmark_built(out, said);
  CHECK(says(said, "built-not"));
  CHECK_FALSE(write(out, plan_files("second", "")).failed());
  CHECK(is_date("2028-02-29"));
  for (const char* text : {"2027-02-29", "2026-13-01", "26-01-01", "2026-1-1", "2026-01-01x", "", "2026/01/01"})
    CHECK_FALSE(is_date(text));
}

TEST_CASE("verify names what was changed, what is missing and what was put there (by hand)") {
  Folder folder;
  const fs::path out = folder.path / "out";
  REQUIRE_FALSE(write(out, plan_files("first", row(1, "A", "", "first"))).failed());
  Diagnostics said;
  CHECK(check_folder(out, "", said).as_written());
  CHECK(run("sha256sum -c --quiet teasel.sha256", out).status == 0);
  fs::remove(out / ".out");
  fs::remove(out / ".err");
  put(out / "plan.json", slurp(out / "plan.json") + " ");
  fs::remove(out / "probes.csv");
  put(out / "plates/mine.txt", "mine");
  const FolderCheck check = check_folder(out, "", said);
  CHECK_FALSE(said.failed());
  CHECK(check.plan_id == "first");
  CHECK(check.touched == std::vector<std::string>{"plan.json"});
  CHECK(check.missing == std::vector<std::string>{"probes.csv"});
  CHECK(check.foreign == std::vector<std::string>{"plates/mine.txt"});
  CHECK_FALSE(check.as_written());
  (void)check_folder(folder.path, "", said);
  CHECK(says(said, "folder-not-written"));
}

TEST_CASE("the current folder, a link, a mount of its own and long names are written in (by hand)") {
  Folder folder;
  const fs::path out = folder.path / "out";
  REQUIRE_FALSE(write(out, plan_files("first", row(1, "A", "", "first"))).failed());
  put(out / "notes.txt", "mine");
  put(out / "probes.csv", "changed");
  struct stat before {
  }, after{};
  REQUIRE(::stat(out.c_str(), &before) == 0);
  standing_in(out, [] {
    Diagnostics diagnostics;
    write_folder(".", plan_files("second", row(1, "A", "", "second")), diagnostics);
    if (diagnostics.failed()) ::_exit(1);
  });
  REQUIRE(::stat(out.c_str(), &after) == 0);
  CHECK(before.st_ino == after.st_ino);  // whoever stands in it still does
  CHECK(slurp(out / "probes.csv") == "probe,net\nP1,second\n");
  CHECK(slurp(out / "notes.txt") == "mine");
  CHECK(slurp(out / "kept/first/probes.csv") == "changed");
  Diagnostics said;
  CHECK(check_folder(out, "", said).foreign == std::vector<std::string>{"notes.txt"});
  CHECK(check_folder(out, "", said).touched.empty());
  fs::create_directory_symlink("out", folder.path / "link");
  REQUIRE_FALSE(write(folder.path / "link/", plan_files("third", "")).failed());
  CHECK(fs::is_symlink(folder.path / "link"));
  CHECK(slurp(out / "probes.csv") == "probe,net\nP1,third\n");
  REQUIRE_FALSE(write(folder.path / std::string(255, 'n'), plan_files("first", "")).failed());
  CHECK(write(folder.path / std::string(256, 'n'), plan_files("first", "")).failed());
  // A path of 4,000 letters, of which this process says only the last ones.
  fs::path deep = folder.path;
  while (deep.string().size() + 101 < 3990) deep /= std::string(100, 'd');
  fs::create_directories(deep);
  standing_in(deep, [] {
    Diagnostics diagnostics;
    for (const char* id : {"first", "second"}) write_folder(std::string(200, 'x'), plan_files(id, ""), diagnostics);
    if (diagnostics.failed()) ::_exit(1);
  });
}

TEST_CASE("folders and files keep their permissions, and new ones follow the mask (by hand)") {
  Folder folder;
  const fs::path out = folder.path / "out";
  const mode_t mask = ::umask(027);
  const bool written = !write(out, plan_files("first", "")).failed();
  ::umask(mask);
  REQUIRE(written);
  const auto mode = [](const fs::path& path) { return static_cast<unsigned>(fs::status(path).permissions()); };
  CHECK(mode(out) == 0750);
  CHECK(mode(out / "plates") == 0750);
  CHECK(mode(out / "probes.csv") == 0640);
  fs::permissions(out, fs::perms(0700));
  REQUIRE_FALSE(write(out, plan_files("second", "")).failed());
  CHECK(mode(out) == 0700);
  Diagnostics said;
  write_file(folder.path / "job.toml", "a", said);
  fs::permissions(folder.path / "job.toml", fs::perms(0600));
  fs::create_symlink("job.toml", folder.path / "link.toml");
  write_file(folder.path / "link.toml", "b", said);
  CHECK_FALSE(said.failed());
  CHECK(fs::is_symlink(folder.path / "link.toml"));
  CHECK(slurp(folder.path / "job.toml") == "b");
  CHECK(mode(folder.path / "job.toml") == 0600);
}

TEST_CASE("what a killed run left is cleared by the next, unless somebody's file lies in it (by hand)") {
  Folder folder;
  const fs::path out = folder.path / "out";
  REQUIRE_FALSE(write(out, plan_files("first", "")).failed());
  const std::string stem = ".teasel-" + sha256("out").substr(0, 8) + "-";
  put(folder.path / (stem + "aaaaaaaa") / "probes.csv", "half");
  put(folder.path / (stem + "bbbbbbbb") / "letter.txt", "mine");
  put(folder.path / ".teasel-00000000-cccccccc" / "probes.csv", "of another folder");
  REQUIRE_FALSE(write(out, plan_files("second", "")).failed());
  std::set<std::string> beside;
  for (const auto& entry : fs::directory_iterator(folder.path)) beside.insert(entry.path().filename());
  CHECK(beside == std::set<std::string>{"out", stem + "bbbbbbbb", ".teasel-00000000-cccccccc"});
  CHECK(slurp(out / "probes.csv") == "probe,net\nP1,second\n");
}

TEST_CASE("a device is written to and stays a device (by hand)") {
  Folder folder;
  Diagnostics said;
  REQUIRE(is_stream("/dev/null"));
  write_file("/dev/null", "text", said);
  CHECK_FALSE(said.failed());
  CHECK(is_stream("/dev/null"));
  if (::access("/dev/full", W_OK) == 0) {
    write_file("/dev/full", "text", said);
    CHECK(says(said, "write-failed"));
  }
  const fs::path pipe = folder.path / "pipe";
  REQUIRE(::mkfifo(pipe.c_str(), 0600) == 0);
  CHECK(is_stream(pipe));
  CHECK_FALSE(is_stream(folder.path / "nothing"));
  CHECK_FALSE(is_stream(folder.path));
  said = {};
  write_file(folder.path, "text", said);
  CHECK(says(said, "write-failed"));
}

TEST_CASE("a run of NUL bytes is found wherever it lies, and single ones are none (by hand)") {
  for (const std::size_t before : {0, 1, 2047, 2048, 5000}) {
    INFO(before);
    const std::string text(before, 'x');
    CHECK(holds_gap(text + std::string(4096, '\0') + "y"));
    CHECK_FALSE(holds_gap(text + std::string(4095, '\0') + "y"));
  }
  CHECK_FALSE(holds_gap(""));
}
