"""Every picture: written, the right size, not blank, and no word hidden by another or cut off."""

from __future__ import annotations

from collections.abc import Callable

import matplotlib.image
import numpy as np
import pytest
from matplotlib.figure import Figure

from sim.responses.records import Results
from sim.showing.labels import renderer_of
from sim.showing.plan_picture import plan_figure
from sim.showing.style import DOTS_PER_INCH, save
from sim.showing.surface_views import flat_surfaces
from sim.studies.draw.curve_picture import curve_figure, octave_figure
from sim.studies.draw.ear_picture import ear_figure
from sim.studies.draw.map_picture import OCTAVES_HZ, desk_surface, map_figure, worst_surfaces
from sim.studies.draw.room_picture import VIEWS, room_figure
from sim.studies.draw.side_by_side_picture import differences_figure, rooms_figure
from tests.showing.drawn_words import drawn_texts

Maker = Callable[[Results, Results], Figure]
SLACK_PX = 1.5

MAKERS: dict[str, Maker] = {
    "plan": lambda a, b: plan_figure(a.built, a.scene.blueprint),
    "curves": lambda a, b: curve_figure(a),
    "octave curves": lambda a, b: octave_figure(a),
    "ear response": lambda a, b: ear_figure(a),
    "desk": lambda a, b: map_figure(a, desk_surface(a)),
    "desk by octave": lambda a, b: map_figure(a, desk_surface(a), bands_hz=OCTAVES_HZ),
    "left wall": lambda a, b: map_figure(a, surface_called(a, "left wall")),
    "ceiling": lambda a, b: map_figure(a, surface_called(a, "ceiling")),
    "screen": lambda a, b: map_figure(a, surface_called(a, "screen back")),
    "differences": lambda a, b: differences_figure([a, b]),
    "rooms": lambda a, b: rooms_figure([a, b]),
    **{f"room {view}": lambda a, b, view=view: room_figure(a, view=view) for view in VIEWS},
}


def solid(name: str) -> tuple[pytest.MarkDecorator, ...]:
    return (pytest.mark.solid,) if name.startswith("room") else ()


def surface_called(invented: Results, name: str):
    return next(surface for surface in flat_surfaces(invented.built.room) if surface.name == name)


@pytest.mark.parametrize("name", [pytest.param(name, marks=solid(name)) for name in MAKERS])
def test_picture_is_written_whole_and_legible(name, invented, other_invented, tmp_path):
    figure = MAKERS[name](invented, other_invented)
    path = save(figure, tmp_path / "deep" / "picture.png")
    image = matplotlib.image.imread(path)
    assert image.shape[:2] == tuple(round(float(side) * DOTS_PER_INCH) for side in figure.get_size_inches()[::-1])
    assert image[..., :3].std() > 0.03
    assert [file.name for file in path.parent.iterdir()] == ["picture.png"]

    renderer = renderer_of(figure)
    boxes = {text: text.get_window_extent(renderer).get_points() for text in drawn_texts(figure)}
    assert len(boxes) > 8
    width, height = figure.bbox.width, figure.bbox.height
    outside = [
        text.get_text()
        for text, ((x0, y0), (x1, y1)) in boxes.items()
        if x0 < -SLACK_PX or y0 < -SLACK_PX or x1 > width + SLACK_PX or y1 > height + SLACK_PX
    ]
    assert outside == []
    entries = list(boxes.items())
    hidden = []
    for number, (text, (low, high)) in enumerate(entries):
        for other, (other_low, other_high) in entries[number + 1 :]:
            shared = np.minimum(high, other_high) - np.maximum(low, other_low)
            if (shared > SLACK_PX).all():
                hidden.append((text.get_text(), other.get_text()))
    assert hidden == []


def test_same_results_give_the_same_bytes(invented, tmp_path):
    first, second = (save(curve_figure(invented), tmp_path / f"{n}.png").read_bytes() for n in range(2))
    assert first == second


@pytest.mark.solid
def test_same_results_give_the_same_room(invented, tmp_path):
    first, second = (save(room_figure(invented), tmp_path / f"{n}.png").read_bytes() for n in range(2))
    assert first == second


def test_no_global_state_and_no_window_is_touched():
    import subprocess
    import sys

    code = "import sys; from sim.studies.draw import pictures, room_picture; print('matplotlib.pyplot' in sys.modules)"
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert child.stdout.strip() == "False"


def test_a_surface_without_a_map_says_so(invented):
    figure = map_figure(invented, surface_called(invented, "screen back"))
    assert any("nothing above" in text.get_text() for text in drawn_texts(figure))


def test_worst_surfaces_are_loud_and_leave_out_what_is_drawn_already(invented):
    desk = desk_surface(invented)
    assert desk is not None and desk.name == "desk top"
    worst = worst_surfaces(invented, besides=[desk])
    assert desk not in worst and 2 <= len(worst) <= 6
    assert worst_surfaces(invented, most=1)[0] == desk


def test_an_octave_that_was_not_calculated_is_refused(invented):
    with pytest.raises(ValueError, match="1234 Hz is not one of the octaves"):
        map_figure(invented, desk_surface(invented), bands_hz=(1234.0,))
