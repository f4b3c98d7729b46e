// A job onto a fixture: what it has to clear, and what it may use again.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::FixtureFile;

void check_agreement(const Job& job, const FixtureFile& f, Diagnostics& d) {
  struct Key {
    const char* key;
    const std::string *job, *fixture;
    const char* none;
  };
  for (const Key& k : {Key{"fixture.kit", &job.kit, &f.kit, "no kit"},
                       {"fixture.style", &job.style, &f.style, ""},
                       {"fixture.catalogue", &job.catalogue, &f.catalogue, ""},
                       {"fixture.drill_face", &job.drill_face, &f.drill_face, ""}})
    if (*k.job != *k.fixture)
      d.error("respin-other-fixture", {job.file, 0, 0, k.key},
              "the job asks for another fixture than the one that stands", k.job->empty() ? k.none : *k.job,
              k.fixture->empty() ? k.none : *k.fixture,
              "take the fixture's value in the job, or plan a new fixture with  teasel plan");
  const Side main = f.fixture.main;
  const std::string lies = std::string(to_string(main)) + " side down";
  if (job.board_lies != "auto" && job.board_lies != lies)
    d.error("respin-other-fixture", {job.file, 0, 0, "fixture.board_lies"},
            "the board lies the other way up in the fixture that stands", job.board_lies, lies,
            "board_lies = \"auto\"");
  for (const Side side : {Side::top, Side::bottom}) {
    const bool bed = std::any_of(f.fixture.holes.begin(), f.fixture.holes.end(),
                                 [&](const StandingHole& h) { return h.side == side && h.state == HoleState::in_use; });
    if (bed && job.sides == to_string(other(side)))
      d.error("respin-other-fixture", {job.file, 0, 0, "fixture.sides"},
              std::string("the fixture has a bed for the ") + to_string(side) + " side, the job leaves it out",
              job.sides, {}, "sides = \"auto\"");
  }
}

/// What probes must clear in plates that stand. Receptacles' holes are compared one by one while planning.
void add_obstacles(StandingFixture& f, const Rules& rules, const Style& style) {
  const double wall = std::min(style.web.v, rules.web.v);
  for (const StandingPlate& p : f.plates) {
    const Side side = p.lower ? f.main : other(f.main);
    const Affine to_board = inverse(p.from_board);
    const bool probe = p.kind == PlateKind::probe;
    if (!probe && p.kind != PlateKind::moving) continue;
    for (const StandingPlateHole& h : p.holes)
      if (h.kind != to_string(probe ? PlateHole::Kind::receptacle : PlateHole::Kind::plunger))
        f.to_clear.push_back({to_board(h.plate), side, h.diameter / 2 + (probe ? wall : style.web.v), !probe, h.label});
    if (!probe) continue;  // a guide hole may end in a pocket
    for (const StandingPocket& k : p.pockets)
      for (const Polygon& a : transformed(k.area, to_board)) f.milled.push_back({{a}, side, wall, bounds(a.outer)});
  }
}
}  // namespace

void stand_on(Job& job, const FixtureFile& file, const Laying& laying, const std::vector<NetMatch>& nets,
              const BuiltBoard& now, const Rules& rules, const Style& style, Diagnostics& d) {
  check_agreement(job, file, d);
  if (d.failed()) return;
  const BuiltBoard& old = file.revisions.back().board;
  std::map<std::string, std::string> name;
  for (const NetMatch& m : nets)
    if (m.taken && m.net >= 0)
      name.emplace(old.nets[static_cast<std::size_t>(m.old_net)], now.nets[static_cast<std::size_t>(m.net)]);
  auto renamed = [&](std::string& net) {
    const auto it = name.find(net);
    net = it == name.end() ? std::string() : it->second;
  };
  StandingFixture f = file.fixture;
  const Affine back = inverse(laying.map);
  // Places stay on the nanometre that they were planned on.
  auto moved = [&](Point p) {
    const Point q = back(p);
    return Point{std::round(q.x * 1e6) / 1e6, std::round(q.y * 1e6) / 1e6};
  };
  f.to_kit = combine(f.to_kit, laying.map);
  for (StandingHole& h : f.holes) {
    h.at = moved(h.at);
    renamed(h.net);
  }
  for (StandingSupport& s : f.supports) s.at = moved(s.at);
  for (StandingPlate& p : f.plates) p.from_board = combine(p.from_board, laying.map);
  for (StandingWire& w : f.wires) renamed(w.net);
  add_obstacles(f, rules, style);
  job.standing = std::move(f);
  job.board_lies = std::string(to_string(job.standing.main)) + " side down";
}

}  // namespace teasel
