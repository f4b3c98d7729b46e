// Differences of two revisions: what was edited is what is found. The edits are made here; nothing else knows of them.
#include <map>
#include <set>

#include "made_board.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
using Row = std::tuple<std::string, std::string, std::string>;  // of, name, what

std::multiset<Row> found(const BuiltBoard& old, const BuiltBoard& now, const Affine& map) {
  const auto pads = match_pads(old, now, map);
  std::multiset<Row> out;
  for (const BoardChange& c : compare_boards(old, now, map, pads, match_nets(old, now, pads)))
    out.insert({c.of, c.name, c.what});
  return out;
}
std::string text(const std::multiset<Row>& rows) {
  std::string s;
  for (const auto& [a, b, c] : rows) s += a + " " + b + " " + c + "\n";
  return s;
}
/// Edits a board at random; each edit touches parts, nets and pads that no other touches.
struct Editor {
  BuiltBoard b;
  std::mt19937 dice;
  std::multiset<Row> made;
  std::set<BuiltNetId> used_nets;

  Editor(BuiltBoard board, unsigned seed) : b(std::move(board)), dice(seed) {}
  std::size_t roll(std::size_t n) { return dice() % n; }
  /// A part whose nets are untouched.
  std::optional<std::string> part() {
    for (int tries = 0; tries < 50; ++tries) {
      const BuiltPartId i{roll(b.parts.size())};
      if (used_names.insert(b.parts[i].name).second) return b.parts[i].name;
    }
    return std::nullopt;
  }
  BuiltPartId index(const std::string& name) const {
    return id_of(b.parts, *std::find_if(b.parts.begin(), b.parts.end(),
                                        [&](const BuiltPart& part) { return part.name == name; }));
  }
  /// A pad of no part whose net is untouched.
  std::optional<BuiltPadId> pad() {
    for (int tries = 0; tries < 50; ++tries) {
      const BuiltPadId i{roll(b.pads.size())};
      if (!b.pads[i].component && b.pads[i].name[0] == 'p' && used_names.insert(b.pads[i].name).second &&
          used_nets.insert(b.pads[i].net).second)
        return i;
    }
    return std::nullopt;
  }
  void edit(int kind) {
    switch (kind) {
      case 0:
        if (const auto p = part()) {
          move_part(b, index(*p), {0.3 + 0.01 * static_cast<double>(roll(50)), -0.2});
          made.insert({"part", *p, "moved"});
        }
        return;
      case 1:
        if (const auto p = part()) {
          remove_part(b, index(*p));
          made.insert({"part", *p, "gone"});
        }
        return;
      case 2:
        if (const auto p = part()) {
          b.parts[index(*p)].height += Mm{0.4};
          made.insert({"part", *p, "height"});
        }
        return;
      case 3:
        if (const auto p = part()) {
          BuiltPart& x = b.parts[index(*p)];
          x.body = {{rectangle(bounds(x.body).centre(), 4.6, 3.6), {}}};
          made.insert({"part", *p, "body"});
        }
        return;
      case 4:
        if (const auto p = part()) {
          b.parts[index(*p)].value = "other";
          made.insert({"part", *p, "value"});
        }
        return;
      case 5: {
        // A net under another name.
        for (int tries = 0; tries < 50; ++tries) {
          const BuiltNetId net{roll(b.nets.size())};
          if (!used_nets.insert(net).second) continue;
          b.nets[net] = "OTHER" + std::to_string(net.number());
          made.insert({"net", b.nets[net], "renamed"});
          return;
        }
        return;
      }
      case 6:
        if (const auto i = pad()) {
          made.insert({"pad", b.pads[*i].name, "gone"});
          b.pads.rows().erase(b.pads.begin() + i->number());
        }
        return;
      case 7: {
        BuiltPad pad = b.pads.back();
        pad.at = {1.0 + 0.5 * static_cast<double>(made.size()), 0.7};
        pad.name = bare_name(pad.at);
        pad.component = {};
        pad.bare = {};
        pad.bare[Side::bottom] = about(pad.at, 0.4, 0.4);
        used_names.insert(pad.name);
        b.pads.push_back(pad);
        made.insert({"pad", pad.name, "new"});
        return;
      }
      case 8:
        if (const auto i = pad()) {
          Box& x = b.pads[*i].bare[Side::bottom];
          x = x.grown(0.1);
          made.insert({"pad", b.pads[*i].name, "bare metal on the bottom side"});
        }
        return;
      case 9:
        if (const auto i = pad()) {
          const BuiltNetId other{b.pads[*i].net == BuiltNetId{0} ? std::size_t{1} : std::size_t{0}};
          if (!used_nets.insert(other).second) return;
          b.pads[*i].net = other;
          made.insert({"pad", b.pads[*i].name, "net"});
        }
        return;
    }
  }
  std::set<std::string> used_names;
};
}  // namespace

TEST_CASE("a board differs from itself in nothing, turned and shifted or not (law: identity, seeds 1 to 8)") {
  for (unsigned seed = 1; seed <= 8; ++seed) {
    const BuiltBoard old = made_board(seed);
    for (const Affine& t :
         {Affine{}, Affine{1, 0, 0, 1, 12.345, -7.001}, Affine{0, -1, 1, 0, 3, 4}, Affine{-1, 0, 0, -1, 50, 60}}) {
      BuiltBoard now = old;
      move_board(now, t);
      const auto rows = found(old, now, inverse(t));
      INFO(text(rows));
      CHECK(rows.empty());
    }
  }
}

TEST_CASE("edits at random are found, each of them and nothing else (edits made by the test, seeds 1 to 120)") {
  int edits = 0;
  for (unsigned seed = 1; seed <= 120; ++seed) {
    const BuiltBoard old = made_board(seed);
    Editor editor(old, seed * 7919);
    const int n = 1 + static_cast<int>(editor.roll(6));
    for (int k = 0; k < n; ++k) editor.edit(static_cast<int>(editor.roll(10)));
    const Affine motion{1, 0, 0, 1, seed % 2 ? 5.08 : 0.0, seed % 3 ? -2.54 : 0.0};
    std::multiset<Row> expected = editor.made;
    BuiltBoard now = editor.b;
    // Names of pads without a part follow their place.
    std::map<std::string, std::string> renamed;
    for (const BuiltPad& p : editor.b.pads)
      if (!p.component) renamed[p.name] = bare_name(motion(p.at));
    move_board(now, motion);
    std::multiset<Row> moved;
    for (auto [of, name, what] : expected)
      moved.insert({of, of == "pad" && what != "gone" && renamed.count(name) ? renamed[name] : name, what});
    const auto rows = found(old, now, inverse(motion));
    INFO("seed " << seed << "\nexpected\n" << text(moved) << "found\n" << text(rows));
    CHECK(rows == moved);
    edits += static_cast<int>(moved.size());
  }
  CHECK(edits > 250);
}

TEST_CASE("outline, thickness, revision and tooling are compared (edits made by the test)") {
  const BuiltBoard old = made_board(3);
  BuiltBoard now = old;
  now.revision = "B";
  now.thickness = Mm{1.0};
  now.outline.outer[1].x += 2;
  now.outline.outer[2].x += 2;  // a strip more on the right
  now.tooling[1].at = now.tooling[1].at + Point{0.5, 0};
  const auto rows = found(old, now, {});
  INFO(text(rows));
  CHECK(rows == std::multiset<Row>{{"board", "", "revision"},
                                   {"board", "", "thickness"},
                                   {"outline", "", "added"},
                                   {"tooling", "relieved pin", "moved"}});
}

TEST_CASE("nets are told by name, else by pins and places; a doubtful one is a hint only (counted by hand)") {
  BuiltBoard old;
  for (const char* name : {"A", "B", "C", "D"}) old.nets.push_back(name);
  for (int i = 0; i < 4; ++i) {
    BuiltPart part;
    part.name = "U" + std::to_string(i);
    part.height = Mm{1};
    part.height_confirmed = true;
    old.parts.push_back(part);
  }
  auto pin = [](BuiltBoard& board, std::size_t part, const char* number, std::size_t net) {
    BuiltPad pad;
    pad.component = BuiltPartId{part};
    pad.pin = number;
    pad.name = board.parts[pad.component].name + "-" + number;
    pad.kind = "component pad";
    pad.net = BuiltNetId{net};
    pad.at = {static_cast<double>(part) * 10.0, pad.pin[0] * 1.0};
    board.pads.push_back(pad);
  };
  for (std::size_t i = 0; i < 4; ++i) {
    pin(old, i, "1", 0);
    pin(old, i, "2", 1);
    pin(old, i, "3", 2);
  }
  pin(old, 0, "4", 3);
  BuiltBoard now = old;
  now.nets.clear();
  for (const char* name : {"A", "B_NEW", "C1", "E", "C2"}) now.nets.push_back(name);
  // C is split in two, two pins each; D is gone with its pin, E is new on another pin.
  for (BuiltPad& pad : now.pads)
    if (pad.net == BuiltNetId{2} && pad.component.index() >= 2) pad.net = BuiltNetId{4};
  now.pads.back().pin = "5";
  now.pads.back().name = "U0-5";
  now.pads.back().at = {0, 500};
  const auto nets = match_nets(old, now, match_pads(old, now, {}));
  REQUIRE(nets.size() >= 4);
  CHECK((nets[0].net == BuiltNetId{0} && !nets[0].renamed && nets[0].pins_same == 4));
  CHECK((nets[1].net == BuiltNetId{1} && nets[1].renamed && nets[1].taken && nets[1].pins_same == 4 &&
         nets[1].pins == 4));
  CHECK((nets[2].net && nets[2].renamed && nets[2].taken && nets[2].pins_same == 2 &&
         nets[2].pins == 4));  // half of them
  CHECK_FALSE(nets[3].net);
}
