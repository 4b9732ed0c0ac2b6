from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.errors import OutputError
from sim.showing.numbers import db_words
from sim.studies.search.search import Search, search
from sim.studies.search.text import search_lines, write_layout_scenes, write_layouts
from tests.studies.compare.layouts import ON_STANDS, SCENES
from tests.studies.little_room import DESK, little_room


@pytest.fixture(scope="module")
def found() -> Search:
    return search(little_room(DESK), {"left.height": "1.0:1.4", "left.from_front": "0.45:0.9"}, layouts=2, processes=1)


def test_the_words_say_what_was_asked_and_what_came_out(found: Search) -> None:
    lines = search_lines(found)
    text = "\n".join(lines)
    assert "left.height, right with it: from 1 m to 1.4 m" in text
    assert f"{found.tried} layouts tried, {found.impossible} of them impossible" in text
    best = found.layouts[0]
    head = next(line for line in lines if line.startswith("layout-1: "))
    assert head.startswith(f"layout-1: measure {best.measure.total_db:.1f} dB, ")
    assert "better than the scene as it stands" in head
    span = best.ranges[0]
    setting = next(line for line in lines[lines.index(head) :] if line.startswith("  left.height = "))
    assert f"from {span.low:g} m (" in setting
    offender = best.offenders[0]
    assert f"off the {offender.surface}, {db_words(offender.level_db)} at {offender.delay_ms:.1f} ms" in text
    assert "held back by: " in text
    assert max(len(line) for line in lines) < 200


def test_a_flat_case_and_one_without_layouts_are_sentences() -> None:
    flat = search(little_room(DESK), {"left.from_front": "0.59:0.61"}, processes=1)
    assert "Nothing in these ranges matters by more than 0.5 dB: choose by other reasons." in search_lines(flat)
    none = search(little_room(), {"left.tilt": "20:25"}, processes=1)
    text = "\n".join(search_lines(none))
    assert "No layout in these ranges is possible and keeps all limits." in text
    assert f"{none.tried} times: more tilt than a cabinet without a strap may have" in text


def test_the_table_has_the_scene_first_and_reads_back(found: Search, tmp_path: Path) -> None:
    write_layouts(found, tmp_path / "layouts.csv")
    with (tmp_path / "layouts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["layout"] for row in rows] == ["as it stands", "layout-1", "layout-2"]
    assert (rows[0]["left.height_m"], rows[0]["left.height_from_m"]) == ("1.2", "")
    for row, layout in zip(rows[1:], found.layouts, strict=True):
        assert float(row["left.height_m"]) == pytest.approx(layout.trial.values[0])
        assert float(row["left.from_front_to_m"]) == pytest.approx(layout.ranges[1].high)
        assert float(row["measure_db"]) == pytest.approx(layout.measure.total_db, abs=0.005)
        assert float(row["early_db right"]) == pytest.approx(layout.trial.figures.early_db[1], abs=0.005)
    with pytest.raises(OutputError, match="cannot be written"):
        write_layouts(found, tmp_path / "nowhere" / "layouts.csv")


def test_each_layout_is_a_scene_that_gives_the_same_merit(tmp_path: Path) -> None:
    from sim.studies.search.search import as_it_stands, plan_search

    vary = {"left.height": "1.2:1.35", "left.from_front": "0.4:0.6"}
    bedroom = search(parse_scene(ON_STANDS, tmp_path), vary, layouts=2, processes=1)
    homes = write_layout_scenes(bedroom, tmp_path)
    assert [home.name for home in homes] == ["layout-1", "layout-2"]
    for home, layout in zip(homes, bedroom.layouts, strict=True):
        scene = read_scene(home)
        again = as_it_stands(plan_search(scene, vary))
        assert again.values == pytest.approx(layout.trial.values)
        assert again.merit_db == pytest.approx(layout.trial.merit_db, abs=1e-9)
        assert scene.blueprint.title.endswith(f": {home.name}")
        assert scene.blueprint.notes[-1].startswith("Found by a search: left.height = ")
        assert scene.blueprint.loudspeakers[0].stand_height == pytest.approx(1.0 + layout.trial.values[0] - 1.22)


def test_mesh_files_come_along(tmp_path: Path) -> None:
    attic = search(SCENES / "attic-facing-gable", {"left.height": "1.2:1.22"}, layouts=1, processes=1)
    (home,) = write_layout_scenes(attic, tmp_path)
    assert (home / "attic.obj").read_bytes() == (SCENES / "attic-facing-gable" / "attic.obj").read_bytes()
    assert read_scene(home).blueprint.room.mesh == "attic.obj"
