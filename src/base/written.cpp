#include "teasel/written.h"

#include <algorithm>
#include <cstdint>

#include "teasel/units.h"

namespace teasel {

namespace {
constexpr const char* kHex = "0123456789abcdef";

/// One letter of a text: its bytes, and what they mean; no meaning where they are no UTF-8 (RFC 3629).
struct Letter {
  std::size_t bytes = 1;
  char32_t code = 0;
  bool good = false;
};
Letter letter_at(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[at + i]); };
  const unsigned char first = byte(0);
  if (first < 0x80) return {1, first, true};
  const std::size_t bytes = first >= 0xF0 ? 4 : first >= 0xE0 ? 3 : 2;
  if (first < 0xC2 || first > 0xF4 || at + bytes > text.size()) return {};
  char32_t code = first & (0x7FU >> bytes);
  for (std::size_t i = 1; i < bytes; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return {};
    code = code << 6 | (byte(i) & 0x3FU);
  }
  const bool too_long = (bytes == 3 && code < 0x800) || (bytes == 4 && code < 0x10000);
  if (too_long || (code >= 0xD800 && code < 0xE000) || code > 0x10FFFF) return {};
  return {bytes, code, true};
}

/// Unicode 15: Cc, the ends of lines and paragraphs, Bidi_Control, the mark of byte order, and what is no character.
bool obeyed(char32_t code) {
  return code < 0x20 || (code >= 0x7F && code < 0xA0) || code == 0x61C || code == 0x200E || code == 0x200F ||
         (code >= 0x2028 && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069) || code == 0xFEFF ||
         (code & 0xFFFE) == 0xFFFE;
}

int digit_of(char letter) {
  if (letter >= '0' && letter <= '9') return letter - '0';
  if (letter >= 'a' && letter <= 'f') return letter - 'a' + 10;
  return -1;
}
/// \xNN, as visible() writes it.
bool group_at(std::string_view text, std::size_t at) {
  return text.size() >= at + 4 && text[at] == '\\' && text[at + 1] == 'x' && digit_of(text[at + 2]) >= 0 &&
         digit_of(text[at + 3]) >= 0;
}
void add_group(std::string& out, char byte) {
  const auto code = static_cast<unsigned char>(byte);
  out += "\\x";
  out += kHex[code >> 4];
  out += kHex[code & 15];
}

/// \uNNNN, as JSON and TOML know it.
void add_code(std::string& out, char32_t code) {
  out += "\\u";
  for (int shift = 12; shift >= 0; shift -= 4) out += kHex[code >> shift & 15];
}

/// With `groups`, what looks like a group already is told from one by its backslash, which becomes a group itself.
std::string shown(std::string_view text, bool lines, bool groups) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size();) {
    const Letter letter = letter_at(text, i);
    const bool stays = letter.good && !obeyed(letter.code) && (!groups || !group_at(text, i));
    if (stays || (lines && text[i] == '\n'))
      out += text.substr(i, letter.bytes);
    else
      for (const char byte : text.substr(i, letter.bytes)) add_group(out, byte);
    i += letter.bytes;
  }
  return out;
}
}  // namespace

std::string visible(std::string_view text) {
  return shown(text, false, false);
}
std::string visible_lines(std::string_view text) {
  return shown(text, true, false);
}

std::string visible_json(std::string_view json) {
  std::string out;
  out.reserve(json.size());
  for (std::size_t i = 0; i < json.size();) {
    const Letter letter = letter_at(json, i);
    // A JSON text has its own control characters escaped already, but for those between its values.
    if (letter.good && letter.code >= 0x7F && letter.code <= 0xFFFF && obeyed(letter.code))
      add_code(out, letter.code);
    else
      out += json.substr(i, letter.bytes);
    i += letter.bytes;
  }
  return out;
}

std::string_view first_bytes(std::string_view text, std::size_t most) {
  if (text.size() <= most) return text;
  std::size_t end = most;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return text.substr(0, end);
}

bool is_utf8(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const Letter letter = letter_at(text, i);
    if (!letter.good) return false;
    i += letter.bytes;
  }
  return true;
}

Toml::Text Toml::text(std::string_view outside) {
  std::string out = "\"";
  for (std::size_t i = 0; i < outside.size();) {
    const Letter letter = letter_at(outside, i);
    const char first = outside[i];
    if (!letter.good) {
      out += '\\';
      add_group(out, first);
    } else if (first == '"' || first == '\\') {
      out += '\\';
      out += first;
    } else if (first == '\n') {
      out += "\\n";
    } else if (first == '\t') {
      out += "\\t";
    } else if (obeyed(letter.code) && letter.code <= 0xFFFF) {
      add_code(out, letter.code);
    } else {
      out += outside.substr(i, letter.bytes);
    }
    i += letter.bytes;
  }
  return Text(out + "\"");
}
Toml::Text Toml::comment(std::string_view outside) {
  return Text("# " + visible(outside));
}
Toml::Text Toml::keys(std::string_view path) {
  constexpr std::string_view kBare = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-";
  Text out;
  for (std::size_t from = 0;;) {
    const std::size_t end = std::min(path.find('.', from), path.size());
    const std::string_view key = path.substr(from, end - from);
    const bool bare = !key.empty() && key.find_first_not_of(kBare) == key.npos;
    out += bare ? Text(std::string(key)) : text(key);
    if (end == path.size()) return out;
    out += ".";
    from = end + 1;
  }
}
Toml::Text Toml::number(double value, int decimals) {
  return Text(short_number(value, decimals));
}
Toml::Text Toml::whole(long long value) {
  return Text(std::to_string(value));
}

namespace {
/// Signs of a formula, and the wide forms of them that some spreadsheets take as well.
bool begins_formula(std::string_view text) {
  static constexpr std::string_view kWide[] = {"\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D", "\xEF\xBC\xA0"};
  return !text.empty() && (std::string_view("=+-@").find(text[0]) != std::string_view::npos ||
                           std::any_of(std::begin(kWide), std::end(kWide),
                                       [&](std::string_view sign) { return text.starts_with(sign); }));
}
bool is_harmless(char letter) {
  return (letter >= '0' && letter <= '9') || (letter >= 'a' && letter <= 'z') || (letter >= 'A' && letter <= 'Z') ||
         std::string_view(" ._-+/%#$~").find(letter) != std::string_view::npos;
}
bool would_run(std::string_view piece) {
  return begins_formula(piece) &&
         (piece[0] == '=' || piece[0] == '@' || !std::all_of(piece.begin(), piece.end(), is_harmless));
}
/// The piece behind the apostrophes and blanks before it, which do not count.
bool takes_apostrophe(std::string_view piece) {
  const std::size_t from = piece.find_first_not_of("' ");
  return from != piece.npos && would_run(piece.substr(from));
}

/// Calls `use` with each piece between semicolons, and puts the results together again.
template <class Use>
std::string by_pieces(std::string_view text, const Use& use) {
  std::string out;
  for (std::size_t from = 0;;) {
    const std::size_t end = std::min(text.find(';', from), text.size());
    out += use(text.substr(from, end - from));
    if (end == text.size()) return out;
    out += ';';
    from = end + 1;
  }
}
}  // namespace

Csv::Text Csv::cell(std::string_view outside) {
  const std::string text = by_pieces(shown(outside, false, true), [](std::string_view piece) {
    return (takes_apostrophe(piece) ? "'" : "") + std::string(piece);
  });
  if (text.find_first_of(",\"") == text.npos) return Text(text);
  std::string quoted = "\"";
  for (const char letter : text) {
    if (letter == '"') quoted += '"';
    quoted += letter;
  }
  return Text(quoted + "\"");
}
std::string Csv::from_cell(std::string_view cell) {
  const std::string text = by_pieces(cell, [](std::string_view piece) {
    const bool put_before = piece.starts_with('\'') && takes_apostrophe(piece.substr(1));
    return std::string(piece.substr(put_before ? 1 : 0));
  });
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (!group_at(text, i)) {
      out += text[i];
      continue;
    }
    out += static_cast<char>(digit_of(text[i + 2]) * 16 + digit_of(text[i + 3]));
    i += 3;
  }
  return out;
}

Xml::Text Xml::text(std::string_view outside) {
  std::string out;
  for (const char letter : visible(outside)) {
    switch (letter) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\'': out += "&#39;"; break;
      default: out += letter;
    }
  }
  return Text(out);
}
Xml::Text Xml::number(double value, int decimals) {
  return Text(short_number(value, decimals));
}
Xml::Text Xml::whole(long long value) {
  return Text(std::to_string(value));
}

Machine::Text Machine::text(std::string_view outside) {
  const std::string text = visible(outside);
  std::string out;
  for (std::size_t i = 0; i < text.size(); i += letter_at(text, i).bytes)
    out += static_cast<unsigned char>(text[i]) < 0x80 ? text[i] : '?';
  return Text(out);
}
Machine::Text Machine::number(double value, int decimals) {
  return Text(fixed(value, decimals));
}
Machine::Text Machine::whole(long long value) {
  return Text(std::to_string(value));
}

}  // namespace teasel
