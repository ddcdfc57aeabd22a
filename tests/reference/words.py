# SPDX-License-Identifier: Apache-2.0
"""Bytes of a job file to lines of words. measures.md, "Interpreter", first paragraph.

A line comes out as Line(number, words, text, damage): words is a list of (letter, value) with value None where no
number stands; text is what follows a word that takes free text. damage is a sentence or None; a damaged line is not
carried out.
"""

import re

# Words whose rest of the line is text: measures.md names M117 M118 M0 M1 M23 M28 M30 M32 "and the like".
TEXT_M = {0, 1, 16, 23, 28, 29, 30, 32, 33, 36, 37, 38, 117, 118, 928}

_NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)")


class Line:
    __slots__ = ("number", "words", "text", "damage")

    def __init__(self, number):
        self.number = number
        self.words = []
        self.text = None
        self.damage = None

    def get(self, letter, default=None):
        for a, v in self.words:
            if a == letter:
                return v if v is not None else default
        return default

    def has(self, letter):
        return any(a == letter for a, _ in self.words)

    def value(self, letter):
        """The number of a letter, or None where the letter is absent or a flag."""
        return self.get(letter)


def split_lines(data):
    """Lines without their ends: LF, CR LF, CR. A last line without an end counts when it holds anything."""
    if data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    lines = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
    if lines and lines[-1] == b"":
        lines.pop()
    return lines


def checksum(before):
    """XOR of all bytes before the '*' (community-documented, handbook 4.3)."""
    x = 0
    for b in before:
        x ^= b
    return x


class Reader:
    """Keeps what runs from line to line: the line number that is expected next."""

    def __init__(self):
        self.expected_n = None

    def line(self, raw, number):
        out = Line(number)
        try:
            self._read(raw, out)
        except _Damage as d:
            out.damage = str(d)
            out.words = []
        return out

    def _read(self, raw, out):
        i, n = 0, len(raw)
        seen = set()
        star = None
        while i < n:
            c = raw[i:i + 1]
            if c in b" \t":
                i += 1
            elif c == b";":
                break
            elif c == b"(":
                end = raw.find(b")", i)
                if end < 0:
                    raise _Damage("a comment that does not close")
                i = end + 1
            elif c == b"\0":
                raise _Damage("a NUL byte")
            elif c == b"*":
                m = re.compile(rb"\s*(\d+)\s*(;.*|\(.*)?$", re.S).match(raw, i + 1)
                if not m:
                    raise _Damage("a checksum that is no number")
                star = int(m.group(1))
                if star != checksum(raw[:i]):
                    raise _Damage("the checksum says %d, the bytes say %d" % (star, checksum(raw[:i])))
                break
            elif c == b"%" and not out.words:
                i += 1  # start and end mark of a tape, handbook 4.1
            elif c == b"/" and not out.words and not seen:
                i += 1  # block delete with the switch off: the line counts
            elif c.isalpha():
                letter = c.decode("ascii").upper()
                j = i + 1
                while raw[j:j + 1] in (b" ", b"\t"):
                    j += 1
                m = _NUMBER.match(raw, j)
                if m:
                    value, i = float(m.group(0)), m.end()
                    if raw[i:i + 1] in (b".", b"+", b"-") or raw[i:i + 1].isdigit():
                        raise _Damage("%s with a number that is none" % letter)
                elif raw[j:j + 1] in (b"+", b"-", b"."):
                    raise _Damage("%s with a number that is none" % letter)
                else:
                    value, i = None, i + 1
                if letter == "N" and not out.words and "N" not in seen:
                    if value is None or value != int(value) or value < 0:
                        raise _Damage("a line number that is none")
                    seen.add("N")
                    out.words.append(("N", value))
                    continue
                if letter not in "GM":
                    if letter in seen:
                        raise _Damage("%s twice in one line" % letter)
                    seen.add(letter)
                elif value is None:
                    raise _Damage("%s without a number" % letter)
                out.words.append((letter, value))
                if letter == "M" and value in TEXT_M:
                    i = self._text(raw, i, out)
            else:
                raise _Damage("a byte that starts no word: %r" % c)
        self._check_n(out, star)

    @staticmethod
    def _text(raw, i, out):
        """Free text to the end of the line, but for a checksum at the very end of a numbered line."""
        end = len(raw)
        if out.has("N"):
            m = re.compile(rb"\*\d+\s*$").search(raw, i)
            if m:
                end = m.start()
        if b"\0" in raw[i:end].split(b";")[0]:
            raise _Damage("a NUL byte")
        out.text = raw[i:end].strip()
        return end

    def _check_n(self, out, star):
        """Numbers rise by one (handbook 4.3) where the line carries a checksum; M110 sets the count. Without a
        checksum numbers may repeat or be out of order (NISTIR 6556, 3.3.1)."""
        if not out.has("N"):
            return
        n = int(out.value("N"))
        if star is not None and self.expected_n is not None and n != self.expected_n and not any(
                a == "M" and v == 110 for a, v in out.words):
            self.expected_n = n + 1
            raise _Damage("line number %d where another was due" % n)
        self.expected_n = n + 1
        out.words = [w for w in out.words if w[0] != "N"]


class _Damage(Exception):
    pass


def read(data):
    reader = Reader()
    for number, raw in enumerate(split_lines(data), 1):
        yield reader.line(raw, number)
