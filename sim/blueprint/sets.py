"""Sets of monitors: mains and near-fields stand in one room and never play together.

A scene that was read holds in `loudspeakers` the set that plays, and in `silent` all others.  So no ranking, map,
measure or verdict can ever add up two sets, while the cabinets of the silent ones still stand in the way.
"""

from __future__ import annotations

from sim.blueprint.error_messages import closest, shown
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError


def whole(blueprint: Blueprint) -> Blueprint:
    """The scene with all its loudspeakers in one list, those that play first."""
    if not blueprint.silent:
        return blueprint
    return blueprint.model_copy(update={"loudspeakers": (*blueprint.loudspeakers, *blueprint.silent), "silent": ()})


def names_of_sets(blueprint: Blueprint) -> tuple[str, ...]:
    """Names of the sets in the order of the scene; none where no loudspeaker names one."""
    return tuple(dict.fromkeys(one.set for one in (*blueprint.loudspeakers, *blueprint.silent) if one.set))


def with_set(blueprint: Blueprint, name: str, where: str = "plays") -> Blueprint:
    """The scene with one of its sets playing, and with it whatever is in no set, such as a subwoofer.

    Raises
    ------
    SceneError
        If no loudspeaker is in a set of this name.
    """
    known = names_of_sets(blueprint)
    if name not in known:
        remedy = closest(name, known, what="the sets") if known else 'write set = "near" with those that play together'
        raise SceneError(where, f"no set of monitors is called {shown(name)}", remedy)
    every = whole(blueprint).loudspeakers
    plays = tuple(one for one in every if one.set in ("", name))
    silent = tuple(one for one in every if one.set not in ("", name))
    return blueprint.model_copy(update={"loudspeakers": plays, "silent": silent, "plays": name})


def split_into_sets(blueprint: Blueprint, where: str = "plays") -> Blueprint:
    """The scene with the set playing that it names, or else the one named first; as it is without sets."""
    known = names_of_sets(blueprint)
    if not known and not blueprint.plays:
        return blueprint
    if len(known) == 1 and not blueprint.plays and not blueprint.silent:
        return blueprint
    return with_set(blueprint, blueprint.plays or known[0], where)


def words_on_sets(blueprint: Blueprint) -> str:
    """Which set plays and what stands silent, for the assumptions; empty without sets."""
    if not blueprint.silent:
        return ""
    others = " and ".join(f'"{name}"' for name in names_of_sets(blueprint) if name != blueprint.plays)
    names = ", ".join(one.name for one in blueprint.silent)
    return f'the set "{blueprint.plays}" plays; {others} never plays with it and stands silent in the room ({names})'
