"""The table and the picture of docs/explanation/edges.md, from the saved boundary-element values.

Run: python -m benchmarks.edge_table

Prints the table in Markdown and draws docs/images/edges.png.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sim.propagation.edges.convex import fraction_of_direct, prism
from sim.propagation.edges.plates import plate_total
from tests.builders.plate_bem import Reference, references

PICTURE = Path(__file__).resolve().parent.parent / "docs" / "images" / "edges.png"
SHOWN = ("behind it", "below, ear in shadow")
QUIET_DB = -15.0


def decibels(values: np.ndarray) -> np.ndarray:
    """Level in dB, silence at -99."""
    return 20.0 * np.log10(np.maximum(np.abs(values), 10.0**-4.95))


def in_shadow(r: Reference) -> bool:
    """Whether the plate hides the source from the ear."""
    width, depth, thick = r.size_m
    x, y = 0.5 * depth, 0.5 * width
    upper = np.array([[-x, -y, 0.5 * thick], [x, -y, 0.5 * thick], [x, y, 0.5 * thick], [-x, y, 0.5 * thick]])
    return fraction_of_direct(prism(upper, thick), r.source, r.ear) == 0.0


def errors(r: Reference, order: int) -> np.ndarray:
    """Error of the level in dB where the reference is above -15 dB re direct."""
    off = decibels(plate_total(r.size_m, r.source, r.ear, r.frequencies_hz, order=order)) - decibels(r.total)
    return np.asarray(off[decibels(r.total) > QUIET_DB])


def figures(off: np.ndarray, order: int, dark: bool) -> str:
    """Root mean square, 90th percentile and largest error; images alone leave silence in shadow."""
    if dark and order == 0:
        return "silent"
    off = np.abs(off)
    return f"{np.sqrt(np.mean(off**2)):.2f} / {np.quantile(off, 0.9):.2f} / {off.max():.2f}"


def table() -> None:
    """One row a pair of source and ear, then all lit and all shaded ones together."""
    rows = [(r, in_shadow(r), [errors(r, order) for order in range(4)]) for r in references()]
    print("| plate, source | images only | one edge | two edges | three edges |\n|---|---|---|---|---|")
    for r, dark, off in rows:
        label = f"{r.plate}: {r.label}"
        print(f"| {label} | " + " | ".join(figures(o, n, dark) for n, o in enumerate(off)) + " |")
    for dark, label in ((False, "**all where the ear sees the source**"), (True, "**all in shadow**")):
        joined = [np.concatenate([off[n] for _, d, off in rows if d == dark]) for n in range(4)]
        print(
            f"| {label} ({len(joined[0])} values) | "
            + " | ".join(f"**{figures(o, n, dark)}**" for n, o in enumerate(joined))
            + " |"
        )


def picture() -> None:
    """Level over frequency for a lit and a shaded place of the desk: reference, images, one, two, three edges."""
    figure = Figure(figsize=(7.0, 3.4), dpi=150, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(1, 2, sharey=True)
    chosen = [r for r in references() if r.plate == "desk" and r.label in SHOWN]
    styles = (
        ("#8c4a79", ":", "images only"),
        ("#d55e00", "--", "one edge"),
        ("#009e73", "-.", "two edges"),
        ("#0072b2", "-", "three edges"),
    )
    for ax, r in zip(axes, chosen, strict=True):
        fine = np.geomspace(200.0, 2000.0, 150)
        for order, (colour, line, label) in enumerate(styles):
            level = decibels(plate_total(r.size_m, r.source, r.ear, fine, order=order))
            ax.plot(fine, level, color=colour, linestyle=line, linewidth=1.2, label=label)
        ax.plot(r.frequencies_hz, decibels(r.total), "o", color="#1a1a1a", markersize=3.5, label="boundary elements")
        ax.set(xscale="log", ylim=(-25.0, 10.0), xlim=(200.0, 2000.0), xlabel="frequency, Hz", title=r.label)
        ax.set_xticks([200, 500, 1000, 2000], ["200", "500", "1000", "2000"])
        ax.minorticks_off()
        ax.grid(color="#e0e0e0", linewidth=0.6)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
    axes[0].set_ylabel("total re direct, dB")
    axes[1].text(210.0, -24.0, "images only: silence", fontsize=7.5, color="#8c4a79")
    axes[0].legend(fontsize=7.5, frameon=False, loc="lower left")
    figure.savefig(PICTURE)


if __name__ == "__main__":
    table()
    picture()
