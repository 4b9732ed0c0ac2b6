"""The first run on a machine: kernels compiled group by group, and said aloud, before anything else is begun.

Kernels are compiled when they are first called, which takes half a minute in all and would look like a program that
hangs.  So a command first asks whether the groups it will want are there, and compiles those that are not by working on
a little room with one of everything; what it says is what is missing, not whether this is the first run of all.

Run: python -m sim.compiling        compiles whatever is missing, as an installer may do at its end
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import BounceplanError
from sim.progress import Report, say_nothing

if TYPE_CHECKING:
    from sim.blueprint.schema import Blueprint
    from sim.placement.built_scene import BuiltScene


_ROOM: Final = """
title = "A little room with one of everything, made up"
[room]
box = { width = 3.0, depth = 4.0, height = 2.5 }
[listener]
ear = { from_front = 2.0, from_left = 1.4, up = 1.2 }
[models.small]
kind = "two-way"
width = 0.2
height = 0.3
depth = 0.25
crossovers_hz = [2000]
[[loudspeakers]]
name = "left"
model = "small"
acoustic_axis = { from_front = 0.9, from_left = 0.9, up = 1.1 }
[[furniture]]
kind = "desk"
name = "desk"
from_front = [1.2, 1.8]
from_left = [0.8, 2.2]
top = 0.7
"""


def compile_kernels(progress: Report | None = None, groups: Iterable[str] | None = None) -> int:
    """Compile the kernels of some groups, of all if left out, as far as they are not compiled yet.

    `progress` is called with a sentence before anything that takes long, and never where nothing is missing.  Returns
    how many groups were compiled.

    Raises
    ------
    BounceplanError
        For a group that there is not.
    """
    from sim.machine.kernel_cache import kernel_folder

    say = progress or say_nothing
    wanted = tuple(GROUPS) if groups is None else tuple(groups)
    for name in wanted:
        if name not in GROUPS:
            raise BounceplanError(f"there is no group of kernels called {name!r}; there are {', '.join(GROUPS)}.")
    missing = [name for name in wanted if not _is_compiled(name)]
    if not missing:
        return 0
    seconds = sum(GROUPS[name][0] for name in missing)
    say(f"first run on this machine: compiling the ray kernels, once (about {seconds} s)")
    if kernel_folder().trouble:
        say(kernel_folder().trouble)
    for number, name in enumerate(missing, 1):
        if len(missing) > 1:
            say(f"compiling {number} of {len(missing)}: {name}")
        GROUPS[name][1]()
        _note(name)
    return len(missing)


@cache
def _blueprint() -> Blueprint:
    """What the little room is made of."""
    from sim.blueprint.reader import parse_scene

    return parse_scene(_ROOM, Path("nowhere")).blueprint


@cache
def _built() -> BuiltScene:
    """The little room."""
    from sim.placement.built_scene import build_scene

    return build_scene(_blueprint(), Path("nowhere"))


def _rooms() -> None:
    import numpy as np

    from sim.geometry.bare_sides import bare_sides
    from sim.geometry.edges import edges_of_large_body
    from sim.geometry.facets import build_facets
    from sim.geometry.patches import Patch
    from sim.placement.sheet import setup_sheet
    from sim.placement.solids import faces_of, segments_through, share_space, shared_depth_m

    setup_sheet(_built())
    bare_sides(_built().room)
    bent = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[1, 0, 0], [1, 1, 1], [0, 1, 0]]], dtype=np.float64)
    loose = Patch("loose", "room", "", bent[:1] + 3.0)
    edges_of_large_body(build_facets([Patch("bent", "room", "", np.concatenate([bent, bent[1:] + 1.0])), loose])[0])
    facet = _built().room.facets[0]
    facet.covers(facet.from_plane(np.array([1.0e3, 1.0e3])), 0.01)
    solid = np.array([[x, y, z] for z in (0.0, 1.0) for x, y in ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))])
    faces_of(solid)
    shared_depth_m(solid, solid)
    share_space(solid, solid)
    segments_through(solid, solid[None, :2])


def _boxes() -> None:
    import numpy as np

    from sim.arrays import frozen
    from sim.loudspeakers.box_directivity import by_edges
    from sim.loudspeakers.box_kernels import read_table
    from sim.loudspeakers.box_solver import Disc

    one, ahead, columns = np.ones(1), np.array([[1.0, 0.0, 0.0]]), frozen(np.zeros(1, dtype=np.int64))
    by_edges((0.2, 0.3, 0.25), Disc(0.0, 0.0, 0.0), 0.1 * one, ahead, one)
    weights, scale, low = (frozen(np.zeros((count, 1))) for count in (6, 2, 3))
    total = np.zeros((1, 1), dtype=np.complex128)
    read_table(frozen(np.zeros((32, 12))), ahead, 4, 8, columns, weights, scale, low, columns, total)


def _paths() -> None:
    import numpy as np

    from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
    from sim.propagation.surfaces.factors import turned_by

    _boxes()
    turned_by(np.ones(1), np.ones(1))  # of panels, and of the tone of what is searched for
    built = _built()
    trace_paths(built, 3)
    survey_first_order(built)
    built.room.facets[0].covers(np.full(3, 99.0), np.inf)  # beside the facet, which takes a kernel more


def _edges() -> None:
    from sim.propagation.edges.tracing import trace_edges

    _boxes()
    trace_edges(_built(), 2)


def _waves() -> None:
    import numpy as np

    from sim.placement.collisions import solids_of
    from sim.propagation.waves.tracing import trace_waves

    _boxes()
    trace_waves(_built(), solids_of(_blueprint().furniture), 1, np.arange(0.0, 200.0, 20.0), 100.0)


def _maps() -> None:
    import numpy as np

    from sim.acoustics.bands import octave_bands
    from sim.propagation.edges.tracing import trace_edges
    from sim.propagation.mirrors.image_sources import trace_paths
    from sim.propagation.surfaces.factors import share_of_panel
    from sim.propagation.surfaces.incidence import Incidences
    from sim.propagation.surfaces.panel_fractions import fractions_of_polygons
    from sim.responses.frequency import ear_response
    from sim.responses.quick_curve import ear_curve, edge_curve
    from sim.responses.surface_map import surface_maps

    _boxes()
    built = _built()
    fractions_of_polygons(np.array([[[-1.0, -1.0], [1.0, -1.0], [0.0, 1.0]]]), np.ones(1), np.array([1.0, 2.0]))
    corners, one, row = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]), np.ones(1), np.zeros(1, np.int64)
    down = Incidences(row, row, np.zeros((1, 3)), np.array([[0.0, 0.0, -1.0]]), one, one, one)
    panel, factor = np.column_stack([corners, np.zeros(4)]), np.zeros((1, 2), np.complex128)
    share_of_panel(panel, np.array([0.0, 0.0, 1.0]), down, (factor, factor), np.array([100.0, 200.0]), 343.0)
    surface_maps(built, octave_bands(), 0.5, 0.02)
    paths, edges = trace_paths(built, 1), trace_edges(built, 1)
    ear_response(built, paths, edges)
    ear_curve(built, paths, edge_curve(built, edges))


def _decay() -> None:
    from sim.propagation.energy.late_rays import trace_late

    _boxes()
    trace_late(_built(), seed=1, rays=512, length_s=0.1)


def _bounces() -> None:
    from sim.propagation.energy.bounce_rays import bounce_rays
    from sim.responses.surface_map import grid_of

    _boxes()
    grid_of(_built().room.facets[0], 0.5)
    bounce_rays(_built(), 0, seed=1, rays=512, longest_m=20.0)


GROUPS: Final[dict[str, tuple[int, Callable[[], None]]]] = {
    "rooms": (4, _rooms),
    "paths": (8, _paths),
    "edges": (10, _edges),
    "waves": (8, _waves),
    "maps": (5, _maps),
    "decay": (6, _decay),
    "bounces": (3, _bounces),
    "boxes": (3, _boxes),
}
"""What a command may want, in this order: seconds to compile, and work that calls every kernel of the group."""


def _is_compiled(group: str) -> bool:
    """Whether every kernel that the work of a group took, when it was compiled, is still there and whole."""
    from sim.machine.kernel_cache import is_whole, kernel_folder

    folder = kernel_folder().path
    try:
        names = (folder / f"{group}.done").read_text(encoding="ascii").split()
    except (OSError, UnicodeDecodeError):
        return False
    return bool(names) and all(Path(name).name == name and is_whole(folder / name) for name in names)


def _note(group: str) -> None:
    """Note what the work of a group has taken; where that cannot be kept, it is compiled again next time."""
    from sim.machine.kernel_cache import files_touched, kernel_folder

    folder = kernel_folder().path
    with suppress(OSError), tempfile.TemporaryDirectory(prefix=".", dir=folder) as place:
        part = Path(place) / group
        part.write_text("\n".join(sorted(files_touched())), encoding="ascii", errors="ignore")
        part.replace(folder / f"{group}.done")


if __name__ == "__main__":
    compile_kernels(lambda words: print(words, file=sys.stderr, flush=True))  # noqa: T201
