// Parts of the job file that are read in files of their own.
#pragma once
#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

/// Reads the keys of the table of this name whose rows of the option table say how.
void read_plain_keys(TomlTable& table, std::string_view name, Job& job);
void read_inputs(TomlTable& t, Job& job);

}  // namespace teasel
