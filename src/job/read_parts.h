// Parts of the job file that are read in files of their own.
#pragma once
#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

void read_inputs(TomlTable& t, Job& job);

}  // namespace teasel
