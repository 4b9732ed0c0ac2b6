"""What advice is made of: a setting that is tried, a line on the best of its kind, and the whole answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from sim.answers import Answer, Labelled, printable
from sim.blueprint.checks import refuse_what_cannot_be
from sim.blueprint.reader import SceneFile, made_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.toml_text import Locations
from sim.placement.limits import Path
from sim.responses.measure import COMPONENTS, SAME_DB, Measure
from sim.responses.records import Results

FREE, HOUR, MONEY, CARPENTRY = "free", "an hour", "money", "carpentry"
EFFORTS: Final = (FREE, HOUR, MONEY, CARPENTRY)
"""What a change takes, the least first."""

Make = Callable[[Blueprint], Blueprint]


@printable
@dataclass(frozen=True, slots=True)
class Setting:
    """One amount of one kind of change.

    Attributes
    ----------
    kind
        "tilt", "height", "desk depth" and so on; settings of one kind exclude each other.
    words
        What to do, as an instruction.
    effort
        "free", "an hour", "money" or "carpentry".
    worse
        What else it costs, in words; often empty.
    make
        The scene with it; amounts are against the scene as it stands.
    moved
        Places in the scene of the numbers that it changes.
    """

    kind: str
    words: str
    effort: str
    worse: str
    make: Make
    moved: tuple[Path, ...] = ()


def changed_scene(scene: SceneFile, settings: Sequence[Setting]) -> SceneFile:
    """A scene with settings made one after the other.

    Raises
    ------
    SceneError
        If it cannot be.
    """
    blueprint = scene.blueprint
    for setting in settings:
        blueprint = setting.make(blueprint)
    refuse_what_cannot_be(blueprint, scene.folder, Locations(scene.path.name, {}))
    return made_scene(blueprint, scene.folder, scene.path)


@printable
@dataclass(frozen=True, slots=True)
class Line:
    """The best amount of one kind of change.

    Attributes
    ----------
    kind, words, effort
        As in the setting: "tilt"; what to do; "free", "an hour", "money" or "carpentry".
    settings
        What was changed; several for changes made together.
    measure
        What the layout with it is judged by.
    gain_db
        By how much it lowers the measure; negative, it makes things worse.
    verdict
        "better", "worse" or "the same".
    worse
        What gets worse, in sentences.
    sure
        How sure that is, in words.
    full
        Whether it was traced in full: edges and sound waves too, not mirrors alone.
    """

    kind: str
    words: str
    effort: str
    settings: tuple[Setting, ...]
    measure: Measure
    gain_db: float
    verdict: str
    worse: tuple[str, ...]
    sure: str
    full: bool


@dataclass(frozen=True, slots=True, repr=False)
class Advice(Answer):
    """What to do first in a scene.

    Attributes
    ----------
    scene
        What was asked.
    now
        What the scene as it stands is judged by.
    first
        The line to act on first; None when nothing that was tried is better by more than the uncertainty.
    lines
        All kinds, the least effort first among what is better, then what is the same, then what is worse.
    together
        The best two or three at once; None when there are no two.
    impossible
        (kind, reason) of kinds of which no amount can be.
    remains
        What remains after the first, and after the best together, in a sentence each.
    before, after
        The traced scene, and with `together`, else with `first`, else the same.
    """

    question: ClassVar[str] = "advise"

    scene: SceneFile
    now: Measure
    first: Line | None
    lines: tuple[Line, ...]
    together: Line | None
    impossible: tuple[tuple[str, str], ...]
    remains: str
    before: Results
    after: Results

    def headline(self) -> str:
        """Do this first, because; and what remains."""
        if self.first is None:
            return f"Leave it as it is: nothing that was tried is better by more than {SAME_DB:g} dB. {self.remains}"
        return f"Do this first ({self.first.effort}): {self.first.words}, because {self._because()}. {self.remains}"

    def _because(self) -> str:
        """The component that gains most, weighted, in words."""
        assert self.first is not None
        before, after = self.now, self.first.measure
        names = sorted(
            COMPONENTS, key=lambda name: before.weights[name] * (after.components[name] - before.components[name])
        )
        best = names[0]
        words, unit = COMPONENTS[best]
        one, other = before.components[best], after.components[best]
        return (
            f"that takes {words} from {one:.1f} to {other:.1f} {unit} "
            f"(measure: {before.total_db:.1f} dB, then {after.total_db:.1f} dB)"
        )

    def rows(self) -> list[dict[str, Any]]:
        """The scene as it stands, each line, and the best together: components, the measure and what it takes."""
        rows = [_row("as it stands", "", "", self.now, "", "yes")]
        rows += [_row(one.words, one.kind, one.effort, one.measure, one.sure, _yes(one.full)) for one in self.lines]
        if self.together is not None:
            one = self.together
            rows.append(_row(one.words, one.kind, one.effort, one.measure, one.sure, _yes(one.full)))
        return rows

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {"line": ([one.words for one in self.lines], ""), "component": (list(COMPONENTS), "")}

    def _arrays(self) -> Mapping[str, Labelled]:
        found = [[one.measure.components[name] for name in COMPONENTS] for one in self.lines]
        return {
            "component_value": (("line", "component"), found, "dB; slope in dB per octave"),
            "measure_db": (("line",), [one.measure.total_db for one in self.lines], "dB"),
        }


def _yes(full: bool) -> str:
    return "yes" if full else "no"


def _row(words: str, kind: str, effort: str, measure: Measure, sure: str, full: str) -> dict[str, Any]:
    units = {"slope": "slope_db_per_octave"}
    components = {units.get(name, f"{name}_db"): measure.components[name] for name in COMPONENTS}
    return {
        "what": words,
        "kind": kind,
        "effort": effort,
        "measure_db": measure.total_db,
        **components,
        "how_sure": sure,
        "traced_in_full": full,
    }
