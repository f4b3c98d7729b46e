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

std::optional<int> whole(const std::string& s) {
  int v{};
  const auto [end, err] = std::from_chars(s.data(), s.data() + s.size(), v);
  if (err != std::errc{} || end != s.data() + s.size()) return std::nullopt;
  return v;
}

class Reader {
 public:
  Reader(std::string_view bytes, const std::string& name, Diagnostics& d)
      : name_(name), d_(d), t_(bsdl_tokens(bytes, name, d)) {
    dev_.file = name;
  }
  BsdlDevice run();

 private:
  Place place(const Token& t) const { return {name_, t.line, t.column, {}}; }
  Place place() const { return {name_, statement_.empty() ? 1 : statement_[0].line, 0, {}}; }
  void odd(const std::string& what, const std::string& found, const std::string& expected = {}) {
    if (faults_++ < 20) d_.warn("bsdl-statement", place(), what, found.substr(0, 80), expected);
  }
  void statement();
  void ports();
  void attribute();
  void generic();
  void constant();
  std::string text_value() const;
  void pin_map(const std::string& package, const std::string& text);
  void boundary(const std::string& text);
  bool cell(const std::vector<std::string>& w, std::size_t& i);
  void opcodes(const std::string& text);
  void compliance(const std::string& text);
  void grouping(const std::string& text);
  void check();

  const std::string& name_;
  Diagnostics& d_;
  std::vector<Token> t_, statement_;
  BsdlDevice dev_;
  std::unordered_map<std::string, std::vector<std::size_t>> elements_;  ///< of vectors, by the port's name
  std::size_t faults_ = 0;
  std::string capture_;
};

/// The joined string of a statement.
std::string Reader::text_value() const {
  std::string s;
  for (const Token& t : statement_)
    if (t.kind == Token::Kind::text) s += t.text;
  return s;
}

void Reader::generic() {
  // generic (PHYSICAL_PIN_MAP : string := "LQFP64")
  dev_.default_package = upper_case(text_value());
}

void Reader::ports() {
  // port ( A, B : in bit; D : inout bit_vector(0 to 7) )
  static const std::map<std::string, BsdlMode> modes = {{"IN", BsdlMode::in},
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
        d_.warn("bsdl-port", place(statement_[i]), "a port's name and mode are expected", statement_[i].text,
                "NAME : in bit");
      while (i < statement_.size() && !statement_[i].is(";")) ++i;
      ++i;
      continue;
    }
    const auto mode = modes.find(statement_[i + 1].text);
    if (mode == modes.end())
      d_.warn("bsdl-port", place(statement_[i + 1]), "an unknown port mode; it is taken as linkage",
              statement_[i + 1].text);
    i += 2;
    int from = 0, to = -1;
    bool vector = false;
    int depth = 0;
    for (; i < statement_.size() && !(depth == 0 && (statement_[i].is(";") || statement_[i].is(")"))); ++i) {
      depth += statement_[i].is("(") ? 1 : statement_[i].is(")") ? -1 : 0;
      if (statement_[i].is("TO") || statement_[i].is("DOWNTO")) {
        const auto a = whole(statement_[i - 1].text),
                   b = i + 1 < statement_.size() ? whole(statement_[i + 1].text) : std::nullopt;
        if (a && b && std::abs(*a - *b) < kMostVector) {
          from = *a;
          to = *b;
          vector = true;
        } else
          d_.warn("bsdl-port", place(statement_[i]), "the bounds of a vector are no numbers, or too far apart",
                  names[0].text);
      }
    }
    auto add = [&](const std::string& signal, BsdlMode m, const Token& n) {
      if (!dev_.by_name.emplace(signal, dev_.signals.size()).second)
        return d_.warn("bsdl-port", place(n), "a port is declared twice", signal);
      elements_[signal.substr(0, signal.find('('))].push_back(dev_.signals.size());
      dev_.signals.push_back({signal, m, place(n)});
    };
    for (const Token& n : names) {
      const BsdlMode m = mode == modes.end() ? BsdlMode::linkage : mode->second;
      if (!vector)
        add(n.text, m, n);
      else
        for (int k = from;; k += from <= to ? 1 : -1) {
          add(n.text + "(" + std::to_string(k) + ")", m, n);
          if (k == to || dev_.signals.size() > static_cast<std::size_t>(kMostCells)) break;
        }
    }
    if (i < statement_.size() && statement_[i].is(";")) ++i;
  }
}

void Reader::constant() {
  // constant LQFP64 : PIN_MAP_STRING := "..."
  if (statement_.size() < 4 ||
      !std::any_of(statement_.begin(), statement_.end(), [](const Token& t) { return t.is("PIN_MAP_STRING"); }))
    return;
  pin_map(statement_[1].text, text_value());
}

void Reader::pin_map(const std::string& package, const std::string& text) {
  auto& map = dev_.packages[package];
  const auto w = bsdl_words(text);
  std::set<std::string> mapped;
  for (std::size_t i = 0; i < w.size();) {
    if (w[i] == ",") {
      ++i;
      continue;
    }
    if (i + 2 >= w.size() || w[i + 1] != ":") {
      odd("a pin map entry is not understood", w[i], "SIGNAL : PIN  or  SIGNAL : (PIN, PIN)");
      while (i < w.size() && w[i] != ",") ++i;
      continue;
    }
    const std::string& port = w[i];
    i += 2;
    std::vector<std::string> pins;
    if (w[i] == "(") {
      int depth = 0;
      for (; i < w.size(); ++i) {
        if (w[i] == "(")
          ++depth;
        else if (w[i] == ")") {
          if (--depth == 0) {
            ++i;
            break;
          }
        } else if (w[i] != ",")
          pins.push_back(w[i]);
      }
    } else {
      pins.push_back(w[i++]);
    }
    if (!mapped.insert(port).second) {
      odd("the pin map names a port twice", port);
      continue;
    }
    // A vector's elements take the listed pins in declared order; a single port takes all of them.
    std::vector<const BsdlSignal*> elements;
    if (const auto it = elements_.find(port); it != elements_.end())
      for (const std::size_t s : it->second) elements.push_back(&dev_.signals[s]);
    if (elements.empty()) {
      odd("the pin map names a port that is not declared", port);
      continue;
    }
    if (elements.size() > 1 && elements.size() != pins.size())
      odd("a vector has another number of pins than elements", port + ": " + std::to_string(pins.size()) + " pins",
          std::to_string(elements.size()));
    for (std::size_t k = 0; k < elements.size() && k < pins.size(); ++k) {
      if (elements.size() == 1)
        map[elements[0]->name] = pins;
      else
        map[elements[k]->name] = {pins[k]};
    }
  }
}

bool Reader::cell(const std::vector<std::string>& w, std::size_t& i) {
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
  BsdlCell c;
  c.place = place();
  const auto number = whole(w[i]);
  if (!number || *number < 0 || *number >= kMostCells || i + 1 >= w.size() || w[i + 1] != "(") return false;
  c.number = *number;
  i += 2;
  std::vector<std::string> fields(1);
  int depth = 1;
  for (; i < w.size(); ++i) {
    if (w[i] == "(") ++depth;
    if (w[i] == ")" && --depth == 0) {
      ++i;
      break;
    }
    if (w[i] == "," && depth == 1)
      fields.emplace_back();
    else
      fields.back() += w[i];
  }
  if (depth != 0 || fields.size() < 4) return false;
  c.type = fields[0];
  c.port = fields[1] == "*" ? "" : fields[1];
  const auto f = functions.find(fields[2]);
  if (f == functions.end()) return false;
  c.function = f->second;
  c.safe = fields[3].empty() ? 'X' : fields[3][0];
  if (fields.size() >= 7) {
    c.control = whole(fields[4]).value_or(-1);
    c.disable = whole(fields[5]).value_or(-1);
    c.disabled_as = fields[6];
    if (c.control < 0) return false;
  }
  if (!c.port.empty() && !dev_.signal(c.port))
    odd("a boundary cell names a port that is not declared", std::to_string(c.number) + " (" + c.port + ")");
  dev_.cells.push_back(std::move(c));
  return true;
}

void Reader::boundary(const std::string& text) {
  const auto w = bsdl_words(text);
  for (std::size_t i = 0; i < w.size();) {
    if (w[i] == ",") {
      ++i;
      continue;
    }
    const std::size_t begin = i;
    if (!cell(w, i)) {
      odd("a boundary cell is not understood", w[begin],
          "NUMBER (CELL, PORT, FUNCTION, SAFE [, CONTROL, DISABLE, RESULT])");
      // On behind its closing bracket.
      i = std::max(i, begin + 1);
      while (i < w.size() && w[i - 1] != ")") ++i;
    }
    if (dev_.cells.size() > static_cast<std::size_t>(kMostCells))
      return d_.error("bsdl-too-large", place(), "more boundary cells than any device has",
                      std::to_string(dev_.cells.size()));
  }
  std::stable_sort(dev_.cells.begin(), dev_.cells.end(),
                   [](const BsdlCell& x, const BsdlCell& y) { return x.number < y.number; });
}

void Reader::opcodes(const std::string& text) {
  const auto w = bsdl_words(text);
  for (std::size_t i = 0; i + 1 < w.size();) {
    if (w[i] == ",") {
      ++i;
      continue;
    }
    const std::string& name = w[i++];
    if (w[i] != "(") {
      odd("an opcode is expected in brackets", name);
      continue;
    }
    for (++i; i < w.size() && w[i] != ")"; ++i)
      if (w[i] != ",") dev_.opcodes[name].push_back(w[i]);
    ++i;
  }
}

void Reader::compliance(const std::string& text) {
  const auto w = bsdl_words(text);
  BsdlCompliance c;
  int list = 0, depth = 0;
  std::string port;
  for (std::size_t i = 0; i < w.size(); ++i) {
    if (w[i] == "(") {
      if (depth++ == 0)
        ++list;
      else
        port += "(";
    } else if (w[i] == ")") {
      if (--depth == 0) {
        if (!port.empty()) (list == 1 ? c.signals : c.patterns).push_back(port);
        port.clear();
      } else {
        port += ")";
      }
    } else if (w[i] == "," && depth == 1) {
      if (!port.empty()) (list == 1 ? c.signals : c.patterns).push_back(port);
      port.clear();
    } else if (w[i] != ",") {
      port += w[i];
    }
  }
  for (const auto& p : c.patterns)
    if (p.size() != c.signals.size())
      odd("a compliance pattern is not as long as its list of pins", p,
          std::to_string(c.signals.size()) + " characters");
  if (!c.signals.empty()) dev_.compliance.push_back(std::move(c));
}

void Reader::grouping(const std::string& text) {
  // DIFFERENTIAL_VOLTAGE ((P, N), (A, B)), with elements of vectors inside.
  const auto w = bsdl_words(text);
  std::vector<std::string> two;
  std::string one;
  int depth = 0;
  for (const std::string& x : w) {
    if (x == "(") {
      if (++depth > 2) one += "(";
    } else if (x == ")") {
      if (depth-- > 2)
        one += ")";
      else if (depth == 1) {
        if (!one.empty()) two.push_back(one);
        if (two.size() == 2) dev_.pairs.emplace_back(two[0], two[1]);
        two.clear();
        one.clear();
      }
    } else if (x == "," && depth == 2) {
      two.push_back(one);
      one.clear();
    } else if (depth >= 2) {
      one += x;
    }
  }
}

void Reader::attribute() {
  // attribute NAME of OBJECT : signal|entity is VALUE
  if (statement_.size() < 6 || !statement_[2].is("OF")) return;
  const std::string& what = statement_[1].text;
  std::size_t is = 3;
  while (is < statement_.size() && !statement_[is].is("IS")) ++is;
  if (is + 1 >= statement_.size()) return odd("an attribute without a value", what);
  std::string object;
  for (std::size_t i = 3; i < is && !statement_[i].is(":"); ++i) object += statement_[i].text;
  const Token& value = statement_[is + 1];
  if (what == "TAP_SCAN_IN")
    dev_.tdi = object;
  else if (what == "TAP_SCAN_OUT")
    dev_.tdo = object;
  else if (what == "TAP_SCAN_MODE")
    dev_.tms = object;
  else if (what == "TAP_SCAN_RESET")
    dev_.trst = object;
  else if (what == "TAP_SCAN_CLOCK") {
    dev_.tck = object;
    for (std::size_t i = is; i < statement_.size(); ++i)
      if (statement_[i].kind == Token::Kind::number) {
        std::from_chars(statement_[i].text.data(), statement_[i].text.data() + statement_[i].text.size(), dev_.tck_hz);
        break;
      }
  } else if (what == "INSTRUCTION_LENGTH")
    dev_.instruction_length = whole(value.text).value_or(0);
  else if (what == "INSTRUCTION_OPCODE")
    opcodes(text_value());
  else if (what == "INSTRUCTION_CAPTURE")
    capture_ = text_value();
  else if (what == "IDCODE_REGISTER") {
    for (const std::string& w : bsdl_words(text_value()))
      if (w != ",") dev_.idcodes.push_back(w);
  } else if (what == "BOUNDARY_LENGTH")
    dev_.boundary_length = whole(value.text).value_or(0);
  else if (what == "BOUNDARY_REGISTER")
    boundary(text_value());
  else if (what == "COMPLIANCE_PATTERNS")
    compliance(text_value());
  else if (what == "PORT_GROUPING")
    grouping(text_value());
  else if (what == "DESIGN_WARNING")
    dev_.design_warning = text_value();
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
  // use, end and attributes of other standards say nothing that a planner needs.
}

void Reader::check() {
  const Place all{name_, 1, 0, {}};
  if (dev_.tdi.empty() || dev_.tdo.empty() || dev_.tms.empty() || dev_.tck.empty())
    d_.error("bsdl-no-port", all, "the description does not name the test port's four pins",
             "TDI " + dev_.tdi + ", TDO " + dev_.tdo + ", TMS " + dev_.tms + ", TCK " + dev_.tck,
             "TAP_SCAN_IN, _OUT, _MODE and _CLOCK");
  if (dev_.packages.empty())
    d_.error("bsdl-no-pins", all, "the description holds no pin map", {}, "constant NAME : PIN_MAP_STRING := ...");
  if (dev_.cells.empty()) d_.error("bsdl-no-cells", all, "the description holds no boundary register");
  if (d_.failed()) return;
  std::size_t told = 0;
  auto rule = [&](const std::string& what, const std::string& found, const std::string& expected) {
    if (told++ < 20) d_.warn("bsdl-rule", all, what, found.substr(0, 80), expected);
  };
  std::set<int> numbers, controls;
  for (const BsdlCell& c : dev_.cells) {
    numbers.insert(c.number);
    if (c.function == BsdlCell::Function::control) controls.insert(c.number);
  }
  if (dev_.boundary_length > 0 &&
      (static_cast<int>(numbers.size()) != dev_.boundary_length || *numbers.rbegin() != dev_.boundary_length - 1))
    rule("the boundary register does not hold every cell from 0 on",
         std::to_string(numbers.size()) + " cells, the last " + std::to_string(*numbers.rbegin()),
         std::to_string(dev_.boundary_length) + " by BOUNDARY_LENGTH");
  std::size_t wrong = 0;
  std::string first;
  for (const BsdlCell& c : dev_.cells)
    if (c.control >= 0 && c.control != c.number && !controls.count(c.control) && wrong++ == 0)
      first = std::to_string(c.number) + " by " + std::to_string(c.control);
  if (wrong)
    rule("cells are enabled by cells that are no controls", std::to_string(wrong) + ", first " + first,
         "function control or controlr");
  std::size_t modes = 0;
  for (const BsdlCell& c : dev_.cells) {
    const BsdlSignal* s = c.port.empty() ? nullptr : dev_.signal(c.port);
    if (!s) continue;
    const bool out_of_input = s->mode == BsdlMode::in && c.drives(),
               no_cell = s->mode == BsdlMode::linkage || s->mode == BsdlMode::power;
    if ((out_of_input || no_cell || dev_.is_tap(c.port)) && modes++ == 0)
      first = std::to_string(c.number) + " on " + c.port;
  }
  if (modes)
    rule("cells stand on ports of a mode that cannot have them", std::to_string(modes) + ", first " + first,
         "no cells on linkage, power and test port pins, no outputs on inputs");
  if (dev_.instruction_length > 0) {
    for (const auto& [name, codes] : dev_.opcodes)
      for (const std::string& code : codes)
        if (static_cast<int>(code.size()) != dev_.instruction_length)
          rule("an opcode is not as long as the instruction register", name + " " + code,
               std::to_string(dev_.instruction_length) + " bits");
    if (const auto it = dev_.opcodes.find("BYPASS"); it != dev_.opcodes.end())
      if (std::none_of(it->second.begin(), it->second.end(),
                       [](const std::string& s) { return s.find_first_not_of("1X") == s.npos; }))
        rule("BYPASS is not all ones", it->second.empty() ? "" : it->second[0], "ones");
    if (!dev_.opcodes.count("EXTEST"))
      rule("EXTEST has no opcode: the device cannot take part in an interconnect test", "none", "EXTEST (...)");
  }
  if (!capture_.empty() && (capture_.size() < 2 || capture_.compare(capture_.size() - 2, 2, "01") != 0))
    rule("the instruction register does not capture ...01", capture_, "...01");
  for (const std::string& id : dev_.idcodes)
    if (id.size() != 32 || id.back() != '1') rule("an IDCODE is not 32 bits ending in 1", id, "32 bits, the last 1");
  if (!dev_.default_package.empty() && !dev_.packages.count(dev_.default_package))
    rule("the default package has no pin map", dev_.default_package, "one of the constants");
  for (const auto& c : dev_.compliance)
    for (const std::string& s : c.signals)
      if (!dev_.signal(s)) rule("a compliance pattern names a port that is not declared", s, "a declared port");
}

BsdlDevice Reader::run() {
  if (d_.failed()) return dev_;
  std::size_t i = 0;
  while (i + 1 < t_.size() && !t_[i].is("ENTITY")) ++i;
  if (i + 1 >= t_.size()) {
    d_.error("bsdl-no-entity", {name_, 1, 0, {}}, "this is no boundary-scan description", {}, "entity NAME is",
             "name the right file");
    return dev_;
  }
  dev_.entity = t_[i + 1].text;
  for (i += 3; i < t_.size();) {
    statement_.clear();
    int depth = 0;
    for (; i < t_.size() && !(depth <= 0 && t_[i].is(";")); ++i) {
      // A bracket left open ends at the next statement.
      if (depth > 0 && (t_[i].is("ATTRIBUTE") || t_[i].is("CONSTANT"))) break;
      depth += t_[i].is("(") ? 1 : t_[i].is(")") ? -1 : 0;
      statement_.push_back(t_[i]);
    }
    if (i < t_.size() && t_[i].is(";")) ++i;
    statement();
    if (!statement_.empty() && statement_[0].is("END")) break;
  }
  if (faults_ > 20)
    d_.warn("bsdl-statement", {name_, 0, 0, {}}, "further faults of this kind are not listed",
            std::to_string(faults_ - 20));
  if (!d_.failed()) check();
  return std::move(dev_);
}
}  // namespace

const BsdlSignal* BsdlDevice::signal(const std::string& wanted) const {
  const auto it = by_name.find(wanted);
  return it == by_name.end() ? nullptr : &signals[it->second];
}

bool looks_like_bsdl(std::string_view bytes) {
  const std::string s = upper_case(bytes.substr(0, 200'000));
  return s.find("ENTITY") != s.npos &&
         (s.find("STD_1149_1") != s.npos || s.find("PIN_MAP_STRING") != s.npos || s.find("TAP_SCAN") != s.npos);
}

BsdlDevice read_bsdl(std::string_view bytes, const std::string& name, Diagnostics& d) {
  Diagnostics own;
  BsdlDevice dev = Reader(bytes, name, own).run();
  d.merge(own);
  return dev;
}

}  // namespace teasel::formats
