#include "teasel/formats/bsdl.h"

#include <algorithm>
#include <charconv>
#include <optional>
#include <set>

#include "bsdl_tokens.h"
#include "teasel/units.h"

namespace teasel::formats {

namespace {
using Token = BsdlToken;
constexpr int kMostCells = 200'000, kMostVector = 100'000;

std::optional<int> whole(const std::string& text) {
  int value{};
  const auto [end, err] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (err != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

/// What a token adds to the depth of brackets.
int opens(const Token& token) {
  if (token.is("(")) return 1;
  return token.is(")") ? -1 : 0;
}

class Reader {
 public:
  Reader(std::string_view bytes, const std::string& name, Diagnostics& diagnostics)
      : name_(name), diagnostics_(diagnostics), tokens_(bsdl_tokens(bytes, name, diagnostics)) {
    device_.file = name;
  }
  BsdlDevice run();

 private:
  Place place(const Token& token) const { return {name_, token.line, token.column, {}}; }
  Place place() const { return {name_, statement_.empty() ? 1 : statement_[0].line, 0, {}}; }
  void odd(const std::string& what, const std::string& found, const std::string& expected = {}) {
    if (faults_++ < 20)
      diagnostics_.warn(
          {.code = "bsdl-statement", .at = place(), .message = what, .found = found.substr(0, 80), .remedy = expected});
  }
  void statement();
  void ports();
  std::optional<std::pair<int, int>> vector_bounds(std::size_t& i, const std::string& name);
  void declare(const std::string& signal, BsdlMode mode, const Token& declared);
  void attribute();
  void generic();
  void constant();
  std::string text_value() const;
  void pin_map(const std::string& package, const std::string& text);
  void boundary(const std::string& text);
  bool cell(const std::vector<std::string>& words, std::size_t& i);
  void opcodes(const std::string& text);
  void compliance(const std::string& text);
  void grouping(const std::string& text);
  void check();
  void check_register();
  void check_instructions();
  void rule(const std::string& what, const std::string& found, const std::string& expected);

  const std::string& name_;
  Diagnostics& diagnostics_;
  std::vector<Token> tokens_, statement_;
  BsdlDevice device_;
  std::unordered_map<std::string, std::vector<std::size_t>> elements_;  ///< of vectors, by the port's name
  std::size_t faults_ = 0, broken_rules_ = 0;
  std::string capture_;
};

/// All strings of the statement, joined.
std::string Reader::text_value() const {
  std::string joined;
  for (const Token& token : statement_)
    if (token.kind == Token::Kind::text) joined += token.text;
  return joined;
}

void Reader::generic() {
  // generic (PHYSICAL_PIN_MAP : string := "LQFP64")
  device_.default_package = upper_case(text_value());
}

const std::map<std::string, BsdlMode> kModes = {{"IN", BsdlMode::in},
                                                {"OUT", BsdlMode::out},
                                                {"INOUT", BsdlMode::inout},
                                                {"BUFFER", BsdlMode::buffer},
                                                {"LINKAGE", BsdlMode::linkage},
                                                {"LINKAGE_IN", BsdlMode::linkage},
                                                {"LINKAGE_OUT", BsdlMode::linkage},
                                                {"LINKAGE_INOUT", BsdlMode::linkage},
                                                {"LINKAGE_BUFFER", BsdlMode::linkage},
                                                {"LINKAGE_MECHANICAL", BsdlMode::linkage},
                                                {"POWER_0", BsdlMode::power},
                                                {"POWER_POS", BsdlMode::power},
                                                {"POWER_NEG", BsdlMode::power},
                                                {"VREF_IN", BsdlMode::power},
                                                {"VREF_OUT", BsdlMode::power}};

void Reader::ports() {
  // port ( A, B : in bit; D : inout bit_vector(0 to 7) )
  std::size_t i = 1;
  if (i < statement_.size() && statement_[i].is("(")) ++i;
  while (i < statement_.size() && !statement_[i].is(")")) {
    std::vector<Token> names;
    while (i < statement_.size() && statement_[i].kind == Token::Kind::word) {
      names.push_back(statement_[i++]);
      if (i < statement_.size() && statement_[i].is(",")) ++i;
    }
    if (names.empty() || i + 1 >= statement_.size() || !statement_[i].is(":")) {
      if (i < statement_.size())
        diagnostics_.warn({.code = "bsdl-port",
                           .at = place(statement_[i]),
                           .message = "a port's name and mode are expected",
                           .found = statement_[i].text,
                           .remedy = "NAME : in bit"});
      while (i < statement_.size() && !statement_[i].is(";")) ++i;
      ++i;
      continue;
    }
    const auto known = kModes.find(statement_[i + 1].text);
    const BsdlMode mode = known == kModes.end() ? BsdlMode::linkage : known->second;
    if (known == kModes.end())
      diagnostics_.warn({.code = "bsdl-port",
                         .at = place(statement_[i + 1]),
                         .message = "the mode of a port is unknown; it is taken as linkage",
                         .found = statement_[i + 1].text});
    i += 2;
    const auto bounds = vector_bounds(i, names[0].text);
    for (const Token& declared : names) {
      if (!bounds) {
        declare(declared.text, mode, declared);
        continue;
      }
      const auto [from, to] = *bounds;
      for (int k = from;; k += from <= to ? 1 : -1) {
        declare(declared.text + "(" + std::to_string(k) + ")", mode, declared);
        if (k == to || device_.signals.size() > static_cast<std::size_t>(kMostCells)) break;
      }
    }
    if (i < statement_.size() && statement_[i].is(";")) ++i;
  }
}

/// Reads the type of a port up to its end; the bounds if it is a vector.
std::optional<std::pair<int, int>> Reader::vector_bounds(std::size_t& i, const std::string& name) {
  std::optional<std::pair<int, int>> bounds;
  int depth = 0;
  for (; i < statement_.size() && !(depth == 0 && (statement_[i].is(";") || statement_[i].is(")"))); ++i) {
    depth += opens(statement_[i]);
    if (!statement_[i].is("TO") && !statement_[i].is("DOWNTO")) continue;
    const auto from = whole(statement_[i - 1].text),
               to = i + 1 < statement_.size() ? whole(statement_[i + 1].text) : std::nullopt;
    if (from && to && std::abs(*from - *to) < kMostVector)
      bounds = {*from, *to};
    else
      diagnostics_.warn({.code = "bsdl-port",
                         .at = place(statement_[i]),
                         .message = "the bounds of a vector are not numbers, or they are too far apart",
                         .found = name});
  }
  return bounds;
}

void Reader::declare(const std::string& signal, BsdlMode mode, const Token& declared) {
  if (!device_.by_name.emplace(signal, device_.signals.size()).second)
    return diagnostics_.warn(
        {.code = "bsdl-port", .at = place(declared), .message = "a port is declared twice", .found = signal});
  elements_[signal.substr(0, signal.find('('))].push_back(device_.signals.size());
  device_.signals.push_back({signal, mode, place(declared)});
}

void Reader::constant() {
  // constant LQFP64 : PIN_MAP_STRING := "..."
  if (statement_.size() < 4 ||
      !std::any_of(statement_.begin(), statement_.end(), [](const Token& token) { return token.is("PIN_MAP_STRING"); }))
    return;
  pin_map(statement_[1].text, text_value());
}

void Reader::pin_map(const std::string& package, const std::string& text) {
  auto& map = device_.packages[package];
  const auto words = bsdl_words(text);
  std::set<std::string> mapped;
  for (std::size_t i = 0; i < words.size();) {
    if (words[i] == ",") {
      ++i;
      continue;
    }
    if (i + 2 >= words.size() || words[i + 1] != ":") {
      odd("an entry of the pin map cannot be read", words[i], "SIGNAL : PIN  or  SIGNAL : (PIN, PIN)");
      while (i < words.size() && words[i] != ",") ++i;
      continue;
    }
    const std::string& port = words[i];
    i += 2;
    std::vector<std::string> pins;
    if (words[i] == "(") {
      int depth = 0;
      for (; i < words.size(); ++i) {
        if (words[i] == "(")
          ++depth;
        else if (words[i] == ")") {
          if (--depth == 0) {
            ++i;
            break;
          }
        } else if (words[i] != ",")
          pins.push_back(words[i]);
      }
    } else {
      pins.push_back(words[i++]);
    }
    if (!mapped.insert(port).second) {
      odd("the pin map names a port twice", port);
      continue;
    }
    // The elements of a vector take the listed pins in the order of declaration. A single port takes all of them.
    std::vector<const BsdlSignal*> elements;
    if (const auto it = elements_.find(port); it != elements_.end())
      for (const std::size_t signal : it->second) elements.push_back(&device_.signals[signal]);
    if (elements.empty()) {
      odd("the pin map names a port that is not declared", port);
      continue;
    }
    if (elements.size() > 1 && elements.size() != pins.size())
      odd("the number of pins of a vector differs from the number of its elements",
          port + ": " + std::to_string(pins.size()) + " pins", std::to_string(elements.size()));
    for (std::size_t k = 0; k < elements.size() && k < pins.size(); ++k) {
      if (elements.size() == 1)
        map[elements[0]->name] = pins;
      else
        map[elements[k]->name] = {pins[k]};
    }
  }
}

bool Reader::cell(const std::vector<std::string>& words, std::size_t& i) {
  static const std::map<std::string, BsdlCell::Function> functions = {
      {"INPUT", BsdlCell::Function::input},
      {"CLOCK", BsdlCell::Function::clock},
      {"OBSERVE_ONLY", BsdlCell::Function::observe_only},
      {"OUTPUT2", BsdlCell::Function::output2},
      {"OUTPUT3", BsdlCell::Function::output3},
      {"BIDIR", BsdlCell::Function::bidir},
      {"CONTROL", BsdlCell::Function::control},
      {"CONTROLR", BsdlCell::Function::control},
      {"INTERNAL", BsdlCell::Function::internal}};
  BsdlCell cell;
  cell.place = place();
  const auto number = whole(words[i]);
  if (!number || *number < 0 || *number >= kMostCells || i + 1 >= words.size() || words[i + 1] != "(") return false;
  cell.number = *number;
  i += 2;
  std::vector<std::string> fields(1);
  int depth = 1;
  for (; i < words.size(); ++i) {
    if (words[i] == "(") ++depth;
    if (words[i] == ")" && --depth == 0) {
      ++i;
      break;
    }
    if (words[i] == "," && depth == 1)
      fields.emplace_back();
    else
      fields.back() += words[i];
  }
  if (depth != 0 || fields.size() < 4) return false;
  cell.type = fields[0];
  cell.port = fields[1] == "*" ? "" : fields[1];
  const auto function = functions.find(fields[2]);
  if (function == functions.end()) return false;
  cell.function = function->second;
  cell.safe = fields[3].empty() ? 'X' : fields[3][0];
  if (fields.size() >= 7) {
    cell.control = whole(fields[4]).value_or(-1);
    cell.disable = whole(fields[5]).value_or(-1);
    cell.disabled_as = fields[6];
    if (cell.control < 0) return false;
  }
  if (!cell.port.empty() && !device_.signal(cell.port))
    odd("a boundary cell names a port that is not declared", std::to_string(cell.number) + " (" + cell.port + ")");
  device_.cells.push_back(std::move(cell));
  return true;
}

void Reader::boundary(const std::string& text) {
  const auto words = bsdl_words(text);
  for (std::size_t i = 0; i < words.size();) {
    if (words[i] == ",") {
      ++i;
      continue;
    }
    const std::size_t begin = i;
    if (!cell(words, i)) {
      odd("a boundary cell cannot be read", words[begin],
          "NUMBER (CELL, PORT, FUNCTION, SAFE [, CONTROL, DISABLE, RESULT])");
      // The next cell begins behind the closing bracket.
      i = std::max(i, begin + 1);
      while (i < words.size() && words[i - 1] != ")") ++i;
    }
    if (device_.cells.size() > static_cast<std::size_t>(kMostCells))
      return diagnostics_.error({.code = "bsdl-too-large",
                                 .at = place(),
                                 .message = "the description has more boundary cells than any device",
                                 .found = std::to_string(device_.cells.size())});
  }
  std::stable_sort(device_.cells.begin(), device_.cells.end(),
                   [](const BsdlCell& a, const BsdlCell& b) { return a.number < b.number; });
}

void Reader::opcodes(const std::string& text) {
  const auto words = bsdl_words(text);
  for (std::size_t i = 0; i + 1 < words.size();) {
    if (words[i] == ",") {
      ++i;
      continue;
    }
    const std::string& name = words[i++];
    if (words[i] != "(") {
      odd("an opcode in brackets is expected", name);
      continue;
    }
    for (++i; i < words.size() && words[i] != ")"; ++i)
      if (words[i] != ",") device_.opcodes[name].push_back(words[i]);
    ++i;
  }
}

void Reader::compliance(const std::string& text) {
  const auto words = bsdl_words(text);
  BsdlCompliance compliance;
  int list = 0, depth = 0;
  std::string port;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == "(") {
      if (depth++ == 0)
        ++list;
      else
        port += "(";
    } else if (words[i] == ")") {
      if (--depth == 0) {
        if (!port.empty()) (list == 1 ? compliance.signals : compliance.patterns).push_back(port);
        port.clear();
      } else {
        port += ")";
      }
    } else if (words[i] == "," && depth == 1) {
      if (!port.empty()) (list == 1 ? compliance.signals : compliance.patterns).push_back(port);
      port.clear();
    } else if (words[i] != ",") {
      port += words[i];
    }
  }
  for (const auto& pattern : compliance.patterns)
    if (pattern.size() != compliance.signals.size())
      odd("a compliance pattern is not as long as its list of pins", pattern,
          std::to_string(compliance.signals.size()) + " characters");
  if (!compliance.signals.empty()) device_.compliance.push_back(std::move(compliance));
}

void Reader::grouping(const std::string& text) {
  // DIFFERENTIAL_VOLTAGE ((P, N), (A, B)), with elements of vectors inside.
  const auto words = bsdl_words(text);
  std::vector<std::string> two;
  std::string one;
  int depth = 0;
  for (const std::string& word : words) {
    if (word == "(") {
      if (++depth > 2) one += "(";
    } else if (word == ")") {
      if (depth-- > 2)
        one += ")";
      else if (depth == 1) {
        if (!one.empty()) two.push_back(one);
        if (two.size() == 2) device_.pairs.emplace_back(two[0], two[1]);
        two.clear();
        one.clear();
      }
    } else if (word == "," && depth == 2) {
      two.push_back(one);
      one.clear();
    } else if (depth >= 2) {
      one += word;
    }
  }
}

void Reader::attribute() {
  // attribute NAME of OBJECT : signal|entity is VALUE
  if (statement_.size() < 6 || !statement_[2].is("OF")) return;
  const std::string& what = statement_[1].text;
  std::size_t is = 3;
  while (is < statement_.size() && !statement_[is].is("IS")) ++is;
  if (is + 1 >= statement_.size()) return odd("an attribute has no value", what);
  std::string object;
  for (std::size_t i = 3; i < is && !statement_[i].is(":"); ++i) object += statement_[i].text;
  const Token& value = statement_[is + 1];
  if (what == "TAP_SCAN_IN")
    device_.tdi = object;
  else if (what == "TAP_SCAN_OUT")
    device_.tdo = object;
  else if (what == "TAP_SCAN_MODE")
    device_.tms = object;
  else if (what == "TAP_SCAN_RESET")
    device_.trst = object;
  else if (what == "TAP_SCAN_CLOCK") {
    device_.tck = object;
    for (std::size_t i = is; i < statement_.size(); ++i)
      if (statement_[i].kind == Token::Kind::number) {
        std::from_chars(statement_[i].text.data(), statement_[i].text.data() + statement_[i].text.size(),
                        device_.tck_most.v);
        break;
      }
  } else if (what == "INSTRUCTION_LENGTH")
    device_.instruction_length = whole(value.text).value_or(0);
  else if (what == "INSTRUCTION_OPCODE")
    opcodes(text_value());
  else if (what == "INSTRUCTION_CAPTURE")
    capture_ = text_value();
  else if (what == "IDCODE_REGISTER") {
    for (const std::string& word : bsdl_words(text_value()))
      if (word != ",") device_.idcodes.push_back(word);
  } else if (what == "BOUNDARY_LENGTH")
    device_.boundary_length = whole(value.text).value_or(0);
  else if (what == "BOUNDARY_REGISTER")
    boundary(text_value());
  else if (what == "COMPLIANCE_PATTERNS")
    compliance(text_value());
  else if (what == "PORT_GROUPING")
    grouping(text_value());
  else if (what == "DESIGN_WARNING")
    device_.design_warning = text_value();
}

void Reader::statement() {
  if (statement_.empty()) return;
  const Token& first = statement_[0];
  if (first.is("GENERIC"))
    generic();
  else if (first.is("PORT"))
    ports();
  else if (first.is("ATTRIBUTE"))
    attribute();
  else if (first.is("CONSTANT"))
    constant();
  // Other statements (use, end, attributes of other standards) say nothing that a planner needs.
}

void Reader::check() {
  const Place all{name_, 1, 0, {}};
  if (device_.tdi.empty() || device_.tdo.empty() || device_.tms.empty() || device_.tck.empty())
    diagnostics_.error(
        {.code = "bsdl-no-port",
         .at = all,
         .message = "the description does not name the four pins of the test port",
         .found = "TDI " + device_.tdi + ", TDO " + device_.tdo + ", TMS " + device_.tms + ", TCK " + device_.tck,
         .expected = "TAP_SCAN_IN, _OUT, _MODE and _CLOCK"});
  if (device_.packages.empty())
    diagnostics_.error({.code = "bsdl-no-pins",
                        .at = all,
                        .message = "the description holds no pin map",
                        .expected = "constant NAME : PIN_MAP_STRING := ..."});
  if (device_.cells.empty())
    diagnostics_.error({.code = "bsdl-no-cells", .at = all, .message = "the description holds no boundary register"});
  if (diagnostics_.failed()) return;
  check_register();
  check_instructions();
  for (const auto& pattern : device_.compliance)
    for (const std::string& signal : pattern.signals)
      if (!device_.signal(signal))
        rule("a compliance pattern names a port that is not declared", signal, "a declared port");
}

/// A rule of the standard is broken: the first of these are told.
void Reader::rule(const std::string& what, const std::string& found, const std::string& expected) {
  if (broken_rules_++ < 20)
    diagnostics_.warn({.code = "bsdl-rule",
                       .at = {name_, 1, 0, {}},
                       .message = what,
                       .found = found.substr(0, 80),
                       .remedy = expected});
}

void Reader::check_register() {
  std::set<int> numbers, controls;
  for (const BsdlCell& cell : device_.cells) {
    numbers.insert(cell.number);
    if (cell.function == BsdlCell::Function::control) controls.insert(cell.number);
  }
  if (device_.boundary_length > 0 &&
      (static_cast<int>(numbers.size()) != device_.boundary_length || *numbers.rbegin() != device_.boundary_length - 1))
    rule("the cells of the boundary register are not numbered without gaps from 0",
         std::to_string(numbers.size()) + " cells, the last " + std::to_string(*numbers.rbegin()),
         std::to_string(device_.boundary_length) + " by BOUNDARY_LENGTH");
  std::size_t wrong = 0;
  std::string first;
  for (const BsdlCell& cell : device_.cells)
    if (cell.control >= 0 && cell.control != cell.number && !controls.count(cell.control) && wrong++ == 0)
      first = std::to_string(cell.number) + " by " + std::to_string(cell.control);
  if (wrong)
    rule("some cells are enabled by cells that are not control cells", std::to_string(wrong) + ", first " + first,
         "function control or controlr");
  std::size_t modes = 0;
  for (const BsdlCell& cell : device_.cells) {
    const BsdlSignal* signal = cell.port.empty() ? nullptr : device_.signal(cell.port);
    if (!signal) continue;
    const bool out_of_input = signal->mode == BsdlMode::in && cell.drives(),
               no_cell = signal->mode == BsdlMode::linkage || signal->mode == BsdlMode::power;
    if ((out_of_input || no_cell || device_.is_tap(cell.port)) && modes++ == 0)
      first = std::to_string(cell.number) + " on " + cell.port;
  }
  if (modes)
    rule("some cells belong to ports whose mode does not allow them", std::to_string(modes) + ", first " + first,
         "no cells on linkage, power and test port pins, no outputs on inputs");
}

void Reader::check_instructions() {
  if (device_.instruction_length > 0) {
    for (const auto& [name, codes] : device_.opcodes)
      for (const std::string& code : codes)
        if (static_cast<int>(code.size()) != device_.instruction_length)
          rule("an opcode is not as long as the instruction register", name + " " + code,
               std::to_string(device_.instruction_length) + " bits");
    if (const auto it = device_.opcodes.find("BYPASS"); it != device_.opcodes.end())
      if (std::none_of(it->second.begin(), it->second.end(),
                       [](const std::string& signal) { return signal.find_first_not_of("1X") == signal.npos; }))
        rule("the opcode of BYPASS is not all ones", it->second.empty() ? "" : it->second[0], "ones");
    if (!device_.opcodes.count("EXTEST"))
      rule("EXTEST has no opcode, so the device cannot take part in an interconnect test", "none", "EXTEST (...)");
  }
  if (!capture_.empty() && (capture_.size() < 2 || capture_.compare(capture_.size() - 2, 2, "01") != 0))
    rule("the instruction register does not capture a value that ends in 01", capture_, "...01");
  for (const std::string& id : device_.idcodes)
    if (id.size() != 32 || id.back() != '1') rule("an IDCODE is not 32 bits ending in 1", id, "32 bits, the last 1");
  if (!device_.default_package.empty() && !device_.packages.count(device_.default_package))
    rule("the default package has no pin map", device_.default_package, "one of the constants");
}

BsdlDevice Reader::run() {
  if (diagnostics_.failed()) return device_;
  std::size_t i = 0;
  while (i + 1 < tokens_.size() && !tokens_[i].is("ENTITY")) ++i;
  if (i + 1 >= tokens_.size()) {
    diagnostics_.error({.code = "bsdl-no-entity",
                        .at = {name_, 1, 0, {}},
                        .message = "this is no boundary-scan description",
                        .expected = "entity NAME is",
                        .remedy = "name the right file"});
    return device_;
  }
  device_.entity = tokens_[i + 1].text;
  for (i += 3; i < tokens_.size();) {
    statement_.clear();
    int depth = 0;
    for (; i < tokens_.size() && !(depth <= 0 && tokens_[i].is(";")); ++i) {
      // Where a bracket was left open, the statement ends at the next one.
      if (depth > 0 && (tokens_[i].is("ATTRIBUTE") || tokens_[i].is("CONSTANT"))) break;
      depth += opens(tokens_[i]);
      statement_.push_back(tokens_[i]);
    }
    if (i < tokens_.size() && tokens_[i].is(";")) ++i;
    statement();
    if (!statement_.empty() && statement_[0].is("END")) break;
  }
  if (faults_ > 20)
    diagnostics_.warn({.code = "bsdl-statement",
                       .at = {name_, 0, 0, {}},
                       .message = "further faults of this kind are not listed",
                       .found = std::to_string(faults_ - 20)});
  if (!diagnostics_.failed()) check();
  return std::move(device_);
}
}  // namespace

const BsdlSignal* BsdlDevice::signal(const std::string& wanted) const {
  const auto it = by_name.find(wanted);
  return it == by_name.end() ? nullptr : &signals[it->second];
}

bool looks_like_bsdl(std::string_view bytes) {
  const std::string upper = upper_case(bytes.substr(0, 200'000));
  return upper.find("ENTITY") != upper.npos &&
         (upper.find("STD_1149_1") != upper.npos || upper.find("PIN_MAP_STRING") != upper.npos ||
          upper.find("TAP_SCAN") != upper.npos);
}

BsdlDevice read_bsdl(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  Diagnostics own;
  BsdlDevice device = Reader(bytes, name, own).run();
  diagnostics.merge(own);
  return device;
}

}  // namespace teasel::formats
