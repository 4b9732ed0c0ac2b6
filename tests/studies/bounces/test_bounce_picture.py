"""Pictures of bounces: which surfaces, how many panels, and what is written on them."""

from __future__ import annotations

from pathlib import Path

from matplotlib.patches import Circle

from sim.studies.bounces.maps import DISC_M
from sim.studies.bounces.picture import bounce_figure, draw_bounces, surfaces_that_matter
from tests.studies.bounces.test_bounce_maps import studied


def test_strongest_surfaces_come_first_and_each_is_a_file(tmp_path: Path) -> None:
    study = studied(0.0)[2]
    surfaces = surfaces_that_matter(study)
    assert {"floor", "ceiling", "left wall", "right wall"} <= {surface.name for surface in surfaces}
    made = draw_bounces(study, tmp_path)
    assert [path.name for path in made] == [f"bounces_{s.name.replace(' ', '_')}.png" for s in surfaces]
    assert all(path.stat().st_size > 10_000 for path in made)


def test_a_row_a_loudspeaker_and_a_column_a_bounce() -> None:
    study = studied(0.0)[2]
    floor = next(surface for surface in surfaces_that_matter(study) if surface.name == "floor")
    figure = bounce_figure(study, floor)
    titles = [axes.get_title() for axes in figure.axes if axes.get_title()]
    assert [title.split(":")[0] for title in titles] == [
        f"{name}, {order} bounce" for name in ("left", "right") for order in ("first", "second", "third")
    ]
    written = " ".join(text.get_text() for text in figure.texts)
    assert "0 to 14 ms after direct sound" in written and "1 kHz to 8 kHz" in written
    strongest = next(s for s in study.spots if s.surface == "floor" and s.loudspeaker == "left" and s.bounce == 1)
    level = f"\N{MINUS SIGN}{abs(round(strongest.level_db))} dB"
    assert level in [text.get_text() for axes in figure.axes for text in axes.texts]


def test_a_disc_is_said_to_be_where_sound_is_added_up() -> None:
    """A ring of that radius about each spot, and a sentence: no one takes the disc for the size of a reflection."""
    study = studied(0.0)[2]
    floor = next(surface for surface in surfaces_that_matter(study) if surface.name == "floor")
    figure = bounce_figure(study, floor)
    assert "collects sound, it is not how wide a reflection is" in " ".join(text.get_text() for text in figure.texts)
    rings = [one for axes in figure.axes for one in axes.patches if isinstance(one, Circle)]
    assert rings and all(ring.radius == DISC_M for ring in rings)
