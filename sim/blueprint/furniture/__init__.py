"""Furniture as written: each kind told by the distances one can measure with a tape.

Every module in this folder is one kind (or a few that differ in their word only): a final record that answers what
`sim.blueprint.pieces.Piece` asks.  Nothing else in `sim` knows which kinds there are.
"""

from __future__ import annotations

import inspect
import pkgutil
from functools import reduce
from importlib import import_module
from operator import or_
from typing import TYPE_CHECKING, Annotated, TypeAlias

from pydantic import Field

from sim.blueprint.pieces import Piece

__all__ = ["Furniture", "kinds_of_furniture", "refuse_open_questions"]


def kinds_of_furniture() -> tuple[type[Piece], ...]:
    """The records of all modules in this folder, in the order in which kinds are listed.

    Raises TypeError for a module without a final record, and for a record that leaves a question of `Piece` open.
    """
    kinds: list[type[Piece]] = []
    for module in sorted(found.name for found in pkgutil.iter_modules(__path__)):
        mine = [
            record
            for record in vars(import_module(f"{__name__}.{module}")).values()
            if inspect.isclass(record) and issubclass(record, Piece) and getattr(record, "__final__", False)
        ]
        if not mine:
            raise TypeError(f"{module} has no kind of furniture: mark its record @final")
        for record in mine:
            refuse_open_questions(record)
        kinds += mine
    return tuple(sorted(kinds, key=lambda kind: kind.rank))


def refuse_open_questions(kind: type[Piece]) -> None:
    """Raise TypeError for a record that does not answer all that is asked of a piece."""
    if inspect.isabstract(kind):
        raise TypeError(f"{kind.__name__} does not answer {', '.join(sorted(kind.__abstractmethods__))}")


if TYPE_CHECKING:  # whoever takes a piece may only ask what every kind answers
    Furniture: TypeAlias = Piece
else:
    Furniture = Annotated[reduce(or_, kinds_of_furniture()), Field(discriminator="kind")]
