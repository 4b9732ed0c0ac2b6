"""How many imports cross from one question's folder into another's: `python -m tests.crossings`."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
STUDIES = HOME / "sim" / "studies"


def question_of(name: str) -> str:
    """Which question's folder a module lies in, or an empty text."""
    parts = name.split(".")
    lies_in_one = parts[:2] == ["sim", "studies"] and (STUDIES / "".join(parts[2:3]) / "__init__.py").is_file()
    return parts[2] if lies_in_one and parts[2:] else ""


def imports() -> list[tuple[str, str]]:
    """Every import between modules of `sim` that one question's folder makes: who, and what it takes from."""
    found = []
    for module in sorted(STUDIES.rglob("*.py")):
        name = ".".join(module.relative_to(HOME).with_suffix("").parts)
        if question_of(name):
            for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ImportFrom) and str(node.module).split(".")[0] == "sim":
                    found.append((name, str(node.module)))
    return found


def crossing() -> list[tuple[str, str]]:
    """Those that end in the folder of another question."""
    return [(who, what) for who, what in imports() if question_of(what) not in ("", question_of(who))]


def main() -> int:
    for who, what in crossing():
        sys.stdout.write(f"{who} <- {what}\n")
    folders = [who for who, what in imports() if question_of(what)]
    sys.stdout.write(f"{len(crossing())} of {len(imports())} imports cross from one question into another")
    sys.stdout.write(f" ({len(folders)} stay in studies)\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
