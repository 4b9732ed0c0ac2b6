"""What every picture shares: colours, line styles, the one scale of levels, and how a figure becomes a file.

Nothing here touches global state: figures are made as objects, drawn by a canvas without a window, and the
settings a person may keep for matplotlib are left out.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib
import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, Colormap, ListedColormap
from matplotlib.figure import Figure

from sim.arrays import FloatArray
from sim.machine.whole_files import write_whole
from sim.showing.numbers import level_words
from sim.showing.words import letter_of

DOTS_PER_INCH = 150
INK, SOFT_INK, HAIRLINE, PAPER = "#1a1a1a", "#5c5c5c", "#a8a8a8", "#ffffff"
SURFACE, FURNITURE, GLASS = "#ebebeb", "#dcd8d0", "#3b6ea5"
FONT_SIZE = 9.0
PACKED = {"compress_level": 3}
"""How hard PNG files are packed: a third less work than usual, files a tenth larger."""

# Four colours that people with any common colour blindness can tell apart (Okabe and Ito, "Color universal
# design", 2008); the line style and the marker say the same again.
_LOOKS = (
    ("#0072b2", "-", "o", ""),
    ("#d55e00", (0, (4.0, 1.6)), "s", "////"),
    ("#009e73", (0, (1.2, 1.2)), "^", "...."),
    ("#8c4a79", (0, (6.0, 1.5, 1.2, 1.5)), "D", "xxxx"),
)


# Whole results compared with each other take other colours than loudspeakers do, so that B is not read as "right".
_CASE_COLOURS = ("#1a1a1a", "#009e73", "#8c4a79", "#b07d00")


@dataclass(frozen=True, slots=True)
class Look:
    """How one loudspeaker (or one of several results) is told from the others, with and without colour."""

    name: str
    letter: str
    colour: str
    line: Any
    marker: str
    hatch: str


def looks(names: Sequence[str]) -> tuple[Look, ...]:
    """A look for each name; letters are first letters ("left" is L) where these differ, else A, B, C."""
    letters = [name[:1].upper() for name in names]
    if len(set(letters)) < len(letters) or not all(letter.isalpha() for letter in letters):
        letters = [chr(ord("A") + number % 26) for number in range(len(names))]
    return tuple(
        Look(name, letter, *_LOOKS[number % len(_LOOKS)])
        for number, (name, letter) in enumerate(zip(names, letters, strict=True))
    )


def case_looks(count: int) -> tuple[Look, ...]:
    """Looks of results that are compared: A, B, C and so on, after Z AA, in the order given."""
    letters = [letter_of(number) for number in range(count)]
    return tuple(
        Look(letter, letter, _CASE_COLOURS[number % len(_CASE_COLOURS)], *_LOOKS[number % len(_LOOKS)][1:])
        for number, letter in enumerate(letters)
    )


@dataclass(frozen=True, slots=True)
class LevelScale:
    """Classes of level in dB re direct sound, from pale (little) to dark (much); the same in every picture."""

    low_db: float = -30.0
    high_db: float = 0.0
    step_db: float = 2.5

    @property
    def edges_db(self) -> FloatArray:
        """Borders of the classes, low to high."""
        return np.arange(self.low_db, self.high_db + 0.5 * self.step_db, self.step_db)

    @property
    def colours(self) -> Colormap:
        """One colour a class, even in lightness, and one more for whatever is louder than the highest class."""
        shades = matplotlib.colormaps["magma_r"](np.linspace(0.04, 0.86, len(self.edges_db) - 1))
        return ListedColormap([tuple(shade) for shade in shades]).with_extremes(over="#12000f", under=PAPER)

    @property
    def classes(self) -> BoundaryNorm:
        """From level to class."""
        return BoundaryNorm(self.edges_db.tolist(), len(self.edges_db) - 1)

    def paint(self, levels_db: FloatArray) -> FloatArray:
        """Colours (n, 4) of levels (n,)."""
        return np.asarray(self.colours(self.classes(np.maximum(levels_db, -1e3))), dtype=np.float64)

    def draw_bar(self, figure: Figure, place: Axes) -> None:
        """Draw the bar that explains the colours into axes of its own."""
        bar = figure.colorbar(
            ScalarMappable(self.classes, self.colours), cax=place, extend="max", ticks=self.edges_db[::2].tolist()
        )
        bar.set_label("dB re direct sound", fontsize=FONT_SIZE)
        bar.ax.tick_params(labelsize=FONT_SIZE - 1)
        bar.ax.set_xlabel(
            f"plain: under\n{level_words(self.low_db)}\nor nothing",
            fontsize=FONT_SIZE - 2,
            color=SOFT_INK,
            labelpad=9.0,
        )


SCALE = LevelScale()


def house_style() -> AbstractContextManager[None]:
    """Settings for the time a figure is made and saved: factory settings, plain axes."""
    return matplotlib.style.context(
        [
            "default",
            {
                "font.size": FONT_SIZE,
                "axes.titlesize": FONT_SIZE + 1,
                "axes.labelsize": FONT_SIZE,
                "xtick.labelsize": FONT_SIZE - 1,
                "ytick.labelsize": FONT_SIZE - 1,
                "axes.edgecolor": SOFT_INK,
                "text.color": INK,
                "axes.labelcolor": INK,
                "xtick.color": SOFT_INK,
                "ytick.color": SOFT_INK,
                "legend.fontsize": FONT_SIZE - 1,
                "legend.frameon": False,
                "hatch.linewidth": 0.6,
                "text.parse_math": False,  # two dollar signs in a name are two dollar signs
            },
        ]
    )


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty white figure of whole pixels, with a canvas of its own and no window."""
    whole = [round(side * DOTS_PER_INCH) / DOTS_PER_INCH for side in (width_in, height_in)]
    figure = Figure(figsize=(whole[0] + 1e-9, whole[1] + 1e-9), dpi=DOTS_PER_INCH, facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def save(figure: Figure, path: Path) -> Path:
    """Write the figure as PNG; the same figure gives the same bytes.  The file appears whole or not at all.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    whole = io.BytesIO()
    with house_style():
        figure.savefig(whole, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None}, pil_kwargs=PACKED)
    return write_whole(path, whole.getvalue(), "the picture", make_folder=True)
