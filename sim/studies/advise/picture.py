"""Before and after in one picture: the components of the measure, and the response at the ear."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.responses.frequency import smoothed_db
from sim.responses.measure import COMPONENTS, Measure
from sim.responses.records import Results
from sim.showing.numbers import short_hertz
from sim.showing.style import HAIRLINE, INK, SOFT_INK, case_looks, house_style, new_figure, save
from sim.studies.advise.records import Advice

LOWEST_HZ, HIGHEST_HZ = 125.0, 16000.0
TICKS_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)


def draw_advice(advice: Advice, path: Path) -> Path:
    """Write the picture as PNG."""
    return save(advice_figure(advice), path)


def advice_figure(advice: Advice) -> Figure:
    """Draw weighted components on the left, third-octave responses at the ear on the right."""
    line = advice.together or advice.first
    after = advice.now if line is None else line.measure
    with house_style():
        figure = new_figure(11.0, 5.2)
        figure.text(0.02, 0.965, advice.scene.blueprint.title, fontsize=11, fontweight="bold", va="top")
        words = "nothing tried is better" if line is None else line.words
        figure.text(0.02, 0.90, f"after: {words}", fontsize=8.5, color=SOFT_INK, va="top", wrap=True)
        _components(figure.add_axes((0.26, 0.13, 0.20, 0.66)), advice.now, after)
        _responses(figure.add_axes((0.55, 0.13, 0.43, 0.66)), advice.before, advice.after)
    return figure


def _components(place: Axes, before: Measure, after: Measure) -> None:
    names = list(COMPONENTS)
    rows = np.arange(len(names))
    for look, measure, shift in zip(case_looks(2), (before, after), (-0.2, 0.2), strict=True):
        values = [measure.weights[name] * measure.components[name] for name in names]
        label = f"{'before' if shift < 0.0 else 'after'}: {measure.total_db:.1f} dB"
        place.barh(rows + shift, values, 0.36, color=look.colour, label=label)
    place.set_yticks(rows, [COMPONENTS[name][0] for name in names])
    place.invert_yaxis()
    place.set_xlabel("counted in the measure, dB (less is better)")
    place.legend(loc="lower right", frameon=False)


def _responses(place: Axes, before: Results, after: Results) -> None:
    for look, results, label in zip(case_looks(2), (before, after), ("before", "after"), strict=True):
        response = results.responses.response
        shown = (response.frequencies_hz >= LOWEST_HZ) & (response.frequencies_hz <= HIGHEST_HZ)
        level = smoothed_db(response.frequencies_hz, response.total[0, 0])
        place.plot(response.frequencies_hz[shown], level[shown], color=look.colour, linestyle=look.line, label=label)
    place.axvline(before.responses.transition_hz, color=HAIRLINE, linewidth=0.8)
    place.set_xscale("log")
    place.set_xticks(TICKS_HZ, [short_hertz(hz) for hz in TICKS_HZ])
    place.minorticks_off()
    place.set_xlabel("frequency, Hz (not judged left of the line)")
    place.set_ylabel(f"{before.built.loudspeakers[0].name} at the ear, third-octaves, dB re on axis", color=INK)
    place.legend(loc="lower left", frameon=False)
