"""What the panels did and whether the target is met, in words: the verdict first, then panel by panel."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from sim.showing.numbers import halves, hertz, hertz_range, joined, tenths
from sim.studies.match.records import Match
from sim.studies.match.text import seat_words, signed
from sim.studies.proof.records import AS_PROMISED, LESS, NOTHING, UNTOLD, Highest, PanelProof, Proof, TargetProof

LEAST_DB: Final = 0.25
TURNED_DB: Final = 2.0
"""More than this between octaves of the direct sound: something was turned or moved (common practice, no source)."""
SAYS: Final = {"pass": "passes", "fail": "fails", "borderline": "is borderline"}


def proof_lines(found: Proof) -> list[str]:
    """What the command says."""
    return list(_lines(found))


def _lines(found: Proof) -> Iterator[str]:
    yield f"{found.results.scene.blueprint.title}: measured before and after its panels"
    yield ""
    yield from (target_sentence(found, one) for one in found.targets)
    yield from (panel_sentence(one) for one in found.panels)
    yield ""
    yield from todo_lines(found)
    yield ""
    yield from _table(found)
    yield ""
    yield from aligned_lines(found)


def target_sentence(found: Proof, one: TargetProof) -> str:
    """One loudspeaker against the target."""
    target = found.results.scene.blueprint.target
    wanted = (
        f"{target.level_db:g} dB from {target.window_ms[0]:g} to {target.window_ms[1]:g} ms,"
        f" {hertz_range(*target.band_hz)}"
    )
    return (
        f"{one.loudspeaker} monitor {SAYS[one.met]} the target ({wanted}): highest {highest_words(one.after)} after,"
        f" {highest_words(one.before)} before; promised {_level(one.promised)}."
    )


def highest_words(one: Highest) -> str:
    """A highest level with its octave and what made it."""
    if math.isnan(one.level_db):
        return "nothing that stands out"
    via = f", {one.via}" if one.via else ""
    return f"{tenths(one.level_db)} dB ({hertz(one.frequency_hz)}, {one.time_ms:.1f} ms{via})"


def _level(one: Highest) -> str:
    return "nothing" if math.isnan(one.level_db) else f"{tenths(one.level_db)} dB"


def panel_sentence(one: PanelProof) -> str:
    """What one panel did, in one sentence."""
    who = f"{one.panel} ({one.surface})"
    if one.verdict == UNTOLD:
        return f"{who}: cannot be told. {why_untold(one)}"
    less = "nothing" if one.measured_db < LEAST_DB else f"{halves(one.measured_db)} dB"
    did = f"{less} less was measured, {halves(one.visible_db)} dB promised at the microphone"
    sure = f"± {halves(one.error_db)} dB, {hertz_range(*_span(one))}"
    verdict = {AS_PROMISED: "works as promised", LESS: "does less than promised", NOTHING: "does nothing"}[one.verdict]
    return f"{who} {verdict}: {did} ({sure})."


def why_untold(one: PanelProof) -> str:
    """Why nothing can be told of a panel."""
    if all(not each.readings for each in one.octaves):
        return "No reflection over it is strong enough and stands alone."
    return "What its neighbours leave of it at the microphone is within the error."


def _span(one: PanelProof) -> tuple[float, float]:
    told = [each.frequency_hz for each in one.octaves if each.verdict != UNTOLD]
    return min(told), max(told)


def todo_lines(found: Proof) -> Iterator[str]:
    """What a person does next."""
    yield "What to do"
    todo = list(_todo(found))
    yield from (f"  {line}" for line in todo or ["Nothing: the panels do what was promised and the target is met."])


def _todo(found: Proof) -> Iterator[str]:
    for one in found.panels:
        if one.verdict == NOTHING:
            yield f"{one.panel}: look whether it hangs, and where: nothing of it shows in the measurement."
        elif one.verdict == LESS:
            yield f"{one.panel}: check its place against the drawing, its gap, and what is in it."
    for target in found.targets:
        if target.met != "pass":
            over = target.after.level_db - found.results.scene.blueprint.target.level_db
            made = f": {target.after.via}" if target.after.via else ""
            yield (
                f"{target.loudspeaker} monitor: {signed(over, 1)} dB against the target at"
                f" {target.after.time_ms:.1f} ms{made}."
            )
    for match, words in ((found.before, "before"), (found.after, "after")):
        if match.swapped:
            yield f"The files of the measurement {words} look swapped: they fit better the other way round."
    who, hz, turned = found.strangest_turn()
    if abs(turned) > TURNED_DB:
        yield (
            f"{who} monitor: the direct sound itself is {signed(turned, 1)} dB at {hertz(hz)} against its other"
            " octaves. The monitor or the microphone was turned or moved between the two; measure both alike."
        )


def _table(found: Proof) -> Iterator[str]:
    yield "Panel by panel: lower by, in dB (95 %)"
    for one in found.panels:
        yield f"  {one.panel} ({one.surface}): {one.verdict}"
        yield "      octave  promised   shows  measured      ±  from"
        for each in one.octaves:
            cells = "  ".join(
                f"{'-' if math.isnan(value) else tenths(value):>{width}}"
                for value, width in (
                    (each.promised_db, 8),
                    (each.visible_db, 6),
                    (each.measured_db, 8),
                    (each.error_db, 5),
                )
            )
            yield f"    {hertz(each.frequency_hz):>8}  {cells}  {each.readings:>4}  {each.verdict}"


def aligned_lines(found: Proof) -> Iterator[str]:
    """How levels of two measurements come to be comparable, and what the numbers cannot know."""
    yield (
        "Both measurements are held against their own direct sound, octave by octave: the gain of amplifier and"
        " microphone falls out, a monitor or microphone that was turned does not. 'Promised' is the reflection at the"
        " panel alone, 'shows' is what the other reflections of that moment leave of it at the microphone. Intervals"
        " hold the neighbours' unknown phases and the reading; levels against the target are read to"
        f" ± {found.reading_db:g} dB."
    )
    changes = joined([f"{words} {_seat(match)}" for match, words in ((found.before, "before"), (found.after, "after"))])
    yield f"The microphone against the ear of the scene: {changes}. Other changes between the two count as the panels'."


def _seat(match: Match) -> str:
    words = seat_words(match.seat, match.results.scene.blueprint.units)
    return words or "as drawn, as far as the delays tell"
