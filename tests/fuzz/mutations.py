"""Ways to break bytes and tables of numbers and texts, all drawn from a generator with a seed."""

from __future__ import annotations

import copy
import datetime
from typing import Any, Final

import numpy as np

Random = np.random.Generator

ODD_BYTES: Final = (b"\0", b"\xff", b"\x80", b"\n", b"\r", b'"', b"-", b"=", b"[", b"{", b"9" * 40, b"\xf0\x9f\x92\xa9")
ODD_NUMBERS: Final = (
    0,
    -0.0,
    1,
    -1,
    2,
    0.5,
    1e-300,
    -1e-12,
    1e-6,
    1e3,
    1e9,
    1e20,
    1e155,
    1e300,
    1.7e308,
    -1.7e308,
    float("nan"),
    float("inf"),
    -float("inf"),
    2**31,
    -(2**31),
    2**63 - 1,
    -(2**63),
    360,
    -360,
    90,
    45,
    89.999999,
    59.9,
    60.1,
)
ODD_TEXTS: Final = (
    "",
    " ",
    "\n",
    "\x1b[31m",
    "=1+1",
    "</script>",
    "%%u",
    "../../etc/passwd",
    "/dev/zero",
    "a" * 79,
    "b" * 300,
    "\u202eabc",
    "ear",
    "desk",
    "left wall",
    "floor",
    "left",
    "right",
    "1/0 m",
    "7 ft 10 1/2 in",
    "-3 mm",
    "1e400 m",
    "0 m",
    "∞",
    "¼",
    "NaN",
    "None",
    "two-way",
    "brick",
    "100 mm wool, 100 mm gap",
    "0 mm wool",
    "wool",
    "100 mm",
    "inverted",
)


def broken_bytes(content: bytes, random: Random, most: int = 8) -> bytes:
    """Bytes with a few of them turned, lost, doubled, moved, or cut off."""
    broken = bytearray(content)
    for _ in range(int(random.integers(1, most + 1))):
        size = len(broken)
        if size == 0:
            return bytes(broken)
        at = int(random.integers(size))
        length = int(min(size - at, random.integers(1, 1 + max(1, min(size // 4, 200)))))
        match int(random.integers(9)):
            case 0 | 1:
                broken[at] ^= 1 << int(random.integers(8))
            case 2:
                broken[at] = int(random.integers(256))
            case 3:
                del broken[at : at + length]
            case 4:
                broken[at:at] = broken[at : at + length]
            case 5:
                other = int(random.integers(size))
                broken[other : other + length] = broken[at : at + length]
            case 6:
                broken[at:at] = ODD_BYTES[int(random.integers(len(ODD_BYTES)))]
            case 7:
                broken[at : at + 4] = int(random.integers(2**32)).to_bytes(4, "little")[: max(0, size - at)]
            case _:
                if random.random() < 0.3:
                    del broken[at:]
    return bytes(broken)


def odd_value(random: Random) -> Any:
    """A value of any kind that TOML knows."""
    match int(random.integers(8)):
        case 0 | 1 | 2:
            return ODD_NUMBERS[int(random.integers(len(ODD_NUMBERS)))]
        case 3 | 4:
            return ODD_TEXTS[int(random.integers(len(ODD_TEXTS)))]
        case 5:
            return bool(random.integers(2))
        case 6:
            return [odd_value(random) for _ in range(int(random.integers(4)))]
        case _:
            if random.random() < 0.3:
                return datetime.date(1979, 5, 27)
            return {f"k{number}": odd_value(random) for number in range(int(random.integers(3)))}


def places_of(value: Any) -> list[tuple[Any, Any]]:
    """Every table or list with each of its keys."""
    found: list[tuple[Any, Any]] = []
    waiting = [value]
    while waiting:
        table = waiting.pop()
        for key, entry in table.items() if isinstance(table, dict) else enumerate(table):
            found.append((table, key))
            if isinstance(entry, dict | list):
                waiting.append(entry)
    return found


def nudged(value: Any, random: Random) -> Any:
    """A number near to what it was; other values stay."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    width = float(random.choice([1e-9, 1e-3, 0.05, 0.5]))
    near = value * (1.0 + width * random.standard_normal()) + width * random.standard_normal()
    return round(near) if isinstance(value, int) and random.random() < 0.7 else float(near)


def broken_table(table: dict[str, Any], others: list[dict[str, Any]], random: Random) -> dict[str, Any]:
    """A table with entries lost, doubled, swapped, borrowed from another, nudged, or replaced by something odd."""
    broken: dict[str, Any] = copy.deepcopy(table)
    gentle = random.random() < 0.6
    for _ in range(int(random.integers(1, 7))):
        places = places_of(broken)
        if not places:
            return broken
        home, key = places[int(random.integers(len(places)))]
        kind = 0 if gentle and random.random() < 0.85 else int(random.integers(9))
        match kind:
            case 0 | 1:
                numbers = [(h, k) for h, k in places if isinstance(h[k], int | float) and not isinstance(h[k], bool)]
                if numbers:
                    home, key = numbers[int(random.integers(len(numbers)))]
                    home[key] = nudged(home[key], random)
            case 2:
                del home[key]
            case 3:
                lists = [h[k] for h, k in places if isinstance(h[k], list) and h[k]]
                if lists:
                    chosen = lists[int(random.integers(len(lists)))]
                    chosen.append(copy.deepcopy(chosen[int(random.integers(len(chosen)))]))
            case 4:
                other_home, other_key = places[int(random.integers(len(places)))]
                home[key], other_home[other_key] = copy.deepcopy(other_home[other_key]), copy.deepcopy(home[key])
            case 5:
                other = others[int(random.integers(len(others)))]
                same = [(h, k) for h, k in places_of(other) if k == key] or places_of(other)
                from_home, from_key = same[int(random.integers(len(same)))]
                home[key] = copy.deepcopy(from_home[from_key])
            case 6:
                other = others[int(random.integers(len(others)))]
                section = list(other)[int(random.integers(len(other)))]
                broken[section] = copy.deepcopy(other[section])
            case 7 if isinstance(home, dict):
                home[ODD_TEXTS[int(random.integers(len(ODD_TEXTS)))] or "x"] = odd_value(random)
            case _:
                home[key] = odd_value(random)
    return broken
