"""sweep.h5: the plan of a sweep as text with its key, and the figures of every layout."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np

from sim import __version__
from sim.acoustics.bands import octave_bands
from sim.arrays import FloatArray, IntArray, frozen
from sim.blueprint.treatment import Target
from sim.errors import OutputError
from sim.layouts.figures import LayoutFigures
from sim.layouts.records import DONE, Axis, SweepPlan
from sim.studies.sweep.journal import NAMES, JournalRecord

LAYOUT: Final = 1
"""Raised whenever a dataset or its meaning changes."""


def plan_text(plan: SweepPlan) -> str:
    """Write a plan as JSON; numbers are read back equal."""
    reported: dict[str, Any] = {
        "scene_path": str(plan.scene_path),
        "scene_digest": plan.scene_digest,
        "title": plan.title,
        "units": plan.units,
        "axes": [
            {"field": axis.field, "words": axis.words, "unit": axis.unit, "values": axis.values.tolist()}
            for axis in plan.axes
        ],
        "together": plan.together,
        "tied": plan.tied,
        "loudspeakers": plan.loudspeakers,
        "drivers": plan.drivers,
        "surfaces": plan.surfaces,
        "octaves_hz": plan.bands.nominal_hz.tolist(),
        "target": plan.target.model_dump(mode="json"),
    }
    return json.dumps(reported, ensure_ascii=False)


def read_plan(text: str) -> SweepPlan:
    """Read what `plan_text` wrote; KeyError, TypeError or ValueError when it is damaged."""
    reported = json.loads(text)
    axes = tuple(
        Axis(each["field"], each["words"], each["unit"], frozen(np.array(each["values"], dtype=np.float64)))
        for each in reported["axes"]
    )
    octaves = reported["octaves_hz"]
    return SweepPlan(
        scene_path=Path(reported["scene_path"]),
        scene_digest=reported["scene_digest"],
        title=reported["title"],
        units=reported["units"],
        axes=axes,
        together=bool(reported["together"]),
        tied=bool(reported["tied"]),
        loudspeakers=tuple(reported["loudspeakers"]),
        drivers=tuple(tuple(each) for each in reported["drivers"]),
        surfaces=tuple(reported["surfaces"]),
        bands=octave_bands(octaves[0], octaves[-1]),
        target=Target.model_validate(reported["target"]),
    )


def plan_key(plan: SweepPlan) -> str:
    """Return hex digits that differ when scene, values, surfaces or the program differ; the scene may have moved."""
    reported = json.loads(plan_text(plan))
    del reported["scene_path"]
    text = json.dumps([LAYOUT, __version__, reported], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def difference(old: SweepPlan, new: SweepPlan) -> str:
    """Words on why a sweep cannot be continued by another plan."""
    if old.scene_digest != new.scene_digest:
        return "the scene has changed since it was begun"
    one, other = ([(a.field, a.values.tolist()) for a in plan.axes] for plan in (old, new))
    if one != other or (old.together, old.tied) != (new.together, new.tied):
        reported = " and ".join(f"{a.field} at {len(a.values)} values" for a in old.axes)
        return f"it holds another sweep ({reported})"
    return "it was begun by another version of the program"


# sweep.h5: the figures of every layout, rewritten under another name and put in place, so that it is always whole.
#
# Datasets lie in one piece and uncompressed, so that they can be read where they are: memory does not grow with them.

PROGRAM: Final = "bounceplan"
BLOCK: Final = 256
"""Points that are put into the file at once."""
MEANINGS: Final[Mapping[str, str]] = {
    "level_db": "(point, loudspeaker, surface, octave) dB re direct; -inf where nothing arrives",
    "worst_db": "(point, loudspeaker, surface) highest level among the target's octaves",
    "delay_ms": "(point, loudspeaker, surface) after the direct sound",
    "point_m": "(point, loudspeaker, driver, surface, 3) reflection point: from_front, from_left, up",
    "clear_m": "(point, loudspeaker, driver, surface) how far inside the surface it lies, negative outside",
    "hidden": "(point, loudspeaker, driver, surface) 1 where something blocks it",
    "early_db": "(point, loudspeaker) all first-order arrivals inside the target's window",
    "over_target_db": "(point, loudspeaker) highest arrival inside the window less the target's level",
}


def write_empty(path: Path, plan: SweepPlan) -> None:
    """Write the file of a sweep of which nothing is known yet."""
    with h5py.File(str(path), "w") as file:
        file.attrs["program"] = PROGRAM
        file.attrs["kind"] = "sweep"
        file.attrs["layout"] = LAYOUT
        file.attrs["version"] = __version__
        file.attrs["title"] = plan.title
        file.attrs["scene_hash"] = plan.scene_digest
        file.attrs["key"] = plan_key(plan)
        file.create_dataset("plan", data=plan_text(plan))
        state = file.create_dataset("state", data=np.zeros(plan.points, dtype="<i8"))
        state.attrs["meaning"] = "(point,) 0 open, 1 done, 2 impossible; all combinations, the last axis fastest"
        _write_reasons(file, {})
        for name, shape in plan.figure_shapes().items():
            data = file.create_dataset(f"figures/{name}", (plan.points, *shape), dtype="<f8", fillvalue=np.nan)
            if data.size:
                data[0] = np.full(shape, np.nan)  # the place in the file is taken now
            data.attrs["meaning"] = MEANINGS[name]
        for number, axis in enumerate(plan.axes):
            values = file.create_dataset(f"axes/{number}", data=axis.values)
            values.attrs["field"] = axis.field
            values.attrs["unit"] = "m" if axis.unit not in ("degrees", "") else axis.unit
    sync_file(path)


def put_in(path: Path, records: Iterable[JournalRecord]) -> None:
    """Add records to the file at `path`; a kill at any moment leaves the old file or the new one."""
    part = path.with_name(f".{path.name}.part")
    try:
        shutil.copyfile(path, part)
        _put_into(part, records)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    sync_folder(path.parent)


def _put_into(part: Path, records: Iterable[JournalRecord]) -> None:
    with h5py.File(str(part), "r+") as file:
        reasons = read_reasons(file)
        state = file["state"][()]
        block: dict[int, JournalRecord] = {}
        for record in records:
            state[record.point] = record.state
            if record.state != DONE:
                reasons[record.point] = record.reason
                continue
            block[record.point] = record
            if len(block) == BLOCK:
                _write_block(file, block)
                block = {}
        _write_block(file, block)
        file["state"][...] = state
        _write_reasons(file, reasons)
    sync_file(part)


def _write_block(file: h5py.File, block: Mapping[int, JournalRecord]) -> None:
    """Write figures of some points, neighbours in one go."""
    points = np.array(sorted(block), dtype=np.int64)
    for run in np.split(points, np.flatnonzero(np.diff(points) != 1) + 1):
        if not run.size:
            continue
        rows = np.stack([block[int(point)].numbers() for point in run])
        for name, part in split_figures(file, rows).items():
            file[f"figures/{name}"][run[0] : run[-1] + 1] = part


def split_figures(file: h5py.File, rows: FloatArray) -> dict[str, FloatArray]:
    """Cut rows (n, all numbers of a layout) into the arrays (n, ...) of its figures."""
    return split_rows({name: file[f"figures/{name}"].shape[1:] for name in NAMES}, rows)


def split_rows(shapes: Mapping[str, tuple[int, ...]], rows: FloatArray) -> dict[str, FloatArray]:
    """Cut rows (n, all numbers of a layout) into arrays (n, ...) of these shapes."""
    ends = np.cumsum([int(np.prod(shapes[name])) for name in NAMES])
    pieces = np.split(rows, ends[:-1], axis=1)
    return {name: piece.reshape(len(rows), *shapes[name]) for name, piece in zip(NAMES, pieces, strict=True)}


def read_file(path: Path) -> tuple[SweepPlan, str, IntArray, dict[int, str], LayoutFigures]:
    """Read plan, key, state, reasons and figures; the figures stay on the disk until looked at.

    Raises
    ------
    OutputError
        If it is no whole file of a sweep, or one of another layout.
    """
    try:
        with h5py.File(str(path), "r") as file:
            if file.attrs.get("program") != PROGRAM or file.attrs.get("kind") != "sweep":
                raise OutputError(f"{path}: this is no file of a sweep; name a folder that bounceplan sweep has made.")
            if int(file.attrs["layout"]) != LAYOUT:
                raise OutputError(
                    f"{path}: it was written by {PROGRAM} {file.attrs.get('version', '?')} in another layout;"
                    " sweep again with --replace."
                )
            plan = read_plan(file["plan"].asstr()[()])
            places = {name: (file[f"figures/{name}"].shape, file[f"figures/{name}"].id.get_offset()) for name in NAMES}
            state = file["state"][()]
            reasons, key = read_reasons(file), str(file.attrs["key"])
        figures = LayoutFigures(*(_on_disk(path, *places[name]) for name in NAMES))
    except (OSError, KeyError, ValueError, TypeError) as fault:
        words = str(fault.args[0]) if fault.args else type(fault).__name__
        raise OutputError(f"{path}: this is not a whole file of a sweep ({words.splitlines()[0]}).") from None
    return plan, key, state, reasons, figures


def _on_disk(path: Path, shape: tuple[int, ...], offset: int | None) -> FloatArray:
    """Array in the file, read when looked at; what is written into it stays in memory."""
    if offset is None or not np.prod(shape):
        return np.full(shape, np.nan)
    return np.memmap(path, dtype="<f8", mode="c", offset=offset, shape=shape)


def read_reasons(file: h5py.File) -> dict[int, str]:
    """Reasons of the impossible points."""
    texts = file["impossible/reason"].asstr()[()]
    return {int(point): str(text) for point, text in zip(file["impossible/point"][()], texts, strict=True)}


def _write_reasons(file: h5py.File, reasons: Mapping[int, str]) -> None:
    points = sorted(reasons)
    if "impossible" in file:
        if len(file["impossible/point"]) == len(points):
            return
        del file["impossible"]
    texts: Any = np.array([reasons[point] for point in points], dtype=object)
    file.create_dataset("impossible/point", data=np.array(points, dtype="<i8"))
    file.create_dataset("impossible/reason", data=texts, dtype=h5py.string_dtype())


def sync_file(path: Path) -> None:
    """See a closed file onto the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """See the names in a folder onto the disk, where the system knows how."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)
