#include "teasel/board/by_board.h"

namespace teasel {

void ByBoard::add(PlaceId place, const std::string& fact) {
  // What is said twice of one board stays two facts.
  std::vector<std::size_t>& said = index_[fact];
  for (const std::size_t row : said)
    if (facts_[row].second.insert(place).second) return;
  said.push_back(facts_.size());
  facts_.push_back({fact, {place}});
}

namespace {
std::string where_of(const std::set<PlaceId>& places, const Board& board) {
  constexpr std::size_t kNamed = 3;  // so many boards are named, more are counted
  const std::size_t boards = board.places.size();
  if (boards < 2) return {};
  if (places.size() == boards) return boards == 2 ? "on both boards" : "on all " + std::to_string(boards) + " boards";
  std::string where = "on " + std::to_string(places.size()) + " of " + std::to_string(boards) + " boards";
  if (places.size() > kNamed) return where;
  std::string names;
  for (const PlaceId place : places) names += (names.empty() ? "" : ", ") + board.places[place].name;
  return where + " (" + names + ")";
}
}  // namespace

std::vector<ByBoard::Told> ByBoard::told(const Board& board) const {
  std::vector<Told> out;
  for (const auto& [fact, places] : facts_) out.push_back({fact, where_of(places, board)});
  return out;
}

}  // namespace teasel
