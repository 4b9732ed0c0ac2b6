"""What a command prints: on screens of few characters, to readers who leave, to nowhere, and to a full disk."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sim.errors import one_line
from sim.machine.streams import PLAIN, nearest

HOME = Path(__file__).resolve().parents[2]
CHECK = [sys.executable, "-m", "sim", "check", "scenes/bedroom-on-desk"]


def shell(command: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        ["bash", "-c", command, "bash", *CHECK],
        cwd=HOME,
        env={**os.environ, **environment},
        capture_output=True,
        check=False,
        timeout=120,
    )


def test_a_full_disk_under_the_output_is_one_sentence() -> None:
    done = shell('"$@" > /dev/full')
    assert done.returncode == 2
    assert done.stderr.decode() == (
        "bounceplan: what was printed could not be kept (No space left on device); make room.\n"
    )


def test_nobody_there_to_read_is_no_fault() -> None:
    for command in ('"$@" >&-', '"$@" >&- 2>&- <&-', '"$@" | true; exit ${PIPESTATUS[0]}'):
        done = shell(command)
        assert (done.returncode, done.stdout, done.stderr) == (0, b"", b""), command


def test_a_reader_who_leaves_does_not_end_the_work(tmp_path: Path) -> None:
    """As in `bounceplan trace ... | head -1`: what is written and drawn after the first line is wanted all the same."""
    command = [*CHECK[:3], "check", "scenes/bedroom-on-desk", "--plan", str(tmp_path / "plan.png")]
    with subprocess.Popen(command, cwd=HOME, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:
        assert child.stdout is not None
        child.stdout.close()
        _, said = child.communicate()
    assert child.returncode == 0
    assert said == b""
    assert (tmp_path / "plan.png").stat().st_size > 10_000


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1", "utf-8"])
def test_any_encoding_of_the_screen_will_do(encoding: str, tmp_path: Path) -> None:
    scene = (HOME / "scenes" / "bedroom-on-desk" / "scene.toml").read_text(encoding="utf-8")
    title = next(line for line in scene.splitlines() if line.startswith("title"))
    scene = scene.replace(
        title, 'title = "K\N{LATIN SMALL LETTER U WITH DIAERESIS}che \N{MINUS SIGN} \N{CJK UNIFIED IDEOGRAPH-97F3}"'
    )
    (tmp_path / "scene.toml").write_text(scene, encoding="utf-8")
    done = subprocess.run(
        [*CHECK[:4], str(tmp_path)],
        cwd=HOME,
        env={**os.environ, "PYTHONIOENCODING": encoding, "TERM": "dumb"},
        capture_output=True,
        check=True,
        timeout=120,
    )
    said = done.stdout.decode(encoding).splitlines()[0]
    assert said.startswith("Kuche - ?" if encoding == "ascii" else "K\N{LATIN SMALL LETTER U WITH DIAERESIS}che ")


def test_characters_become_the_nearest_there_is() -> None:
    assert "5 \N{MULTIPLICATION SIGN} 3 \N{DEGREE SIGN}".encode("ascii", "replace") == b"5 ? 3 ?"
    fault = UnicodeEncodeError("ascii", "\N{MINUS SIGN}3\udcff", 0, 3, "no")
    assert nearest(fault) == ("-3?", 3)
    assert all(words.isascii() for words in PLAIN.values())


def test_a_sentence_stays_one_line_whatever_a_name_holds() -> None:
    assert one_line("a\nb\x1b[31mc\r\N{MINUS SIGN}") == "a b\\x1b[31mc \N{MINUS SIGN}"
