"""Which wheels a machine takes, asked before anything is fetched; run by .venv's Python, whose pip knows the rules.

    python .ci/wheels.py needed LOCK [LOCK]   print size and name of each wheel that this machine takes for a lock
                                              file and does not have from the second, or which packages have none
    python .ci/wheels.py list PYLOCK      write .ci/wheels.txt, the names and sizes of all wheels, from a detailed lock
    python .ci/wheels.py commands         write the commands of all installed packages anew

A test holds .ci/wheels.txt against the lock files: each pinned version stands there, and nothing else.
"""

import platform
import re
import sys
import tomllib
import urllib.parse
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from pip._vendor.packaging.markers import Marker, default_environment
from pip._vendor.packaging.tags import Tag, compatible_tags, cpython_tags, mac_platforms, sys_tags
from pip._vendor.packaging.utils import canonicalize_name, parse_wheel_filename

LIST = Path(__file__).resolve().parent / "wheels.txt"
PIN = re.compile(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)(?:\s*;\s*([^\\\n]+?))?\s*\\?$", re.MULTILINE)
MACHINES = {
    "Linux on x86-64": ("linux", "x86_64", ["manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64"]),
    "Linux on ARM": ("linux", "aarch64", ["manylinux_2_28_aarch64", "manylinux_2_17_aarch64", "manylinux2014_aarch64"]),
    "macOS 14 on Apple silicon": ("darwin", "arm64", list(mac_platforms((14, 0), "arm64"))),
    "macOS 15 on Apple silicon": ("darwin", "arm64", list(mac_platforms((15, 0), "arm64"))),
    "macOS 15 on Intel": ("darwin", "x86_64", list(mac_platforms((15, 0), "x86_64"))),
    "Windows on x86-64": ("win32", "AMD64", ["win_amd64"]),
}  # fmt: skip
"""Common machines, with the marks in names of wheels: Linux means glibc 2.28 of 2018 or newer."""
PYTHONS = ((3, 11), (3, 12), (3, 13), (3, 14), (3, 15))


def pins(lock: str, environment: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Names and versions of a lock file that an environment needs."""
    for name, version, condition in PIN.findall(lock):
        if not condition or Marker(condition).evaluate(dict(environment)):
            yield canonicalize_name(name), version


def listed() -> dict[tuple[str, str], list[tuple[int, str]]]:
    """Sizes and names of the wheels of each version."""
    found = defaultdict(list)
    for size, name in map(str.split, LIST.read_text(encoding="utf-8").splitlines()):
        package, version, *_ = parse_wheel_filename(name)
        found[package, str(version)].append((int(size), name))
    return dict(found)


def chosen(lock: str, environment: Mapping[str, str], tags: Iterable[Tag]) -> tuple[list[tuple[int, str]], list[str]]:
    """Wheels that a machine takes, and the packages for which it finds none."""
    rank = {tag: number for number, tag in reversed(list(enumerate(tags)))}
    files, taken, without = listed(), [], []
    for package, version in pins(lock, environment):
        fitting = []
        for size, name in files.get((package, version), []):
            best = min((rank[tag] for tag in parse_wheel_filename(name)[3] if tag in rank), default=None)
            if best is not None:
                fitting.append((best, size, name))
        if fitting:
            taken.append(min(fitting)[1:])
        else:
            without.append(package)
    return taken, without


def imagined(machine: str, python: tuple[int, int]) -> tuple[dict[str, str], list[Tag]]:
    """Environment and tags of a common machine with a version of CPython."""
    system, processor, platforms = MACHINES[machine]
    version = ".".join(map(str, python))
    environment = {
        **default_environment(), "sys_platform": system, "platform_machine": processor,
        "os_name": "nt" if system == "win32" else "posix", "python_version": version,
        "python_full_version": f"{version}.0", "implementation_name": "cpython",
        "platform_python_implementation": "CPython",
        "platform_system": {"linux": "Linux", "darwin": "Darwin", "win32": "Windows"}[system],
    }  # fmt: skip
    tags = [
        *cpython_tags(python, platforms=platforms),
        *compatible_tags(python, f"cp{version.replace('.', '')}", platforms),
    ]
    return environment, tags


def where(lock: str) -> dict[str, list[tuple[int, int]]]:
    """For each common machine the versions of Python for which every package has a wheel."""
    found = {
        machine: [python for python in PYTHONS if not chosen(lock, *imagined(machine, python))[1]]
        for machine in MACHINES
    }
    return {machine: pythons for machine, pythons in found.items() if pythons}


def refusal(lock: str, without: list[str], machine: str) -> str:
    """The sentence for a machine on which some packages have no wheel."""
    places = "; ".join(
        f"{machine} with Python {pythons[0][0]}.{pythons[0][1]} to {pythons[-1][0]}.{pythons[-1][1]}"
        for machine, pythons in where(lock).items()
    )
    these = ", ".join(without[:4]) + (f" and {len(without) - 4} more" if len(without) > 4 else "")
    return (
        f"nothing was fetched: there is no ready-built package of {these} for {machine}; every package is there for:"
        f" {places} (CPython, not free-threaded; Linux with glibc 2.28 or newer)"
    )


def this_machine() -> str:
    """Words for the machine and the Python that runs this."""
    import sysconfig

    threads = " free-threaded" if sysconfig.get_config_var("Py_GIL_DISABLED") else ""
    system = {"Darwin": "macOS"}.get(platform.system(), platform.system())
    library = " with musl" if any("musllinux" in tag.platform for tag in sys_tags()) else ""
    bits = " (32-bit Python)" if sys.maxsize < 2**32 else ""
    python = f"{platform.python_implementation()} {platform.python_version()}{threads}"
    return f"{python} on {system} {platform.machine()}{library}{bits}"


def needed(lock_file: Path, *there: Path) -> int:
    """Print what this machine takes for a lock file, less what it has from others, or why it cannot."""
    lock = lock_file.read_text(encoding="utf-8")
    taken, without = chosen(lock, default_environment(), sys_tags())
    for other in there:
        had = chosen(other.read_text(encoding="utf-8"), default_environment(), sys_tags())[0]
        taken = [wheel for wheel in taken if wheel not in had]
    if without:
        print(refusal(lock, without, this_machine()))
        return 2
    for size, name in taken:
        print(size, name)
    return 0


def write_list(pylock: Path) -> int:
    rows = []
    for package in tomllib.loads(pylock.read_text(encoding="utf-8"))["packages"]:
        for wheel in package.get("wheels", []):
            rows.append((urllib.parse.unquote(wheel["url"].rpartition("/")[2]), wheel["size"]))
    LIST.write_text("".join(f"{size} {name}\n" for name, size in sorted(rows)), encoding="utf-8")
    return 0


def write_commands() -> int:
    from importlib.metadata import distributions

    from pip._vendor.distlib.scripts import ScriptMaker

    maker = ScriptMaker(None, str(Path(sys.executable).parent))
    maker.clobber, maker.set_mode, maker.variants = True, True, {""}
    for distribution in distributions():
        for entry in distribution.entry_points.select(group="console_scripts"):
            maker.make(f"{entry.name} = {entry.value}")
    return 0


if __name__ == "__main__":
    what, *files = sys.argv[1:]
    sys.exit({"needed": needed, "list": write_list, "commands": write_commands}[what](*map(Path, files)))
