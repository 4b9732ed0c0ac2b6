"""The whole story, held to pencil and paper: one bedroom, told twice, in two units."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.errors import SceneError
from sim.pipeline import build, trace, trace_scene
from sim.responses.records import Results
from sim.showing.tables import write_traced
from tests.blueprint.scene_texts import changed
from tests.scenes.plain_mirror import mirrored, planes

SCENES = Path(__file__).resolve().parent.parent / "scenes"
ON_STANDS = SCENES / "bedroom-on-stands"
LENGTH_KEYS = "width|depth|height|from_front|from_left|up|across|top|swing|stand_height"


def in_inches(text: str) -> str:
    """The same scene with every bare length written in inches; texts with a unit of their own stay."""

    def number(found: re.Match[str]) -> str:
        return f"{float(found.group()) / 0.0254:.12g}"

    def value(found: re.Match[str]) -> str:
        return found[1] + re.sub(r"\d+(?:\.\d+)?", number, found[2])

    reported = re.sub(rf"(\b(?:{LENGTH_KEYS})\s*=\s*)(\[[^\]]*\]|[\d.]+)", value, text)
    return changed('units = "m"', 'units = "in"', reported)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def results() -> Results:
    return trace(ON_STANDS)


def test_check_traces_nothing_and_gives_what_trace_builds_on(results: Results) -> None:
    scene, built = build(ON_STANDS)
    assert scene.digest == results.scene.digest
    np.testing.assert_array_equal(built.ears, results.built.ears)
    np.testing.assert_array_equal(built.room.triangles, results.built.room.triangles)
    assert built.volume_m3 == pytest.approx(3.40 * 4.20 * 2.40)


def test_each_stage_is_announced_in_order() -> None:
    said: list[str] = []
    trace(ON_STANDS, said.append, order=1)
    counted = [words for words in said if words.endswith("frequencies")]
    assert re.fullmatch(r"working out sound waves: 10 of \d\d frequencies", counted[0])
    assert [words for words in said if words not in counted] == [
        "reading the scene",
        "building the scene",
        "finding paths",
        "tracing edge diffraction",
        "working out sound waves",
        "adding up what arrives",
        "mapping hotspots",
    ]


def test_the_order_may_be_given_or_is_that_of_the_scene(results: Results) -> None:
    assert results.paths.order.max() == results.scene.blueprint.method.order == 3
    assert trace(ON_STANDS, order=1).paths.order.max() == 1


def test_a_scene_that_was_read_gives_the_same_as_its_file(results: Results) -> None:
    again = trace_scene(read_scene(ON_STANDS / "scene.toml"))
    np.testing.assert_array_equal(again.responses.response.total, results.responses.response.total)
    np.testing.assert_array_equal(again.responses.energy_time.impulse, results.responses.energy_time.impulse)


@pytest.mark.parametrize("surface", ["desk top", "window", "right wall", "ceiling", "rear wall"])
def test_the_tweeter_follows_the_mirror_formula(surface: str, results: Results) -> None:
    """Mirror by hand: Allen & Berkley, J. Acoust. Soc. Am. 65 (1979), 943: one image for each wall."""
    one = results.built.loudspeakers[0]
    tweeter = [driver.name for driver in one.model.drivers].index("tweeter")
    by_hand = mirrored(one.driver_points[tweeter], results.built.ears[0], planes("bedroom-on-stands")[surface])
    arrival = next(
        a for a in results.responses.arrivals if a.loudspeaker == "left" and a.listener == "ear" and a.via == surface
    )
    part = next(part for part in arrival.parts if part.driver == "tweeter")
    np.testing.assert_allclose(part.points[0], by_hand.point, atol=1e-9)
    assert part.delay_ms == pytest.approx(by_hand.delay_ms, abs=1e-4)  # the scene's air carries sound at 343.00 m/s


def test_saving_writes_its_six_files(results: Results, tmp_path: Path) -> None:
    write_traced(results, tmp_path)
    names = {"results.h5", "arrivals.csv", "reflection_points.csv", "notches.csv", "ear_response.csv", "README.txt"}
    assert {path.name for path in tmp_path.iterdir()} == names


def test_the_same_scene_twice_gives_the_same_bytes(results: Results, tmp_path: Path) -> None:
    for name, each in (("one", results), ("two", trace(ON_STANDS))):
        (tmp_path / name).mkdir()
        write_traced(each, tmp_path / name)
    for table in ("arrivals.csv", "reflection_points.csv", "notches.csv"):
        assert (tmp_path / "one" / table).read_bytes() == (tmp_path / "two" / table).read_bytes()


def test_inches_give_the_same_numbers(results: Results, tmp_path: Path) -> None:
    text = in_inches((ON_STANDS / "scene.toml").read_text(encoding="utf-8"))
    assert "width = 133.858267717" in text  # 3.40 m
    reported = trace_scene(parse_scene(text, ON_STANDS))
    for name, each in (("metres", results), ("inches", reported)):
        (tmp_path / name).mkdir()
        write_traced(each, tmp_path / name)
    arrivals = "arrivals.csv"
    assert (tmp_path / "metres" / arrivals).read_bytes() == (tmp_path / "inches" / arrivals).read_bytes()
    points = [rows(tmp_path / unit / "reflection_points.csv") for unit in ("metres", "inches")]
    assert len(points[0]) == len(points[1]) > 10
    for metric, imperial in zip(*points, strict=True):
        for key in metric:
            if not key.endswith("_text"):
                assert metric[key] == imperial[key], key
    desk = next(row for row in points[1] if row["surface"] == "desk top" and row["driver"] == "tweeter")
    inches = math.floor(float(desk["from_front_m"]) / 0.0254)
    assert desk["from_front_text"].startswith(f"{inches} ")
    assert desk["from_front_text"].endswith(" in")


def test_a_fault_is_raised_with_its_key() -> None:
    text = changed("up = 1.20 }", "up = 3.20 }", (ON_STANDS / "scene.toml").read_text(encoding="utf-8"))
    with pytest.raises(SceneError) as fault:
        trace_scene(parse_scene(text, ON_STANDS))
    assert fault.value.where == "listener.ear"
    assert "outside the room" in fault.value.found
