// What a plan rests on, and what in the release confirms it.
#pragma once
#include <string>
#include <vector>

namespace teasel {

/// One thing that the files say of the board.
struct Fact {
  std::string what;                    ///< "outline", "copper of the top side", "names of nets", ...
  std::string from;                    ///< the file that it is taken from; "assumed" where none states it
  std::vector<std::string> witnesses;  ///< what else in the release says the same, each with its count
  std::string against;                 ///< what speaks against it, or how much is left unconfirmed; may be empty
  [[nodiscard]] bool proven() const { return !witnesses.empty(); }
};

}  // namespace teasel
