// Boundary scan: which description belongs to which component, and which nets the cells reach.
#include "teasel/interfaces/boundary_scan.h"

#include <algorithm>
#include <map>
#include <set>

#include "scan_binder.h"
#include "teasel/enums.h"

namespace teasel {

using formats::BsdlCell;
using formats::BsdlDevice;
using formats::BsdlMode;

namespace {
// Share of a package's pins that the component must have (common practice, no source).
constexpr double kPinsMet = 0.95;
}  // namespace

Role ScanBinder::role_of_rail(NetId net) const {
  const KindId kind = set_.kind_of(net);
  return kind ? table_.kinds[kind].role : Role::functional;
}
bool ScanBinder::is_rail(NetId net) const {
  const Role role = role_of_rail(net);
  return role == Role::power || role == Role::ground;
}

/// The package whose pins are the component's, neither fewer nor more; of equals the one with most pins.
std::pair<std::string, double> ScanBinder::best_package(const BsdlDevice& dev, ComponentId component,
                                                        const std::string& wanted) const {
  std::set<std::string> has;
  for (const FeatureId id : board_.components[component].features) has.insert(board_.features[id].pin);
  std::pair<std::string, double> best{{}, -1};
  std::size_t most = 0;
  for (const auto& [package, map] : dev.packages) {
    if (!wanted.empty() && package != wanted) continue;
    std::set<std::string> pins;
    for (const auto& [signal, list] : map)
      for (const std::string& pin : list)
        if (pin.rfind("NC", 0) != 0 && pin.rfind("OPEN", 0) != 0) pins.insert(pin);
    const auto met = static_cast<std::size_t>(
        std::count_if(pins.begin(), pins.end(), [&](const std::string& number) { return has.count(number) > 0; }));
    // Thermal pads and mounting tabs stand in no description: a few pins more than it are no other package.
    const std::size_t all = std::max(pins.size(), has.size() > 2 ? has.size() - 2 : has.size());
    const double share = all ? static_cast<double>(met) / static_cast<double>(all) : 0;
    if (share > best.second || (share == best.second && pins.size() > most)) {
      best = {package, share};
      most = pins.size();
    }
  }
  return best;
}

FeatureId ScanBinder::feature_of(const BsdlDevice& dev, const std::string& package, ComponentId component,
                                 const std::string& signal) const {
  const auto& map = dev.packages.at(package);
  const auto it = map.find(signal);
  if (signal.empty() || it == map.end() || it->second.empty()) return {};
  const auto found = feature_.find({component, it->second[0]});
  return found == feature_.end() ? FeatureId{} : found->second;
}

void ScanBinder::bind(std::size_t source, ComponentId component) {
  const BsdlInput& in = job_.inputs.bsdl[source];
  const BsdlDevice& dev = sources_.bsdl[source];
  const Component& device = board_.components[component];
  const std::string wanted = upper_case(in.package);
  std::string all;
  for (const auto& [offered, map] : dev.packages) all += (all.empty() ? "" : ", ") + offered;
  if (!wanted.empty() && !dev.packages.count(wanted))
    return diagnostics_.error({.code = "bsdl-package",
                               .at = in.place,
                               .message = "the description has no such package",
                               .found = wanted,
                               .expected = all,
                               .remedy = "choose one of them"});
  const auto [package, share] = best_package(dev, component, wanted);
  if (share < kPinsMet) {
    const auto any = best_package(dev, component, {});
    return diagnostics_.error(
        {.code = "bsdl-pins",
         .at = in.place,
         .message = "the pins of the description are not those of the component",
         .found = device.name + ": " + fixed(100 * share, 0) + " % of the pins of package " + package +
                  " are on the board" +
                  (any.first != package ? "; of " + any.first + " " + fixed(100 * any.second, 0) + " %" : ""),
         .expected = "95 % or more",
         .remedy = "name the right component, file or package (" + all + ")"});
  }
  for (const ScanDevice& scan_device : out_.devices)
    if (scan_device.component == component)
      return diagnostics_.error({.code = "bsdl-twice",
                                 .at = in.place,
                                 .message = "two descriptions are bound to one component",
                                 .found = device.name,
                                 .remedy = "bind one of them"});
  ScanDevice scan_device;
  scan_device.component = component;
  scan_device.source = static_cast<int>(source);
  scan_device.package = package;
  scan_device.pins_met = share;
  scan_device.fitted = device.always_fitted;
  for (const auto& [pin, signal] : {std::pair{&ScanDevice::tdi, &dev.tdi},
                                    {&ScanDevice::tdo, &dev.tdo},
                                    {&ScanDevice::tms, &dev.tms},
                                    {&ScanDevice::tck, &dev.tck},
                                    {&ScanDevice::trst, &dev.trst}})
    scan_device.*pin = feature_of(dev, package, component, *signal);
  out_.devices.push_back(scan_device);
}

void ScanBinder::bind() {
  for (std::size_t i = 0; i < job_.inputs.bsdl.size(); ++i) {
    std::size_t fits = 0;
    for (const ComponentId id : board_.components.ids()) {
      const Component& component = board_.components[id];
      if (!glob_match(job_.inputs.bsdl[i].component, component.name)) continue;
      ++fits;
      if (component.fitted)
        bind(i, id);
      else
        diagnostics_.note(
            {.code = "bsdl-not-fitted",
             .at = job_.inputs.bsdl[i].place,
             .message = "a component with a boundary-scan description is not fitted and takes no part in the chain",
             .found = component.name});
    }
    if (fits == 0)
      diagnostics_.error({.code = "bsdl-component",
                          .at = job_.inputs.bsdl[i].place,
                          .message = "a boundary-scan description is bound to a component that is not on the board",
                          .found = job_.inputs.bsdl[i].component,
                          .remedy = "name a component of the board"});
  }
  std::sort(out_.devices.begin(), out_.devices.end(), [&](const ScanDevice& x, const ScanDevice& y) {
    return board_.components[x.component].name < board_.components[y.component].name;
  });
}

/// A part that may be open, or of no known value, joins nothing: what hangs behind it would be claimed tested.
bool ScanBinder::joins(const TwoPole& resistor) const {
  const Component& part = board_.components[resistor.component];
  if (!part.always_fitted) return false;
  const std::string letters = reference_letters(part.name);
  if (letters == "L" || letters == "FB" || letters == "BEAD" || letters == "FL") return !part.value.empty();
  const auto ohms = ohms_in(part.value);
  return (letters == "R" || letters == "RS") && ohms && *ohms <= table_.series_most;
}

/// Nets on both sides of a small series part are one to a boundary-scan test.
void ScanBinder::join_over_series() {
  for (const NetId net : board_.nets.ids()) group_[net] = net;
  joined_.assign(board_.nets.size(), false);
  joints_.assign(board_.nets.size(), {});
  for (const NetId net : board_.nets.ids()) {
    if (is_rail(net) || board_.nets[net].unconnected) continue;
    for (const TwoPole& resistor : hangs_.resistors(net)) {
      const NetId other = resistor.other(net);
      if (other < net || is_rail(other) || board_.nets[other].unconnected || !joins(resistor)) continue;
      joints_[net].push_back(other);
      joints_[other].push_back(net);
      const NetId here = find(net), there = find(other);
      group_[std::max(here, there)] = std::min(here, there);
      joined_[net] = joined_[other] = true;
    }
  }
}

std::vector<CellPin> ScanBinder::cell_pins(DeviceId device) const {
  const BsdlDevice& dev = description(device);
  const ScanDevice& scan_device = out_.devices[device];
  std::map<std::string, CellPin> by_signal;
  for (const BsdlCell& cell : dev.cells) {
    if (cell.port.empty()) continue;
    CellPin& cell_pin = by_signal[cell.port];
    // An output that always drives and has no control cell of another number cannot be turned off.
    if (cell.drives()) {
      cell_pin.one_level = cell_pin.drives ? cell_pin.one_level && cell.one_level() : cell.one_level();
      cell_pin.always |= cell.function == BsdlCell::Function::output2 && !cell.one_level() && cell.control < 0;
      cell_pin.drives = true;
    }
    cell_pin.observes |= cell.observes();
  }
  std::vector<CellPin> out;
  const auto& map = dev.packages.at(scan_device.package);
  for (auto& [signal, cells] : by_signal) {
    const auto it = map.find(signal);
    if (it == map.end()) continue;
    for (const std::string& pin : it->second) {
      const auto found = feature_.find({scan_device.component, pin});
      if (found == feature_.end()) continue;
      CellPin cell_pin = cells;
      cell_pin.device = device;
      cell_pin.signal = signal;
      cell_pin.pin = pin;
      cell_pin.feature = found->second;
      out.push_back(std::move(cell_pin));
    }
  }
  return out;
}

/// Nets from one to the other over series parts, both included; the shortest way.
std::vector<NetId> ScanBinder::path(NetId from, NetId to) const {
  std::map<NetId, NetId> came{{from, from}};
  std::vector<NetId> queue{from};
  for (std::size_t i = 0; i < queue.size() && !came.count(to); ++i)
    for (const NetId next : joints_[queue[i]])
      if (came.emplace(next, queue[i]).second) queue.push_back(next);
  std::vector<NetId> nets;
  if (!came.count(to)) return nets;
  for (NetId net = to;; net = came[net]) {
    nets.push_back(net);
    if (net == from) return nets;
  }
}

/// Notes what a net's best driver and observer are.
void ScanBinder::rank(NetId net, ScanCover cover, const CellPin* driver, const CellPin* observer) {
  ScanNet& scan_net = out_.nets[net];
  if (is_rail(net) || cover < scan_net.cover ||
      (cover == scan_net.cover && (!scan_net.driver.empty() || !scan_net.observer.empty())))
    return;
  scan_net.cover = cover;
  scan_net.driver = driver ? board_.features[driver->feature].name.text() : "";
  scan_net.observer = observer ? board_.features[observer->feature].name.text() : "";
  scan_net.chains = {driver ? out_.devices[driver->device].chain : ChainId{},
                     observer ? out_.devices[observer->device].chain : ChainId{}};
}

void ScanBinder::cover(NetId group, const std::vector<CellPin>& pins) {
  std::string always;
  for (const CellPin& pin : pins)
    if (pin.always) always += (always.empty() ? "" : " and ") + board_.features[pin.feature].name;
  if (std::count_if(pins.begin(), pins.end(), [](const CellPin& pin) { return pin.always; }) > 1)
    out_.conflicts.push_back("net " + name(group) + ": " + always + " always drive it during the test");
  for (const CellPin& pin : pins) {
    const NetId net = net_of(pin.feature);
    if (pin.observes && !pin.drives) rank(net, ScanCover::observed, nullptr, &pin);
    if (!pin.drives) continue;
    rank(net, pin.observes ? ScanCover::own_pin : ScanCover::driven, &pin, pin.observes ? &pin : nullptr);
    // Of several nets in a row those between driver and observer are looked through, those beside them are not.
    for (const CellPin& other : pins)
      if (pin.feature != other.feature && other.observes)
        for (const NetId between : path(net, net_of(other.feature)))
          rank(between, pin.one_level ? ScanCover::one_level : ScanCover::full, &pin, &other);
  }
}

/// Pins of a device that no cell looks at.
void ScanBinder::out_of_sight(DeviceId id) {
  const BsdlDevice& dev = description(id);
  const ScanDevice& device = out_.devices[id];
  std::set<std::string> observed;
  for (const BsdlCell& cell : dev.cells)
    if (!cell.port.empty() && cell.observes()) observed.insert(cell.port);
  for (const auto& [signal, list] : dev.packages.at(device.package)) {
    const formats::BsdlSignal* described = dev.signal(signal);
    if (!described || described->mode == BsdlMode::power || dev.is_tap(signal) || observed.count(signal)) continue;
    std::string why = described->mode == BsdlMode::linkage
                          ? "it has no cell (linkage)"
                          : "its cell drives but does not observe, and no cell of another pin observes it";
    if (!out_.chains[device.chain].usable()) why = "the chain is broken";
    for (const std::string& pin : list) {
      const auto found = feature_.find({device.component, pin});
      if (found == feature_.end() || is_alone(found->second)) continue;
      const NetId net = net_of(found->second);
      if (is_rail(net)) continue;
      const bool seen_elsewhere =
          out_.nets[net].cover == ScanCover::full && board_.features[found->second].name == out_.nets[net].driver;
      if (!seen_elsewhere) out_.unobservable.push_back({found->second, signal, why});
    }
  }
}

void ScanBinder::cover() {
  out_.nets.assign(board_.nets.size(), {});
  std::map<NetId, std::vector<CellPin>> by_group;
  for (const DeviceId id : out_.devices.ids()) {
    const ScanDevice& device = out_.devices[id];
    if (!device.fitted || !out_.chains[device.chain].usable() || !description(id).opcodes.count("EXTEST")) continue;
    for (CellPin& pin : cell_pins(id))
      if (!is_alone(pin.feature)) by_group[group_of(pin.feature)].push_back(std::move(pin));
  }
  for (const auto& [group, pins] : by_group) cover(group, pins);
  for (const NetId net : board_.nets.ids()) out_.nets[net].through_series = joined_[net];
  for (const DeviceId device : out_.devices.ids()) out_of_sight(device);
  std::sort(out_.unobservable.begin(), out_.unobservable.end(),
            [](const ScanPin& p, const ScanPin& q) { return p.feature < q.feature; });
}

void ScanBinder::report_faults() {
  for (const ScanChain& chain : out_.chains)
    for (const std::string& text : chain.breaks)
      diagnostics_.warn(
          {.code = "scan-chain-broken",
           .at = {job_.file, 0, 0, "inputs.bsdl"},
           .message = "the boundary-scan chain is broken",
           .found = text,
           .remedy =
               "join it on the board or in the fixture. Until then, nets of its devices are not counted as tested"});
  for (const std::string& text : out_.conflicts)
    diagnostics_.warn({.code = "scan-conflict",
                       .at = {job_.file, 0, 0, "inputs.bsdl"},
                       .message = "two cells that cannot be turned off drive one net",
                       .found = text,
                       .remedy = "leave one of the devices in BYPASS"});
}

BoundaryScan ScanBinder::run() {
  bind();
  if (diagnostics_.failed() || out_.devices.empty()) return std::move(out_);
  join_over_series();
  chains();
  cover();
  report_faults();
  return std::move(out_);
}

const char* to_string(ScanCover cover) {
  static constexpr Words<ScanCover> kWords{"no cell",          "observed only", "driven only",
                                           "driving pin only", "one level",     "opens and shorts"};
  return kWords[cover];
}

BoundaryScan bind_boundary_scan(const Board& board, const Job& job, const Sources& sources, const InterfaceTable& table,
                                const InterfaceSet& interfaces, Diagnostics& diagnostics) {
  return ScanBinder(board, job, sources, table, interfaces, diagnostics).run();
}

int save_probes(Needs& needs, const Board& board, const BoundaryScan& scan, Diagnostics& diagnostics) {
  int saved = 0;
  if (!scan.used()) return 0;
  std::set<NetId> port;
  for (const ScanChain& chain : scan.chains)
    if (chain.usable()) port.insert(chain.port.begin(), chain.port.end());
  for (const Need& need : needs)
    if (port.count(need.net) && need.role == Role::do_not_touch) {
      diagnostics.warn(
          {.code = "scan-port-banned",
           .message = "boundary scan saves no probes, because a net that the chain needs must not be touched",
           .found = board.nets[need.net].name + ": " + need.because,
           .remedy = "allow that net to be touched, or keep the probes"});
      return 0;
    }
  for (Need& need : needs) {
    if (port.count(need.net)) {
      need.wanted = std::max(need.wanted, 1);
      need.mandatory = true;
      if (need.role != Role::power && need.role != Role::ground) need.role = Role::programming;
      need.because += "; probes were saved on other nets because this line of the chain is probed";
      continue;
    }
    const ScanNet& net = scan.nets[need.net];
    if (net.cover != ScanCover::full || need.mandatory || need.wanted == 0 ||
        (need.role != Role::functional && need.role != Role::observe))
      continue;
    need.wanted = 0;
    ++saved;
    need.because = "opens and shorts are found without a probe: boundary scan drives it with " + net.driver +
                   " and observes it with " + net.observer + (net.through_series ? " (over a series part)" : "");
  }
  return saved;
}

}  // namespace teasel
