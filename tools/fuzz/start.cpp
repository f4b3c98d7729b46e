// Any files of a release, as `teasel start` takes them from a folder. The job that it writes is read again.
#include <cstdio>
#include <cstdlib>

#include "files.h"
#include "teasel/board.h"
#include "teasel/written.h"

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace teasel;
  std::vector<FolderFile> files;
  for (const auto& [name, bytes] : files_of({reinterpret_cast<const char*>(data), size}))
    if (!name.empty() && is_utf8(name)) files.push_back({std::string(name), std::string(bytes)});
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  if (diagnostics.failed()) return 0;
  const std::string text = write_first_job(first.job, first.evidence);
  Diagnostics of_job;
  (void)read_job(text, "fuzz.toml", of_job);
  for (const Finding& finding : of_job.all())
    if (std::string_view(finding.code) == "job-syntax") {
      std::fputs(text.c_str(), stderr);
      std::abort();
    }
  return 0;
}
