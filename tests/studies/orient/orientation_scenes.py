"""Scenes for orientation studies: a pair in a plain room with a desk, of any model."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sim.blueprint.reader import SceneFile
from tests.built_scenes import NOWHERE, blueprint_of, box, desk, loudspeaker

EAR = (1.6, 1.7, 1.20)


def pair(
    kind: str,
    *,
    height: float = 1.20,
    standing: dict[str, Any] | None = None,
    furniture: list[Any] | None = None,
    model: dict[str, Any] | None = None,
    **more: Any,
) -> SceneFile:
    """Two loudspeakers of a kind, mirror images, aimed at the ear unless told otherwise."""
    reported = {"model": "own", "tilt_deg": "ear", **(standing or {}), **more}
    records = [
        loudspeaker((0.5, across, height), name=name, **reported) for name, across in (("left", 1.1), ("right", 2.3))
    ]
    blueprint = blueprint_of(
        box(4.2, 3.4, 2.4),
        records,
        EAR,
        models={"own": {"kind": kind, **(model or {})}},
        furniture=furniture if furniture is not None else [desk((0.8, 1.4), (0.8, 2.6), 0.70)],
    )
    return SceneFile(blueprint, Path("made-up.toml"), NOWHERE, "0" * 12, (), ())
