"""Colours, letters, numbers and lengths."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import to_rgb

from sim.showing.style import SCALE, case_looks, looks


def lightness(colours):
    """Relative luminance of sRGB colours (IEC 61966-2-1)."""
    rgb = np.asarray(colours)[..., :3]
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return linear @ np.array([0.2126, 0.7152, 0.0722])


def test_louder_is_darker_in_every_class_so_that_grey_copies_can_be_read():
    middles = SCALE.edges_db[:-1] + 0.5 * SCALE.step_db
    shades = lightness(SCALE.paint(np.array([*middles, 5.0])))
    assert (np.diff(shades) < -0.004).all()
    assert shades[0] > 0.7 and shades[-1] < 0.02


def test_levels_of_one_class_share_a_colour_and_neighbours_do_not():
    paint = SCALE.paint(np.array([-14.9, -12.6, -12.4, -np.inf]))
    assert (paint[0] == paint[1]).all() and not np.allclose(paint[1], paint[2])
    assert paint[3].tolist() == [1.0, 1.0, 1.0, 1.0]


def test_looks_differ_in_colour_line_marker_and_letter():
    for several in (looks(["left", "right", "centre"]), case_looks(4)):
        for field in ("letter", "colour", "line", "marker", "hatch"):
            assert len({str(getattr(look, field)) for look in several}) == len(several)
    assert [look.letter for look in looks(["left", "right"])] == ["L", "R"]
    assert [look.letter for look in looks(["main 1", "main 2"])] == ["A", "B"]
    left, right = (lightness(to_rgb(look.colour)) for look in looks(["left", "right"]))
    assert abs(left - right) > 0.02
