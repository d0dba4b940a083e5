"""Hostile changes of real files: of texts, trees, tables, workbooks and drawings.

Every choice is asked of a `random.Random`, so that the same change can come from a seed, from
Hypothesis (`strategies.randoms`) or from the bytes of a coverage-guided fuzzer (`BytesRandom`).
"""

import copy
import random
import re
from collections.abc import Callable
from datetime import date

WORDS = (
    "", " ", "\t", "\x00", "\ufeff", "\u202e", "\u0661\u0662", "０", "1_000", "²", "½", "é" * 40,
    "💥",
    "null", "None", "NaN", "nan", "inf", "-inf", "Infinity", "true", "yes", "#REF!", "=1+1",
    "=cmd|' /C calc'!A0", "@SUM(A1)", "<img src=x onerror=alert(1)>", "</script><b>", "'", '"',
    "\\", "%s%n", "{0.__class__}", "{{7*7}}", "../../etc/passwd", "file:///etc/passwd", "__class__",
    "__proto__", "x" * 300, "9" * 320, "0x1F", "1e5", "a.b.c", "-", "--", ";", ",", "|", "\n", "\r",
)  # fmt: skip
NUMBERS = (
    "0", "-0", "1", "-1", "1e308", "-1e308", "1e309", "1e-320", "5e-324", "0.1", "1/3", "007",
    "1,5",
    "1.234", "1,234", "1 000", "12345678901234567890", "9" * 60, "1e999", "1" + "0" * 400, "٣",
    "1.2.3",
    "2.", ".5", "+7", "−3", "NaN", "1e", "0x10", "1_0", "4294967296", "9007199254740993",
    "2147483648",
)  # fmt: skip
UNITS = (
    "", "m", "mm", "in", "ft", "m²", "m2", "%", "%%", "%%%", "USD", "EUR", "$", "€", "USD/h", "h",
    "min", "s", "months", "years", "m²/h", "USD/m²", "kg", "kW", "L", "mL/m²", "deg", "rad", "dB",
    "degC", "m**9**9", "m^-1", "m**0.5", "m**", "(m", "m)", "()", "m/0", "m*0", "m**-99", "1/s",
    "per",
    "m per h", "m m m", "/", "*", ".", "^", "m**m", "USD**USD", "persons", "orders/month", "inf",
    "nan",
    "g", "km/h**2", "1e9 m", "m" * 90, "kilo", "ppm", "dozen", "m-m", "e5", "µm", "Å", "b", "_",
)  # fmt: skip


class BytesRandom(random.Random):
    """Choices taken from given bytes, the same ones over again where they end."""

    def __new__(cls, data: bytes) -> "BytesRandom":
        return super().__new__(cls)

    def __init__(self, data: bytes) -> None:
        self._data, self._place = data or b"\x00", 0

    def getrandbits(self, count: int) -> int:
        wanted = (count + 7) // 8
        taken = bytes(self._data[(self._place + k) % len(self._data)] for k in range(wanted))
        self._place += wanted
        return int.from_bytes(taken, "big") >> (8 * wanted - count)

    def random(self) -> float:
        return self.getrandbits(16) / 65536

    def _randbelow(self, n: int) -> int:
        return self.getrandbits(n.bit_length() + 4) % n


def few(draws: random.Random, most: int = 5) -> int:
    """Return a small number of changes, most often one or two."""
    count = 1
    while count < most and draws.random() < 0.45:
        count += 1
    return count


def number_text(draws: random.Random) -> str:
    if draws.random() < 0.5:
        return draws.choice(NUMBERS)
    return f"{draws.uniform(-10, 10) * 10 ** draws.randint(-6, 12):.6g}"


def unit_text(draws: random.Random) -> str:
    if draws.random() < 0.7:
        return draws.choice(UNITS)
    parts = [draws.choice(UNITS) for _ in range(draws.randint(2, 5))]
    return draws.choice(("*", "/", " ", "**", "^", "")).join(parts)


def hostile_text(draws: random.Random) -> str:
    kind = draws.random()
    if kind < 0.4:
        return draws.choice(WORDS)
    if kind < 0.85:
        return f"{number_text(draws)}{draws.choice(('', ' ', '  '))}{unit_text(draws)}"
    return "".join(chr(draws.choice((draws.randint(32, 126), draws.randint(1, 0xD7FF))))
                   for _ in range(draws.randint(1, 40)))  # fmt: skip


def hostile_value(draws: random.Random) -> object:
    kind = draws.randint(0, 11)
    if kind < 5:
        return hostile_text(draws)
    values: tuple[Callable[[], object], ...] = (
        lambda: draws.choice((0, 1, -1, 2**31, 2**63, -(2**63), 10**30, 10**400)),
        lambda: draws.choice((0.0, -0.0, 1e308, 5e-324, float("nan"), float("inf"), -1e-9, 0.5)),
        lambda: draws.random() < 0.5,
        lambda: date(draws.randint(1, 9999), draws.randint(1, 12), draws.randint(1, 28)),
        lambda: [hostile_value(draws) for _ in range(draws.randint(0, 3))],
        lambda: {draws.choice(("value", "low", "likely", "high", "source", "date", "note",
        "chances",
                               "distribution", "kind", "name", "")): hostile_value(draws)
                 for _ in range(draws.randint(0, 4))},
        lambda: draws.uniform(-1e3, 1e6),
    )  # fmt: skip
    return values[kind - 5]()


def bent_text(draws: random.Random, text: bytes, tokens: tuple[bytes, ...]) -> bytes:
    """Return bytes with a few cut, doubled, changed or put in."""
    body = bytearray(text)
    for _ in range(few(draws)):
        place = draws.randrange(len(body) + 1)
        end = min(len(body), place + draws.choice((1, 1, 2, 8, 64, 400)))
        do = draws.randint(0, 6)
        if do == 0:
            del body[place:end]
        elif do == 1:
            body[place:place] = body[place:end] * draws.choice((1, 2, 50))
        elif do == 2 and body:
            body[place % len(body)] = draws.randint(0, 255)
        elif do in (3, 4):
            body[place:place] = draws.choice(tokens)
        elif do == 5 and draws.random() < 0.2:
            del body[place:]
        else:
            body[place:end] = hostile_text(draws).encode("utf-8", "replace")
    return bytes(body)


def places_in(tree: object, path: tuple = ()) -> list[tuple]:
    found = [path] if path else []
    items = (
        tree.items()
        if isinstance(tree, dict)
        else enumerate(tree)
        if isinstance(tree, list)
        else ()
    )
    for key, part in items:
        found += places_in(part, (*path, key))
    return found


def leaves(tree: object) -> list[tuple]:
    """Return the places of single values."""
    return [path for path in places_in(tree) if not isinstance(at(tree, path), (dict, list))]


def at(tree, path: tuple):
    for key in path:
        tree = tree[key]
    return tree


def bent_tree(draws: random.Random, tree: dict, keep: int = 0) -> dict:
    """Return a nested table with a few parts replaced, taken out, renamed, moved or added."""
    tree = copy.deepcopy(tree)
    for _ in range(few(draws)):
        places = [place for place in places_in(tree) if len(place) > keep]
        if not places:
            break
        path = draws.choice(places)
        owner, key = at(tree, path[:-1]), path[-1]
        do = draws.randint(0, 9)
        if do == 0:
            del owner[key]
        elif do == 1 and isinstance(owner, dict):
            owner[draws.choice(("", "x", "A B", "name", "a.b", hostile_text(draws)))] = owner.pop(
                key
            )
        elif do == 2:
            owner[key] = copy.deepcopy(at(tree, draws.choice(places)))
        elif do == 3 and isinstance(owner, dict):
            owner[draws.choice((*WORDS[-9:], "extra", "source", "note"))] = hostile_value(draws)
        elif do == 4:
            owner[key] = {
                "low": hostile_text(draws),
                "likely": owner[key],
                "high": hostile_text(draws),
            }
        elif do == 5 and isinstance(owner[key], str) and re.match(r"[\d.]", owner[key]):
            number, _, unit = owner[key].partition(" ")
            both = (f"{number_text(draws)} {unit}", f"{number} {unit_text(draws)}")
            owner[key] = draws.choice(both)
        else:
            owner[key] = hostile_value(draws)
    return tree


def toml_text(value: object, top: bool = True) -> str:
    """Return a tree as TOML on one line a key; what TOML cannot say is said wrongly."""
    if isinstance(value, dict) and top:
        return "\n".join(
            f"{_toml_key(key)} = {toml_text(part, False)}" for key, part in value.items()
        )
    if isinstance(value, dict):
        inner = ", ".join(
            f"{_toml_key(key)} = {toml_text(part, False)}" for key, part in value.items()
        )
        return f"{{{inner}}}"
    if isinstance(value, list):
        return f"[{', '.join(toml_text(part, False) for part in value)}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _toml_string(value)
    if isinstance(value, float):
        return repr(value)
    return str(value)


def _toml_string(text: str) -> str:
    shown = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda c: f"\\u{ord(c[0]):04x}", shown) + '"'


def _toml_key(key: object) -> str:
    return str(key) if re.fullmatch(r"[A-Za-z0-9_-]+", str(key)) else _toml_string(str(key))


def bent_table(draws: random.Random, rows: list[list[str]]) -> list[list[str]]:
    """Return a table with cells, rows and columns replaced, doubled, moved or taken out."""
    rows = [list(row) for row in rows]
    for _ in range(few(draws, 8)):
        if not rows:
            break
        row = draws.randrange(len(rows))
        column = draws.randrange(max(1, max(map(len, rows))))
        do = draws.randint(0, 11)
        if do == 0:
            del rows[row]
        elif do == 1:
            rows.insert(draws.randrange(len(rows) + 1), list(rows[row]))
        elif do == 2:
            for each in rows:
                del each[column : column + 1]
        elif do == 3:
            for each in rows:
                each.insert(column, each[column] if column < len(each) else "")
        elif do == 4 and rows[0]:
            rows[0][column % len(rows[0])] = draws.choice(
                ("size", "Breite cm", "height ft", "Betrag", "type", "", hostile_text(draws))
            )
        elif do == 5:
            rows[row] += [hostile_text(draws)] * draws.randint(1, 5)
        elif do == 6:  # a whole column in one notation
            said = hostile_text(draws)
            for each in rows[1:]:
                if column < len(each):
                    each[column] = said
        elif do == 7:
            rows[row] = []
        elif rows[row]:
            rows[row][column % len(rows[row])] = hostile_text(draws)
    return rows
