"""What the terminal says of one loudspeaker."""

from __future__ import annotations

import re

import numpy as np

from sim.acoustics.air import Air
from sim.loudspeakers.assembled import GivenDriver, assembled_loudspeaker, measured_loudspeaker
from sim.loudspeakers.catalogue import generic_loudspeaker
from sim.studies.loudspeaker.text import loudspeaker_lines
from tests.loudspeakers.test_directivity_data import CARDIOID, NARROW, orbits


def rows(lines: list[str], title: str) -> dict[str, list[str]]:
    """Rows of the table below a title, by their first cell."""
    start = next(number for number, line in enumerate(lines) if line.startswith(title))
    found: dict[str, list[str]] = {}
    for line in lines[start + 2 :]:
        if not line:
            break
        cells = re.split(r"\s{2,}", line.strip())
        found[cells[0]] = cells[1:]
    return found


def test_a_generic_two_way_is_told_with_its_drivers_and_curves() -> None:
    lines = loudspeaker_lines(generic_loudspeaker("two-way"), Air())
    assert lines[1] == "Cabinet 180 mm x 290 mm x 230 mm (width, height, depth)."
    assert "  woofer, 105 mm, 150 mm below, to 2.2 kHz, 24 dB per octave" in lines
    assert "  tweeter, 25 mm, at the axis point, from 2.2 kHz, 24 dB per octave" in lines
    across = rows(lines, "Horizontal orbit")
    assert across["0 deg"] == ["0.0"] * 8
    levels = np.array([float(cell) for cell in across["120 deg"]])
    # edges of the box make ripples of a decibel or two on the way down
    assert (np.diff(levels) < 2.0).all()
    assert (np.diff(levels[::2]) < 0.0).all()
    upright = rows(lines, "Vertical orbit")
    assert (
        float(upright["30 deg"][4].split(" / ")[0]) < float(across["30 deg"][4]) - 3.0
    )  # the lobe at 2 kHz, 3.8 dB with the edges of the box


def test_a_cardioid_from_a_file_has_the_curves_of_a_cardioid() -> None:
    data = orbits(CARDIOID / CARDIOID.max(), CARDIOID / CARDIOID.max(), has_phase=False)
    lines = loudspeaker_lines(measured_loudspeaker("mine", data), Air())
    assert "No cabinet: it blocks and reflects nothing." in lines
    assert any(line.startswith("Measured: invented, 72 directions, two orbits") for line in lines)
    assert "  assumed: it holds no phase: all directions are taken to be in step with the axis" in lines
    assert any(line.startswith("  assumed: all sound leaves from the acoustic axis point") for line in lines)
    assert rows(lines, "Horizontal orbit")["90 deg"] == ["-5.2"] * 8
    assert [row[0] for row in (rows(lines, "Horizontal orbit")["180 deg"],)] == ["-20.0"]


def test_sides_that_differ_are_told_apart() -> None:
    steps = np.radians(np.arange(-180.0, 180.0, 10.0))
    lopsided = np.repeat((0.6 + 0.4 * np.cos(steps) + 0.2 * np.sin(steps))[:, None], 3, axis=1) + 0j
    lines = loudspeaker_lines(measured_loudspeaker("mine", orbits(lopsided, NARROW)), Air())
    assert any("(right / left of the axis)" in line for line in lines)
    assert rows(lines, "Horizontal orbit")["90 deg"][0] == "-1.9 / -8.0"


def test_own_drivers_are_told_with_all_that_was_said() -> None:
    reported = [
        GivenDriver("woofer", 0.14, 0.0, 0.11, to_hz=2000.0, slope_db_per_octave=18, delay_ms=0.02),
        GivenDriver(
            "tweeter",
            0.025,
            0.02,
            0.26,
            from_hz=2000.0,
            slope_db_per_octave=18,
            gain_db=-1.5,
            waveguide_diameter_m=0.08,
        ),
    ]
    lines = loudspeaker_lines(assembled_loudspeaker("mine", (0.2, 0.33, 0.28), reported, flush=True), Air())
    assert "  woofer, 140 mm, 20 mm left and 150 mm below, to 2 kHz, 18 dB per octave, +0.02 ms" in lines
    assert (
        "  tweeter, 25 mm, in a waveguide of 80 mm for 90 degrees, at the axis point, from 2 kHz, 18 dB per octave,"
        " -1.5 dB"
    ) in lines
    assert "A waveguide is approximated by an effective radius at each frequency." in lines
    assert rows(lines, "Horizontal orbit")["120 deg"] == ["- / -"] * 8  # nothing behind a wall
    assert loudspeaker_lines(generic_loudspeaker("point"), Air())[2] == "A point that radiates evenly all round."
