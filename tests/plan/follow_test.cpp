// Judging and planning that follow a job's keep-outs and bans, against judging and planning afresh.
#include <catch2/catch.hpp>
#include <random>

#include "../access/small_board.h"
#include "plan_inputs.h"
#include "teasel/plan.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
bool same(const Verdict& a, const Verdict& b) {
  auto equal = [](const Shortfall& x, const Shortfall& y) {
    return x.reason == y.reason && x.blocking == y.blocking && x.waiver == y.waiver && x.measured == y.measured &&
           x.required == y.required && x.obstacle.kind == y.obstacle.kind && x.obstacle.id == y.obstacle.id &&
           x.obstacle.part == y.obstacle.part;
  };
  return a.open == b.open && a.miss == b.miss && a.wrong == b.wrong &&
         std::equal(a.shortfalls.begin(), a.shortfalls.end(), b.shortfalls.begin(), b.shortfalls.end(), equal);
}
}  // namespace

TEST_CASE("what follows keep-outs, bans and waivers is what is judged and planned afresh (seed 5)") {
  std::mt19937 random(5);
  auto roll = [&](double from, double to) {
    return from + (to - from) * static_cast<double>(random() >> 8) / double(1 << 24);
  };
  const Rules rules = shipped_rules();
  const Catalogue catalogue = shipped_catalogue();
  int judged = 0, all = 0, differing_plans = 0, left_out = 0;
  for (int round = 0; round < 6; ++round) {
    Board board = empty_board();
    Needs needs;
    board.nets.clear();
    for (int i = 0; i < 40; ++i) {
      const FeatureId pad = add_round(board, "P" + std::to_string(i),
                                      {3 + 6.3 * (i % 9) + roll(0, 2.5), 3 + 7.0 * (i / 9) + roll(0, 2.5)},
                                      roll(0.7, 1.6), random() % 2 ? Side::top : Side::bottom);
      board.nets.rows().pop_back();
      if (i % 3 == 0) {
        Net net;
        net.name = NetName("N" + std::to_string(i / 3));
        net.pins = 3;
        Need need;
        need.net = board.nets.next();
        need.role = Role::functional;
        need.wanted = 1 + (i % 4 == 0);
        board.nets.push_back(net);
        needs.push_back(need);
      }
      board.features[pad].net = NetId{board.nets.size() - 1};
      board.nets.back().features.push_back(pad);
    }
    for (int i = 0; i < 6; ++i)
      add_body(board, "U" + std::to_string(i), {roll(5, 55), roll(5, 35)}, roll(2, 7), roll(2, 7), roll(0.5, 9),
               random() % 2 ? Side::top : Side::bottom);
    Job job;
    auto drawn_keep_out = [&] {
      KeepOut made;
      const char* kinds[] = {"keep-out", "camera", "rail"};
      const Sides sides[] = {Side::top, Side::bottom, Sides::both()};
      made.kind = made.name = kinds[random() % 3];
      made.sides = sides[random() % 3];
      const Point at{roll(0, 60), roll(0, 40)};
      made.area = {{rectangle(at, roll(1, 15), roll(1, 15)), {}}};
      if (random() % 4 == 0) made.from_height = Mm{5};
      return made;
    };
    auto ban_one = [&] {
      const std::string target = "P" + std::to_string(random() % 40);
      const bool any_side = random() % 3 != 0;
      job.decisions.bans.push_back(ban("", target, any_side ? std::nullopt : std::optional(Side::top)));
    };
    auto lock_one = [&] {
      const std::string net = "N" + std::to_string(random() % 13), target = "P" + std::to_string(random() % 40);
      job.decisions.locks.push_back(lock(net, target));
    };
    for (int i = round % 3; i > 0; --i) board.keep_outs.push_back(drawn_keep_out());
    // Made for a job without them, so that every place that can ever be open is known.
    const auto outs = board.keep_outs;
    board.keep_outs.clear();
    Judging judging(board, job, catalogue, rules);
    const PlanInputs inputs = plan_inputs(board, judging.access(), needs, job, catalogue, rules);
    Planner planner(inputs), hurried(inputs);
    board.keep_outs = outs;
    const auto first = judging.follow(job);
    planner.follow(first);
    hurried.follow(first);
    for (int step = 0; step < 12; ++step) {
      const auto what = random() % 6;
      if (what < 2 || (what < 4 && board.keep_outs.empty()))
        board.keep_outs.push_back(drawn_keep_out());
      else if (what == 2)
        board.keep_outs.rows().erase(board.keep_outs.begin() +
                                     static_cast<std::ptrdiff_t>(random() % board.keep_outs.size()));
      else if (what == 3)
        board.keep_outs[KeepOutId{random() % board.keep_outs.size()}] = drawn_keep_out();
      else if (what == 4)
        ban_one();
      else if (!job.decisions.bans.empty())
        job.decisions.bans.rows().erase(job.decisions.bans.begin());
      if (step == 4 || step == 9) lock_one();
      if (step == 8 && random() % 2) job.decisions.locks.clear();
      if (step == 7) job.decisions.waivers.push_back(waiver("N3", "P9", "land too small", "tried"));
      const auto touched = judging.follow(job);
      planner.follow(touched);
      hurried.follow(touched);
      judged += static_cast<int>(touched.size());
      all += 40;
      const Access fresh = judge(board, job, catalogue, rules);
      const Access& now = judging.access();
      REQUIRE(now.best_spot == fresh.best_spot);
      REQUIRE(now.waiver_uses == fresh.waiver_uses);
      for (std::size_t i = 0; i < fresh.verdicts.size(); ++i) REQUIRE(same(now.verdicts[i], fresh.verdicts[i]));
      Diagnostics diagnostics;
      const PlanResult live = planner.plan({}, {}, diagnostics),
                       afresh = plan(plan_inputs(board, fresh, needs, job, catalogue, rules), {}, diagnostics);
      REQUIRE(live.chosen == afresh.chosen);
      for (std::size_t o = 0; o < live.options.size(); ++o) {
        REQUIRE(live.options[o].total() == afresh.options[o].total());
        REQUIRE(live.options[o].proven);
        CHECK(live.options[o].got == afresh.options[o].got);
        CHECK(live.options[o].candidates == afresh.options[o].candidates);
      }
      // The quick plan leaves out what cannot have become the best.
      PlanLimits quick;
      quick.quick = true;
      quick.explain = false;
      const PlanResult soon = hurried.plan({}, quick, diagnostics);
      REQUIRE(soon.chosen == afresh.chosen);
      REQUIRE(soon.options[soon.chosen].total() == afresh.options[afresh.chosen].total());
      for (std::size_t o = 0; o < soon.options.size(); ++o) left_out += soon.options[o].as_before;
      const auto &x = live.options[live.chosen].probes, &y = afresh.options[afresh.chosen].probes;
      REQUIRE(x.size() == y.size());
      for (const ProbeId i : x.ids()) differing_plans += x[i].spot != y[i].spot || x[i].probe_class != y[i].probe_class;
    }
  }
  CHECK(judged < all * 9 / 10);
  CHECK(differing_plans == 0);
  CHECK(left_out > 10);
}

TEST_CASE("a place that was not open when the planner was made is found (by hand)") {
  Board board = empty_board();
  add_round(board, "A", {30, 20}, 2, Side::bottom);
  Needs needs(1);
  needs.front().net = NetId{0};
  needs.front().role = Role::functional;
  needs.front().wanted = 1;
  const Rules rules = shipped_rules();
  const Catalogue catalogue = shipped_catalogue();
  Job job;
  job.decisions.bans.push_back(ban("", "A"));
  Judging judging(board, job, catalogue, rules);
  Planner planner(plan_inputs(board, judging.access(), needs, job, catalogue, rules));
  Diagnostics diagnostics;
  const PlanResult before = planner.plan({}, {}, diagnostics);
  CHECK(before.options[before.chosen].probes.empty());
  job.decisions.bans.clear();
  const auto touched = judging.follow(job);
  CHECK(touched == std::vector<TargetId>{TargetId{0}});
  planner.follow(touched);
  const PlanResult now = planner.plan({}, {}, diagnostics);
  CHECK(now.options[now.chosen].probes.size() == 1);
}
