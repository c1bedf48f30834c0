"""Ways to spoil a file: bytes, lines, numbers, text, cells, TOML, JSON and XML."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable

ODD = (
    "\u202e", "\u0000", "\x1b[31m", "\x1b]0;title\x07", "\ufeff", "\u2028", "\x85", "é", "e\u0301",
    "😀", "１２", "٣", "½", "−1", "\xa0", "\u200b", "\ud7ff", "=1+1", "<script>", "$x$", "%s",
    "{0}", "../..", "NUL", "'", '"', "`",
)  # fmt: skip
NUMBERS = (
    "1e308", "-1e308", "1e999", "1e-320", "-0", "0", "nan", "inf", "-inf", "9" * 400, "9" * 5000,
    "0x10", "1_000", "1,5", "1.5.2", "1e", "--1", "1e5e5", "99999999999999999999", "-1", "1e-9", "",
)  # fmt: skip
VALUES: tuple[object, ...] = (
    None, True, False, 0, -1, 1, 2.5, 1e308, -1e308, 1e-300, 10**25, "", "x", "=1", "\x1b[0m", [],
    {}, [1], [[1.0]], {"a": 1}, "9" * 300, [None], ["x", 1], "x" * 5000, 2**63, [1.0] * 1000,
)  # fmt: skip
TOML_VALUES = (
    "true", "1", "-1", "1.5", "1e400", "nan", "'x'", "''", '"\\u0000"', "[]", "[1, 2]", "[[1]]",
    "{}", "{a = 1}", "2026-01-01", "2026-01-01T10:00:00Z", "10:00:00", "0x1F", '"../../x"',
    "9" * 30,
    '"' + "x" * 3000 + '"', "[" * 3000 + "]" * 3000, "'''\nx\n'''", "1_0", "+inf", "9" * 5000,
)  # fmt: skip
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
_VALUE = re.compile(rb"(?m)^([\w.\"-]+) *= *(.+)$")

Change = Callable[[bytes, random.Random], bytes]


def bit_flips(data: bytes, rng: random.Random) -> bytes:
    spoilt = bytearray(data)
    for _ in range(rng.choice((1, 1, 3, 30)) if spoilt else 0):
        spoilt[rng.randrange(len(spoilt))] ^= 1 << rng.randrange(8)
    return bytes(spoilt)


def cut(data: bytes, rng: random.Random) -> bytes:
    where = rng.randrange(len(data) + 1)
    return data[:where] if rng.random() < 0.8 else data[where:]


def line_twice(data: bytes, rng: random.Random) -> bytes:
    lines = data.splitlines(keepends=True) or [b""]
    lines.insert(rng.randrange(len(lines) + 1), rng.choice(lines))
    return b"".join(lines)


def line_gone(data: bytes, rng: random.Random) -> bytes:
    lines = data.splitlines(keepends=True) or [b""]
    for _ in range(rng.choice((1, 1, 1, 5))):
        if lines:
            del lines[rng.randrange(len(lines))]
    return b"".join(lines)


def shuffled(data: bytes, rng: random.Random) -> bytes:
    lines = data.splitlines(keepends=True)
    start = rng.randrange(len(lines) + 1)
    part = lines[start : start + rng.choice((2, 5, len(lines)))]
    rng.shuffle(part)
    return b"".join([*lines[:start], *part, *lines[start + len(part) :]])


def recoded(data: bytes, rng: random.Random) -> bytes:
    text = data.decode("utf-8", "replace")
    name = rng.choice(
        ("utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig", "cp037", "cp1252")
    )
    coded = text.encode(name, "replace")
    if rng.random() < 0.3:  # mixed
        where = rng.randrange(len(data) + 1)
        return data[:where] + coded[where:]
    return coded


def odd_number(data: bytes, rng: random.Random) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    at = rng.choice(found)
    return data[: at.start()] + rng.choice(NUMBERS).encode() + data[at.end() :]


def odd_text(data: bytes, rng: random.Random) -> bytes:
    where = rng.randrange(len(data) + 1)
    text = rng.choice(ODD) * rng.choice((1, 1, 1, 50))
    return data[:where] + text.encode("utf-8", "surrogatepass") + data[where:]


def stray_bytes(data: bytes, rng: random.Random) -> bytes:
    where = rng.randrange(len(data) + 1)
    stray = rng.choice(
        (b"\0", b"\xff", b"\xed\xa0\x80", b"\r", b"\n\n", b"\x1a", b'"', b"\xc0\x80")
    )
    return data[:where] + stray * rng.choice((1, 3, 1000)) + data[where:]


def long_line(data: bytes, rng: random.Random) -> bytes:
    where = rng.randrange(len(data) + 1)
    stuff = rng.choice((b"x", b"1", b",", b" ", b"a.", b"[", b'"', b"1,", b"<a>", b"="))
    return data[:where] + stuff * rng.choice((1000, 50_000, 1_500_000)) + data[where:]


def cells_moved(data: bytes, rng: random.Random) -> bytes:
    """Change, add, drop or swap cells of one line or one column."""
    lines = data.split(b"\n")
    mark = b";" if data.count(b";") > data.count(b",") else b","
    column = rng.randrange(lines[0].count(mark) + 1)
    rows = range(len(lines)) if rng.random() < 0.3 else [rng.randrange(len(lines))]
    kind = rng.choice(("gone", "new", "twice", "other"))
    new = rng.choice((*NUMBERS, *ODD)).encode("utf-8", "surrogatepass")
    for row in rows:
        cells = lines[row].split(mark)
        if column >= len(cells):
            continue
        if kind == "gone":
            del cells[column]
        elif kind == "twice":
            cells.insert(column, cells[column])
        else:
            cells[column] = new if kind == "new" else rng.choice(cells)
        lines[row] = mark.join(cells)
    return b"\n".join(lines)


def toml_value(data: bytes, rng: random.Random) -> bytes:
    """Give a key a value of another type, or from another key."""
    found = list(_VALUE.finditer(data))
    if not found:
        return data
    at = rng.choice(found)
    other = rng.choice(found)[2] if rng.random() < 0.3 else rng.choice(TOML_VALUES).encode()
    return data[: at.start(2)] + other + data[at.end(2) :]


def toml_key(data: bytes, rng: random.Random) -> bytes:
    """Repeat, rename, empty or move keys and tables."""
    lines = data.split(b"\n")
    headers = [i for i, line in enumerate(lines) if line.startswith(b"[")] or [0]
    kind = rng.choice(("repeat", "rename", "header", "dotted", "new"))
    row = rng.randrange(len(lines))
    if kind == "repeat":
        lines.insert(rng.randrange(len(lines)), lines[row])
    elif kind == "rename":
        lines[row] = lines[row].replace(b"_", b"", 1)
    elif kind == "header":
        lines[rng.choice(headers)] = rng.choice((b"[x]", b"[[runs]]", b"[packs]", b"[a.b.c]", b"["))
    elif kind == "dotted":
        lines.insert(row, b".".join([b"a"] * rng.choice((3, 3000, 100_000))) + b" = 1")
    else:
        lines.insert(row, b"exclude = " + rng.choice(TOML_VALUES).encode())
    return b"\n".join(lines)


def json_value(data: bytes, rng: random.Random) -> bytes:
    """Change, drop or rename one entry somewhere in the tree."""
    try:
        tree = json.loads(data)
    except (ValueError, RecursionError):
        return data
    place, key = None, None
    node = tree
    while isinstance(node, dict | list) and node and (place is None or rng.random() < 0.8):
        place = node
        key = rng.choice(list(node)) if isinstance(node, dict) else rng.randrange(len(node))
        node = node[key]
    if place is None:
        return data
    kind = rng.choice(("new", "new", "gone", "text", "minus", "deep"))
    if kind == "gone":
        del place[key]
    elif kind == "text":
        place[key] = json.dumps(node)
    elif kind == "minus" and isinstance(node, int | float):
        place[key] = -node
    elif kind == "deep":
        marker = '"here"'
        text = json.dumps({**tree, "x": 0} if isinstance(tree, dict) else tree)
        deep = "[" * 20_000 + "]" * 20_000
        return text.replace(": 0", f": {deep if rng.random() < 0.5 else marker}", 1).encode()
    else:
        place[key] = rng.choice(VALUES)
    return json.dumps(tree).encode()


def xml_entities(data: bytes, rng: random.Random) -> bytes:
    """Bring in a document type, entities, depth, or elements without number."""
    bomb = (
        b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
        + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(9))
        + b"]>"
    )
    kind = rng.choice(("bomb", "file", "deep", "many", "instruction"))
    body = data.split(b"?>", 1)[-1]
    if kind == "bomb":
        return bomb + body.replace(b">K-", b">&j;K-", 1)
    if kind == "file":
        return b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>' + body.replace(
            b">K-", b">&e;"
        )
    if kind == "deep":
        return b"<a>" * 50_000
    if kind == "many":
        return data.replace(b"</dcc:data>", b"<a/>" * 400_000 + b"</dcc:data>", 1)
    return b'<?xml version="1.0" encoding="%s"?>' % rng.choice((b"utf-7", b"x", b"utf-16")) + body


ANY: tuple[Change, ...] = (
    bit_flips, cut, line_twice, line_gone, shuffled, recoded, odd_number, odd_number, odd_text,
    stray_bytes, long_line,
)  # fmt: skip
TABLE = (*ANY, cells_moved, cells_moved, cells_moved)
TOML = (*ANY, toml_value, toml_value, toml_value, toml_key, toml_key)
JSON = (bit_flips, cut, odd_number, odd_text, long_line, *[json_value] * 8)
XML = (*ANY, odd_number, xml_entities)


def spoilt(data: bytes, changes: tuple[Change, ...], rng: random.Random) -> tuple[bytes, str]:
    """Return data changed in one to four ways, and the names of these."""
    chosen = [rng.choice(changes) for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 4)))]
    for change in chosen:
        data = change(data, rng)
    return data, ", ".join(change.__name__ for change in chosen)


def made_up_log(rng: random.Random) -> bytes:
    """Return a log from a loose grammar: some can be read, most cannot."""
    mark = rng.choice((",", ";", "\t", "|", " ", "  ", ", ", ""))
    end = rng.choice(("\n", "\r\n", "\r", "\n\n"))
    words = ("Time", "t", "time_s", "Torque", "n", "", "Temp", "Zeit [s]", "U/V", "1", *ODD)
    units = ("s", "ms", "[s]", "N*m", "", "(degC)", "lbf ft", "?", "1")
    count = rng.choice((0, 1, 2, 3, 5, 8, 300))

    def cell(row: int) -> str:
        kind = rng.random()
        if kind < 0.8:
            return f"{row * 0.1 + rng.random():.{rng.randrange(6)}f}"
        return rng.choice(
            (*NUMBERS[:14], "", "NaN", "--.--", "Overrange", "2026-03-04 10:00:00", *ODD)
        )

    lines = [
        rng.choice((*words, "; comment", "sep=;", "# x")) for _ in range(rng.choice((0, 0, 3, 40)))
    ]
    lines.append(mark.join(rng.choice(words) for _ in range(count)))
    if rng.random() < 0.5:
        lines.append(mark.join(rng.choice(units) for _ in range(count)))
    stamped = rng.random() < 0.2
    for row in range(rng.choice((0, 1, 2, 5, 50, 400))):
        first = f"2026-03-04 10:{row // 60 % 60:02d}:{row % 60:02d}" if stamped else f"{row / 10}"
        cells = [
            first,
            *(cell(row) for _ in range(max(0, count - 1 + rng.choice((0,) * 20 + (-1, 1))))),
        ]
        lines.append(mark.join(cells))
    return end.join(lines).encode(rng.choice(("utf-8",) * 6 + ("utf-16", "cp1252")), "replace")
