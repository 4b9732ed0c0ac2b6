"""One arrival in words: numbers a person can check, and sentences for everything that was tried."""

from __future__ import annotations

import re

import pytest

from sim.responses.records import Results
from sim.showing.numbers import hertz
from sim.studies.explain.explanation import explain
from sim.studies.explain.records import Aim
from sim.studies.explain.text import aim_words, db, explanation_lines
from tests.explained import PANEL, POINT, TWO_WAY, number_of, traced


def words(traced_attic: Results, way: str | int, loudspeaker: str = "left") -> str:
    number = way if isinstance(way, int) else number_of(traced_attic, way, loudspeaker)
    return "\n".join(explanation_lines(traced_attic, explain(traced_attic, loudspeaker, "ear", number)))


def columns(text: str, name: str) -> list[float]:
    (row,) = re.findall(rf"^  {re.escape(name)}  +(-?\d.*)$", text, flags=re.MULTILINE)
    return [float(cell) for cell in row.split()]


def test_the_printed_breakdown_adds_up() -> None:
    text = words(traced(TWO_WAY), "ceiling")
    names = ("longer path", "radiation that way", "air", "ceiling", "drivers together")
    steps = [columns(text, name) for name in names]
    for parts, whole in zip(zip(*steps, strict=True), columns(text, "= this arrival"), strict=True):
        assert sum(parts) == pytest.approx(whole, abs=0.31)
    assert re.search(r"^ +1 kHz\*? +2 kHz", text, flags=re.MULTILINE)
    assert "carried by" in text


def test_time_and_length_are_told_both_ways() -> None:
    text = words(traced(POINT), "ceiling")
    (whole,) = re.findall(r"from the monitor, this path +([\d.]+) ms +([\d.]+) m long", text)
    (direct,) = re.findall(r"from the monitor, direct +([\d.]+) ms +([\d.]+) m long", text)
    (after,) = re.findall(r"after the direct sound +([\d.]+) ms +([\d.]+) m longer", text)
    for k in (0, 1):
        assert float(whole[k]) - float(direct[k]) == pytest.approx(float(after[k]), abs=0.011)
    assert float(whole[1]) == pytest.approx((1.4**2 + 0.6**2 + 2.5**2) ** 0.5, abs=0.001)


def test_a_ceiling_gets_a_panel_by_tape_and_the_caution_for_overhead_loads() -> None:
    text = words(traced(TWO_WAY), "ceiling")
    assert re.search(
        r"ceiling: a panel with its centre [\d.]+ cm from the front wall, [\d.]+ cm from the left wall", text
    )
    assert "in its place: the ceiling lamp" in text
    assert "Mind: Overhead panels" in text and "second tether" in text
    for material in ("50 mm wool", "100 mm wool", "100 mm wool, 100 mm gap"):
        assert material in text
    assert text.rstrip().splitlines()[-1].startswith("Below ") and text.rstrip().endswith("nothing is judged.")


def test_a_desk_gets_the_mirror_formula_and_no_caution() -> None:
    text = words(traced(POINT), "desk top")
    assert "desk top: by its reflection point alone; its edges still diffract" in text
    tilted = r"tilt it [\d.]+ degrees about its listener-side edge, far edge (up|down)"
    assert re.search(tilted, text) or "no tilt up to 20 degrees" in text
    assert re.search(r"all its edges together then send -?[\d.]+ dB at \d+ k?Hz \(now -?[\d.]+ dB\)", text)
    assert "Overhead" not in text


def test_a_panel_that_is_met_is_told_with_its_share() -> None:
    text = words(traced(POINT + PANEL), "left wall (side panel)")
    assert re.search(r"side panel \(100 mm wool\) governs \d+ % of what comes back there at", text)
    assert "panels hang there already" in text
    assert columns(text, "side panel")[0] < -3.0


def test_an_edge_is_told_as_one() -> None:
    results = traced(POINT)
    number = next(a.number for a in results.responses.arrivals if a.diffracted and a.order == 1)
    text = words(results, number)
    assert re.search(r"the path turns by \d+ degrees there", text)
    assert "an edge fades, it does not switch" in text
    assert "diffracted at" in text and "What would remove it" in text


def test_direct_sound_and_lengths_in_inches() -> None:
    assert "Nothing hides it" in words(traced(TWO_WAY), 0)
    inches = TWO_WAY.replace('units = "cm"', 'units = "in"')
    inches = re.sub(r"(?<![\w.])(\d+)(?=[,\s\]}])", lambda found: f"{int(found[1]) / 2.54:.3f}", inches)
    inches = re.sub(r"order = .*", "order = 1", inches)
    text = words(traced(inches), "ceiling")
    assert re.search(r"a panel with its centre \d+( \d+/\d+)? in from the front wall", text)


def test_small_words() -> None:
    assert (db(-0.04), db(-12.34), db(-75.0)) == ("0.0", "-12.3", "under -60")
    assert (hertz(500.0), hertz(2000.0)) == ("500 Hz", "2 kHz")
    assert aim_words(Aim(33.2, 0.1, -33.2)) == "33 degrees off its axis (33 down)"
    assert aim_words(Aim(20.0, 12.0, 16.0)) == "20 degrees off its axis (12 to the right, 16 up)"
    assert aim_words(Aim(0.0, 0.0, 0.0)) == "0 degrees off its axis"
