"""Beams and radiators: as `new` writes them, going along with the room, and coming back from a file as they stand."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from sim.blueprint.first_room import FirstBeam, FirstRadiator, FirstRoom, FirstSlope
from sim.blueprint.template import first_scene
from sim.studies.view.sketch.draft import Made
from sim.studies.view.sketch.drawn import drawing
from sim.studies.view.sketch.edits import reshaped, with_row, without_row
from sim.studies.view.sketch.form import Form
from tests.studies.view.sketch.sketch_cases import FILE, base_in, box, make

BEAM = {"direction": "across", "from": "2", "to": "2.2", "under": "2.15", "top": ""}
RADIATOR = {"wall": "right wall", "from": "2.5", "to": "3.3", "low": "0.1", "high": "0.7", "face": "0.1"}
COMMENTED = FILE.replace(
    "# --- what must",
    """[[furniture]]
kind = "beam"             # steel
name = "joist"
from_front = [2.0, "220 cm"]
from_left = [0.0, 3.2]    # wall to wall
up = [2.2, 2.5]

# The radiator drips.
[[furniture]]
kind = "block"
name = "radiator"         # old
from_front = [2.2, 3.0]
from_left = [3.1, 3.2]
up = [0.1, 0.7]
material = "rigid"

[[keep_clear]]
name = "heat of radiator"
kind = "heater"
from_front = [2.2, 3.0]
from_left = [3.1, 3.2]
up = [0.1, 0.7]
clearance = 0.2           # as its maker says

# --- what must""",
)


def hung(form: Form, *, beams: Any = (), radiators: Any = ()) -> Form:
    return form.with_rows("beams", beams).with_rows("radiators", radiators)


def things(made: Made) -> dict[str, Any]:
    """Pieces of furniture of what was made, as numbers, by name."""
    assert made.faults == {} and made.scene is not None
    return {item.name: item for item in made.scene.blueprint.furniture}


def document(text: str) -> Any:
    return tomllib.loads(text)


@pytest.mark.parametrize("slope", [False, True])
def test_a_box_has_what_new_writes(tmp_path: Path, slope: bool) -> None:
    form = hung(
        box(),
        beams=[BEAM, {**BEAM, "direction": "along", "from": "0.9", "to": "1.1", "top": "2.3"}],
        radiators=[RADIATOR],
    )
    form = form.with_rows("slopes", [{"wall": "left wall", "knee": "1.6", "run": "0.8"}] if slope else [])
    made = make(form, tmp_path)
    assert made.faults == {}
    room = FirstRoom(
        3.4,
        4.2,
        2.4,
        slopes=(FirstSlope("left", 1.6, 0.8),) * slope,
        beams=(FirstBeam("across", (2.0, 2.2), 2.15), FirstBeam("along", (0.9, 1.1), 2.15, 2.3)),
        radiators=(FirstRadiator("right", (2.5, 3.3), (0.1, 0.7), 0.1),),
    )
    told = document(first_scene(room, title="Den"))
    mine = document(made.content.decode())
    assert mine["furniture"] == told["furniture"] and mine["keep_clear"] == told["keep_clear"]
    assert [item["name"] for item in mine["furniture"]] == ["desk", "beam", "beam 2", "radiator"]
    assert mine["furniture"][1]["from_left"] == ([0.8, 3.4] if slope else [0.0, 3.4])
    assert made.proposed is not None
    assert [made.proposed.rows["beams"][0], made.proposed.rows["beams"][1]["top"]] == [{**BEAM, "name": "beam"}, "2.3"]
    assert made.proposed.rows["radiators"] == ({**RADIATOR, "name": "radiator"},)


def test_lengths_stay_as_they_were_typed(tmp_path: Path) -> None:
    """International foot and inch: 7 x 0.3048 m + 0.5 x 0.0254 m (exact since 1959)."""
    made = make(
        hung(box(), beams=[{**BEAM, "under": "7 ft 1/2 in"}], radiators=[{**RADIATOR, "to": "330 cm"}]), tmp_path
    )
    assert things(made)["beam"].up == pytest.approx((7 * 0.3048 + 0.5 * 0.0254, 2.4))
    text = made.content.decode()
    assert 'up = ["7 ft 1/2 in", 2.4]' in text
    assert text.count('from_front = [2.5, "330 cm"]') == 2  # the radiator, and what is kept clear round it


def test_they_go_along_with_a_new_room(tmp_path: Path) -> None:
    form = hung(box(), beams=[BEAM], radiators=[RADIATOR]).put("width", "3.6").put("height", "2.6")
    found = things(make(form, tmp_path))
    assert found["beam"].from_left == (0.0, 3.6) and found["beam"].up == (2.15, 2.6)
    assert found["radiator"].from_left == pytest.approx((3.5, 3.6))


def test_an_outline_has_them_along_walls_at_any_angle(tmp_path: Path) -> None:
    """The wall runs 3 m in depth and 0.4 m across: the radiator is turned by the arctangent of 0.4/3, 7.6 degrees."""
    form = reshaped(box(), "outline", make(box(), tmp_path).plan)
    form = form.put("corners.2.left", "3.8").put("corners.2.front", "4.2").put("corners.3.front", "1.2")
    rows = [*form.rows["corners"], {"front": "0", "left": "3.4", "wall": "short wall"}]
    form = form.with_rows("corners", rows).put("monitors_on", "stands")
    form = form.put("corners.3.wall", "short wall").put("corners.4.wall", "front wall")
    made = make(hung(form, beams=[BEAM], radiators=[RADIATOR]), tmp_path)
    radiator = things(made)["radiator"]
    assert radiator.turn_deg == pytest.approx(7.59, abs=0.01)
    middle = [sum(span) / 2 for span in (radiator.from_front, radiator.from_left)]
    on_the_wall = 3.4 + (2.9 - 1.2) * 0.4 / 3.0
    inward = (0.4 / 9.16**0.5, -3.0 / 9.16**0.5)
    assert middle == pytest.approx([2.9 + 0.05 * inward[0], on_the_wall + 0.05 * inward[1]], abs=0.002)
    again = base_in(tmp_path, made.content.decode())
    (row,) = again.form.rows["radiators"]
    assert row["wall"] == "right wall" and float(row["from"]) == pytest.approx(2.5, abs=0.002)
    assert make(again.form, tmp_path, again).content == again.raw
    assert things(make(again.form.put("corners.0.left", "0"), tmp_path, again))["beam"].from_left[0] == 0.0


def test_a_file_with_them_comes_back_byte_for_byte(tmp_path: Path) -> None:
    base = base_in(tmp_path, COMMENTED)
    (beam,) = base.form.rows["beams"]
    assert beam == {**BEAM, "name": "joist", "to": "220 cm", "under": "2.2"}
    assert base.form.rows["radiators"][0]["wall"] == "right wall"
    assert make(base.form, tmp_path, base).content == COMMENTED.encode()


def test_what_changes_in_a_file_keeps_its_comments(tmp_path: Path) -> None:
    base = base_in(tmp_path, COMMENTED)
    form = base.form.put("beams.0.under", "215 cm").put("radiators.0.high", "0.8")
    form = form.put("corners.2.left", "3.4").put("corners.3.left", "3.4")
    made = make(form, tmp_path, base)
    found = things(made)
    assert found["joist"].from_left == (0.0, 3.4) and found["joist"].up == (2.15, 2.5)
    assert found["radiator"].from_left == pytest.approx((3.3, 3.4)) and found["radiator"].up == (0.1, 0.8)
    text = made.content.decode()
    (clear,) = document(text)["keep_clear"]
    assert clear["from_left"] == [3.3, 3.4] and clear["up"] == [0.1, 0.8] and clear["clearance"] == 0.2
    for comment in ("# steel", "# wall to wall", "# The radiator drips.", "# old", "# as its maker says", "# quick"):
        assert comment in text


def test_a_beam_that_ends_in_the_room_stays_where_it_ends(tmp_path: Path) -> None:
    base = base_in(tmp_path, COMMENTED.replace("from_left = [0.0, 3.2]    #", "from_left = [0.0, 1.9]    #"))
    form = base.form.put("corners.2.left", "3.4").put("corners.3.left", "3.4")
    assert things(make(form, tmp_path, base))["joist"].from_left == (0.0, 1.9)


def test_they_come_and_go_in_a_file(tmp_path: Path) -> None:
    base = base_in(tmp_path, COMMENTED)
    gone = without_row(without_row(base.form, "beams", 0), "radiators", 0)
    made = make(gone, tmp_path, base)
    assert set(things(made)) == {"desk", "screen"}
    text = made.content.decode()
    assert "keep_clear" not in text and "# --- what must stay usable ---" in text and "# The radiator drips." in text
    more = with_row(with_row(base.form, "beams", "", made.plan), "radiators", "", made.plan)
    made = make(more, tmp_path, base)
    assert set(things(made)) == {"desk", "screen", "joist", "radiator", "beam", "radiator 2"}
    assert [one["name"] for one in document(made.content.decode())["keep_clear"]] == [
        "heat of radiator",
        "heat of radiator 2",
    ]


def test_a_beam_turns_and_a_radiator_changes_its_wall(tmp_path: Path) -> None:
    base = base_in(tmp_path, COMMENTED)
    form = base.form.put("beams.0.direction", "along").put("beams.0.top", "2.4")
    form = form.put("beams.0.from", "1.4").put("beams.0.to", "1.6").put("corners.2.left", "3.3")
    form = form.put("radiators.0.wall", "left wall").put("corners.3.left", "3.3").with_rows("slopes", [])
    found = things(make(form, tmp_path, base))
    assert (found["joist"].from_front, found["joist"].from_left) == ((0.0, 4.0), (1.4, 1.6))
    assert found["joist"].up == (2.2, 2.4)
    assert found["radiator"].from_left == (0.0, 0.1)


@pytest.mark.parametrize(
    ("name", "text", "field", "words"),
    [
        ("beams.0.under", "2.5", "beams.0.under", "give a height between 1 m and its top"),
        ("beams.0.under", "", "beams.0.under", "A length is missing here"),
        ("beams.0.under", "low", "beams.0.under", '"low" is not a length'),
        ("beams.0.to", "1.9", "beams.0", "give the lower edge first"),
        ("beams.0.to", "9", "beams.0", "below the ceiling"),
        ("radiators.0.face", "0.9", "radiators.0.face", "give between 0.02 m and 0.5 m"),
        ("radiators.0.to", "4.5", "radiators.0", "between 0 and 4.2, where the right wall is"),
        ("radiators.0.high", "0.05", "radiators.0", "give the lower edge first"),
        ("radiators.0.high", "3", "radiators.0", "give at most 2.40 m"),
        ("radiators.0.wall", "moon", "radiators.0", 'No wall is called "moon"'),
    ],
)
@pytest.mark.parametrize("from_file", [False, True])
def test_what_cannot_be_is_said_beside_its_field(
    tmp_path: Path, name: str, text: str, field: str, words: str, from_file: bool
) -> None:
    form = hung(box(), beams=[BEAM], radiators=[RADIATOR])
    base = base_in(tmp_path, make(form, tmp_path).content.decode()) if from_file else None
    form = base.form if base is not None else form
    assert make(form, tmp_path, base).faults == {}
    made = make(form.put(name, text), tmp_path, base)
    assert list(made.faults) == [field]
    assert words in made.faults[field]


def test_they_are_drawn(tmp_path: Path) -> None:
    made = make(hung(box(), beams=[BEAM], radiators=[RADIATOR]), tmp_path)
    assert made.scene is not None and made.built is not None and made.plan is not None
    bodies = {body["kind"]: body for body in drawing(made.scene.blueprint, made.built, made.plan)["bodies"]}
    assert sorted(bodies["beam"]["plan"]) == [[0.0, 2.0], [0.0, 2.2], [3.4, 2.0], [3.4, 2.2]]
    assert sorted(bodies["radiator"]["plan"]) == [[3.3, 2.5], [3.3, 3.3], [3.4, 2.5], [3.4, 3.3]]
    assert sorted(bodies["radiator"]["side"]) == [[2.5, 0.1], [2.5, 0.7], [3.3, 0.1], [3.3, 0.7]]


def test_two_beams_in_one_place_are_said_beside_one(tmp_path: Path) -> None:
    base = base_in(tmp_path, COMMENTED)
    made = make(base.form.with_rows("beams", [*base.form.rows["beams"], {**BEAM, "under": "2.2"}]), tmp_path, base)
    assert list(made.faults) == ["beams.0"]
    assert 'in the same place as the furniture "beam"' in made.faults["beams.0"]


@pytest.mark.parametrize("from_file", [False, True])
def test_new_rows_can_be_as_they_come(tmp_path: Path, from_file: bool) -> None:
    base = base_in(tmp_path, COMMENTED) if from_file else None
    form = base.form if base is not None else box("ft", ("11 ft", "14 ft", "8 ft"))
    for _ in range(3):
        for what in ("beams", "radiators"):
            made = make(form, tmp_path, base)
            assert made.faults == {}
            form = with_row(form, what, "", made.plan)
    found = things(make(form, tmp_path, base))
    assert {"beam", "beam 2", "beam 3", "radiator 3"} <= set(found)
