"""Scene files of small box rooms for tests: a listener, loudspeakers, a desk; what a test is about is added as text."""

from __future__ import annotations

from collections.abc import Mapping

Point = tuple[float, float, float]
"""From the front, from the left, up."""


def room_text(
    size: Point,
    ear: Point,
    loudspeakers: Mapping[str, Point],
    *,
    head: str = "",
    model: str = "point",
    room: str = "",
    listener: str = "",
    more: str = "",
) -> str:
    """Return the text of a scene of a box.

    Parameters
    ----------
    size
        Width, depth and height.
    ear, loudspeakers
        Where the ear is, and the acoustic axis point of each loudspeaker by its name.
    model
        Model of all loudspeakers; empty for the usual one.
    head, room, listener, more
        Lines to add: before all tables, in the room's, in the listener's, and at the end.
    """
    width, depth, height = size
    lines = [
        head.strip(),
        "[room]",
        f"box = {{ width = {width}, depth = {depth}, height = {height} }}",
        room.strip(),
        "[listener]",
        f"ear = {point(ear)}",
        listener.strip(),
    ]
    for name, place in loudspeakers.items():
        lines += ["[[loudspeakers]]", f'name = "{name}"', f'model = "{model}"' if model else ""]
        lines += [f"acoustic_axis = {point(place)}"]
    return "\n".join(["", *(line for line in lines if line), ""]) + more.lstrip("\n")


def desk_text(
    from_front: tuple[float, float], from_left: tuple[float, float], top: float, more: str = "", name: str = "desk"
) -> str:
    """Return the text of a desk; `more` are lines in its table."""
    lines = ["[[furniture]]", 'kind = "desk"', f'name = "{name}"' if name else "", f"from_front = {[*from_front]}"]
    lines += [f"from_left = {[*from_left]}", f"top = {top}", more.strip()]
    return "\n".join(["", *(line for line in lines if line), ""])


def point(place: Point) -> str:
    """Write a point as scene files have it."""
    return f"{{ from_front = {place[0]}, from_left = {place[1]}, up = {place[2]} }}"
