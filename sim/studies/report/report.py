"""report.html: everything about a scene, several layouts or a plan in one file that opens without a network.

Text, tables and curves are there without any script; the script that comes inside adds the picture that turns and
values on the curves.  Nothing is loaded from anywhere.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Final

from sim.answers import Saveable, printable
from sim.blueprint.reader import AnyScene
from sim.errors import OutputError
from sim.machine.whole_files import write_whole
from sim.progress import Report, say_nothing
from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.showing.archive.kept_traces import trace_kept
from sim.showing.numbers import hertz
from sim.showing.page import (
    LEVEL_COLOURS,
    LOWEST_DB,
    STEP_DB,
    Look,
    data_script,
    escaped,
    folded,
    layout_looks,
    loudspeaker_looks,
    section,
)
from sim.showing.page_files import filled, page_file, viewer_scripts
from sim.showing.scene_data import first_band, scene_data
from sim.studies.compare.comparison import compare
from sim.studies.report.curves import energy_figure, response_figure
from sim.studies.report.sections import layouts_part, setup_part
from sim.studies.report.sketch import level_scale, room_sketch
from sim.studies.report.tables import arrivals_part, notches_part, plan_part, points_part
from sim.studies.report.words import findings, head, imprint, small_print

SCRIPTS: Final = ("controls.js", "charts.js", "page.js")
PLAN_TITLES: Final = ("as it is", "with the panels", "movable panels away")


def write_report(
    layouts: Sequence[Results],
    path: Path,
    *,
    plan: Plan | None = None,
    date: datetime.date,
    titles: Sequence[str] | None = None,
) -> None:
    """Write a report; the file appears whole or not at all, and replaces one of the same name.

    Parameters
    ----------
    layouts
        One scene, or several to compare, the first being the reference; with a plan and no layouts, those of the plan.
    path
        The file.
    plan
        Panels to tell of.
    date
        What day to print.
    titles
        A name for each layout, in place of the scenes' own titles.

    Raises
    ------
    SceneError
        If layouts have different numbers of loudspeakers.
    OutputError
        If the file cannot be written.
    """
    write_whole(path, report_page(layouts, plan=plan, date=date, titles=titles), "the report")


def report_page(
    layouts: Sequence[Results], *, plan: Plan | None = None, date: datetime.date, titles: Sequence[str] | None = None
) -> str:
    """Return the page as text; arguments as in `write_report`."""
    reported = list(layouts)
    if plan is not None and not reported:
        reported = [one for one in (plan.before, plan.working, plan.parked) if one is not None]
        titles = titles or PLAN_TITLES[: len(reported)]
    looks = layout_looks(titles or [one.scene.blueprint.title for one in reported])
    comparison = compare(reported) if len(reported) > 1 else None
    main_title = reported[0].scene.blueprint.title
    figures, charts = _figures(reported, looks)
    parts = [
        ("findings", "In short", findings(reported, looks, plan)),
        ("room", "The room", _room(reported[0])),
    ]
    if plan is not None:
        parts.append(("plan", "Panels", plan_part(plan)))
    if comparison is not None:
        parts.append(("layouts", "Layouts compared", layouts_part(comparison, looks)))
    parts += [
        ("arrivals", "What arrives, worst first", _each(reported, looks, _arrivals)),
        ("energy", "Over time", figures["energy"]),
        ("response", "Over frequency", figures["response"] + _each(reported, looks, lambda r, _: notches_part(r))),
        ("points", "Where to put the tape", _points_words() + _each(reported, looks, lambda r, _: points_part(r))),
        ("setup", "Set-up sheet", _each(reported, looks, lambda r, _: setup_part(r))),
        ("small-print", "Assumptions and cautions", small_print(reported, plan)),
    ]
    contents = "".join(f'<li><a href="#{name}">{escaped(heading)}</a></li>' for name, heading, _ in parts)
    data = {
        "unit": reported[0].scene.blueprint.units,
        "colours": LEVEL_COLOURS,
        "lowest": LOWEST_DB,
        "step": STEP_DB,
        "first": 1 if plan is not None and len(reported) > 1 else 0,
        "layouts": [scene_data(one, look) for one, look in zip(reported, looks, strict=True)],
        "charts": charts,
    }
    script = "\n".join([viewer_scripts(), *(_source(name) for name in SCRIPTS)])
    fills = {
        "@title@": f"{escaped(main_title)}: early reflections",
        "@style@": _source("page.css"),
        "@head@": head(reported, main_title, date, plan),
        "@imprint@": imprint(reported),
        "@contents@": contents,
        "@sections@": "".join(section(*part) for part in parts),
        "@data@": data_script("report-data", data),
        "@script@": f'"use strict";\n(() => {{\n{script}\n}})();',
    }
    return filled(_source("page.html"), fills)


def _source(name: str) -> str:
    return page_file("sim.studies.report", "page", name)


def _figures(layouts: Sequence[Results], looks: Sequence[Look]) -> tuple[dict[str, str], list[dict[str, Any]]]:
    """Curves of every loudspeaker; figure 1 is the room."""
    made: dict[str, list[str]] = {"energy": [], "response": []}
    charts = []
    count = 1
    speakers = range(len(layouts[0].built.loudspeakers))
    for speaker in speakers:
        for result, look in zip(layouts, looks, strict=True):
            count += 1
            figure, data = energy_figure(result, speaker, look if len(layouts) > 1 else None, count)
            made["energy"].append(figure)
            charts.append(data)
    for speaker in speakers:
        count += 1
        figure, data = response_figure(layouts, looks, speaker, count)
        made["response"].append(figure)
        charts.append(data)
    return {key: "".join(parts) for key, parts in made.items()}, charts


def _each(layouts: Sequence[Results], looks: Sequence[Look], part: Any) -> str:
    """The part of the first layout open, those of the others to be opened."""
    if len(layouts) == 1:
        return str(part(layouts[0], 0))
    made = []
    for place, (result, look) in enumerate(zip(layouts, looks, strict=True)):
        words, body = f"{look.letter}: {look.name}", part(result, place)
        if body:
            made.append(f"<h3>{escaped(words)}</h3>{body}" if place == 0 else folded(words, body))
    return "".join(made)


def _arrivals(results: Results, place: int) -> str:
    return arrivals_part(results, place)


def _points_words() -> str:
    return (
        "<p>Put the tape along the surface from the line that is named. Check two or three of these points with a "
        "mirror: someone slides it over the surface until the one in the seat sees the monitor in it.</p>"
    )


def _room(results: Results) -> str:
    ways = loudspeaker_looks([one.name for one in results.built.loudspeakers])
    legend = "".join(f'<span><i class="dot" style="background:{w.colour}"></i>{escaped(w.name)}</span>' for w in ways)
    octave = hertz(float(results.responses.bands.nominal_hz[first_band(results)]))
    fills = {"sketch": room_sketch(results), "speakers": legend, "scale": level_scale(), "octave": octave}
    page = _source("room.html")
    for name, fill in fills.items():
        page = page.replace(f"%%@{name}@%%", fill)
    return page


# A report asked for: of which layouts or plan, and for which day.

MOST: Final = 6
"""Layouts on one page: beyond, nobody can tell their lines apart (common practice, no source)."""


@printable
@dataclass(frozen=True, slots=True)
class ReportPage(Saveable):
    """One page that opens offline; `sim.save(page, "report.html")` writes it.

    Attributes
    ----------
    layouts
        The traced layouts, the first being the reference; none with a plan, which brings its own.
    plan
        The treatment plan it tells of, or None.
    date
        What day is printed on it.
    """

    question: ClassVar[str] = "report"

    layouts: tuple[Results, ...]
    plan: Plan | None
    date: datetime.date

    @property
    def html(self) -> str:
        """The whole page."""
        return report_page(self.layouts, plan=self.plan, date=self.date)


def report(
    scenes: AnyScene | Results | Plan | Sequence[AnyScene | Results],
    report: Report = say_nothing,
    *,
    date: datetime.date | None = None,
) -> ReportPage:
    """Prepare a page on one scene, on up to six layouts in a list, or on a treatment plan.

    Parameters
    ----------
    scenes
        Scenes, what `trace` returned of them, or what `treat` returned; of several the first is the reference.
    report
        Called with a few words at the start of each stage.
    date
        What day to print; left out, today.

    Raises
    ------
    BounceplanError
        If a scene cannot be, or there are too many.
    """
    day = date or datetime.date.today()
    if isinstance(scenes, Plan):
        return ReportPage((), scenes, day)
    listed: list[Any] = list(scenes) if isinstance(scenes, list | tuple) else [scenes]
    refuse_many(len(listed))
    traced = []
    for scene in listed:
        if len(listed) > 1:
            report(str(scene))
        traced.append(scene if isinstance(scene, Results) else trace_kept(scene, report))
    return ReportPage(tuple(traced), None, day)


def refuse_many(number: int) -> None:
    """Raise OutputError for more layouts than one page holds, or none."""
    if number > MOST:
        raise OutputError(f"report takes at most {MOST} scenes and was given {number}; leave some out.")
    if number < 1:
        raise OutputError("report takes a scene and was given none; name one.")
