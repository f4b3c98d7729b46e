// Zip archives of a release: what is taken out of them, and what never is.
#include "teasel/formats/archive.h"

#include <algorithm>
#include <catch2/catch.hpp>

#include "../zip_maker.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
struct Unpacked {
  std::string names;  // with their bytes, "a.gbr=1 b.gbr=2"
  Diagnostics diagnostics;
  std::string codes;
};
Unpacked unpacked(const std::string& zip, ArchiveAllowance allowance = {}) {
  Unpacked out;
  for (const ArchiveFile& file : read_archive(zip, "a.zip", allowance, out.diagnostics))
    out.names += (out.names.empty() ? "" : " ") + file.name + "=" + file.bytes;
  for (const Finding& finding : out.diagnostics.all()) {
    CHECK(finding.severity == Severity::warning);
    CHECK_FALSE(finding.remedy.empty());
    out.codes += (out.codes.empty() ? "" : " ") + finding.code;
  }
  return out;
}
}  // namespace

TEST_CASE("files of an archive come by name, whatever their order in it (by hand)") {
  const ZipEntry top{"gerber/top.gbr", "1"}, drill{"board.drl", "2"}, far{"gerber/bot.gbr", "3"};
  const Unpacked one = unpacked(make_zip({top, drill, far})), other = unpacked(make_zip({far, top, drill}));
  CHECK(one.names == "board.drl=2 gerber/bot.gbr=3 gerber/top.gbr=1");
  CHECK(other.names == one.names);
  CHECK(one.codes.empty());
}

TEST_CASE("what file managers leave behind, hidden files and earlier plans are passed over (by hand)") {
  const Unpacked got = unpacked(make_zip({{"__MACOSX/gerber/._top.gbr", "x"},
                                          {".DS_Store", "x"},
                                          {"gerber/._top.gbr", "x"},
                                          {"gerber/Thumbs.db", "x"},
                                          {"desktop.ini", "x"},
                                          {".git/config", "x"},
                                          {"job-plan/plan.json", "{}"},
                                          {"job-plan/plates/probe.drl", "x"},
                                          {"gerber/", ""},
                                          {"gerber/top.gbr", "1"}}));
  CHECK(got.names == "gerber/top.gbr=1");
  CHECK(got.codes.empty());
  CHECK(is_dropping("a/__MACOSX/b"));
  CHECK(is_dropping("THUMBS.DB"));
  CHECK_FALSE(is_dropping("thumbs.dbx"));
}

TEST_CASE("names that lead out of the archive's folder are refused and the rest is used (by hand)") {
  for (const char* name : {"../out.gbr", "a/../../out.gbr", "/etc/out.gbr", "C:/out.gbr", "c:out.gbr", "..\\out.gbr",
                           "a\\..\\..\\out.gbr", "\\\\server\\out.gbr", "line\nend.gbr"}) {
    INFO(name);
    const Unpacked got = unpacked(make_zip({{name, "evil"}, {"top.gbr", "1"}}));
    CHECK(got.names == "top.gbr=1");
    CHECK(got.codes == "archive-unsafe-name");
  }
  // Backslashes of old programs part folders. A point or two slashes lead nowhere.
  const Unpacked got = unpacked(make_zip({{"Gerber\\top.gbr", "1"}, {"./b//c.gbr", "2"}, {"a..b.gbr", "3"}}));
  CHECK(got.names == "Gerber/top.gbr=1 a..b.gbr=3 b/c.gbr=2");
  CHECK(got.codes.empty());
}

TEST_CASE("links and devices in an archive are refused (mode bits of POSIX)") {
  const Unpacked got = unpacked(make_zip({{"link.gbr", "/etc/passwd", 0120777},
                                          {"pipe.gbr", "", 0010644},
                                          {"plain.gbr", "1", 0100644},
                                          {"other.gbr", "2"}}));
  CHECK(got.names == "other.gbr=2 plain.gbr=1");
  CHECK(got.codes == "archive-unsafe-name");
  CHECK(got.diagnostics.all()[0].found == "2 files, first link.gbr");
}

TEST_CASE("encrypted files are told and left out (by hand)") {
  const Unpacked got = unpacked(make_zip({{"secret.gbr", "x", 0, "word"}, {"top.gbr", "1"}}));
  CHECK(got.names == "top.gbr=1");
  CHECK(got.codes == "archive-encrypted");
  CHECK(got.diagnostics.all()[0].found == "1 file: secret.gbr");
}

TEST_CASE("archives lie in one another three deep, and no deeper (by hand)") {
  const std::string fourth = make_zip({{"d.gbr", "4"}});
  const std::string third = make_zip({{"c.gbr", "3"}, {"fourth.zip", fourth}});
  const std::string second = make_zip({{"b.gbr", "2"}, {"third.zip", third}});
  const Unpacked got = unpacked(make_zip({{"a.gbr", "1"}, {"in/second.zip", second}}));
  CHECK(got.names == "a.gbr=1 in/second.zip/b.gbr=2 in/second.zip/third.zip/c.gbr=3");
  CHECK(got.codes == "archive-too-deep");
}

TEST_CASE("one name with two contents names neither, with one content it counts once (by hand)") {
  const std::string differ = renamed(make_zip({{"aa.gbr", "1"}, {"ab.gbr", "2"}, {"c.gbr", "3"}}), "ab.gbr", "aa.gbr");
  const Unpacked got = unpacked(differ);
  CHECK(got.names == "c.gbr=3");
  CHECK(got.codes == "archive-name-twice");
  const Unpacked same = unpacked(renamed(make_zip({{"aa.gbr", "1"}, {"ab.gbr", "1"}}), "ab.gbr", "aa.gbr"));
  CHECK(same.names == "aa.gbr=1");
  CHECK(same.codes.empty());
  const Unpacked folder = unpacked(make_zip({{"a", "1"}, {"a/b.gbr", "2"}}));
  CHECK(folder.names == "a=1");
  CHECK(folder.codes == "archive-name-twice");
}

TEST_CASE("a bomb is not unpacked, and an archive beyond the allowance not at all (by hand)") {
  const Unpacked bomb = unpacked(make_zip({{"big.gbr", std::string(30'000'000, ' ')}, {"top.gbr", "1"}}));
  CHECK(bomb.names == "top.gbr=1");
  CHECK(bomb.codes == "archive-large-file");

  const std::string three = make_zip({{"a", "123"}, {"b", "456"}, {"c", "789"}});
  const Unpacked files = unpacked(three, {.files = 2}), bytes = unpacked(three, {.bytes = 8});
  CHECK(files.names.empty());
  CHECK(files.codes == "archive-too-large");
  CHECK(bytes.names.empty());
  CHECK(bytes.codes == "archive-too-large");
  CHECK(unpacked(three, {.files = 3, .bytes = 9}).names == "a=123 b=456 c=789");

  // Archives of one release share it, and one that is left out takes nothing of it.
  ArchiveAllowance shared{.files = 3, .bytes = 100};
  Diagnostics diagnostics;
  CHECK(read_archive(make_zip({{"a", "1"}, {"b", "2"}}), "one.zip", shared, diagnostics).size() == 2);
  CHECK(read_archive(three, "two.zip", shared, diagnostics).empty());
  CHECK(read_archive(make_zip({{"a", "1"}}), "three.zip", shared, diagnostics).size() == 1);
}

TEST_CASE("damage costs the file that it hits, or an archive without its directory (by hand)") {
  const std::string whole = make_zip({{"a.gbr", "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"}, {"b.gbr", "2"}});
  std::string bad = whole;
  bad[30 + 5] = static_cast<char>(bad[30 + 5] ^ 0x55);  // the first packed byte, behind head and name
  const Unpacked got = unpacked(bad);
  CHECK(got.names == "b.gbr=2");
  CHECK(got.codes == "archive-damaged");
  const Unpacked cut = unpacked(whole.substr(0, whole.size() / 2));
  CHECK(cut.names.empty());
  CHECK(cut.codes == "archive-unreadable");
}

TEST_CASE("any cut and any flipped bit is told or harmless (every byte of a small archive)") {
  const std::string whole = make_zip({{"a.gbr", std::string(200, 'a')}, {"in.zip", make_zip({{"b.gbr", "2"}})}});
  for (std::size_t i = 0; i < whole.size(); ++i) {
    std::string flipped = whole;
    flipped[i] = static_cast<char>(flipped[i] ^ 0x81);
    (void)unpacked(flipped);
    (void)unpacked(whole.substr(0, i));
  }
}

TEST_CASE("documents in a zip's guise are no archives, and other archives are known (published signatures)") {
  CHECK(is_archive(make_zip({{"top.gbr", "1"}})));
  CHECK_FALSE(is_archive(make_zip({{"[Content_Types].xml", "<Types/>"}, {"xl/workbook.xml", "<workbook/>"}})));
  CHECK_FALSE(is_archive(make_zip({{"mimetype", "application/vnd.oasis.opendocument.spreadsheet"}})));
  CHECK_FALSE(is_archive("G04 text*"));
  CHECK(other_archive("7z\xBC\xAF\x27\x1C....") == "7z");
  CHECK(other_archive("Rar!\x1A\x07....") == "rar");
  CHECK(other_archive("\x1F\x8B\x08....") == "gzip");
  CHECK(other_archive(std::string(257, ' ') + "ustar" + std::string(10, ' ')) == "tar");
  CHECK(other_archive("M02*").empty());
}
