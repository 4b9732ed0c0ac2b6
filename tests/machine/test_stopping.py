"""Requests to stop: raised, remembered when a library swallows them, and waiting for the end of a step."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.processes.killing import heed_interrupts

HOME = Path(__file__).resolve().parents[2]
BEGIN = "import os, signal, sys, time\nfrom sim.machine import stopping\nstopping.install()\n"
ME = "os.kill(os.getpid(), signal.SIGINT)\n"


def ran(script: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", BEGIN + script]
    return subprocess.run(
        command, cwd=HOME, capture_output=True, text=True, check=False, timeout=60, preexec_fn=heed_interrupts
    )


def test_a_request_that_a_library_swallows_is_raised_again() -> None:
    """What is raised while an object is taken away is printed and lost (Python reference, object.__del__)."""
    swallowed = f"class Gone:\n    def __del__(self):\n        {ME}\nGone()\nprint('went on')\n"
    done = ran(f"{swallowed}try:\n    stopping.go_on_unless_asked()\nexcept KeyboardInterrupt:\n    print('stopped')\n")
    assert done.stdout.split() == ["went", "on", "stopped"]
    assert done.stderr == ""


def test_the_end_of_an_object_that_a_request_left_half_made_is_not_told() -> None:
    """Its __del__ misses what its __init__ had not made yet; before any request the same is told as ever."""
    half = "class Half:\n    def __del__(self):\n        self.missing\n"
    done = ran(f"{half}try:\n    {ME}except KeyboardInterrupt:\n    pass\nHalf()\nprint('went on')\n")
    assert done.stdout.split() == ["went", "on"] and done.stderr == ""
    assert "has no attribute 'missing'" in ran(f"{half}Half()\n").stderr


def test_a_request_while_a_compiled_function_is_loaded_waits_until_it_has_its_code(tmp_path: Path) -> None:
    """The compiler asks Python for the code, swallows what is raised there, and would leave the function with none."""
    kernel = (
        "from numba import njit\n"
        "@njit('float64(float64)', cache=True)\n"
        "def twice(number):\n    return 2.0 * number\n"
        "print(twice(1.5))\n"
    )
    (tmp_path / "kernel.py").write_text(kernel, encoding="utf-8")
    (tmp_path / "asked.py").write_text(
        f"{BEGIN}from numba.core.codegen import JITCodeLibrary as Library\n"
        "plain, seen = Library._object_getbuffer_hook.__func__, []\n"
        "def asked(cls, module):\n"
        "    seen.append(module)\n"
        "    if len(seen) == int(sys.argv[1]):\n"
        f"        {ME}"
        "    return plain(cls, module)\n"
        "Library._object_getbuffer_hook = classmethod(asked)\n"
        "try:\n    import kernel\n    time.sleep(5.0)\n    print('went on')\n"
        "except KeyboardInterrupt:\n    print('stopped')\n",
        encoding="utf-8",
    )
    for moment in (1, 1, 2, 3):  # first compiled, then loaded; the third call is for the function's own code
        done = subprocess.run(
            [sys.executable, "asked.py", str(moment)],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(HOME)},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
            preexec_fn=heed_interrupts,
        )
        assert done.returncode == 0, done
        assert done.stdout.rstrip().endswith("stopped")
        assert done.stderr == ""


def test_a_step_that_must_be_whole_is_not_cut() -> None:
    done = ran(
        f"try:\n    with stopping.held():\n        with stopping.held():\n            {ME}        print('whole')\n"
        "    print('never')\nexcept KeyboardInterrupt:\n    print('stopped')\n"
    )
    assert done.stdout.split() == ["whole", "stopped"]


def test_an_ignored_signal_stays_ignored() -> None:
    """As under nohup, or in the background of a script."""
    done = subprocess.run(
        [sys.executable, "-c", f"{BEGIN}os.kill(os.getpid(), signal.SIGHUP)\nprint('on')"],
        cwd=HOME,
        text=True,
        capture_output=True,
        check=False,
        preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN),
    )
    assert done.stdout == "on\n"


@pytest.mark.parametrize(("again_s", "code"), [(0.0, 0), (1.3, 130)])
def test_the_second_request_ends_at_once_unless_it_is_the_first_one_twice(again_s: float, code: int) -> None:
    done = ran(f"try:\n    {ME}except KeyboardInterrupt:\n    pass\ntime.sleep({again_s})\n{ME}")
    assert done.returncode == code
    assert ("stopped at once" in done.stderr) == (code == 130)


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_a_command_that_is_stopped_says_so_in_one_line(number: signal.Signals, code: int, tmp_path: Path) -> None:
    """Exit codes as shells count them: 128 and the number of the signal (POSIX, Shell Command Language, 2.8.2)."""
    command = [sys.executable, "-m", "sim", "trace", "scenes/bedroom-on-desk", "-o", str(tmp_path / "out")]
    with subprocess.Popen(command, cwd=HOME, stderr=subprocess.PIPE, text=True, preexec_fn=heed_interrupts) as child:
        assert child.stderr is not None
        child.stderr.readline()
        child.send_signal(number)
        said = [line for line in child.stderr.read().splitlines() if not line.startswith("  ...")]
    assert child.returncode == code
    assert said == ["bounceplan: stopped; what was finished stays, nothing half-written was left"]
    assert list(tmp_path.iterdir()) == []


def test_a_request_inside_an_exec_of_text_has_the_exit_code_of_any_other(tmp_path: Path) -> None:
    """Before, Python ended itself by SIGINT then, also where SIGTERM had come; it does so with -m only."""
    inside = 'exec("import os, signal; os.kill(os.getpid(), signal.SIGTERM)")'
    module = (
        f"import sys, sim.__main__ as m, sim.cli\ndef run(_):\n    {inside}\nsim.cli.run = run\nsys.exit(m.main())\n"
    )
    (tmp_path / "asked.py").write_text(module)
    command = [sys.executable, "-m", "asked"]
    place = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), str(HOME)])}
    done = subprocess.run(command, cwd=tmp_path, env=place, capture_output=True, text=True, check=False)
    assert done.returncode == 128 + signal.SIGTERM
    assert done.stderr == "bounceplan: stopped; what was finished stays, nothing half-written was left\n"


def test_a_request_while_the_program_is_loaded_is_one_line() -> None:
    """Before, the handler was set only when half a second of imports was over."""
    for wait_s in (0.0, 0.1, 0.2, 0.4):
        script = "import sys, sim.__main__ as m\nprint('begun', flush=True)\nsys.argv = ['bounceplan', 'schema']\n"
        with subprocess.Popen(
            [sys.executable, "-c", f"{script}m.stopping.install()\nprint('begun', flush=True)\nsys.exit(m.main())"],
            cwd=HOME,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            preexec_fn=heed_interrupts,
        ) as child:
            assert child.stdout is not None
            assert child.stderr is not None
            child.stdout.readline()
            child.stdout.readline()
            time.sleep(wait_s)
            child.send_signal(signal.SIGINT)
            said = child.stderr.read()
        assert child.returncode in (0, 130), said
        assert "Traceback" not in said
        assert len(said.splitlines()) <= 1


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_request_when_all_is_done_changes_nothing(number: signal.Signals) -> None:
    """An interpreter that ends sets handlers back before it takes modules away (CPython's Py_FinalizeEx)."""
    late = f"class Late:\n    def __del__(self, kill=os.kill, me=os.getpid()):\n        kill(me, {int(number)})\n"
    done = ran(f"{late}late = Late()\nprint('done', flush=True)\nstopping.finished()\n")
    assert (done.returncode, done.stdout, done.stderr) == (0, "done\n", "")
