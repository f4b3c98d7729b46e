// Workbooks as tables. The parts of each workbook are written here, by the names and elements of ECMA-376.
#include "teasel/formats/workbook.h"

#include <catch2/catch.hpp>

#include "../zip_maker.h"
#include "teasel/formats/bench.h"
#include "teasel/formats/input_formats.h"
#include "teasel/formats/tables.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
struct Tab {
  std::string name, rows, state;
};
/// A workbook of these sheets. `strings`: items of the shared table.
std::vector<ZipEntry> parts(const std::vector<Tab>& tabs, const std::string& strings = {}) {
  const std::string head = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
  const std::string office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
  const std::string space = " xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"";
  const std::string packages = " xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"";
  std::vector<ZipEntry> out = {
      {"[Content_Types].xml", head + "<Types/>"},
      {"_rels/.rels", head + "<Relationships" + packages + "><Relationship Id=\"rId1\" Type=\"" + office +
                          "/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"}};
  std::string list,
      relations = "<Relationship Id=\"rId90\" Type=\"" + office + "/sharedStrings\" Target=\"/xl/sharedStrings.xml\"/>";
  for (std::size_t i = 0; i < tabs.size(); ++i) {
    // The order of the files is not that of the tabs.
    const std::string number = std::to_string(tabs.size() - i), id = "rId" + std::to_string(i + 1);
    list += "<sheet name=\"" + tabs[i].name + "\" sheetId=\"" + number + "\" r:id=\"" + id + "\"" +
            (tabs[i].state.empty() ? "" : " state=\"" + tabs[i].state + "\"") + "/>";
    relations += "<Relationship Id=\"" + id + "\" Type=\"" + office + "/worksheet\" Target=\"worksheets/sheet" +
                 number + ".xml\"/>";
    out.push_back({"xl/worksheets/sheet" + number + ".xml",
                   head + "<worksheet" + space + "><sheetData>" + tabs[i].rows + "</sheetData></worksheet>"});
  }
  out.push_back({"xl/workbook.xml",
                 head + "<workbook" + space + " xmlns:r=\"" + office + "\"><sheets>" + list + "</sheets></workbook>"});
  out.push_back(
      {"xl/_rels/workbook.xml.rels", head + "<Relationships" + packages + ">" + relations + "</Relationships>"});
  out.push_back({"xl/sharedStrings.xml", head + "<sst" + space + ">" + strings + "</sst>"});
  return out;
}
std::string workbook(const std::vector<Tab>& tabs, const std::string& strings = {}) {
  return make_zip(parts(tabs, strings));
}
/// A row of texts in the cells themselves.
std::string row(const std::vector<std::string>& texts) {
  std::string out = "<row>";
  for (const std::string& text : texts) out += "<c t=\"inlineStr\"><is><t>" + text + "</t></is></c>";
  return out + "</row>";
}
std::vector<Sheet> sheets(const std::string& bytes) {
  Diagnostics diagnostics;
  auto read = read_workbook(bytes, "a.xlsx", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  return read;
}
std::string error_of(const std::string& bytes) {
  Diagnostics diagnostics;
  read_workbook(bytes, "a.xlsx", diagnostics);
  return diagnostics.all().empty() ? "" : diagnostics.all()[0].code;
}
const std::string kPlace = row({"Designator", "Mid X", "Mid Y", "Layer", "Rotation"}) +
                           row({"C1", "1.5mm", "2.5mm", "TopLayer", "90"}) +
                           row({"C2", "3mm", "4mm", "BottomLayer", "0"});
const std::string kParts = row({"Reference", "Value", "Quantity"}) + row({"C1, C2", "100n", "2"});
}  // namespace

TEST_CASE("cells of every type are read as what they hold (ECMA-376 part 1, 18.18.11)") {
  const std::string strings =
      "<si><t>plain</t></si>"
      "<si><r><t>two </t></r><r><rPr><b/></rPr><t>runs</t></r><rPh sb=\"0\" eb=\"1\"><t>said</t></rPh></si>"
      "<si><t>line_x000A_end, &amp; \"quote\"</t></si>";
  const std::string rows =
      "<row r=\"1\"><c r=\"A1\" t=\"s\"><v>0</v></c><c r=\"B1\" t=\"s\"><v>1</v></c><c r=\"D1\" t=\"s\"><v>2</v></c>"
      "</row>"
      "<row r=\"3\"><c r=\"A3\" t=\"b\"><v>1</v></c><c r=\"B3\" t=\"str\"><f>A1</f><v>made</v></c>"
      "<c r=\"C3\" t=\"e\"><v>#N/A</v></c><c r=\"D3\" t=\"s\"><v>99</v></c><c r=\"AA3\"><v>7</v></c></row>";
  const auto read = sheets(workbook({{"One", rows, ""}}, strings));
  REQUIRE(read.size() == 1);
  CHECK(read[0].name == "One");
  CHECK(read[0].text ==
        "\"plain\"\t\"two runs\"\t\t\"line end, & \"\"quote\"\"\"\n"
        "\n"
        "\"TRUE\"\t\"made\"\t\"#N/A\"" +
            std::string(24, '\t') + "\"7\"\n");
}

TEST_CASE("numbers are read as they are stored, whatever their format shows (by hand)") {
  // 43862 is shown as a date by its style, 1206 as text or number; 0.1 and 4.7 as programs store them.
  const std::string rows =
      "<row><c s=\"4\"><v>43862</v></c><c><v>1206</v></c><c><v>0.10000000000000001</v></c>"
      "<c><v>4.7000000000000002</v></c><c><v>-12.5</v></c><c><v>1E-3</v></c><c><v>885012206095</v></c>"
      "<c><v>1.5E+3</v></c></row>";
  CHECK(sheets(workbook({{"One", rows, ""}}))[0].text ==
        "\"43862\"\t\"1206\"\t\"0.1\"\t\"4.7\"\t\"-12.5\"\t\"0.001\"\t\"885012206095\"\t\"1500\"\n");
}

TEST_CASE("sheets come in the order of their tabs, hidden ones not at all (by hand)") {
  const auto read = sheets(workbook({{"First", row({"1"}), ""},
                                     {"Secret", row({"x"}), "hidden"},
                                     {"More secret", row({"x"}), "veryHidden"},
                                     {"Last", row({"2"}), "visible"}}));
  REQUIRE(read.size() == 2);
  CHECK(read[0].name == "First");
  CHECK(read[0].text == "\"1\"\n");
  CHECK(read[1].name == "Last");
}

TEST_CASE("a workbook is each table that a sheet of it holds, and each reader finds its own (by hand)") {
  const std::string book = workbook({{"Notes", row({"Rev", "B"}), ""}, {"Parts", kParts, ""}, {"Places", kPlace, ""}});
  CHECK(is_workbook(book));
  CHECK(kinds_of(book) == std::vector<FileKind>{FileKind::bom, FileKind::placement});
  CHECK(kind_of(book) == FileKind::bom);
  CHECK(sheets_of(book, FileKind::placement) == std::vector<std::string>{"Places"});
  Diagnostics diagnostics;
  const Placement placement = read_placement(book, "a.xlsx", diagnostics);
  REQUIRE(placement.rows.size() == 2);
  CHECK(placement.rows[0].component == "C1");
  CHECK(placement.rows[0].x == 1.5);
  CHECK(placement.rows[0].side == Side::top);
  CHECK(placement.rows[1].side == Side::bottom);
  CHECK(placement.rows[1].line == 3);
  CHECK(placement.has_unit);
  const BomTable bom = read_bom(book, "a.xlsx", diagnostics);
  REQUIRE(bom.rows.size() == 2);
  CHECK(bom.rows[1].component == "C2");
  CHECK(bom.rows[1].value == "100n");
  CHECK(diagnostics.all().empty());
  const std::string heights = workbook({{"Sheet1", row({"component", "height_mm"}) + row({"U1", "2,1"}), ""}});
  CHECK(kind_of(heights) == FileKind::heights);
  const auto rows = read_heights(heights, "h.xlsx", diagnostics);
  REQUIRE(rows.size() == 1);
  CHECK(rows[0].height == Mm{2.1});
}

TEST_CASE("of several sheets that fit the first is read, with a warning (by hand)") {
  const std::string book = workbook({{"Old", kParts, ""}, {"New", kParts, ""}});
  Diagnostics diagnostics;
  CHECK(read_bom(book, "a.xlsx", diagnostics).rows.size() == 2);
  REQUIRE(diagnostics.all().size() == 1);
  CHECK(diagnostics.all()[0].code == "workbook-several-sheets");
  CHECK(diagnostics.all()[0].found == "Old is read; not read: New");
  CHECK(sheets_of(book, FileKind::bom) == std::vector<std::string>{"Old", "New"});
}

TEST_CASE("a title in words is no header, and a table may begin far down and to the right (by hand)") {
  const std::string rows =
      row({"Bill of materials for project number 12, description and value"}) +
      "<row r=\"9\"><c r=\"C9\" t=\"inlineStr\"><is><t>Designator</t></is></c>"
      "<c r=\"D9\" t=\"inlineStr\"><is><t>Comment</t></is></c><c r=\"F9\" t=\"inlineStr\"><is><t>Quantity</t></is></c>"
      "</row><row r=\"10\"><c r=\"C10\" t=\"inlineStr\"><is><t>R1&#10;R2</t></is></c>"
      "<c r=\"D10\" t=\"inlineStr\"><is><t>1k, 1 %</t></is></c><c r=\"F10\"><v>2</v></c></row>";
  Diagnostics diagnostics;
  const BomTable bom = read_bom(workbook({{"BOM", rows, ""}}), "a.xlsx", diagnostics);
  REQUIRE(bom.rows.size() == 2);
  CHECK(bom.rows[0].component == "R1");
  CHECK(bom.rows[1].component == "R2");
  CHECK(bom.rows[1].value == "1k, 1 %");
  CHECK(bom.rows[1].line == 10);
}

TEST_CASE("damaged and hostile workbooks are refused with a code (by hand)") {
  CHECK(error_of("PK\x03\x04 nothing") == "workbook-unreadable");
  auto lacking = parts({{"One", row({"1"}), ""}});
  std::erase_if(lacking, [](const ZipEntry& part) { return part.name == "xl/worksheets/sheet1.xml"; });
  CHECK(error_of(make_zip(lacking)) == "workbook-unreadable");
  CHECK(error_of(workbook({{"One", "<row><c>", ""}})) == "xml-malformed");
  CHECK(error_of(workbook({{"One", "<row>&lol;</row>", ""}})) == "xml-entity");
  // One cell far out in each row costs nothing, and a row at the end of the sheet a line feed for each row above it.
  const std::string far = "<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c><c r=\"A1048576\"><v>2</v></c></row>";
  CHECK(sheets(workbook({{"One", far, ""}}))[0].text == std::string(1'048'575, '\n') + "\"2\"\n");
  // The same part again and again, strings that are named over and over, too many tags.
  std::vector<Tab> many(51, {"S", row({"1"}), ""});
  CHECK(error_of(workbook(many)) == "workbook-too-large");
  std::string named = "<row>";
  for (int i = 0; i < 40; ++i) named += "<c t=\"s\"><v>0</v></c>";
  std::string noise;
  for (unsigned i = 0, seed = 1; i < 1'000'000; ++i)
    noise += static_cast<char>('a' + ((seed = seed * 1'103'515'245 + 12'345) >> 16) % 26);
  CHECK(error_of(workbook({{"One", named + "</row>", ""}}, "<si><t>" + noise + "</t></si>")) == "workbook-too-large");
  std::string tags = "<row>";
  for (int i = 0; i < 3'100'000; ++i) tags += "<c/>";
  CHECK(error_of(workbook({{"One", tags + "</row>", ""}})) == "workbook-too-large");
}

TEST_CASE("any flipped bit of a workbook is told or harmless (every byte of a small workbook)") {
  const std::string book = workbook({{"Places", kPlace, ""}}, "<si><t>x</t></si>");
  for (std::size_t i = 0; i < book.size(); ++i) {
    std::string flipped = book;
    flipped[i] = static_cast<char>(flipped[i] ^ 0x41);
    Diagnostics diagnostics;
    if (is_workbook(flipped)) (void)read_placement(flipped, "a.xlsx", diagnostics);
  }
}
