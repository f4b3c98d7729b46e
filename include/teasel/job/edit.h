// Edits of a job file's text. What an edit does not speak of stays as it is, byte for byte: comments, order, spacing.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"

namespace teasel {

struct JobEdit {
  enum class Kind {
    set,     ///< the value at `path`; a key that is missing is added at its table's end
    remove,  ///< the key at `path`, or one table of a list of tables
    append,  ///< one table more to the list of tables at `path`
    insert   ///< the same, before the table that `path` names; as append() where there is no such list
  } kind{};
  std::string path;  ///< keys joined by points, quoted where they are not bare; [n] counts a list from 0: lock[2].class
  std::string value;  ///< TOML; to append: { net = "A", target = "TP1" }
};

/// `text` with the edits applied one after the other. After each, the new text is read and compared with what the
/// old one and the edit mean together; where they differ, or the path leads nowhere, that is an error and nothing is
/// returned. Lines end as the file's first one does.
std::optional<std::string> edited_text(std::string_view text, const std::string& file,
                                       const std::vector<JobEdit>& edits, Diagnostics& diagnostics);

/// The one spelling of a path that every way to write it comes down to: keys without quotes where they need none.
/// Nothing where it is no path, or has more keys, longer keys or deeper lists than any of a job file.
std::optional<std::string> plain_path(std::string_view path);

/// All that a job file, or another TOML file, says, as JSON; "" if it cannot be read.
std::string toml_as_json(std::string_view text);

}  // namespace teasel
