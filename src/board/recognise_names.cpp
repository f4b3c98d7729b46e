// What a layer file says of itself in words: in its comments, its image name, its file name. Weak signs, by the usual
// words of layout tools and languages; common practice, no source.
#include <algorithm>
#include <cctype>
#include <charconv>
#include <set>
#include <tuple>

#include "recogniser.h"

namespace teasel {

namespace {
/// What a word says. Several may stand in one name.
enum class Sign : std::uint8_t {
  top,
  bottom,
  mask,
  paste,
  silk,
  copper,
  plane,
  inner,
  outline,
  drawing,
  drill,
  nothing
};
struct Word {
  std::string_view text;
  Sign sign;
};

/// Words that names are put together from, also without a joint: "topsoldermask".
constexpr Word kWords[] = {{"top", Sign::top},           {"front", Sign::top},          {"oben", Sign::top},
                           {"dessus", Sign::top},        {"vorderseite", Sign::top},    {"componentside", Sign::top},
                           {"bottom", Sign::bottom},     {"bot", Sign::bottom},         {"back", Sign::bottom},
                           {"unten", Sign::bottom},      {"dessous", Sign::bottom},     {"rueckseite", Sign::bottom},
                           {"solderside", Sign::bottom}, {"soldermask", Sign::mask},    {"mask", Sign::mask},
                           {"resist", Sign::mask},       {"stop", Sign::mask},          {"stopmask", Sign::mask},
                           {"loetstopp", Sign::mask},    {"lotstop", Sign::mask},       {"stopplack", Sign::mask},
                           {"vernis", Sign::mask},       {"pastemask", Sign::paste},    {"paste", Sign::paste},
                           {"past", Sign::paste},        {"solderpaste", Sign::paste},  {"cream", Sign::paste},
                           {"stencil", Sign::paste},     {"lotpaste", Sign::paste},     {"silkscreen", Sign::silk},
                           {"silk", Sign::silk},         {"legend", Sign::silk},        {"overlay", Sign::silk},
                           {"serigraphie", Sign::silk},  {"copper", Sign::copper},      {"cu", Sign::copper},
                           {"etch", Sign::copper},       {"signal", Sign::copper},      {"kupfer", Sign::copper},
                           {"cuivre", Sign::copper},     {"conductor", Sign::copper},   {"plane", Sign::plane},
                           {"gnd", Sign::plane},         {"ground", Sign::plane},       {"power", Sign::plane},
                           {"pwr", Sign::plane},         {"vcc", Sign::plane},          {"vdd", Sign::plane},
                           {"internal", Sign::inner},    {"inner", Sign::inner},        {"mid", Sign::inner},
                           {"innen", Sign::inner},       {"interne", Sign::inner},      {"outline", Sign::outline},
                           {"outlines", Sign::outline},  {"profile", Sign::outline},    {"contour", Sign::outline},
                           {"kontur", Sign::outline},    {"umriss", Sign::outline},     {"edgecuts", Sign::outline},
                           {"boardedge", Sign::outline}, {"assembly", Sign::drawing},   {"assy", Sign::drawing},
                           {"fab", Sign::drawing},       {"drawing", Sign::drawing},    {"courtyard", Sign::drawing},
                           {"crtyd", Sign::drawing},     {"comments", Sign::drawing},   {"dwgs", Sign::drawing},
                           {"margin", Sign::drawing},    {"adhesive", Sign::drawing},   {"adhes", Sign::drawing},
                           {"glue", Sign::drawing},      {"mechanical", Sign::drawing}, {"document", Sign::drawing},
                           {"keepout", Sign::drawing},   {"keep", Sign::drawing},       {"designator", Sign::drawing},
                           {"values", Sign::drawing},    {"drill", Sign::drill},        {"drl", Sign::drill},
                           {"npth", Sign::drill},        {"solder", Sign::nothing},     {"layer", Sign::nothing},
                           {"board", Sign::nothing},     {"gerber", Sign::nothing},     {"side", Sign::nothing},
                           {"screen", Sign::nothing}};

/// Words of scripts without blanks, in UTF-8.
constexpr Word kPhrases[] = {{"\xE9\xA1\xB6", Sign::top},                  // 顶
                             {"\xE5\xBA\x95", Sign::bottom},               // 底
                             {"\xE9\x98\xBB\xE7\x84\x8A", Sign::mask},     // 阻焊
                             {"\xE9\x94\xA1\xE8\x86\x8F", Sign::paste},    // 锡膏
                             {"\xE9\x92\xA2\xE7\xBD\x91", Sign::paste},    // 钢网
                             {"\xE4\xB8\x9D\xE5\x8D\xB0", Sign::silk},     // 丝印
                             {"\xE7\xBA\xBF\xE8\xB7\xAF", Sign::copper},   // 线路
                             {"\xE5\x86\x85\xE5\xB1\x82", Sign::inner},    // 内层
                             {"\xE8\xBE\xB9\xE6\xA1\x86", Sign::outline},  // 边框
                             {"\xE5\xA4\x96\xE5\xBD\xA2", Sign::outline},  // 外形
                             {"\xE9\x92\xBB\xE5\xAD\x94", Sign::drill},    // 钻孔
                             {"l\xC3\xB6tstop", Sign::mask},               // lötstop
                             {"r\xC3\xBC"
                              "ckseite",
                              Sign::bottom}};  // rückseite

using Signs = std::set<Sign>;

/// A run of letters, cut into known words from the left, the longest first; nothing where a rest stays unknown.
bool cut(std::string_view run, Signs& signs) {
  if (run.empty()) return true;
  std::vector<const Word*> fit;
  for (const Word& word : kWords)
    if (run.substr(0, word.text.size()) == word.text) fit.push_back(&word);
  std::stable_sort(fit.begin(), fit.end(),
                   [](const Word* a, const Word* b) { return a->text.size() > b->text.size(); });
  for (const Word* word : fit) {
    Signs rest;
    if (!cut(run.substr(word->text.size()), rest)) continue;
    signs.insert(word->sign);
    signs.insert(rest.begin(), rest.end());
    return true;
  }
  return false;
}

/// Signs in a name: runs of letters, each a known word or put together from such; a new word at each capital.
Signs signs_of(const std::string& name) {
  constexpr std::size_t kLongest = 60;  // letters; no word of a name is longer
  Signs signs;
  auto take = [&](const std::string& run) {
    if (run.size() <= kLongest) cut(lower(run), signs);
  };
  std::string run, hump;
  auto is_letter = [](char c) { return std::isalpha(static_cast<unsigned char>(c)) != 0; };
  for (std::size_t i = 0; i <= name.size(); ++i) {
    const char c = i < name.size() ? name[i] : ' ';
    if (is_letter(c)) {
      run += c;
      continue;
    }
    take(run);
    // "TopSolderMaskLayer", "copperTop", "PCBTop"
    for (std::size_t k = 0; k <= run.size(); ++k) {
      const bool capital = k < run.size() && std::isupper(static_cast<unsigned char>(run[k]));
      if (k == run.size() || (capital && !hump.empty() && !std::isupper(static_cast<unsigned char>(hump.back())))) {
        take(hump);
        hump.clear();
      }
      if (k < run.size()) hump += run[k];
    }
    run.clear();
  }
  const std::string low = lower(name);
  // "smt", "spb": what the letters stand for in film sets.
  for (const auto& [letters, what, side] : {std::tuple{"smt", Sign::mask, Sign::top},
                                            {"smb", Sign::mask, Sign::bottom},
                                            {"spt", Sign::paste, Sign::top},
                                            {"spb", Sign::paste, Sign::bottom},
                                            {"sst", Sign::silk, Sign::top},
                                            {"ssb", Sign::silk, Sign::bottom}})
    if (low.ends_with(letters) && (low.size() == 3 || !is_letter(low[low.size() - 4]))) {
      signs.insert(what);
      signs.insert(side);
    }
  for (const Word& phrase : kPhrases)
    if (has(low, phrase.text)) signs.insert(phrase.sign);
  // "F_Cu", "B.Mask"
  for (const auto& [letter, sign] : {std::pair{'f', Sign::top}, {'b', Sign::bottom}})
    for (std::string_view rest : {"cu", "mask", "paste", "silk"})
      for (char joint : {'_', '.', '-'})
        if (has(low, std::string{letter, joint} + std::string(rest))) signs.insert(sign);
  if (has(low, "edge_cuts") || has(low, "edge.cuts") || has(low, "edge-cuts") || has(low, "board edge"))
    signs.insert(Sign::outline);
  if (has(low, "eco1") || has(low, "eco2") || has(low, "f_fab") || has(low, "b_fab")) signs.insert(Sign::drawing);
  return signs;
}

/// The number of a layer in a name: "lyr4", "L2-GND1", "layer_3", "In1_Cu"; 0: none.
int number_in(const std::string& name) {
  for (const auto& [word, add] :
       {std::pair<std::string_view, int>{"layer", 0}, {"lyr", 0}, {"lay", 0}, {"inner", 1}, {"in", 1}, {"l", 0}})
    for (std::size_t at = 0; (at = name.find(word, at)) != name.npos; ++at) {
      if (at > 0 && std::isalpha(static_cast<unsigned char>(name[at - 1]))) continue;
      std::size_t i = at + word.size();
      if (i < name.size() && (name[i] == '-' || name[i] == '_' || name[i] == ' ')) ++i;
      int k = 0;
      const auto [end, err] = std::from_chars(name.data() + i, name.data() + name.size(), k);
      if (err == std::errc{} && k >= 1 && k <= 99 &&
          !(end < name.data() + name.size() && std::isalpha(static_cast<unsigned char>(*end)) && *end != 'p' &&
            *end != 's'))
        return k + add;
    }
  return 0;
}

std::optional<LayerRole> role_of_signs(const Signs& signs, int number) {
  using R = LayerRole;
  const bool top = signs.count(Sign::top), bottom = signs.count(Sign::bottom);
  auto sided = [&](R if_top, R if_bottom) -> std::optional<R> {
    if (top == bottom) return std::nullopt;
    return top ? if_top : if_bottom;
  };
  if (signs.count(Sign::drawing)) return R::drawing;
  if (signs.count(Sign::paste)) return sided(R::paste_top, R::paste_bottom);
  if (signs.count(Sign::mask)) return sided(R::mask_top, R::mask_bottom);
  if (signs.count(Sign::silk)) return sided(R::silk_top, R::silk_bottom);
  if (signs.count(Sign::outline)) return R::outline;
  if (signs.count(Sign::drill)) return R::drawing;
  if (top != bottom) return top ? R::copper_top : R::copper_bottom;
  if (top && bottom) return std::nullopt;
  if (number == 1) return R::copper_top;
  if (number > 1 || signs.count(Sign::plane) || signs.count(Sign::inner)) return R::copper_inner;
  return std::nullopt;
}

/// Endings that layout tools give their layers.
struct Ending {
  std::string_view text;
  LayerRole role;
};
std::optional<LayerRole> role_of_ending(const std::string& ending) {
  using R = LayerRole;
  static constexpr Ending kEndings[] = {
      {"gtl", R::copper_top},    {"gbl", R::copper_bottom}, {"gts", R::mask_top},      {"gbs", R::mask_bottom},
      {"gtp", R::paste_top},     {"gbp", R::paste_bottom},  {"gto", R::silk_top},      {"gbo", R::silk_bottom},
      {"gko", R::outline},       {"cmp", R::copper_top},    {"sol", R::copper_bottom}, {"stc", R::mask_top},
      {"sts", R::mask_bottom},   {"crc", R::paste_top},     {"crs", R::paste_bottom},  {"plc", R::silk_top},
      {"pls", R::silk_bottom},   {"smt", R::mask_top},      {"smb", R::mask_bottom},   {"spt", R::paste_top},
      {"spb", R::paste_bottom},  {"sst", R::silk_top},      {"ssb", R::silk_bottom},   {"top", R::copper_top},
      {"bot", R::copper_bottom}, {"ast", R::drawing},       {"asb", R::drawing},       {"gd1", R::drawing},
      {"gg1", R::drawing},       {"gpt", R::drawing},       {"gpb", R::drawing}};
  for (const Ending& known : kEndings)
    if (ending == known.text) return known.role;
  // "g1" and "gp2" are inner copper, "gm3" is mechanical.
  auto counted = [&](std::string_view begin) {
    return ending.size() > begin.size() && ending.size() <= begin.size() + 2 && ending.rfind(begin, 0) == 0 &&
           std::all_of(ending.begin() + static_cast<std::ptrdiff_t>(begin.size()), ending.end(),
                       [](unsigned char c) { return std::isdigit(c) != 0; });
  };
  if (counted("gm") || ending == "gm") return R::drawing;
  if (counted("gp") || counted("g")) return R::copper_inner;
  return std::nullopt;
}
}  // namespace

/// "Layer:  PIN/SOLDERMASK_TOP" comments name the classes plotted into a film; "Layer: TopSolderMaskLayer" the layer.
bool role_by_comments(Recognised& entry) {
  std::set<std::string> layers;
  for (const auto& comment : entry.gerber.comments)
    if (const std::size_t at = comment.find("Layer:"); at == 0) {
      std::string v = comment.substr(6);
      v.erase(0, v.find_first_not_of(" \t"));
      layers.insert(v);
    }
  if (layers.empty()) {
    if (entry.gerber.image_name.empty()) return false;
    const auto role = role_of_signs(signs_of(entry.gerber.image_name), 0);
    if (role) {
      entry.role = role;
      entry.why = "its image name says " + entry.gerber.image_name;
    }
    return role.has_value();
  }
  auto any = [&](std::string_view what) {
    auto it = std::find_if(layers.begin(), layers.end(), [&](const auto& layer) { return has(layer, what); });
    if (it != layers.end()) entry.why = "its header lists the layer " + *it;
    return it != layers.end();
  };
  using R = LayerRole;
  static constexpr std::pair<std::string_view, R> kSigns[] = {
      {"SOLDERMASK_TOP", R::mask_top},      {"SOLDERMASK_BOTTOM", R::mask_bottom},
      {"PASTEMASK_TOP", R::paste_top},      {"PASTEMASK_BOTTOM", R::paste_bottom},
      {"ETCH/TOP", R::copper_top},          {"ETCH/BOTTOM", R::copper_bottom},
      {"ETCH/", R::copper_inner},           {"SILKSCREEN_TOP", R::silk_top},
      {"SILKSCREEN_BOTTOM", R::silk_bottom}};
  auto sign = std::find_if(std::begin(kSigns), std::end(kSigns), [&](const auto& k) { return any(k.first); });
  if (sign != std::end(kSigns)) {
    entry.role = sign->second;
    return true;
  }
  const bool classes = std::any_of(layers.begin(), layers.end(), [](const auto& layer) { return has(layer, "/"); });
  if (!classes && layers.size() == 1)
    if (const auto role = role_of_signs(signs_of(*layers.begin()), number_in(lower(*layers.begin())))) {
      entry.role = role;
      entry.why = "its header says that it is the layer " + *layers.begin();
      return true;
    }
  if (layers.size() <= 3 && !any("DRAWING") && any("BOARD GEOMETRY/OUTLINE"))
    entry.role = R::outline;
  else if (any("OUTLINE"))
    entry.role = R::drawing;
  else {
    entry.role = R::ignore;
    entry.why = "its header lists no copper, mask, paste or outline layer";
  }
  return true;
}

bool role_by_name(Recognised& entry) {
  const std::string whole = entry.file->name.substr(entry.file->name.rfind('/') + 1).substr(entry.shared);
  const std::size_t dot = whole.rfind('.');
  const std::string stem = whole.substr(0, dot), ending = dot == whole.npos ? "" : lower(whole.substr(dot + 1));
  const Signs signs = signs_of(stem);
  std::optional<LayerRole> role = role_of_ending(ending);
  // "gm1" may hold whatever the name says, and what a name calls an outline is one.
  if (!role || role == LayerRole::drawing || role == LayerRole::copper_inner)
    if (const auto by_words = role_of_signs(signs, layer_number(entry)))
      if (!role || by_words == LayerRole::outline) role = by_words;
  entry.role = role;
  if (role) entry.why = "by its name only, which is a weak sign";
  return role.has_value();
}

int layer_number(const Recognised& entry) {
  const std::string function = lower(entry.gerber.file_attribute(".FileFunction"));
  int number = 0;
  if (function.rfind("copper,l", 0) == 0) {
    std::from_chars(function.data() + 8, function.data() + function.size(), number);
    return number >= 1 && number <= 99 ? number : 0;
  }
  return number_in(lower(entry.file->name.substr(entry.file->name.rfind('/') + 1)));
}

}  // namespace teasel
