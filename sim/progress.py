"""How work that takes a while says where it is: called with a few words at the start of each stage."""

from __future__ import annotations

from collections.abc import Callable

Report = Callable[[str], None]
"""Called with a few words at the start of each stage, or with a sentence that a person should know."""


def say_nothing(_: str) -> None:
    """Report nothing."""
