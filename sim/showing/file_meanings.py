"""What each file that a command writes is for, and the page of a results folder that leads to them."""

from __future__ import annotations

from collections.abc import Sequence
from fnmatch import fnmatch
from pathlib import Path
from typing import Final
from urllib.parse import quote

from sim.machine.whole_files import write_whole
from sim.showing.page import escaped

TRACED: Final = ("arrivals.csv", "reflection_points.csv", "notches.csv", "ear_response.csv", "results.h5")
"""Files of one traced scene, beside its README.txt and the list of contents."""
_MEANINGS: Final[dict[str, str]] = {
    "index.html": "All of it on one page with its pictures.",
    "README.txt": "What the files and columns mean, what was assumed, what to mind.",
    "arrivals.csv": "Every path to a listener, ranked by harm.",
    "reflection_points.csv": "Where to put the tape: first-order reflection points.",
    "notches.csv": "Dips in the response at the ear, and what makes them.",
    "ear_response.csv": "Third-octaves at the ear, with everything and without each thing.",
    "results.h5": "Everything, for other programs: a self-describing HDF5 file.",
    "answer.txt": "The answer in words.",
    "contents.txt": "Which files belong to these results; --replace removes only those.",
    "plan.png": "The room from above.",
    "energy_time*.png": "Energy over time at the ear.",
    "ear_response.png": "Response at the ear, with and without each thing.",
    "map_*_octaves.png": "The map of this surface, octave by octave.",
    "map_*.png": "Where on this surface reflections are made, and how strong.",
    "room*_from_*.png": "The room in 3D with paths and hotspots.",
    "comparison.txt": "What differs, in words.",
    "comparison.csv": "Arrivals of the layouts side by side.",
    "comparison_at_the_ear.csv": "Third-octaves at the ear, layout by layout.",
    "differences.png": "What differs, in one picture.",
    "many.txt": "All layouts in one table.",
    "many.csv": "The same table, for other programs.",
    "pareto.png": "Which layouts nothing else beats.",
    "plan.txt": "The treatment in words: what each panel buys, what is not reached and why.",
    "treated.toml": "The scene with the panels in it.",
    "drawings.pdf": "Drawings to scale with every length from a corner.",
    "drawings.dxf": "The same drawings for CAD.",
    "room.glb": "The room as a 3D model.",
    "panels.csv": "Each panel: where, how large, how heavy, how it is held.",
    "parts.csv": "What to buy and cut.",
    "sweep.h5": "Every layout of the sweep; a broken run goes on from it.",
    "sweep.csv": "Every layout, a row each.",
    "sweep_summary.csv": "Lowest, highest and best of each figure.",
    "sweep_*.png": "The figures over the range.",
    "hotspots*": "How hotspots move over the range.",
    "report.html": "One page to open offline.",
    "sweep.txt": "What the sweep found, in words.",
    "advice.txt": "What to do first, and everything that was tried.",
    "advice.csv": "The same as a table: the measure and its components.",
    "before_and_after.png": "The measure and the response at the ear, before and after.",
    "search.txt": "The layouts found, in words.",
    "layouts.csv": "The layouts found, a row each.",
    "scene.toml": "A layout that can be traced as it is.",
    "tolerance.txt": "How far every figure may be off, and what to measure again.",
    "tolerance.png": "The same in one picture.",
    "reflections.csv": "Each reflection with its spread.",
    "points.csv": "Each reflection point with the ellipse it may lie in.",
    "sensitivity.csv": "Which uncertainty moves which figure.",
    "samples.csv": "Every sample drawn.",
    "orientation.txt": "The orientations compared, in words.",
    "orientation.csv": "Each orientation: evenness at the head, time differences, tilt of the lobe.",
    "surfaces.csv": "Reflections off desk, ceiling and walls in each orientation.",
    "driver_reflection_points.csv": "Where each driver's reflection points go in each orientation.",
    "drivers.csv": "Drivers that hand over to each other, in each orientation: time, where they cancel, lobes.",
    "driver_times.csv": "When one driver arrives after the next, every 10 cm along the seat.",
    "bounce_spots.csv": "Strongest places at the first, second and third bounce.",
    "bounce_surfaces.csv": "Share of each surface, bounce by bounce.",
    "bounces_*.png": "Where on this surface early reflections strike, bounce by bounce.",
    "decay.txt": "Decay, clarity and what to mind, in words.",
    "decay.csv": "Decay curves by octave, with standard errors.",
    "decay_figures.csv": "Every figure with its standard error, octave by octave.",
    "decay.h5": "Curves and figures, for other programs.",
    "decay.png": "Decay curves, and decay time against the tolerance.",
    "match.txt": "What was measured against the scene, in words: the verdict first.",
    "fitted_numbers.csv": "Seat, monitors, surfaces and temperature: given, fitted to the delays, and how sure.",
    "fitted_levels.csv": "What surfaces and panels reflect by the levels, octave by octave, and how sure.",
    "proof.html": "The page for the client: what the panels did, against the target.",
    "proof.txt": "What the panels did against what was promised, in words.",
    "panel_proof.csv": "Each panel octave by octave: promised, measured, how sure.",
    "target_proof.csv": "Each monitor before and after against the target.",
    "measured_before_and_after.png": "Energy over time, measured before and after.",
    "match.png": "Measured curves over predicted ones, and where what is not drawn may be.",
    "peaks.csv": "Every measured peak, and the reflection that explains it.",
    "candidates.csv": "For each measured peak what comes near it, with misfits.",
    "unknown_points.csv": "Where a peak that nothing drawn explains could come from.",
    "missing.csv": "Reflections that were predicted and not measured.",
    "measured_dips.csv": "Dips of the measured response, and the predicted ones beside them.",
    "measured_curves.csv": "Energy-time curves, measured and predicted, broadband and by octave.",
    "scan.txt": "What the scan was found to be, and what was not seen.",
    "scan.png": "The scan over the room that was made of it, and how far it lies from each surface.",
    "walls.csv": "Each wall: length, uncertainty, how much of it was seen, how square it is.",
    "sine.wav": "The signal to play.",
    "inverse.wav": "Its inverse, for other programs.",
    "recording.wav": "What the microphone heard.",
    "response.wav": "The impulse response.",
    "both.wav": "Both monitors as heard at the seat.",
    "left.wav": "The monitor on the left alone.",
    "right.wav": "The monitor on the right alone.",
    "direct.wav": "Direct sound only.",
    "without_*.wav": "Both monitors, this left out.",
    "other.wav": "Both monitors, the other layout.",
    "levels.csv": "Gain and true peak of each file.",
    "listen.txt": "What each file is, and what they cannot tell.",
    "signal_to_noise.csv": "How far the response stands above the noise, by octave.",
    "orientation_*.png": "The orientations of one monitor: head box and polars.",
}


WIDEST: Final = 34


FIRST: Final = (
    "index.html",
    "report.html",
    "drawings.pdf",
    "advice.txt",
    "comparison.txt",
    "many.txt",
    "plan.txt",
    "room_from_left.png",
    "map_desk_top.png",
    "arrivals.csv",
    "reflection_points.csv",
)
"""What to open first where a folder holds many files."""
PICTURES: Final = (
    "room*_from_*.png",
    "map_*.png",
    "plan.png",
    "energy_time*.png",
    "ear_response.png",
)
"""Pictures of one traced scene."""
MANY: Final = 8
"""Of more files than this the screen names three."""


def meaning_of(name: str) -> str:
    """What a file of this name is for, in a few words; empty when it is none of ours."""
    return next((words for pattern, words in _MEANINGS.items() if fnmatch(name, pattern)), "")


def listed_files(folder: Path) -> tuple[str, ...]:
    """Return a line a file in a folder, subfolders too: its name and, where it has not been said, what it is for.

    Where there are many, and a README.txt says what they are, only the three to open first.
    """
    names = [path.relative_to(folder) for path in sorted(folder.rglob("*")) if path.is_file()]
    if len(names) > MANY and Path("README.txt") in names:
        first = [name for wanted in FIRST for name in names if name.name == wanted][:3]
        return (*_lines(first), f"  README.txt: what these and the other {len(names) - len(first) - 1} files are for.")
    return _lines(names)


def _lines(names: Sequence[Path]) -> tuple[str, ...]:
    wide = min(WIDEST, max((len(str(name)) for name in names), default=0))
    lines, said = [], {""}
    for name in names:
        words = meaning_of(name.name)
        lines.append(f"  {name.as_posix():<{wide}}  {'' if words in said else words}".rstrip())
        said.add(words)
    return tuple(lines)


# index.html of a results folder: what the command said, every picture with what it shows, and what each file is for.
#
# It holds no script and loads nothing from elsewhere, so that it opens from a stick and prints as it stands.

NAME: Final = "index.html"
NEW_LINE: Final = "\n"
ORDER: Final = (
    "differences.png",
    "pareto.png",
    "rooms_from_*.png",
    "room_from_*.png",
    "plan.png",
    "map_*.png",
    "ear_response*.png",
    "energy_time*.png",
)
"""Pictures in the order in which a person asks for them; others follow by name."""
LOOKS: Final = """
body { font: 16px/1.5 Georgia, "Times New Roman", serif; color: #1a1a1a; background: #fff; margin: 2rem auto;
  max-width: 64rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; font-weight: normal; } h2 { font-size: 1.15rem; margin-top: 2.5rem; }
pre { font: 12px/1.45 ui-monospace, "DejaVu Sans Mono", monospace; overflow-x: auto; white-space: pre; }
figure { margin: 1.5rem 0; break-inside: avoid; } figcaption { color: #555; font-size: .9rem; }
img { max-width: 100%; height: auto; border: 1px solid #ddd; }
dt { font-weight: bold; } dd { margin: 0 0 .4rem 1.5rem; } a { color: #0a4a7a; }
@media print { pre { white-space: pre-wrap; font-size: 8px; } img { max-height: 22cm; } a { color: inherit; } }
"""


def write_folder_page(folder: Path, lines: Sequence[str], page: Path) -> None:
    """Write the page on a results folder.

    Parameters
    ----------
    folder
        What it tells of; subfolders too.
    lines
        What the command said, the title first.
    page
        File to write.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    write_whole(page, folder_page(folder, lines), "the page")


def folder_page(folder: Path, lines: Sequence[str]) -> str:
    """Markup of the page; pictures of subfolders are under the name of theirs."""
    names = sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    title, *said = [*lines, ""]
    parts = [f"<h1>{escaped(title)}</h1>", f"<pre>{escaped(NEW_LINE.join(said).strip())}</pre>"]
    for part in sorted({name.parent for name in names}, key=lambda place: (len(place.parts), place)):
        pictures = sorted((n for n in names if n.parent == part and n.suffix == ".png"), key=_rank)
        if pictures:
            parts.append(f"<h2>{escaped('Pictures' if part == Path() else f'Pictures: {part.as_posix()}')}</h2>")
            parts += [_figure(name) for name in pictures]
    listed = "".join(
        f"<dt>{_link(name)}</dt><dd>{escaped(meaning_of(name.name))}</dd>" for name in names if name.suffix != ".png"
    )
    parts.append(f"<h2>Files</h2><dl>{listed}</dl>")
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escaped(title)}</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{LOOKS}</style></head>'
        f"<body>\n{NEW_LINE.join(parts)}\n</body></html>\n"
    )


def _rank(name: Path) -> tuple[int, str]:
    place = next((n for n, pattern in enumerate(ORDER) if fnmatch(name.name, pattern)), len(ORDER))
    return place, name.name


def _link(name: Path) -> str:
    return f'<a href="{escaped(quote(name.as_posix()))}">{escaped(name.as_posix())}</a>'


def _figure(name: Path) -> str:
    what = meaning_of(name.name) or name.name
    source = escaped(quote(name.as_posix()))
    return (
        f'<figure><a href="{source}"><img src="{source}" alt="{escaped(what)}" loading="lazy"></a>'
        f"<figcaption>{escaped(name.as_posix())}: {escaped(what)}</figcaption></figure>"
    )
