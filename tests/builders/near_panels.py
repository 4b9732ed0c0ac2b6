"""Absorbing panels on a rigid wall, flush with it and proud of it, and a mat on a desk, as boundary elements.

    python -m tests.builders.near_panels            # rewrites tests/builders/data/near_panels.json (some minutes)
    python -m tests.builders.near_panels "wool 50 mm, flush"

Panels are locally reacting: sound runs straight through them only.  Each wall has four places to hear, of which some
have their reflection point on the panel, some beside it.  Meshes, extrapolation and places are those of `near_scenes`.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from tests.builders.near_bem import Admittance, Box, images, radiated, solve
from tests.builders.near_scenes import (
    LARGEST_M,
    PANELS_A_WAVELENGTH,
    TOP,
    WALL,
    NearScene,
    Point,
    Reference,
    desk,
    felt,
    screen,
    sees,
    store,
    toward_no_panels,
)
from tests.builders.plate_bem import SPEED_M_S

SAVED = Path(__file__).parent / "data" / "near_panels.json"
OUT = np.eye(3)[[1, 2, 0]]
"""Axes of what lies on the front wall: from left, up, and out of the wall."""
SOURCES: tuple[Point, ...] = ((1.1, 3.5, 1.3), (1.3, 4.6, 0.9))
EARS: tuple[Point, ...] = ((1.7, 4.5, 1.2), (1.0, 4.2, 0.7), (1.5, 3.3, 1.6), (2.0, 4.1, 1.1))
RESISTIVITY = 12000


@dataclass(frozen=True)
class PanelScene:
    """A scene file that has panels, and the bodies that stand for these.

    kind; among: scene file, furniture, rigid planes and places; panels: bodies; flush: whether `trace` is asked about
    panels in the plane of their wall, which no scene file can have.
    """

    kind: str
    among: NearScene
    panels: tuple[Box, ...]
    flush: bool = False

    @property
    def ears(self) -> tuple[Point, ...]:
        """Places to hear."""
        return self.among.ears

    @property
    def bodies(self) -> list[Box]:
        """All that stands there."""
        return [piece.box for piece in self.among.pieces] + list(self.panels)

    def text(self, ears: tuple[Point, ...]) -> str:
        """The scene file for one or two of the ears."""
        return self.among.text(ears)


def _table(surface: str, spans: dict[str, tuple[float, float]], depth: float, resistivity: float) -> str:
    rows = [f"{key} = [{low:.4f}, {high:.4f}]" for key, (low, high) in spans.items()]
    layer = f'{{ porous = "{1000.0 * depth:g} mm", flow_resistivity = {resistivity:g}, divided = true }}'
    made = f"[materials.stuff]\nlayers = [{layer}]"
    return "\n".join(["[[panels]]", 'name = "panel"', f'surface = "{surface}"', *rows, 'material = "stuff"', made])


def _on_wall(depth: float, size: tuple[float, float], rims: bool = False, *, flush: bool = False) -> PanelScene:
    """A panel on the front wall about 4 m from the left and 1.2 m up; rims: soft like its face."""
    beta = felt(depth, RESISTIVITY)
    soft: dict[int, Admittance] = dict.fromkeys((0, 1, 2, 3, 5) if rims else (5,), beta)
    middle = np.array([(-0.5 if flush else 0.5) * depth, 4.0, 1.2])
    spans = {
        "from_left": (4.0 - 0.5 * size[0], 4.0 + 0.5 * size[0]),
        "up": (1.2 - 0.5 * size[1], 1.2 + 0.5 * size[1]),
    }
    more = _table("front wall", spans, depth, RESISTIVITY)
    among = NearScene("panels", (), WALL, SOURCES, EARS, more, to_hz=2100.0)
    return PanelScene("panels", among, (Box(middle, np.array([*size, depth]), OUT, soft, flush),), flush)


MAT_SOURCES: tuple[Point, ...] = ((3.12, 3.62, 1.02), (3.20, 4.25, 0.90))


def _with_mat(
    depth: float,
    resistivity: float,
    from_front: tuple[float, float],
    from_left: tuple[float, float],
    among: NearScene | None = None,
) -> PanelScene:
    """A mat on the desk, which is the first piece; among: all else."""
    low = np.array([from_front[0], from_left[0], TOP])
    high = np.array([from_front[1], from_left[1], TOP + depth])
    soft = dict.fromkeys(range(6), felt(depth, resistivity))
    body = Box(0.5 * (low + high), high - low, np.eye(3), soft)
    more = _table("piece 1 top", {"from_front": from_front, "from_left": from_left}, depth, resistivity)
    rest = NearScene("mat", (desk(),), sources=MAT_SOURCES) if among is None else among
    return PanelScene("mat", replace(rest, more=more, to_hz=2100.0), (body,))


BEFORE_SEAT = NearScene(
    "mat",
    (desk(),),
    sources=((3.08, 3.80, 0.95), (3.04, 4.35, 1.10)),
    ears=((4.25, 4.02, 1.16), (4.02, 3.70, 1.32), (4.40, 4.20, 1.00), (3.90, 4.12, 1.22)),
)
UNDER_SCREEN = NearScene(
    "mat",
    (desk(), screen((3.22, 4.0, TOP), (0.55, 0.33))),
    sources=((3.14, 3.60, 1.02), (3.26, 4.42, 0.92)),
)
NARROW, WIDE = (0.6, 1.2), (1.2, 1.2)
SCENES: dict[str, PanelScene] = {
    "wool 50 mm, flush": _on_wall(0.05, NARROW, flush=True),
    "wool 100 mm, flush": _on_wall(0.10, NARROW, flush=True),
    "wool 50 mm, flush, 1.2 m wide": _on_wall(0.05, WIDE, flush=True),
    "wool 50 mm, proud, hard rims": _on_wall(0.05, NARROW),
    "wool 50 mm, proud, soft rims": _on_wall(0.05, NARROW, rims=True),
    "wool 100 mm, proud, hard rims": _on_wall(0.10, NARROW),
    "wool 100 mm, proud, soft rims": _on_wall(0.10, NARROW, rims=True),
    "felt mat 10 mm on a hard desk": _with_mat(0.010, 30000.0, (3.05, 3.60), (3.60, 4.40)),
    "foam mat 20 mm on a hard desk": _with_mat(0.020, 15000.0, (3.20, 3.60), (3.50, 4.30)),
    "felt mat 8 mm before the seat": _with_mat(0.008, 40000.0, (3.30, 3.60), (3.72, 4.40), BEFORE_SEAT),
    "felt mat 10 mm before a screen": _with_mat(0.010, 30000.0, (3.28, 3.60), (3.65, 4.35), UNDER_SCREEN),
}


@dataclass(frozen=True)
class PanelReference(Reference):
    """As `Reference`, with what the wall alone would send back.

    Attributes
    ----------
    mirrored
        (source, ear, f) by the rigid planes, or 0 where there are none.
    """

    scene: PanelScene  # type: ignore[assignment]
    mirrored: np.ndarray


def references() -> list[PanelReference]:
    """All stored scenes in the order of `SCENES`."""
    saved, found = json.loads(SAVED.read_text(encoding="utf-8")), []
    for name, scene in SCENES.items():
        if name not in saved:
            continue
        frequencies = np.array(saved[name]["frequencies_hz"])
        ratio, mesh = (np.array(saved[name][key]) for key in ("total_re_direct", "mesh_db"))
        sources, ears = np.array(scene.among.sources), np.array(scene.ears)
        waves = [
            np.array([radiated(sources, ears, 2.0 * np.pi * f / SPEED_M_S, images(planes)).T for f in frequencies])
            for planes in ((), scene.among.planes)
        ]
        direct, both = (np.moveaxis(one, 0, 2) for one in waves)
        lit = np.array([[sees(scene.among, s, e) for e in scene.ears] for s in scene.among.sources])
        total = direct * (ratio @ np.array([1.0, 1.0j]))
        found.append(PanelReference(name, scene, frequencies, direct, total, mesh, lit, both - direct))  # type: ignore[arg-type]
    return found


def _incident(sources: np.ndarray, mirrors: tuple[np.ndarray, np.ndarray], points: np.ndarray, k: float) -> np.ndarray:
    return radiated(sources, points, k, mirrors)


def make(names: list[str]) -> None:
    """Solve the named scenes on both meshes and store them."""
    for name in names:
        scene, begun = SCENES[name], time.monotonic()
        sources, ears, planes = np.array(scene.among.sources), np.array(scene.ears), scene.among.planes
        incident = partial(_incident, sources, images(planes))
        ratios, apart = [], []
        for frequency in scene.among.frequencies_hz:
            totals, counts = [], []
            for count, largest in zip(PANELS_A_WAVELENGTH, LARGEST_M, strict=True):
                step = min(largest, SPEED_M_S / frequency / count)
                total, panels = solve(scene.bodies, planes, incident, ears, frequency, step)
                totals.append(total.T / radiated(sources, ears, 2.0 * np.pi * frequency / SPEED_M_S, images(())).T)
                counts.append(panels)
            best, off = toward_no_panels(totals, counts)
            ratios.append(best)
            apart.append(off)
        store(
            SAVED,
            name,
            scene.among.frequencies_hz,
            ratios,
            apart,
            f"{counts[1]} panels, {time.monotonic() - begun:.0f} s",
        )


if __name__ == "__main__":
    make(sys.argv[1:] or list(SCENES))
