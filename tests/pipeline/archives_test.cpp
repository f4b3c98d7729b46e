// Releases in archives: the same board is understood, and what only an archive holds is unpacked beside the job file.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>

#include "../zip_maker.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/first.h"

using namespace teasel;
namespace fs = std::filesystem;

namespace {
struct Folder {
  fs::path path;
  Folder() {
    std::string name = (fs::temp_directory_path() / "teasel-archives-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  void put(const std::string& name, const std::string& bytes) const {
    fs::create_directories((path / name).parent_path());
    std::ofstream(path / name, std::ios::binary) << bytes;
  }
  [[nodiscard]] std::string get(const std::string& name) const {
    std::ifstream in(path / name, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }
  [[nodiscard]] std::string at(const std::string& name) const { return (path / name).string(); }
};

const pipeline::Stage kQuiet = [](const char*, double) {};

std::vector<ZipEntry> demo(const std::string& below = {}) {
  Diagnostics diagnostics;
  std::vector<ZipEntry> out;
  for (FolderFile& file : pipeline::read_folder(TEASEL_SOURCE "/data/demo", diagnostics))
    out.push_back({below + file.name, std::move(file.bytes)});
  REQUIRE(out.size() > 15);
  return out;
}

/// The job text without comments, and with `prefix` before file names taken away.
std::string bare(const std::string& text, const std::string& prefix) {
  std::string out;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with('#') || line.starts_with("name = ")) continue;
    for (std::size_t at; !prefix.empty() && (at = line.find("\"" + prefix)) != line.npos;)
      line.erase(at + 1, prefix.size());
    out += line + "\n";
  }
  return out;
}

pipeline::FirstDraft draft_of(const std::string& folder, const std::string& out) {
  Diagnostics diagnostics;
  pipeline::FirstDraft draft = pipeline::first_draft(folder, out, kQuiet, diagnostics);
  for (const Finding& finding : diagnostics.all()) UNSCOPED_INFO(to_string(finding));
  REQUIRE_FALSE(diagnostics.failed());
  return draft;
}
std::string written(const pipeline::FirstDraft& draft, const std::string& job) {
  Diagnostics diagnostics;
  pipeline::write_packed(draft, job, diagnostics);
  return diagnostics.all().empty() ? "" : diagnostics.all()[0].code + ": " + diagnostics.all()[0].found;
}
std::size_t files_below(const fs::path& folder) {
  std::size_t count = 0;
  if (!fs::exists(folder)) return 0;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) count += entry.is_regular_file();
  return count;
}
}  // namespace

TEST_CASE("a release in one archive is understood as the same release in a folder (law)") {
  Folder work;
  for (const ZipEntry& file : demo()) work.put("loose/" + file.name, file.bytes);
  std::vector<ZipEntry> entries = demo();
  work.put("packed/release.zip", make_zip(entries));
  std::reverse(entries.begin(), entries.end());
  work.put("turned/release.zip", make_zip(entries));
  work.put("nested/outer.zip", make_zip({{"sent/release.zip", make_zip(entries)}, {"readme.txt", "Hello."}}));

  const auto loose = draft_of(work.at("loose"), work.at("loose/job.toml"));
  const auto packed = draft_of(work.at("packed"), work.at("packed/job.toml"));
  const auto turned = draft_of(work.at("turned"), work.at("turned/job.toml"));
  const auto alone = draft_of(work.at("packed/release.zip"), work.at("packed/job.toml"));
  const auto nested = draft_of(work.at("nested"), work.at("nested/job.toml"));
  CHECK(loose.packed.empty());
  CHECK(bare(packed.text, "job-files/release.zip/") == bare(loose.text, ""));
  CHECK(turned.packed == packed.packed);
  CHECK(bare(turned.text, "") == bare(packed.text, ""));
  CHECK(alone.job.name == "release");
  CHECK(bare(alone.text, "") == bare(packed.text, ""));
  CHECK(bare(nested.text, "job-files/outer.zip/sent/release.zip/") == bare(loose.text, ""));
  CHECK(packed.unpack_folder == "job-files");
  CHECK(packed.text.find("# unpacked into job-files: ") != std::string::npos);
}

TEST_CASE("a draft is tried before anything is written, and the files stand there afterwards (by hand)") {
  Folder work;
  work.put("release.zip", make_zip(demo()));
  const std::string job = work.at("my board.toml");
  auto draft = draft_of(work.path.string(), job);
  Diagnostics diagnostics;
  CHECK(pipeline::try_draft(draft, job, kQuiet, diagnostics).has_value());
  CHECK_FALSE(fs::exists(work.path / "my board-files"));
  CHECK(written(draft, job).empty());
  CHECK(files_below(work.path / "my board-files") == draft.packed.size());
  for (const auto& [file, bytes] : draft.packed) CHECK(work.get(file) == bytes);
  work.put("my board.toml", draft.text);
  pipeline::Run run;
  pipeline::load(run, job, kQuiet);
  CHECK_FALSE(run.diagnostics.failed());
  // A second call finds them in the folder, which is no second set of layers.
  const auto again = draft_of(work.path.string(), job);
  CHECK(bare(again.text, "") == bare(draft.text, ""));
  CHECK(again.packed == draft.packed);
  CHECK(written(again, job).empty());
}

TEST_CASE("what also lies loose is used from there, also under another name (by hand)") {
  Folder work;
  std::vector<ZipEntry> entries = demo("fab/");
  for (const ZipEntry& file : demo()) work.put("deep/down/" + file.name, file.bytes);
  for (ZipEntry& entry : entries)
    if (entry.name.ends_with("-F_Cu.gbr")) entry.name = "fab/top_copper.gbr";
  work.put("fab.zip", make_zip(entries));
  const auto draft = draft_of(work.path.string(), work.at("job.toml"));
  CHECK(draft.packed.empty());
  CHECK(draft.unpack_folder.empty());
  CHECK(draft.text.find("fab.zip/fab/top_copper.gbr (the same as deep/down/buoy-node-F_Cu.gbr)") != std::string::npos);
  CHECK(draft.text.find("several sets") == std::string::npos);
}

TEST_CASE("loose files and those of an archive make one release together (by hand)") {
  Folder work;
  std::vector<ZipEntry> layers;
  for (ZipEntry& file : demo())
    if (file.name.ends_with(".gbr") || file.name.ends_with(".drl"))
      layers.push_back(std::move(file));
    else
      work.put(file.name, file.bytes);
  work.put("gerbers.zip", make_zip(layers));
  const auto draft = draft_of(work.path.string(), work.at("job.toml"));
  CHECK(draft.packed.size() == layers.size());
  CHECK(draft.job.inputs.netlist_file == "buoy-node.ipc");
  CHECK(draft.job.inputs.gerbers.size() == 11);
  for (const auto& layer : draft.job.inputs.gerbers) CHECK(layer.file.starts_with("job-files/gerbers.zip/"));
}

TEST_CASE("a file of other contents, a link or a folder in the way stops it before anything is written (by hand)") {
  Folder work;
  work.put("release.zip", make_zip(demo()));
  const std::string job = work.at("job.toml");
  const auto draft = draft_of(work.path.string(), job);
  const std::string first = draft.packed.begin()->first;

  work.put(first, "mine");
  CHECK(written(draft, job) == "unpack-exists: a file with other contents stands there");
  CHECK(work.get(first) == "mine");
  CHECK(files_below(work.path / "job-files") == 1);

  fs::remove_all(work.path / "job-files");
  fs::create_directories(work.path / "elsewhere");
  fs::create_directory_symlink(work.path / "elsewhere", work.path / "job-files");
  CHECK(written(draft, job).starts_with("unpack-exists: not a plain folder"));
  CHECK(files_below(work.path / "elsewhere") == 0);

  fs::remove(work.path / "job-files");
  fs::create_directories(work.path / draft.packed.rbegin()->first);
  CHECK(written(draft, job) == "unpack-exists: something else than a file stands there");
  CHECK(files_below(work.path / "job-files") == 0);
}

TEST_CASE("a hostile archive beside a sound release costs nothing but a warning (by hand)") {
  Folder work;
  for (const ZipEntry& file : demo()) work.put(file.name, file.bytes);
  std::string cut = make_zip({{"a.gbr", std::string(500, 'a')}});
  work.put("cut.zip", cut.substr(0, cut.size() - 30));
  work.put("slip.zip", make_zip({{"../../slipped.gbr", "G04*"}, {"link.gbr", "/etc/passwd", 0120777}}));
  work.put("release.7z", "7z\xBC\xAF\x27\x1C and more");
  Diagnostics diagnostics;
  const auto draft = pipeline::first_draft(work.path.string(), work.at("job.toml"), kQuiet, diagnostics);
  CHECK_FALSE(diagnostics.failed());
  CHECK(draft.packed.empty());
  CHECK(draft.job.inputs.gerbers.size() == 11);
  std::set<std::string> codes;
  for (const Finding& finding : diagnostics.all()) codes.insert(finding.code);
  CHECK(codes.count("archive-unreadable") == 1);
  CHECK(codes.count("archive-unsafe-name") == 1);
  CHECK(codes.count("archive-other-kind") == 1);
}

TEST_CASE("neither a folder nor an archive is told as such (by hand)") {
  Folder work;
  work.put("text.txt", "Hello.");
  for (const char* name : {"text.txt", "nothing-here"}) {
    Diagnostics diagnostics;
    pipeline::first_draft(work.at(name), work.at("job.toml"), kQuiet, diagnostics);
    REQUIRE(diagnostics.failed());
    CHECK(diagnostics.all()[0].code == "folder-not-found");
  }
}
