"""Arrivals name the panels they meet."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.acoustics.patches import fraction_of_panel, panel_on_wall_axes
from sim.blueprint.treatment import Target
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.arrivals import list_arrivals
from sim.responses.path_kinds import _governing
from sim.responses.records import Arrival
from tests.built_scenes import box, built_scene_of

SOURCE, EAR = (1.0, 1.2, 1.2), (3.0, 1.2, 1.2)
"""Both 1.2 m off the left wall: the reflection point lies at depth 2.0 m, 1.2 m up."""
BAND = octave_bands()


def arrivals_with(*spans: tuple[float, float], up: tuple[float, float] = (0.4, 2.0)) -> dict[str, Arrival]:
    panels = [
        {"name": f"panel {n}", "surface": "left wall", "from_front": span, "up": up, "material": "50 mm wool"}
        for n, span in enumerate(spans, 1)
    ]
    built = built_scene_of(box(5.0, 4.0, 2.6), [SOURCE], EAR, panels=panels)
    found = list_arrivals(built, trace_paths(built, 2), BAND, Target(band_hz=(1000.0, 4000.0)))
    return {" > ".join(arrival.surfaces): arrival for arrival in found}


def test_a_panel_at_the_mirror_point_is_named_in_the_way_and_by_itself() -> None:
    found = arrivals_with((0.6, 3.4))
    assert found["left wall"].panels == ("panel 1",)
    assert found["left wall"].via == "left wall (panel 1)"
    assert found["left wall > right wall"].via == "left wall (panel 1) > right wall"
    assert found["right wall > left wall"].panels == ("", "panel 1")
    assert found["right wall"].panels == ("",) and found["right wall"].via == "right wall"
    assert found[""].panels == () and found[""].via == "direct"


def test_one_that_is_off_the_mirror_point_is_not_named() -> None:
    found = arrivals_with((2.5, 4.0))
    assert found["left wall"].via == "left wall"
    assert arrivals_with()["left wall"].panels == ()


@pytest.mark.parametrize("edge", [1.90, 1.97, 2.03, 2.10])
def test_the_limit_is_half_of_the_pressure_at_the_worst_octave(edge: float) -> None:
    """An edge at the mirror point gives a half (Born & Wolf, Principles of Optics); asked of one path alone."""
    arrival = arrivals_with((edge, 4.0))["left wall"]
    corners = [[edge, 0.0, 0.4], [4.0, 0.0, 0.4], [4.0, 0.0, 2.0], [edge, 0.0, 2.0]]
    flat, cosine = panel_on_wall_axes(corners, [2.0, 0.0, 1.2], np.array([1.0, -1.2, 0.0]), [0.0, 1.0, 0.0])
    leg = np.hypot(1.0, 1.2)
    hz = BAND.exact_hz[BAND.nominal_hz == arrival.worst_band_hz]
    fraction = abs(fraction_of_panel(flat, leg, leg, cosine, hz, 343.2)[0])
    assert fraction == pytest.approx(0.5, abs=0.3)
    # a share knows the wool as well, so just beside the reflection point it may be either side of the plain fraction
    assert arrival.panels == (("panel 1",) if edge < 2.0 else ("",))


def test_a_joint_at_the_mirror_point_names_both() -> None:
    found = arrivals_with((1.2, 2.0), (2.0, 2.8))
    assert found["left wall"].via == "left wall (panel 1 and panel 2)"
    assert _governing(["one", "two"], np.array([0.55, 0.1])) == "one"
    assert _governing(["one", "two"], np.array([0.4j, 0.4j])) == "one and two"
    assert _governing(["one", "two"], np.array([0.4, -0.4])) == ""
    assert _governing(["one"], np.array([0.5])) == ""
