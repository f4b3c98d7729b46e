// The board is in millimetres, the shapes' dictionary in inches and the pens' in microns, so that a reader has to keep
// them apart.
#include "ipc2581_head.h"

#include <algorithm>

#include "bodies.h"

namespace demo {

namespace {
const std::string kBom = "BOM_" + kBoardName, kDate = "2024-05-06T08:00:00";

struct Sheet {
  const char *name, *function, *side;
  double thickness;  ///< 0: not part of the stackup
  const char* material;
};
constexpr Sheet kSheets[] = {{"SILK_TOP", "SILKSCREEN", "TOP", 0, ""},
                             {"PASTE_TOP", "SOLDERPASTE", "TOP", 0, ""},
                             {"MASK_TOP", "SOLDERMASK", "TOP", 0.02, "RESIST"},
                             {"TOP", "CONDUCTOR", "TOP", 0.035, "COPPER"},
                             {"DIELECTRIC_1", "DIELPREG", "INTERNAL", 0.2, "LAMINATE"},
                             {"GND_PLANE", "PLANE", "INTERNAL", 0.035, "COPPER"},
                             {"DIELECTRIC_2", "DIELCORE", "INTERNAL", 1.02, "LAMINATE"},
                             {"3V3_PLANE", "PLANE", "INTERNAL", 0.035, "COPPER"},
                             {"DIELECTRIC_3", "DIELPREG", "INTERNAL", 0.2, "LAMINATE"},
                             {"BOTTOM", "CONDUCTOR", "BOTTOM", 0.035, "COPPER"},
                             {"MASK_BOTTOM", "SOLDERMASK", "BOTTOM", 0.02, "RESIST"},
                             {"PASTE_BOTTOM", "SOLDERPASTE", "BOTTOM", 0, ""},
                             {"SILK_BOTTOM", "SILKSCREEN", "BOTTOM", 0, ""}};

void content(Xml& x, const Dictionary& dict) {
  x.open("Content", {{"roleRef", "Owner"}});
  x.leaf("FunctionMode", {{"mode", "USERDEF"}});
  x.leaf("StepRef", {{"name", kBoardName}});
  for (const Sheet& s : kSheets) x.leaf("LayerRef", {{"name", s.name}});
  x.leaf("LayerRef", {{"name", kDrillLayer}});
  x.leaf("BomRef", {{"name", kBom}});
  x.open("DictionaryLineDesc", {{"units", "MICRON"}});
  for (long nm : dict.pens) {
    x.open("EntryLineDesc", {{"id", Dictionary::pen_id(nm)}});
    x.leaf("LineDesc", {{"lineEnd", "ROUND"}, {"lineWidth", num(static_cast<double>(nm) / 1000, 3)}});
    x.close();
  }
  x.close();
  x.open("DictionaryFillDesc", {{"units", "MILLIMETER"}});
  x.open("EntryFillDesc", {{"id", "SOLID_FILL"}});
  x.leaf("FillDesc", {{"fillProperty", "FILL"}});
  x.close(2);
  x.open("DictionaryStandard", {{"units", "INCH"}});
  auto inches = [](double v) { return num(v / 25.4, 8); };
  for (std::size_t i = 0; i < dict.shapes.size(); ++i) {
    const auto& [w, h] = dict.shapes[i];
    x.open("EntryStandard", {{"id", Dictionary::shape_id(i, h)}});
    if (h > 0)
      x.open("RectCenter", {{"width", inches(w)}, {"height", inches(h)}});
    else
      x.open("Circle", {{"diameter", inches(w)}});
    x.leaf("FillDescRef", {{"id", "SOLID_FILL"}});
    x.close(2);
  }
  x.close(2);
}

void papers(Xml& x) {
  x.open("LogisticHeader");
  x.leaf("Role", {{"id", "Owner"}, {"roleFunction", "SENDER"}});
  x.leaf("Enterprise", {{"id", "HARBOUR_BUOY"}, {"code", "NONE"}});
  x.leaf("Person", {{"name", "demo"}, {"enterpriseRef", "HARBOUR_BUOY"}, {"roleRef", "Owner"}});
  x.close();
  x.open("HistoryRecord",
         {{"number", "1"}, {"origination", kDate}, {"software", "demo board generator"}, {"lastChange", kDate}});
  x.open("FileRevision", {{"fileRevisionId", "F"}, {"comment", "demo board"}});
  x.open("SoftwarePackage", {{"name", "demo board generator"}, {"revision", "1"}, {"vendor", "demo"}});
  x.leaf("Certification", {{"certificationStatus", "SELFTEST"}});
  x.close(3);
}

void bom(Xml& x, const Design& d) {
  x.open("Bom", {{"name", kBom}});
  x.open("BomHeader", {{"assembly", kBoardName}, {"revision", "F"}});
  x.leaf("StepRef", {{"name", kBoardName}});
  x.close();
  std::vector<std::string> numbers;
  for (const Part& first : d.parts) {
    const std::string number = part_number(first), category = first.package == "FID" ? "MECHANICAL" : "ELECTRICAL";
    if (std::find(numbers.begin(), numbers.end(), number) != numbers.end()) continue;
    numbers.push_back(number);
    const auto quantity =
        std::count_if(d.parts.begin(), d.parts.end(), [&](const Part& p) { return part_number(p) == number; });
    x.open("BomItem", {{"OEMDesignNumberRef", number},
                       {"quantity", std::to_string(quantity)},
                       {"pinCount", std::to_string(pads_of(d, first).size())},
                       {"category", category}});
    for (const Part& p : d.parts)
      if (part_number(p) == number)
        x.leaf(
            "RefDes",
            {{"name", p.name}, {"packageRef", package_name(p)}, {"populate", "true"}, {"layerRef", side("", p.top)}});
    x.open("Characteristics", {{"category", category}});
    x.leaf("Textual", {{"definitionSource", "DEMO"},
                       {"textualCharacteristicName", "VALUE"},
                       {"textualCharacteristicValue", first.value}});
    x.close(2);
  }
  x.close();
}

void stackup(Xml& x) {
  double total = 0;
  for (const Sheet& s : kSheets) {
    x.leaf("Layer", {{"name", s.name}, {"layerFunction", s.function}, {"side", s.side}, {"polarity", "POSITIVE"}});
    total += s.thickness;
  }
  x.open("Layer", {{"name", kDrillLayer}, {"layerFunction", "DRILL"}, {"side", "ALL"}, {"polarity", "POSITIVE"}});
  x.leaf("Span", {{"fromLayer", "TOP"}, {"toLayer", "BOTTOM"}});
  x.close();
  x.open("Stackup", {{"name", "PRIMARY"},
                     {"overallThickness", num(total, 3)},
                     {"tolPlus", "0.0"},
                     {"tolMinus", "0.0"},
                     {"whereMeasured", "MASK"}});
  x.open("StackupGroup",
         {{"name", "GROUP_PRIMARY"}, {"thickness", num(total, 3)}, {"tolPlus", "0.0"}, {"tolMinus", "0.0"}});
  int sequence = 0;
  for (const Sheet& s : kSheets) {
    if (s.thickness == 0) continue;
    x.open("StackupLayer", {{"layerOrGroupRef", s.name},
                            {"thickness", num(s.thickness, 3)},
                            {"tolPlus", "0.0"},
                            {"tolMinus", "0.0"},
                            {"sequence", std::to_string(++sequence)}});
    x.leaf("SpecRef", {{"id", std::string("SPEC_") + s.material}});
    x.close();
  }
  x.close(2);
}
}  // namespace

std::string part_number(const Part& p) {
  std::string s = p.value + "_" + p.package;
  std::replace(s.begin(), s.end(), ' ', '_');
  return s;
}

void ipc2581_head(Xml& x, const Design& d, const Dictionary& dict) {
  x.open("IPC-2581", {{"revision", "C"}, {"xmlns", "http://webstds.ipc.org/2581"}});
  content(x, dict);
  papers(x);
  bom(x, d);
  x.open("Ecad", {{"name", "Design"}});
  x.open("CadHeader", {{"units", "MILLIMETER"}});
  for (const std::string material : {"COPPER", "LAMINATE", "RESIST"}) {
    x.open("Spec", {{"name", "SPEC_" + material}});
    x.open("General", {{"type", "MATERIAL"}});
    x.leaf("Property", {{"text", material}});
    x.close(2);
  }
  x.close();
  x.open("CadData");
  stackup(x);
}

}  // namespace demo
