"""Questions one after the other: each answer checked before the next, taken back with `back`, explained with `?`, kept.

Answers are a list of texts, and the questions follow from them.  Taking one back, or going on where an earlier run
stopped, is asking all over again with the answers that are known given silently.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from typing import Final, TypeVar

from sim.errors import SceneError

Ask = Callable[[str], str]
"""Shows a question and returns what was typed; raises EOFError when there is nothing more."""
Tell = Callable[[str], None]
"""Says a line."""
Keep = Callable[[Sequence[str]], None]
"""Keeps the answers given so far."""
T = TypeVar("T")

COLUMNS: Final = 80
"""Of a terminal that nobody widened."""
BACK: Final = "back"
EXPLAIN: Final = "?"


class _TakenBack(Exception):  # noqa: N818  a step, not an error
    """The last answer was taken back."""


class Interview:
    """Asks questions, and knows the answers so far.

    Attributes
    ----------
    answers
        What was answered, in order.
    """

    def __init__(self, ask: Ask, tell: Tell, keep: Keep, kept: Sequence[str] = ()) -> None:
        self.answers = list(kept)
        self._ask, self._tell, self._keep = ask, tell, keep
        self._next = 0
        self._drawings: list[list[str]] = []
        self._shown: list[list[str]] = []
        self._words: list[str] = []

    def run(self, questions: Callable[[Interview], T]) -> T:
        """Ask all questions and return what they come to.

        Raises
        ------
        SceneError
            If the answers end before the questions.
        """
        while True:
            self._next = 0
            self._words = []
            try:
                return questions(self)
            except _TakenBack:
                continue
            except EOFError:
                raise SceneError(
                    "questions",
                    "the answers ended before the questions; nothing was written",
                    "run the same command again to go on where you were, or give the room by options",
                ) from None

    @property
    def live(self) -> bool:
        """Whether the next question is really asked, not answered from what is known."""
        return self._next >= len(self.answers)

    def tell(self, words: str) -> None:
        """Say a line before the next question that is asked."""
        self._words.append(words)

    def picture(self, *drawings: list[str]) -> None:
        """Have drawings shown before the next question that is asked, those of them that were not shown last."""
        self._drawings = [lines for lines in drawings if lines]

    def question(self, words: str, read: Callable[[str], T], explained: str) -> T:
        """Ask until `read` takes the answer, and return what it makes of it.

        read: raises ValueError or SceneError for what is no answer.
        explained: what a "?" is answered with.
        """
        if self._next < len(self.answers):
            try:
                found = read(self.answers[self._next])
                self._next += 1
                self._words = []
                return found
            except (ValueError, SceneError):
                del self.answers[self._next :]  # kept by another version, or by hand
        wrong = 0
        while True:
            self._show()
            typed = " ".join(self._ask(f"{words}: ").split())
            if typed == EXPLAIN:
                for line in explained.splitlines():
                    self._say(f"  {line}")
                self._say('  "back" takes the last answer back; Ctrl-C stops, and the next run goes on from here.')
            elif typed.lower() == BACK:
                if not self.answers:
                    self._say("  This is the first question; there is nothing to take back.")
                    continue
                self.answers.pop()
                self._keep(self.answers)
                self._shown = []
                raise _TakenBack
            else:
                try:
                    found = read(typed)
                except (ValueError, SceneError) as fault:
                    wrong += 1
                    hint = ' Or type "back", if an answer before was wrong.' * (wrong == 2 and bool(self.answers))
                    self._say(f"  {sentence(fault)}{hint}")
                    continue
                self.answers.append(typed)
                self._keep(self.answers)
                self._next += 1
                return found

    def _show(self) -> None:
        changed = [lines for lines in self._drawings if lines not in self._shown]
        for lines in changed:
            for line in ["", *lines]:
                self._tell(line)
        if changed:
            self._tell("")
            self._shown = self._drawings
        for words in self._words:
            self._say(words)
        self._words = []

    def _say(self, words: str) -> None:
        """Say words in lines that a terminal does not break inside a word."""
        for line in words.splitlines():
            indent = " " * (len(line) - len(line.lstrip()))
            for part in textwrap.wrap(line, COLUMNS, subsequent_indent=indent, break_on_hyphens=False):
                self._tell(part)

    # Kinds of questions.

    def choice(
        self, words: str, known: Sequence[str], usual: str, explained: str, *, hidden: Sequence[str] = ()
    ) -> str:
        """Ask for one of a few words, or what Enter stands for; as many letters as tell it from the others do.

        hidden: words that will do as well, but are not listed.
        """

        def read(typed: str) -> str:
            answer = " ".join(typed.lower().replace("-", " ").split())
            if not answer or answer == (usual or "none"):
                return usual
            fitting = [word for word in (*known, *hidden) if word.lower() == answer]
            fitting = fitting or [word for word in known if word.lower().startswith(answer)]
            if len(fitting) == 1:
                return fitting[0]
            raise ValueError(f'"{typed}" is none of {", ".join(known)}')

        return self.question(f"{words} ({', '.join(known)}; Enter: {usual or 'none'})", read, explained)


def sentence(fault: Exception) -> str:
    """A fault as one sentence, without the words of options."""
    if isinstance(fault, SceneError):
        where = f"{fault.where.removeprefix('--')}: " if fault.where else ""
        return f"{where}{fault.found}; {fault.remedy}.".replace("--", "")
    return f"{str(fault).removesuffix('.')}."
