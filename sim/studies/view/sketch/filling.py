"""What a form leaves empty: places as proposed, a desk, screen or second seat just asked for, names of new rows."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sim.studies.view.sketch.form import Form
from sim.studies.view.sketch.hanging import named_blocks
from sim.studies.view.sketch.laying import SCREEN_SIZE_M
from sim.studies.view.sketch.plan import Plan, is_told_first, length_m, tape_text


def completed(form: Form, before: Form, document: Any, plan: Plan, *, from_file: bool) -> Form:
    """The form as it is laid: what is not told is as proposed, and rows that are new have names of their own."""
    texts = dict(form.texts)
    if not from_file:
        for name, text in before.texts.items():
            if "." in name and not texts.get(name, "").strip():
                texts[name] = text
        texts["title"] = texts.get("title") or before["title"]
        rows = [
            {key: row.get(key) or was.get(key, "") for key in was}
            for row, was in zip(form.rows["loudspeakers"], before.rows["loudspeakers"], strict=True)
        ]
        form = form.with_rows("loudspeakers", rows)
        walls = [{**row, "wall": wall} for row, wall in zip(form.rows["corners"], plan.walls, strict=False)]
        form = form.with_rows("corners", walls)
    _guess(texts, form["units"])
    taken = {one.get("name") for one in document.get("openings", ())} if from_file else set()
    form = form.with_rows("openings", named(form, taken))
    slopes = [
        {**row, "name": row.get("name") or f"{row['wall'].removesuffix(' wall')} slope"} for row in form.rows["slopes"]
    ]
    bodies = (*document.get("furniture", ()), *document["loudspeakers"]) if from_file else ()
    form = named_blocks(form, {one.get("name", one.get("kind")) for one in bodies})
    return replace(form.with_rows("slopes", slopes), texts=texts)


def _guess(texts: dict[str, str], units: str) -> None:
    """Fill in a desk or screen that was just asked for."""

    def metres(name: str) -> float:
        return length_m(name, texts[name], units)

    def put(name: str, value_m: float) -> None:
        if not texts.get(name, "").strip():
            texts[name] = tape_text(round(value_m, 3), units)

    if texts.get("desk") == "yes" and not all(texts.get(f"desk.{key}") for key in ("far", "near", "left", "right")):
        ear, middle = metres("seat.front"), metres("seat.left")
        for name, value in (("near", ear - 0.3), ("far", ear - 1.0), ("left", middle - 0.8), ("right", middle + 0.8)):
            put(f"desk.{name}", value)
        put("desk.top", 0.74)
    if texts.get("second") == "yes":
        for key, value in (
            ("front", metres("seat.front") + 0.5),
            ("left", metres("seat.left")),
            ("up", metres("seat.up")),
        ):
            put(f"second.{key}", value)
    if texts.get("screen") == "yes":
        on_desk = texts.get("desk") == "yes"
        put("screen.front", metres("desk.far") + 0.05 if on_desk else metres("seat.front") - 0.9)
        put("screen.left", metres("seat.left"))
        put("screen.up", metres("desk.top") + 0.12 if on_desk else metres("seat.up") - 0.2)
        for key, size in zip(("width", "height"), SCREEN_SIZE_M, strict=True):
            put(f"screen.{key}", size)


def named(form: Form, taken: set[Any]) -> list[dict[str, str]]:
    """Openings with a name each; those without one are numbered as the template of a first scene does."""
    rows = [dict(row) for row in form.rows["openings"]]
    plain = [row for row in rows if is_told_first(form, row)]
    used = {row.get("name") for row in rows} | taken
    for row in (*plain, *(row for row in rows if row not in plain)):
        if not row.get("name"):
            kind = row["kind"]
            row["name"] = next(n for n in (kind, *(f"{kind} {i}" for i in range(2, 99))) if n not in used)
            used.add(row["name"])
    return rows
