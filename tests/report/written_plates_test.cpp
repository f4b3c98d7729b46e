// What is written for machines is read back: by the program's own readers, and by another program.
#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <random>
#include <set>

#include "../cli/run_command.h"
#include "teasel/enums.h"
#include "teasel/formats/drill.h"
#include "teasel/formats/tables.h"
#include "teasel/pipeline/run.h"
#include "teasel/written.h"

using namespace teasel;
using namespace test;

namespace {
using HolePlace = std::array<long long, 3>;  ///< x, y and diameter, micrometres
HolePlace place(double x, double y, double diameter) {
  return {std::llround(x * 1000), std::llround(y * 1000), std::llround(diameter * 1000)};
}

/// Text such as a board's files may hold: commands of other formats, quotes, line ends, letters of other scripts.
std::string hostile(std::mt19937& random) {
  const std::array<std::string, 12> pieces{"M30\n", "X1.0Y1.0", "\"", ",",        "=1+1",       "\r\n",
                                           "; T2",  "%",        "\\", "\xC3\xA9", "  0\nEOF\n", "\x1b[0m"};
  std::string text = "N";
  for (auto n = random() % 4; n > 0; --n) text += pieces[random() % pieces.size()];
  return text;
}

/// A plate with holes of some diameters at random places, each place once; and one pocket with two paths.
Plate random_plate(std::mt19937& random) {
  Plate plate;
  plate.name = hostile(random);
  plate.stem = "plate";
  plate.seen_from = "seen from " + hostile(random);
  plate.datum = hostile(random);
  plate.material = hostile(random);
  plate.thickness = Mm{10};
  plate.outline = {{-200, -200}, {200, -200}, {200, 200}, {-200, 200}};
  const auto um = [&](int least, int most) {
    return (least + static_cast<int>(random() % static_cast<unsigned>(most - least + 1))) / 1000.0;
  };
  std::set<std::pair<double, double>> taken;
  std::array<double, 3> diameters{};
  for (double& diameter : diameters) diameter = um(300, 6500);
  for (auto n = 1 + random() % 60; n > 0; --n) {
    PlateHole hole;
    hole.kind = static_cast<PlateHole::Kind>(random() % enumerators<PlateHole::Kind>());
    hole.label = hostile(random);
    hole.net = hostile(random);
    // Among them coordinates with fewer digits than most, and of both signs.
    const double step = std::array{1, 10, 1000, 100'000}[random() % 4];
    const auto coordinate = [&] { return std::trunc(um(-199'999, 199'999) * 1000 / step) * step / 1000; };
    const double x = coordinate(), y = coordinate();
    if (!taken.insert({x, y}).second) continue;
    hole.plate = PlatePoint{x, y};
    hole.diameter = Mm{diameters[random() % diameters.size()]};
    hole.drilled = random() % 5 != 0;
    plate.holes.push_back(hole);
  }
  std::map<long long, std::vector<int>> tools;
  for (std::size_t i = 0; i < plate.holes.size(); ++i)
    if (plate.holes[i].drilled) tools[std::llround(plate.holes[i].diameter.v * 1000)].push_back(static_cast<int>(i));
  for (const auto& [diameter, holes] : tools) plate.tools.push_back(holes);
  Pocket pocket;
  pocket.depth = Mm{um(500, 5000)};
  for (int ring = 0; ring < 2; ++ring) {
    const double x = um(-150'000, 100'000), y = um(-150'000, 100'000), w = um(2000, 40'000), h = um(2000, 40'000);
    pocket.path.push_back({{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}});
  }
  plate.pockets.push_back(pocket);
  return plate;
}

std::multiset<HolePlace> places_of(const Plate& plate, bool drilled_alone) {
  std::multiset<HolePlace> places;
  for (const PlateHole& hole : plate.holes)
    if (hole.drilled || !drilled_alone) places.insert(place(hole.plate.x, hole.plate.y, hole.diameter.v));
  return places;
}

/// A run that holds a board's name and nothing else that a plate needs.
struct Made {
  pipeline::Run run;
  explicit Made(std::mt19937& random) {
    run.plan.options.resize(1);
    run.plan_id = "0123456789";
    run.board.name = hostile(random);
    run.board.revision = hostile(random);
    run.inputs = {{hostile(random), "0"}};
  }
};

formats::DrillFile read(const std::string& bytes) {
  Diagnostics diagnostics;
  formats::DrillFile file = formats::read_drill(bytes, "plate.drl", diagnostics);
  INFO(bytes);
  REQUIRE_FALSE(diagnostics.failed());
  return file;
}
}  // namespace

TEST_CASE(
    "a drill file reads back as the holes that it was written of, whatever the names hold (random plates, seed 8)") {
  std::mt19937 random(8);
  for (int round = 0; round < 200; ++round) {
    const Made made(random);
    const Plate plate = random_plate(random);
    const std::string bytes = plate_drill(made.run.outcome(), plate);
    const formats::DrillFile file = read(bytes);
    std::multiset<HolePlace> found;
    for (const formats::Hole& hole : formats::holes_of(file, file.format)) {
      CHECK_FALSE(hole.slot);
      found.insert(place(hole.at.x, hole.at.y, hole.diameter.v));
    }
    INFO(bytes);
    REQUIRE(found == places_of(plate, true));
  }
}

TEST_CASE("a pocket's path reads back as it was written (random plates, seed 9)") {
  std::mt19937 random(9);
  for (int round = 0; round < 100; ++round) {
    const Made made(random);
    const Plate plate = random_plate(random);
    const Pocket& pocket = plate.pockets[0];
    const formats::DrillFile file = read(pocket_rout(made.run.outcome(), plate, pocket, Mm{2}));
    std::vector<std::array<HolePlace, 2>> found, written;
    for (const formats::Hole& chord : formats::holes_of(file, file.format))
      found.push_back({place(chord.at.x, chord.at.y, chord.diameter.v), place(chord.end.x, chord.end.y, 0)});
    for (const Ring& ring : pocket.path)
      for (std::size_t i = 0; i < ring.size(); ++i) {
        const Point from = ring[i], to = ring[(i + 1) % ring.size()];
        written.push_back({place(from.x, from.y, 2), place(to.x, to.y, 0)});
      }
    REQUIRE(found == written);
  }
}

TEST_CASE("a hole table reads back cell by cell, whatever the names hold (RFC 4180; random plates, seed 10)") {
  std::mt19937 random(10);
  for (int round = 0; round < 100; ++round) {
    const Made made(random);
    const Plate plate = random_plate(random);
    const auto table =
        formats::read_table(plate_csv(made.run.outcome(), plate), "plate.csv", {"xmm", "ymm", "diamm"}, 3);
    REQUIRE(table.has_value());
    REQUIRE(table->rows.size() == plate.holes.size());
    for (std::size_t i = 0; i < plate.holes.size(); ++i) {
      const PlateHole& hole = plate.holes[i];
      const auto& row = table->rows[i];
      REQUIRE(row.size() >= 14);
      CHECK(place(std::stod(row[1]), std::stod(row[2]), std::stod(row[3])) ==
            place(hole.plate.x, hole.plate.y, hole.diameter.v));
      CHECK(row[4] == to_string(hole.kind));
      CHECK(Csv::from_cell(row[5]) == hole.label);
      CHECK(Csv::from_cell(row[6]) == hole.net);
    }
  }
}

TEST_CASE("another program reads each drawing of random plates as the same holes (ezdxf; random plates, seed 11)") {
  Folder folder;
  if (run("/usr/bin/python3 -c 'import ezdxf'", folder.path).status != 0) {
    WARN("skipped: ezdxf is not installed");
    return;
  }
  std::mt19937 random(11);
  constexpr int kPlates = 12;
  for (int i = 0; i < kPlates; ++i) {
    const Made made(random);
    const Plate plate = random_plate(random);
    const std::string stem = (folder.path / std::to_string(i)).string();
    std::ofstream(stem + ".dxf", std::ios::binary) << plate_dxf(made.run.outcome(), plate);
    std::ofstream rows(stem + ".txt");
    for (const HolePlace& hole : places_of(plate, false)) rows << hole[0] << ' ' << hole[1] << ' ' << hole[2] << '\n';
  }
  std::ofstream(folder.path / "read.py") << R"py(
import ezdxf
for i in range(12):
    doc = ezdxf.readfile('%d.dxf' % i)
    auditor = doc.audit()
    assert not auditor.errors, auditor.errors
    circles = sorted((round(c.dxf.center.x * 1000), round(c.dxf.center.y * 1000), round(2000 * c.dxf.radius))
                     for c in doc.modelspace().query('CIRCLE'))
    rows = sorted(tuple(map(int, line.split())) for line in open('%d.txt' % i))
    assert circles == rows, (i, len(circles), len(rows))
)py";
  const Result result = run("/usr/bin/python3 read.py", folder.path);
  INFO(result.out << result.err);
  CHECK(result.status == 0);
}
