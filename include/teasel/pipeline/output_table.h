// Every file that teasel writes into an output folder, said once: what writes it, when, and for whom it is. From this
// table come the outputs of all commands, the files that a new run may replace, and the page "outputs" of the manual.
#pragma once
#include <functional>
#include <map>
#include <span>
#include <string>
#include <string_view>

#include "teasel/pipeline/run.h"

namespace teasel::pipeline {

/// Which command writes a file. What `audit` writes, `plan` writes as well, and what `plan` writes, `respin` does.
/// `folder`: whichever writes the folder, or marks it.
enum class WrittenBy : std::uint8_t { audit, plan, respin, nets, bench, folder };

/// Files by name, each with what writes it.
using Writers = std::map<std::string, std::function<std::string()>>;
/// What writers look at; it outlives them.
struct WriterSource {
  const Run& run;
  const Outcome& outcome;
};
struct OutputRow {
  const char* name;  ///< path below the output folder; `*` stands for the part that differs from file to file
  WrittenBy by;
  bool on_page;  ///< the page shows it as a list or a drawing: it is written before the page
  void (*add)(Writers& writers, const OutputRow& row, const WriterSource& source);  ///< null: its command writes it
  const char* text;  ///< of the manual: for whom, and what it holds
};
std::span<const OutputRow> output_table();

/// True for a path below an output folder that some row names, or for a folder that rows lie in.
bool is_ours(std::string_view path);

}  // namespace teasel::pipeline
