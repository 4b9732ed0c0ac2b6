"""Panels that were hung or taken away on the page: what differs from the scene's own list besides numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from sim.blueprint.reader import SceneFile
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel
from sim.errors import SceneError

OVERHEAD: Final = "rated fixings into structure and a second tether"
"""What is taken for granted of a panel while it is tried out, should it hang over heads; a kept file leaves it open."""
MOST_HUNG: Final = 40
Span = tuple[str, float, float]
"""A direction ("from_front", "from_left" or "up") and where the panel begins and ends along it, in metres."""


@dataclass(frozen=True, slots=True)
class Hung:
    """A panel out of the scene's own stock, hung on the page.

    Attributes
    ----------
    name
        What it is called in the scene.
    stock
        Number of its kind in the stock of the scene.
    surface
        The surface it hangs on.
    spans
        Where, in metres.
    overhead
        Whether its surface looks down: a ceiling or a slope.
    """

    name: str
    stock: int
    surface: str
    spans: tuple[Span, ...]
    overhead: bool


@dataclass(frozen=True, slots=True)
class Edits:
    """What was hung and what was taken away.

    Attributes
    ----------
    hung
        Panels out of the stock, the newest last.
    taken
        Names of the scene's own panels that were taken away.
    """

    hung: tuple[Hung, ...] = ()
    taken: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        """Whether anything differs."""
        return bool(self.hung or self.taken)

    def without(self, name: str, blueprint: Blueprint) -> Edits:
        """Take a panel away, whoever hung it; `blueprint` is that of the file.

        Raises
        ------
        SceneError
            If there is no such panel.
        """
        if any(one.name == name for one in self.hung):
            return replace(self, hung=tuple(one for one in self.hung if one.name != name))
        if name in self.taken or name not in {one.name for one in blueprint.panels}:
            raise SceneError(name, "there is no panel of this name", "choose one of those that hang")
        return replace(self, taken=(*self.taken, name))


def edited(scene: SceneFile, edits: Edits) -> SceneFile:
    """Return a scene with its panels as they hang now; the numbers of everything else are untouched.

    Raises
    ------
    SceneError
        If a panel is of no kind in stock.
    """
    if not edits:
        return scene
    blueprint = scene.blueprint
    own = [one for one in blueprint.panels if one.name not in edits.taken]
    panels = (*own, *(panel_of(blueprint, one) for one in edits.hung))
    return replace(scene, blueprint=blueprint.model_copy(update={"panels": panels}))


def panel_of(blueprint: Blueprint, hung: Hung) -> Panel:
    """The panel as a scene writes it: gap, holder and price as the scene's own plan of treatment has them.

    Raises
    ------
    SceneError
        If there is no such kind in stock.
    """
    treatment = blueprint.treatment
    if not 0 <= hung.stock < len(treatment.stock):
        raise SceneError(hung.name, "there is no such panel in stock", "choose one of the stock of the scene")
    stock = treatment.stock[hung.stock]
    flat = all(key != "up" for key, _, _ in hung.spans)
    drilled = not {hung.surface, "all"} & set(treatment.no_drilling)
    return Panel(
        name=hung.name,
        surface=hung.surface,
        material=stock.material,
        gap=treatment.cloud_gap if flat else treatment.wall_gap,
        movable=not hung.overhead and treatment.movable,
        held_by="surface" if drilled else "posts" if hung.overhead else "stand",
        fixings=OVERHEAD,
        price=stock.price,
        mass_kg=stock.mass_kg,
        **{key: (low, high) for key, low, high in hung.spans},
    )
