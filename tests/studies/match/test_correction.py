"""Scenes with one number wrong against measurements of the room as it is: it is found, said and written back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import sim
from sim.blueprint.reader import parse_scene
from sim.layouts.changes import change
from sim.studies.match.correction_text import correction_lines, signed_length
from sim.studies.match.fitted_records import Correction, Quantity, Together
from sim.studies.match.match import match
from sim.studies.match.records import Match
from tests.builders.measured_rooms import MeasuredRoom, random_room, traced


def told_wrong(room: MeasuredRoom, **wrong: float) -> Match:
    """Match the room as measured against a scene that says something else."""
    values = {name.replace("__", "."): value for name, value in wrong.items()}
    scene = change(room.scene, values, tied=False)
    return match(traced(replace(room, scene=scene)), room.files)


def quantity(found: Match, name: str) -> Quantity:
    return next(one for one in found.correction.quantities if one.name == name)


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> MeasuredRoom:
    return random_room(2, tmp_path_factory.mktemp("told"))


def test_a_wall_4_cm_off_is_found_within_its_interval(room: MeasuredRoom) -> None:
    box = room.scene.blueprint.room.box
    assert box is not None
    found = told_wrong(room, room__width=box.width + 0.04)
    width = quantity(found, "right wall (room width)")
    assert abs(width.fitted - box.width) <= width.error < 0.035
    assert width in found.correction.moved
    assert found.correction.after_ms < 0.35 * found.correction.before_ms
    seat = np.array([one.off for one in found.correction.quantities if one.kind == "seat"])
    assert np.linalg.norm(seat - room.shift) < 0.01 < np.linalg.norm(room.shift)
    assert "right wall (room width): " in "\n".join(sim.words(found).splitlines()[:20])


def test_a_temperature_8_kelvin_off_is_found(room: MeasuredRoom) -> None:
    found = told_wrong(room, air__temperature_c=12.0)
    air = quantity(found, "temperature")
    assert abs(air.fitted - 20.0) <= air.error < 6.0
    assert air in found.correction.moved
    assert "Check it with the thermometer" in sim.words(found)


def test_a_loudspeaker_4_cm_off_is_found_and_the_other_stays(room: MeasuredRoom) -> None:
    true = room.scene.blueprint.loudspeakers[0].acoustic_axis.from_front
    found = told_wrong(room, left__from_front=true + 0.04)
    left, right = (quantity(found, f"{side} monitor, from front") for side in ("left", "right"))
    assert abs(left.fitted - true) < 0.01 and left in found.correction.moved
    assert right not in found.correction.moved


# What is written, in words and in files.


def test_a_corrected_scene_keeps_comments_units_and_everything_else(room: MeasuredRoom, tmp_path: Path) -> None:
    text = room.files[0].with_name("2.toml").read_text(encoding="utf-8")
    text = text.replace("[listener]", "# where I sit\n[listener]  # by tape")
    text = text.replace("up = ", "up  =  ", 1)
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    read = sim.read_scene(tmp_path / "mine.toml")
    found = match(traced(replace(room, scene=read)), room.files)
    from sim.studies.match.corrected import write_corrected, written

    write_corrected(found, tmp_path / "new.toml")
    new = (tmp_path / "new.toml").read_text(encoding="utf-8")
    assert "# where I sit\n[listener]  # by tape" in new
    changed = [b for a, b in zip(text.splitlines(), new.splitlines(), strict=True) if a != b]
    assert all(line.startswith(("ear =", "acoustic_axis", "box")) for line in changed) and changed
    again = parse_scene(new, tmp_path).blueprint
    for one in written(found):
        assert one.kind == "seat"
    ear = again.listener.ear
    assert ear.from_front == pytest.approx(quantity(found, "ear, from front").fitted, abs=6e-4)


def invented(*quantities: Quantity, together: tuple[Together, ...] = ()) -> Correction:
    return Correction(quantities, together, 12, 0.2, 0.05, 0.05, 0.025, 0.05, 0.03)


def test_what_is_not_told_is_said_and_not_given_a_number() -> None:
    told = Quantity("ear, up", "seat", ("listener", "ear", "up"), 1.2, 0.04, 0.04, 0.01, 0.05, True)
    silent = Quantity("rear wall", "surface", ("room", "box", "depth"), 4.0, 0.0, 0.01, 0.06, 0.03, False)
    pair = Together("ear, from front", "rear wall", -1.0, -0.03, 0.01)
    lines = list(correction_lines(invented(told, silent, together=(pair,)), "m"))
    assert any("ear, up" in line and "1.240 m" in line and line.endswith("± 1 cm") for line in lines)
    assert "  Not told by these delays, and left as given: rear wall." in lines
    assert not any("4.010" in line for line in lines)
    assert "  Of ear, from front and rear wall only the difference is told: -3 cm (± 1 cm)." in lines


def test_what_stays_is_said_to_be_as_given() -> None:
    still = Quantity("ear, up", "seat", ("listener", "ear", "up"), 1.2, 0.0, 0.0, 0.01, 0.05, True)
    assert "  As given, as far as these delays tell: ear, up (± 1 cm)." in list(correction_lines(invented(still), "m"))


def test_small_gains_are_chance() -> None:
    told = Quantity("ear, up", "seat", ("listener", "ear", "up"), 1.2, 0.012, 0.012, 0.01, 0.05, True)
    assert invented(told).moved == (told,)
    assert replace(invented(told), before_ms=0.052).moved == ()
    nearer = replace(told, off=0.008)
    assert invented(nearer).moved == ()


def test_too_few_peaks_correct_nothing() -> None:
    none = replace(invented(), peaks=0)
    assert list(correction_lines(none, "m")) == [
        "The numbers of the scene: too few peaks have a name to tell whether any of them is off."
    ]
    assert signed_length(0.001, "m") == "less than 0.5 cm" and signed_length(-0.02, "in") == "-3/4 in"
