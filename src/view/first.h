// Release files before there is a job: what was recognised in them, to look at, to correct and to confirm.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "live.h"
#include "server.h"
#include "teasel/job.h"

namespace teasel::view {

class FirstFolder {
 public:
  FirstFolder(std::string folder, std::string out, Job job, std::string text)
      : folder_(std::move(folder)), out_(std::move(out)), job_(std::move(job)), text_(std::move(text)) {
    understand();
  }
  /// Table by table: keys with their values and the evidence for them.
  [[nodiscard]] Json state() const;
  /// The layer file of this number in the job's list, counted from 0, as SVG.
  [[nodiscard]] Response drawing(const std::string& number) const;
  /// What the job says of the release as it stands, in one picture.
  [[nodiscard]] Response preview() const;
  /// {"path": key, "value": ...}: corrects one value; files stay.
  Response edit(const std::string& body);
  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  void understand();
  std::string folder_, out_;
  Job job_;
  std::string text_;
  std::optional<std::string> picture_;  ///< of text_; none where it cannot be read
  std::vector<std::string> errors_;     ///< why not
  int pictures_ = 0;                    ///< drawn so far: a new one gets a new address
};

std::optional<FirstFolder> first_folder(const std::string& folder, const std::string& out, Diagnostics& diagnostics);

}  // namespace teasel::view
