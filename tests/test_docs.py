"""Documents and code cannot drift apart."""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path
from statistics import median
from typing import Any, Literal, get_args, get_origin

import pytest
from pydantic import BaseModel

import sim
from sim.acoustics.buildups import build_ups as library_build_ups
from sim.acoustics.buildups import porous_materials
from sim.acoustics.materials import library
from sim.blueprint import build_ups, loudspeakers, records, room, schema, treatment
from sim.blueprint import treatment as panels
from sim.blueprint import treatment as targets
from sim.blueprint.furniture import desk, kinds_of_furniture
from sim.blueprint.reader import parse_scene
from sim.blueprint.units import text_to_metres
from sim.cli import parser
from sim.pipeline import build, trace, trace_scene
from sim.placement.built_scene import build_scene
from sim.showing.tables import write_traced
from sim.studies.check.new_scene import start_scene
from sim.surveying.tape.given_room import GivenRoom

HOME = Path(__file__).resolve().parent.parent
PAGES = sorted([*HOME.glob("*.md"), *(HOME / "docs").rglob("*.md"), *(HOME / "scenes").rglob("*.md")])


def commands() -> list[str]:
    choices = next(action.choices for action in parser()._actions if action.dest == "command")
    assert isinstance(choices, dict)
    return list(choices)


def test_every_command_is_documented_and_every_documented_command_exists() -> None:
    page = (HOME / "docs" / "reference" / "commands.md").read_text(encoding="utf-8")
    documented = set(re.findall(r"^## `bounceplan (\w+)", page, flags=re.MULTILINE))
    assert documented == set(commands())


def test_every_option_is_documented() -> None:
    page = (HOME / "docs" / "reference" / "commands.md").read_text(encoding="utf-8")
    choices = next(action.choices for action in parser()._actions if action.dest == "command")
    assert isinstance(choices, dict)
    for command in choices.values():
        for action in command._actions:
            for option in action.option_strings:
                if option.startswith("--") and option != "--help":
                    assert f"`{option}" in page, option


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(HOME)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), target


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(HOME)))
def test_commands_in_pages_can_be_parsed(page: Path) -> None:
    """Every line of a code block that starts with `bounceplan` names a command and options that exist."""
    blocks = re.findall(r"```\w*\n(.*?)```", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    for line in "\n".join(blocks).splitlines():
        if line.startswith("bounceplan ") and "..." not in line and "--version" not in line:
            parser().parse_args(line.split("#")[0].split()[1:])


def heading_of(kind: type[BaseModel]) -> str:
    """The heading of a kind of furniture: `kind = "shelf"`, `"bridge"` or `"rack"`."""
    first, *others = get_args(kind.model_fields["kind"].annotation)
    words = [f'`kind = "{first}"`', *(f'`"{word}"`' for word in others)]
    return " or ".join([", ".join(words[:-1]), words[-1]] if others else words)


SCENE_PAGE = HOME / "docs" / "reference" / "scene-files.md"
RECORDS: dict[str, type[BaseModel]] = {
    "At the top of the file": schema.Blueprint,
    "`[room]`": room.Room,
    "`box`": room.BoxRoom,
    "Corners of `outline`": records.FloorCorner,
    "`[[room.slopes]]`": room.Slope,
    "`frame`": records.MeshFrame,
    "`[[room.tape]]`": records.TapeCheck,
    "`side_check`": records.SideCheck,
    "`[[room.surfaces]]`": records.NamedSurface,
    "Points": records.Point,
    "`[listener]`": schema.Listener,
    "`head_box`": schema.HeadBox,
    "`second_seat`": room.SecondSeat,
    "`[[loudspeakers]]`": schema.Loudspeaker,
    "`acoustic_axis`": records.AxisPoint,
    '`[models."a name"]`': schema.LoudspeakerModel,
    '`[[models."a name".drivers]]`': loudspeakers.DriverRecord,
    **{heading_of(kind): kind for kind in kinds_of_furniture()},
    "`cut_outs`": desk.CutOut,
    "`perforated`": desk.Holes,
    "`[[openings]]`": room.Opening,
    "`[[keep_clear]]`": room.KeepClear,
    "`[[panels]]`": panels.Panel,
    "`[treatment]`": treatment.Treatment,
    "`stock`": treatment.StockPanel,
    '`[materials."a name"]`': schema.MaterialRecord,
    "`layers`": build_ups.LayerRecord,
    "`[air]`": schema.AirRecord,
    "`[target]`": targets.Target,
    "`weights`": targets.Weights,
    "`[method]`": schema.Method,
}
"""Which section of the page on scene files describes which record."""


def documented_keys(heading: str) -> dict[str, str]:
    """Keys of the table below a heading, each with what stands in the column of defaults."""
    page = SCENE_PAGE.read_text(encoding="utf-8")
    section = re.split(r"^#+ ", page.split(f"# {heading}\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[0]
    return dict(re.findall(r"^\| `(\w+)` \| [^|]+ \| ([^|]+) \| [^|]+ \|$", section, flags=re.MULTILINE))


def records_below(record: type[BaseModel]) -> set[type[BaseModel]]:
    """All records that a record can hold, itself included."""
    found = {record}
    waiting: list[Any] = [field.annotation for field in record.model_fields.values()]
    while waiting:
        annotation = waiting.pop()
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            if annotation not in found:
                found |= records_below(annotation)
        else:
            waiting.extend(get_args(annotation))
    return found


def test_every_record_of_a_scene_has_a_section() -> None:
    assert records_below(schema.Blueprint) == set(RECORDS.values())


@pytest.mark.parametrize("heading", RECORDS)
def test_every_key_of_a_scene_is_documented_with_its_default(heading: str) -> None:
    fields = RECORDS[heading].model_fields
    reported = documented_keys(heading)
    assert set(reported) == set(fields)
    for key, field in fields.items():
        default = field.get_default(call_default_factory=True)
        if field.is_required():
            assert reported[key] == "needed", key
        elif default in (None, (), {}) or isinstance(default, BaseModel) or _holds_records(default):
            assert reported[key] == "-", key
        else:
            value = tomllib.loads(f"value = {reported[key].strip('`')}")["value"]
            if isinstance(value, str) and isinstance(default, float):
                value = text_to_metres(value)
            assert value == (list(default) if isinstance(default, tuple) else default), key


def _holds_records(default: object) -> bool:
    return isinstance(default, tuple) and all(isinstance(each, BaseModel) for each in default)


@pytest.mark.parametrize("heading", RECORDS)
def test_every_choice_of_a_key_is_documented(heading: str) -> None:
    """A word that a key may take stands somewhere in its row or in its heading."""
    page = SCENE_PAGE.read_text(encoding="utf-8")
    section = heading + re.split(r"^#+ ", page.split(f"# {heading}\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[0]
    for key, field in RECORDS[heading].model_fields.items():
        row = re.search(rf"^\| `{key}` .*$", section, flags=re.MULTILINE)
        assert row, key
        for choice in literals(field.annotation):
            if not re.fullmatch(r"[+-][xyz]", str(choice)):
                assert re.search(rf"(?<!\w){re.escape(str(choice))}(?!\w)", heading + row.group()), (key, choice)


def literals(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [choice for inner in get_args(annotation) for choice in literals(inner)]


def test_every_material_is_documented() -> None:
    page = SCENE_PAGE.read_text(encoding="utf-8")
    for name in (*library(), *library_build_ups(), *porous_materials()):
        assert f"`{name}`" in page, name


def test_the_shortest_scene_has_ten_lines_and_runs() -> None:
    example, *_ = re.findall(r"```toml\n(.*?)```", SCENE_PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert len(example.splitlines()) == 10
    results = trace_scene(parse_scene(example, Path("nowhere")), order=1)
    assert {arrival.via for arrival in results.responses.arrivals if arrival.loudspeaker == "left"} >= {
        "left wall",
        "right wall",
        "ceiling",
        "floor",
        "rear wall",
    }


def test_panel_and_material_of_the_scene_page_can_be_built() -> None:
    blocks = re.findall(r"```toml\n(.*?)```", SCENE_PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    text = "".join(blocks) + '[[panels]]\nname = "own"\nsurface = "ceiling"\nmaterial = "my absorber"\n'
    blueprint = parse_scene(text + "from_front = [1, 2]\nfrom_left = [1, 2]\n", Path("nowhere")).blueprint
    assert [panel.depth_m for panel in build_scene(blueprint, Path("nowhere")).panels] == pytest.approx([0.2, 0.109])


def test_the_tutorial_tells_the_points_that_its_scene_gives(tmp_path: Path) -> None:
    page = (HOME / "docs" / "tutorial" / "first-room.md").read_text(encoding="utf-8")
    sizes = re.search(r"^bounceplan new myroom --box ([\d.]+) ([\d.]+) ([\d.]+)$", page, flags=re.MULTILINE)
    assert sizes
    write_traced(trace(start_scene(tmp_path / "myroom", GivenRoom(sizes.groups()), units="m"), order=1), tmp_path)
    with (tmp_path / "reflection_points.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if (row["loudspeaker"], row["driver"]) == ("left", "tweeter")]
    for surface in ("desk top", "left wall", "right wall"):
        (row,) = (row for row in rows if row["surface"] == surface)
        first, second = (f"{row[f'tape_{n}_text']} {row[f'tape_{n}_from']}" for n in (1, 2))
        assert f"| {surface} | {first} | {second} |" in page


def test_files_that_the_tutorial_names_are_written() -> None:
    page = (HOME / "docs" / "tutorial" / "first-room.md").read_text(encoding="utf-8")
    drawing = "".join(path.read_text(encoding="utf-8") for path in (HOME / "sim").rglob("*picture*.py"))
    for name in re.findall(r"`(room_\w+\.png|energy_time\.png|ear_response\.png)`", page):
        assert name.removesuffix(".png") in drawing, name


def test_the_mesh_page_is_a_room(tmp_path: Path) -> None:
    """Its blocks, with an ear and a loudspeaker, and a mesh in millimetres whose y runs toward the front wall.

    The room is 5.40 m deep and 4.60 m wide; a pane of glass from depth 0.60 to 1.80 m is part of the right wall.
    """
    page = (HOME / "docs" / "how-to" / "use-a-mesh.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", page, flags=re.DOTALL)
    example = re.search(r"```toml\n(.*?)```", SCENE_PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert example
    others = example[1][example[1].index("[listener]") :]
    stations = (0.0, 0.6, 1.8, 5.4)
    quads = [
        ("front wall", [(0.0, 0.0, 0.0), (0.0, 4.6, 0.0), (0.0, 4.6, 2.4), (0.0, 0.0, 2.4)]),
        ("rear wall", [(5.4, 0.0, 0.0), (5.4, 0.0, 2.4), (5.4, 4.6, 2.4), (5.4, 4.6, 0.0)]),
        ("left wall", [(0.0, 0.0, 0.0), (0.0, 0.0, 2.4), (5.4, 0.0, 2.4), (5.4, 0.0, 0.0)]),
        ("floor", [(0.0, 0.0, 0.0), (5.4, 0.0, 0.0), (5.4, 4.6, 0.0), (0.0, 4.6, 0.0)]),
        ("ceiling", [(0.0, 0.0, 2.4), (0.0, 4.6, 2.4), (5.4, 4.6, 2.4), (5.4, 0.0, 2.4)]),
    ]
    for name, start, end in zip(("right wall", "pane", "right wall"), stations[:-1], stations[1:], strict=True):
        quads.append((name, [(start, 4.6, 0.0), (end, 4.6, 0.0), (end, 4.6, 2.4), (start, 4.6, 2.4)]))
    lines = []
    for number, (name, corners) in enumerate(quads):
        lines += [f"v {1000 * across:g} {-1000 * depth:g} {1000 * up:g}" for depth, across, up in corners]
        lines += [f"g {name}", "f " + " ".join(str(4 * number + corner) for corner in (1, 2, 3, 4))]
    (tmp_path / "room.obj").write_text("\n".join(lines), encoding="utf-8")
    (tmp_path / "scene.toml").write_text("\n".join([*blocks, others]), encoding="utf-8")
    _, built = build(tmp_path)
    window = next(facet for facet in built.room.facets if facet.name == "window")
    assert window.material == "window glass"
    assert window.area_m2 == pytest.approx(1.2 * 2.4)
    assert built.volume_m3 == pytest.approx(5.4 * 4.6 * 2.4)
    assert "the mesh fits the tape within 0 mm (2 distances)" in built.notes


def test_the_version_is_the_same_everywhere() -> None:
    """In the package, the page of what changed (the newest that has a number), and how to cite it."""
    texts = {
        name: (HOME / name).read_text(encoding="utf-8")
        for name in ("pyproject.toml", "docs/changelog.md", "docs/CITATION.cff")
    }
    released = re.findall(r"^## (\d+\.\d+\.\d+) \((\S+)\)$", texts["docs/changelog.md"], re.MULTILINE)
    cited = dict(re.findall(r"^([a-z-]+): (\S+)$", texts["docs/CITATION.cff"], re.MULTILINE))
    assert tomllib.loads(texts["pyproject.toml"])["project"]["version"] == sim.__version__ == released[0][0]
    assert (cited["version"], cited["date-released"]) == released[0]


def test_the_readme_quotes_the_report_on_near_scenes() -> None:
    """Typical is the median of each column, worst its largest; the page on edges has the scenes one by one."""
    page = (
        (HOME / "docs" / "explanation" / "edges.md").read_text(encoding="utf-8").split("## As it stands, not bare")[1]
    )
    rows = re.findall(
        r"^\| (.+?) \| (?:([\d.]+) / ([\d.]+))? ?\| (?:([\d.]+) / ([\d.]+))? ?\|$", page, flags=re.MULTILINE
    )
    columns = [[float(row[number]) for row in rows if row[number]] for number in range(1, 5)]
    assert len(rows) >= 9 and all(columns)
    pick = {
        "bare desk": next(row[1:] for row in rows if row[0] == "bare desk"),
        f"typical of {len(rows)} scenes": _rounded([median(column) for column in columns]),
        "worst of them": _rounded([max(column) for column in columns]),
    }
    text = (HOME / "README.md").read_text(encoding="utf-8")
    for name, (lit, most_lit, dark, most_dark) in pick.items():
        assert f"  | {name} | {lit} / {most_lit} | {dark} / {most_dark} |\n" in text


def test_the_readme_quotes_what_monitors_are_held_to() -> None:
    """The least and the largest rms of the table on edges, of monitors that stand free and of those behind a screen."""
    page = (HOME / "docs" / "explanation" / "edges.md").read_text(encoding="utf-8")
    table = page.split("| monitors | each driver")[1].split("\n\n")[0]
    rows = {behind: [row for row in table.split("\n")[2:] if ("behind" in row) == behind] for behind in (False, True)}
    text = " ".join((HOME / "README.md").read_text(encoding="utf-8").split())
    for behind, before in ((False, "own on the desk: "), (True, "hides the woofers ")):
        found = [float(value) for row in rows[behind] for value in re.findall(r"([\d.]+) / [\d.]+", row)]
        assert len(found) >= 6
        assert f"{before}{min(found):.2f} to {max(found):.2f}" in text


def _rounded(values: list[float]) -> list[str]:
    return [f"{value:.{2 - number % 2}f}" for number, value in enumerate(values)]
