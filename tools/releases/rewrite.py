"""Says the same release in another way: other units, another origin, turned. CannotSay is raised where a file cannot be
said so exactly. Frames: X right, Y up, as in the files."""
import re

# The vector of the shift and the axis of the turn: whole inches, so that both units and all formats hold them exactly.
SHIFT_INCHES = (2, 3)
TURN_INCHES = 10  # (x, y) goes to (10 inches - y, x): boards above their origin keep numbers without a sign


class CannotSay(Exception):
    """The file holds something that cannot be said in the other way."""


# Sniffing, by what only these formats hold.

def is_gerber(text):
    return bool(re.search(r"%FS[LTD]?[AI]X\d\dY\d\d|%MO(MM|IN)\*", text[:20000]))


def is_excellon(text):
    return bool(re.search(r"^M48\s*$", text[:5000], re.M)) and not is_gerber(text)


def is_netlist(text):
    return len(re.findall(r"^3[126]7.{38}X[+\- 0-9]", text, re.M)) >= 2


def is_placement(text):
    return bool(re.search(r"(pos|mid|cent(er|re)|ref|loc)[ _-]?x", "\n".join(text.splitlines()[:40]), re.I))


# Maps on counts of a file: one inch is `inch` counts.

def same(x, y, inch):
    return x, y


def shifted(x, y, inch):
    return x + SHIFT_INCHES[0] * inch, y + SHIFT_INCHES[1] * inch


def turned(x, y, inch):
    return TURN_INCHES * inch - y, x


def whole(value):
    if value != int(value):
        raise CannotSay("an inch is no whole number of counts")
    return int(value)


class Gerber:
    """Rewrites every coordinate of a layer file. `change` is "units", "shift" or "turn"."""

    WORD = re.compile(r"^((?:[GN]\d+)*)(?:X([+-]?\d+))?(?:Y([+-]?\d+))?(?:I([+-]?\d+))?(?:J([+-]?\d+))?(D0*[123])?$")

    def __init__(self, text, change):
        self.change = change
        self.x = self.y = 0
        self.drawn = False
        self.in_block = 0
        self.single = False
        self.text = text
        found = re.search(r"%FS([LTD]?)([AI])(?:N\d)?(?:G\d)?X(\d)(\d)Y(\d)(\d)", text)
        unit = re.findall(r"MO(MM|IN)\*", text)
        if not found or found[2] != "A" or found[3] + found[4] != found[5] + found[6] or len(set(unit)) != 1:
            raise CannotSay("format or unit is not stated once and absolute")
        self.trailing = found[1] == "T"
        self.whole, self.decimals = int(found[3]), int(found[4])
        self.inch = unit[0] == "IN"
        if re.search(r"G91\*", text) or re.search(r"G71\*" if self.inch else r"G70\*", text):
            raise CannotSay("units or steps change in the middle")
        if change == "units" and not self.inch:
            raise CannotSay("already in millimetres")
        if re.search(r"%(IR(?!0\*)|MI(?!A?0?B?0?\*)|SF(?!A1(\.0*)?B1(\.0*)?\*)|AS(?!AXBY)|"
                     r"OF(?!A0(\.0*)?B0(\.0*)?\*))", text):
            raise CannotSay("a deprecated command moves the image")
        if change == "turn" and re.search(r"%LM(?!N\*)", text):
            raise CannotSay("apertures are mirrored")
        # Counts of the written file: 254 of inch decimals n become decimals n + 1 of a millimetre.
        self.out_decimals = min(6, self.decimals + 1) if change == "units" else self.decimals

    def count(self, digits):
        sign = -1 if digits.startswith("-") else 1
        digits = digits.lstrip("+-")
        if self.trailing:
            digits = digits.ljust(self.whole + self.decimals, "0")
        return sign * int(digits)

    def counts_of_inch(self):
        return whole(10 ** self.decimals * (1 if self.inch else 25.4))

    def place(self, x, y):
        if self.change == "units":
            factor = 254 * 10 ** self.out_decimals // 10 ** self.decimals
            return round(x * factor / 10), round(y * factor / 10)
        if self.change == "shift":
            return (x, y) if self.in_block else shifted(x, y, self.counts_of_inch())
        return (-y, x) if self.in_block else turned(x, y, self.counts_of_inch())

    def step(self, i, j):
        if self.change == "units":
            factor = 254 * 10 ** self.out_decimals // 10 ** self.decimals
            return round(i * factor / 10), round(j * factor / 10)
        if self.change == "shift":
            return i, j
        return (j, i) if self.single else (-j, i)

    def word(self, word):
        comment = word.startswith(("G04", "G4 "))
        for code in [] if comment else re.findall(r"G(\d+)", word):
            if int(code) == 74:
                self.single = True
            if int(code) == 75:
                self.single = False
        if comment or not re.search(r"[XYIJ]", word):
            if re.fullmatch(r"(G\d+)*D0*[123]", word) and not self.drawn:
                raise CannotSay("a pen moves before a place is given")
            units = self.change == "units" and re.fullmatch(r"(G\d+)+", word)
            return word.replace("G70", "G71") if units else word
        parts = self.WORD.match(word)
        if not parts:
            raise CannotSay("a word is not understood: " + word[:40])
        codes, x, y, i, j, pen = parts.groups()
        self.x = self.count(x) if x is not None else self.x
        self.y = self.count(y) if y is not None else self.y
        self.drawn = True
        out = codes + "X%dY%d" % self.place(self.x, self.y)
        if i is not None or j is not None:
            out += "I%dJ%d" % self.step(self.count(i or "0"), self.count(j or "0"))
        return out + (pen or "")

    def length(self, value):
        """A size of an aperture, as decimal text."""
        if self.change != "units" or value in ("", None):
            return value
        return exact_product(value, "25.4")

    def aperture(self, body):
        parts = re.match(r"^ADD(\d+)([A-Za-z_$.][^,]*)(?:,(.*))?$", body)
        if not parts:
            raise CannotSay("an aperture is not understood: " + body[:40])
        code, kind, rest = parts.groups()
        values = rest.split("X") if rest else []
        if kind not in ("C", "R", "O", "P"):
            if self.change == "units" and values:
                values = self.macro_values(kind, values)
        elif self.change == "turn" and kind in ("R", "O"):
            values[:2] = reversed(values[:2])
            if len(values) > 3:
                values[2:4] = reversed(values[2:4])
        elif self.change == "turn" and kind == "P":
            values = values + ["0"] * (3 - len(values)) if len(values) < 3 else values
            values[2] = str(float(values[2]) + 90)
        elif self.change == "units":
            lengths = {"C": (0, 1, 2), "R": (0, 1, 2, 3), "O": (0, 1, 2, 3), "P": (0, 3, 4)}[kind]
            values = [self.length(v) if n in lengths else v for n, v in enumerate(values)]
        return "ADD" + code + kind + ("," + "X".join(values) if values else "")

    def macro_values(self, kind, values):
        raise CannotSay("parameters of a macro are lengths or not")

    # By primitive: which parameters are lengths, and which is the rotation.
    PRIMITIVES = {"1": ((2, 3, 4), 5), "2": ((2, 3, 4, 5, 6), 7), "20": ((2, 3, 4, 5, 6), 7), "21": ((2, 3, 4, 5), 6),
                  "22": ((2, 3, 4, 5), 6), "5": ((3, 4, 5), 6), "6": ((1, 2, 3, 4, 5, 7, 8), 9),
                  "7": ((1, 2, 3, 4, 5), 6)}

    def macro(self, body):
        statements = body.split("*")
        out = [statements[0]]
        for statement in statements[1:]:
            line = statement.strip("\r\n ")
            if not line or line.startswith("0 ") or line == "0" or line.startswith("$"):
                if line.startswith("$") and self.change == "units":
                    raise CannotSay("a macro computes lengths")
                out.append(statement)
                continue
            values = re.sub(r"\s", "", line).split(",")
            lengths, turn = self.PRIMITIVES.get(values[0], ((), 0))
            if values[0] == "4":
                corners = 2 * (int(float(values[2])) + 1)
                lengths, turn = tuple(range(3, 3 + corners)), 3 + corners
            if self.change == "units":
                if any("$" in v for v in values):
                    raise CannotSay("a macro takes parameters")
                values = [self.length(v) if n in lengths else v for n, v in enumerate(values)]
            if self.change == "turn":
                values += ["0"] * (turn + 1 - len(values))
                values[turn] = values[turn] + "+90"
            out.append(",".join(values))
        return "*".join(out)

    def extended(self, body):
        """What stands between two percent signs, without them; ends with a star."""
        if body.startswith("AM"):
            return self.macro(body)
        statements = body.split("*")
        out = []
        for statement in statements:
            s = statement.strip("\r\n ")
            if s.startswith("FS"):
                s = "FSLAX%d%dY%d%d" % (6, self.out_decimals, 6, self.out_decimals)
            elif s.startswith("MO") and self.change == "units":
                s = "MOMM"
            elif s.startswith("ADD"):
                s = self.aperture(s)
            elif s.startswith("AB"):
                self.in_block += 1 if len(s) > 2 else -1
            elif s.startswith("SR") and len(s) > 2 and not re.match(r"SRX1Y1(I0*\.?0*J0*\.?0*)?$", s):
                if self.change != "shift":
                    raise CannotSay("images are repeated")
            out.append(s)
        return "*".join(out)

    def run(self):
        out, pieces = [], self.text.split("%")
        for n, piece in enumerate(pieces):
            if n % 2:
                out.append("%" + self.extended(piece) + "%")
                continue
            words = piece.split("*")
            for k, word in enumerate(words):
                plain = word.strip("\r\n ")
                if not plain.startswith(("G04", "G4")):
                    plain = re.sub(r"[\r\n]", "", plain)
                head = word[:len(word) - len(word.lstrip("\r\n "))]
                last = k == len(words) - 1
                out.append(head + (self.word(plain) if plain else "") + ("" if last else "*"))
        return "".join(out)


def exact_product(a, b):
    """The product of two decimal numbers, exactly."""
    from decimal import Decimal, getcontext
    getcontext().prec = 40
    made = format(Decimal(a) * Decimal(b), "f")
    return made.rstrip("0").rstrip(".") if "." in made else made


def gerber(text, change):
    if text.count("%") % 2:
        raise CannotSay("a statement is not closed")
    return Gerber(text, change).run()


class Excellon:
    """Rewrites every coordinate of a drill file. What it leaves open stands in `stated`, its table in the job."""

    def __init__(self, text, change, stated):
        self.text, self.change = text, change
        head = text.split("\n%", 1)[0]
        unit = re.findall(r"^(INCH|METRIC|M71|M72)", head, re.M)
        if not unit and stated.get("unit") in ("inch", "mm") and change != "units":
            unit = ["INCH" if stated["unit"] == "inch" else "METRIC"]
        if not unit or re.search(r"^(G91|ICI,ON|G93|M25|M0[128]X|M7[08]|G92)", text, re.M):
            raise CannotSay("no unit is stated, or steps are relative")
        self.inch = unit[0] in ("INCH", "M72")
        if change == "units" and not self.inch:
            raise CannotSay("already in millimetres")
        digits = stated.get("digits", "")
        self.whole, self.decimals = (int(n) for n in digits.split(".")) if digits else (None, None)
        self.leading = stated.get("zeros") == "leading kept"
        self.x = self.y = None

    def value(self, text):
        """In millionths of the unit, exactly."""
        sign = -1 if text.startswith("-") else 1
        text = text.lstrip("+-")
        if "." in text:
            before, after = text.split(".")
            return sign * int((before or "0") + after.ljust(6, "0")[:6])
        if self.whole is None:
            raise CannotSay("numbers without a point, and no format")
        if self.leading:
            text = text.ljust(self.whole + self.decimals, "0")
        return sign * int(text) * 10 ** (6 - self.decimals)

    def number(self, value, like):
        sign, value = ("-" if value < 0 else ""), abs(value)
        if "." in like or self.change == "units":
            made = "%s%d.%06d" % (sign, value // 10 ** 6, value % 10 ** 6)
            return made.rstrip("0") + ("0" if made.rstrip("0").endswith(".") else "")
        count, rest = divmod(value, 10 ** (6 - self.decimals))
        digits = str(count)
        if rest or len(digits) > self.whole + self.decimals:
            raise CannotSay("the number format is too short")
        if self.leading:
            return sign + (digits.rjust(self.whole + self.decimals, "0").rstrip("0") or "0")
        return sign + (digits if len(like.lstrip("+-")) != self.whole + self.decimals
                       else digits.rjust(self.whole + self.decimals, "0"))

    def place(self, x, y):
        inch = 10 ** 6 if self.inch else 25400000
        if self.change == "units":
            return round(x * 254 / 10), round(y * 254 / 10)
        return shifted(x, y, inch) if self.change == "shift" else turned(x, y, inch)

    def step(self, x, y):
        if self.change == "units":
            return round(x * 254 / 10), round(y * 254 / 10)
        return (x, y) if self.change == "shift" else (-y, x)

    def pair(self, match):
        x, y = match["x"], match["y"]
        self.x = self.value(x) if x else self.x
        self.y = self.value(y) if y else self.y
        if self.x is None or self.y is None:
            self.x, self.y = self.x or 0, self.y or 0
        like = x or y
        a, b = self.place(self.x, self.y)
        return "X" + self.number(a, like) + "Y" + self.number(b, like)

    PAIR = re.compile(r"(?:X(?P<x>[+-]?[\d.]+))?(?:Y(?P<y>[+-]?[\d.]+))?")

    def line(self, line):
        if line.startswith(";") or not line.strip():
            return line
        if self.change == "units" and re.match(r"^(INCH|M72)", line):
            return "METRIC" if line.startswith("INCH") else "M71"
        if re.match(r"^T\d+.*C[\d.]+", line):
            if self.change == "units":
                return re.sub(r"C(\d*\.?\d+)", lambda m: "C" + exact_product(m[1], "25.4"), line)
            return line
        repeat = re.match(r"^R(\d+)(?:X([+-]?[\d.]+))?(?:Y([+-]?[\d.]+))?\s*$", line)
        if repeat:
            dx, dy = (self.value(v) if v else 0 for v in (repeat[2], repeat[3]))
            self.x, self.y = self.x + int(repeat[1]) * dx, self.y + int(repeat[1]) * dy
            a, b = self.step(dx, dy)
            like = repeat[2] or repeat[3]
            return "R" + repeat[1] + "".join(axis + self.number(v, like) for axis, v in (("X", a), ("Y", b)) if v)
        if not re.match(r"^(G0?[0-3]|G85|[XY])", line) or not re.search(r"[XY][+-]?[\d.]", line):
            return line
        if re.search(r"I[+-]?[\d.]|J[+-]?[\d.]", line):
            raise CannotSay("arcs by their centre")
        if "A" in line and self.change == "units":
            raise CannotSay("arcs by their radius")
        return re.sub(r"(?=[XY])" + self.PAIR.pattern, self.pair, line)

    def run(self):
        return "\n".join(self.line(line.rstrip("\r")) for line in self.text.split("\n"))


def excellon(text, change, stated):
    return Excellon(text, change, stated).run()


def netlist(text, change):
    """Points, sizes and rotations. Records of outlines and conductors are left out: their frames are written freely."""
    unit = re.search(r"^P\s+UNITS\s+(.*?)\s*$", text, re.M)
    if not unit:
        raise CannotSay("no unit is stated")
    inch = 25400 if unit[1] in ("CUST 1", "SI") else 10000
    move = shifted if change == "shift" else turned
    out = []
    for line in text.split("\n"):
        line = line.rstrip("\r")
        if re.match(r"^(378|379|389|078|079|089)", line):
            continue
        if not re.match(r"^[30][01236][127]", line) or len(line) < 57 or line[41] != "X":
            out.append(line)
            continue
        x, y = (int(line[k:k + 7].replace(" ", "")) for k in (42, 50))
        x, y = move(x, y, inch)
        line = line[:42] + "%+07d" % x + "Y" + "%+07d" % y + line[57:]
        if change == "turn" and len(line) >= 71 and line[67] == "R" and line[68:71].strip():
            line = line[:68] + "%03d" % ((int(line[68:71]) + 90) % 360) + line[71:]
        elif change == "turn" and len(line) >= 67 and line[57] == "X" and line[62] == "Y" and line[63:67].strip("0 "):
            line = line[:57] + "X" + line[63:67] + "Y" + line[58:62] + line[67:]
        if len(line[42:49]) != 7 or len("%+07d" % x) != 7 or len("%+07d" % y) != 7:
            raise CannotSay("a coordinate does not fit its columns")
        out.append(line)
    return "\n".join(out)


def placement(text, change, unit):
    """Tables with commas, semicolons or tabs whose head names the columns. `unit`: of bare numbers."""
    import csv
    import io
    lines = text.lstrip("\ufeff").splitlines()
    plain = lambda cell: re.sub(r"[^a-z]", "", cell.lower())
    for n, line in enumerate(lines[:40]):
        joint = max(",;\t", key=line.count)
        cells = [plain(c) for c in next(csv.reader([line], delimiter=joint), [])]
        pairs = [(cells.index(a), cells.index(b)) for a, b in
                 [(p + "x" + u, p + "y" + u) for p in ("pos", "mid", "center", "centre", "ref", "pad", "")
                  for u in ("", "mm", "mil", "in")] if a in cells and b in cells]
        turn = [k for k, c in enumerate(cells) if c in ("rot", "rotation", "angle")]
        if pairs and len(cells) > 3:
            break
    else:
        raise CannotSay("no head with columns")
    out = lines[:n + 1]
    head = lines[n].lower()
    for line in lines[n + 1:]:
        row = next(csv.reader([line], delimiter=joint), [])
        if len(row) < len(cells) - 1:
            out.append(line)
            continue
        for a, b in pairs:
            x, y = (re.fullmatch(r'\s*([+-]?\d+(?:\.\d*)?)\s*(mm|mil|in|")?\s*', row[k]) for k in (a, b))
            if not x or not y:
                raise CannotSay("a coordinate is not understood")
            named = x[2] or ("mm" if "mm)" in head else "mil" if "mil)" in head else unit)
            inch = {"mm": 25.4, "mil": 1000.0}.get(named, 1.0 if named in ("in", "inch", '"') else None)
            if inch is None:
                raise CannotSay("the unit is open")
            moved = (shifted if change == "shift" else turned)(float(x[1]), float(y[1]), inch)
            row[a], row[b] = ("%.6f" % v + (x[2] or "") for v in moved)
        for k in turn if change == "turn" else []:
            row[k] = "%g" % ((float(row[k] or 0) + 90) % 360)
        made = io.StringIO()
        csv.writer(made, delimiter=joint, lineterminator="").writerow(row)
        out.append(made.getvalue())
    return "\n".join(out) + "\n"
