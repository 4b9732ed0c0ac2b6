"""The plan of a sweep as text inside its file, and the key that tells one plan from another."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any, Final

import numpy as np

from .. import __version__
from ..acoustics.bands import octave_bands
from ..arrays import frozen
from ..blueprint.targets import Target
from ..studies.sweep_records import Axis, SweepPlan

LAYOUT: Final = 1
"""Raised whenever a dataset or its meaning changes."""


def plan_text(plan: SweepPlan) -> str:
    """Write a plan as JSON; numbers are read back equal."""
    told: dict[str, Any] = {
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
    return json.dumps(told, ensure_ascii=False)


def read_plan(text: str) -> SweepPlan:
    """Read what `plan_text` wrote; KeyError, TypeError or ValueError when it is damaged."""
    told = json.loads(text)
    axes = tuple(
        Axis(each["field"], each["words"], each["unit"], frozen(np.array(each["values"], dtype=np.float64)))
        for each in told["axes"]
    )
    octaves = told["octaves_hz"]
    return SweepPlan(
        scene_path=Path(told["scene_path"]), scene_digest=told["scene_digest"], title=told["title"],
        units=told["units"], axes=axes, together=bool(told["together"]), tied=bool(told["tied"]),
        loudspeakers=tuple(told["loudspeakers"]), drivers=tuple(tuple(each) for each in told["drivers"]),
        surfaces=tuple(told["surfaces"]), bands=octave_bands(octaves[0], octaves[-1]),
        target=Target.model_validate(told["target"]),
    )  # fmt: skip


def plan_key(plan: SweepPlan) -> str:
    """Return hex digits that differ when scene, values, surfaces or the program differ; the scene may have moved."""
    told = json.loads(plan_text(plan))
    del told["scene_path"]
    text = json.dumps([LAYOUT, __version__, told], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def difference(old: SweepPlan, new: SweepPlan) -> str:
    """Words on why a sweep cannot be continued by another plan."""
    if old.scene_digest != new.scene_digest:
        return "the scene has changed since it was begun"
    one, other = ([(a.field, a.values.tolist()) for a in plan.axes] for plan in (old, new))
    if one != other or (old.together, old.tied) != (new.together, new.tied):
        told = " and ".join(f"{a.field} at {len(a.values)} values" for a in old.axes)
        return f"it holds another sweep ({told})"
    return "it was begun by another version of the program"
