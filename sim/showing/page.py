"""Looks and markup of pages: colours told apart by letters and line styles, escaped text, tables, figures."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

LOWEST_DB: Final = -30.0
STEP_DB: Final = 2.5
LEVEL_COLOURS: Final = (
    "#fdebac",
    "#fec88c",
    "#fea571",
    "#fa815f",
    "#f05f5e",
    "#d9466b",
    "#bc3978",
    "#9c2e7f",
    "#7e2482",
    "#601880",
    "#400f74",
    "#21114e",
    "#12000f",
)
"""Classes of level from -30 dB in steps of 2.5 dB, pale to dark, even in lightness; the last is above 0 dB."""

_LOUDSPEAKERS: Final = (("#0072b2", ""), ("#d55e00", "7 3"), ("#009e73", "2 2"), ("#8c4a79", "9 2 2 2"))
"""Colours that people with any common colour blindness can tell apart (Okabe and Ito, "Color universal design", 2008),
each with the dashes that say the same again."""
_LAYOUTS: Final = (("#1a1a1a", ""), ("#009e73", "7 3"), ("#8c4a79", "2 2"), ("#b07d00", "9 2 2 2"))


@dataclass(frozen=True, slots=True)
class Look:
    """How one loudspeaker or one layout is told from the others, with and without colour."""

    name: str
    letter: str
    colour: str
    dashes: str


def loudspeaker_looks(names: Sequence[str]) -> tuple[Look, ...]:
    """A look for each loudspeaker; letters are first letters where these differ, else A, B, C."""
    letters = [name[:1].upper() for name in names]
    if len(set(letters)) < len(letters) or not all(letter.isalpha() for letter in letters):
        letters = [chr(ord("A") + place % 26) for place in range(len(names))]
    return tuple(
        Look(name, letter, *_LOUDSPEAKERS[place % len(_LOUDSPEAKERS)])
        for place, (name, letter) in enumerate(zip(names, letters, strict=True))
    )


def layout_looks(titles: Sequence[str]) -> tuple[Look, ...]:
    """A look for each layout: A, B, C in the order given."""
    return tuple(
        Look(title, chr(ord("A") + place % 26), *_LAYOUTS[place % len(_LAYOUTS)]) for place, title in enumerate(titles)
    )


def level_colour(level_db: float) -> str:
    """Colour of a level; an empty text below the scale."""
    place = int((level_db - LOWEST_DB) // STEP_DB)
    return LEVEL_COLOURS[min(place, len(LEVEL_COLOURS) - 1)] if place >= 0 else ""


# Pieces of the report's markup: escaped text, tables, lists, figures, and data that no text can break out of.

_MINUS = re.compile(r"(?<![\w.\-])-(?=\d)")
_UNIT = re.compile(r"(?<=\d) (?=(?:dB|ms|mm|cm|m|k?Hz|kg|degrees)\b)")
_UNSAFE: Final = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}


def escaped(text: object) -> str:
    """Text as it may stand between tags or inside quotes."""
    return html.escape(str(text), quote=True)


def typeset(sentence: str) -> str:
    """Escaped sentence with true minus signs before numbers, and numbers kept on one line with their units."""
    return escaped(_UNIT.sub("\N{NO-BREAK SPACE}", _MINUS.sub("\N{MINUS SIGN}", sentence)))


def number(value: float, decimals: int) -> str:
    """A number with a true minus sign, "–" when it is not finite, and never "−0.0"."""
    if not -1e9 < value < 1e9:
        return "\N{EN DASH}"
    text = f"{value:.{decimals}f}"
    return (text.removeprefix("-") if float(text) == 0.0 else text).replace("-", "\N{MINUS SIGN}")


def data_script(name: str, data: Any) -> str:
    """Data for the page's script; nothing in it can end the element or start a tag."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    for letter, code in _UNSAFE.items():
        text = text.replace(letter, code)
    return f'<script type="application/json" id="{name}">{text}</script>'


def bullets(items: Iterable[str], empty: str = "") -> str:
    """A list of sentences; what is said when there are none."""
    reported = [f"<li>{typeset(item)}</li>" for item in items]
    if not reported:
        return f"<p>{typeset(empty)}</p>" if empty else ""
    return f"<ul>{''.join(reported)}</ul>"


def table(caption: str, headings: Sequence[str], rows: Iterable[str], *, words: int = 1, css: str = "") -> str:
    """A table in a box of its own that scrolls sideways when it has to.

    Parameters
    ----------
    caption
        Escaped text above the table.
    headings
        Markup of the column headings.
    rows
        Whole rows as `row` makes them.
    words
        How many leading columns hold words and not numbers.
    css
        Further class of the table.
    """
    cells = "".join(
        f'<th scope="col"{"" if place < words else " class=num"}>{heading}</th>'
        for place, heading in enumerate(headings)
    )
    name = escaped(re.sub(r"<[^>]+>", "", html.unescape(caption)))
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{name}"><table class="{css}">'
        f"<caption>{caption}</caption><thead><tr>{cells}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def row(cells: Sequence[str], *, words: int = 1, attributes: str = "", labels: Sequence[str] = ()) -> str:
    """A row of markup cells; the first `words` are words, and the very first names the row.

    labels: headings of the columns, which a narrow screen writes before each cell (class "stacks" of the table).
    """
    names = [escaped(html.unescape(re.sub(r"<[^>]+>", " ", label)).replace("  ", " ")) for label in labels]
    named = [f' data-label="{name}"' for name in names] or [""] * len(cells)
    made = [f'<th scope="row"{named[0]}>{cells[0]}</th>']
    made += [
        f"<td{named[place]}>{cell}</td>" if place < words else f'<td class="num"{named[place]}>{cell}</td>'
        for place, cell in enumerate(cells[1:], start=1)
    ]
    return f"<tr{' ' + attributes if attributes else ''}>{''.join(made)}</tr>"


def section(name: str, heading: str, body: str) -> str:
    """A section whose heading hangs in the margin."""
    return (
        f'<section id="{name}" aria-labelledby="{name}-heading"><h2 id="{name}-heading">{escaped(heading)}</h2>'
        f'<div class="body">{body}</div></section>'
    )


def folded(summary: str, body: str, *, prints: bool = True) -> str:
    """A part that can be opened; printing opens all but those that are for the screen only."""
    kind = "" if prints else ' class="screen"'
    return f"<details{kind}><summary>{escaped(summary)}</summary>{body}</details>"
