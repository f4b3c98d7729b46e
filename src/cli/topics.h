// The topics of the manual: the pages of data/manual, with the tables that are made from the program's own.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace teasel::cli {

struct Topic {
  std::string name;     ///< "first-board"
  std::string summary;  ///< one sentence
};
/// In the order of their reading.
std::vector<Topic> topics();
/// A line for each of them.
std::string topic_list();
/// The page as Markdown, with its tables made anew: what stands in data/manual. Empty if there is no such topic.
std::string topic_source(std::string_view name);
/// The page as plain text of at most 100 columns. Empty if there is no such topic.
std::string topic_text(std::string_view name);
/// What to say of a name that is no topic.
std::string not_a_topic(std::string_view name);

}  // namespace teasel::cli
