#include "teasel/report/adapters.h"

#include <algorithm>
#include <map>

#include "paper.h"

namespace teasel {

namespace {
/// A net at a pin of the adapter.
struct AdapterPin {
  int number = 0;    ///< of the connector; 0: the interface has no published connector
  std::string line;  ///< "TCK", "VREF", "GND"; empty: not connected
  NetId net;         ///< none: no net of the board
  std::string note;  ///< series parts, pulls, doubts
};
struct Adapter {
  const FoundInterface* found = nullptr;
  const AdapterConnector* connector = nullptr;
  std::vector<AdapterPin> pins;
};

class Adapters {
 public:
  explicit Adapters(const Outcome& outcome) : outcome_(outcome), board_(outcome.board) {
    for (const FoundInterface& found : outcome.interfaces.found) {
      const std::string& kind = outcome.interface_table.kinds[found.kind].name;
      for (const InterfaceNet& line : found.nets) {
        if (kind == "supply") supplies_.push_back(line.net);
        if (kind == "ground") grounds_.push_back(line.net);
        if (kind == "reset") resets_.push_back(line.net);
      }
    }
  }
  std::vector<Adapter> run() {
    std::vector<Adapter> out;
    for (const FoundInterface& found : outcome_.interfaces.found) {
      const InterfaceKind& kind = outcome_.interface_table.kinds[found.kind];
      if (kind.single || kind.pairs || kind.role == Role::do_not_touch || found.fragment) continue;
      const ComponentId device = device_of(found);
      bool any = false;
      for (const AdapterConnector& connector : kind.connectors) {
        Adapter adapter{&found, &connector, {}};
        for (std::size_t i = 0; i < connector.pins.size(); ++i)
          adapter.pins.push_back(pin(found, kind, connector.pins[i], device, static_cast<int>(i) + 1));
        out.push_back(std::move(adapter));
        any = true;
      }
      if (any) continue;
      Adapter adapter{&found, nullptr, {}};
      for (const InterfaceNet& line : found.nets) adapter.pins.push_back(of_line(kind, line, 0));
      if (kind.role == Role::programming) adapter.pins.push_back(pin(found, kind, "VREF", device, 0));
      adapter.pins.push_back(pin(found, kind, "GND", device, 0));
      out.push_back(std::move(adapter));
    }
    return out;
  }

 private:
  [[nodiscard]] std::size_t pins_on(ComponentId part, NetId net) const {
    const auto& features = board_.components[part].features;
    return static_cast<std::size_t>(
        std::count_if(features.begin(), features.end(), [&](FeatureId id) { return board_.features[id].net == net; }));
  }
  /// The part with most of the lines, of several that with most pins: whose supply is the reference.
  [[nodiscard]] ComponentId device_of(const FoundInterface& found) const {
    constexpr std::size_t kFewest = 5;  // pins: resistors and connectors of two rows apart
    std::map<ComponentId, std::size_t> lines;
    for (const InterfaceNet& line : found.nets)
      for (const FeatureId id : board_.nets[line.net].features)
        if (const ComponentId part = board_.features[id].component;
            part && board_.components[part].features.size() >= kFewest && is_circuit(board_.components[part]))
          ++lines[part];
    ComponentId best;
    for (const auto& [part, count] : lines)
      if (!best || std::pair(count, board_.components[part].features.size()) >
                       std::pair(lines[best], board_.components[best].features.size()))
        best = part;
    return best;
  }
  /// By its reference letter: a connector is no device (IEEE Std 315: U, IC; J, P, CN are connectors).
  static bool is_circuit(const Component& part) {
    const std::string name = part.name.plain();
    return !name.empty() && (name[0] == 'U' || name[0] == 'I' || name[0] == 'Q');
  }
  /// Of these nets the one on most pins of the device, else on most pins of the board.
  [[nodiscard]] NetId most_used(const std::vector<NetId>& nets, ComponentId device) const {
    NetId best;
    std::pair<std::size_t, std::size_t> most{};
    for (const NetId net : nets) {
      const std::pair uses{device ? pins_on(device, net) : 0, board_.nets[net].features.size()};
      if (!best || uses > most) {
        best = net;
        most = uses;
      }
    }
    return best;
  }
  [[nodiscard]] AdapterPin pin(const FoundInterface& found, const InterfaceKind& kind, const std::string& word,
                               ComponentId device, int number) const {
    AdapterPin out;
    out.number = number;
    out.line = word;
    if (word.empty()) return out;
    for (const InterfaceNet& line : found.nets)
      if (kind.lines[line.line].name == word) return of_line(kind, line, number);
    if (word == "GND") {
      out.net = most_used(grounds_, device);
      if (!out.net) out.note = "no ground net was recognised";
    } else if (word == "VREF") {
      out.net = most_used(supplies_, device);
      const bool sure = out.net && device && pins_on(device, out.net) > 0;
      out.note = !out.net ? "no supply was recognised"
                          : std::string("reference only: the adapter must not feed the board through it") +
                                (sure ? ", supply of " + board_.components[device].name.text()
                                      : ". CHECK: no device on these lines was recognised, so this is a guess");
    } else if (word == "RESET") {
      out.net = most_used(resets_, device);
      if (!out.net)
        out.note = "no reset net was recognised";
      else if (!device || pins_on(device, out.net) == 0)
        out.note = "CHECK: it was not seen to reach the device of these lines";
    } else {
      out.note = "the board has no such line";
    }
    if (out.net) add_pulls(out);
    return out;
  }
  [[nodiscard]] AdapterPin of_line(const InterfaceKind& kind, const InterfaceNet& line, int number) const {
    AdapterPin out;
    out.number = number;
    out.line = kind.lines[line.line].name;
    out.net = line.net;
    if (line.series)
      out.note = "in series: " + part_text(line.series) + ", behind it " + board_.nets[line.other_side].name.text();
    add_pulls(out);
    return out;
  }
  void add_pulls(AdapterPin& pin) const {
    if (const std::string pulled = pulls(pin.net); !pulled.empty()) pin.note += (pin.note.empty() ? "" : "; ") + pulled;
  }
  [[nodiscard]] std::string part_text(ComponentId id) const {
    const Component& part = board_.components[id];
    return part.name.text() + (part.value.empty() ? "" : " " + part.value);
  }
  /// Fitted resistors from this net to a supply or to ground.
  [[nodiscard]] std::string pulls(NetId net) const {
    std::string out;
    for (const FeatureId id : board_.nets[net].features) {
      const ComponentId part_id = board_.features[id].component;
      if (!part_id) continue;
      const Component& part = board_.components[part_id];
      const std::string name = part.name.plain();
      if (!part.fitted || part.features.size() != 2 || name.empty() || name[0] != 'R') continue;
      const NetId far = board_.features[part.features[board_.features[part.features[0]].net == net ? 1 : 0]].net;
      const bool up = std::find(supplies_.begin(), supplies_.end(), far) != supplies_.end(),
                 down = std::find(grounds_.begin(), grounds_.end(), far) != grounds_.end();
      if (far == net || (!up && !down)) continue;
      out += (out.empty() ? "" : ", ") + std::string(up ? "pulled up by " : "pulled down by ") + part_text(part_id) +
             " to " + board_.nets[far].name.text();
    }
    return out;
  }

  const Outcome& outcome_;
  const Board& board_;
  std::vector<NetId> supplies_, grounds_, resets_;
};

/// Probes, wires and block pins of a net, each as a list.
struct Reached {
  std::string probes, pins, wires;
};
Reached reached(const Outcome& outcome, const AdapterPin& pin) {
  Reached out;
  if (!pin.net) return out;
  const std::string name = outcome.board.nets[pin.net].name.text();
  constexpr int kShown = 3;
  int count = 0;
  for (const Wire& wire : outcome.results.wiring) {
    if (wire.net != name) continue;
    if (++count > kShown) continue;
    const std::string comma = count > 1 ? " " : "";
    out.probes += comma + wire.probe;
    out.pins += comma + wire.pin;
    out.wires += comma + std::to_string(wire.number);
  }
  if (count > kShown) out.probes += " and " + std::to_string(count - kShown) + " more";
  return out;
}
std::string state_of(const Outcome& outcome, const AdapterPin& pin) {
  if (pin.line.empty()) return "not connected";
  if (!pin.net) return "no net";
  return reached(outcome, pin).probes.empty() ? "NOT PROBED" : "probed";
}
std::string net_text(const Outcome& outcome, const AdapterPin& pin) {
  return pin.net ? outcome.board.nets[pin.net].name.text() : std::string();
}

/// The header from its mating face: odd pins in one row, even ones in the other, pin 1 marked.
Markup drawing(const Outcome& outcome, const Adapter& adapter) {
  const int rows = adapter.connector->rows, count = static_cast<int>(adapter.pins.size()),
            columns = (count + rows - 1) / rows;
  constexpr int kPitch = 86, kHigh = 54, kLeft = 12, kTop = 14;
  const auto number = [](int value) { return Xml::whole(value); };
  Markup svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" viewBox=\"0 0 " +
               number(2 * kLeft + columns * kPitch) + " " + number(2 * kTop + rows * kHigh) +
               "\" font-family=\"sans-serif\" font-size=\"11\"><title>" + escaped(adapter.connector->name) +
               "</title>\n";
  svg += "<rect x=\"4\" y=\"4\" width=\"" + number(2 * kLeft + columns * kPitch - 8) + "\" height=\"" +
         number(2 * kTop + rows * kHigh - 8) + "\" fill=\"none\" stroke=\"#14181c\"/>\n";
  for (const AdapterPin& pin : adapter.pins) {
    const int at = pin.number - 1, x = kLeft + at / rows * kPitch, y = kTop + at % rows * kHigh;
    const bool open = !pin.line.empty() && state_of(outcome, pin) != "probed";
    svg += "<rect x=\"" + number(x + 2) + "\" y=\"" + number(y + 2) + "\" width=\"" + number(kPitch - 6) +
           "\" height=\"" + number(kHigh - 8) + "\" fill=\"" +
           Markup(pin.line.empty() ? "#eee"
                  : open           ? "#fbe3dc"
                                   : "#fff") +
           "\" stroke=\"#555\"" + Markup(pin.number == 1 ? " stroke-width=\"3\"" : "") + "/>\n";
    svg += "<text x=\"" + number(x + 8) + "\" y=\"" + number(y + 17) + "\" font-weight=\"bold\">" + number(pin.number) +
           " " + escaped(pin.line) + "</text>\n";
    // Names that begin alike are told apart by their ends, so none is cut: a long one takes two lines.
    constexpr std::size_t kLetters = 12;
    const std::string net = net_text(outcome, pin);
    const std::size_t line = std::max(kLetters, (net.size() + 1) / 2);
    const std::string first(first_bytes(net, line));
    int down = 31;
    for (const std::string& text : {first, net.substr(first.size())}) {
      svg += "<text x=\"" + number(x + 8) + "\" y=\"" + number(y + down) + "\" font-size=\"" +
             number(static_cast<int>(11 * kLetters / line)) + "\">" + escaped(text) + "</text>\n";
      down += 12;
    }
  }
  return svg + "</svg>\n";
}

std::string title_of(const Adapter& adapter) {
  return adapter.found->name + (adapter.connector ? ", " + adapter.connector->name : ", no published connector");
}
}  // namespace

std::string adapters_csv(const Outcome& outcome) {
  Csv::Text csv = "interface,connector,pin,line,net,state,probes,interface_pins,wires,note,source,plan_id\n";
  for (const Adapter& adapter : Adapters(outcome).run())
    for (const AdapterPin& pin : adapter.pins) {
      const Reached met = reached(outcome, pin);
      csv += csv_row({adapter.found->name, adapter.connector ? adapter.connector->name : "",
                      pin.number ? std::to_string(pin.number) : "", pin.line, net_text(outcome, pin),
                      state_of(outcome, pin), met.probes, met.pins, met.wires, pin.note,
                      adapter.connector ? adapter.connector->source : "", outcome.plan_id});
    }
  return csv.text();
}

std::string adapters_html(const Outcome& outcome) {
  Form form(outcome, "Adapters");
  form.text(
      "From each pin of a debugger, programmer or tester to the pin of the interface block, the probe and the net. "
      "Pin numbers are those of the connector on the fixture, seen from its mating face. Keep clocks short, each "
      "twisted with the ground wire named in wiring.csv.");
  form.warning(
      "Before the first connection: measure that the reference pin carries what the board's supply should be, and that "
      "nothing but the reference is fed from it. Connect with the board unpowered and the operator earthed.");
  const std::vector<Adapter> adapters = Adapters(outcome).run();
  if (adapters.empty()) form.text("No interface with several lines was recognised on this board.");
  for (const Adapter& adapter : adapters) {
    form.head(title_of(adapter));
    if (!adapter.found->missing.empty()) {
      std::string missing;
      for (const std::string& line : adapter.found->missing) missing += (missing.empty() ? "" : ", ") + line;
      form.text("Not found on the board: " + missing + ".");
    }
    if (adapter.connector) {
      form.picture(drawing(outcome, adapter));
      form.text("Pinout: " + adapter.connector->source + ".");
    }
    form.table({"pin", "line", "net", "state", "probe", "interface pin", "wire", "note"});
    const auto dash = [](const std::string& text) { return text.empty() ? std::string("-") : text; };
    for (const AdapterPin& pin : adapter.pins) {
      const Reached met = reached(outcome, pin);
      form.row({pin.number ? std::to_string(pin.number) : "-", dash(pin.line), dash(net_text(outcome, pin)),
                state_of(outcome, pin), dash(met.probes), dash(met.pins), dash(met.wires), dash(pin.note)});
    }
    form.end_table();
  }
  return form.file();
}

}  // namespace teasel
