// Plan folders, durable writing and hunger, as a user meets them.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <set>

#include "run_command.h"

using namespace test;

namespace {
void copy_release(const fs::path& to) {
  fs::create_directories(to / "fixtures");
  fs::create_directories(to / "data");
  fs::copy(source() + "/data/demo", to / "data/demo", fs::copy_options::recursive);
  fs::copy(source() + "/fixtures/jobs", to / "fixtures/jobs", fs::copy_options::recursive);
}
const char* const kJob = "fixtures/jobs/buoy-node.toml";

std::map<std::string, std::string> contents(const fs::path& root) {
  std::map<std::string, std::string> files;
  for (const auto& entry : fs::recursive_directory_iterator(root))
    if (entry.is_regular_file()) files[fs::relative(entry.path(), root).generic_string()] = slurp(entry.path());
  return files;
}
/// Within 600 MB of address space beyond what the program itself maps, and 20 seconds of work.
std::string within_limits() {
  return "ulimit -t 20; ";
}
}  // namespace

TEST_CASE("the same job under another path gives the same bytes, and verify sees what changed (copies of the demo)") {
  Folder folder;
  copy_release(folder.path / "one");
  copy_release(folder.path / "a longer name/with another below");
  const fs::path one = folder.path / "one", other = folder.path / "a longer name/with another below";
  REQUIRE(run(teasel() + "plan " + kJob + " --no-mechanics -o ../one-plan -q", one).status == 0);
  REQUIRE(run(teasel() + "plan '" + (other / kJob).string() + "' --no-mechanics -o '" + (folder.path / "b/c").string() +
                  "' -q",
              "/tmp")
              .status == 0);
  const auto first = contents(folder.path / "one-plan"), second = contents(folder.path / "b/c");
  CHECK(first.size() > 40);
  CHECK((first == second));
  for (const auto& [name, bytes] : first)
    if (const auto twin = second.find(name); twin == second.end() || twin->second != bytes) FAIL_CHECK(name);

  // As written; the inputs are those of the job that is named.
  Result result = run(teasel() + "verify one-plan one/" + kJob, folder.path);
  INFO(result.out << result.err);
  CHECK(result.status == 0);
  CHECK(result.out.find("all as written") != std::string::npos);
  CHECK(run(teasel() + "verify one-plan", folder.path).out.find("inputs not compared") != std::string::npos);
  // A digit of a layer file, a probe list, a plate that is gone, a note.
  std::ofstream(one / "data/demo/buoy-node-F_Cu.gbr", std::ios::app) << "\n";
  std::ofstream(folder.path / "one-plan/probes.csv", std::ios::app) << "\n";
  fs::remove(folder.path / "one-plan/wiring.csv");
  std::ofstream(folder.path / "one-plan/note.txt") << "mine";
  result = run(teasel() + "verify one-plan one/" + kJob + " --json", folder.path);
  CHECK(result.status == 2);
  const auto said = nlohmann::json::parse(result.out);
  CHECK(said["changed"] == std::vector<std::string>{"probes.csv"});
  CHECK(said["missing"] == std::vector<std::string>{"wiring.csv"});
  CHECK(said["foreign"] == std::vector<std::string>{"note.txt"});
  CHECK(said["inputs_changed"] == std::vector<std::string>{"../../data/demo/buoy-node-F_Cu.gbr"});
  CHECK(run(teasel() + "verify one", folder.path).status == 1);

  // A plan that was built stays; the next run is told so before it works.
  CHECK(run(teasel() + "built one-plan", folder.path).status == 0);
  result = run(teasel() + "plan one/" + kJob + " -o one-plan", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err.find("write-built") != std::string::npos);
  CHECK(run(teasel() + "built one-plan --date 2026-02-30", folder.path).status == 1);
  CHECK(run(teasel() + "verify one-plan", folder.path).out.find("built on 20") != std::string::npos);
  CHECK(run(teasel() + "built one-plan --undo", folder.path).status == 0);
  CHECK(run(teasel() + "built one-plan --date 2026-11-30", folder.path).out.find("2026-11-30") != std::string::npos);
}

TEST_CASE("what cannot be printed is an error, and a job goes to a device as to a file (by hand)") {
  Folder folder;
  if (!fs::exists("/dev/full")) return;
  CHECK(run("(" + teasel() + "manual > /dev/full)", folder.path).status == 1);
  const Result full = run("(" + teasel() + "check '" + source() + "/" + kJob + "' --json > /dev/full)", folder.path);
  CHECK(full.status == 1);
  CHECK(full.err.find("standard output") != std::string::npos);
  fs::copy(source() + "/data/demo", folder.path / "demo", fs::copy_options::recursive);
  CHECK(run(teasel() + "start demo -o /dev/null --force -q", folder.path).status == 0);
  CHECK(fs::is_character_file("/dev/null"));
  CHECK_FALSE(fs::exists("/dev/null-preview.svg"));
  REQUIRE(run(teasel() + "start demo -q", folder.path).status == 0);
  const Result printed = run(teasel() + "start demo -o /dev/stdout -q", folder.path);
  CHECK(printed.status == 0);
  CHECK(printed.out == slurp(folder.path / "job.toml"));
}

TEST_CASE("where the system gives no more threads, the work is done with those that there are (by hand)") {
  Folder folder;
  // Stacks of 64 GB: none but the first thread is to be had.
  const std::string job = "'" + source() + "/" + kJob + "'";
  const Result result =
      run("ulimit -v 4000000 && ulimit -s 60000000 && TEASEL_THREADS=4 " + teasel() + "check " + job, folder.path);
  INFO(result.err);
  CHECK(result.status == 0);
  CHECK(result.out == run(teasel() + "check " + job, folder.path).out);
}

TEST_CASE("a key of 200,000 levels is refused with its line (by hand)") {
  Folder folder;
  std::string key = "a", array = "x = ";
  for (int i = 0; i < 200'000; ++i) {
    key += ".a";
    array += "[";
  }
  for (const std::string& line : {key + " = 1", "[" + key + "]", array, "b = {" + key + " = 1}"}) {
    std::ofstream(folder.path / "job.toml") << "schema = 1\nname = \"it's # [\"\n" << line << "\n";
    const Result result = run(within_limits() + teasel() + "check job.toml", folder.path);
    CHECK(result.status == 1);
    CHECK(result.err.find("job.toml:3: error job-too-deep") != std::string::npos);
  }
}

TEST_CASE("gaps and masses of bytes are refused by name (sparse files)") {
  Folder folder;
  const auto sparse = [&](const std::string& name, std::uintmax_t size) {
    std::ofstream(folder.path / name, std::ios::app).flush();
    fs::resize_file(folder.path / name, size);
  };
  fs::copy(source() + "/data/demo", folder.path / "demo", fs::copy_options::recursive);
  REQUIRE(run(teasel() + "start demo -q", folder.path).status == 0);
  for (const char* name : {"demo/buoy-node-F_Cu.gbr", "demo/buoy-node.ipc"}) {
    INFO(name);
    const std::string whole = slurp(folder.path / name);
    sparse(name, 150'000'000);
    Result result = run(within_limits() + teasel() + "check job.toml", folder.path);
    CHECK(result.status == 1);
    CHECK(result.err.find("file-gap") != std::string::npos);
    sparse(name, 999'000'000);
    result = run(within_limits() + teasel() + "check job.toml", folder.path);
    CHECK(result.status == 1);
    CHECK(result.err.find("too-large") != std::string::npos);
    fs::remove(folder.path / name);
    std::ofstream(folder.path / name, std::ios::binary) << whole;
  }
  for (int i = 0; i < 12; ++i) sparse("demo/large-" + std::to_string(i) + ".gbr", 190'000'000);
  const Result result = run(within_limits() + teasel() + "start demo -o other.toml", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err.find("folder-too-large") != std::string::npos);
}

TEST_CASE("pictures, documents and bodies of any size lie beside a release and take no memory (sparse files)") {
  Folder folder;
  fs::copy(source() + "/data/demo", folder.path / "demo", fs::copy_options::recursive);
  for (int i = 0; i < 4; ++i)
    for (const auto& [ending, head] : {std::pair(".png", "\x89PNG\r\n\x1a\n"), std::pair(".pdf", "%PDF-1.7\n"),
                                       std::pair(".step", "ISO-10303-21;\n")}) {
      const fs::path file = folder.path / "demo" / ("large-" + std::to_string(i) + ending);
      std::ofstream(file) << head;
      fs::resize_file(file, 190'000'000);
    }
  const Result result = run(within_limits() + teasel() + "start demo -q", folder.path);
  INFO(result.err);
  CHECK(result.status == 0);
}
