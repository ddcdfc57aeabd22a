# SPDX-License-Identifier: Apache-2.0
"""Reads as much of YAML as a shop file needs, and hands out machines as plain objects.

The subset: block mappings and sequences, flow mappings and sequences, plain and quoted scalars, comments, anchors
(&name), aliases (*name) and the merge key (<<). Terms from "YAML Ain't Markup Language", version 1.2, chapters 6-8;
the merge key from the 1.1 type repository. Not a checker: a faulty file ends in ShopError.
"""

import re


class ShopError(Exception):
    pass


_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")


def _scalar(text):
    if text in ("", "~", "null"):
        return None
    if text == "true":
        return True
    if text == "false":
        return False
    if _NUMBER.match(text):
        return float(text) if re.search(r"[.eE]", text) else int(text)
    return text


def _strip_comment(line):
    """The line without its comment: # at the start or after a blank, outside quotes."""
    quote = None
    for i, c in enumerate(line):
        if quote:
            if c == quote:
                quote = None
        elif c in "\"'" and (i == 0 or line[i - 1] in " [{,:"):
            quote = c
        elif c == "#" and (i == 0 or line[i - 1] in " \t"):
            return line[:i].rstrip()
    return line.rstrip()


class _Reader:
    def __init__(self, text):
        self.lines = []  # (indent, text) without blank ones
        for raw in text.splitlines():
            line = _strip_comment(raw)
            if line.strip() and line.strip() not in ("---", "..."):
                self.lines.append((len(line) - len(line.lstrip(" ")), line.strip()))
        self.at = 0
        self.anchors = {}

    # --- flow style: one text, a position -------------------------------------------------------------------------
    def flow(self, s, i):
        i = self._blank(s, i)
        if i >= len(s):
            raise ShopError("a flow value breaks off: " + s)
        if s[i] == "&":
            m = re.compile(r"&(\S+)\s*").match(s, i)
            value, end = self.flow(s, m.end())
            self.anchors[m.group(1)] = value
            return value, end
        if s[i] == "*":
            m = re.compile(r"\*([^\s,\]}]+)").match(s, i)
            return self._alias(m.group(1)), m.end()
        if s[i] == "[":
            out, i = [], self._blank(s, i + 1)
            while s[i] != "]":
                value, i = self.flow(s, i)
                out.append(value)
                i = self._blank(s, i)
                if s[i] == ",":
                    i = self._blank(s, i + 1)
            return out, i + 1
        if s[i] == "{":
            pairs, i = [], self._blank(s, i + 1)
            while s[i] != "}":
                key, i = self._flow_scalar(s, i, ":,}")
                i = self._blank(s, i)
                if s[i] != ":":
                    raise ShopError("a key without a value in: " + s)
                value, i = self.flow(s, i + 1)
                pairs.append((key, value))
                i = self._blank(s, i)
                if s[i] == ",":
                    i = self._blank(s, i + 1)
            return _merged(pairs), i + 1
        return self._flow_scalar(s, i, ",]}")

    @staticmethod
    def _blank(s, i):
        while i < len(s) and s[i] in " \t":
            i += 1
        return i

    @staticmethod
    def _flow_scalar(s, i, stops):
        if s[i] in "\"'":
            end = s.index(s[i], i + 1)
            return s[i + 1:end], end + 1
        j = i
        while j < len(s) and s[j] not in stops:
            j += 1
        return _scalar(s[i:j].strip()), j

    def _alias(self, name):
        if name not in self.anchors:
            raise ShopError("unknown alias *" + name)
        return self.anchors[name]

    # --- block style ----------------------------------------------------------------------------------------------
    def block(self, indent):
        first = self.lines[self.at][1]
        return self._sequence(indent) if first == "-" or first.startswith("- ") else self._mapping(indent)

    def _sequence(self, indent):
        out = []
        while self.at < len(self.lines):
            ind, text = self.lines[self.at]
            if ind != indent or not (text == "-" or text.startswith("- ")):
                break
            rest = text[1:].strip()
            inner = indent + len(text) - len(rest) if rest else None
            m = re.match(r"&(\S+)\s*(.*)$", rest)
            name = m.group(1) if m else None
            if m:
                rest = m.group(2)
            if not rest:
                self.at += 1
                value = self.block(self.lines[self.at][0])
            elif _key_of(rest):
                self.lines[self.at] = (inner, rest)
                value = self._mapping(inner)
            else:
                self.at += 1
                value, _ = self.flow(rest, 0) if rest[0] in "[{*\"'" else (_scalar(rest), 0)
            if name:
                self.anchors[name] = value
            out.append(value)
        return out

    def _mapping(self, indent):
        pairs = []
        while self.at < len(self.lines):
            ind, text = self.lines[self.at]
            if ind != indent or text.startswith("- "):
                break
            split = _key_of(text)
            if not split:
                raise ShopError("expected 'key: value', found: " + text)
            key, rest = split
            self.at += 1
            m = re.match(r"&(\S+)\s*(.*)$", rest)
            name = m.group(1) if m else None
            if m:
                rest = m.group(2)
            if rest:
                value = self.flow(rest, 0)[0] if rest[0] in "[{*\"'" else _scalar(rest)
            elif self.at < len(self.lines) and (self.lines[self.at][0] > indent or (
                    self.lines[self.at][0] == indent and self.lines[self.at][1].startswith("- "))):
                value = self.block(self.lines[self.at][0])
            else:
                value = None
            if name:
                self.anchors[name] = value
            pairs.append((key, value))
        return _merged(pairs)


def _key_of(text):
    if text[0] in "[{*":
        return None
    m = re.match(r"(\"[^\"]*\"|'[^']*'|[^:]+?)\s*:(?:\s+(.*))?$", text)
    return (m.group(1).strip("\"'"), m.group(2) or "") if m else None


def _merged(pairs):
    """A mapping; keys that stand here win over keys that << brings."""
    out = {}
    for key, value in pairs:
        if key == "<<":
            for source in value if isinstance(value, list) else [value]:
                for k, v in source.items():
                    out.setdefault(k, v)
    for key, value in pairs:
        if key != "<<":
            out[key] = value
    return out


def parse(text):
    reader = _Reader(text)
    if not reader.lines:
        return None
    value = reader.block(reader.lines[0][0])
    if reader.at != len(reader.lines):
        raise ShopError("cannot read: " + reader.lines[reader.at][1])
    return value


# --- the shop -----------------------------------------------------------------------------------------------------
AXES = "xyze"


class Machine:
    """One machine, everything in mm, s, degrees Celsius. Lists of four run X Y Z E."""

    def __init__(self, d):
        self.name = d["name"]
        bed = d["bed"]
        round_bed = bed.get("shape") == "circle"
        self.bed = (bed["diameter"], bed["diameter"]) if round_bed else (bed["x"], bed["y"])
        self.centred = d.get("origin") == "centre"
        self.height = d["height"]
        home = d.get("home", {})
        self.home = [float(home.get(a, 0)) for a in "xyz"]
        self.nozzles = d["nozzles"]
        self.materials = d["materials"]
        self.e_follows_g90 = bool(d.get("e_follows_g90", False))
        retract = d.get("retract", {})
        self.retract_mm = retract.get("mm", 0.0)
        self.retract_mm_s = retract.get("mm_s", 0.0)
        self.retract_extra_mm = retract.get("extra_mm", 0.0)
        motion = d["motion"]
        self.feed = [float(motion["feed_mm_s"][a]) for a in AXES]
        self.accel = [float(motion["accel_mm_s2"][a]) for a in AXES]
        self.print_a = float(motion["print_mm_s2"])
        self.travel_a = float(motion["travel_mm_s2"])
        self.retract_a = float(motion["retract_mm_s2"])
        corner = motion["corner"]
        self.rule = corner["rule"]
        self.step = [float(corner[a]) for a in AXES] if self.rule == "step" else None
        self.deviation = float(corner["mm"]) if self.rule == "deviation" else None
        heat = d["heat"]
        self.nozzle_rate = heat["nozzle_c_per_s"]
        self.bed_rate = heat["bed_c_per_s"]
        self.room_c = heat["room_c"]
        self.home_seconds = heat["home_seconds"]
        self.probe_seconds = heat["probe_seconds"]

    def nozzle_mm(self, tool):
        """Diameter of a tool's nozzle; a tool that the machine lacks is taken to be like the last one."""
        return self.nozzles[min(max(tool, 0), len(self.nozzles) - 1)]["diameter"]


class Material:
    def __init__(self, name, d):
        self.name = name
        self.density = d["density_g_cm3"]
        self.diameter = d.get("diameter", 1.75)
        self.house = bool(d.get("house", False))


class Shop:
    def __init__(self, text):
        d = parse(text)
        self.rules = d.get("rules") or {}
        self.machines = [Machine(m) for m in d["machines"]]
        self.materials = {n: Material(n, m) for n, m in d["materials"].items()}

    def machine(self, name):
        for m in self.machines:
            if m.name.lower() == name.lower():
                return m
        raise ShopError("no machine " + name)

    def materials_for(self, machine, names=None):
        """One material for each nozzle: those named, the last for what is left over; else the house's, else the first."""
        if not names:
            house = [n for n, m in self.materials.items() if m.house and n in machine.materials]
            names = [house[0] if house else machine.materials[0]]
        names = names + [names[-1]] * (len(machine.nozzles) - len(names))
        return [self.materials[n] for n in names]


def read(path):
    with open(path, encoding="utf-8") as f:
        return Shop(f.read())
