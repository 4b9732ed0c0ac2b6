"""index.html of a results folder: what the command said, every picture with what it shows, and what each file is for.

It holds no script and loads nothing from elsewhere, so that it opens from a stick and prints as it stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from fnmatch import fnmatch
from pathlib import Path
from typing import Final
from urllib.parse import quote

from sim.machine.whole_files import write_whole
from sim.showing.file_meanings import meaning_of
from sim.showing.page import escaped

NAME: Final = "index.html"
NEW_LINE: Final = "\n"
ORDER: Final = (
    "differences.png",
    "pareto.png",
    "rooms_from_*.png",
    "room_from_*.png",
    "plan.png",
    "map_*.png",
    "ear_response*.png",
    "energy_time*.png",
)
"""Pictures in the order in which a person asks for them; others follow by name."""
LOOKS: Final = """
body { font: 16px/1.5 Georgia, "Times New Roman", serif; color: #1a1a1a; background: #fff; margin: 2rem auto;
  max-width: 64rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; font-weight: normal; } h2 { font-size: 1.15rem; margin-top: 2.5rem; }
pre { font: 12px/1.45 ui-monospace, "DejaVu Sans Mono", monospace; overflow-x: auto; white-space: pre; }
figure { margin: 1.5rem 0; break-inside: avoid; } figcaption { color: #555; font-size: .9rem; }
img { max-width: 100%; height: auto; border: 1px solid #ddd; }
dt { font-weight: bold; } dd { margin: 0 0 .4rem 1.5rem; } a { color: #0a4a7a; }
@media print { pre { white-space: pre-wrap; font-size: 8px; } img { max-height: 22cm; } a { color: inherit; } }
"""


def write_folder_page(folder: Path, lines: Sequence[str], page: Path) -> None:
    """Write the page on a results folder.

    Parameters
    ----------
    folder
        What it tells of; subfolders too.
    lines
        What the command said, the title first.
    page
        File to write.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    write_whole(page, folder_page(folder, lines), "the page")


def folder_page(folder: Path, lines: Sequence[str]) -> str:
    """Markup of the page; pictures of subfolders are under the name of theirs."""
    names = sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    title, *said = [*lines, ""]
    parts = [f"<h1>{escaped(title)}</h1>", f"<pre>{escaped(NEW_LINE.join(said).strip())}</pre>"]
    for part in sorted({name.parent for name in names}, key=lambda place: (len(place.parts), place)):
        pictures = sorted((n for n in names if n.parent == part and n.suffix == ".png"), key=_rank)
        if pictures:
            parts.append(f"<h2>{escaped('Pictures' if part == Path() else f'Pictures: {part.as_posix()}')}</h2>")
            parts += [_figure(name) for name in pictures]
    listed = "".join(
        f"<dt>{_link(name)}</dt><dd>{escaped(meaning_of(name.name))}</dd>" for name in names if name.suffix != ".png"
    )
    parts.append(f"<h2>Files</h2><dl>{listed}</dl>")
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escaped(title)}</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{LOOKS}</style></head>'
        f"<body>\n{NEW_LINE.join(parts)}\n</body></html>\n"
    )


def _rank(name: Path) -> tuple[int, str]:
    place = next((n for n, pattern in enumerate(ORDER) if fnmatch(name.name, pattern)), len(ORDER))
    return place, name.name


def _link(name: Path) -> str:
    return f'<a href="{escaped(quote(name.as_posix()))}">{escaped(name.as_posix())}</a>'


def _figure(name: Path) -> str:
    what = meaning_of(name.name) or name.name
    source = escaped(quote(name.as_posix()))
    return (
        f'<figure><a href="{source}"><img src="{source}" alt="{escaped(what)}" loading="lazy"></a>'
        f"<figcaption>{escaped(name.as_posix())}: {escaped(what)}</figcaption></figure>"
    )
