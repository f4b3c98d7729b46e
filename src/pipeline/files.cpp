#include "teasel/pipeline/files.h"

#include <openssl/evp.h>
#include <zstd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <memory>

#include "teasel/formats/archive.h"
#include "teasel/utf8.h"
#include "teasel/written.h"
#include "written_files.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
constexpr std::size_t kLargestUnpacked = kLargestInput;
constexpr std::size_t kMostFiles = 2000;  // of a release

std::string reason() {
  return std::strerror(errno);
}

/// Zstandard, as it comes from archives of large board files.
std::optional<std::string> unpacked(const std::string& packed, const std::string& shown, Diagnostics& d) {
  const std::unique_ptr<ZSTD_DStream, decltype(&ZSTD_freeDStream)> stream(ZSTD_createDStream(), ZSTD_freeDStream);
  std::string out, chunk(ZSTD_DStreamOutSize(), '\0');
  ZSTD_inBuffer in{packed.data(), packed.size(), 0};
  std::size_t rest = 1;
  while (in.pos < in.size) {
    ZSTD_outBuffer to{chunk.data(), chunk.size(), 0};
    rest = ZSTD_decompressStream(stream.get(), &to, &in);
    if (ZSTD_isError(rest) || out.size() + to.pos > kLargestUnpacked) {
      d.error({.code = "file-unpack",
               .at = {shown, 0, 0, {}},
               .message = "the packed file cannot be unpacked",
               .found = ZSTD_isError(rest) ? ZSTD_getErrorName(rest) : "more than 200 MB",
               .remedy = "get it again, or unpack it yourself"});
      return std::nullopt;
    }
    out.append(chunk, 0, to.pos);
  }
  // What the last input left inside.
  while (rest != 0) {
    ZSTD_outBuffer to{chunk.data(), chunk.size(), 0};
    rest = ZSTD_decompressStream(stream.get(), &to, &in);
    if (ZSTD_isError(rest) || to.pos == 0) {
      d.error({.code = "file-unpack",
               .at = {shown, 0, 0, {}},
               .message = "the packed file is cut off",
               .remedy = "get it again"});
      return std::nullopt;
    }
    out.append(chunk, 0, to.pos);
  }
  return out;
}
}  // namespace

std::optional<std::string> read_file(const fs::path& path, const std::string& shown, Diagnostics& d,
                                     const Place& named_in) {
  std::error_code ec;
  if (!fs::is_regular_file(path, ec)) {
    d.error({.code = "file-not-found",
             .at = named_in.file.empty() ? Place{shown, 0, 0, {}} : named_in,
             .message = "the file does not exist or is not a plain file",
             .found = path.string(),
             .remedy = "correct the path; paths in a job file are relative to it"});
    return std::nullopt;
  }
  if (const auto size = fs::file_size(path, ec); size > kLargestInput) {
    d.error({.code = "file-too-large",
             .at = {shown, 0, 0, {}},
             .message = "the file is larger than 200 MB",
             .found = std::to_string(size / 1'000'000) + " MB",
             .remedy = "name the right file"});
    return std::nullopt;
  }
  std::ifstream in(path, std::ios::binary);
  std::string bytes(static_cast<std::size_t>(fs::file_size(path, ec)), '\0');
  in.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  bytes.resize(static_cast<std::size_t>(std::max<std::streamsize>(in.gcount(), 0)));
  if (!in.is_open() || in.bad()) {
    d.error(
        {.code = "file-unreadable", .at = {shown, 0, 0, {}}, .message = "the file cannot be read", .found = reason()});
    return std::nullopt;
  }
  if (bytes.rfind("\x28\xB5\x2F\xFD", 0) == 0) return unpacked(bytes, shown, d);
  return bytes;
}

bool is_utf16(std::string_view bytes) {
  return bytes.starts_with("\xFE\xFF") || bytes.starts_with("\xFF\xFE");
}

namespace {
/// RFC 2781; nothing where half a letter stands alone.
std::optional<std::string> from_utf16(std::string_view bytes) {
  const bool big = bytes[0] == '\xFE';
  const auto unit = [&](std::size_t at) -> char32_t {
    const auto first = static_cast<unsigned char>(bytes[at]), second = static_cast<unsigned char>(bytes[at + 1]);
    return big ? first << 8U | second : second << 8U | first;
  };
  if (bytes.size() % 2 != 0) return std::nullopt;
  std::string out;
  for (std::size_t at = 2; at < bytes.size(); at += 2) {
    char32_t code = unit(at);
    if (code >= 0xD800 && code < 0xE000) {
      const char32_t low = code < 0xDC00 && at + 2 < bytes.size() ? unit(at + 2) : 0;
      if (low < 0xDC00 || low >= 0xE000) return std::nullopt;
      code = 0x10000 + ((code - 0xD800) << 10U) + (low - 0xDC00);
      at += 2;
    }
    put_utf8(out, code);
  }
  return out;
}

/// Where a line begins with the mark of a merge that was not finished.
std::size_t conflict_mark(std::string_view text) {
  for (const std::string_view mark : {"<<<<<<<", ">>>>>>>"})
    for (std::size_t at = text.find(mark); at != text.npos; at = text.find(mark, at + mark.size())) {
      const std::size_t end = at + mark.size();
      const bool begins_line = at == 0 || text[at - 1] == '\n';
      if (begins_line && (end == text.size() || std::string_view(" \r\n").find(text[end]) != text.npos)) return at;
    }
  return text.npos;
}
}  // namespace

std::optional<std::string> as_text(std::string bytes, const std::string& shown, Diagnostics& d) {
  constexpr std::string_view kMark = "\xEF\xBB\xBF";
  if (is_utf16(bytes)) {
    auto text = from_utf16(bytes);
    if (!text) {
      d.error({.code = "file-utf16",
               .at = {shown, 0, 0, {}},
               .message = "the file is marked as UTF-16, and it holds half a letter",
               .remedy = "get it again, or save it as UTF-8"});
      return std::nullopt;
    }
    bytes = std::move(*text);
  } else if (bytes.starts_with(kMark)) {
    bytes.erase(0, kMark.size());
  }
  if (const std::size_t at = conflict_mark(bytes); at != bytes.npos) {
    const auto begin = bytes.begin(), mark = begin + static_cast<std::ptrdiff_t>(at);
    d.error({.code = "file-conflict",
             .at = {shown, static_cast<std::uint32_t>(std::count(begin, mark, '\n') + 1), 0, {}},
             .message = "the file holds both sides of a merge that was not finished",
             .found = bytes.substr(at, std::min<std::size_t>(bytes.find('\n', at) - at, 60)),
             .remedy = "finish the merge, or get the file again from the release"});
    return std::nullopt;
  }
  return bytes;
}

bool holds_gap(std::string_view bytes) {
  constexpr std::size_t kGap = 4096;
  // A run of this length covers a whole stretch of half its length, which is all that needs a look.
  for (std::size_t at = 0; at + kGap / 2 <= bytes.size(); at += kGap / 2) {
    if (bytes[at] != '\0') continue;
    std::size_t from = at, to = at;
    while (from > 0 && at - from < kGap && bytes[from - 1] == '\0') --from;
    while (to < bytes.size() && to - from < kGap && bytes[to] == '\0') ++to;
    if (to - from >= kGap) return true;
  }
  return false;
}

namespace {
constexpr std::size_t kHead = 64 * 1024;

std::string head_of(const fs::path& path) {
  std::string head(kHead, '\0');
  std::ifstream in(path, std::ios::binary);
  in.read(head.data(), static_cast<std::streamsize>(head.size()));
  head.resize(static_cast<std::size_t>(std::max<std::streamsize>(in.gcount(), 0)));
  return head;
}

/// Pictures, documents, films and bodies in three dimensions: of them a release needs no more than that they are there.
bool is_beside_the_point(std::string_view head) {
  if (head.starts_with("%PDF") || head.starts_with("ISO-10303-21")) return true;
  if (formats::is_zip(head) || formats::is_archive(head) || head.starts_with("\x28\xB5\x2F\xFD") || is_utf16(head))
    return false;
  return head.find('\0') != head.npos && !head.starts_with(std::string_view("\0\0\0\0", 4));
}

/// What is read of a file of a release.
std::uintmax_t bytes_read(const fs::path& file) {
  std::error_code ec;
  const auto size = fs::file_size(file, ec);
  if (ec || size > kLargestInput) return 0;
  return size > kHead && is_beside_the_point(head_of(file)) ? kHead : size;
}

/// False, with an error, where a folder holds more than fits into one release.
bool fits(const std::vector<fs::path>& files, const fs::path& folder, Diagnostics& d) {
  std::uintmax_t all = 0;
  for (const fs::path& file : files) all += bytes_read(file);
  if (all <= kMostInputs) return true;
  d.error({.code = "folder-too-large",
           .at = {folder.string(), 0, 0, {}},
           .message = "the files of the folder are larger than 250 MB together",
           .found = std::to_string(all / 1'000'000) + " MB in " + std::to_string(files.size()) + " files",
           .remedy = "give the folder of one release, without archives and pictures"});
  return false;
}

/// The plain files of a folder, by name; nothing, with an error, if it holds too many.
std::vector<fs::path> files_below(const fs::path& folder, Diagnostics& d) {
  std::vector<fs::path> names;
  std::error_code ec;
  auto it = fs::recursive_directory_iterator(folder, fs::directory_options::skip_permission_denied, ec);
  for (; !ec && it != fs::recursive_directory_iterator(); it.increment(ec)) {
    const std::string name = it->path().filename().string();
    const bool passed_over = name.front() == '.' || formats::is_dropping(name);
    if (it->is_directory(ec)) {
      if (passed_over || it.depth() >= 4 || fs::exists(it->path() / kPlan, ec) || fs::exists(it->path() / kHashes, ec))
        it.disable_recursion_pending();
      continue;
    }
    if (!passed_over && it->is_regular_file(ec)) names.push_back(it->path());
    if (names.size() > kMostFiles) {
      d.error({.code = "folder-too-large",
               .at = {folder.string(), 0, 0, {}},
               .message = "the folder holds more than 2000 files",
               .remedy = "give the folder of one release"});
      return {};
    }
  }
  std::sort(names.begin(), names.end());
  return names;
}

/// Adds what lies in the archives among the files, below the name of each archive.
void add_packed(std::vector<FolderFile>& files, Diagnostics& d) {
  formats::ArchiveAllowance allowance;
  const std::size_t loose = files.size();
  for (std::size_t i = 0; i < loose; ++i) {
    const std::string archive = files[i].name;
    if (const std::string kind = formats::other_archive(files[i].bytes); !kind.empty())
      d.warn({.code = "archive-other-kind",
              .at = {archive, 0, 0, {}},
              .message = "this kind of archive is not read, so nothing of it is used",
              .found = kind,
              .remedy = "unpack it, or pack its files as a zip archive"});
    if (!formats::is_archive(files[i].bytes)) continue;
    for (formats::ArchiveFile& file : formats::read_archive(files[i].bytes, archive, allowance, d))
      files.push_back({archive + "/" + file.name, std::move(file.bytes)});
  }
}
}  // namespace

bool is_release(const fs::path& path) {
  std::error_code ec;
  if (fs::is_directory(path, ec)) return true;
  std::string head(4, '\0');
  std::ifstream in(path, std::ios::binary);
  in.read(head.data(), static_cast<std::streamsize>(head.size()));
  return in.gcount() == 4 && formats::is_zip(head);
}

std::vector<FolderFile> read_folder(const fs::path& folder, Diagnostics& d) {
  std::vector<FolderFile> files;
  std::error_code ec;
  const bool archive = !fs::is_directory(folder, ec);
  if (archive && !is_release(folder)) {
    d.error({.code = "folder-not-found",
             .at = {folder.string(), 0, 0, {}},
             .message = "there is no folder and no zip archive of this name",
             .remedy = "give the folder that holds the release files"});
    return files;
  }
  const fs::path base = archive ? folder.parent_path() : folder;
  const std::vector<fs::path> names = archive ? std::vector<fs::path>{folder} : files_below(folder, d);
  if (!fits(names, folder, d)) return {};
  for (const auto& n : names) {
    const std::string shown = archive ? n.filename().generic_string() : fs::relative(n, base, ec).generic_string();
    if (fs::file_size(n, ec) > kLargestInput) {
      d.warn({.code = "file-too-large", .at = {shown, 0, 0, {}}, .message = "left out: larger than 200 MB"});
      continue;
    }
    if (!is_utf8(shown)) {
      d.warn({.code = "file-name-bytes",
              .at = {shown, 0, 0, {}},
              .message = "left out: the file's name is not UTF-8, so that a job file cannot name it",
              .remedy = "rename the file"});
      continue;
    }
    auto bytes = bytes_read(n) < fs::file_size(n, ec) ? std::optional(head_of(n)) : read_file(n, shown, d);
    if (!bytes) continue;
    // Archives and pictures may hold anything.
    if (const std::string_view head = std::string_view(*bytes).substr(0, 4); head == std::string_view("\0\0\0\0", 4)) {
      d.warn({.code = "file-gap",
              .at = {shown, 0, 0, {}},
              .message = "left out: the file begins with NUL bytes. It is damaged, or no text",
              .remedy = "get it again if it belongs to the release"});
      continue;
    }
    // Archives and workbooks are no text.
    if (!formats::is_zip(*bytes)) bytes = as_text(std::move(*bytes), shown, d);
    if (bytes) files.push_back({shown, std::move(*bytes)});
  }
  add_packed(files, d);
  return files;
}

std::string sha256(std::string_view bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int size = 0;
  EVP_Digest(bytes.data(), bytes.size(), digest.data(), &size, EVP_sha256(), nullptr);
  std::string hex;
  for (unsigned int i = 0; i < size; ++i) {
    hex += "0123456789abcdef"[digest[i] >> 4];
    hex += "0123456789abcdef"[digest[i] & 15];
  }
  return hex;
}

}  // namespace teasel::pipeline
