"""Decay studies of a little room: traced once, and with figures put in by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from sim.placement.built_scene import build_scene
from sim.studies.decay.records import DecayStudy, RoomDecay
from sim.studies.decay.room_metrics import FIGURES
from sim.studies.decay.study import study_decay
from tests.studies.little_room import DESK, little_room


@cache
def traced() -> DecayStudy:
    """The little room with its desk, both loudspeakers, few rays."""
    scene = little_room(DESK)
    return study_decay(scene, build_scene(scene.blueprint, scene.folder), seed=1, most_rays=2048)


def with_figures(study: DecayStudy | None = None, *, error: float = 0.0, **values: Any) -> DecayStudy:
    """A study whose named figures are what is given, (octave,) or one number, everywhere alike, with one error."""
    study = study or traced()
    figures, errors = np.array(study.figures), np.array(study.errors)
    room = {name: getattr(study.room, name) for name in ("t20_s", "t20_error_s", "t30_s", "t30_error_s")}
    for name, value in values.items():
        figures[..., FIGURES.index(name)] = value
        errors[..., FIGURES.index(name)] = error
        if name in room:
            room[name] = np.broadcast_to(np.asarray(value, dtype=np.float64), (7,)).copy()
            room[name.replace("_s", "_error_s")] = np.full(7, error)
    return replace(study, figures=figures, errors=errors, room=RoomDecay(**room))
