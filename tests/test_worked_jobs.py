"""Three worked jobs, from tape to drilled hole: their page tells what its commands give, every number of it."""

from __future__ import annotations

import csv
import re
import shlex
from dataclasses import dataclass
from pathlib import Path

import pytest

from sim.blueprint.reader import SceneFile, parse_scene, read_scene
from sim.cli import parser
from sim.pipeline import trace_scene
from sim.responses.records import Arrival, Results
from sim.showing.tables import write_reflection_points
from sim.studies.check.new_scene import start_scene
from sim.studies.check.text import check
from sim.studies.sheets.panel_tables import write_panels
from sim.surveying.tape.given_room import GivenRoom

PAGE = Path(__file__).resolve().parent.parent / "docs" / "how-to" / "three-jobs.md"
JOBS = ("box-bedroom", "writing-room", "loft")
FENCE = re.compile(r"^```\w*\n(.*?)^```", flags=re.DOTALL | re.MULTILINE)


@dataclass(frozen=True)
class Job:
    """A job of the page: its text, and its scene before and after what the page puts into it."""

    text: str
    before: Results
    after: Results


def section(name: str) -> str:
    """What the page says of a job."""
    return re.split(r"^## ", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)[1 + JOBS.index(name)]


def command(text: str, name: str) -> list[str]:
    """The arguments of a command that a job prints."""
    return next(shlex.split(line)[1:] for line in text.splitlines() if line.startswith(f"bounceplan {name} "))


def traced(scene: SceneFile, text: str) -> Results:
    """A scene as the trace that the page prints has it, without its pictures."""
    chosen = parser().parse_args(command(text, "trace"))
    return trace_scene(scene, order=chosen.order, waves_to_hz=chosen.waves_to, maps=False)


@pytest.fixture(scope="module", params=JOBS)
def job(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Job:
    text, folder = section(request.param), tmp_path_factory.mktemp("jobs")
    chosen = parser().parse_args(command(text, "new"))
    assert str(chosen.folder) == request.param
    told = GivenRoom(
        chosen.box,
        cut_corner=chosen.cut_corner,
        slopes=chosen.slope,
        doors=chosen.door,
        monitors_on=chosen.monitors_on or "stands",
        model=chosen.model or "5-inch",
    )
    scene = read_scene(start_scene(folder / request.param, told, units="m", title=request.param))
    written = scene.path.read_text(encoding="utf-8")
    change, panels = re.search(r"`(\w+ = [^`]+)` with `(\w+ = [^`]+)`", text), FENCE.findall(text)[-1]
    if change:
        written, count = re.subn(f"^{change[1]}", change[2], written, flags=re.MULTILINE)
        assert count == 2, "both monitors"
    return Job(text, traced(scene, text), traced(parse_scene(written + panels, scene.folder), text))


def points(results: Results, folder: Path) -> dict[tuple[str, str], dict[str, str]]:
    """Rows of reflection_points.csv for the tweeters at the ear, by loudspeaker and surface."""
    write_reflection_points(results, folder / "points.csv")
    with (folder / "points.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if (row["driver"], row["listener"]) == ("tweeter", "ear")]
    return {(row["loudspeaker"], row["surface"]): row for row in rows}


def panels(results: Results, folder: Path) -> dict[str, dict[str, str]]:
    """Rows of panels.csv by name."""
    write_panels(results, folder / "panels.csv")
    with (folder / "panels.csv").open(encoding="utf-8") as file:
        return {row["name"]: row for row in csv.DictReader(file)}


def reflection(results: Results, loudspeaker: str, surface: str) -> Arrival:
    """The reflection of a loudspeaker off a surface at the ear."""
    return next(
        one
        for one in results.responses.arrivals
        if (one.loudspeaker, one.listener, one.surfaces) == (loudspeaker, "ear", (surface,)) and not one.diffracted
    )


def strongest(results: Results, loudspeaker: str, surface: str) -> str:
    """Its level and delay, as the ranking has them."""
    found = reflection(results, loudspeaker, surface)
    return f"{found.worst_db:.1f} dB at {found.main.delay_ms:.2f} ms"


def claims(job: Job, folder: Path) -> list[str]:
    """Everything with a number in it that the page may say of a job."""
    found = []
    for results in (job.before, job.after):
        (left, _) = check(results.scene).sheet.loudspeakers
        found += [f"{left.axis_error_deg:.1f} degrees off its axis", f"{abs(left.tilt_error_deg):.1f} degrees up"]
        for (loudspeaker, surface), row in points(results, folder).items():
            found.append(
                f"| {loudspeaker} | {surface} | {row['tape_1_text']} {row['tape_1_from']} | "
                f"{row['tape_2_text']} {row['tape_2_from']} |"
            )
            found.append(
                f"| {loudspeaker}, {surface} | {strongest(job.before, loudspeaker, surface)} | "
                f"{strongest(job.after, loudspeaker, surface)} |"
            )
    for name, row in panels(job.after, folder).items():
        tapes = [
            f"{row[f'tape_{n}_start_text']} to {row[f'tape_{n}_end_text']} {row[f'tape_{n}_from']}" for n in (1, 2)
        ]
        found.append(f"| {name} | {tapes[0]} | {tapes[1]} | {row['diagonal_rising_text']} |")
        found.append(
            f"| {name} | {row['fixing_points']} | {row['rated_at_least_n_each']} N | {float(row['mass_kg']):.0f} kg |"
        )
    return found


def test_every_number_of_a_job_is_what_its_commands_give(job: Job, tmp_path: Path) -> None:
    left = re.sub(r"`[^`\n]+`", "", FENCE.sub("", job.text))
    told = [claim for claim in claims(job, tmp_path) if claim in left]
    assert len(told) >= 8
    for claim in told:
        left = left.replace(claim, "")
    assert not re.findall(r"^.*\d.*$", left, flags=re.MULTILINE), "a number that no command gave"


def test_panels_of_a_job_lie_on_the_points_that_it_names_and_weaken_them(job: Job, tmp_path: Path) -> None:
    rows = panels(job.after, tmp_path)
    named = re.findall(r"^\| (left|right), ([a-z ]+) \|", job.text, flags=re.MULTILINE)
    hung = [pair for pair in named if any(row["surface"] == pair[1] for row in rows.values())]
    assert hung
    for loudspeaker, surface in hung:
        point = points(job.after, tmp_path)[loudspeaker, surface]
        assert any(
            all(
                float(row[f"{key}_low_m"]) - 1e-3 <= float(point[f"{key}_m"]) <= float(row[f"{key}_high_m"]) + 1e-3
                for key in ("from_front", "from_left", "up")
            )
            for row in rows.values()
        ), surface
        before, after = (reflection(results, loudspeaker, surface).worst_db for results in (job.before, job.after))
        assert after < before
