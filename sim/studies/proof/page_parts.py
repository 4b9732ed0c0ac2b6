"""The page for the client: whether the target is met, what each panel did, both measurements over time."""

from __future__ import annotations

import datetime
import math
from pathlib import Path
from typing import Final

import numpy as np

from sim import __version__
from sim.machine.whole_files import write_whole
from sim.showing.chart import Chart, Flag, Series
from sim.showing.numbers import hertz, hertz_range
from sim.showing.page import bullets, escaped, number, row, section, table, typeset
from sim.showing.page_files import filled, page_file
from sim.showing.words import BEFORE_MS, CEILING_DB, FLOOR_DB, NOT_JUDGED, cautions
from sim.studies.match.records import MatchedResponse
from sim.studies.proof.records import AS_PROMISED, UNTOLD, Highest, PanelProof, Proof
from sim.studies.proof.text import aligned_lines, panel_sentence, target_sentence, todo_lines, why_untold

BEFORE_COLOUR, AFTER_COLOUR, TARGET_COLOUR = "#b07d00", "#1a1a1a", "#0072b2"
FLAGS: Final = 5
LAST_MS: Final = 20.0
KIND: Final = "Measured before and after"
VERDICTS: Final = {
    "pass": "The target is met.",
    "fail": "The target is not met.",
    "borderline": "The target is met or missed by less than can be read.",
}


def write_proof_page(found: Proof, path: Path, date: datetime.date | None = None) -> None:
    """Write the page; it appears whole or not at all.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    write_whole(path, proof_page(found, date or datetime.date.today()), "the page")


def proof_page(found: Proof, date: datetime.date) -> str:
    """Return the page as text, of that day."""
    parts = (
        ("verdict", "In short", _verdict(found)),
        ("panels", "What each panel did", _panels(found)),
        ("target", "Against the target", _targets(found)),
        ("energy", "Over time", "".join(_figure(found, turn) for turn in range(len(found.targets)))),
        ("measured", "How it was measured and compared", _measured(found)),
        ("small-print", "Not judged, and cautions", _small_print(found)),
    )
    title = found.results.scene.blueprint.title
    fills = {
        "@title@": f"{escaped(title)}: measured before and after",
        "@style@": page_file("sim.studies.report", "page", "page.css"),
        "@head@": _head(found, date),
        "@contents@": "".join(f'<li><a href="#{name}">{escaped(heading)}</a></li>' for name, heading, _ in parts),
        "@sections@": "".join(section(*part) for part in parts),
        "@imprint@": escaped(
            f"Made by bounceplan {__version__} from {found.results.scene.path.name}, hash {found.results.scene.digest}."
        ),
    }
    return filled(page_file("sim.studies.proof", "page", "page.html"), fills)


def _head(found: Proof, date: datetime.date) -> str:
    target = found.results.scene.blueprint.target
    wanted = (
        f"Target: early reflections at most {target.level_db:g} dB re direct sound from {target.window_ms[0]:g} to "
        f"{target.window_ms[1]:g} ms after it, in the octaves from {hertz_range(*target.band_hz)}."
    )
    facts = (
        ("Date", f"{date.day} {date:%B} {date.year}"),
        ("Not judged", f"below {found.results.responses.transition_hz:.0f} Hz"),
    )
    listed = "".join(f"<div><dt>{key}</dt><dd>{escaped(value)}</dd></div>" for key, value in facts)
    return (
        f'<header><p class="kind">{KIND}</p><h1>{escaped(found.results.scene.blueprint.title)}</h1>'
        f'<dl class="facts">{listed}</dl><p class="wanted">{typeset(wanted)}</p></header>'
    )


def _verdict(found: Proof) -> str:
    good = sum(one.verdict == AS_PROMISED for one in found.panels)
    lead = f"{VERDICTS[found.met]} {good} of {len(found.panels)} panels are measured to work as promised."
    heading, *todo = todo_lines(found)
    sentences = [*(target_sentence(found, one) for one in found.targets), *map(panel_sentence, found.panels)]
    return (
        f'<p class="lead">{typeset(lead)}</p>{bullets(sentences)}'
        f"<h3>{escaped(heading)}</h3>{bullets(line.strip() for line in todo)}"
    )


def _panels(found: Proof) -> str:
    made = [_panel(one) for one in found.panels]
    note = (
        "Reductions in dB. Promised: the reflections at the panel alone, by the calculation. Shows: what other"
        " reflections that arrive in the same moment leave of that at the microphone. Measured: before less after, with"
        " half of the interval that holds it with 95 %."
    )
    return f"<p>{typeset(note)}</p>{''.join(made)}"


def _panel(one: PanelProof) -> str:
    rows = []
    for each in one.octaves:
        values = (each.promised_db, each.visible_db, each.measured_db, each.error_db)
        cells = [escaped(hertz(each.frequency_hz)), *(number(value, 1) for value in values)]
        rows.append(row([*cells, str(each.readings), escaped(each.verdict)]))
    headings = ["Octave", "Promised", "Shows", "Measured", "±", "Reflections", "Verdict"]
    verdict = f"{one.verdict}; {why_untold(one)}" if one.verdict == UNTOLD else one.verdict
    caption = f"{escaped(one.panel)} on the {escaped(one.surface)}: {typeset(verdict)}"
    return table(caption, headings, rows, css="short")


def _targets(found: Proof) -> str:
    rows = []
    for one in found.targets:
        cells = [escaped(f"{one.loudspeaker} at the {one.listener}"), f"<b>{escaped(one.met)}</b>"]
        rows.append(row([*cells, *(_highest(each) for each in (one.before, one.after, one.promised))], words=5))
    headings = ["Monitor", "Verdict", "Before", "After", "Promised"]
    level = found.results.scene.blueprint.target.level_db
    caption = f"Highest level inside the window; it may be {number(level, 1)} dB, read to ± {found.reading_db:g} dB"
    return table(caption, headings, rows, words=5)


def _highest(one: Highest) -> str:
    if math.isnan(one.level_db):
        return "nothing stands out"
    where = f"{hertz(one.frequency_hz)}, {number(one.time_ms, 1)} ms"
    return f"{number(one.level_db, 1)} dB<small>{escaped(', '.join([where, *([one.via] if one.via else [])]))}</small>"


def _figure(found: Proof, turn: int) -> str:
    """Both curves of one loudspeaker, and what the scene with its panels has."""
    before, after = found.before.responses[turn], found.after.responses[turn]
    curve, target = found.results.responses.energy_time, found.results.scene.blueprint.target
    end = min(LAST_MS, float(after.curves.time_ms[-1]))
    shown = (after.curves.time_ms >= BEFORE_MS) & (after.curves.time_ms <= end)
    s, place = found.after.numbers(after)
    whose = f"{after.loudspeaker} monitor"
    chart = Chart(
        f"proof-{turn}",
        f"Energy-time curves of the {whose}, before and after",
        after.curves.time_ms[shown],
        (
            Series("promised", curve.broadband_db[s, place][shown], TARGET_COLOUR, "2 2", 1.0),
            Series("before", before.curves.broadband_db[shown], BEFORE_COLOUR, "7 3", 1.4),
            Series("after", after.curves.broadband_db[shown], AFTER_COLOUR, "", 1.6),
        ),
        (BEFORE_MS, end),
        (FLOOR_DB, CEILING_DB),
        tuple((float(ms), number(float(ms), 0)) for ms in np.arange(0.0, end + 0.01, 5.0)),
        "ms after the direct sound",
        shaded=(
            (target.window_ms[0], min(target.window_ms[1], end), target.level_db, CEILING_DB, "above-target", "target"),
        ),
        flags=_flags(before),
    )
    caption = (
        f"<b>{escaped(whose)}</b> at the {escaped(after.listener)}: {escaped(before.file)} before and"
        f" {escaped(after.file)} after, broadband, re direct sound. Names are those of the strongest reflections"
        " before. The target is judged octave by octave, so a peak may stay below the line here and still fail."
    )
    return f"<figure>{chart.markup()}<figcaption>{caption}</figcaption></figure>"


def _flags(before: MatchedResponse) -> tuple[Flag, ...]:
    named = sorted((peak for peak in before.peaks if peak.named), key=lambda peak: -peak.level_db)[:FLAGS]
    return tuple(
        Flag(peak.time_ms, peak.level_db, peak.candidates[0].via, str(peak.candidates[0].number)) for peak in named
    )


def _measured(found: Proof) -> str:
    files = [
        f"{one.loudspeaker} at the {one.listener}: {one.file} before, {two.file} after"
        for one, two in zip(found.before.responses, found.after.responses, strict=True)
    ]
    return bullets(files) + "".join(f"<p>{typeset(line)}</p>" for line in aligned_lines(found))


def _small_print(found: Proof) -> str:
    minded = bullets(dict.fromkeys(cautions(found.results)))
    return (
        f"<h3>Not judged</h3>{bullets(NOT_JUDGED)}"
        f'<h3 id="cautions">Before you lift, drill or hang anything</h3>{minded}'
    )
