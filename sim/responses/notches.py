"""Which surface makes which notch in the response at the ear, and which driver plays it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sim.arrays import ComplexArray, FloatArray
from sim.placement.built_scene import BuiltScene
from sim.responses.ear_records import EarResponse, Notch
from sim.responses.energy_time import local_peaks
from sim.responses.frequency import smoothed_db

HIGHEST_HZ = 8000.0
NARROW, WIDE = 12.0, 1.0
"""A notch is a dip of the twelfth-octave mean under the one-octave mean; narrower ones are not heard as colour
(common practice, no source)."""
LEAST_DB = 3.0
LEAST_RISE_DB = 1.0
"""What changes the level at a notch by less is not named."""
LEAST_PART = 0.5
"""A surface without which less than this part of a notch's depth is filled is not its single cause (our choice)."""


def list_notches(built: BuiltScene, response: EarResponse, lowest_hz: float) -> tuple[Notch, ...]:
    """Find the notches from `lowest_hz` to 8 kHz, for each loudspeaker and listener the deepest first.

    Those that a panel keeps away come last: dips of the response without it that are none with it.
    """
    found: list[Notch] = []
    frequencies = response.frequencies_hz
    for s in range(len(built.loudspeakers)):
        for place, listener in enumerate(built.listener_names):
            heard = response.total[s, place]
            adds = dict(zip(response.surfaces, response.by_surface[s, place], strict=True))
            panels = dict(zip(response.panels, response.by_panel[s, place], strict=True))
            mine = [
                _notch(built, (s, listener), frequencies, dip, heard, adds, panels)
                for dip in dips_of(frequencies, heard, lowest_hz)
            ]
            taken = [notch.frequency_hz for notch in mine]
            kept_away = [
                _kept_away(built, (s, listener), frequencies, dip, heard, adds, (panel, added))
                for panel, added in panels.items()
                for dip in dips_of(frequencies, heard - added, lowest_hz)
                if _rise_db(heard, added, dip[0]) <= -LEAST_RISE_DB
                and all(abs(np.log2(frequencies[dip[0]] / other)) >= 1.0 / NARROW for other in taken)
            ]
            found += sorted(mine, key=lambda notch: -notch.depth_db)
            found += sorted(kept_away, key=lambda notch: -notch.depth_db)
    return tuple(found)


def dips_of(frequencies: FloatArray, response: ComplexArray, lowest_hz: float) -> list[tuple[int, float]]:
    """Numbers of the frequencies where a response (f,) has a notch, and how deep it is."""
    judged = np.flatnonzero((frequencies >= lowest_hz) & (frequencies <= HIGHEST_HZ))
    under = smoothed_db(frequencies, response, WIDE) - smoothed_db(frequencies, response, NARROW)
    places = [int(judged[number]) for number in local_peaks(under[judged], LEAST_DB)]
    return [(k, float(under[k])) for k in places if under[k] >= LEAST_DB]


def _notch(
    built: BuiltScene,
    pair: tuple[int, str],
    frequencies: FloatArray,
    dip: tuple[int, float],
    heard: ComplexArray,
    adds: Mapping[str, ComplexArray],
    panels: Mapping[str, ComplexArray],
) -> Notch:
    """One notch of a pair (loudspeaker's number, listener) with what makes it, and the panel that does most to it."""
    rises = {name: _rise_db(heard, added, dip[0]) for name, added in adds.items()}
    surface = max(rises, key=lambda name: rises[name], default="")
    if rises.get(surface, 0.0) < max(LEAST_RISE_DB, LEAST_PART * dip[1]):
        surface = ""
    shifts = {name: _rise_db(heard, added, dip[0]) for name, added in panels.items()}
    panel = max(shifts, key=lambda name: abs(shifts[name]), default="")
    if abs(shifts.get(panel, 0.0)) < LEAST_RISE_DB:
        panel = ""
    frequency = float(frequencies[dip[0]])
    return Notch(
        built.loudspeakers[pair[0]].name,
        pair[1],
        frequency,
        dip[1],
        _loudest_driver(built, pair[0], frequency),
        surface,
        rises.get(surface, 0.0),
        panel,
        shifts.get(panel, 0.0),
    )


def _kept_away(
    built: BuiltScene,
    pair: tuple[int, str],
    frequencies: FloatArray,
    dip: tuple[int, float],
    heard: ComplexArray,
    adds: Mapping[str, ComplexArray],
    panel: tuple[str, ComplexArray],
) -> Notch:
    """A notch that is there only without a panel (name, what it adds): the bare surface where it hangs makes it."""
    name, added = panel
    surface = next(one.surface for one in built.panels if one.name == name)
    bare = heard - added
    rise_db = _rise_db(bare, adds[surface] - added, dip[0]) if surface in adds else 0.0
    frequency = float(frequencies[dip[0]])
    return Notch(
        built.loudspeakers[pair[0]].name,
        pair[1],
        frequency,
        dip[1],
        _loudest_driver(built, pair[0], frequency),
        surface if rise_db >= LEAST_RISE_DB else "",
        rise_db if rise_db >= LEAST_RISE_DB else 0.0,
        name,
        _rise_db(heard, added, dip[0]),
        False,
    )


def _rise_db(heard: ComplexArray, added: ComplexArray, k: int) -> float:
    """By how many dB the twelfth-octave mean at frequency number k would rise without what is `added` to a response."""
    half = max(2, round(k * (2.0 ** (0.5 / NARROW) - 1.0)) + 1)
    near = slice(max(0, k - half), k + half + 1)
    energy = [max(float(np.mean(np.abs(one) ** 2)), 1e-20) for one in (heard[near], heard[near] - added[near])]
    return float(10.0 * np.log10(energy[1] / energy[0]))


def _loudest_driver(built: BuiltScene, s: int, frequency_hz: float) -> str:
    model = built.loudspeakers[s].model
    ahead = np.array([[1.0, 0.0, 0.0]])
    levels = np.abs(model.radiation(ahead, [frequency_hz], built.air.speed_of_sound_m_s))[:, 0, 0]
    return model.drivers[int(np.argmax(levels))].name
