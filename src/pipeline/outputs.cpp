// The files of a run, written by the table of outputs.
#include <set>

#include "teasel/parallel.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/output_table.h"
#include "teasel/pipeline/run.h"

namespace teasel::pipeline {

namespace {
using Files = std::map<std::string, std::string>;

/// Writers of the rows that `wanted` takes.
template <class Wanted>
Writers writers_of(const WriterSource& source, Wanted wanted) {
  Writers writers;
  for (const OutputRow& row : output_table())
    if (row.add && wanted(row)) row.add(writers, row, source);
  return writers;
}

/// All of them, on as many threads as there are.
void write(const Writers& writers, Files& files) {
  struct Slot {
    const std::function<std::string()>* writer;
    std::string* bytes;
  };
  std::vector<Slot> slots;
  for (const auto& [name, writer] : writers) slots.push_back({&writer, &files[name]});
  parallel_for(
      slots.size(), [&](std::size_t i) { *slots[i].bytes = (*slots[i].writer)(); }, 1);
}

/// Findings as files say them: by the job file's name alone, so that they do not depend on where it lies.
Diagnostics told_in_files(const Run& run) {
  Diagnostics told;
  for (Finding finding : run.diagnostics.all()) {
    if (finding.place.file == run.job.file) finding.place.file = run.job.file.substr(run.job.file.rfind('/') + 1);
    told.add(std::move(finding));
  }
  return told;
}

bool is_written(const Run& run, const OutputRow& row) {
  return row.by == WrittenBy::audit || row.by == WrittenBy::plan ||
         (row.by == WrittenBy::respin && run.results.respin.used);
}
}  // namespace

std::map<std::string, std::string> audit_outputs(const Run& run, const Outcome& outcome) {
  Files files;
  write(writers_of({run, outcome}, [](const OutputRow& row) { return row.by == WrittenBy::audit; }), files);
  return files;
}

std::map<std::string, std::string> page_lists(const Run& run, const Outcome& outcome) {
  Files files;
  write(writers_of({run, outcome}, [&run](const OutputRow& row) { return row.on_page && is_written(run, row); }),
        files);
  return files;
}

std::map<std::string, std::string> outputs(const Run& run) {
  const Diagnostics told = told_in_files(run);
  const Outcome outcome{run.planned(), run.results, told, run.inputs, run.plan_id};
  Files files = page_lists(run, outcome);
  // The page takes longest and shows the lists: it is written beside all the rest.
  const Files lists = files;
  Writers rest =
      writers_of({run, outcome}, [&run](const OutputRow& row) { return !row.on_page && is_written(run, row); });
  rest["report.html"] = [&] { return report_html(outcome, lists); };
  write(rest, files);
  std::vector<std::pair<const std::string*, std::string>> hashed;
  for (const auto& [name, bytes] : files) hashed.emplace_back(&bytes, name);
  std::vector<std::string> sums(hashed.size());
  parallel_for(
      hashed.size(), [&](std::size_t i) { sums[i] = sha256(*hashed[i].first); }, 1);
  std::map<std::string, std::string> hashes;
  for (std::size_t i = 0; i < hashed.size(); ++i) hashes[hashed[i].second] = sums[i];
  files["plan.json"] = plan_json(outcome, hashes);
  return files;
}

}  // namespace teasel::pipeline
