"""Scenes: the demo rooms with entries and bytes broken; all are checked, a few of those accepted are traced."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w

from sim.pipeline import build, trace
from tests.fuzz.mutations import broken_bytes, broken_table
from tests.fuzz.tally import SEED, Tally

DEMOS = sorted((Path(__file__).resolve().parents[2] / "scenes").glob("*/scene.toml"))
MESH = "attic.obj"


def scene_cases(folder: Path, first: int, count: int) -> Iterator[tuple[int, bytes]]:
    """Numbers and texts of broken scenes; a mesh that some of them name lies in the folder."""
    shutil.copy(next(path.parent / MESH for path in DEMOS if (path.parent / MESH).is_file()), folder / MESH)
    texts = [path.read_bytes() for path in DEMOS]
    tables: list[dict[str, Any]] = [tomllib.loads(text.decode()) for text in texts]
    for number in range(first, first + count):
        random = np.random.default_rng([SEED, 1, number])
        chosen = int(random.integers(len(DEMOS)))
        if random.random() < 0.2:
            yield number, broken_bytes(texts[chosen], random)
            continue
        try:
            content = tomli_w.dumps(broken_table(tables[chosen], tables, random)).encode("utf-8", "surrogatepass")
        except (TypeError, ValueError):
            continue
        yield number, broken_bytes(content, random, 2) if random.random() < 0.1 else content


def fuzz_scenes(
    folder: Path, first: int, count: int, traced_fraction: float = 0.0, said: Callable[[Tally], None] = lambda _: None
) -> list[Tally]:
    """Check scenes, and trace a share of the accepted with first reflections only."""
    checked, traced = Tally("scenes, check"), Tally("scenes, trace")
    path = folder / "scene.toml"
    for number, content in scene_cases(folder, first, count):
        path.write_bytes(content)
        accepted = checked.run(number, lambda: build(path) and None)
        if accepted and np.random.default_rng([SEED, 2, number]).random() < traced_fraction:
            traced.run(number, lambda: _trace(path))
        said(checked)
    return [checked, traced]


def _trace(path: Path) -> None:
    found = trace(path, order=1)
    assert np.isfinite([arrival.main.delay_ms for arrival in found.responses.arrivals]).all()
