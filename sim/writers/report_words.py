"""The words of a report: what was found, what was assumed, what is not judged, what to mind."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from .. import __version__
from ..responses.results import Results
from ..treatment.records import Plan
from .remarks import CAUTIONS, NOT_JUDGED, assumptions
from .report_looks import Look
from .report_markup import bullets, escaped, folded, typeset
from .screen import near_misses, verdict_sentence

KIND = "Early reflections in a listening room"


def head(results: Sequence[Results], title: str, date: datetime.date) -> str:
    """Title of the report and what tells it from any other."""
    first = results[0]
    several = len(results) > 1
    scenes = "<br>".join(
        f"{f'{chr(65 + place)}: ' if several else ''}{escaped(_file(one))}, hash {one.scene.digest}"
        for place, one in enumerate(results)
    )
    seeds = ", ".join(dict.fromkeys(str(one.scene.blueprint.method.seed) for one in results))
    facts = (
        ("Date", f"{date.day} {date:%B} {date.year}"),
        ("Scenes" if several else "Scene", scenes),
        ("Made by", f"bounceplan {__version__}, seed {seeds}"),
        ("Not judged", f"below {max(one.responses.transition_hz for one in results):.0f} Hz"),
    )
    target = first.scene.blueprint.target
    wanted = (
        f"Target: early reflections at most {target.level_db:g} dB re direct sound from {target.window_ms[0]:g} to "
        f"{target.window_ms[1]:g} ms after it, in the octaves from {target.band_hz[0]:g} to {target.band_hz[1]:g} Hz."
    )
    kind = f"Early reflections in a listening room: {len(results)} layouts compared" if several else KIND
    told = "".join(f"<div><dt>{key}</dt><dd>{value}</dd></div>" for key, value in facts)
    return (
        f'<header><p class="kind">{kind}</p><h1>{escaped(title)}</h1>'
        f'<dl class="facts">{told}</dl><p class="wanted">{typeset(wanted)}</p></header>'
    )


def _file(results: Results) -> str:
    """The scene file with its folder, which often says more than the file's name."""
    path = results.scene.path
    return f"{path.parent.name}/{path.name}" if path.parent.name else path.name


def findings(layouts: Sequence[Results], looks: Sequence[Look], plan: Plan | None) -> str:
    """Verdict of every loudspeaker at every listener, layout by layout, and what is nearly so."""
    parts = []
    if plan is not None:
        count = len(plan.panels)
        parts.append(
            f"<p>{count} panel{'s' if count != 1 else ''} in "
            f"{max((one.step for one in plan.panels), default=0)} steps. {typeset(plan.stopped)}</p>"
        )
    for result, look in zip(layouts, looks, strict=True):
        if len(layouts) > 1:
            parts.append(f"<h3>{look.letter}: {escaped(look.name)}</h3>")
        parts.append(f'<p class="lead">{_lead(result)}</p>')
        parts.append(bullets(verdict_sentence(result, verdict) for verdict in result.responses.verdicts))
        near: dict[str, None] = {}
        for verdict in result.responses.verdicts:
            for sentence in near_misses(result, verdict.loudspeaker, verdict.listener):
                near[f"{verdict.loudspeaker} at the {verdict.listener}: {sentence}"] = None
        if near:
            parts.append(folded("Nearly, or only just not", bullets(near)))
    return "".join(parts)


def _lead(results: Results) -> str:
    """The answer in one sentence."""
    ear = results.stage.listener_names[0]
    verdicts = [verdict for verdict in results.responses.verdicts if verdict.listener == ear]
    met = [escaped(verdict.loudspeaker) for verdict in verdicts if verdict.met]
    missed = [escaped(verdict.loudspeaker) for verdict in verdicts if not verdict.met]
    if not missed:
        return f"At the {escaped(ear)} the target is met."
    if not met:
        return f"At the {escaped(ear)} the target is not met."
    return f"At the {escaped(ear)} the target is met by {' and '.join(met)}, not by {' and '.join(missed)}."


def small_print(layouts: Sequence[Results], plan: Plan | None) -> str:
    """Assumptions, what is not judged, and cautions, in full."""
    assumed = dict.fromkeys(sentence for result in layouts for sentence in assumptions(result))
    defaulted = dict.fromkeys(key for result in layouts for key in result.scene.defaulted)
    parts = [f"<h3>Assumed</h3>{bullets(assumed)}"]
    if defaulted:
        parts.append(folded(f"{len(defaulted)} values left out of the scene, so the usual ones were taken",
                            bullets(defaulted)))  # fmt: skip
    parts.append(f"<h3>Not judged</h3>{bullets(NOT_JUDGED)}")
    cautions = dict.fromkeys((*(plan.cautions if plan else ()), *CAUTIONS))
    parts.append(f'<h3 id="cautions">Before you lift, drill or hang anything</h3>{bullets(cautions)}')
    return "".join(parts)
