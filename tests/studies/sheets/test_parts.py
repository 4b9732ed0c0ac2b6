from __future__ import annotations

import math

import pytest

from sim.studies.sheets.parts import design_load_n, fixing_points, parts_list, parts_table
from sim.studies.sheets.readings import read_panels
from tests.studies.sheets.treated_rooms import lopsided


def test_every_panel_is_counted_once() -> None:
    readings = read_panels(lopsided().built)
    panels = [part for part in parts_list(readings) if part.kind == "panel"]
    assert sorted(name for part in panels for name in part.panels) == ["P1", "P2", "P3", "P4"]
    assert sum(part.count for part in panels) == 4
    by_number = {part.panels[0]: part for part in panels}
    assert by_number["P3"].mass_each_kg == 12.5 and not by_number["P3"].mass_is_estimate
    assert by_number["P1"].mass_is_estimate
    assert by_number["P2"].price_each == 85.5
    assert math.isnan(by_number["P1"].price_each)


def test_what_hangs_overhead_gets_more_points_and_a_tether() -> None:
    readings = {one.number: one for one in read_panels(lopsided().built)}
    parts = parts_list(list(readings.values()))
    cloud = [part for part in parts if part.panels == ("P3",)]
    assert [part.kind for part in cloud] == ["panel", "fixings", "tether"]
    weight = 12.5 * 9.81
    assert fixing_points(readings["P3"]) == 4
    # five times the weight, on the three points that are left when one fails
    assert design_load_n(readings["P3"]) == pytest.approx(5.0 * weight / 3.0)
    assert cloud[2].design_load_n == pytest.approx(5.0 * weight)
    wall = [part for part in parts if part.panels == ("P1",)]
    assert [part.kind for part in wall] == ["panel", "fixings"]
    assert design_load_n(readings["P1"]) == pytest.approx(3.0 * readings["P1"].panel.mass_kg * 9.81 / 2.0)
    stand = [part for part in parts if part.panels == ("P2",)]
    assert [part.kind for part in stand] == ["panel", "stand"]
    assert "10 degrees" in stand[1].note


def test_the_table_leaves_room_for_prices_and_adds_masses() -> None:
    parts = parts_list(read_panels(lopsided().built))
    table = parts_table(parts, "m", "EUR")
    assert "Price each EUR" in table.headings
    prices = [row[table.headings.index("Price each EUR")] for row in table.rows]
    assert "85.50" in prices and ".........." in prices
    together = sum(part.count * part.mass_each_kg for part in parts if part.kind == "panel")
    assert f"4 panels, {together:.1f} kg together." in table.notes
    assert any("common practice, no source" in row[-1] for row in table.rows)
