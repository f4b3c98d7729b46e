// Drawings as PDF: pages, sizes and bytes (ISO 32000-1, 7.7.3: page tree; 72 points an inch).
#include "teasel/report/pdf.h"

#include <catch2/catch.hpp>
#include <regex>

using namespace teasel;

namespace {
std::string drawing(const std::string& width, const std::string& height) {
  return "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"" + width + "mm\" height=\"" + height +
         "mm\" viewBox=\"0 0 " + width + " " + height +
         "\"><rect x=\"1\" y=\"1\" width=\"5\" height=\"5\"/><text x=\"10\" y=\"10\">A</text></svg>\n";
}
}  // namespace

TEST_CASE("each drawing is a page of its own size, and the same drawings give the same bytes (ISO 216, ISO 32000-1)") {
  if (!writes_pdf()) {
    SUCCEED("built without librsvg");
    return;
  }
  const std::vector<std::string> drawings{drawing("420", "297"), drawing("594", "420")};
  const std::string pdf = pdf_of(drawings);
  REQUIRE(pdf.rfind("%PDF-", 0) == 0);
  CHECK(pdf == pdf_of(drawings));
  std::vector<std::pair<double, double>> pages;
  const std::regex box(R"(/MediaBox \[ 0 0 ([0-9.]+) ([0-9.]+) \])");
  for (std::sregex_iterator it(pdf.begin(), pdf.end(), box), end; it != end; ++it)
    pages.emplace_back(std::stod((*it)[1]), std::stod((*it)[2]));
  REQUIRE(pages.size() == 2);
  // A3 and A2, in points of 25.4/72 mm.
  CHECK(pages[0].first == Approx(420 / 25.4 * 72).margin(0.01));
  CHECK(pages[0].second == Approx(297 / 25.4 * 72).margin(0.01));
  CHECK(pages[1].first == Approx(594 / 25.4 * 72).margin(0.01));
  CHECK(pages[1].second == Approx(420 / 25.4 * 72).margin(0.01));
}

TEST_CASE("what is no drawing gives no PDF (by construction)") {
  CHECK(pdf_of({"this is no drawing"}).empty());
  CHECK(pdf_of({"<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"0\" height=\"0\"/>"}).empty());
}
