"""Traces kept from one command to the next: what was traced before is read back, as long as nothing of it has changed.

`trace`, `treat`, `report`, `sheets`, `compare` and `explain` of one scene need the same trace, and `sweep` needs that
of its best.  It is kept as a file of results in the folder for what can be made again, under a name that is a digest of
all that a trace depends on: the scene as it was understood, every file that it names, the program itself, its libraries
and the processor.  A file that cannot be read or written is no trouble: the scene is traced.
"""

from __future__ import annotations

import hashlib
import os
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Final

from sim.blueprint.named_files import named_files
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.errors import BounceplanError, SceneError
from sim.machine.kernel_cache import fingerprint
from sim.machine.private_folder import private_folder
from sim.pipeline import build, trace
from sim.placement.built_scene import BuiltScene
from sim.progress import Report, say_nothing
from sim.responses.records import Results
from sim.showing.archive.results import read_results, write_results

FRESH: Final = "BOUNCEPLAN_FRESH"
"""In the environment, and not empty: everything is traced anew, and nothing is kept."""
SLOW_S: Final = 1.0
"""What took less is traced again in less time than it is worth keeping."""
MOST_BYTES, MOST_FILES, MOST_DAYS = 400_000_000, 60, 30.0
LIBRARIES: Final = ("h5py", "mapbox_earcut", "scipy", "shapely", "trimesh")
SUFFIX: Final = ".h5"


def trace_kept(
    scene: AnyScene, report: Report = say_nothing, *, order: int | None = None, waves_to_hz: float | None = None
) -> Results:
    """Trace a scene as `sim.pipeline.trace` does, or read what that gave when nothing was different.

    Raises
    ------
    SceneError
        As `trace`.
    """
    read = read_scene(scene)
    kept = kept_trace(read, order, waves_to_hz)
    if kept is not None:
        report("traced before, and nothing has changed")
        return kept
    began = time.perf_counter()
    results = trace(read, report, order=order, waves_to_hz=waves_to_hz)
    if time.perf_counter() - began > SLOW_S:
        keep_trace(results, order, waves_to_hz)
    return results


def kept_trace(scene: SceneFile, order: int | None = None, waves_to_hz: float | None = None) -> Results | None:
    """What tracing a scene gave when nothing was different; None where that is not kept."""
    with suppress(OSError, BounceplanError):
        path = _path(scene, order, waves_to_hz)
        if path is not None:
            kept = read_results(path)
            os.utime(path)
            return replace(kept, scene=scene)
    return None


def keep_trace(results: Results, order: int | None = None, waves_to_hz: float | None = None) -> None:
    """Keep what tracing its scene with these gave for the next command that needs it, where it can be kept."""
    with suppress(OSError, BounceplanError):
        path = _path(results.scene, order, waves_to_hz)
        if path is not None:
            _keep(results, path)


def _path(scene: SceneFile, order: int | None, waves_to_hz: float | None) -> Path | None:
    folder = _folder(os.environ)
    return None if folder is None else folder / f"{key_of(scene, order, waves_to_hz)}{SUFFIX}"


def results_of(
    scene: AnyScene | Results,
    report: Report = say_nothing,
    *,
    order: int | None = None,
    refuse: Callable[[BuiltScene], object] = lambda _: None,
) -> Results:
    """What was traced already, or the trace of a scene; what `refuse` raises for is refused before that long part.

    Raises
    ------
    SceneError
        As `trace`, and if an order is given for what is traced already.
    """
    if isinstance(scene, Results):
        if order is not None:
            raise SceneError("order", "these results are traced already", "leave it out, or give the scene")
        refuse(scene.built)
        return scene
    read, built = build(scene)
    refuse(built)
    return trace_kept(read, report, order=order)


def key_of(scene: SceneFile, order: int | None, waves_to_hz: float | None) -> str:
    """Digest of all that a trace depends on, as hex digits; raises OSError where a named file cannot be read."""
    digest = hashlib.sha256(f"{program()}\n{order} {waves_to_hz}\n".encode())
    digest.update(scene.blueprint.model_dump_json().encode())
    for path in named_files(scene.blueprint, scene.folder):
        content = path.read_bytes()
        digest.update(f"\n{path.name} {len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()[:32]


@cache
def program() -> str:
    """Hex digits that differ when the program, a library it calculates with or the processor does."""
    package = Path(str(sys.modules[__name__.partition(".")[0]].__file__)).parent
    digest = hashlib.sha256(fingerprint().encode())
    for source in sorted(each for each in package.rglob("*") if each.is_file() and "__pycache__" not in each.parts):
        content = source.read_bytes()
        digest.update(f"\n{source.relative_to(package).as_posix()} {len(content)}\n".encode())
        digest.update(content)
    digest.update("\n".join(f"{name} {version(name)}" for name in LIBRARIES).encode())
    return digest.hexdigest()


def _folder(environment: Mapping[str, str]) -> Path | None:
    """Folder of kept traces that nobody else may write to, made if need be; None where there can be none."""
    return None if environment.get(FRESH) else private_folder(environment, "traces")


def _keep(results: Results, path: Path) -> None:
    """Keep a trace, and let go of what was not used for long, or is too much."""
    with suppress(OSError, BounceplanError):
        write_results(results, path)
        used = sorted(((one.stat(), one) for one in path.parent.glob(f"*{SUFFIX}")), key=lambda one: -one[0].st_mtime)
        held, limit = 0, time.time() - MOST_DAYS * 86_400.0
        for number, (found, one) in enumerate(used):
            held += found.st_size
            if number >= MOST_FILES or held > MOST_BYTES or found.st_mtime < limit:
                one.unlink(missing_ok=True)
