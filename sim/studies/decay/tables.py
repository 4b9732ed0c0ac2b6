"""Files of a decay study: curves and every figure with its standard error, as tables and as decay.h5.

The layout is documented in docs/reference/decay-file.md.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
from numpy.typing import NDArray

from sim import __version__
from sim.machine.whole_files import write_whole
from sim.showing.archive.sealed_hdf5 import sealed_hdf5
from sim.showing.numbers import number_cell, write_table, yes_cell
from sim.studies.decay.records import DecayStudy
from sim.studies.decay.room_metrics import FIGURES
from sim.studies.decay.text import NEGLECTED

PROGRAM: Final = "bounceplan"
LAYOUT: Final = 2
"""Raised whenever a dataset or its meaning changes."""
SCALES: Final = ("loudspeakers", "listeners", "octaves_hz", "figures", "time_s")
AXES: Final[dict[str, tuple[str, ...]]] = {
    "values": ("loudspeakers", "listeners", "octaves_hz", "figures"),
    "standard_errors": ("loudspeakers", "listeners", "octaves_hz", "figures"),
    "reached": ("loudspeakers", "listeners", "octaves_hz"),
    "followed_db": ("loudspeakers", "listeners", "octaves_hz"),
    "level_db": ("loudspeakers", "listeners", "octaves_hz", "time_s"),
    "level_error_db": ("loudspeakers", "listeners", "octaves_hz", "time_s"),
    "judged": ("octaves_hz",),
    **{
        f"room/{name}": ("octaves_hz",)
        for name in (
            "t20_s",
            "t20_error_s",
            "t30_s",
            "t30_error_s",
            "lowest_tolerated_s",
            "highest_tolerated_s",
            "answer",
            "sabine_s",
            "eyring_s",
            "mean_absorption",
        )
    },
    "initial_gap_ms": ("loudspeakers", "listeners"),
}
"""Every dataset that is no scale, with the scales of its axes."""


def write_decay_file(study: DecayStudy, path: Path) -> None:
    """Write a study to one file with a seal, under another name in the same folder until it is whole.

    Raises
    ------
    OutputError
        If the folder or the disk does not take the file.
    """

    def fill(file: h5py.File) -> None:
        _describe(file, study)
        for name, data in _datasets(study).items():
            _put(file, name, data)
        for name in SCALES:
            file[name].make_scale(name)
        for name, axes in AXES.items():
            for number, axis in enumerate(axes):
                file[name].dims[number].label = axis
                file[name].dims[number].attach_scale(file[axis])

    write_whole(path, sealed_hdf5("decay", LAYOUT, fill), "the file")


def _datasets(study: DecayStudy) -> dict[str, list[str] | NDArray[Any]]:
    count = len(study.octaves)
    gaps = np.array([gap.gap_ms for gap in study.gaps]).reshape(len(study.built.loudspeakers), -1)
    return {
        "loudspeakers": [one.name for one in study.built.loudspeakers],
        "listeners": list(study.built.listener_names),
        "octaves_hz": study.octaves.nominal_hz,
        "figures": list(FIGURES),
        "time_s": study.time_s,
        "values": study.figures,
        "standard_errors": study.errors,
        "reached": study.met,
        "followed_db": study.range_db,
        "level_db": study.level_db,
        "level_error_db": study.level_error_db,
        "judged": study.judged,
        "room/t20_s": study.room.t20_s,
        "room/t20_error_s": study.room.t20_error_s,
        "room/t30_s": study.room.t30_s,
        "room/t30_error_s": study.room.t30_error_s,
        "room/lowest_tolerated_s": study.aim.lower_s,
        "room/highest_tolerated_s": study.aim.upper_s,
        "room/answer": [verdict.answer for verdict in study.verdicts],
        "room/sabine_s": study.diffuse.sabine_s[-count:],
        "room/eyring_s": study.diffuse.eyring_s[-count:],
        "room/mean_absorption": study.diffuse.mean_absorption[-count:],
        "initial_gap_ms": gaps,
    }


def _put(file: h5py.File, name: str, data: list[str] | NDArray[Any]) -> None:
    if isinstance(data, list):
        file.create_dataset(name, data=data, dtype=h5py.string_dtype())
        return
    written = file.create_dataset(name, data=data)
    unit = next((unit for unit in ("s", "ms", "db", "hz") if name.endswith(f"_{unit}")), "")
    if unit:
        written.attrs["units"] = {"db": "dB", "hz": "Hz"}.get(unit, unit)


def _describe(file: h5py.File, study: DecayStudy) -> None:
    scene = study.scene
    file.attrs.update(
        {
            "program": PROGRAM,
            "kind": "decay",
            "layout": LAYOUT,
            "version": __version__,
            "title": scene.blueprint.title,
            "scene_hash": scene.digest,
            "seed": study.seed,
            "order": study.order,
            "rays": study.rays,
            "batches": study.batches,
            "bin_s": study.bin_s,
            "length_s": study.length_s,
            "wanted_percent": study.wanted_percent,
            "wanted_db": study.wanted_db,
            "transition_hz": study.transition_hz,
            "nominal_s": study.aim.nominal_s,
            "cautions": "\n".join(study.cautions),
            "left_out": "\n".join(NEGLECTED),
        }
    )


# Tables of a decay study: curves, and every figure with its standard error.
#
# UTF-8, comma separated; an empty cell means that there is nothing to say.

Row = list[str]
WHOLE_ROOM: Final = "all"
DECIMALS: Final = {"_s": 4, "_db": 3, "d50": 5, "_ms": 3, "_permille": 2, "_percent": 2}


def write_decay_tables(study: DecayStudy, folder: Path) -> None:
    """Write decay.csv and decay_figures.csv into a folder.

    Raises
    ------
    OutputError
        If one cannot be written.
    """
    octaves = [f"{what}_{hz:g}_hz_db" for hz in study.octaves.nominal_hz for what in ("level", "standard_error")]
    write_table(folder / "decay.csv", ["loudspeaker", "listener", "time_ms", *octaves], _curves(study))
    headings = [
        "loudspeaker",
        "listener",
        "octave_hz",
        "judged",
        "figure",
        "value",
        "standard_error",
        "reached",
        "answer",
    ]
    write_table(folder / "decay_figures.csv", headings, [*_figures(study), *_room(study)])


def _curves(study: DecayStudy) -> Iterator[Row]:
    for s, place, name, listener in study.pairs():
        for n, time in enumerate(study.time_s):
            cells = [
                number_cell(float(values[s, place, o, n]), 3)
                for o in range(len(study.octaves))
                for values in (study.level_db, study.level_error_db)
            ]
            yield [name, listener, f"{1000.0 * time:g}", *cells]


def _figures(study: DecayStudy) -> Iterator[Row]:
    for s, place, name, listener in study.pairs():
        for o, hz in enumerate(study.octaves.nominal_hz):
            start = [name, listener, f"{hz:g}", yes_cell(bool(study.judged[o]))]
            for f, figure in enumerate(FIGURES):
                value, error = float(study.figures[s, place, o, f]), float(study.errors[s, place, o, f])
                yield [*start, figure, *_pair(figure, value, error), _reached(study, figure, value, error), ""]
            yield [*start, "followed_db", number_cell(float(study.range_db[s, place, o]), 1), "", "", ""]


def _room(study: DecayStudy) -> Iterator[Row]:
    room, count = study.room, len(study.octaves)
    for o, hz in enumerate(study.octaves.nominal_hz):
        start = [WHOLE_ROOM, WHOLE_ROOM, f"{hz:g}", yes_cell(bool(study.judged[o]))]
        answer = study.verdicts[o].answer
        yield [*start, "t20_s", *_pair("t20_s", float(room.t20_s[o]), float(room.t20_error_s[o])), "", answer]
        yield [*start, "t30_s", *_pair("t30_s", float(room.t30_s[o]), float(room.t30_error_s[o])), "", ""]
        for figure, value in (
            ("lowest_tolerated_s", study.aim.lower_s[o]),
            ("highest_tolerated_s", study.aim.upper_s[o]),
            ("sabine_s", study.diffuse.sabine_s[-count:][o]),
            ("eyring_s", study.diffuse.eyring_s[-count:][o]),
        ):
            yield [*start, figure, number_cell(float(value), 4), "", "", ""]


def _reached(study: DecayStudy, figure: str, value: float, error: float) -> str:
    """Whether the wanted error was reached; only T20 and C50 have one."""
    if figure == "t20_s":
        return yes_cell(error <= 0.01 * study.wanted_percent * value)
    return yes_cell(error <= study.wanted_db) if figure == "c50_db" else ""


def _pair(figure: str, value: float, error: float) -> Row:
    decimals = next(many for ending, many in DECIMALS.items() if figure.endswith(ending))
    return [number_cell(value, decimals), number_cell(error, decimals)]
