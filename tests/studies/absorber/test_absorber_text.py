"""Lines on one absorber: the numbers are those of the model, and what is doubtful is said."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands
from sim.acoustics.buildups import build_ups
from sim.acoustics.layered_reflection import random_incidence, reflection_factor_at
from sim.acoustics.layers import AirGap, Backing, BuildUp, PorousLayer
from sim.studies.absorber.table import absorber_lines, band_levels_db

AIR = Air()
WOOL = build_ups()["100 mm wool, 100 mm gap"]


def rows(lines: list[str], heading: str) -> dict[str, list[float]]:
    start = lines.index(heading) + 2
    table = {}
    for line in lines[start:]:
        if not line.strip():
            break
        name, *cells = line.split()
        table[name] = [float(cell) for cell in cells]
    return table


def test_layers_depth_mass_and_source_are_told() -> None:
    text = "\n".join(absorber_lines(WOOL, AIR))
    assert text.startswith("100 mm wool, 100 mm gap\nFrom the room to the wall:\n  porous, 100 mm")
    assert "Depth 200 mm." in text
    assert "Mass about 7.0 kg/m2" in text and "estimate" in text
    assert "Source: common practice, no source." in text
    assert "quarter wavelength at 429 Hz" in text


def test_octaves_are_means_of_energy_over_the_band() -> None:
    table = rows(absorber_lines(WOOL, AIR), "Octaves")
    assert list(table) == ["63*", "125", "250", "500", "1k", "2k", "4k", "8k"]
    octaves = octave_bands(63, 8000)
    for band, cells in enumerate(table.values()):
        edges = np.geomspace(octaves.lower_hz[band], octaves.upper_hz[band], 4001)
        for angle, cell in zip((0.0, 30.0, 45.0, 60.0), cells, strict=False):
            energy = np.abs(reflection_factor_at(WOOL, edges, [np.radians(angle)], AIR)[0]) ** 2
            assert cell == pytest.approx(10.0 * np.log10(energy.mean()), abs=0.12)
        assert cells[4] == pytest.approx(random_incidence(WOOL, edges[::40], air=AIR).mean(), abs=0.006)


def test_third_octaves_go_from_50_hz_to_10_khz_and_doubtful_ones_are_marked() -> None:
    table = rows(absorber_lines(WOOL, AIR), "Third-octaves")
    assert len(table) == 24
    assert [name for name in table if name.endswith("*")] == ["50*", "63*", "80*"]
    assert any("lie outside the range" in line for line in absorber_lines(WOOL, AIR))


def test_levels_have_one_row_an_angle() -> None:
    levels = band_levels_db(WOOL, octave_bands(125, 4000), (0.0, 45.0), AIR)
    assert levels.shape == (2, 6)
    assert np.all(levels < 0.0)


def test_cautions_go_with_fibres_and_not_with_a_bare_wall() -> None:
    wool = "\n".join(absorber_lines(WOOL, AIR))
    assert "Caution: Fibres" in wool and "Caution: Fire" in wool
    assert "edges, frame and cloth" in wool and "Fresnel zone" in wool and "ISO 354" in wool
    bare = absorber_lines(BuildUp("bare wall", (), Backing("brick", absorption=(0.03,) * 8)), AIR)
    assert not any(line.startswith(("Caution", "Note")) for line in bare)
    assert rows(bare, "Octaves")["1k"] == [-0.1, -0.1, -0.1, -0.1, 0.03]


def test_a_hard_wall_loses_nothing_and_has_no_minus_zero() -> None:
    lines = absorber_lines(BuildUp("gap", (AirGap(0.1),)), AIR)
    assert rows(lines, "Octaves")["1k"] == [0.0, 0.0, 0.0, 0.0, 0.0]
    assert not any("-0.0" in line for line in lines)


def test_the_range_of_the_model_is_told() -> None:
    felt = BuildUp("felt", (PorousLayer(0.02, 100_000.0),))
    notes = [line for line in absorber_lines(felt, AIR) if line.startswith("Note: The model of the layer")]
    assert len(notes) == 1 and "from 1 kHz" in notes[0]
