// A program of its own on the installed library: plans a job and prints where each probe of one net lands.
// usage: consumer JOB.toml NET
#include <cstdio>

#include <teasel/pipeline/run.h>

int main(int argc, char** argv) {
  if (argc != 3) {
    std::fprintf(stderr, "usage: consumer JOB.toml NET\n");
    return 2;
  }
  using namespace teasel;
  pipeline::Run run;
  const pipeline::Stage silent = [](const char*, double) {};
  pipeline::load(run, argv[1], silent);
  if (!run.diagnostics.failed()) pipeline::prepare(run, silent);
  if (!run.diagnostics.failed()) pipeline::plan_probes(run, {}, silent);
  if (run.diagnostics.failed()) {
    for (const Finding& finding : run.diagnostics.all()) std::fprintf(stderr, "%s\n", to_string(finding).c_str());
    return 1;
  }
  for (const PlacedProbe& probe : run.plan.options[run.plan.chosen].probes) {
    if (run.board.nets[run.needs[probe.need].net].name != argv[2]) continue;
    const Target& target = run.access.targets[probe.target];
    const BoardPoint at = run.access.spots[probe.spot].at;
    std::printf("%s %s %s %.3f %.3f\n", probe.name.c_str(), run.board.features[target.feature].name.text().c_str(),
                to_string(target.side), at.x, at.y);
  }
}
