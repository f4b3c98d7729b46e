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
      Kinds k;
      k.several = kinds & 1;
      k.limits = kinds & 2;
      k.joint = kinds & 4;
      k.asking = kinds & 8;
      k.hard = kinds & 16;
      k.ties = kinds & 32;
      const Problem p = random_problem(rng, 4 + i, 14 + 5 * i, 0.05 + 0.04 * i, k);
      Limits l;
      l.seconds = 20;
      l.keep_proof = true;
      if (i % 2) l.sizes = {2, 3, 1, 4};
      const Result r = solve(p, l);
      INFO("kinds " << kinds << " problem " << i);
      REQUIRE(file.check(proof_text(p, r)) == 0);
    }
}

TEST_CASE("the checker refuses a bound, a choice or a multiplier that is not so (constructed faults, seed 5)") {
  const File file;
  std::mt19937 rng(5);
  const Problem p = random_problem(rng, 8, 30, 0.15, {});
  Limits l;
  l.keep_proof = true;
  const Result r = solve(p, l);
  const std::string good = proof_text(p, r);
  REQUIRE(file.check(good) == 0);
  Result wrong = r;
  wrong.bound += 1;
  CHECK(file.check(proof_text(p, wrong)) == 1);
  wrong = r;
  wrong.best.columns.pop_back();
  CHECK(file.check(proof_text(p, wrong)) == 1);
  wrong = r;
  REQUIRE_FALSE(wrong.proof.shared.wants.empty());
  wrong.proof.shared.wants[0].second /= 2;
  CHECK(file.check(proof_text(p, wrong)) == 1);
  CHECK(file.check(good.substr(0, good.size() / 2)) == 2);
  CHECK(file.check("") == 2);
}
