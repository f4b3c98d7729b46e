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
    for (const Finding& f : run.diagnostics.all()) std::fprintf(stderr, "%s\n", to_string(f).c_str());
    return 1;
  }
  for (const PlacedProbe& p : run.plan.options[run.plan.chosen].probes) {
    const Net& net = run.board.nets[static_cast<std::size_t>(run.needs[static_cast<std::size_t>(p.need)].net)];
    if (net.name != argv[2]) continue;
    const Target& t = run.access.targets[static_cast<std::size_t>(p.target)];
    const Point at = run.access.spots[static_cast<std::size_t>(p.spot)].at;
    std::printf("%s %s %s %.3f %.3f\n", p.name.c_str(),
                run.board.features[static_cast<std::size_t>(t.feature)].name.c_str(), to_string(t.side), at.x, at.y);
  }
}
