"""Loudspeaker data: AES69 files, tables of two orbits and folders of impulse responses, broken."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from sim.loudspeakers import sofa_contents
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.impulse_responses import read_impulse_folder
from sim.loudspeakers.polar_files import read_polar_file
from sim.loudspeakers.sofa_file import read_sofa_file
from tests.fuzz.mutations import ODD_NUMBERS, ODD_TEXTS, Random, broken_bytes
from tests.fuzz.sofa_server import SofaServer
from tests.fuzz.tally import SEED, Tally
from tests.loudspeakers.sofa_writing import sphere_grid, unit_vectors, write_sofa
from tests.loudspeakers.test_impulse_folder import folder as impulse_folder
from tests.loudspeakers.test_polar_files import table
from tests.loudspeakers.test_sofa_file import transfer

WAYS = np.eye(3)
HERTZ = np.array([100.0, 1000.0, 8000.0])
Said = Callable[[Tally], None]


def _silent(_: Tally) -> None:
    return None


def _used(data: DirectivityData) -> None:
    assert np.isfinite(data.pressure(WAYS, HERTZ)).all()


def fuzz_sofa(folder: Path, first: int, count: int, said: Said = _silent) -> list[Tally]:
    """Half with bytes broken, half written whole with variables of odd shapes, types and numbers."""
    grid = sphere_grid(45.0)
    receiver, ways = np.column_stack([grid, np.full(len(grid), 2.0)]), unit_vectors(grid)
    path = transfer(folder / "tf.sofa", receiver, ways)
    impulses = np.zeros((1, len(grid), 256))
    impulses[:, :, 20] = 1.0
    whole = [
        path.read_bytes(),
        write_sofa(folder / "ir.sofa", receiver, convention="GeneralFIR", responses=impulses).read_bytes(),
    ]
    tally = Tally("AES69 files")
    usual = sofa_contents._answer
    with SofaServer(folder) as server:
        sofa_contents._answer = server
        try:
            for number in range(first, first + count):
                random = np.random.default_rng([SEED, 4, number])
                path.write_bytes(whole[int(random.integers(2))])
                if random.random() < 0.5:
                    path.write_bytes(broken_bytes(path.read_bytes(), random, 20))
                else:
                    _odd_variables(path, random)
                tally.run(number, lambda: _used(read_sofa_file(path, "file")))
                said(tally)
        finally:
            sofa_contents._answer = usual
    tally.notes.update(server.ended)
    return [tally]


def _odd_variables(path: Path, random: Random) -> None:
    with h5py.File(path, "a") as file:
        for _ in range(int(random.integers(1, 4))):
            names = sorted(file)
            name = names[int(random.integers(len(names)))]
            match int(random.integers(8)):
                case 0:
                    del file[name]
                case 1 | 2:
                    rows = np.array(file[name][()], dtype="f8").copy() if isinstance(file[name], h5py.Dataset) else 0
                    if np.size(rows):
                        rows = np.atleast_1d(rows)
                        rows.flat[int(random.integers(rows.size))] = ODD_NUMBERS[int(random.integers(len(ODD_NUMBERS)))]
                        del file[name]
                        file[name] = rows
                case 3:
                    del file[name]
                    shape = tuple(int(size) for size in random.integers(0, 4, int(random.integers(0, 5))))
                    file[name] = random.standard_normal(shape)
                case 4:
                    odd: list[Any] = [b"text", h5py.Empty("f8"), np.array([True]), np.float16(1.0), np.arange(3), 1j]
                    del file[name]
                    file[name] = odd[int(random.integers(len(odd)))]
                case 5:
                    place = file if random.random() < 0.5 else file[name]
                    keys = ("Units", "Type", "SOFAConventions", "DataType", "RoomType")
                    key = keys[int(random.integers(len(keys)))]
                    text = ODD_TEXTS[int(random.integers(len(ODD_TEXTS)))].replace("\0", "")
                    place.attrs[key] = text if random.random() < 0.7 else float(random.random())
                case 6:
                    del file[name]
                    file[name] = h5py.SoftLink("/" + names[int(random.integers(len(names)))])
                case _:
                    dimensions = file[name].shape if isinstance(file[name], h5py.Dataset) else ()
                    if dimensions:
                        rows = np.array(file[name][()], dtype="f8")
                        del file[name]
                        file[name] = np.repeat(rows, 2, int(random.integers(len(dimensions))))


def fuzz_polars(folder: Path, first: int, count: int, said: Said = _silent) -> list[Tally]:
    """Cells, rows and bytes of tables."""
    angles = [float(angle) for angle in range(-180, 180, 30)]
    path = folder / "polar.csv"
    whole = [
        table(path, angles, phase=phase, mark=mark).read_text(encoding="utf-8").splitlines()
        for phase in (False, True)
        for mark in (",", ";")
    ]
    tally = Tally("tables of two orbits")
    for number in range(first, first + count):
        random = np.random.default_rng([SEED, 5, number])
        lines = list(whole[int(random.integers(len(whole)))])
        if random.random() < 0.7:
            content = "\n".join(_odd_rows(lines, random)).encode("utf-8", "replace")
        else:
            content = broken_bytes("\n".join(lines).encode(), random)
        path.write_bytes(content)
        tally.run(number, lambda: _used(read_polar_file(path, "file")))
        said(tally)
    return [tally]


def _odd_rows(lines: list[str], random: Random) -> list[str]:
    mark = ";" if ";" in lines[0] else ","
    gentle = random.random() < 0.4
    for _ in range(int(random.integers(1, 6))):
        at = int(random.integers(0 if random.random() < 0.1 else min(1, len(lines) - 1), len(lines)))
        cells = lines[at].split(mark)
        column = int(random.integers(len(cells)))
        match -1 if gentle else int(random.integers(6)):
            case -1:
                with contextlib.suppress(ValueError):
                    cells[column] = f"{float(cells[column]) + random.standard_normal() * 20.0:g}"
            case 0:
                cells[column] = str(ODD_NUMBERS[int(random.integers(len(ODD_NUMBERS)))])
            case 1:
                cells[column] = ODD_TEXTS[int(random.integers(len(ODD_TEXTS)))]
            case 2:
                lines.insert(at, lines[int(random.integers(len(lines)))])
                continue
            case 3 if len(lines) > 2:
                del lines[at]
                continue
            case 4:
                lines = [line for line in lines if random.random() < 0.5] or lines
                continue
            case _:
                cells.pop(column)
        if at < len(lines):
            lines[at] = mark.join(cells)
    return lines


def fuzz_impulses(folder: Path, first: int, count: int, said: Said = _silent) -> list[Tally]:
    """Tables and WAV files of folders."""
    home = folder / "irs"
    whole = impulse_folder(home, [0.0, 60.0, 120.0, 180.0, -120.0, -60.0], length=480)
    kept = {path.name: path.read_bytes() for path in whole.iterdir()}
    tally = Tally("folders of impulse responses")
    for number in range(first, first + count):
        random = np.random.default_rng([SEED, 6, number])
        shutil.rmtree(home)
        home.mkdir()
        broken = dict(kept)
        names = sorted(kept)
        for _ in range(int(random.integers(1, 3))):
            name = "angles.csv" if random.random() < 0.4 else names[int(random.integers(len(names)))]
            if name.endswith(".csv") and random.random() < 0.8:
                lines = _odd_rows(broken[name].decode("utf-8", "replace").splitlines() or ["x"], random)
                broken[name] = "\n".join(lines).encode("utf-8", "replace")
            elif random.random() < 0.5:
                broken[name] = broken_bytes(broken[name][:64], random) + broken[name][64:]
            elif random.random() < 0.7:
                size = len(broken[name]) - 64
                broken[name] = broken[name][:64] + random.bytes(size)
            else:
                broken[name] = broken_bytes(broken[name], random)
        for name, content in broken.items():
            (home / name).write_bytes(content)
        tally.run(number, lambda: _used(read_impulse_folder(home, "file")))
        said(tally)
    return [tally]
