// Proofs against the checker, which shares no code with the solver; and a damaged proof, which it must refuse.
#include <unistd.h>
#include <catch2/catch.hpp>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "random_problem.h"

using namespace teasel::selection;
using namespace teasel::testing;

namespace {
struct File {
  std::filesystem::path path = std::filesystem::temp_directory_path() / ("teasel-proof-" + std::to_string(::getpid()));
  ~File() { std::filesystem::remove(path); }
  int check(const std::string& text) const {
    std::ofstream(path) << text;
    const int status =
        std::system((std::string(CHECK_PROOF_BINARY) + " " + path.string() + " --proven >/dev/null 2>&1").c_str());
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  }
};
}  // namespace

TEST_CASE("the checker accepts the proofs of 320 random problems, each kind of constraint on and off (seed 77)") {
  const File file;
  std::mt19937 rng(77);
  for (int kinds = 0; kinds < 64; ++kinds)
    for (int i = 0; i < 5; ++i) {
      Kinds asked;
      asked.several = kinds & 1;
      asked.limits = kinds & 2;
      asked.joint = kinds & 4;
      asked.asking = kinds & 8;
      asked.hard = kinds & 16;
      asked.ties = kinds & 32;
      const Problem problem = random_problem(rng, 4 + i, 14 + 5 * i, 0.05 + 0.04 * i, asked);
      Limits limits;
      limits.seconds = 20;
      limits.keep_proof = true;
      if (i % 2) limits.sizes = {2, 3, 1, 4};
      const Result result = solve(problem, limits);
      INFO("kinds " << kinds << " problem " << i);
      REQUIRE(file.check(proof_text(problem, result)) == 0);
    }
}

TEST_CASE("the checker refuses a bound, a choice or a multiplier that is not so (constructed faults, seed 5)") {
  const File file;
  std::mt19937 rng(5);
  const Problem problem = random_problem(rng, 8, 30, 0.15, {});
  Limits limits;
  limits.keep_proof = true;
  const Result result = solve(problem, limits);
  const std::string good = proof_text(problem, result);
  REQUIRE(file.check(good) == 0);
  Result wrong = result;
  wrong.bound += 1;
  CHECK(file.check(proof_text(problem, wrong)) == 1);
  wrong = result;
  wrong.best.columns.pop_back();
  CHECK(file.check(proof_text(problem, wrong)) == 1);
  wrong = result;
  REQUIRE_FALSE(wrong.proof.shared.wants.empty());
  wrong.proof.shared.wants[0].second /= 2;
  CHECK(file.check(proof_text(problem, wrong)) == 1);
  CHECK(file.check(good.substr(0, good.size() / 2)) == 2);
  CHECK(file.check("") == 2);
}
