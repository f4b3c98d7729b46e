// Release files before there is a job: what was recognised in them, to look at, to correct and to confirm.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "live.h"
#include "server.h"
#include "teasel/pipeline/first.h"

namespace teasel::view {

class FirstFolder {
 public:
  FirstFolder(std::string folder, std::string out, pipeline::FirstDraft draft)
      : folder_(std::move(folder)), out_(std::move(out)), draft_(std::move(draft)) {
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
  [[nodiscard]] const pipeline::FirstDraft& draft() const { return draft_; }

 private:
  void understand();
  std::string folder_, out_;
  pipeline::FirstDraft draft_;
  std::optional<std::string> picture_;  ///< of the draft; none where it cannot be read
  std::vector<std::string> errors_;     ///< why not
  int pictures_ = 0;                    ///< drawn so far: a new one gets a new address
};

std::optional<FirstFolder> first_folder(const std::string& folder, const std::string& out, Diagnostics& diagnostics);

}  // namespace teasel::view
