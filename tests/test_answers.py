"""What every question returns: short in a session, a table in a notebook, saved with one function."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import sim
from sim.answers import Answer, brief, one_line
from tests.notebook_libraries import stand_in_for_missing
from tests.studies.little_room import DESK, little_room

SCENES = Path(__file__).resolve().parent.parent / "scenes"
HAVE = ["block 390x190x190 12kg x4", "plate 300x300x10 x2"]


@pytest.fixture
def notebook(monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in_for_missing(monkeypatch)


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Answer]]:
    room = little_room(DESK)
    traced = sim.trace(room, order=1)
    swept = tmp_path_factory.mktemp("sweep") / "heights"
    yield {
        "trace": traced,
        "check": sim.check(room),
        "compare": sim.compare([traced, sim.trace(sim.change(room, {"desk.tilt": 3}), order=1)]),
        "explain": sim.explain(traced, 1),
        "treat": sim.treat(room, panels=1),
        "sweep": sim.sweep(room, {"desk.tilt": [0, 3], "left.height": "1.2:1.3:0.1"}, swept, processes=1),
        "search": sim.search(room, {"left.height": "1.2:1.3"}, processes=1, layouts=1),
        "tolerance": sim.tolerance(room, samples=32, processes=1),
        "orient": sim.orient(room, ["upright", 180]),
        "stand": sim.stand(HAVE, SCENES / "bedroom-on-stands"),
        "decay": sim.decay(room, most_rays=4000, percent=50.0, clarity_db=5.0),
        "bounces": sim.bounces(room, rays=20_000),
        "absorber": sim.absorber("100 mm wool"),
        "loudspeaker": sim.loudspeaker("two-way"),
    }


QUESTIONS = (
    "trace",
    "check",
    "compare",
    "explain",
    "treat",
    "sweep",
    "search",
    "tolerance",
    "orient",
    "stand",
    "decay",
    "bounces",
    "absorber",
    "loudspeaker",
)


@pytest.mark.parametrize("question", QUESTIONS)
def test_an_answer_is_short_in_a_session_and_a_table_in_a_notebook(
    question: str, answers: dict[str, Answer], notebook: None
) -> None:
    answer = answers[question]
    assert len(repr(answer)) < 300
    assert answer.headline()[:40] in repr(answer)
    page = answer._repr_html_()
    assert page.index("<strong>") < page.index("<table>")  # the answer first
    assert len(page) < 10_000
    rows = answer.rows()
    assert rows
    assert all(list(row) == list(rows[0]) for row in rows)
    assert answer.table().shape == (len(rows), len(rows[0]))
    assert sim.words(answer).count("\n") >= 3


@pytest.mark.parametrize("question", QUESTIONS)
def test_arrays_have_named_axes_of_one_length(question: str, answers: dict[str, Answer], notebook: None) -> None:
    answer = answers[question]
    if question in ("search", "stand", "loudspeaker"):
        with pytest.raises(sim.OutputError, match=r"take \.table\(\) instead"):
            answer.xarray()
        return
    found = answer.xarray()
    assert len(found.data_vars) > 0
    assert set(found.sizes) >= set(answer._axes())


def test_a_table_holds_the_figures_of_the_answer(answers: dict[str, Answer]) -> None:
    results = answers["trace"]
    assert isinstance(results, sim.Results)
    first = next(row for row in results.rows() if row["loudspeaker"] == "left" and row["number"] == 1)
    arrival = next(one for one in results.responses.arrivals if one.loudspeaker == "left" and one.number == 1)
    assert first["worst_db"] == arrival.worst_db
    assert first["level_1000_hz_db"] == arrival.level_db[4]
    assert f"{arrival.worst_db:.1f} dB" in results.headline()


@pytest.mark.parametrize(("method", "library"), [("table", "pandas"), ("xarray", "xarray")])
def test_a_missing_library_is_named_with_its_remedy(
    method: str, library: str, answers: dict[str, Answer], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    sentence = rf"needs {library}, which is not installed; install it with: pip install {library}"
    with pytest.raises(sim.OutputError, match=sentence):
        getattr(answers["trace"], method)()


FILES = {
    "trace": {"results.h5", "arrivals.csv", "reflection_points.csv", "notches.csv", "ear_response.csv", "README.txt"},
    "check": {"answer.txt"},
    "compare": {"A", "B", "comparison.txt", "comparison.csv", "comparison_at_the_ear.csv"},
    "explain": {"answer.txt"},
    "sweep": {"sweep.csv", "sweep_summary.csv", "sweep.txt"},
    "search": {"search.txt", "layouts.csv", "layout-1"},
    "tolerance": {"tolerance.txt", "points.csv", "reflections.csv", "samples.csv", "sensitivity.csv"},
    "decay": {"decay.txt", "decay.csv", "decay_figures.csv", "decay.h5", "README.txt"},
    "bounces": {"README.txt", "bounce_spots.csv", "bounce_surfaces.csv"},
    "absorber": {"answer.txt"},
}


@pytest.mark.parametrize("question", FILES)
def test_one_function_saves_every_answer(question: str, answers: dict[str, Answer], tmp_path: Path) -> None:
    place = sim.save(answers[question], tmp_path / "out")
    assert {each.name for each in place.iterdir()} == FILES[question] | {"contents.txt"}
    with pytest.raises(sim.OutputError, match="exists"):
        sim.save(answers[question], place)
    sim.save(answers[question], str(place), replace=True)


def test_a_saved_trace_is_read_back(answers: dict[str, Answer], tmp_path: Path) -> None:
    place = sim.save(answers["trace"], tmp_path / "out")
    assert repr(sim.read_results(place / "results.h5")) == repr(answers["trace"])


def test_a_report_is_a_page_and_saved_as_one(answers: dict[str, Answer], tmp_path: Path) -> None:
    traced = answers["trace"]
    assert isinstance(traced, sim.Results)
    page = sim.report(traced)
    assert page.html.startswith("<!")
    assert sim.save(page, tmp_path / "room.html").read_text(encoding="utf-8") == page.html
    with pytest.raises(sim.OutputError, match=r"ends in \.html"):
        sim.save(page, tmp_path / "room")
    with pytest.raises(sim.OutputError, match="at most 6"):
        sim.report([traced] * 7)


def test_drawings_are_saved(answers: dict[str, Answer], tmp_path: Path) -> None:
    traced = answers["trace"]
    assert isinstance(traced, sim.Results)
    place = sim.save(sim.sheets(traced, paper="letter"), tmp_path / "out")
    assert {"sheets.pdf", "sheets.dxf", "room.glb", "panels.csv", "parts.csv"} <= {
        each.name for each in place.iterdir()
    }
    with pytest.raises(sim.SceneError, match='it is "a5"'):
        sim.sheets(traced, paper="a5")


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda room: sim.trace(room, order=0), "order: it is 0; give 1 to 6."),
        (
            lambda room: sim.compare([room]),
            "compare: it takes 2 or more scenes and was given 1; give them in one list.",
        ),
        (lambda room: sim.orient(room, keep="box"), '--keep: it is "box"; write "axis" or "support".'),
        (lambda room: sim.explain(room, 1, loudspeaker="lft"), 'none is called "lft"'),
        (lambda room: sim.stand(HAVE), "--axis-height: it is missing"),
        (lambda room: sim.stand(HAVE, room, stacks=0), "--stacks: it is 0; give 1 or more."),
        (lambda room: sim.absorber("100 mm wol"), "a layer is of 'wol'"),
        (lambda room: sim.loudspeaker("four-way"), '"four-way" is neither a kind nor there as a file'),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_sentence(ask: Callable[[sim.SceneFile], object], sentence: str) -> None:
    with pytest.raises(sim.BounceplanError) as fault:
        ask(little_room(DESK))
    assert sentence in str(fault.value)


def test_a_loudspeaker_of_a_scene_in_python_is_that_of_its_file() -> None:
    scene = sim.read_scene(SCENES / "bedroom-on-stands")
    assert sim.loudspeaker(scene) == sim.loudspeaker(str(SCENES / "bedroom-on-stands"))


def test_a_line_stays_short_whatever_the_fields_hold() -> None:
    text = one_line("Record", iter([(f"field_{n}", "x" * 500) for n in range(30)]))
    assert len(text) < 300
    assert text.endswith(", ...)")
    assert brief({}) == "{}"
    assert brief({"a": 1}) == "<1 entries>"
    assert brief(1.0 / 3.0) == "0.3333"
