"""What a command must know: from its options, else from questions where somebody sits at a terminal, else named all at once."""

from __future__ import annotations

import sys
from typing import Callable, Iterable, TypeVar

from pipeline.desk.stop import Stopped
from pipeline.errors import BadInput, Problem, did_you_mean

T = TypeVar("T")


class NotUsable(ValueError):
    """An answer that cannot be used. args: what is expected, what to do."""


class Asking:
    """Options and answers of one command.

    verb : its name, for messages
    can  : whether questions may be asked; None: where standard input is a terminal
    """

    def __init__(self, verb: str, can: bool | None = None):
        self.verb, self.can = verb, sys.stdin.isatty() if can is None else can
        self.problems: list[Problem] = []

    def get(self, option: str, given: str | None, question: str, read: Callable[[str], T], needed: bool = True, default: str = "", ask: bool = True, empty: str = "leave out") -> T | None:
        """The value of one option; None where it is not given and not needed, or cannot be used.

        option  : as typed, `--crs`
        read    : text to value; raises NotUsable
        default : what an empty answer, or no option and no terminal, stands for; empty: nothing
        ask     : False: never asked for
        empty   : what an empty answer does where the value is not needed, for the eye
        """
        if given is not None:
            try:
                return read(given)
            except NotUsable as wrong:
                self.problems.append(Problem(self.verb, None, option, repr(given), *wrong.args, code="option-not-allowed"))
                return None
        if self.can and ask:
            return self._asked(question, read, needed, default, empty)
        if default:
            return read(default)
        if needed:
            self.problems.append(Problem(self.verb, None, option, "nothing", question[0].lower() + question[1:], f"Give {option}, or run it in a terminal and answer.", code="option-missing"))
        return None

    def _asked(self, question: str, read: Callable[[str], T], needed: bool, default: str, empty: str) -> T | None:
        hint = f" [{default}]" if default else "" if needed else f" [empty: {empty}]"
        while True:
            print(f"{question}{hint}: ", end="", flush=True)
            try:
                line = sys.stdin.readline()
            except Stopped as stopped:  # nothing is written before the last answer: there is nothing to go on with
                print()
                stopped.said = "Stopped at a question; nothing was changed."
                raise
            if not line:
                print()
                raise BadInput([Problem(self.verb, None, None, "no answer", question[0].lower() + question[1:], "Nothing was made. Give it as an option, or run again and answer.", code="option-missing")])
            answer = line.strip() or default
            if not answer and not needed:
                return None
            try:
                if not answer:
                    raise NotUsable("an answer", "This one is needed.")
                return read(answer)
            except NotUsable as wrong:
                print(f"  Expected {wrong.args[0]}. {wrong.args[1]}".rstrip())

    def settle(self) -> None:
        """raises: BadInput with all that is missing or wrong so far"""
        if self.problems:
            raise BadInput(self.problems)


def one_of(words: Iterable[str]) -> Callable[[str], str]:
    words = tuple(words)

    def read(text: str) -> str:
        if text.lower() in words:
            return text.lower()
        raise NotUsable("one of " + ", ".join(words), f"Use one of these.{did_you_mean(text, words)}")

    return read


def cell(read: Callable[[str], object]) -> Callable[[str], str]:
    """A table column's own reader, for the text that goes into its cell."""
    from pipeline.tables import Bad

    def checked(text: str) -> str:
        try:
            read(text)
        except Bad as bad:
            raise NotUsable(*bad.args) from None
        return text

    return checked


def words(text: str) -> str:
    """Any text of one line."""
    if not text.strip() or "\n" in text:
        raise NotUsable("a text of one line", "Write it.")
    return text.strip()
