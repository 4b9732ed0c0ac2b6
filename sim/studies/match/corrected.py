"""The scene with the ear where the measurement puts it: before and after in words, and written only when asked."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.blueprint.reader import SceneFile, made_scene
from sim.blueprint.writing import copy_named_files, to_toml
from sim.errors import OutputError, SceneError
from sim.machine.whole_files import write_whole
from sim.studies.match.records import Match


def corrected_scene(found: Match) -> SceneFile:
    """The scene with its ear, or the second seat if that was measured, moved to where the microphone was.

    Raises
    ------
    SceneError
        If the measured peaks do not tell where it was, or no ear can be there.
    """
    if not np.isfinite(found.seat.error_m).all():
        raise SceneError("--corrected", "the peaks do not tell where the microphone was", "leave it out")
    scene = found.results.scene
    listener = scene.blueprint.listener
    second = found.numbers(found.responses[0])[1] == 1 and listener.second_seat is not None
    point = listener.second_seat.ear if second and listener.second_seat is not None else listener.ear
    depth, across, up = (float(value) for value in found.seat.shift_m)
    moved = point.model_copy(
        update={
            "from_front": round(point.from_front + depth, 4),
            "from_left": round(point.from_left + across, 4),
            "up": round(point.up + up, 4),
        }
    )
    if second and listener.second_seat is not None:
        changed = listener.model_copy(update={"second_seat": listener.second_seat.model_copy(update={"ear": moved})})
    else:
        changed = listener.model_copy(update={"ear": moved})
    return made_scene(scene.blueprint.model_copy(update={"listener": changed}), scene.folder, scene.path)


def write_corrected(found: Match, path: Path) -> None:
    """Write the corrected scene, with the files it names beside it.

    Raises
    ------
    SceneError
        As `corrected_scene`.
    OutputError
        If something cannot be written.
    """
    scene = corrected_scene(found)
    write_whole(path, to_toml(scene.blueprint), "the scene")
    try:
        copy_named_files(scene.blueprint, scene.folder, path.parent)
    except OSError as fault:
        raise OutputError(f"{path} cannot be written ({fault.strerror}).") from None
