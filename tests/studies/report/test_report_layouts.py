from __future__ import annotations

from sim.studies.report.sections import _cell, _signed


def test_cells_hold_the_level_and_what_changed_against_the_first_layout() -> None:
    assert _cell(-12.34, -12.34, 0) == "\N{MINUS SIGN}12.3" or _cell(-12.34, -12.34, 0) == "-12.3"
    changed = _cell(-10.0, -12.5, 1)
    assert changed.startswith(_cell(-10.0, -10.0, 0)) and "<small>+2.5</small>" in changed
    assert "2.5" not in _cell(-10.0, -12.5, 0)


def test_a_rise_has_a_plus_and_no_change_has_none() -> None:
    assert _signed(2.5) == "+2.5"
    assert "+" not in _signed(-2.5) and _signed(-2.5).endswith("2.5")
    assert "+" not in _signed(0.04)
