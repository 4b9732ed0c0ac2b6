"""Documents and code cannot drift apart."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from sim.cli import parser

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
