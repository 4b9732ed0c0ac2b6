"""The README of a decay study's folder: files, columns, how it was found, what was left out, what to mind."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from .. import __version__
from ..responses.decay_records import DecayStudy
from .decay_text import NEGLECTED
from .file_meanings import meaning_of
from .paragraphs import listed, named, titled, write_explanation
from .remarks import CAUTIONS

FILES: Final = ("decay.txt", "decay.csv", "decay_figures.csv", "decay.h5", "decay.png", "contents.txt")
COLUMNS: Final[dict[str, str]] = {
    "loudspeaker, listener": 'Names; "all" for the mean of the room.',
    "time_ms": "After direct sound; 0 is the moment it arrives, all of it counted.",
    "level_125_hz_db ... level_8000_hz_db": "Decay curve: energy still to come, re all energy of that octave, direct "
    "sound included. It starts below 0 by what direct sound alone makes of the whole.",
    "standard_error_..._hz_db": "Statistical error of that level. The true mean lies within twice of it in 95 of 100.",
    "octave_hz, judged": "Middle of the octave; no: it reaches below the transition frequency.",
    "figure, value, standard_error": "One of the figures below, and its statistical error.",
    "reached": "Whether the error asked for was reached; only T20 and C50 are asked.",
    "answer": "The room's T20 against the tolerance: within, above, below, too close to call (a limit lies within two "
    "standard errors), not judged by rays, or not known.",
    "edt_s, t20_s, t30_s": "Time for 60 dB by a line through 0 to -10, -5 to -25, -5 to -35 dB (ISO 3382-1, -2).",
    "c50_db, c80_db, d50, ts_ms": "Clarity, definition as a share, centre time (ISO 3382-1, Annex A).",
    "bend20_permille, bend30_permille": "Non-linearity 1000 (1 - r^2) of those two lines (ISO 3382-2, Annex B).",
    "curvature_percent": "100 (T30/T20 - 1) (ISO 3382-2, Annex B).",
    "first_s, last_s": "The same for -5 to -15 and -25 to -35 dB: where they differ the decay has two slopes.",
    "direct_db": "Direct sound re all that comes after it.",
    "followed_db": "How far down the curve was followed; what comes later is added as an exponential.",
    "lowest_tolerated_s, highest_tolerated_s": "Tolerance of monitoring rooms of this volume.",
    "sabine_s, eyring_s": "What these formulas say of the same surfaces and air; for comparison.",
}
METHOD: Final = (
    "Direct sound and paths of up to {order} mirrors are images, found exactly; each mirror keeps what neither is "
    "absorbed nor scattered. {rays} rays from each loudspeaker bring all else, so that nothing counts twice.",
    "Curves are backward integrals of energies in bins of {bin_ms:g} ms. What would come after {length_s:.2f} s is "
    "added as an exponential with the rate of the last two fifths. A figure is given only where the curve was followed "
    "10 dB further down than the figure looks.",
    "Standard errors: jackknife over {batches} batches of rays that share no random number. They tell how far another "
    "seed would be off, not how wrong materials and scattering are. Rays were added until T20 was sure to "
    "{percent:g} % and C50 to {clarity:g} dB in every judged octave, or the rays were used up.",
    "Seed {seed}: the same scene, seed and version give the same numbers, on any number of threads.",
)


def write_decay_readme(study: DecayStudy, path: Path) -> None:
    """Write the explanation that stands beside the tables.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_explanation(decay_readme(study), path)


def decay_readme(study: DecayStudy) -> str:
    """Return the explanation as text, at most 100 characters wide."""
    scene = study.scene
    about = (f"Written by bounceplan {__version__} from {scene.path.name}.", f"Scene hash {scene.digest}.")
    method = [
        words.format(
            order=study.order, rays=study.rays, bin_ms=1000.0 * study.bin_s, length_s=study.length_s,
            batches=study.batches, percent=study.wanted_percent, clarity=study.wanted_db, seed=study.seed,
        )
        for words in METHOD
    ]  # fmt: skip
    sections = (
        ("Files", named({name: meaning_of(name) for name in FILES})),
        ("Columns", named(COLUMNS)),
        ("How it was found", listed(method)),
        ("Left out", listed(NEGLECTED)),
        ("To mind", listed(study.cautions)),
        ("Assumptions", listed((*study.stage.notes, *scene.blueprint.notes, *scene.warnings))),
        ("Before you lift, drill or hang anything", listed((*study.stage.warnings, *CAUTIONS))),
    )
    told = [(heading, body or ["  nothing"]) for heading, body in sections]
    return titled(f"{scene.blueprint.title}: decay", about, told)
