"""Port and word of a scene's last session: who may read them, how long they are good, when they are worth nothing."""

from __future__ import annotations

import os
import socket
import stat
import time
from dataclasses import replace
from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.studies.view.doors import new_token
from sim.studies.view.kept_address import GOOD_FOR_S, KeptAddress
from tests.studies.view.view_cases import room_file

HERE = "127.0.0.1"


def free_port() -> int:
    with socket.create_server((HERE, 0)) as asked:
        return int(asked.getsockname()[1])


@pytest.fixture
def kept(tmp_path: Path) -> KeptAddress:
    return KeptAddress(read_scene(room_file(tmp_path)), {"XDG_CACHE_HOME": str(tmp_path / "cache")})


def file_of(kept: KeptAddress) -> Path:
    assert kept.path is not None
    return kept.path


def test_what_was_kept_is_found_by_the_next_session_of_the_scene(kept: KeptAddress, tmp_path: Path) -> None:
    port, token = free_port(), new_token()
    assert kept.found(HERE) is None
    kept.keep(port, token)
    scene = read_scene(tmp_path / "scene.toml")
    cache = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    assert KeptAddress(scene, cache).found(HERE) == (port, token)
    assert KeptAddress(scene, cache).found(HERE, port) == (port, token)
    assert KeptAddress(scene, cache).found(HERE, port - 1) is None, "another port was asked for"
    (tmp_path / "other").mkdir()
    assert KeptAddress(read_scene(room_file(tmp_path / "other")), cache).found(HERE) is None
    mains = replace(scene, blueprint=scene.blueprint.model_copy(update={"plays": "mains"}))
    assert KeptAddress(mains, cache).found(HERE) is None, "another set of monitors is another session"


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system has no such permissions")
def test_its_owner_alone_may_read_it(kept: KeptAddress) -> None:
    port, token = free_port(), new_token()
    old = os.umask(0)
    try:
        kept.keep(port, token)
    finally:
        os.umask(old)
    path = file_of(kept)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    for mode in (0o640, 0o604, 0o620, 0o602):
        path.chmod(mode)
        assert kept.found(HERE) is None, f"{mode:o}: somebody else may have read or written it"
    path.chmod(0o600)
    assert kept.found(HERE) == (port, token)
    other = path.with_suffix(".moved")
    path.rename(other)
    path.symlink_to(other)
    assert kept.found(HERE) is None, "a link leads to who knows what"


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system has no such permissions")
def test_a_folder_that_others_may_write_to_is_not_trusted(kept: KeptAddress, tmp_path: Path) -> None:
    kept.keep(free_port(), new_token())
    file_of(kept).parent.chmod(0o777)
    again = KeptAddress(read_scene(tmp_path / "scene.toml"), {"XDG_CACHE_HOME": str(tmp_path / "cache")})
    assert again.path is None and again.found(HERE) is None
    again.keep(free_port(), new_token())
    again.sign()
    again.forget("x")


def test_it_is_good_for_an_hour_after_the_last_sign_of_life(kept: KeptAddress) -> None:
    port, token = free_port(), new_token()
    kept.keep(port, token)
    path = file_of(kept)
    now = time.time()
    os.utime(path, (now, now - GOOD_FOR_S + 30.0))
    assert kept.found(HERE) == (port, token)
    os.utime(path, (now, now - GOOD_FOR_S - 30.0))
    assert kept.found(HERE) is None
    kept.sign()
    assert kept.found(HERE) is None, "signs come once a minute"
    kept._signed -= 61.0
    kept.sign()
    assert kept.found(HERE) == (port, token)
    os.utime(path, (now, now + 1000.0))
    assert kept.found(HERE) is None, "a time that has not come yet"


def test_a_port_that_something_else_has_makes_the_word_worthless(kept: KeptAddress) -> None:
    with socket.create_server((HERE, 0)) as other:
        kept.keep(other.getsockname()[1], new_token())
        assert kept.found(HERE) is None


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"nonsense",
        b"[1, 2]",
        b"\xff\xfe",
        b"[" * 390,
        b'{"port": 80, "token": "' + b"a" * 32 + b'"}',
        b'{"port": true, "token": "' + b"a" * 32 + b'"}',
        b'{"port": 40000}',
        b'{"port": 40000, "token": "short"}',
        b'{"port": 40000, "token": "' + b"/" * 32 + b'"}',
        b'{"port": 40000, "token": "' + b"a" * 32 + b'"}' + b" " * 400,
    ],
)
def test_a_file_that_makes_no_sense_is_none(kept: KeptAddress, content: bytes) -> None:
    kept.keep(free_port(), new_token())
    file_of(kept).write_bytes(content)
    assert kept.found(HERE) is None
    kept.forget("a" * 32)


def test_a_session_that_is_over_is_forgotten_a_later_one_is_not(kept: KeptAddress) -> None:
    port, first, second = free_port(), new_token(), new_token()
    kept.keep(port, first)
    kept.keep(port, second)
    kept.forget(first)
    assert kept.found(HERE) == (port, second)
    kept.forget(second)
    assert kept.found(HERE) is None and not file_of(kept).exists()


def test_old_sessions_of_any_scene_are_cleared_away(kept: KeptAddress) -> None:
    kept.keep(free_port(), new_token())
    old = file_of(kept).with_name("old.json")
    old.write_text("{}")
    os.utime(old, (0.0, time.time() - 2.0 * GOOD_FOR_S))
    kept.keep(free_port(), new_token())
    assert not old.exists() and file_of(kept).exists()
