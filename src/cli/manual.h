// The manual page and the shell's completion, from the very options that the program parses.
#pragma once
#include <CLI/App.hpp>
#include <string>

namespace teasel::cli {

/// roff for man(1), section 1.
std::string manual_page(const CLI::App& app);
/// For bash: commands, options, files.
std::string bash_completion(const CLI::App& app);

}  // namespace teasel::cli
