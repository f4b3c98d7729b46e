// The recogniser of interfaces: the state while the kinds are tried in the order of their table. Lines of one interface
// are gathered in line_groups.cpp, everything else is in recognise.cpp.
#pragma once
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "names.h"
#include "series.h"
#include "teasel/interfaces.h"

namespace teasel {

class InterfaceFinder {
 public:
  InterfaceFinder(const Board& board, const Job& job, const InterfaceTable& table, Diagnostics& diagnostics)
      : board_(board), job_(job), table_(table), diagnostics_(diagnostics), hangs_(board) {
    set_.of_net.assign(board.nets.size(), {});
    taken_.assign(board.nets.size(), false);
    for (const Net& net : board.nets) names_.push_back(parse_name(net.name));
    for (const NetId net : board.nets.ids())
      if (board.nets[net].unconnected) taken_[net] = true;
  }
  InterfaceSet run();

 private:
  /// A net in its part of an interface that is still to be put together.
  struct Entry {
    NetId net;
    NameHit hit;
    std::vector<std::string> stem, evidence;
    bool of_pin = false;  ///< the name of a pin says so, not that of the net
  };
  /// By what remains of the names.
  using Groups = std::map<std::string, std::vector<Entry>>;

  // recognise.cpp: the job's entries, nets that stand by themselves, pairs, and what follows when all kinds were tried
  void named_by_job();
  void name_line(FoundInterface& interface, const InterfaceRule& rule, const std::string& line, const std::string& net);
  void by_volts(KindId id);
  void single(KindId id);
  void pairs(KindId id);
  void take_pair(KindId id, NetId positive, NetId negative, Confidence confidence, const std::string& more);
  void rails_by_capacitors();
  std::set<NetId> grounds() const;
  bool bears_supply(NetId net, int pins_enough) const;
  void by_parts(KindId id);
  bool looks_like_ground(NetId net) const;
  void join_over_series();
  void complete();
  void confirm_by_job();
  FoundInterface& of_kind(KindId id);
  static InterfaceNet part_of(LineId line, NetId net, Confidence confidence, std::string evidence) {
    InterfaceNet part;
    part.line = line;
    part.net = net;
    part.confidence = confidence;
    part.evidence = {std::move(evidence)};
    return part;
  }

  // line_groups.cpp: interfaces of several lines
  void grouped(KindId id);
  void pin_functions(KindId id, std::vector<Entry>& entries) const;
  void join_by_context(KindId id, Groups& groups) const;
  void join_by_parts(KindId id, Groups& groups) const;
  bool holds_alone(const InterfaceKind& kind, const std::vector<Entry>& list) const;
  void drop_false(const InterfaceKind& kind, Groups& groups) const;
  static void drop_buses(const InterfaceKind& kind, std::vector<Entry>& list);
  static void drop_weaker(const InterfaceKind& kind, std::vector<Entry>& list);
  static void gather_unneeded(const InterfaceKind& kind, Groups& groups);
  void keep(KindId id, const std::string& stem, std::vector<Entry>& entries);

  // used by both
  void take(FoundInterface& interface, InterfaceNet part) {
    taken_[part.net] = true;
    interface.nets.push_back(std::move(part));
  }
  bool free(NetId net) const { return !taken_[net]; }
  const std::string& name(NetId net) const { return board_.nets[net].name; }

  const Board& board_;
  const Job& job_;
  const InterfaceTable& table_;
  Diagnostics& diagnostics_;
  Hanging hangs_;
  Table<NetId, ParsedName> names_;
  Table<NetId, char> taken_;
  InterfaceSet set_;
};

}  // namespace teasel
