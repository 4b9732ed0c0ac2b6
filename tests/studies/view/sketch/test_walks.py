"""Random walks over the page: the session goes on, shows a room that can be, and finds its way back."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

from sim.blueprint.reader import parse_scene
from sim.studies.view.sketch.form import LENGTHS, ROW_LENGTHS, Form
from sim.studies.view.sketch.plan import length_m
from sim.studies.view.sketch.session import Session
from tests.studies.view.sketch.sketch_cases import file_in

STEPS = 25
TEXTS = (
    "3.2 m",
    "4.1 m",
    "11 ft 2 1/4 in",
    "1.2 m",
    "90 cm",
    "600 mm",
    "1.6 m",
    "",
    "wide",
    "-1",
    "nan",
    "1/0 in",
    '"\\',
)


def asked(dice: random.Random, form: Form) -> dict[str, Any]:
    """Something that a page might ask."""
    kind = dice.choice(("set", "set", "set", "shape", "move", "add", "remove", "split", "trace", "undo", "redo"))
    if kind == "shape":
        return {"kind": "set", "name": "shape", "text": dice.choice(("box", "L", "outline"))}
    fields = [*LENGTHS, "desk", "screen", "second"]
    fields += [
        f"{what}.{n}.{key}" for what, keys in ROW_LENGTHS.items() for n in range(len(form.rows[what])) for key in keys
    ]
    name, corner = dice.choice(fields), dice.randrange(7)
    return {
        "kind": kind,
        "name": name,
        "text": dice.choice(("", "yes")) if name in ("desk", "screen", "second") else dice.choice(TEXTS),
        "values": {f"corner.{corner}.front": dice.uniform(-1, 6), f"corner.{corner}.left": dice.uniform(-1, 6)},
        "done": True,
        "what": dice.choice(("openings", "slopes", "corners", "beams", "radiators")),
        "number": dice.randrange(6),
        "corners": [[dice.uniform(0, 6), dice.uniform(0, 6)] for _ in range(4)],
    }


@pytest.mark.parametrize("seed", range(3))
def test_a_walk_goes_on_and_back(tmp_path: Path, seed: int) -> None:
    dice = random.Random(seed)
    session = Session(file_in(tmp_path) if seed % 2 else tmp_path / "new" / "scene.toml", lambda _: None)
    first, valid = session.form, 0
    for _ in range(STEPS):
        session.act({"kind": "undo"} if session.now.faults and dice.random() < 0.7 else asked(dice, session.form))
        json.dumps(session.message(), allow_nan=False)
        if session.now.content:
            valid += 1
            blueprint = parse_scene(session.now.content.decode(), tmp_path).blueprint
            told = session.form["seat.front"] or session.now.proposed["seat.front"]  # type: ignore[index]
            assert blueprint.listener.ear.from_front == pytest.approx(
                length_m("", told, session.form["units"]), abs=2e-5
            )
            assert len(blueprint.room.slopes) == len(session.form.rows["slopes"])
    assert valid > STEPS // 3
    while session.history.back:
        session.act({"kind": "undo"})
    assert session.form == first
