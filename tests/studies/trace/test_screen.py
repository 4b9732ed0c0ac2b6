from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from sim.propagation.paths import Candidate
from sim.responses.ear_records import Notch
from sim.responses.records import Results, Verdict
from sim.showing.numbers import db_beside
from sim.showing.words import near_misses, verdict_sentence
from sim.studies.trace.screen import deepest_notches, show_results


def shown(traced_attic: Results, width: int, most: int | None = 10) -> str:
    text = io.StringIO()
    show_results(traced_attic, Console(file=text, width=width, highlight=False), most=most)
    return text.getvalue()


@pytest.mark.parametrize("width", [80, 100, 120, 130, 140, 160])
def test_the_table_fits_the_screen_and_loses_no_number(traced_attic: Results, width: int) -> None:
    text = shown(traced_attic, width)
    assert "\x1b" not in text
    assert max(len(line.rstrip()) for line in text.splitlines()) <= width
    assert "…" not in text
    worst = next(a for a in traced_attic.responses.arrivals if a.number == 1)
    line = next(line for line in text.splitlines() if line.strip().startswith("1 "))
    assert f"{worst.main.delay_ms:.2f}" in line
    assert f"{worst.level_db[4]:.1f}" in line
    assert f"{worst.worst_db:.1f}" in line


def test_arrivals_are_ranked_worst_first_and_cut(traced_attic: Results) -> None:
    text = shown(traced_attic, 160, most=3)
    ranks = [line.split()[0] for line in text.splitlines() if line[:4].strip().isdigit() and line[:3] == "   "]
    assert ranks == ["1", "2", "3"] * 2
    mine = [a for a in traced_attic.responses.arrivals if a.listener == "ear" and a.order]
    assert f"{len(mine) - 6} weaker ones are in arrivals.csv." in text


def test_a_screen_of_25_lines_holds_it_with_the_files(traced_attic: Results) -> None:
    text = shown(traced_attic, 160, most=None)
    listed = 6  # an empty line, where to, three files, and what tells of the rest
    folded = sum(len(line) > 159 for line in text.splitlines())
    assert len(text.splitlines()) + listed - folded <= 25 + len(traced_attic.built.warnings)


def test_fragile_is_a_word(traced_attic: Results) -> None:
    fragile = [a for a in traced_attic.responses.arrivals if a.order and a.fragile and a.listener == "ear"]
    assert fragile
    assert shown(traced_attic, 160, most=1000).count(" fragile") >= len(fragile)


def test_mirror_images_are_told_once(traced_attic: Results) -> None:
    """Right made the mirror image of left: one verdict for both, one table; a decibel apart, two."""
    responses = traced_attic.responses

    def as_right(one: object) -> object:
        return replace(one, loudspeaker="right")  # type: ignore[type-var]

    left = [a for a in responses.arrivals if a.loudspeaker == "left"]
    plain = [replace(a, surfaces=tuple("ceiling" for _ in a.surfaces)) for a in left]
    made = replace(
        responses,
        arrivals=(*plain, *(as_right(a) for a in plain)),  # type: ignore[arg-type]
        notches=(),
        verdicts=tuple(
            one for v in responses.verdicts if v.loudspeaker == "left" for one in (v, replace(v, loudspeaker="right"))
        ),
    )
    mirrored = replace(traced_attic, responses=made, candidates=())
    text = shown(mirrored, 160)
    assert "left and right alike at the ear" in text
    assert text.count("vanishes") == 1
    louder = [as_right(replace(a, worst_db=a.worst_db + 1.0)) for a in plain]
    uneven = replace(made, arrivals=(*plain, *louder))  # type: ignore[arg-type]
    assert "alike" not in shown(replace(mirrored, responses=uneven), 160)


def test_markup_in_names_is_text(traced_attic: Results) -> None:
    arrivals = tuple(replace(a, surfaces=("[red]desk[/red]",) * a.order) for a in traced_attic.responses.arrivals)
    odd = replace(traced_attic, responses=replace(traced_attic.responses, arrivals=arrivals))
    assert "[red]desk[/red]" in shown(odd, 160)


def test_verdicts_are_sentences(traced_attic: Results) -> None:
    verdict = next(v for v in traced_attic.responses.verdicts if (v.loudspeaker, v.listener) == ("left", "ear"))
    worst = next(a for a in traced_attic.responses.arrivals if a.number == verdict.offenders[0])
    sentence = verdict_sentence(traced_attic, verdict)
    assert sentence.startswith(f"left at the ear: {len(verdict.offenders)} arrivals are above -15 dB from 0 to 20 ms")
    level = db_beside(worst.worst_db, -15.0)
    assert f"the worst is {worst.via}: {level}, {worst.main.delay_ms:.2f} ms after the direct sound." in sentence
    met = verdict_sentence(traced_attic, Verdict("left", "ear", True, (), ()))
    assert met == "left at the ear: the target is met, nothing is above -15 dB from 0 to 20 ms (1 kHz to 8 kHz)."
    one = verdict_sentence(traced_attic, replace(verdict, offenders=verdict.offenders[:1]))
    assert "one arrival is above" in one
    blocked = tuple(replace(a, blocked=a.order == 0) for a in traced_attic.responses.arrivals)
    hidden = replace(traced_attic, responses=replace(traced_attic.responses, arrivals=blocked))
    assert verdict_sentence(hidden, verdict).endswith("Something blocks the direct sound.")


def candidate(traced_attic: Results, **changes: object) -> Candidate:
    some = next(c for c in traced_attic.candidates if c.loudspeaker == "left" and c.listener == 0)
    return replace(some, **changes)  # type: ignore[arg-type]


def test_near_misses_say_by_how_much(traced_attic: Results) -> None:
    in_metres = traced_attic.scene.blueprint.model_copy(update={"units": "m"})
    asked = (
        candidate(traced_attic, facet=1, surface="floor", status="blocked", blocked_by="desk", shade_m=0.03),
        candidate(traced_attic, facet=2, surface="left knee wall", status="misses", rim_m=-0.17),
        candidate(traced_attic, facet=3, surface="shelf top", status="misses", rim_m=-0.60),
        candidate(traced_attic, facet=4, surface="desk top", driver="tweeter", status="reaches", rim_m=0.20),
        candidate(traced_attic, facet=4, surface="desk top", driver="woofer", status="misses", rim_m=-0.02),
        candidate(traced_attic, facet=5, surface="ceiling", status="reaches", rim_m=0.20),
    )
    made = replace(traced_attic, scene=replace(traced_attic.scene, blueprint=in_metres), candidates=asked)
    assert near_misses(made, "left", "ear") == (
        "desk top: the woofer's point 2 cm outside: fragile",
        "floor: blocked by the desk, by 3 cm: fragile",
        "left knee wall: the point 17 cm outside",
    )
    assert near_misses(made, "right", "ear") == ()
    assert near_misses(made, "left", "client") == ()


def test_the_floor_behind_the_desk_is_told(traced_attic: Results) -> None:
    reported = near_misses(traced_attic, "left", "ear")
    assert any(sentence.startswith("floor: blocked by the desk, by ") for sentence in reported)
    assert any(sentence.startswith("left knee wall: the point ") for sentence in reported)


def test_notches_name_what_makes_them_and_the_panel_that_matters(traced_attic: Results) -> None:
    notches = (
        Notch("left", "ear", 830.0, 9.4, "woofer", "desk top", 7.2),
        Notch("left", "ear", 410.0, 5.0, "woofer", "left slope", 4.0, "side panel", -2.0),
        Notch("left", "ear", 610.0, 4.0, "woofer", "", 0.0, "cloud", 3.0),
        Notch("left", "ear", 1610.0, 3.5, "woofer", "", 0.0),
        Notch("left", "ear", 1230.0, 6.0, "woofer", "left slope", 5.0, "side panel", -5.0, False),
        Notch("left", "ear", 2230.0, 4.0, "woofer", "left slope", 5.0, "side panel", -5.0, False),
        Notch("right", "ear", 500.0, 6.0, "point", "floor", 3.0),
    )
    reported = deepest_notches(
        replace(traced_attic, responses=replace(traced_attic.responses, notches=notches)), "left", "ear", 3
    )
    assert reported == (
        "830 Hz, 9 dB deep, woofer: desk top: without it 7 dB more",
        "410 Hz, 5 dB deep, woofer: left slope: without it 4 dB more; without the panel side panel 2 dB less",
        "610 Hz, 4 dB deep, woofer: no single cause; without the panel cloud 3 dB more",
        "1230 Hz, 6 dB deep, woofer: kept away by the panel side panel",
    )
    quiet = replace(traced_attic, responses=replace(traced_attic.responses, notches=()))
    assert deepest_notches(quiet, "left", "ear") == ()
