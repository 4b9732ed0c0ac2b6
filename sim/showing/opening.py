"""The sentence that trace, treat and report open with: what to do first, in short.

What cannot be or hurts comes before all.  Else it is the most harmful reflection and its cheapest cure; whether that
is the best of all that can be done is what `advise` tries, one change after the other.
"""

from __future__ import annotations

from typing import Final

from sim.blueprint.units import length_words
from sim.responses.records import Arrival, Results
from sim.showing.numbers import db_words
from sim.showing.words import worst_offender

ADVISE: Final = "bounceplan advise tries everything you can change."


def opening(results: Results) -> str:
    """What to do first in a traced scene, in one or two sentences."""
    if results.built.warnings:
        return f"Do this first: settle what stops you. {results.built.warnings[0]}"
    worst = most_harmful(results)
    if worst is None:
        target = results.scene.blueprint.target
        return f"Nothing is to be done first: no reflection is above the target of {target.level_db:g} dB."
    over = worst.worst_db - results.scene.blueprint.target.level_db
    return (
        f"First: {worst.via}, {db_words(worst.worst_db)} at {worst.main.delay_ms:.1f} ms ({worst.loudspeaker}), harms "
        f"most, {over:.0f} dB above the target. Cheapest cure: {cure(results, worst)}. {ADVISE}"
    )


def most_harmful(results: Results) -> Arrival | None:
    """The strongest arrival at the first seat that is above the target inside its window."""
    ear = results.built.listener_names[0]
    worst = [worst_offender(results, one) for one in results.responses.verdicts if one.listener == ear]
    return max((one for one in worst if one is not None), key=lambda one: one.worst_db, default=None)


def cure(results: Results, arrival: Arrival) -> str:
    """The cheapest thing that acts on an arrival, as an instruction (common practice, no source)."""
    blueprint = results.scene.blueprint
    pieces = [owner for owner in dict.fromkeys(arrival.owners) if owner != "room"]
    boxes = {one.body for one in results.built.loudspeakers}
    desks = {item.name for item in blueprint.furniture if item.worked_at}
    if any(piece in boxes for piece in pieces):
        return "turn or move the monitors so that no cabinet stands in the way"
    if any(piece in desks for piece in pieces):
        desk = next(piece for piece in pieces if piece in desks)
        return f"aim the monitors at the ear, then tilt or lower the {desk} or clear its far edge; no panel acts on it"
    if pieces:
        return f"lower, turn or move the {pieces[0]}"
    if arrival.diffracted or not len(arrival.main.points):
        return "move the monitors or the seat a little"
    facet = next((one for one in results.built.room.facets if one.name == arrival.surfaces[0]), None)
    point, unit = arrival.main.points[0], blueprint.units
    deep, across, up = (length_words(float(one), unit) for one in point)
    place = f"{deep} from the front wall, {across} from the left"
    if facet is not None and facet.normal[2] > 0.5:
        return f"a thick rug, its middle {place}"
    if facet is not None and facet.normal[2] < -0.5:
        return f"a cloud, its middle {place}"
    return f"a panel on the {arrival.surfaces[0]}, its middle {place}, {up} up"
