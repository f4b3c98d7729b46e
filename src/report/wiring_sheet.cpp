// The wireman's sheets: each bed apart, bundle by bundle, with room to tick.
#include <map>

#include "paper.h"
#include "teasel/words.h"

namespace teasel {

namespace {
/// Where a bundle ends: "X1" of "X1-17", "A" of "A21"; a whole pin where its name has no such part.
std::string bundle_of(const std::string& pin) {
  if (const std::size_t dash = pin.find('-'); dash != std::string::npos && dash > 0) return pin.substr(0, dash);
  const std::size_t letters = pin.find_first_of("0123456789");
  return letters == 0 || letters == std::string::npos ? std::string() : pin.substr(0, letters);
}

std::string way_of(const Outcome& outcome, bool lower) {
  const std::string end = outcome.kit ? "to the block" : "to the connectors";
  if (lower)
    return "The loom runs under the plate " + end + ", tied every 50 mm" +
           (outcome.kit
                ? std::string(", with enough slack to turn the plate over.")
                : std::string("; its slack lets the base plate be taken off and turned down beside the fixture."));
  if (outcome.kit && outcome.kit->hinge_y)
    return "The loom runs along the lid to its hinge, round the hinge in a loop that opens and closes with the lid, "
           "and "
           "down to the block; clamp it on both sides of the loop.";
  if (outcome.results.mechanism.has_lid())
    return "The loom runs to the back edge of the push plate, down a back leg to the hinge, round its axis in a loop "
           "that "
           "opens and closes with the lid and lets the plate travel, then " +
           end + "; clamp it at CU and CC, tied to the leg in between.";
  return "The loom runs to the back edge and down in a loop that lets the plate travel its whole stroke, then " + end +
         "; clamp it at both ends of the loop" + (outcome.kit ? std::string() : ", above at CU, below at CC") +
         ", clear of the pillars.";
}

void bundle(Form& form, const std::string& name, const std::vector<const Wire*>& wires) {
  double metres = 0;
  for (const Wire* wire : wires) metres += wire->length.v / 1000;
  form.head((name.empty() ? "wires" : "bundle to " + name) + ": " + plural(wires.size(), "wire", "wires") +
            (metres > 0 ? ", " + fixed(metres, 1) + " m" : ""));
  form.table({"wire", "probe", "net", "pin", "gauge", "colour", "cut mm", "with", "label at probe", "label at pin",
              "cut", "at probe", "at pin"});
  for (const Wire* wire : wires) {
    const std::string label = std::to_string(wire->number) + " " + wire->net;
    form.row({std::to_string(wire->number), wire->probe, wire->net, wire->pin, or_dash(wire->gauge),
              or_dash(wire->colour), wire->length > Mm{} ? fixed(wire->length, 0) : "-", or_dash(wire->twisted_with),
              label + " > " + wire->pin, label + " > " + wire->probe, "", "", ""});
  }
  form.end_table();
}
}  // namespace

std::string wiring_html(const Outcome& outcome) {
  Form form(outcome, "Wiring");
  form.warning(
      "Probe tips are sharp. Work with the fixture disconnected from the tester and its supplies, wear a wrist strap, "
      "and "
      "solder under extraction. Local codes and licensed practice come first.");
  const Style& style = outcome.style;
  std::vector<std::string> rules;
  if (style.strip > Mm{}) rules.push_back("Strip each end " + short_number(style.strip.v, 1) + " mm.");
  if (!style.at_probe.empty()) rules.push_back("At the probe: " + style.at_probe + ".");
  if (!style.at_pin.empty()) rules.push_back("At the interface pin: " + style.at_pin + ".");
  rules.emplace_back(
      "A label on each end before it is put in. The number is the wire's own; it stays through revisions.");
  rules.emplace_back(
      "Wires that name each other under \"with\" are twisted, 3 turns in 50 mm, from the probes to where they part for "
      "their "
      "pins.");
  form.list(rules);
  for (const WiringFace& face : outcome.results.wiring_faces) {
    form.head(std::string(face.lower ? "LOWER" : "UPPER") + " BED, probes of the board's " + to_string(face.probes) +
              " side");
    form.text(way_of(outcome, face.lower) + " Drawing: " + (face.lower ? "wiring-lower.svg" : "wiring-upper.svg") +
              ", " + face.seen_from + ".");
    std::map<std::string, std::vector<const Wire*>> bundles;
    for (const Wire& wire : outcome.results.wiring)
      if (wire.side == face.probes) bundles[bundle_of(wire.pin)].push_back(&wire);
    for (const auto& [name, wires] : bundles) bundle(form, name, wires);
  }
  form.to_sign({"wired by", "date", "checked with verify.csv by", "date"});
  return form.file();
}

}  // namespace teasel
