#include "design.h"

#include <cmath>
#include <stdexcept>

namespace demo {

namespace {
using Nets = std::map<std::string, std::string>;  // pin -> net

class Maker {
 public:
  Design d;

  void part(const std::string& name, const std::string& value, const std::string& package, double x, double y,
            double rotation, bool top, double height, const Nets& nets) {
    part_ = {name, value, package, x, y, rotation, top, false, height};
    nets_ = nets;
    d.parts.push_back(part_);
  }
  /// A pad at footprint coordinates; bottom parts are flipped about the vertical axis before they are turned.
  void pad(const std::string& pin, double px, double py, double w, double h, double drill = 0,
           const char* function = nullptr) {
    auto it = nets_.find(pin);
    const double a = part_.rotation * 3.14159265358979323846 / 180;
    if (!part_.top) px = -px;
    const double c = std::round(std::cos(a)), s = std::round(std::sin(a));
    const bool quarter = std::abs(s) > 0.5;
    Pad p;
    p.component = part_.name;
    p.pin = pin;
    p.net = it == nets_.end() ? "N/C" : it->second;
    p.x = part_.x + c * px - s * py;
    p.y = part_.y + s * px + c * py;
    p.w = quarter && h > 0 ? h : w;
    p.h = quarter && h > 0 ? w : h;
    p.drill = drill;
    p.top = part_.top;
    p.function = function ? function : drill > 0 ? "ComponentPad" : "SMDPad,CuDef";
    d.pads.push_back(p);
  }
  void holes_only() { d.parts.back().holes_only = true; }

  void two(const std::string& name, const std::string& value, double x, double y, double rotation, bool top,
           const std::string& a, const std::string& b, const char* package = "0603") {
    const std::string k = package;
    const double height = k == "0805" ? 1.3 : k == "SOD123" ? 1.2 : k == "4040" ? 4.1 : name[0] == 'R' ? 0.5 : 0.9;
    const Nets nets{{"1", a}, {"2", b}};
    part(name, value, package, x, y, rotation, top, height, nets);
    const double at = k == "0805" ? 1.0 : k == "SOD123" ? 1.75 : k == "4040" ? 1.5 : 0.75;
    const double w = k == "0805"     ? 1.0
                     : k == "SOD123" ? 1.0
                     : k == "4040"   ? 1.2
                                     : 0.8,
                 h = k == "0805"     ? 1.3
                     : k == "SOD123" ? 1.2
                     : k == "4040"   ? 3.5
                                     : 0.9;
    pad("1", -at, 0, w, h);
    pad("2", at, 0, w, h);
  }
  void quad(const std::string& name, const std::string& value, int side, double row, double w, double len, double x,
            double y, double height, const Nets& nets, double thermal = 0) {
    part(name, value, "QFP-" + std::to_string(4 * side), x, y, 0, true, height, nets);
    for (int i = 0; i < side; ++i) {
      const double t = (i - (side - 1) / 2.0) * 0.5;
      pad(std::to_string(i + 1), -row, -t, len, w);
      pad(std::to_string(side + i + 1), t, -row, w, len);
      pad(std::to_string(2 * side + i + 1), row, t, len, w);
      pad(std::to_string(3 * side + i + 1), -t, row, w, len);
    }
    if (thermal > 0) pad(std::to_string(4 * side + 1), 0, 0, thermal, thermal);
  }
  void eight(const std::string& name, const std::string& value, double x, double y, double rotation, const Nets& nets) {
    part(name, value, "SO-8", x, y, rotation, true, 1.75, nets);
    for (int i = 0; i < 4; ++i) {
      pad(std::to_string(i + 1), -2.7, 1.905 - 1.27 * i, 1.5, 0.6);
      pad(std::to_string(i + 5), 2.7, -1.905 + 1.27 * i, 1.5, 0.6);
    }
  }
  void three(const std::string& name, const std::string& value, double x, double y, const std::string& a,
             const std::string& b, const std::string& c) {
    const Nets nets{{"1", a}, {"2", b}, {"3", c}};
    part(name, value, "SOT-23", x, y, 0, true, 1.1, nets);
    pad("1", -1.0, -0.95, 1.0, 0.6);
    pad("2", -1.0, 0.95, 1.0, 0.6);
    pad("3", 1.0, 0, 1.0, 0.6);
  }
  void header(const std::string& name, const std::string& value, int rows, int columns, double x, double y,
              double pitch, double hole, double land, double height, const Nets& nets) {
    part(name, value, "HDR", x, y, 0, true, height, nets);
    holes_only();
    for (int r = 0; r < rows; ++r)
      for (int c = 0; c < columns; ++c)
        pad(std::to_string(r * columns + c + 1), (c - (columns - 1) / 2.0) * pitch, ((rows - 1) / 2.0 - r) * pitch,
            land, 0, hole);
  }
  void gold(double x, double y, double size, bool top, const std::string& net) {
    Pad p;
    p.x = x;
    p.y = y;
    p.w = size;
    p.net = net;
    p.top = top;
    p.function = "TestPad";
    d.pads.push_back(p);
  }
  void open_via(double x, double y, const std::string& net) {
    Pad p;
    p.component = "VIA";
    p.x = x;
    p.y = y;
    p.w = 1.0;
    p.drill = 0.3;
    p.net = net;
    p.function = "ViaPad";
    d.open_vias.push_back(p);
  }

 private:
  Part part_;
  Nets nets_;
};

std::string n(const std::string& stem, int i) {
  return stem + std::to_string(i);
}

/// Microcontroller, 100 pins; pin numbers run round the package.
Nets controller() {
  Nets p;
  int k = 1;
  auto next = [&](const std::string& net) { p[std::to_string(k++)] = net; };
  auto supply = [&] {
    next("GND");
    next("3V3");
  };
  for (int i = 0; i < 8; ++i) next(n("SENS", i));  // left side
  supply();
  for (const char* s : {"OSC_IN", "OSC_OUT", "NRST", "SWDIO", "SWCLK"}) next(s);
  for (int i = 0; i < 8; ++i) next(n("ADC", i));
  supply();
  for (const char* s : {"RADIO_CS_N", "RADIO_SCK", "RADIO_MOSI", "RADIO_MISO", "RADIO_IRQ"}) next(s);  // bottom side
  supply();
  for (const char* s :
       {"USB_DP", "USB_DM", "FLASH_CS_N", "FLASH_SCK", "FLASH_IO0", "FLASH_IO1", "FLASH_IO2", "FLASH_IO3"})
    next(s);
  for (int i = 31; i >= 24; --i) next(n("BUS", i));
  supply();
  for (int i = 15; i >= 0; --i) next("LNK" + std::to_string(i) + "_A");  // right side
  supply();
  for (int i = 23; i >= 17; --i) next(n("BUS", i));
  for (int i = 16; i >= 0; --i) next(n("BUS", i));  // top side
  for (const char* s : {"TCK", "TMS", "TDI", "JTAG_LINK", "TRST_N"}) next(s);
  supply();
  return p;
}

/// Programmable logic, 144 pins.
Nets logic() {
  Nets p;
  int k = 1;
  auto next = [&](const std::string& net) { p[std::to_string(k++)] = net; };
  auto supply = [&] {
    next("GND");
    next("3V3");
  };
  for (int i = 17; i <= 23; ++i) next(n("BUS", i));  // left side, from the top
  supply();
  for (int i = 0; i < 16; ++i) next("LNK" + std::to_string(i) + "_B");
  supply();
  for (int i = 24; i <= 31; ++i) next(n("BUS", i));
  next("1V8");
  for (int i = 0; i < 8; ++i) next(n("SYNC", i));  // bottom side
  supply();
  for (int i = 0; i < 12; ++i) next(n("CFG", i));
  next("1V8");
  next("GND");
  for (int i = 0; i < 11; ++i) next(n("MON", i));
  next("1V8");
  for (int i = 31; i >= 0; --i) next(n("EXP", i));  // right side, from the bottom
  supply();
  supply();
  for (int i = 7; i >= 0; --i) next(n("LED", i));  // top side
  supply();
  next("1V8");
  next("GND");
  for (const char* s : {"TDO", "TRST_N", "JTAG_LINK", "TMS", "TCK"}) next(s);
  supply();
  for (int i = 0; i <= 16; ++i) next(n("BUS", i));
  return p;
}

void processors(Maker& m) {
  m.quad("U1", "controller", 25, 7.75, 0.3, 1.5, 31, 40, 1.6, controller());
  m.quad("U2", "logic", 36, 10.75, 0.3, 1.5, 63, 40, 1.6, logic());
  for (int i = 0; i < 16; ++i)
    m.two("R" + std::to_string(1 + i), "33", 45.5, 48.5 - 1.25 * i, 0, true, "LNK" + std::to_string(i) + "_A",
          "LNK" + std::to_string(i) + "_B");
  for (int i = 0; i < 12; ++i)
    m.two("R" + std::to_string(20 + i), "10k", 56.25 + 1.5 * i, 24, 90, true, n("CFG", i), i % 2 ? "3V3" : "GND");
  for (int i = 0; i < 8; ++i) {
    m.two("R" + std::to_string(40 + i), "470", 54 + 3 * i, 60, 90, true, "LED" + std::to_string(i) + "_A", n("LED", i));
    m.two("LED" + std::to_string(1 + i), "green", 54 + 3 * i, 64, 90, true, "GND", "LED" + std::to_string(i) + "_A");
  }
  for (int i = 0; i < 11; ++i)
    m.two("R" + std::to_string(50 + i), "1k", 57 + 1.75 * i, 19.5, 90, true, "MON" + std::to_string(i) + "_T",
          n("MON", i));
}

void analog(Maker& m) {
  Nets j4;
  for (int i = 0; i < 8; ++i) {
    j4[std::to_string(i + 1)] = "SENS" + std::to_string(i) + "_C";
    m.two("R" + std::to_string(65 + i), "100", 15.5, 47.5 - 1.75 * i, 0, true, "SENS" + std::to_string(i) + "_C",
          n("SENS", i));
  }
  j4["9"] = "GND";
  j4["10"] = "3V3";
  m.header("J4", "sensor", 10, 1, 4, 40, 2.54, 1.0, 1.7, 8.5, j4);
  for (int i = 0; i < 8; ++i) {
    m.two("R" + std::to_string(75 + i), "10k", 15.5, 33.5 - 1.5 * i, 0, true, "GND", n("ADC", i));
    if (i < 6) m.two("C" + std::to_string(1 + i), "100n", 11, 33 - 1.75 * i, 0, false, n("ADC", i), "GND");
  }
  Nets j6;
  for (int i = 0; i < 8; ++i) {
    j6[std::to_string(i + 1)] = "ADC" + std::to_string(7 - i) + "_IN";
    m.two("R" + std::to_string(100 + i), "1k", 8, 11.5 + 1.75 * i, 0, false, n("ADC", i),
          "ADC" + std::to_string(i) + "_IN");
  }
  m.header("J6", "analog in", 8, 1, 4, 17, 2.54, 1.0, 1.7, 8.5, j6);
  const Nets y1{{"1", "OSC_IN"}, {"2", "GND"}, {"3", "OSC_OUT"}, {"4", "GND"}};
  m.part("Y1", "8 MHz", "3225", 18, 52.5, 0, true, 0.8, y1);
  m.pad("1", -1.0, -0.75, 1.2, 1.0);
  m.pad("2", 1.0, -0.75, 1.2, 1.0);
  m.pad("3", 1.0, 0.75, 1.2, 1.0);
  m.pad("4", -1.0, 0.75, 1.2, 1.0);
  m.two("C10", "12p", 13.5, 52.5, 90, true, "OSC_IN", "GND");
  m.two("C11", "12p", 22.5, 54, 90, true, "OSC_OUT", "GND");
}

void radio(Maker& m) {
  Nets u4{{"33", "GND"}};
  const char* left[] = {"RADIO_CS_N", "RADIO_SCK", "RADIO_MOSI", "RADIO_MISO", "RADIO_IRQ", "GND", "1V8", "GND"};
  for (int i = 0; i < 8; ++i) u4[std::to_string(1 + i)] = left[i];
  u4["9"] = "RF_XTAL_P";
  u4["10"] = "RF_XTAL_N";
  u4["12"] = "GND";
  u4["14"] = "1V8";
  u4["16"] = "GND";
  for (int i = 0; i < 8; ++i) u4[std::to_string(17 + i)] = n("SYNC", i);
  u4["26"] = "GND";
  u4["28"] = "RF_OUT";
  u4["30"] = "GND";
  m.quad("U4", "radio", 8, 2.5, 0.28, 0.8, 24, 14, 0.9, u4, 3.0);
  const Nets y2{{"1", "RF_XTAL_P"}, {"2", "GND"}, {"3", "RF_XTAL_N"}, {"4", "GND"}};
  m.part("Y2", "32 MHz", "3225", 23, 8, 0, true, 0.8, y2);
  m.pad("1", -1.0, -0.75, 1.2, 1.0);
  m.pad("2", 1.0, -0.75, 1.2, 1.0);
  m.pad("3", 1.0, 0.75, 1.2, 1.0);
  m.pad("4", -1.0, 0.75, 1.2, 1.0);
  m.two("L1", "3n3", 21, 19, 0, true, "RF_MATCH", "RF_OUT");
  m.two("C12", "1p5", 18.5, 17, 90, true, "RF_MATCH", "GND");
  m.two("C13", "100p", 17.5, 20, 0, true, "ANT_FEED", "RF_MATCH");
  m.two("C14", "100n", 19, 11, 0, true, "1V8", "GND");
  const Nets can{{"1", "GND"}, {"2", "GND"}, {"3", "GND"}, {"4", "GND"}, {"5", "GND"}, {"6", "GND"}};
  m.part("SH1", "shield can", "CAN", 23, 13.5, 0, true, 2.5, can);
  const double at[6][2] = {{-8, -7.5}, {0, -8}, {8, -7.5}, {8, 7.5}, {0.5, 8}, {-8, 7.5}};
  for (int i = 0; i < 6; ++i) m.pad(std::to_string(i + 1), at[i][0], at[i][1], 1.5, 1.0);
  const Nets ant{{"1", "ANT_FEED"}, {"2", "GND"}, {"3", "GND"}};
  m.part("J5", "antenna", "COAX", 10, 20.5, 0, true, 1.3, ant);
  m.pad("1", 1.5, 0, 1.0, 1.0);
  m.pad("2", 0, 1.5, 2.2, 1.0);
  m.pad("3", 0, -1.5, 2.2, 1.0);
}

void power(Maker& m) {
  m.eight("U3", "SPI flash", 43, 22, 0,
          {{"1", "FLASH_CS_N"},
           {"2", "FLASH_IO1"},
           {"3", "FLASH_IO2"},
           {"4", "GND"},
           {"5", "FLASH_IO0"},
           {"6", "FLASH_SCK"},
           {"7", "FLASH_IO3"},
           {"8", "3V3"}});
  const Nets usb{{"1", "VBUS"}, {"2", "USB_DM_C"}, {"3", "USB_DP_C"}, {"5", "GND"}, {"6", "GND"}, {"7", "GND"}};
  m.part("J1", "USB", "USB-B", 48, 4, 0, true, 2.7, usb);
  for (int i = 0; i < 5; ++i) m.pad(std::to_string(i + 1), (i - 2) * 0.65, 2.75, 0.4, 1.5);
  m.pad("6", -3.75, 1, 2.0, 0, 1.2);
  m.pad("7", 3.75, 1, 2.0, 0, 1.2);
  m.two("R90", "22", 45.5, 11.5, 90, true, "USB_DM_C", "USB_DM");
  m.two("R91", "22", 47.5, 11.5, 90, true, "USB_DP_C", "USB_DP");
  m.header("J2", "lithium cell", 1, 2, 12, 63, 2.0, 0.9, 1.5, 6.0, {{"1", "VBAT"}, {"2", "GND"}});
  m.two("F1", "1 A", 20, 63, 0, true, "VBAT", "VBAT_F", "0805");
  m.eight("U6", "charger", 62, 9, 0,
          {{"1", "CHG_EN"},
           {"2", "CHG_PROG"},
           {"3", "GND"},
           {"4", "VBUS"},
           {"5", "VBAT_F"},
           {"6", "CHG_STAT"},
           {"7", "GND"},
           {"8", "VSYS"}});
  m.two("R92", "2k", 56, 12, 90, true, "CHG_PROG", "GND");
  m.two("R93", "10k", 54, 12, 90, true, "CHG_EN", "VBUS");
  m.two("R94", "1k", 68.5, 14, 90, true, "CHG_STAT", "3V3");
  m.three("U5", "3.3 V", 73, 8, "GND", "3V3", "VSYS");
  m.three("U7", "1.8 V", 82, 8, "GND", "1V8", "VSYS");
  m.two("C20", "10u", 69.5, 7, 90, true, "VSYS", "GND", "0805");
  m.two("C21", "10u", 73, 12.5, 0, true, "3V3", "GND", "0805");
  m.two("C22", "10u", 82, 12.5, 0, true, "1V8", "GND", "0805");
  m.two("C23", "10u", 54, 6, 90, true, "VBUS", "GND", "0805");
  m.two("D1", "clamp", 58, 3, 0, true, "VBUS", "GND", "SOD123");
  m.two("D2", "clamp", 27, 63, 0, true, "VBAT_F", "GND", "SOD123");
  m.two("L2", "10u", 78, 16.5, 90, true, "VSYS", "VSYS_F", "4040");
  m.two("C24", "10u", 83.5, 17, 90, true, "VSYS_F", "GND", "0805");
  m.two("R95", "10k", 24.5, 59, 90, true, "NRST", "3V3");
  m.two("C25", "100n", 26.5, 59, 90, true, "NRST", "GND");
  m.two("R96", "10k", 28.5, 59, 90, true, "TRST_N", "GND");
  // Decoupling on the bottom side, under the packages.
  const double at[14][2] = {{24, 46}, {24, 41}, {24, 35}, {31, 33}, {38, 35}, {38, 41}, {38, 46},
                            {54, 46}, {54, 41}, {54, 34}, {63, 31}, {72, 34}, {72, 41}, {72, 46}};
  for (int i = 0; i < 14; ++i)
    m.two("C" + std::to_string(30 + i), "100n", at[i][0], at[i][1], 90, false, i == 9 || i == 10 ? "1V8" : "3V3",
          "GND");
}

void expansion(Maker& m) {
  Nets j3;
  for (int i = 0; i < 32; ++i) j3[std::to_string(i + 1)] = n("EXP", i);
  j3["33"] = "GND";
  j3["34"] = "GND";
  j3["35"] = "3V3";
  j3["36"] = "3V3";
  j3["37"] = "VSYS";
  j3["38"] = "GND";
  m.header("J3", "expansion", 20, 2, 92.5, 37, 2.54, 1.0, 1.7, 8.5, j3);
}

void targets(Maker& m) {
  // Bare gold pads without any name, mostly at the bottom.
  const char* row1[] = {"TCK", "TMS", "TDI", "TDO", "TRST_N", "JTAG_LINK"};
  for (int i = 0; i < 6; ++i) m.gold(30 + 3 * i, 59, 1.2, false, row1[i]);
  const char* row2[] = {"SWDIO", "SWCLK", "NRST"};
  for (int i = 0; i < 3; ++i) m.gold(16 + 3 * i, 57, 1.2, false, row2[i]);
  const char* row3[] = {"FLASH_CS_N", "FLASH_SCK", "FLASH_IO0", "FLASH_IO1", "FLASH_IO2", "FLASH_IO3"};
  for (int i = 0; i < 6; ++i) m.gold(38 + 2.5 * i, 17, 1.0, false, row3[i]);
  const char* row4[] = {"VBUS", "VSYS", "3V3", "1V8", "VBAT_F", "GND"};
  for (int i = 0; i < 6; ++i) {
    m.gold(62 + 4 * i, 4, 1.5, false, row4[i]);
    m.gold(63 + 4 * i, 66.5, 1.5, false, row4[i]);
  }
  m.gold(8, 9, 1.5, false, "GND");
  m.gold(8, 27, 1.5, false, "GND");
  m.gold(88, 62, 1.5, false, "GND");
  m.gold(50, 30, 1.5, false, "GND");
  m.gold(50, 52.5, 1.5, false, "GND");
  m.gold(78, 27, 1.5, false, "GND");
  m.gold(36, 66, 1.5, false, "GND");
  m.gold(4, 56, 1.5, false, "VBAT");
  const char* row5[] = {"USB_DP", "USB_DM", "CHG_STAT", "CHG_PROG", "CHG_EN"};
  for (int i = 0; i < 5; ++i) m.gold(36 + 3 * i, 8, 1.2, false, row5[i]);
  for (int i = 0; i < 11; ++i) m.gold(57 + 2.5 * i, 14, 1.0, false, "MON" + std::to_string(i) + "_T");
  // Top only: the bottom has no room there.
  const char* top[] = {"LNK0_A", "LNK5_A", "LNK10_A", "LNK15_A"};
  for (int i = 0; i < 4; ++i) m.gold(41 + 3.25 * i, 64.5, 1.2, true, top[i]);
  for (int i = 0; i < 8; ++i) m.open_via(9.5, 50 - 1.75 * i - (i > 3 ? 1.0 : 0), n("SENS", i));
  for (int i = 0; i < 6; ++i) m.open_via(49.25, 47 - 3 * i, "LNK" + std::to_string(2 * i + 2) + "_B");
}
}  // namespace

Design make_design() {
  Maker m;
  processors(m);
  analog(m);
  radio(m);
  power(m);
  expansion(m);
  targets(m);
  // Tooling holes: three, so that the board loads in one way only. Fiducials.
  for (auto [x, y] : {std::pair{4.0, 4.0}, {96.0, 66.0}, {4.0, 66.0}}) {
    Pad p;
    p.x = x;
    p.y = y;
    p.drill = 3.2;
    p.plated = false;
    m.d.holes.push_back(p);
  }
  const double fiducial[3][2] = {{10, 4}, {96, 4}, {88, 66.5}};
  for (int i = 0; i < 3; ++i) {
    m.part("FID" + std::to_string(i + 1), "fiducial", "FID", fiducial[i][0], fiducial[i][1], 0, true, 0, {});
    m.pad("1", 0, 0, 1.0, 0, 0, "FiducialPad,Global");
  }
  return std::move(m.d);
}

}  // namespace demo
