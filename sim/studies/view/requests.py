"""What pages ask for besides moving things: panels out of the stock, why, worth, comparisons, files, going on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sim.blueprint.reader import read_scene
from sim.blueprint.scene_folders import MOST_SCENES, scenes_in
from sim.errors import BounceplanError, OutputError, SceneError
from sim.layouts.fields import find_field
from sim.placement.stops import OVERHEAD_M
from sim.studies.view.asking import Ask
from sim.studies.view.carried import Value
from sim.studies.view.edits import MOST_HUNG, Edits, Hung, Span
from sim.studies.view.hanging import KEYS, best_place, hung_at, partner_of, refuse_beyond_stock
from sim.studies.view.jobs import Jobs
from sim.studies.view.keeping import keep
from sim.studies.view.room_for_panels import RoomForPanels
from sim.studies.view.sentences import surface_words
from sim.studies.view.state import AIMED, State, base_of

if TYPE_CHECKING:
    from sim.studies.view.session import Session

LONGEST_NAME: Final = 80
MOST_VALUES: Final = 400
STAND_STILL: Final = "Stand still until everything is of now; then this can be worked out."
OVERHEAD_WORDS: Final = (
    " It hangs over heads: rated fixings and a second tether, two people; a kept file leaves open how it is fixed."
)


class Requests:
    """Answers to these requests of pages of one session; each `on_...` takes the message of a page."""

    def __init__(self, session: Session, jobs: Jobs | None) -> None:
        self.session, self.jobs = session, jobs
        self.variants: set[Path] = set()
        self._saving: tuple[State, str] | None = None
        self._brought: tuple[State, str, float] | None = None

    # Panels.

    def on_hang(self, message: Mapping[str, Any]) -> None:
        """Hang a panel of the stock, with its mirror image unless it is asked for alone."""
        session, here = self.session, self.session.history.now
        blueprint, built = here.scene.blueprint, session.frame.built
        assert built is not None
        stock = message.get("stock")
        stock = stock if isinstance(stock, int) and not isinstance(stock, bool) else -1
        surface, alone = str(message.get("surface", ""))[:LONGEST_NAME], bool(message.get("alone"))
        refuse_beyond_stock(here.base.scene.blueprint, here.edits, stock, 1)
        places = hung_at(blueprint, built, stock, surface, bool(message.get("turned")), session.now.reflections)
        room = RoomForPanels(blueprint, built, here.base.scene.folder)
        tried: list[tuple[Hung, ...]] = []

        def possible(more: tuple[Hung, ...]) -> bool:
            tried.append(more)
            return room.holds(more) and self._can_hang(here, stock, more)

        hung = best_place(places, not alone, possible)
        if not hung:  # the sentence says what is wrong with the best place
            session.frames.build(_with(here, next(one for one in tried if len(one) == 1)).scene.blueprint)
            raise SceneError(surface, "no panel can hang there", "choose another surface")
        session.step_to(_with(here, hung))
        names = [one.name for one in hung]
        words = f"{' and '.join(names)}: hung where the reflection strikes, or as near as there is room."
        words += " Its mirror image has no room." if any(len(one) > 1 for one in tried) and len(hung) == 1 else ""
        over = any(panel.body[:, 2].max() > OVERHEAD_M for panel in session.panels() if panel.name in names)
        words += OVERHEAD_WORDS if over else ""
        session.tell({"kind": "hung", "names": names, "words": words, "page": _page(message)})

    def _can_hang(self, here: State, stock: int, more: tuple[Hung, ...]) -> bool:
        """Whether a setting with more panels can be built, as a whole."""
        try:
            refuse_beyond_stock(here.base.scene.blueprint, here.edits, stock, len(more))
            self.session.frames.build(_with(here, more).scene.blueprint)
        except BounceplanError:
            return False
        return True

    def on_take(self, message: Mapping[str, Any]) -> None:
        """Take a panel away."""
        here, name = self.session.history.now, str(message.get("name", ""))[:LONGEST_NAME]
        self.session.step_to(here.with_edits(here.edits.without(name, here.base.scene.blueprint)))

    # Questions about the setting at rest.

    def on_why(self, message: Mapping[str, Any]) -> None:
        """Why a reflection is there and what would remove it."""
        self._ask("why", {"key": str(message.get("key", ""))[:400]}, message)

    def on_dip(self, message: Mapping[str, Any]) -> None:
        """What makes a dip of the curve and what would remove it."""
        hz, speaker = message.get("hz"), str(message.get("speaker", ""))[:LONGEST_NAME]
        if isinstance(hz, bool) or not isinstance(hz, int | float) or not math.isfinite(hz):
            raise SceneError("hz", "that is no frequency", "choose a place on the curve")
        self._ask("dip", {"hz": float(hz), "speaker": speaker}, message)

    def on_worth(self, message: Mapping[str, Any]) -> None:
        """What a panel brings, with its mirror image unless it is asked for alone."""
        name = str(message.get("name", ""))[:LONGEST_NAME]
        found = None if message.get("alone") else partner_of(self.session.history.now.scene.blueprint, name)
        self._ask("worth", {"names": [name] if found is None else [name, found[0].name]}, message)

    def on_compare(self, message: Mapping[str, Any]) -> None:
        """Compare the scenes of the folder and the setting; the file that was opened is what they are held against."""
        path = self.session.history.now.base.scene.path
        others = [one for one in scenes_in(path.parent) if one.resolve() != path.resolve()]
        if len(others) + 2 > MOST_SCENES:
            raise OutputError(f"{path.parent}: it holds more than {MOST_SCENES} scenes; move some into another folder.")
        self._ask("compare", {"files": [str(one) for one in (path, *others)]}, message)

    def _ask(self, kind: str, about: Mapping[str, Any], message: Mapping[str, Any]) -> None:
        session = self.session
        if not session.at_rest:
            session.tell({"kind": "unanswered", "asked": kind, "page": _page(message), "words": STAND_STILL})
            return
        session.ask(Ask(session.rested_number, kind, about, _page(message)))

    def on_surface(self, message: Mapping[str, Any]) -> None:
        """What a surface does."""
        words = surface_words(str(message.get("name", ""))[:LONGEST_NAME], self.session.now, self.session.names())
        self.session.tell({"kind": "surface", "words": words})

    # Files.

    def on_keep(self, message: Mapping[str, Any]) -> None:
        """Write a variant beside the scene."""
        session = self.session
        name = str(message.get("name", ""))[:LONGEST_NAME]
        path = keep(session.history.now, name, ours=frozenset(self.variants))
        self.variants.add(path)
        words = f"Kept as {path.name}, beside {session.first.scene.path.name}."
        session.tell({"kind": "kept", "words": words, "name": path.stem})

    def on_again(self, _: Mapping[str, Any]) -> None:
        """Read the file again; the setting before it is one step back."""
        self.session.stand_on(State(base_of(read_scene(self.session.history.now.base.scene.path))))

    def on_save(self, message: Mapping[str, Any]) -> None:
        """Write report, drawings or trace of the setting beside its scene; what was traced at rest is taken for it."""
        if self.jobs is None:
            raise OutputError("save: nothing can be saved from here.")
        session, what = self.session, str(message.get("what", ""))[:LONGEST_NAME]
        self.jobs.refuse(what, busy=self._saving is not None)
        if session.at_rest:
            self._saving = (session.history.now, what)
            session.ask(Ask(session.rested_number, "keep", {}, _page(message)))
        else:
            self.jobs.start(session.history.now, what)

    def heard(self, message: Mapping[str, Any]) -> bool:
        """Take an answer of the process at rest that is for us: the trace to be saved is kept, or cannot be."""
        if "keep" not in (message.get("kind"), message.get("asked")):
            return False
        self.save_now()
        return True

    def save_now(self) -> None:
        """Begin to save what waits for its trace to be kept, whether it is or not."""
        waiting, self._saving = self._saving, None
        if waiting is not None and self.jobs is not None:
            try:
                self.jobs.start(*waiting)
            except BounceplanError as fault:
                self.session.refuse(fault)

    def on_stop(self, _: Mapping[str, Any]) -> None:
        """Stop what is being saved."""
        self._saving = None
        if self.jobs is not None:
            self.jobs.stop()

    # A page that outlived its program brings back where everything stood.

    def on_restore(self, message: Mapping[str, Any]) -> None:
        """Go where a page says that everything stood, unless something was moved here already.

        Of several pages that outlived one session the newest setting counts, whichever page comes first.
        """
        session, state = self.session, message.get("state")
        if not isinstance(state, Mapping):
            return
        before, number = str(message.get("session", ""))[:LONGEST_NAME], state.get("number")
        number = float(number) if isinstance(number, int | float) and not isinstance(number, bool) else 0.0
        if self._brought is not None and self._brought[:2] == (session.history.now, before):
            if not number > self._brought[2]:
                return
        elif session.history.back or session.history.now != State(session.first):
            return
        if state.get("file") != session.first.scene.digest:
            if state.get("values") or state.get("hung") or state.get("taken"):
                raise OutputError(
                    f"{session.first.scene.path.name} is another file than the page had: what was moved there is not "
                    "taken over; move it again."
                )
            return
        session.step_to(_restored(session.first, state))
        self._brought = (session.history.now, before, number)


def state_message(state: State, number: int) -> dict[str, Any]:
    """A setting as pages keep it, to be brought back to another process; a later one has a higher number."""
    return {
        "kind": "state",
        "number": number,
        "file": state.base.scene.digest,
        "values": dict(state.values),
        "taken": list(state.edits.taken),
        "hung": [
            [one.name, one.stock, one.surface, [list(span) for span in one.spans], one.overhead]
            for one in state.edits.hung
        ],
    }


def _restored(base: Any, state: Mapping[str, Any]) -> State:
    """The setting that a page kept; SceneError, or another sentence, where it makes no sense."""
    try:
        hung = tuple(_hung(*one) for one in list(state.get("hung", ()))[:MOST_HUNG])
        taken = tuple(str(one) for one in list(state.get("taken", ()))[:MOST_HUNG])
        given = dict(list(dict(state.get("values", {})).items())[:MOST_VALUES])
    except (TypeError, ValueError):
        raise OutputError("what the page kept makes no sense; move things again.") from None
    blueprint = base.scene.blueprint
    edits = Edits(hung=hung)
    for name in taken:
        edits = edits.without(name, blueprint)
    found = State(base, {}, edits)
    values: dict[str, Value] = {}
    for name, value in given.items():
        find_field(found.scene.blueprint, str(name), tied=False)
        if value != AIMED and (
            isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value)
        ):
            raise SceneError(str(name)[:LONGEST_NAME], "that is no number", "move it again")
        values[str(name)] = value if isinstance(value, str) else float(value)
    return State(base, values, edits)


def _hung(name: Any, stock: Any, surface: Any, spans: Any, overhead: Any) -> Hung:
    told: list[Span] = [(str(key), float(low), float(high)) for key, low, high in spans]
    if not {key for key, _, _ in told} <= set(KEYS) or not all(math.isfinite(e) for _, *ends in told for e in ends):
        raise ValueError("spans")
    return Hung(str(name)[:LONGEST_NAME], int(stock), str(surface)[:LONGEST_NAME], tuple(told), bool(overhead))


def _with(here: State, more: tuple[Hung, ...]) -> State:
    return here.with_edits(Edits(hung=(*here.edits.hung, *more), taken=here.edits.taken))


def _page(message: Mapping[str, Any]) -> str:
    return str(message.get("page", ""))[:12]
