"""The words of a report: what was found, what was assumed, what is not judged, what to mind."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from sim import __version__
from sim.responses.plan import Plan
from sim.responses.records import Results, Verdict
from sim.showing.numbers import hertz_range
from sim.showing.page import Look, bullets, escaped, folded, number, row, table, typeset
from sim.showing.words import ADVISE, CAUTIONS, NOT_JUDGED, assumptions, near_misses, opening, verdict_sentence

KIND = "Early reflections in a listening room"


def head(results: Sequence[Results], title: str, date: datetime.date, plan: Plan | None) -> str:
    """Title of the report, its day, and what it was held against."""
    first = results[0]
    several = len(results) > 1
    facts = (
        ("Date", f"{date.day} {date:%B} {date.year}"),
        ("Not judged", f"below {max(one.responses.transition_hz for one in results):.0f} Hz"),
    )
    target = first.scene.blueprint.target
    wanted = (
        f"Target: early reflections at most {target.level_db:g} dB re direct sound from {target.window_ms[0]:g} to "
        f"{target.window_ms[1]:g} ms after it, in the octaves from {hertz_range(*target.band_hz)}."
    )
    kind = f"{KIND}: {len(results)} layouts compared" if several else KIND
    if plan is not None:
        kind = f"{KIND}: a plan for panels"
    reported = "".join(f"<div><dt>{key}</dt><dd>{value}</dd></div>" for key, value in facts)
    return (
        f'<header><p class="kind">{kind}</p><h1>{escaped(title)}</h1>'
        f'<dl class="facts">{reported}</dl><p class="wanted">{typeset(wanted)}</p></header>'
    )


def imprint(results: Sequence[Results]) -> str:
    """What tells this page from any other, for whoever makes it again: files with their hashes, seed and version."""
    several = len(results) > 1
    scenes = "; ".join(
        f"{f'{chr(65 + place)}: ' if several else ''}{_file(one)}, hash {one.scene.digest}"
        for place, one in enumerate(results)
    )
    seeds = ", ".join(dict.fromkeys(str(one.scene.blueprint.method.seed) for one in results))
    return escaped(f"Made by bounceplan {__version__}, seed {seeds}, from {scenes}.")


def _file(results: Results) -> str:
    """The scene file with its folder, which often says more than the file's name."""
    path = results.scene.path
    return f"{path.parent.name}/{path.name}" if path.parent.name else path.name


def findings(layouts: Sequence[Results], looks: Sequence[Look], plan: Plan | None) -> str:
    """Verdicts: of one layout as sentences, of several side by side as a table and, folded away, as sentences."""
    lead = _plan_lead(plan) if plan is not None else _lead(layouts)
    parts = [f'<p class="lead">{typeset(opening(layouts[0]).removesuffix(ADVISE).rstrip())}</p><p>{lead}</p>']
    several = len(layouts) > 1
    if several:
        parts.append(_verdict_table(layouts, looks))
    for result, look in zip(layouts, looks, strict=True):
        reported = bullets(verdict_sentence(result, verdict) for verdict in result.responses.verdicts)
        near = [
            f"{verdict.loudspeaker} at the {verdict.listener}: {sentence}"
            for verdict in result.responses.verdicts
            for sentence in near_misses(result, verdict.loudspeaker, verdict.listener)
        ]
        nearly = bullets(dict.fromkeys(near))
        if several:
            more = f"<h4>Borderline reflections</h4>{nearly}" if near else ""
            parts.append(folded(f"{look.letter}: {look.name}", reported + more))
        else:
            parts += [reported, folded("Borderline reflections", nearly) if near else ""]
    return "".join(parts)


def _verdict_table(layouts: Sequence[Results], looks: Sequence[Look]) -> str:
    """One row a loudspeaker and listener, one column a layout: how many are above the target, and the worst of them."""
    rows = []
    for place, verdict in enumerate(layouts[0].responses.verdicts):
        cells = [escaped(f"{verdict.loudspeaker} at the {verdict.listener}")]
        for result in layouts:
            verdicts = result.responses.verdicts
            cells.append(_verdict_cell(result, verdicts[place]) if place < len(verdicts) else "\N{EN DASH}")
        rows.append(row(cells, words=len(cells)))
    headings = ["", *(f"{look.letter}: {escaped(look.name)}" for look in looks)]
    return table("Arrivals above the target, and the worst of them", headings, rows, words=len(headings))


def _verdict_cell(results: Results, verdict: Verdict) -> str:
    if verdict.met:
        return "target met"
    worst = next(
        arrival
        for arrival in results.responses.arrivals
        if (arrival.loudspeaker, arrival.listener, arrival.number)
        == (verdict.loudspeaker, verdict.listener, verdict.offenders[0])
    )
    level = f"{number(worst.worst_db, 1)} dB, {number(worst.main.delay_ms, 2)} ms after direct"
    return f"<b>{len(verdict.offenders)}</b> above<small>{escaped(worst.via)}, {level}</small>"


def _plan_lead(plan: Plan) -> str:
    """What no panel cures, and what the whole plan buys in the measure."""
    count = len(plan.panels)
    if count == 0:
        return f"{escaped(plan.no_cure)} No panel helps enough to hang it here."
    before, after = plan.measures[0].total_db, plan.measures[-1].total_db
    who = "One panel lowers" if count == 1 else f"{count} panels lower"
    return f"{escaped(plan.no_cure)} {who} the measure from {number(before, 1)} dB to {number(after, 1)} dB."


def _lead(layouts: Sequence[Results]) -> str:
    """The answer in one sentence."""
    ear = layouts[0].built.listener_names[0]
    if len(layouts) > 1:
        met = [chr(65 + place) for place, result in enumerate(layouts) if all(v.met for v in _at_ear(result))]
        reported = f"met by {' and '.join(met)}" if met else "not met by any of them"
        return f"At the {escaped(ear)} the target is {reported}."
    verdicts = _at_ear(layouts[0])
    met = [escaped(verdict.loudspeaker) for verdict in verdicts if verdict.met]
    missed = [escaped(verdict.loudspeaker) for verdict in verdicts if not verdict.met]
    if not missed:
        return f"At the {escaped(ear)} the target is met."
    if not met:
        return f"At the {escaped(ear)} the target is not met."
    return f"At the {escaped(ear)} the target is met by {' and '.join(met)}, not by {' and '.join(missed)}."


def _at_ear(results: Results) -> list[Verdict]:
    ear = results.built.listener_names[0]
    return [verdict for verdict in results.responses.verdicts if verdict.listener == ear]


def small_print(layouts: Sequence[Results], plan: Plan | None) -> str:
    """Assumptions, what is not judged, and cautions, in full."""
    assumed = dict.fromkeys(sentence for result in layouts for sentence in assumptions(result))
    defaulted = dict.fromkeys(key for result in layouts for key in result.scene.defaulted)
    parts = [f"<h3>Assumed</h3>{bullets(assumed)}"]
    if defaulted:
        parts.append(
            folded(
                f"{len(defaulted)} values left out of the scene, so the usual ones were taken",
                bullets(defaulted),
                prints=False,
            )
        )
    parts.append(f"<h3>Not judged</h3>{bullets(NOT_JUDGED)}")
    stops = [sentence for result in layouts for sentence in result.built.warnings]
    minded = dict.fromkeys((*stops, *(plan.cautions if plan else ()), *CAUTIONS))
    parts.append(f'<h3 id="cautions">Before you lift, drill or hang anything</h3>{bullets(minded)}')
    return "".join(parts)
