"""The public side of the package: what it offers, that all of it is described, and that nothing prints a whole room."""

from __future__ import annotations

import dataclasses
import inspect
import subprocess
import sys
from pathlib import Path

import pytest
from pydantic import BaseModel

import sim
from sim.answers import LONGEST, Answer, short_repr
from sim.cli import parser
from tests.records import documented_fields, public_functions, records_within, returned_types

HOME = Path(__file__).resolve().parent.parent
RECORDS = sorted(records_within(returned_types()), key=lambda kind: (kind.__module__, kind.__name__))


SERVES = ("view", "sketch")
"""Commands that answer no question: they serve a page until they are ended."""


def commands() -> list[str]:
    choices = next(action.choices for action in parser()._actions if action.dest == "command")
    assert isinstance(choices, dict)
    return [one for one in choices if one not in SERVES]


@pytest.mark.parametrize("command", commands())
def test_every_command_has_a_function_of_the_same_name(command: str) -> None:
    assert command in sim.__all__
    assert command in public_functions()


def test_what_functions_return_is_public() -> None:
    missing = {kind.__name__ for kind in returned_types()} - set(sim.__all__)
    assert missing == set()


def test_nothing_else_is_public() -> None:
    assert dir(sim) == sorted(sim.__all__)
    kinds = {name for name in sim.__all__ if inspect.isclass(getattr(sim, name))}
    faults = {name for name in kinds if issubclass(getattr(sim, name), sim.BounceplanError)}
    assert kinds - faults - {kind.__name__ for kind in returned_types()} == {"Blueprint"}  # what they take


def test_type_checkers_are_told_the_same_names() -> None:
    """Names that are loaded late are unknown to type checkers; those imported for them must be the same ones."""
    import ast

    tree = ast.parse((HOME / "sim" / "__init__.py").read_text(encoding="utf-8"))
    block = next(each for each in tree.body if isinstance(each, ast.If))
    reported = {
        alias.asname: str(each.module).removeprefix("sim")
        for each in block.body
        if isinstance(each, ast.ImportFrom)
        for alias in each.names
    }
    assert reported == sim._HOMES


@pytest.mark.parametrize("name", public_functions())
def test_every_function_says_what_it_raises_and_takes_no_secret_words(name: str) -> None:
    function = public_functions()[name]
    assert function.__doc__
    assert not any(each.startswith("_") for each in inspect.signature(function).parameters)


@pytest.mark.parametrize("kind", RECORDS, ids=lambda kind: f"{kind.__module__}.{kind.__name__}")
def test_every_field_is_described(kind: type) -> None:
    if issubclass(kind, BaseModel):  # the page on scene files describes these, and a test holds it to them
        assert kind.__doc__
        return
    fields = {each.name for each in dataclasses.fields(kind)}  # type: ignore[arg-type]
    assert fields - documented_fields(kind) == set()


@pytest.mark.parametrize("kind", RECORDS, ids=lambda kind: f"{kind.__module__}.{kind.__name__}")
def test_records_are_frozen_and_print_themselves_in_short(kind: type) -> None:
    if issubclass(kind, BaseModel):
        assert kind.model_config.get("frozen")
    else:
        assert kind.__dataclass_params__.frozen  # type: ignore[attr-defined]
        assert kind.__repr__ in (short_repr, Answer.__repr__)


def test_a_check_of_types_sees_the_public_names(tmp_path: Path) -> None:
    """The package says that it is typed, and a type checker believes it: the records are no `Any`."""
    (tmp_path / "use.py").write_text(
        'import sim\n\nfound = sim.trace("room")\nreveal_type(found)\nreveal_type(sim.words(found))\n', encoding="utf-8"
    )
    assert (HOME / "sim" / "py.typed").is_file()
    command = [sys.executable, "-m", "mypy", "--config-file", str(HOME / "pyproject.toml"), "--follow-imports=silent"]
    done = subprocess.run([*command, str(tmp_path / "use.py")], cwd=HOME, capture_output=True, text=True, check=False)
    assert 'Revealed type is "sim.responses.records.Results"' in done.stdout
    assert 'Revealed type is "str"' in done.stdout or 'Revealed type is "builtins.str"' in done.stdout


def test_the_longest_line_is_short() -> None:
    assert LONGEST < 300
