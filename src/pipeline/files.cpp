#include "teasel/pipeline/files.h"

#include <fcntl.h>
#include <openssl/evp.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>
#include <zstd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <memory>
#include <set>

#include "teasel/pipeline/output_table.h"
#include "teasel/written.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
constexpr std::uintmax_t kLargest = 1'000'000'000;
constexpr std::size_t kLargestUnpacked = 400'000'000;
constexpr const char* kMarker = "plan.json";
constexpr const char* kOtherMarkers[] = {"coverage.csv", "nets.csv",
                                         "bench-pads.csv"};  // folders of `audit`, `nets`, `bench`

std::string reason() {
  return std::strerror(errno);
}

bool write_all(const fs::path& path, const std::string& bytes, std::string& why) {
  const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  if (fd < 0) {
    why = reason();
    return false;
  }
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t n = ::write(fd, bytes.data() + done, bytes.size() - done);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) {
      why = reason();
      ::close(fd);
      return false;
    }
    done += static_cast<std::size_t>(n);
  }
  if (::close(fd) != 0) {
    why = reason();
    return false;
  }
  return true;
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
               .found = ZSTD_isError(rest) ? ZSTD_getErrorName(rest) : "more than 400 MB",
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
  if (fs::file_size(path, ec) > kLargest) {
    d.error({.code = "file-too-large", .at = {shown, 0, 0, {}}, .message = "the file is larger than 1 GB"});
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
void add_utf8(std::string& out, char32_t code) {
  if (code < 0x80) {
    out += static_cast<char>(code);
    return;
  }
  const int more = code < 0x800 ? 1 : code < 0x10000 ? 2 : 3;
  constexpr std::array<unsigned, 4> kFirst{0, 0xC0, 0xE0, 0xF0};
  out += static_cast<char>(kFirst[static_cast<std::size_t>(more)] | code >> 6 * more);
  for (int k = more - 1; k >= 0; --k) out += static_cast<char>(0x80U | (code >> 6 * k & 0x3FU));
}

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
    add_utf8(out, code);
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

std::vector<FolderFile> read_folder(const fs::path& folder, Diagnostics& d) {
  std::vector<FolderFile> files;
  std::error_code ec;
  if (!fs::is_directory(folder, ec)) {
    d.error({.code = "folder-not-found",
             .at = {folder.string(), 0, 0, {}},
             .message = "the folder does not exist",
             .remedy = "give the folder that holds the release files"});
    return files;
  }
  std::vector<fs::path> names;
  auto it = fs::recursive_directory_iterator(folder, fs::directory_options::skip_permission_denied, ec);
  for (; !ec && it != fs::recursive_directory_iterator(); it.increment(ec)) {
    const bool hidden = it->path().filename().string().front() == '.';
    if (it->is_directory(ec)) {
      if (hidden || it.depth() >= 4 || fs::exists(it->path() / kMarker, ec)) it.disable_recursion_pending();
      continue;
    }
    if (!hidden && it->is_regular_file(ec)) names.push_back(it->path());
    if (names.size() > 2000) {
      d.error({.code = "folder-too-large",
               .at = {folder.string(), 0, 0, {}},
               .message = "the folder holds more than 2000 files",
               .remedy = "give the folder of one release"});
      return {};
    }
  }
  std::sort(names.begin(), names.end());
  for (const auto& n : names) {
    const std::string shown = fs::relative(n, folder, ec).generic_string();
    if (fs::file_size(n, ec) > 300'000'000) {
      d.warn({.code = "file-too-large", .at = {shown, 0, 0, {}}, .message = "left out: larger than 300 MB"});
      continue;
    }
    if (!is_utf8(shown)) {
      d.warn({.code = "file-name-bytes",
              .at = {shown, 0, 0, {}},
              .message = "left out: the file's name is not UTF-8, so that a job file cannot name it",
              .remedy = "rename the file"});
      continue;
    }
    auto bytes = read_file(n, shown, d);
    if (bytes) bytes = as_text(std::move(*bytes), shown, d);
    if (bytes) files.push_back({shown, std::move(*bytes)});
  }
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

void write_folder(const fs::path& given, const std::map<std::string, std::string>& files, Diagnostics& d) {
  const fs::path folder = fs::absolute(given).lexically_normal();
  const fs::path target = folder.filename().empty() ? folder.parent_path() : folder;
  std::error_code ec;
  const bool exists = fs::exists(target, ec);
  auto fail = [&](const std::string& what, const std::string& why) {
    d.error({.code = "write-failed",
             .at = {given.string(), 0, 0, {}},
             .message = what,
             .found = why,
             .remedy = "choose another output folder; nothing was written"});
  };
  if (exists) {
    if (!fs::is_directory(target, ec)) return fail("the output path is not a folder", "a file stands there");
    for (auto it = fs::recursive_directory_iterator(target, ec); !ec && it != fs::recursive_directory_iterator();
         it.increment(ec))
      if (!is_ours(fs::relative(it->path(), target).generic_string()))
        return fail("the output folder holds a file that teasel did not write, so nothing in it is changed",
                    it->path().filename().string());
    if (!fs::is_empty(target, ec) && !fs::exists(target / kMarker, ec) &&
        std::none_of(std::begin(kOtherMarkers), std::end(kOtherMarkers),
                     [&](const char* m) { return fs::exists(target / m); }))
      return fail("the output folder is not an earlier plan", "no plan.json in it");
  }
  fs::create_directories(target.parent_path(), ec);
  std::string stage = (target.parent_path() / ("." + target.filename().string() + ".XXXXXX")).string();
  if (!::mkdtemp(stage.data())) return fail("the output folder cannot be made", reason());
  ::chmod(stage.c_str(), 0755);
  std::string why;
  for (const auto& [name, bytes] : files) {
    const fs::path path = fs::path(stage) / name;
    fs::create_directories(path.parent_path(), ec);
    if (!write_all(path, bytes, why)) {
      fs::remove_all(stage, ec);
      return fail("an output file cannot be written: " + name, why);
    }
  }
  constexpr unsigned kExchange = 2;  // RENAME_EXCHANGE
  if (exists) {
    if (::syscall(SYS_renameat2, AT_FDCWD, stage.c_str(), AT_FDCWD, target.c_str(), kExchange) != 0) {
      // A file system without exchange: the old folder steps aside first.
      const std::string aside = stage + ".old";
      if (::rename(target.c_str(), aside.c_str()) != 0 || ::rename(stage.c_str(), target.c_str()) != 0) {
        why = reason();
        ::rename(aside.c_str(), target.c_str());
        fs::remove_all(stage, ec);
        return fail("the output folder cannot be replaced", why);
      }
      fs::remove_all(aside, ec);
      return;
    }
    fs::remove_all(stage, ec);
  } else if (::rename(stage.c_str(), target.c_str()) != 0) {
    why = reason();
    fs::remove_all(stage, ec);
    fail("the output folder cannot be made", why);
  }
}

void write_file(const fs::path& path, const std::string& bytes, Diagnostics& d) {
  std::string stage = path.string() + ".XXXXXX", why;
  const int fd = ::mkstemp(stage.data());
  if (fd < 0)
    return d.error({.code = "write-failed",
                    .at = {path.string(), 0, 0, {}},
                    .message = "the file cannot be written",
                    .found = reason(),
                    .remedy = "choose another path"});
  ::close(fd);
  ::unlink(stage.c_str());
  if (!write_all(stage, bytes, why) || ::rename(stage.c_str(), path.c_str()) != 0) {
    if (why.empty()) why = reason();
    ::unlink(stage.c_str());
    d.error({.code = "write-failed",
             .at = {path.string(), 0, 0, {}},
             .message = "the file cannot be written",
             .found = why,
             .remedy = "choose another path"});
  }
}

}  // namespace teasel::pipeline
