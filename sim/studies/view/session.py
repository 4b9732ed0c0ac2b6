"""One session at a scene: what pages ask for is done here, one thing after the other, and what changed is told.

Nothing here knows of sockets: messages come in as plain dictionaries, and texts and frames go out through `tell`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from secrets import token_hex
from typing import Any, Final

from sim.arrays import ComplexArray
from sim.blueprint.reader import SceneFile
from sim.errors import BounceplanError, SceneError
from sim.layouts.frames import Frame, Frames
from sim.layouts.values import read_value
from sim.placement.panels import PlacedPanel
from sim.studies.view.asking import Ask, Reply
from sim.studies.view.carried import Value, number_in
from sim.studies.view.edits import Edits
from sim.studies.view.handles import Known, handles
from sim.studies.view.jobs import Jobs, News
from sim.studies.view.keeping import file_bytes
from sim.studies.view.lanes import moving
from sim.studies.view.requests import Requests, state_message
from sim.studies.view.rest import Found, Task
from sim.studies.view.scheme import Scheme
from sim.studies.view.sentences import answer
from sim.studies.view.shown import frame_message, old_of
from sim.studies.view.snapshot import (
    NOW,
    Snapshot,
    added_db,
    comparable,
    shifted,
)
from sim.studies.view.state import AIMED, History, State, base_of, held_field, refused_by, snapped

Tell = Callable[[dict[str, Any]], None]
HALVINGS: Final = 5
"""How often the last step before something in the way is halved, to stop near it."""
LONGEST_TEXT: Final = 80
PINNED: Final = -1
"""Number of the task that works out what is compared with."""


class Session:
    """What is known of one scene while pages look at it.

    `tell` takes texts for all pages, `show` frames for all pages, `ask` the setting to be worked out at rest and
    questions about it; `jobs` writes files, where any can be written.
    """

    def __init__(
        self,
        scene: SceneFile,
        tell: Tell,
        show: Callable[[bytes], None],
        ask: Callable[[Task | Ask | None], None],
        jobs: Jobs | None = None,
    ) -> None:
        self.tell, self.show, self.ask = tell, show, ask
        self.requests = Requests(self, jobs)
        self.first = base_of(scene)
        self.history = History(State(self.first))
        self.frames = Frames(scene)
        self.known: Known = {}
        self._known_of = Edits()
        self.number = 0
        self.band = -1
        self.scheme = Scheme(token_hex(8))
        self.things: list[dict[str, Any]] = []
        self.frame: Frame = self.frames.frame(scene.blueprint)
        if self.frame.impossible or self.frame.built is None:
            raise BounceplanError(self.frame.impossible)
        for loudspeaker in self.frame.built.loudspeakers:
            loudspeaker.model.solve_cabinet()
        self.before: Snapshot | None = None
        self.pinned_words = "as the file has it"
        self._pinned_state: State | None = self.history.now
        self.rested: Snapshot | None = None
        self._rested_state: State | None = None
        self.rested_number = 0
        self.beyond: ComplexArray | None = None
        self.added: dict[str, float] = {}
        self.answered: dict[str, int] = {}
        self.now = self._moved()
        self.before = self.now
        self.asked = False
        self._publish()

    # What pages ask for.

    def act(self, message: Mapping[str, Any]) -> bool:
        """Do what one message asks; False where it asks for nothing that there is."""
        kind = str(message.get("kind"))
        done = getattr(self, f"_on_{kind}", None) or getattr(self.requests, f"on_{kind}", None)
        if done is None or not kind.isalpha():
            return False
        try:
            done(message)
        except BounceplanError as fault:
            self.refuse(fault)
        return True

    def _on_move(self, message: Mapping[str, Any]) -> None:
        """A drag or a step of a key: values in metres and degrees, snapped here."""
        values = message.get("values")
        who, seq = str(message.get("page", ""))[:12], message.get("seq")
        if isinstance(seq, int):
            self.answered[who] = seq
        if isinstance(values, Mapping) and values:
            fine, alone = bool(message.get("fine")), bool(message.get("alone"))
            blueprint, units = self.history.now.scene.blueprint, self.history.now.base.scene.blueprint.units
            wanted: dict[str, Value] = {}
            for name, value in list(values.items())[:8]:
                if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                    raise SceneError(str(name)[:LONGEST_TEXT], "that is no number", "drag it, or type a length")
                field = held_field(blueprint, str(name))
                wanted[str(name)] = snapped(field, float(value), units, fine=fine)
            self._go(wanted, alone)
        if message.get("done"):
            self.history.release()
            self._changed()

    def _on_type(self, message: Mapping[str, Any]) -> None:
        """A value as a person types it: in the scene's unit or with one of its own, or the word "ear"."""
        name, text = str(message.get("field", "")), str(message.get("text", ""))[:LONGEST_TEXT].strip()
        blueprint = self.history.now.scene.blueprint
        field = held_field(blueprint, name)
        value: Value = AIMED
        if not (text == AIMED and name.endswith((".tilt", ".toe_in"))):
            value = read_value(
                field, text.replace("\N{MINUS SIGN}", "-").replace("\N{DEGREE SIGN}", ""), blueprint.units
            )
            if not math.isfinite(value):
                raise SceneError(name, f'"{text}" is no number', "write a finite one")
        self.step_to(self.history.now.moved({name: value}, alone=bool(message.get("alone"))))

    def _on_undo(self, _: Mapping[str, Any]) -> None:
        if self.history.undo():
            self._stand()

    def _on_redo(self, _: Mapping[str, Any]) -> None:
        if self.history.redo():
            self._stand()

    def _on_pin(self, _: Mapping[str, Any]) -> None:
        """Take this setting as "before"."""
        self.before, self.pinned_words = self.now, "as pinned"
        self._pinned_state = None if self._is_whole(self.now) else self.history.now
        self._changed()

    def _on_octave(self, message: Mapping[str, Any]) -> None:
        band = message.get("band")
        self.band = band if isinstance(band, int) and 0 <= band < len(self.scheme.message["bands"]) else -1
        self._publish()

    def file(self) -> bytes:
        """The setting as a scene file."""
        return file_bytes(self.history.now)

    def names(self) -> list[str]:
        """Names of the loudspeakers."""
        return [one["name"] for one in self.scheme.message["speakers"]]

    def panels(self) -> tuple[PlacedPanel, ...]:
        """Panels as they hang."""
        assert self.frame.built is not None
        return self.frame.built.panels

    @property
    def at_rest(self) -> bool:
        """Whether everything that is shown is of now."""
        return self.rested is not None and self._rested_state == self.history.now

    # Moving, as far as it goes.

    def step_to(self, state: State) -> None:
        """Go to a setting as one step; raises SceneError and stays where it was if it cannot be."""
        self.history.release()
        self._try(state)
        self.history.release()
        self._changed()

    def _go(self, wanted: dict[str, Value], alone: bool) -> None:
        """Go where a drag wants to, else as near as there is room, and say what is in the way."""
        here = self.history.now
        try:
            self._try(here.moved(wanted, alone=alone))
        except SceneError as fault:
            self._near(here, wanted, alone)
            self.refuse(fault)
        self._changed()

    def _near(self, here: State, wanted: dict[str, Value], alone: bool) -> None:
        blueprint, units = here.scene.blueprint, here.base.scene.blueprint.units
        start = {name: number_in(blueprint, name) for name in wanted}
        if not all(math.isfinite(one) for one in start.values()):
            return
        low, high = 0.0, 1.0
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            place: dict[str, Value] = {}
            for name, end in wanted.items():
                field = held_field(blueprint, name)
                between = start[name] + middle * (float(end) - start[name])
                place[name] = snapped(field, between, units, fine=False)
            if place == start:
                return
            try:
                self._try(here.moved(place, alone=alone))
                low = middle
            except SceneError:
                high = middle

    def _try(self, state: State) -> None:
        """Build a setting and stand there; raises SceneError and stays where it was if it cannot be."""
        frame = self.frames.frame(state.scene.blueprint, candidates=False)
        if frame.impossible:
            where, _, rest = frame.impossible.partition(": ")
            found, _, remedy = rest.rpartition("; ")
            raise SceneError(where, found or rest, remedy.rstrip("."))
        self.frame = frame
        self.history.drag(state)

    def stand_on(self, state: State) -> None:
        """Go to a setting of another file as one step."""
        self._try(state)
        self.history.release()
        self._stand()

    def _stand(self) -> None:
        """Show a setting that is known to be possible; it may be of another file."""
        scene = self.history.now.base.scene
        if self.frames.scene is not scene:
            self.frames, self.known = Frames(scene), {}
        frame = self.frames.frame(self.history.now.scene.blueprint, candidates=False)
        if frame.impossible:
            raise BounceplanError(frame.impossible)
        self.frame = frame
        self._changed()

    def refuse(self, fault: BounceplanError) -> None:
        """Say why something cannot be, and outline what is in the way."""
        things = [each["body"] or each["name"] for each in self.things]
        names = (
            refused_by(fault, [*things, *dict.fromkeys(f["name"] for f in self.scheme.message["facets"])])
            if isinstance(fault, SceneError)
            else []
        )
        self.tell({"kind": "refused", "words": str(fault), "things": names})

    # Showing.

    def _changed(self) -> None:
        self.number += 1
        self.asked = False
        if self.history.now.edits != self._known_of:
            self.known, self._known_of = {}, self.history.now.edits
        if self.history.held is None:
            self.tell(state_message(self.history.now, self.number))
        self.now = self._moved()
        self._publish()

    def _moved(self) -> Snapshot:
        here = self._rested_state is not None and self._rested_state == self.history.now
        if here and self.rested is not None:
            return replace(self.rested, number=self.number)
        return shifted(moving(self.frame, self.number, self.beyond, here), self.added)

    @staticmethod
    def _is_whole(snapshot: Snapshot) -> bool:
        return snapshot.fresh["curve"] == NOW and snapshot.fresh["maps"] == NOW and bool(snapshot.without_db)

    def settle(self) -> None:
        """Nothing has moved for a while: have the whole worked out."""
        if self.asked or self.history.held is not None:
            return
        self.asked = True
        if self._rested_state != self.history.now:
            self.ask(Task(self.number, self.history.now))
        elif self._pinned_state is not None:  # what is compared with is worked out as a whole too
            self.ask(Task(PINNED, self._pinned_state))

    def take(self, found: Found | Reply | News) -> None:
        """Take what was found at rest, if it is of this setting, or answers to questions, or news of what is saved."""
        if not isinstance(found, Found):
            if isinstance(found, News) or not self.requests.heard(found.message):
                self.tell(dict(found.message))
            return
        if found.number == PINNED and found.whole and found.snapshot is not None and self._pinned_state is not None:
            self.before, self._pinned_state = found.snapshot, None
            self._publish()
            return
        if found.number != self.number:
            if found.whole:  # the process at rest holds that one now, and can answer nothing about the one before it
                self._rested_state = None
                self.asked = False
            return
        if found.snapshot is None:
            self.tell({"kind": "refused", "words": found.sentence, "things": []})
            return
        snapshot = found.snapshot
        self.beyond = snapshot.beyond
        self.added = added_db(snapshot, moving(self.frame, self.number, None, False))
        if found.whole:
            self.rested, self._rested_state, self.rested_number = snapshot, self.history.now, found.number
            if self._pinned_state == self.history.now:
                self.before, self._pinned_state = snapshot, None
            self.now = snapshot
            self.asked = self._pinned_state is None
        else:
            self.now = replace(snapshot, maps=self.now.maps, fresh={**snapshot.fresh, "maps": self.now.fresh["maps"]})
        self._publish(seconds=found.seconds)

    def _publish(self, seconds: float = 0.0) -> None:
        scene, built = self.history.now.scene, self.frame.built
        assert built is not None
        self.things = handles(scene.blueprint, built, self.known)
        if self.scheme.renew(scene, built, self.now, self.things):
            self.tell(self.scheme.message)
        self.show(self.message(seconds))

    def message(self, seconds: float = 0.0) -> bytes:
        """The newest frame as bytes."""
        built, snapshot = self.frame.built, self.now
        assert built is not None
        blueprint = self.history.now.scene.blueprint
        before = self.before if self.before is not None and comparable(self.before, snapshot) else None
        differs, places = self.scheme.differing(built, self.things)
        header = {
            **differs,
            "number": self.number,
            "answered": self.answered,
            "answer": answer(snapshot, before, blueprint.target, self.names(), blueprint.units),
            "before": self.pinned_words,
            "beforeFresh": "none" if before is None else before.fresh["curve"],
            "undo": len(self.history.back),
            "redo": len(self.history.forth),
            "changed": len(self.history.now.values),
            "seconds": round(seconds, 3),
        }
        return frame_message(header, snapshot, before, places, self.band, old_of(self.rested, snapshot))
