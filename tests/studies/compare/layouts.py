"""The bedroom in variants, traced with first reflections only."""

from __future__ import annotations

from pathlib import Path

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results

SCENES = Path(__file__).resolve().parents[3] / "scenes"
ON_DESK = (SCENES / "bedroom-on-desk" / "scene.toml").read_text(encoding="utf-8")
ON_STANDS = (SCENES / "bedroom-on-stands" / "scene.toml").read_text(encoding="utf-8")


def traced(text: str, order: int = 1, *, flat: bool = False) -> Results:
    """Trace a scene text that names no mesh; `flat`: mirrors alone, without edges and sound waves."""
    scene = parse_scene(text, Path("nowhere"))
    return trace_scene(scene, order=order, edges=not flat, waves_to_hz=0.0 if flat else None)


def with_points(text: str) -> str:
    """The same layout with loudspeakers that are one bare point, the tweeter."""
    assert 'model = "five-inch"' in text
    return text.replace('model = "five-inch"', 'model = "point"')
