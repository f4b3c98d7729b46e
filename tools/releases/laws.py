"""What does not change the board must not change what is understood of it. Every law makes a changed copy of a release,
and what teasel makes of the copy is compared with what it makes of the release itself."""
import csv
import os
import pathlib
import re
import shutil
import tempfile
import tomllib

from . import rewrite
from .program import agrees, codes, roles_of, said

# What a law may cost, by what is compared, with the reason. What is not listed here must be the same.
#   roles   what each file is taken for, and whether it shows mask or openings
#   nets    nets traced through the copper, and nets of the netlist that agree with it
#   lands   flashes and areas of copper on traced nets, within one in a hundred (thin rests of a cleared area come and
#           go with the last digit of its corners), and their plated holes
#   area    of the outline; two runs agree within one part in ten thousand
#   plan    probes and nets served in full
ALLOWED = {
    "names": {
        "weak roles": "a role that a file had by its name alone may be lost, never exchanged without a mark CHECK; "
                      "without any copper the release is refused",
        "drills": "plating and layers that a drill file had by its name alone may be lost",
        "inner order": "inner layers that had a number by their name alone are in the order of their files, and that is "
                       "marked CHECK; with blind holes other nets then meet"},
    "line ends": {},
    "letter case": {},
    "order": {
        "inner order": "inner layers without a number are in the order of their files, and that is marked CHECK"},
    "units": {},
    "shift": {},
    "turn": {
        "plan": "probes and nets served in full are counted; on which of several equal lands a probe stands is a tie, "
                "and ties are broken by coordinates"},
    "no attributes": {
        "weak roles": "a role that a file had by its attribute alone may be lost; inner copper covers no pad",
        "cut names": "attributes alone spell out what the netlist cuts: a pin that nobody connected may read as a net of "
                     "one pin, and then its neighbour as a short",
        "plan": "which lands are test pads stands in attributes alone, so that a probe may prefer another land"},
    "no netlist": {
        "weak roles": "a role that a file had by the pads that it covers may be lost",
        "placement": "a placement table is proven by the parts' own pads; without their names it may be left out, with a "
                     "word",
        "nets": "there is nothing left to compare the copper with; what is traced through it stays the same",
        "plan": "names say which nets are supplies and which are programmed, and pads are of unknown parts"},
    "no placement": {
        "plan": "bodies and sides of parts may be unknown, so that lands beside them differ"},
}
LAWS = list(ALLOWED)


class Release:
    """The files of a release, by their path in it, without archives: these hold the same in other words."""

    def __init__(self, folder):
        self.files = {}
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            bytes_ = path.read_bytes()
            if bytes_[:4] != b"PK\3\4" and not path.name.lower().endswith((".zip", ".rar", ".tgz", ".gz", ".zst")):
                self.files[path.relative_to(folder).as_posix()] = bytes_

    def text(self, name):
        try:
            return self.files[name].decode("utf-8")
        except UnicodeDecodeError:
            return self.files[name].decode("latin-1")


class Changed:
    def __init__(self, files, left_out=(), note=""):
        self.files = files  # by new path: (old path, bytes)
        self.left_out = frozenset(left_out)  # of both copies: they cannot be said in the other way
        self.note = note


def is_text(data):
    return b"\0" not in data and not data.startswith((b"\x89PNG", b"\xff\xd8", b"%PDF"))


def with_base(path, base):
    return str(pathlib.PurePosixPath(path).parent / base) if "/" in path else base


def renamed(release, known, base_of):
    """Under new names. A Gerber job file refers to layers by name: it follows."""
    new = {name: with_base(name, base_of(n, pathlib.PurePosixPath(name).name)) for n, name in
           enumerate(sorted(release.files))}
    old_bases = {pathlib.PurePosixPath(a).name: pathlib.PurePosixPath(b).name for a, b in new.items()}
    files = {}
    for name, data in release.files.items():
        if name.lower().endswith(".gbrjob"):
            for a, b in sorted(old_bases.items(), key=lambda pair: -len(pair[0])):
                data = data.replace(b'"' + a.encode() + b'"', b'"' + b.encode() + b'"')
        files[new[name]] = (name, data)
    return Changed(files)


def rewritten(release, known, change):
    """Every file that holds coordinates in the other way; those that cannot be said so are left out of both copies."""
    files, left_out, kept = {}, [], []
    placement_unit = known["inputs"].get("placement", {}).get("unit", "")
    mirrored = known["inputs"].get("placement", {}).get("bottom", "") not in ("", "as drawn", "seen from the top")
    for name, data in release.files.items():
        made = None
        try:
            text = release.text(name)
            if rewrite.is_gerber(text):
                made = rewrite.gerber(text, change)
            elif rewrite.is_excellon(text) or name in known["drills"]:
                made = rewrite.excellon(text, change, known["drills"].get(name, {}))
            elif rewrite.is_netlist(text) and change != "units":
                made = rewrite.netlist(text, change)
            elif (name in known["placement"] or rewrite.is_placement(text)) and change != "units":
                if mirrored:
                    raise rewrite.CannotSay("its bottom side is mirrored")
                made = rewrite.placement(text, change, placement_unit)
            elif name in known["in_frame"] and change != "units":
                raise rewrite.CannotSay("another format with coordinates")
            elif change != "units" and name not in known["frameless"] and has_coordinates(text):
                raise rewrite.CannotSay("another format with coordinates")
        except (rewrite.CannotSay, ValueError, TypeError, KeyError, IndexError) as why:
            (kept if change == "units" else left_out).append(f"{name}: {why}")
            if change != "units":
                continue
        files[name] = (name, made.encode("latin-1" if b"\xff" in data else "utf-8", "replace") if made else data)
    if change == "units" and all(data == release.files[old] for old, data in files.values()):
        return None
    note = f"{len(left_out)} files left out" if left_out else f"{len(kept)} files left as they were" if kept else ""
    return Changed(files, [entry.split(": ")[0] for entry in left_out], note)


def has_coordinates(text):
    return bool(re.search(r"^\.HEADER|<IPC-2581|^[37][123][1267]\S* .*X[+-]?\d+Y[+-]?\d+", text[:20000], re.M))


ATTRIBUTES = re.compile(rb"%T[FAOD][^%]*%[ \t]*\r?\n?|G04 ?#@![^*]*\*[ \t]*\r?\n?|^; ?#@![^\r\n]*\r?\n", re.M)


def changed(law, release, known):
    """The copy of a release; None where the law does not speak of it."""
    every = {name: (name, data) for name, data in release.files.items()}
    if law == "names":
        return renamed(release, known, lambda n, base: f"a{n + 1}")
    if law == "letter case":
        return renamed(release, known, lambda n, base: base.swapcase())
    if law == "order":
        return renamed(release, known, lambda n, base: f"{999 - n:03d} {base}")
    if law == "line ends":
        return Changed({name: (name, (data.replace(b"\r\n", b"\n") if b"\r\n" in data else data.replace(b"\n", b"\r\n"))
                               if is_text(data) else data) for name, data in release.files.items()})
    if law in ("units", "shift", "turn"):
        return rewritten(release, known, law)
    if law == "no attributes":
        bare = {name: (name, ATTRIBUTES.sub(b"", data) if is_text(data) else data)
                for name, data in release.files.items() if not name.lower().endswith(".gbrjob")}
        jobs = [name for name in release.files if name.lower().endswith(".gbrjob")]
        return None if bare == every else Changed(bare, jobs)
    gone = known["netlists"] if law == "no netlist" else known["placement"]
    if not gone:
        return None
    return Changed({name: pair for name, pair in every.items() if name not in gone})


class Look:
    """What teasel makes of one folder."""

    def __init__(self, program, folder, work, plan):
        job_file = work / "job.toml"
        self.start = program.run("start", folder, "-o", job_file, "--force", "--json", "-q")
        self.text = job_file.read_text() if self.start["status"] == 0 and job_file.exists() else ""
        self.refused = codes(self.start) if not self.text else []
        self.roles, self.why, self.job = {}, {}, {}
        self.late = self.start["status"] == "over time"
        if not self.text:
            return
        self.job = tomllib.loads(self.text)
        inside = lambda path: os.path.relpath(os.path.normpath(work / path), folder)
        self.roles = {inside(path): role for path, role in roles_of(self.job, edge=False).items()}
        inputs = self.job.get("inputs", {})
        self.images = {inside(layer["file"]): layer.get("image", "") for layer in inputs.get("gerber", [])}
        self.drills = {inside(drill["file"]): drill for drill in inputs.get("drill", [])}
        self.others = {kind: [inside(f) for f in ([table["file"]] if "file" in table else table.get("files", []))]
                       for kind, table in inputs.items() if isinstance(table, dict) and kind != "outline"}
        for block in re.split(r"\n(?=\[\[?inputs)", self.text):
            named = re.search(r'^file = "(.*)"$', block, re.M)
            if named:
                self.why[inside(named[1].replace('\\"', '"'))] = block
        if "\n[plan]" not in self.text:
            self.text += "\n[plan]\nadvice = false\n"
            job_file.write_text(self.text)
        self.area = inputs.get("outline", {}).get("area_mm2", 0.0)
        nets = program.run("nets", job_file, "-o", work / "nets", "--json", "-q")
        self.nets, self.refused = said(nets), codes(nets)
        self.late = "over time" in (self.start["status"], nets["status"])
        listed = work / "nets/nets.csv"
        rows = list(csv.DictReader(open(listed, newline=""))) if listed.exists() else []
        self.lands = sum(int(row["lands"]) for row in rows), sum(int(row["plated_holes"]) for row in rows)
        self.plan = {}
        if plan:
            made = program.run("plan", job_file, "--no-mechanics", "-o", work / "plan", "--json", "-q")
            self.plan, self.plan_seconds = said(made), made["seconds"]


def known_of(look):
    """By teasel's own reading of the untouched release: which file is what. The laws need no more than that."""
    others = look.others
    return {"inputs": look.job.get("inputs", {}), "drills": look.drills,
            "netlist": others.get("netlist", []), "placement": others.get("placement", []),
            "netlists": others.get("netlist", []) + others.get("ipc2581", []) + others.get("pads", []),
            "in_frame": others.get("ipc2581", []) + others.get("idf", []) + others.get("pads", []),
            "frameless": others.get("bom", []) + others.get("heights", [])}


WEAK = {"names": ("by its name", "Its name says", "in their names"),
        "no attributes": ("its attribute says", "its role stands in", "its header"),
        "no netlist": ("it covers",)}


def matches(role, got):
    """The edge is compared by its area: which of two files that draw it is taken makes no difference."""
    return agrees("drawing" if role == "outline" else role, "drawing" if got == "outline" else got)


def differences(law, base, copy, old_of):
    """(what differs, what is lost as stated)."""
    differ, lost = [], []

    def say(what, allowed):
        (lost if allowed in ALLOWED[law] else differ).append(what)

    if not base.text or not copy.text:
        if bool(base.text) != bool(copy.text):
            say("refused: " + " ".join(copy.refused or base.refused), None)
        return differ, lost
    if new := sorted(set(codes(copy.start)) - set(codes(base.start))):
        say("refused: " + " ".join(new), "weak roles" if law in WEAK and "start-no-copper" in new else None)
        return differ, lost
    mine = {old_of.get(path, path): path for path in list(copy.roles) + list(copy.why)}
    weak_lost = False
    for name, role in base.roles.items():
        path = mine.get(name)
        got = copy.roles.get(path, "not named") if path else "not named"
        if matches(role, got):
            if not role.startswith("mask") or base.images.get(name) == copy.images.get(path):
                continue
            got += " as " + copy.images.get(path, "")
        reason = base.why.get(name, "")
        by_weak = any(word in reason for word in WEAK.get(law, ())) or (
            role == "copper inner" and law in ("no attributes", "no netlist"))
        marked = got in ("not named", "ignore", "drawing", "outline") or "CHECK" in copy.why.get(path, "")
        weak_lost |= by_weak and marked
        say(f"{name}: {role} becomes {got}", "weak roles" if by_weak and marked else None)
    for path, role in copy.roles.items():
        name = old_of.get(path, path)
        if name not in base.roles and not matches("not named", role):
            say(f"{name}: not named becomes {role}", "weak roles" if law in WEAK else None)
    # An IPC-2581 file is netlist, layers, placement and outline in one: without it other files take their places.
    whole_gone = law == "no netlist" and "ipc2581" in base.others
    for kind in sorted(set(base.others) | set(copy.others)):
        if whole_gone:
            break
        if kind == "netlist" and law == "no netlist" or kind in ("placement",) and law == "no placement":
            continue
        a, b = sorted(base.others.get(kind, [])), sorted(old_of.get(p, p) for p in copy.others.get(kind, []))
        if a != b:
            told = kind == "placement" and not b and "not used: " in copy.text
            say(f"{kind}: {', '.join(a) or 'none'} becomes {', '.join(b) or 'none'}", "placement" if told else None)
    if whole_gone:
        lost.append("all that the IPC-2581 file alone held")
        return differ, lost
    if base.area and abs(copy.area - base.area) > 1e-4 * base.area or bool(base.area) != bool(copy.area):
        say(f"outline {base.area:g} becomes {copy.area:g} mm2", "weak roles" if weak_lost else None)
    numbers = [("traced nets", base.nets.get("nets"), copy.nets.get("nets"), "nets"),
               ("agreeing nets", base.nets.get("agreeing"), copy.nets.get("agreeing"), "nets"),
               ("compared nets", base.nets.get("compared"), copy.nets.get("compared"), "nets"),
               ("differences", base.nets.get("differences"), copy.nets.get("differences"), "nets"),
               ("lands", base.lands[0], copy.lands[0], "lands"),
               ("plated holes", base.lands[1], copy.lands[1], "lands")]
    if base.plan and copy.plan:
        numbers += [("probes", base.plan.get("probes"), copy.plan.get("probes"), "plan"),
                    ("nets served", base.plan.get("nets_met"), copy.plan.get("nets_met"), "plan")]
    for what, a, b, kind in numbers:
        if a == b or what == "lands" and abs(a - b) <= 0.01 * a:
            continue
        allowed = kind
        if law == "no attributes" and kind == "nets" and what != "traced nets" and isinstance(b, int) and abs(a - b) <= 2:
            allowed = "cut names"
        if law == "no netlist" and what == "traced nets":
            allowed = None  # what the copper says does not change
        if law in ("names", "order") and kind == "nets" and "CHECK: the inner layers are in the order" in copy.text:
            allowed = "inner order"
        if weak_lost:
            allowed = "weak roles"
        say(f"{what} {a} becomes {b}", allowed)
    if sorted(base.refused) != sorted(copy.refused):
        say(f"refusals: {' '.join(base.refused) or 'none'} becomes {' '.join(copy.refused) or 'none'}",
            "weak roles" if weak_lost else None)
    return differ, lost


def put(folder, files):
    for path, data in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)


def run_laws(program, folders, only, laws, plan_seconds, keep):
    """Prints the table; the number of cells that differ."""
    table, wrong = [], 0
    for folder in folders:
        for where in sorted(p for p in pathlib.Path(folder).iterdir() if p.is_dir()):
            if only and where.name not in only:
                continue
            with tempfile.TemporaryDirectory(prefix="teasel-laws-") as scratch:
                row = laws_of(program, where, pathlib.Path(keep) / where.name if keep else pathlib.Path(scratch),
                              laws, plan_seconds)
            for law, cell in row.items():
                wrong += cell.startswith("DIFFERS")
                table.append((where.name, law, cell))
                print(f"{where.name:22} {law:14} {cell}", flush=True)
    counts = {law: [sum(c[1] == law and c[2].startswith(word) for c in table) for word in ("same", "stated", "DIFFERS")]
              for law in laws}
    print("\n" + f"{'law':14} {'same':>6} {'stated':>7} {'differs':>8}")
    for law in laws:
        print(f"{law:14} {counts[law][0]:6} {counts[law][1]:7} {counts[law][2]:8}")
    return wrong


def laws_of(program, where, scratch, laws, plan_seconds):
    release, looks, row = Release(where), {}, {}

    def looked(left_out, plan):
        if left_out not in looks:
            work = scratch / f"base{len(looks)}"
            shutil.rmtree(work, ignore_errors=True)
            put(work / "files", {n: d for n, d in release.files.items() if n not in left_out})
            looks[left_out] = Look(program, work / "files", work, plan)
        return looks[left_out]

    base = looked(frozenset(), plan_seconds > 0)
    if not base.text:
        return {"start": "over time" if base.late else "refused: " + " ".join(base.refused)}
    plan = bool(base.plan) and base.plan_seconds < plan_seconds
    for law in laws:
        copy = changed(law, release, known_of(base))
        if copy is None:
            row[law] = "-"
            continue
        work = scratch / law.replace(" ", "-")
        shutil.rmtree(work, ignore_errors=True)
        put(work / "files", {path: data for path, (old, data) in copy.files.items()})
        against = looked(copy.left_out, plan)
        look = Look(program, work / "files", work, plan)
        old_of = {path: old for path, (old, data) in copy.files.items()}
        if against.text and not plan:
            against.plan = {}
        if against.late or look.late:
            row[law] = "over time"
            continue
        differ, lost = differences(law, against, look, old_of)
        row[law] = ("DIFFERS: " + "; ".join(differ) if differ else "stated: " + "; ".join(lost) if lost else "same") + (
            f" ({copy.note})" if copy.note else "")
    return row
