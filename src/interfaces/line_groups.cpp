// Interfaces of several lines: nets are gathered by what remains of their names, joined where they belong together, and
// dropped where their words are something else.
#include <algorithm>
#include <cctype>
#include <map>
#include <set>

#include "interface_finder.h"

namespace teasel {

namespace {
/// Nothing but numbers and signs stands behind the word.
bool ends_name(const ParsedName& name, const NameHit& hit) {
  return std::all_of(
      name.parts.begin() + static_cast<std::ptrdiff_t>(hit.end), name.parts.end(),
      [](const std::string& part) { return part.size() == 1 || std::isdigit(static_cast<unsigned char>(part[0])); });
}

/// A name that a schematic made from a pin: "Net-(U3-SD1)".
bool is_made(const std::string& name) {
  return name.find('(') != name.npos || name.find(')') != name.npos;
}

Confidence confidence_of(Strength strength) {
  if (strength == Strength::sure) return Confidence::strong;
  return strength == Strength::context ? Confidence::fair : Confidence::weak;
}

/// How many lines a kind requires, and how many of them are among those given.
struct Required {
  std::size_t all = 0, there = 0;
};
Required required_among(const InterfaceKind& kind, const std::set<LineId>& lines) {
  Required required;
  for (const LineId line : kind.lines.ids())
    if (kind.lines[line].required) {
      ++required.all;
      required.there += lines.count(line);
    }
  return required;
}
}  // namespace

/// Nets whose own names say nothing, on pins whose functions do.
void InterfaceFinder::pin_functions(KindId id, std::vector<Entry>& entries) const {
  std::set<NetId> have;
  for (const Entry& entry : entries) have.insert(entry.net);
  for (const Feature& feature : board_.features) {
    if (feature.function.empty() || !feature.net || !feature.component || !free(feature.net) ||
        have.count(feature.net) > 0)
      continue;
    ParsedName parsed = parse_name(feature.function);
    // "PA13/SWDIO" names several functions: any of them counts, and only a sure word does.
    NameHit hit;
    for (std::size_t from = 0; from <= feature.function.size();) {
      const std::size_t to = std::min(feature.function.find_first_of("/,;|", from), feature.function.size());
      ParsedName one = parse_name(feature.function.substr(from, to - from));
      const NameHit tried = best_hit(one, table_.kinds[id]);
      if (tried.strength > hit.strength) {
        hit = tried;
        parsed = std::move(one);
      }
      from = to + 1;
    }
    if (hit.strength < Strength::sure) continue;
    have.insert(feature.net);
    entries.push_back({.net = feature.net,
                       .hit = hit,
                       .stem = {board_.components[feature.component].name},
                       .evidence = {"pin " + feature.name + " is " + feature.function},
                       .of_pin = true});
  }
}

/// Stems that differ by words of the context alone, and do not share a line, are one interface: FLASH_CS with
/// FLASH_SPI_SCK.
void InterfaceFinder::join_by_context(KindId id, Groups& groups) const {
  const InterfaceKind& kind = table_.kinds[id];
  for (auto one = groups.begin(); one != groups.end(); ++one)
    for (auto other = std::next(one); other != groups.end();) {
      const auto pa = without(one->second[0].stem, kind.context), pb = without(other->second[0].stem, kind.context);
      const bool both_bare = pa.empty() && pb.empty();
      bool shares = false;
      for (const Entry& mine : one->second)
        for (const Entry& theirs : other->second)
          shares |= mine.hit.line == theirs.hit.line && !kind.lines[mine.hit.line].many;
      if (pa != pb || shares || both_bare) {
        ++other;
        continue;
      }
      one->second.insert(one->second.end(), other->second.begin(), other->second.end());
      other = groups.erase(other);
    }
}

void InterfaceFinder::keep(KindId id, const std::string& stem, std::vector<Entry>& entries) {
  const InterfaceKind& kind = table_.kinds[id];
  FoundInterface interface;
  interface.kind = id;
  const std::string own = is_made(name(entries[0].net)) ? "" : joined(without(entries[0].stem, kind.context));
  interface.name = kind.name + (own.empty() ? "" : " " + own);
  std::set<LineId> lines;
  std::size_t sure = 0;
  for (const Entry& entry : entries) {
    lines.insert(entry.hit.line);
    sure += entry.hit.strength >= Strength::context;
  }
  const Required required = required_among(kind, lines);
  interface.confidence = sure >= 1 ? Confidence::fair : Confidence::weak;
  if (required.there == required.all && sure >= 2) interface.confidence = Confidence::strong;
  for (Entry& entry : entries) {
    InterfaceNet part;
    part.line = entry.hit.line;
    part.net = entry.net;
    part.confidence = confidence_of(entry.hit.strength);
    part.evidence = std::move(entry.evidence);
    part.behind = entry.of_pin;
    interface.programs |= kind.role == Role::programming || holds_any(names_[entry.net], kind.program_words);
    take(interface, std::move(part));
  }
  if (!stem.empty() && required.there < required.all)
    interface.evidence.push_back("lines with '" + stem + "' in their names");
  set_.found.push_back(std::move(interface));
}

/// Names that a schematic made from a pin ("Net-(U3-SD1)") have no stem of their own: they go with lines of the same
/// device.
void InterfaceFinder::join_by_parts(KindId id, Groups& groups) const {
  const InterfaceKind& kind = table_.kinds[id];
  auto devices = [&](const std::vector<Entry>& list) {
    std::set<ComponentId> parts;
    for (const Entry& entry : list)
      for (const ComponentId part : hangs_.devices(entry.net))
        if (!hangs_.is_connector(part)) parts.insert(part);
    return parts;
  };
  auto bare = [&](const std::vector<Entry>& list) {
    return is_made(name(list[0].net)) || without(list[0].stem, kind.context).empty();
  };
  for (auto one = groups.begin(); one != groups.end(); ++one)
    for (auto other = groups.begin(); other != groups.end();) {
      if (one == other || !bare(one->second) || !bare(other->second)) {
        ++other;
        continue;
      }
      bool shares = false;
      for (const Entry& mine : one->second)
        for (const Entry& theirs : other->second) shares |= mine.hit.line == theirs.hit.line;
      const std::set<ComponentId> mine = devices(one->second), theirs = devices(other->second);
      if (shares || std::none_of(mine.begin(), mine.end(), [&](ComponentId part) { return theirs.count(part) > 0; })) {
        ++other;
        continue;
      }
      one->second.insert(one->second.end(), other->second.begin(), other->second.end());
      other = groups.erase(other);
    }
}

/// A line that one interface has once, found with several numbers in one stem, is a bus of something else.
void InterfaceFinder::drop_buses(const InterfaceKind& kind, std::vector<Entry>& list) {
  std::map<LineId, int> count;
  auto numbered = [](const Entry& entry) {
    return entry.hit.word.size() > 2 && entry.hit.word.compare(entry.hit.word.size() - 2, 2, "#*") == 0;
  };
  for (const Entry& entry : list) count[entry.hit.line] += numbered(entry);
  list.erase(std::remove_if(list.begin(), list.end(),
                            [&](const Entry& entry) {
                              return numbered(entry) && !kind.lines[entry.hit.line].many && count[entry.hit.line] > 1;
                            }),
             list.end());
}

/// Weak words alone: all required lines must be there, and nothing but them. A single letter is too little, and what
/// says the line stands at the end of its name. One of many may be missing: that is what an audit is for.
bool InterfaceFinder::holds_alone(const InterfaceKind& kind, const std::vector<Entry>& list) const {
  if (!kind.weak_alone) return false;
  std::set<LineId> lines;
  for (const Entry& entry : list)
    if (entry.hit.word.size() > 2 || (entry.hit.word.size() > 1 && ends_name(names_[entry.net], entry.hit)))
      lines.insert(entry.hit.line);
  const Required required = required_among(kind, lines);
  if (required.there < (required.all > 3 ? required.all - 1 : required.all)) return false;
  std::set<std::string> beside;
  for (const std::string& word : kind.not_beside) {
    std::vector<std::string> parts = list[0].stem;
    parts.push_back(word);
    beside.insert(joined(parts));
  }
  return beside.empty() || std::none_of(names_.begin(), names_.end(), [&](const ParsedName& parsed) {
           return beside.count(joined(parsed.parts)) > 0;
         });
}

/// A weak word beside a sure one for the same line is something else.
void InterfaceFinder::drop_weaker(const InterfaceKind& kind, std::vector<Entry>& list) {
  for (std::size_t i = 0; i < list.size();) {
    const bool better = list[i].hit.strength == Strength::stem && !kind.lines[list[i].hit.line].many &&
                        std::any_of(list.begin(), list.end(), [&](const Entry& entry) {
                          return entry.hit.line == list[i].hit.line && entry.hit.strength > Strength::stem;
                        });
    if (better)
      list.erase(list.begin() + static_cast<std::ptrdiff_t>(i));
    else
      ++i;
  }
}

/// Leaves what is an interface by its words.
void InterfaceFinder::drop_false(const InterfaceKind& kind, Groups& groups) const {
  for (auto group = groups.begin(); group != groups.end();) {
    auto& list = group->second;
    drop_buses(kind, list);
    const bool sure = std::any_of(list.begin(), list.end(),
                                  [](const Entry& entry) { return entry.hit.strength >= Strength::context; });
    if (list.empty() || (!sure && !holds_alone(kind, list))) {
      group = groups.erase(group);
      continue;
    }
    drop_weaker(kind, list);
    for (Entry& entry : list)
      if (entry.hit.strength == Strength::stem)
        entry.evidence.push_back("beside other lines of " +
                                 (group->first.empty() ? std::string("the same kind") : group->first));
    ++group;
  }
}

/// Lines that no interface needs, found by themselves, go with the first that stands; alone they are none.
void InterfaceFinder::gather_unneeded(const InterfaceKind& kind, Groups& groups) {
  auto needed = [&](const std::vector<Entry>& list) {
    return std::any_of(list.begin(), list.end(),
                       [&](const Entry& entry) { return kind.lines[entry.hit.line].required; });
  };
  const auto home = std::find_if(groups.begin(), groups.end(), [&](const auto& group) { return needed(group.second); });
  for (auto group = groups.begin(); group != groups.end();) {
    if (needed(group->second)) {
      ++group;
      continue;
    }
    if (home != groups.end()) home->second.insert(home->second.end(), group->second.begin(), group->second.end());
    group = groups.erase(group);
  }
}

void InterfaceFinder::grouped(KindId id) {
  const InterfaceKind& kind = table_.kinds[id];
  std::vector<Entry> entries;
  for (const NetId net : board_.nets.ids()) {
    if (!free(net)) continue;
    const NameHit hit = best_hit(names_[net], kind);
    if (!hit.line) continue;
    entries.push_back({.net = net,
                       .hit = hit,
                       .stem = stem_of(names_[net], hit, kind),
                       .evidence = {"the name holds " + hit.word},
                       .of_pin = false});
  }
  pin_functions(id, entries);
  Groups groups;
  for (Entry& entry : entries) groups[joined(entry.stem)].push_back(std::move(entry));
  join_by_context(id, groups);
  join_by_parts(id, groups);
  drop_false(kind, groups);
  gather_unneeded(kind, groups);
  for (auto& [stem, list] : groups) keep(id, stem, list);
}

}  // namespace teasel
