"""Mesh rooms: a box and an attic as OBJ, PLY, STL and GLB with bytes, numbers and tables broken."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np

from sim.blueprint.reader import parse_scene
from sim.geometry.meshes import mesh_room
from tests.blueprint.scene_texts import with_mesh
from tests.fuzz.mutations import ODD_NUMBERS, Random, broken_bytes, broken_table
from tests.fuzz.tally import SEED, Tally
from tests.geometry.mesh_writing import glb_bytes, glb_tree, obj_bytes, ply_bytes, stl_bytes

ATTIC = Path(__file__).resolve().parents[2] / "scenes" / "attic-lying" / "attic.obj"
_NUMBER = re.compile(rb"-?\d+(\.\d+)?")


def fuzz_meshes(folder: Path, first: int, count: int, said: Callable[[Tally], None] = lambda _: None) -> list[Tally]:
    """Read broken mesh files as rooms."""
    whole = [
        ("obj", obj_bytes()),
        ("obj", ATTIC.read_bytes()),
        ("ply", ply_bytes()),
        ("ply", ply_bytes(order=">")),
        ("ply", ply_bytes(order="")),
        ("ply", ply_bytes(order="", quads=True)),
        ("ply", ply_bytes(quads=True)),
        ("stl", stl_bytes()),
        ("stl", stl_bytes(text=True)),
        ("glb", glb_bytes()),
        ("glb", b""),
    ]
    tally = Tally("meshes")
    for number in range(first, first + count):
        random = np.random.default_rng([SEED, 3, number])
        ending, content = whole[int(random.integers(len(whole)))]
        if not content:
            content = glb_bytes(json.dumps(broken_table(glb_tree(), [glb_tree()], random), default=str).encode())
        elif random.random() < 0.4:
            content = _with_odd_numbers(content, random)
        else:
            content = broken_bytes(content, random, 3)
        (folder / f"room.{ending}").write_bytes(content)
        tally.run(number, lambda ending=ending, random=random: _room(folder, ending, random))  # type: ignore[misc]
        said(tally)
    return [tally]


def _with_odd_numbers(content: bytes, random: Random) -> bytes:
    """Text with some of its numbers replaced; bytes that look like text are as good as any."""
    rate = float(random.choice([0.005, 0.03, 0.3]))

    def other(found: re.Match[bytes]) -> bytes:
        if random.random() > rate:
            return found[0]
        if random.random() < 0.5:
            return str(int(random.integers(-3, 14))).encode()
        return str(ODD_NUMBERS[int(random.integers(len(ODD_NUMBERS)))]).encode()

    return _NUMBER.sub(other, content)


def _room(folder: Path, ending: str, random: Random) -> None:
    more = f"repair = {'true' if random.random() < 0.5 else 'false'}\n"
    more += f"allow_open = {'true' if random.random() < 0.5 else 'false'}\n"
    text = with_mesh(f"room.{ending}").replace("[listener]", more + "[listener]", 1)
    scene = parse_scene(text.replace("distance = 4.2", "distance = 4.2, tolerance = 5"), folder)
    patches, _ = mesh_room(scene.blueprint, folder)
    assert all(np.isfinite(patch.triangles).all() for patch in patches)
