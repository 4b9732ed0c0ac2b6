"""Pieces of the report's markup: escaped text, tables, lists, figures, and data that no text can break out of."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

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
    told = [f"<li>{typeset(item)}</li>" for item in items]
    if not told:
        return f"<p>{typeset(empty)}</p>" if empty else ""
    return f"<ul>{''.join(told)}</ul>"


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


def row(cells: Sequence[str], *, words: int = 1, attributes: str = "") -> str:
    """A row of markup cells; the first `words` are words, and the very first names the row."""
    made = [f'<th scope="row">{cells[0]}</th>']
    made += [
        f"<td>{cell}</td>" if place < words else f'<td class="num">{cell}</td>'
        for place, cell in enumerate(cells[1:], start=1)
    ]
    return f"<tr{' ' + attributes if attributes else ''}>{''.join(made)}</tr>"


def section(name: str, heading: str, body: str) -> str:
    """A section whose heading hangs in the margin."""
    return (
        f'<section id="{name}" aria-labelledby="{name}-heading"><h2 id="{name}-heading">{escaped(heading)}</h2>'
        f'<div class="body">{body}</div></section>'
    )


def folded(summary: str, body: str) -> str:
    """A part that can be opened; printing opens all of them."""
    return f"<details><summary>{escaped(summary)}</summary>{body}</details>"
