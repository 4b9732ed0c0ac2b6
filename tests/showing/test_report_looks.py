from __future__ import annotations

from matplotlib.colors import to_hex

from sim.showing.page import LEVEL_COLOURS, LOWEST_DB, STEP_DB, layout_looks, level_colour, loudspeaker_looks
from sim.showing.style import SCALE, case_looks, looks


def test_levels_have_the_colours_of_the_pictures() -> None:
    assert SCALE.low_db == LOWEST_DB
    assert SCALE.step_db == STEP_DB
    middles = SCALE.edges_db + 0.5 * SCALE.step_db
    assert [to_hex(colour) for colour in SCALE.paint(middles)] == list(LEVEL_COLOURS)
    for level, colour in zip(middles.tolist(), LEVEL_COLOURS, strict=True):
        assert level_colour(level) == colour
    assert level_colour(-30.1) == ""
    assert level_colour(40.0) == LEVEL_COLOURS[-1]


def test_loudspeakers_and_layouts_look_as_in_the_pictures() -> None:
    for names in (["left", "right"], ["a", "a2", "centre"], ["1", "2"]):
        assert [(o.letter, o.colour) for o in loudspeaker_looks(names)] == [(o.letter, o.colour) for o in looks(names)]
    assert [(o.letter, o.colour) for o in layout_looks(list("wxyz"))] == [(o.letter, o.colour) for o in case_looks(4)]
    assert len({one.dashes for one in layout_looks(list("wxyz"))}) == 4
