"""Tables of what a driver in a rigid box radiates: frequencies and directions, and where tables come from.

Everything counts in wavenumber times the cube root of the box's volume, so that large and small boxes are solved alike:
six frequencies an octave up to where the phases of the edges turn quickly, in equal steps from there to `HIGHEST`,
which is 4.2 kHz for 0.25 x 0.39 x 0.33 m.  Directions are 10 degrees apart at low frequencies and 5 at high ones; what
lies between is found by Fourier's sum round whole circles, which is exact for whatever the grid can hold.
"""

from __future__ import annotations

import hashlib
import lzma
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray, frozen
from sim.errors import BounceplanError
from sim.loudspeakers.box_solver import Disc, Size, elements_of, radiated
from sim.loudspeakers.pistons import waveguide_radius
from sim.machine.cache_home import cache_home
from sim.machine.processes import all_cores, one_blas_thread
from sim.machine.whole_files import write_whole
from sim.progress import Report, say_nothing

TABLES: Final = 1
"""Raised when tables of before are worth nothing."""
LOWEST, BENDS_AT, COARSE_TO, HIGHEST = 0.5, 11.0, 11.5, 24.0
"""Wavenumber times size: the lowest, from where steps are equal, up to where 10 degrees do, the highest."""
MOST_ELEMENTS: Final = 1300
"""In an eighth of the box; where `HIGHEST` would need more, the table ends earlier."""
QUANTUM: Final = 1.0 / 1000.0
"""Step in which pressures are kept, a piston in a baffle being 1 on its axis."""
FINE_DEG, COARSE_DEG = 5, 10
TENTH_MM: Final = 1e-4


@dataclass(frozen=True, slots=True)
class BoxedDriver:
    """A driver and its box in tenths of a millimetre: places from the middle of the front, to the right and up."""

    width: int
    height: int
    depth: int
    right: int
    up: int
    radius: int
    mouth_radius: int = 0
    coverage_tenths_deg: int = 900

    @property
    def size_m(self) -> Size:
        """Width, height, depth in metres."""
        return (self.width * TENTH_MM, self.height * TENTH_MM, self.depth * TENTH_MM)

    @property
    def name(self) -> str:
        """Of its file."""
        place = (self.width, self.height, self.depth, self.right, self.up)
        numbers = (TABLES, *place, self.radius, self.mouth_radius, self.coverage_tenths_deg)
        return hashlib.sha256(" ".join(str(each) for each in numbers).encode()).hexdigest()[:20]

    def radii_m(self, wavenumbers: FloatArray) -> FloatArray:
        """Effective radius (f,) in metres at wavenumbers (f,) in rad/m."""
        radius = self.radius * TENTH_MM
        if self.mouth_radius <= self.radius:
            return np.full(len(wavenumbers), radius)
        coverage = 0.1 * self.coverage_tenths_deg
        # hertz and metres a second only meet as their ratio
        return waveguide_radius(radius, self.mouth_radius * TENTH_MM, coverage, 1e6 * wavenumbers, 2e6 * np.pi)

    def disc(self, radius_m: float = 0.0) -> Disc:
        """Its place, with a radius in metres."""
        return Disc(self.right * TENTH_MM, self.up * TENTH_MM, radius_m)


@lru_cache(maxsize=256)
def wavenumbers_of(size_m: Size) -> FloatArray:
    """Wavenumbers (k,) in rad/m at which the box is solved."""
    length = float(np.cbrt(np.prod(size_m)))
    rising = LOWEST * 2.0 ** (np.arange(0.0, 6.0 * np.log2(BENDS_AT / LOWEST) + 0.5) / 6.0)
    step = rising[-1] - rising[-2]
    even = rising[-1] + step * np.arange(1, int(np.ceil((HIGHEST - rising[-1]) / step)) + 1)
    found = np.concatenate([rising, even]) / length
    while len(elements_of(size_m, float(found[-1])).middles) > MOST_ELEMENTS and len(found) > len(rising):
        found = found[:-1]
    return frozen(found)


def is_fine(size_m: Size, wavenumber: float) -> bool:
    """Whether a frequency has the fine grid of directions."""
    return wavenumber * float(np.cbrt(np.prod(size_m))) > COARSE_TO


def grid_directions(step_deg: int) -> FloatArray:
    """Unit vectors (angle from the axis * turn about it from right over up, 3): from 0 to 180, from 0 to below 360."""
    angle = np.radians(np.arange(0, 181, step_deg))[:, None]
    turn = np.radians(np.arange(0, 360, step_deg))[None, :]
    parts = (np.cos(angle) + 0.0 * turn, np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn))
    return np.stack(parts, axis=-1).reshape(-1, 3)


def solve(drivers: Sequence[BoxedDriver], report: Report) -> list[bytes]:
    """Make the packed tables of drivers in one box, on all cores; the same bytes on any number of them."""
    size_m = drivers[0].size_m
    wavenumbers = wavenumbers_of(size_m)
    done = 0

    def at(wavenumber: float) -> ComplexArray:
        nonlocal done
        directions = grid_directions(FINE_DEG if is_fine(size_m, wavenumber) else COARSE_DEG)
        discs = [each.disc(float(each.radii_m(np.array([wavenumber]))[0])) for each in drivers]
        found = radiated(size_m, discs, directions, wavenumber) / 2.0
        done += 1
        report(f"solving how a cabinet of this size radiates, once: {done} of {len(wavenumbers)} frequencies")
        return found

    with one_blas_thread(), ThreadPoolExecutor(all_cores()) as workers:
        # the longest first
        rows = list(workers.map(at, wavenumbers[::-1].tolist()))[::-1]
    return [_packed(driver, [row[number] for row in rows]) for number, driver in enumerate(drivers)]


def _packed(driver: BoxedDriver, rows: list[ComplexArray]) -> bytes:
    parts = []
    for row in rows:
        kept = row.reshape(-1, 36 if len(row) == 19 * 36 else 72)
        if driver.right == 0:  # the left half is the mirror image of the right one
            kept = kept[:, _right_half(kept.shape[1])]
        parts.append(np.round(np.stack([kept.real, kept.imag]).transpose(1, 2, 0) / QUANTUM).astype(np.int16).ravel())
    numbers = np.concatenate(parts)
    content = lzma.compress(numbers.astype("<i2").view(np.uint8).reshape(-1, 2).T.tobytes(), preset=9)
    return hashlib.sha256(content).digest() + content


def _right_half(turns: int) -> list[int]:
    """Columns from straight down over the right to straight up."""
    return [column % turns for column in range(-turns // 4, turns // 4 + 1)]


def unpacked(driver: BoxedDriver, packed: bytes) -> ComplexArray:
    """Pressures (k, 37, 72) every 5 degrees, a piston in a baffle being 1 on its axis.

    Raises ValueError when the bytes are damaged.
    """
    if hashlib.sha256(packed[32:]).digest() != packed[:32]:
        raise ValueError("a damaged table of a cabinet")
    bytes_of = np.frombuffer(lzma.decompress(packed[32:]), dtype=np.uint8)
    numbers = np.ascontiguousarray(bytes_of.reshape(2, -1).T).view("<i2").ravel().astype(np.float64) * QUANTUM
    wavenumbers = wavenumbers_of(driver.size_m)
    values = np.empty((len(wavenumbers), 37, 72), dtype=np.complex128)
    at = 0
    for number, wavenumber in enumerate(wavenumbers.tolist()):
        angles, turns = (37, 72) if is_fine(driver.size_m, wavenumber) else (19, 36)
        columns = _right_half(turns) if driver.right == 0 else list(range(turns))
        end = at + 2 * angles * len(columns)
        read = numbers[at:end].reshape(angles, len(columns), 2)
        grid = np.empty((angles, turns), dtype=np.complex128)
        grid[:, columns] = read[..., 0] + 1j * read[..., 1]
        if driver.right == 0:
            grid[:, [(turns // 2 - column) % turns for column in columns]] = read[..., 0] + 1j * read[..., 1]
        values[number] = grid if turns == 72 else twice_as_fine(grid)
        at = end
    if at != len(numbers):
        raise ValueError("a table of another cabinet")
    if driver.up == 0:  # above and below are alike but for rounding
        values = 0.5 * (values + values[:, :, -np.arange(72) % 72])
    return frozen(values)


def twice_as_fine(grid: ComplexArray) -> ComplexArray:
    """Values (angle, turn) on a grid of half the step, by Fourier's sum round circles through and about the axis."""
    angles, turns = grid.shape
    whole = np.concatenate([grid, np.roll(grid[-2:0:-1], turns // 2, axis=1)])
    for axis in (0, 1):
        count = whole.shape[axis]
        waves = np.moveaxis(np.fft.fft(whole, axis=axis), axis, 0)
        more = np.zeros((2 * count, waves.shape[1]), dtype=np.complex128)
        half = count // 2
        more[:half], more[-half + 1 :] = waves[:half], waves[-half + 1 :]
        more[half] = more[-half] = 0.5 * waves[half]
        whole = np.moveaxis(np.fft.ifft(2.0 * more, axis=0), 0, axis)
    return np.asarray(whole[: 2 * angles - 1])


# Where tables of boxed drivers come from: shipped with the program, kept from an earlier run, or solved now.
#
#     python -m sim.loudspeakers.box_tables FOLDER LIST      # makes the shipped ones anew
#
# LIST has a line of numbers for each `BoxedDriver`.  Kept ones lie beside the compiled kernels, in the person's own
# folder for what can be made again.  They are data, checked against a sum, and never run; a damaged one is made anew.
# Where the folder cannot be written, each process solves its own.

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
