// Which nets form interfaces. Kinds are tried in the order of their table; what one takes is gone for the next.
#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "names.h"
#include "pairs.h"
#include "series.h"

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr std::size_t kBusOfPairs = 4;  // so many pairs of one stem are a bus of pairs, whatever it is called

/// Nothing but numbers and signs stands behind the word.
bool ends_name(const ParsedName& name, const NameHit& hit) {
  return std::all_of(
      name.parts.begin() + static_cast<std::ptrdiff_t>(hit.end), name.parts.end(),
      [](const std::string& p) { return p.size() == 1 || std::isdigit(static_cast<unsigned char>(p[0])); });
}

class Recogniser {
 public:
  Recogniser(const Board& b, const Job& job, const InterfaceTable& t, Diagnostics& d)
      : b_(b), job_(job), t_(t), d_(d), hangs_(b) {
    set_.of_net.assign(b.nets.size(), -1);
    taken_.assign(b.nets.size(), false);
    for (const Net& n : b.nets) names_.push_back(parse_name(n.name));
    for (std::size_t i = 0; i < b.nets.size(); ++i)
      if (b.nets[i].unconnected) taken_[i] = true;
  }
  InterfaceSet run();

 private:
  struct Entry {
    int net{};
    NameHit hit;
    std::vector<std::string> stem, evidence;
    bool of_pin = false;  ///< the name of a pin says so, not that of the net
  };
  using Groups = std::map<std::string, std::vector<Entry>>;

  void rules();
  void by_volts(int k);
  void single(int k);
  void grouped(int k);
  void pairs(int k);
  void rails_by_capacitors();
  std::set<int> grounds() const;
  bool bears_supply(int net, int pins_enough) const;
  void by_parts(int k);
  int ground_kind() const;
  void pin_functions(int k, std::vector<Entry>& entries) const;
  void join_by_context(int k, Groups& groups) const;
  void join_by_parts(int k, Groups& groups) const;
  static void drop_buses(const InterfaceKind& kind, std::vector<Entry>& list);
  void keep(int k, const std::string& stem, std::vector<Entry>& entries);
  void join_over_series();
  void complete();
  FoundInterface& of_kind(int k);
  void take(FoundInterface& f, InterfaceNet n) {
    taken_[at(n.net)] = true;
    f.nets.push_back(std::move(n));
  }
  bool free(std::size_t net) const { return !taken_[net]; }
  const std::string& name(int net) const { return b_.nets[at(net)].name; }

  const Board& b_;
  const Job& job_;
  const InterfaceTable& t_;
  Diagnostics& d_;
  Hanging hangs_;
  std::vector<ParsedName> names_;
  std::vector<bool> taken_;
  InterfaceSet set_;
};

/// Nets that the job gives to an interface, or to none.
void Recogniser::rules() {
  for (std::size_t r = 0; r < job_.interface_rules.size(); ++r) {
    const InterfaceRule& x = job_.interface_rules[r];
    if (x.kind == "none") {
      std::size_t fits = 0;
      for (std::size_t i = 0; i < b_.nets.size(); ++i)
        for (const std::string& g : x.nets)
          if (glob_match(g, b_.nets[i].name)) {
            taken_[i] = true;
            ++fits;
          }
      if (fits == 0)
        d_.warn("interface-fits-no-net", x.place, "an entry of [[interface]] with kind none fits no net", {},
                "correct the names");
      continue;
    }
    const int k = t_.kind_of(x.kind);
    if (x.lines.empty()) continue;
    if (k < 0) {
      d_.error("interface-kind", x.place, "the interface file knows no such kind", x.kind, {}, "use one of its names");
      continue;
    }
    FoundInterface f;
    f.kind = k;
    f.name = x.name.empty() ? x.kind : x.name;
    f.confidence = Confidence::confirmed;
    f.rule = static_cast<int>(r);
    f.evidence = {"the job file says so"};
    for (const auto& said : x.lines) {
      const std::string &line = said.first, &net = said.second;
      const auto& lines = t_.kinds[at(k)].lines;
      const auto l = std::find_if(lines.begin(), lines.end(), [&](const InterfaceLine& q) { return q.name == line; });
      if (l == lines.end()) {
        std::string all;
        for (const auto& q : lines) all += (all.empty() ? "" : ", ") + q.name;
        d_.error("interface-line", x.place, "this kind of interface has no such line", line, all,
                 "use one of its lines");
        continue;
      }
      const auto n = std::find_if(b_.nets.begin(), b_.nets.end(), [&](const Net& q) { return q.name == net; });
      if (n == b_.nets.end()) {
        d_.error("interface-net", x.place, "the board has no such net", net, {}, "names as in coverage.csv");
        continue;
      }
      const int id = static_cast<int>(n - b_.nets.begin());
      if (taken_[at(id)]) {
        d_.error("interface-net", x.place, "this net is already part of another entry of [[interface]], or of none",
                 net, {}, "name it once");
        continue;
      }
      InterfaceNet part;
      part.line = static_cast<int>(l - lines.begin());
      part.net = id;
      part.confidence = Confidence::confirmed;
      part.evidence = {"job file"};
      take(f, std::move(part));
    }
    set_.found.push_back(std::move(f));
  }
}

FoundInterface& Recogniser::of_kind(int k) {
  for (FoundInterface& f : set_.found)
    if (f.kind == k && f.rule < 0) return f;
  FoundInterface f;
  f.kind = k;
  f.name = t_.kinds[at(k)].name;
  f.confidence = Confidence::fair;
  set_.found.push_back(std::move(f));
  return set_.found.back();
}

void Recogniser::by_volts(int k) {
  const double most = *t_.kinds[at(k)].above_volts;
  for (std::size_t i = 0; i < b_.nets.size(); ++i) {
    if (!free(i) || holds_any(names_[i], t_.kinds[at(k)].not_words)) continue;
    const auto v = volts_in(b_.nets[i].name);
    if (v && std::abs(*v) > most)
      take(of_kind(k), {0,
                        static_cast<int>(i),
                        Confidence::fair,
                        {"the name says " + short_number(*v, 2) + " V"},
                        -1,
                        -1,
                        true,
                        {},
                        false});
  }
}

void Recogniser::single(int k) {
  const InterfaceKind& kind = t_.kinds[at(k)];
  for (std::size_t i = 0; i < b_.nets.size(); ++i) {
    if (!free(i)) continue;
    NameHit hit = best_hit(names_[i], kind);
    bool behind = false;  // behind other words a voltage may be a signal's level
    if (hit.strength < Strength::sure && kind.any_volts && !holds_any(names_[i], kind.not_words))
      if (const auto v = volts_in(b_.nets[i].name)) {
        hit = {0, Strength::sure, 0, 0, short_number(*v, 2) + " V"};
        behind = !std::isdigit(static_cast<unsigned char>(
            names_[i].whole[std::min(names_[i].whole.find_first_not_of("+-VP"), names_[i].whole.size() - 1)]));
      }
    // A weak word for a rail wants what rails have; a sure one wants no sign against it.
    if (kind.role == Role::power && hit.line >= 0) {
      if (!bears_supply(static_cast<int>(i), hit.strength == Strength::stem || behind ? 6 : 3)) continue;
      if (hit.strength == Strength::stem && holds_any(names_[i], kind.not_weak)) continue;
      if (hit.strength == Strength::stem) {
        hit.strength = Strength::sure;
        hit.word += ", and it bears what rails bear";
      }
    }
    if (hit.strength < Strength::sure) continue;
    InterfaceNet n{hit.line, static_cast<int>(i), Confidence::fair, {"the name holds " + hit.word}, -1, -1, true, {},
                   false};
    if (kind.role == Role::power || kind.role == Role::ground) {
      const int c = hangs_.capacitors(static_cast<int>(i));
      if (c >= t_.rail_capacitors) {
        n.confidence = Confidence::strong;
        n.evidence.push_back(std::to_string(c) + " capacitors hang on it");
      }
    }
    take(of_kind(k), std::move(n));
  }
}

/// Rails have capacitors, coils, diodes, fuses or connectors, many pins, or several pins of one part; levels and
/// enables have not.
bool Recogniser::bears_supply(int net, int pins_enough) const {
  if (b_.nets[at(net)].pins >= pins_enough || hangs_.capacitors(net) > 0) return true;
  static const std::set<std::string> power = {"L",  "D",   "F",  "FU", "FB",  "CR", "J",   "P",  "X",
                                              "CN", "CON", "JP", "BT", "BAT", "TB", "JTB", "VR", "REG"};
  std::map<int, int> pins;
  for (const int f : b_.nets[at(net)].features)
    if (const int c = b_.features[at(f)].component; c >= 0) ++pins[c];
  return pins.empty() || std::any_of(pins.begin(), pins.end(), [&](const auto& p) {
           return p.second > 1 || power.count(reference_letters(b_.components[at(p.first)].name)) > 0;
         });
}

/// Pins of parts that tell, such as crystals; an oscillator with a supply of its own is another thing.
void Recogniser::by_parts(int k) {
  const InterfaceKind& kind = t_.kinds[at(k)];
  for (const Component& c : b_.components) {
    if (std::find(kind.of_parts.begin(), kind.of_parts.end(), reference_letters(c.name)) == kind.of_parts.end())
      continue;
    std::set<int> nets;
    bool supplied = false;
    for (const int f : c.features)
      if (const int n = b_.features[at(f)].net; n >= 0 && !b_.nets[at(n)].unconnected) {
        nets.insert(n);
        supplied |= volts_in(b_.nets[at(n)].name).has_value() ||
                    (hangs_.capacitors(n) >= t_.rail_capacitors && b_.nets[at(n)].pins < 200 &&
                     best_hit(names_[at(n)], t_.kinds[at(ground_kind())]).line < 0);
      }
    if (supplied || nets.size() < 2) continue;
    for (const int n : nets)
      if (free(at(n)) && b_.nets[at(n)].pins <= 5 && best_hit(names_[at(n)], t_.kinds[at(ground_kind())]).line < 0)
        take(of_kind(k), {0, n, Confidence::fair, {"a pin of " + c.name}, -1, -1, true, {}, false});
  }
}

int Recogniser::ground_kind() const {
  for (std::size_t i = 0; i < t_.kinds.size(); ++i)
    if (t_.kinds[i].single && t_.kinds[i].role == Role::ground) return static_cast<int>(i);
  return 0;
}

std::set<int> Recogniser::grounds() const {
  std::set<int> ground;
  for (const FoundInterface& f : set_.found)
    if (t_.kinds[at(f.kind)].role == Role::ground)
      for (const InterfaceNet& n : f.nets) ground.insert(n.net);
  return ground;
}

/// Rails whose names say nothing.
void Recogniser::rails_by_capacitors() {
  int k = -1;
  for (std::size_t i = 0; i < t_.kinds.size(); ++i)
    if (t_.kinds[i].single && t_.kinds[i].role == Role::power) k = static_cast<int>(i);
  if (k < 0) return;
  const std::set<int> ground = grounds();
  for (std::size_t i = 0; i < b_.nets.size(); ++i) {
    if (!free(i) || holds_any(names_[i], t_.kinds[at(k)].not_words)) continue;
    const int c = hangs_.capacitors_to(static_cast<int>(i), ground);
    if (c >= t_.rail_capacitors)
      take(of_kind(k), {0,
                        static_cast<int>(i),
                        Confidence::weak,
                        {std::to_string(c) + " capacitors lead from it to ground"},
                        -1,
                        -1,
                        true,
                        {},
                        false});
  }
}

/// Nets whose own names say nothing, on pins whose functions do.
void Recogniser::pin_functions(int k, std::vector<Entry>& entries) const {
  std::set<int> have;
  for (const Entry& e : entries) have.insert(e.net);
  for (const Feature& f : b_.features) {
    if (f.function.empty() || f.net < 0 || !free(at(f.net)) || have.count(f.net) || f.component < 0) continue;
    ParsedName n = parse_name(f.function);
    // "PA13/SWDIO" names several functions: any of them counts, and only a sure word does.
    NameHit hit;
    for (std::size_t from = 0; from <= f.function.size();) {
      const std::size_t to = std::min(f.function.find_first_of("/,;|", from), f.function.size());
      ParsedName one = parse_name(f.function.substr(from, to - from));
      const NameHit h = best_hit(one, t_.kinds[at(k)]);
      if (h.strength > hit.strength) {
        hit = h;
        n = std::move(one);
      }
      from = to + 1;
    }
    if (hit.strength < Strength::sure) continue;
    have.insert(f.net);
    entries.push_back(
        {f.net, hit, {b_.components[at(f.component)].name}, {"pin " + f.name + " is " + f.function}, true});
  }
}

/// Stems that differ by words of the context alone, and do not share a line, are one interface: FLASH_CS with
/// FLASH_SPI_SCK.
void Recogniser::join_by_context(int k, Groups& groups) const {
  const InterfaceKind& kind = t_.kinds[at(k)];
  for (auto a = groups.begin(); a != groups.end(); ++a)
    for (auto b = std::next(a); b != groups.end();) {
      const auto pa = without(a->second[0].stem, kind.context), pb = without(b->second[0].stem, kind.context);
      const bool both_bare = pa.empty() && pb.empty();
      bool shares = false;
      for (const Entry& x : a->second)
        for (const Entry& y : b->second) shares |= x.hit.line == y.hit.line && !kind.lines[at(x.hit.line)].many;
      if (pa != pb || shares || both_bare) {
        ++b;
        continue;
      }
      a->second.insert(a->second.end(), b->second.begin(), b->second.end());
      b = groups.erase(b);
    }
}

void Recogniser::keep(int k, const std::string& stem, std::vector<Entry>& entries) {
  const InterfaceKind& kind = t_.kinds[at(k)];
  FoundInterface f;
  f.kind = k;
  const bool made =
      name(entries[0].net).find('(') != std::string::npos || name(entries[0].net).find(')') != std::string::npos;
  const std::string own = made ? std::string() : joined(without(entries[0].stem, kind.context));
  f.name = kind.name + (own.empty() ? "" : " " + own);
  std::set<int> lines;
  std::size_t sure = 0;
  for (const Entry& e : entries) {
    lines.insert(e.hit.line);
    sure += e.hit.strength >= Strength::context;
  }
  std::size_t required = 0, there = 0;
  for (std::size_t l = 0; l < kind.lines.size(); ++l)
    if (kind.lines[l].required) {
      ++required;
      there += lines.count(static_cast<int>(l));
    }
  f.confidence = there == required && sure >= 2 ? Confidence::strong : sure >= 1 ? Confidence::fair : Confidence::weak;
  for (Entry& e : entries) {
    InterfaceNet n{e.hit.line,
                   e.net,
                   e.hit.strength == Strength::sure      ? Confidence::strong
                   : e.hit.strength == Strength::context ? Confidence::fair
                                                         : Confidence::weak,
                   std::move(e.evidence),
                   -1,
                   -1,
                   true,
                   {},
                   e.of_pin};
    f.programs |= kind.role == Role::programming || holds_any(names_[at(e.net)], kind.program_words);
    take(f, std::move(n));
  }
  if (!stem.empty() && there < required) f.evidence.push_back("lines with '" + stem + "' in their names");
  set_.found.push_back(std::move(f));
}

/// Names that a schematic made from a pin ("Net-(U3-SD1)") have no stem of their own: they go with lines of the same
/// device.
void Recogniser::join_by_parts(int k, Groups& groups) const {
  const InterfaceKind& kind = t_.kinds[at(k)];
  auto devices = [&](const std::vector<Entry>& list) {
    std::set<int> s;
    for (const Entry& e : list)
      for (const int c : hangs_.devices(e.net))
        if (!hangs_.is_connector(c)) s.insert(c);
    return s;
  };
  auto bare = [&](const std::vector<Entry>& list) {
    const std::string& n = name(list[0].net);
    return without(list[0].stem, kind.context).empty() || n.find('(') != n.npos || n.find(')') != n.npos;
  };
  for (auto a = groups.begin(); a != groups.end(); ++a)
    for (auto b = groups.begin(); b != groups.end();) {
      if (a == b || !bare(a->second) || !bare(b->second)) {
        ++b;
        continue;
      }
      bool shares = false;
      for (const Entry& x : a->second)
        for (const Entry& y : b->second) shares |= x.hit.line == y.hit.line;
      const std::set<int> da = devices(a->second), db = devices(b->second);
      if (shares || std::none_of(da.begin(), da.end(), [&](int c) { return db.count(c) > 0; })) {
        ++b;
        continue;
      }
      a->second.insert(a->second.end(), b->second.begin(), b->second.end());
      b = groups.erase(b);
    }
}

/// A line that one interface has once, found with several numbers in one stem, is a bus of something else.
void Recogniser::drop_buses(const InterfaceKind& kind, std::vector<Entry>& list) {
  std::map<int, int> count;
  auto numbered = [](const Entry& e) {
    return e.hit.word.size() > 2 && e.hit.word.compare(e.hit.word.size() - 2, 2, "#*") == 0;
  };
  for (const Entry& e : list) count[e.hit.line] += numbered(e);
  list.erase(std::remove_if(list.begin(), list.end(),
                            [&](const Entry& e) {
                              return numbered(e) && !kind.lines[at(e.hit.line)].many && count[e.hit.line] > 1;
                            }),
             list.end());
}

void Recogniser::grouped(int k) {
  const InterfaceKind& kind = t_.kinds[at(k)];
  std::vector<Entry> entries;
  for (std::size_t i = 0; i < b_.nets.size(); ++i) {
    if (!free(i)) continue;
    const NameHit hit = best_hit(names_[i], kind);
    if (hit.line < 0) continue;
    entries.push_back({static_cast<int>(i), hit, stem_of(names_[i], hit, kind), {"the name holds " + hit.word}, false});
  }
  pin_functions(k, entries);
  Groups groups;
  for (Entry& e : entries) groups[joined(e.stem)].push_back(std::move(e));
  join_by_context(k, groups);
  join_by_parts(k, groups);
  for (auto g = groups.begin(); g != groups.end();) {
    auto& list = g->second;
    drop_buses(kind, list);
    if (list.empty()) {
      g = groups.erase(g);
      continue;
    }
    const bool sure =
        std::any_of(list.begin(), list.end(), [](const Entry& e) { return e.hit.strength >= Strength::context; });
    if (!sure) {
      // Weak words alone: all required lines must be there, and nothing but them.
      // A single letter is too little, and what says the line stands at the end of its name.
      std::set<int> lines;
      for (const Entry& e : list)
        if (e.hit.word.size() > 2 || (e.hit.word.size() > 1 && ends_name(names_[at(e.net)], e.hit)))
          lines.insert(e.hit.line);
      std::size_t wanted = 0, there = 0;
      for (std::size_t l = 0; l < kind.lines.size(); ++l)
        if (kind.lines[l].required) {
          ++wanted;
          there += lines.count(static_cast<int>(l));
        }
      // One of many may be missing: that is what an audit is for.
      std::vector<std::string> beside = kind.not_beside;
      for (std::string& w : beside) {
        std::vector<std::string> parts = list[0].stem;
        parts.push_back(w);
        w = joined(parts);
      }
      const bool other = !beside.empty() && std::any_of(names_.begin(), names_.end(), [&](const ParsedName& n) {
        return std::find(beside.begin(), beside.end(), joined(n.parts)) != beside.end();
      });
      const bool all = kind.weak_alone && !other && there >= (wanted > 3 ? wanted - 1 : wanted);
      if (!all) {
        g = groups.erase(g);
        continue;
      }
    }
    // A weak word beside a sure one for the same line is something else.
    for (std::size_t i = 0; i < list.size();) {
      const bool better = list[i].hit.strength == Strength::stem && !kind.lines[at(list[i].hit.line)].many &&
                          std::any_of(list.begin(), list.end(), [&](const Entry& e) {
                            return e.hit.line == list[i].hit.line && e.hit.strength > Strength::stem;
                          });
      if (better)
        list.erase(list.begin() + static_cast<std::ptrdiff_t>(i));
      else
        ++i;
    }
    for (Entry& e : list)
      if (e.hit.strength == Strength::stem)
        e.evidence.push_back("beside other lines of " + (g->first.empty() ? std::string("the same kind") : g->first));
    ++g;
  }
  // Lines that no interface needs, found by themselves, go with the first that stands; alone they are none.
  auto needed = [&](const std::vector<Entry>& list) {
    return std::any_of(list.begin(), list.end(), [&](const Entry& e) { return kind.lines[at(e.hit.line)].required; });
  };
  const auto home = std::find_if(groups.begin(), groups.end(), [&](const auto& g) { return needed(g.second); });
  for (auto g = groups.begin(); g != groups.end();) {
    if (needed(g->second)) {
      ++g;
      continue;
    }
    if (home != groups.end()) home->second.insert(home->second.end(), g->second.begin(), g->second.end());
    g = groups.erase(g);
  }
  for (auto& [stem, list] : groups) keep(k, stem, list);
}

void Recogniser::pairs(int k) {
  const InterfaceKind& kind = t_.kinds[at(k)];
  const PairFinder finder(b_);
  std::map<std::string, std::vector<std::pair<int, int>>> buses;
  for (std::size_t i = 0; i < b_.nets.size(); ++i) {
    if (!free(i)) continue;
    const auto p = finder.partner(static_cast<int>(i));
    if (!p || !p->positive || !free(at(p->net)) || holds_any(names_[i], kind.not_words)) continue;
    if (holds_any(names_[i], kind.context) || p->glued) {
      FoundInterface& f = of_kind(k);
      const std::vector<std::string> evidence = {"one half of a pair with " + name(p->net)};
      take(f, {0, static_cast<int>(i), Confidence::fair, evidence, -1, -1, true, {}, false});
      take(f, {1,
               p->net,
               Confidence::fair,
               {"one half of a pair with " + name(static_cast<int>(i))},
               -1,
               -1,
               true,
               {},
               false});
      continue;
    }
    std::string stem;
    for (const std::string& part : names_[i].parts)
      if (part.size() > 1 && std::isalpha(static_cast<unsigned char>(part[0]))) stem += part + "_";
    buses[stem].emplace_back(static_cast<int>(i), p->net);
  }
  for (const auto& [stem, list] : buses) {
    if (list.size() < kBusOfPairs) continue;
    for (const auto& [p, n] : list) {
      FoundInterface& f = of_kind(k);
      take(f, {0,
               p,
               Confidence::weak,
               {"one half of a pair with " + name(n) + ", of " + std::to_string(list.size()) + " pairs of one stem"},
               -1,
               -1,
               true,
               {},
               false});
      take(f, {1,
               n,
               Confidence::weak,
               {"one half of a pair with " + name(p) + ", of " + std::to_string(list.size()) + " pairs of one stem"},
               -1,
               -1,
               true,
               {},
               false});
    }
  }
}

/// Interfaces whose lines go on in one another behind series parts are one.
void Recogniser::join_over_series() {
  std::vector<int> home(b_.nets.size(), -1);
  for (std::size_t f = 0; f < set_.found.size(); ++f)
    for (const InterfaceNet& n : set_.found[f].nets) home[at(n.net)] = static_cast<int>(f);
  for (std::size_t f = 0; f < set_.found.size(); ++f) {
    if (t_.kinds[at(set_.found[f].kind)].single) continue;
    for (std::size_t i = 0; i < set_.found[f].nets.size(); ++i) {
      const int other = set_.found[f].nets[i].other_side;
      const int g = other < 0 ? -1 : home[at(other)];
      if (g < 0 || g == static_cast<int>(f) || set_.found[at(g)].kind != set_.found[f].kind) continue;
      FoundInterface& from = set_.found[at(g)];
      if (from.rule >= 0 && set_.found[f].rule >= 0) continue;
      for (InterfaceNet& n : from.nets) {
        home[at(n.net)] = static_cast<int>(f);
        set_.found[f].nets.push_back(std::move(n));
      }
      set_.found[f].confidence = std::max(set_.found[f].confidence, from.confidence);
      set_.found[f].programs |= from.programs;
      if (set_.found[f].rule < 0) set_.found[f].rule = from.rule;
      set_.found[f].evidence.push_back("goes on as " + from.name + " behind series parts");
      from.nets.clear();
    }
  }
  set_.found.erase(std::remove_if(set_.found.begin(), set_.found.end(),
                                  [](const FoundInterface& f) { return f.nets.empty() && f.rule < 0; }),
                   set_.found.end());
}

/// What is missing: required lines, and the kinds without which nothing works.
void Recogniser::complete() {
  std::set<int> there;
  for (const FoundInterface& f : set_.found) there.insert(f.kind);
  for (FoundInterface& f : set_.found) {
    const InterfaceKind& kind = t_.kinds[at(f.kind)];
    std::sort(f.nets.begin(), f.nets.end(), [](const InterfaceNet& x, const InterfaceNet& y) {
      return std::tie(x.line, x.net) < std::tie(y.line, y.net);
    });
    if (kind.single || kind.pairs) continue;
    std::size_t required = 0;
    for (const InterfaceLine& l : kind.lines) required += l.required;
    for (std::size_t l = 0; l < kind.lines.size(); ++l)
      if (kind.lines[l].required && std::none_of(f.nets.begin(), f.nets.end(),
                                                 [&](const InterfaceNet& n) { return n.line == static_cast<int>(l); }))
        f.missing.push_back(kind.lines[l].name);
    f.fragment = f.rule < 0 && 2 * (required - f.missing.size()) < required;
    for (const std::string& other : kind.together)
      if (!there.count(t_.kind_of(other))) f.missing.push_back(other + " (no net of the board looks like one)");
  }
}

InterfaceSet Recogniser::run() {
  rules();
  for (int k = 0; k < static_cast<int>(t_.kinds.size()); ++k) {
    const InterfaceKind& kind = t_.kinds[at(k)];
    if (kind.above_volts) by_volts(k);
    if (!kind.of_parts.empty()) by_parts(k);
    if (kind.pairs)
      pairs(k);
    else if (kind.single)
      single(k);
    else
      grouped(k);
  }
  rails_by_capacitors();
  follow_series(b_, t_, hangs_, set_, taken_);
  join_over_series();
  complete();
  std::stable_sort(set_.found.begin(), set_.found.end(), [](const FoundInterface& x, const FoundInterface& y) {
    return std::tie(x.kind, x.name) < std::tie(y.kind, y.name);
  });
  // Names must tell interfaces apart.
  std::map<std::string, int> used;
  for (FoundInterface& f : set_.found)
    if (const int n = ++used[f.name]; n > 1) f.name += " (" + std::to_string(n) + ")";
  for (std::size_t f = 0; f < set_.found.size(); ++f)
    for (const InterfaceNet& n : set_.found[f].nets) set_.of_net[at(n.net)] = static_cast<int>(f);
  for (std::size_t r = 0; r < job_.interface_rules.size(); ++r) {
    const InterfaceRule& x = job_.interface_rules[r];
    if (!x.lines.empty() || x.kind == "none") continue;
    std::size_t fits = 0;
    for (FoundInterface& f : set_.found) {
      if ((!x.kind.empty() && t_.kinds[at(f.kind)].name != x.kind) ||
          (!x.name.empty() && !glob_match(x.name, f.name)) || f.rule >= 0)
        continue;
      ++fits;
      f.rule = static_cast<int>(r);
      f.confidence = Confidence::confirmed;
      f.evidence.push_back("confirmed by the job file");
    }
    if (fits > 0) continue;
    const std::string name = x.kind + (x.name.empty() ? "" : " " + x.name),
                      remedy = "see  teasel audit  for their names, or name its lines:  lines = { TX = \"...\" }";
    if (x.mandatory.value_or(false))
      d_.error("interface-not-found", x.place, "a mandatory entry of [[interface]] fits none that was recognised", name,
               {}, remedy);
    else
      d_.warn("interface-not-found", x.place, "an entry of [[interface]] fits none that was recognised", name, remedy);
  }
  return std::move(set_);
}
}  // namespace

const char* to_string(Confidence c) {
  static const char* names[] = {"weak", "fair", "strong", "confirmed"};
  return names[static_cast<int>(c)];
}

int InterfaceSet::kind_of(int net) const {
  const int f = of_net[at(net)];
  return f < 0 ? -1 : found[at(f)].kind;
}

const InterfaceNet* InterfaceSet::part_of(int net) const {
  const int f = of_net[at(net)];
  if (f < 0) return nullptr;
  for (const InterfaceNet& n : found[at(f)].nets)
    if (n.net == net) return &n;
  return nullptr;
}

InterfaceSet recognise_interfaces(const Board& board, const Job& job, const InterfaceTable& table, Diagnostics& d) {
  return Recogniser(board, job, table, d).run();
}

}  // namespace teasel
