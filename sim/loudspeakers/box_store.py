"""Where tables of boxed drivers come from: shipped with the program, kept from an earlier run, or solved now.

    python -m sim.loudspeakers.box_store FOLDER LIST      # makes the shipped ones anew

LIST has a line of numbers for each `BoxedDriver`.  Kept ones lie beside the compiled kernels, in the person's own
folder for what can be made again.  They are data, checked against a sum, and never run; a damaged one is made anew.
Where the folder cannot be written, each process solves its own.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Final

from sim.arrays import ComplexArray
from sim.errors import BounceplanError
from sim.loudspeakers.box_tables import TABLES, BoxedDriver, solve, unpacked
from sim.machine.kernel_folder import cache_home
from sim.machine.whole_files import write_whole
from sim.progress import Report, say_nothing

SHIPPED: Final = Path(__file__).parent / "boxes"
LIST: Final = SHIPPED / "drivers.txt"
SUFFIX: Final = ".table"

_solved: dict[BoxedDriver, bytes] = {}


def ready(drivers: Sequence[BoxedDriver], report: Report = say_nothing) -> None:
    """Solve what is known of none of these drivers of one box, and keep it."""
    missing = [each for each in dict.fromkeys(drivers) if _found(each) is None]
    if not missing:
        return
    for driver, packed in zip(missing, solve(missing, report), strict=True):
        _solved[driver] = packed
        # another process may be writing the same, the disk be full or the folder shut: nothing is lost but time
        with suppress(BounceplanError, OSError, RuntimeError):
            write_whole(_kept(driver), packed, "the table of a cabinet", make_folder=True)


@lru_cache(maxsize=64)
def table_of(driver: BoxedDriver) -> ComplexArray:
    """Pressures of a driver (k, angle, turn), see `unpacked`; solved now if nobody did."""
    ready([driver])
    found = _found(driver)
    assert found is not None
    return unpacked(driver, found)


def _found(driver: BoxedDriver) -> bytes | None:
    """Packed table of a driver if it is whole."""
    if driver in _solved:
        return _solved[driver]
    places = [SHIPPED / f"{driver.name}{SUFFIX}"]
    with suppress(RuntimeError):  # no home directory is known
        places.append(_kept(driver))
    for place in places:
        with suppress(OSError, ValueError, EOFError):
            packed = place.read_bytes()
            unpacked(driver, packed)
            _solved[driver] = packed
            return packed
    return None


def _kept(driver: BoxedDriver) -> Path:
    return cache_home(os.environ, sys.platform) / f"cabinets-{TABLES}" / f"{driver.name}{SUFFIX}"


def main(arguments: list[str]) -> int:
    """Make the tables of all drivers of a list, `LIST` if none is named, in a folder, `SHIPPED` if none is named."""
    folder = Path(arguments[0]) if arguments else SHIPPED
    listed = Path(arguments[1]) if len(arguments) > 1 else LIST
    boxes: dict[tuple[float, ...], list[BoxedDriver]] = {}
    for line in listed.read_text(encoding="utf-8").splitlines():
        numbers = line.partition("#")[0].split()
        if numbers:
            driver = BoxedDriver(*(int(each) for each in numbers))
            boxes.setdefault(driver.size_m, []).append(driver)
    for drivers in boxes.values():
        for driver, packed in zip(drivers, solve(drivers, say_nothing), strict=True):
            write_whole(folder / f"{driver.name}{SUFFIX}", packed, "the table of a cabinet", make_folder=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
