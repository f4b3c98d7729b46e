#include "written_files.h"

#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>

#include "teasel/parallel.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/output_table.h"

namespace teasel::pipeline {

namespace {
constexpr std::size_t kDigits = 64;  // of a SHA-256

bool is_hash(std::string_view text) {
  return text.size() == kDigits &&
         std::all_of(text.begin(), text.end(), [](char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'); });
}

/// A path that stays below its folder.
bool is_inside(const std::string& path) {
  return !path.empty() && path.front() != '/' && ("/" + path + "/").find("/../") == std::string::npos;
}

std::optional<std::map<std::string, std::string>> hashes_of(const std::string& text) {
  std::map<std::string, std::string> hashes;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    const std::string line = text.substr(from, end - from);
    from = end + 1;
    if (line.size() < kDigits + 3 || !is_hash(std::string_view(line).substr(0, kDigits)) ||
        !is_inside(line.substr(kDigits + 2)))
      return std::nullopt;
    hashes[line.substr(kDigits + 2)] = line.substr(0, kDigits);
  }
  return hashes;
}

std::string text_of(const nlohmann::json& object, const char* key) {
  const auto found = object.find(key);
  return found != object.end() && found->is_string() ? found->get<std::string>() : std::string();
}

/// An id as plans have it: it becomes the name of a folder.
bool is_id(const std::string& text) {
  return !text.empty() && text.size() <= 64 &&
         std::all_of(text.begin(), text.end(), [](unsigned char letter) { return std::isalnum(letter) != 0; });
}

/// What a plan says of itself; nothing where the text is no plan.
std::optional<WrittenFiles> files_of_plan(const std::string& text) {
  const auto plan = nlohmann::json::parse(text, nullptr, false);
  if (!plan.is_object() || !is_id(text_of(plan, "plan_id")) || !plan.contains("outputs") || !plan["outputs"].is_array())
    return std::nullopt;
  WrittenFiles written;
  written.plan_id = text_of(plan, "plan_id");
  for (const auto& output : plan["outputs"])
    if (output.is_object() && is_inside(text_of(output, "file")))
      written.hashes[text_of(output, "file")] = text_of(output, "sha256");
  return written;
}

/// A folder of an early version, which wrote no hashes: every name in it is one of an output.
std::optional<WrittenFiles> files_by_name(const OpenFolder& folder) {
  if (!folder.holds("coverage.csv") && !folder.holds("nets.csv") && !folder.holds("bench-pads.csv"))
    return std::nullopt;
  const auto entries = folder.list();
  if (!entries || !std::all_of(entries->begin(), entries->end(), [](const auto& entry) { return is_ours(entry.path); }))
    return std::nullopt;
  WrittenFiles written;
  written.by_name = true;
  return written;
}
}  // namespace

std::optional<WrittenFiles> written_files(const OpenFolder& folder) {
  const auto plan_text = folder.read(kPlan, kLargestOutput);
  std::optional<WrittenFiles> plan = plan_text ? files_of_plan(*plan_text) : std::nullopt;
  if (const auto text = folder.read(kHashes, kLargestOutput)) {
    if (const auto hashes = hashes_of(*text); hashes && !hashes->empty())
      return WrittenFiles{*hashes, plan ? plan->plan_id : std::string(), false};
  }
  if (!plan) return files_by_name(folder);
  // Nothing but the file itself says what it was.
  plan->hashes[kPlan] = sha256(*plan_text);
  return plan;
}

std::optional<Stock> take_stock(const OpenFolder& folder, const WrittenFiles& written) {
  Stock stock;
  auto entries = folder.list();
  if (!entries) return std::nullopt;
  stock.entries = std::move(*entries);
  std::vector<const FolderEntry*> listed;
  std::set<std::string> there;
  for (const FolderEntry& entry : stock.entries) {
    if (entry.kind == FolderEntry::Kind::folder || entry.path == kHashes || entry.path == kBuilt) continue;
    there.insert(entry.path);
    if (written.by_name)
      stock.as_written.push_back(entry.path);
    else if (written.hashes.count(entry.path) > 0)
      listed.push_back(&entry);
    else
      stock.foreign.push_back(entry.path);
  }
  std::vector<char> same(listed.size());
  parallel_for(
      listed.size(),
      [&](std::size_t i) {
        const auto bytes = folder.read(listed[i]->path, kLargestOutput);
        same[i] = bytes && sha256(*bytes) == written.hashes.at(listed[i]->path);
      },
      1);
  for (std::size_t i = 0; i < listed.size(); ++i)
    (same[i] ? stock.as_written : stock.touched).push_back(listed[i]->path);
  for (const auto& [path, hash] : written.hashes)
    if (there.count(path) == 0) stock.missing.push_back(path);
  return stock;
}

std::string hashes_text(const std::map<std::string, std::string>& files) {
  std::vector<const std::string*> bytes;
  for (const auto& [path, content] : files) bytes.push_back(&content);
  std::vector<std::string> hashes(bytes.size());
  parallel_for(
      bytes.size(), [&](std::size_t i) { hashes[i] = sha256(*bytes[i]); }, 1);
  std::string text;
  std::size_t i = 0;
  for (const auto& [path, content] : files) text += hashes[i++] + "  " + path + "\n";
  return text;
}

}  // namespace teasel::pipeline
