"""Kernels as plain Python: a process of a small `check` loads no compiler, and says and builds the same."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.placement.built_scene import BuiltScene, build_scene
from sim.rays.without_compiler import is_without_compiler, work_without_compiler
from sim.studies.check import FEW, is_small, lines
from sim.studies.check.text import check

HOME = Path(__file__).resolve().parents[2]
SMALL = ("bedroom-coaxial", "bedroom-on-desk", "control-room-bridge", "control-room-built-in")
RUN = """
import sys
sys.argv = ["bounceplan", "check", sys.argv[1]]
from sim.__main__ import main
code = main()
print(sorted({"numba", "llvmlite", "scipy", "trimesh", "h5py", "matplotlib"} & set(sys.modules)))
sys.exit(code)
"""
BUILT = """
import sys
from sim.rays.without_compiler import work_without_compiler
assert work_without_compiler()
from tests.rays.test_without_compiler import digests
from sim.blueprint.reader import read_scene
from sim.placement.built_scene import build_scene
import json
scene = read_scene(sys.argv[1])
print(json.dumps(digests(build_scene(scene.blueprint, scene.folder))))
"""


def in_python(code: str, *arguments: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(HOME)}
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], cwd=HOME, env=environment, capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    return done.stdout


def digests(built: BuiltScene) -> dict[str, str]:
    """A digest of the bits of all that kernels made of a scene."""
    room = built.room
    arrays = {f"facets.{name}": getattr(room.arrays, name) for name in room.arrays.__dataclass_fields__}
    arrays |= {f"edges.{name}": getattr(room.edges, name) for name in room.edges.__dataclass_fields__}
    arrays |= {"triangles": room.triangles, "facet_of": room.facet_of_triangle}
    arrays |= {f"tree {number}": array for number, array in enumerate(room.tree.arrays)}
    return {name: hashlib.sha256(array.tobytes()).hexdigest() for name, array in arrays.items()}


@pytest.mark.parametrize("room", SMALL)
def test_a_small_check_loads_no_compiler_and_says_the_same(room: str) -> None:
    place = HOME / "scenes" / room
    *said, loaded = in_python(RUN, str(place)).splitlines()
    assert loaded == "[]"
    answer = check(place)
    assert [line for line in said if line] == [line for text in lines(answer) for line in text.splitlines() if line]


@pytest.mark.parametrize("room", SMALL)
def test_what_is_built_is_the_same_to_the_last_bit(room: str) -> None:
    scene = read_scene(HOME / "scenes" / room)
    built = build_scene(scene.blueprint, scene.folder)
    assert json.loads(in_python(BUILT, str(HOME / "scenes" / room))) == digests(built)


def test_meshes_and_crowded_rooms_have_the_compiler() -> None:
    desk = read_scene(HOME / "scenes" / "bedroom-on-desk").blueprint
    assert is_small(desk)
    assert not is_small(read_scene(HOME / "scenes" / "attic-turned").blueprint)
    assert not is_small(desk.model_copy(update={"furniture": desk.furniture[:1] * (FEW + 1)}))


def test_a_process_that_loaded_kernels_keeps_them(tmp_path: Path) -> None:
    import sim.rays.shape_kernels as shapes

    assert not work_without_compiler()
    assert not is_without_compiler()
    assert hasattr(shapes.inside_polygon, "signatures")
    assert sys.modules["sim.rays.lanes"].__name__ == "sim.rays.lanes"
