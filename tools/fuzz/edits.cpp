// Edits of the live page on the text of the demo's job. Bytes that are JSON are taken as the page sends them; any
// others choose keys and values that the page knows.
#include <fuzzer/FuzzedDataProvider.h>

#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "../../src/view/live.h"

namespace {
using namespace teasel;
using view::Json;

std::string text_of(const char* file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

Json value_of(FuzzedDataProvider& bytes, int depth) {
  switch (bytes.ConsumeIntegralInRange(0, depth < 4 ? 6 : 4)) {
    case 0: return bytes.ConsumeRandomLengthString(40);
    case 1: return bytes.ConsumeIntegral<std::int32_t>();
    case 2: return bytes.ConsumeFloatingPoint<double>();
    case 3: return bytes.ConsumeBool();
    case 4: return std::to_string(bytes.ConsumeIntegralInRange(-20, 400)) + (bytes.ConsumeBool() ? " mm" : "");
    case 5: {
      Json list = Json::array();
      for (int n = bytes.ConsumeIntegralInRange(0, 4); n > 0; --n) list.push_back(value_of(bytes, depth + 1));
      return list;
    }
    default: {
      Json table = Json::object();
      for (int n = bytes.ConsumeIntegralInRange(0, 4); n > 0; --n) {
        std::string key = bytes.ConsumeRandomLengthString(12);
        table[std::move(key)] = value_of(bytes, depth + 1);
      }
      return table;
    }
  }
}

/// A path of the option table, with numbers in its lists, and now and then cut off or carried on.
std::string path_of(FuzzedDataProvider& bytes) {
  const auto& rows = job_options();
  std::string path = rows[bytes.ConsumeIntegralInRange<std::size_t>(0, rows.size() - 1)].path;
  for (std::size_t at = 0; (at = path.find("[]", at)) != path.npos; ++at)
    path.insert(at + 1, std::to_string(bytes.ConsumeIntegralInRange(0, 5)));
  if (bytes.ConsumeProbability<double>() < 0.3) path.resize(std::min(path.find_first_of(".["), path.size()));
  if (bytes.ConsumeProbability<double>() < 0.2) path += bytes.ConsumeRandomLengthString(8);
  return path;
}

Json edits_of(FuzzedDataProvider& bytes) {
  Json edits = Json::array();
  for (int most = 20; bytes.remaining_bytes() > 0 && most > 0; --most) {
    Json edit = {{"do", bytes.PickValueInArray({"set", "remove", "append", "insert"})}, {"path", path_of(bytes)}};
    edit["value"] = value_of(bytes, 0);
    edits.push_back(std::move(edit));
  }
  return edits;
}
}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const std::string demo = text_of(TEASEL_SOURCE "/fixtures/jobs/buoy-node.toml");
  Json edits = Json::parse(data, data + size, nullptr, false);
  if (edits.is_discarded()) {
    FuzzedDataProvider bytes(data, size);
    edits = edits_of(bytes);
  }
  if (!edits.is_array() || edits.size() > 50) return 0;
  std::string now = demo;
  for (const Json& each : edits) {
    std::string why;
    const auto edit = view::edit_of(each, TEASEL_SOURCE "/fixtures/jobs/buoy-node.toml", why);
    if (!edit) {
      if (why.empty()) std::abort();
      continue;
    }
    Diagnostics diagnostics;
    const auto text = edited_text(now, "fuzz", {*edit}, diagnostics);
    if (!text) continue;
    Diagnostics of_job;
    (void)read_job(*text, "fuzz", of_job);
    // As on the page: only a job that can be read stays.
    if (!of_job.failed()) now = *text;
  }
  return 0;
}
