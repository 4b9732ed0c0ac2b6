"""Why a number of a scene cannot have a value, in one sentence: what the scene's own checks refuse, put for a field."""

from __future__ import annotations

from typing import Final

from pydantic import ValidationError

from ..errors import SceneError

LIMITS: Final = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}
UNITS: Final = {"length": " m", "degrees": " degrees", "number": ""}


def fault_of(name: str, kind: str, value: float, refused: ValidationError) -> SceneError:
    """Return the one error that a refused value of a field makes."""
    told, unit = f"{name} = {value:g}{UNITS[kind]}", UNITS[kind]
    problem = refused.errors(include_url=False)[0]
    limit, words = LIMITS.get(problem["type"], ("", ""))
    if limit:
        bound = f"{words} {problem.get('ctx', {})[limit]:g}{unit}"
        return SceneError(told, "it cannot have this value", f"it must be {bound}")
    if problem["type"] == "finite_number":
        return SceneError(told, "it is no finite number", "choose another value")
    found, _, remedy = problem["msg"].removeprefix("Value error, ").partition("; ")
    if "longer than any room" in found:  # a guess at another unit helps in a file, not here
        remedy = "choose a smaller value"
    return SceneError(told, found[:1].lower() + found[1:].rstrip("."), remedy.rstrip(".") or "choose another value")
