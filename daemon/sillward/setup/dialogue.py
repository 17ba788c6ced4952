"""A dialogue: questions one after the other, which can be gone back through.

The questions are written as generators, in the order in which they are asked, and what is asked may
depend on what was answered. To go back, the generator is run again from its beginning with the
answers that stay. What has an effect or takes long is a `Deed`, whose outcome is kept like an
answer, so that going back does it neither twice nor again.

This module is pure but for the deeds it is given.
"""

from collections.abc import Callable, Generator, Hashable
from dataclasses import dataclass, field
from typing import Any, Generic, NamedTuple, TypeAlias, TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Question(Generic[T]):
    """A question.

    Two questions are the same if all that a person sees of them is, and what they are about: then
    an earlier answer holds for the later one.

    read: returns what an answer means; raises ValueError with what is wrong with it.
    default: what Enter alone answers.
    enter: what Enter alone means where there is no default ("no more"); None if something must be
        answered.
    above: lines before the question.
    about: what it is about, where its words do not say it.
    subject: the same in words, for the list of answers.
    says: returns what an answer stands for, for that list; None where it is what was typed.
    is_secret: whether the answer must not be seen.
    """

    text: str
    read: Callable[[str], T] = field(compare=False)
    default: str = ""
    enter: str | None = None
    above: tuple[str, ...] = ()
    about: Hashable = None
    subject: str = field(default="", compare=False)
    says: Callable[[T], str] | None = field(default=None, compare=False)
    is_secret: bool = False


@dataclass(frozen=True, slots=True)
class Deed(Generic[T]):
    """Something that is done between two questions, such as a look-up.

    about: of what its outcome depends.
    waiting: what is waited for, in words.
    """

    run: Callable[[], T] = field(compare=False)
    about: Hashable
    waiting: str


Step: TypeAlias = Question[Any] | Deed[Any]
Dialogue: TypeAlias = Generator[Step, Any, T]


def ask(question: Question[T]) -> Dialogue[T]:
    """Ask a question, and return its answer."""
    answer: T = yield question
    return answer


def do(deed: Deed[T]) -> Dialogue[T]:
    """Do something, and return its outcome."""
    outcome: T = yield deed
    return outcome


class Taken(NamedTuple):
    """A question that was answered: what was typed, and what it means."""

    step: Question[Any]
    typed: str
    value: Any


class Done(NamedTuple):
    """A deed that was done, and its outcome."""

    step: Deed[Any]
    value: Any


Past: TypeAlias = Taken | Done


class Conversation(Generic[T]):
    """A dialogue under way: the question that is open, what was answered, and the way back.

    perform: does a deed, and may tell meanwhile what is waited for.
    """

    def __init__(
        self,
        begin: Callable[[], Dialogue[T]],
        perform: Callable[[Deed[Any]], object] = lambda deed: deed.run(),
    ) -> None:
        self._begin = begin
        self._perform = perform
        self._past: list[Past] = []
        self._earlier: list[Past] = []
        """What was answered and done after the question to which was gone back."""
        self._keeps_earlier = False
        """Whether questions that were answered before are not asked again."""
        self.question: Question[Any] | None = None
        """The question that is open; None at the end."""
        self.result: T | None = None
        """What the dialogue returned at its end."""
        self._rerun()

    @property
    def offered(self) -> str:
        """What Enter alone answers to the open question: what was answered before, or its default.

        A secret is not offered again, since nobody would see what they take.
        """
        question = self.question
        if question is None:
            return ""
        earlier = None if question.is_secret else self._earlier_answer(question)
        return (earlier.typed if earlier else "") or question.default

    @property
    def answered(self) -> list[Taken]:
        """The questions that were answered, with what was typed."""
        return [taken for taken in self._past if isinstance(taken, Taken)]

    def take(self, typed: str, value: Any) -> None:
        """Take an answer to the open question, and go on.

        value: what it means, as the question's `read` has returned it.
        """
        if self.question is not None:
            self._pass(Taken(self.question, typed, value))
            self._go_on(value)

    def back(self) -> bool:
        """Go back to the question before the open one; False if that is the first."""
        questions = self._questions()
        if not questions:
            return False
        self._return_to(questions[-1])
        return True

    def change(self, number: int) -> None:
        """Ask one of the `answered` questions again, and then only what follows from it.

        The last question is asked again in any case.
        """
        questions = self._questions()
        del self._past[questions[-1] :]
        self._return_to(questions[number])
        self._keeps_earlier = True

    # -- steps

    def _questions(self) -> list[int]:
        """Return where among what is past the questions are."""
        return [index for index, past in enumerate(self._past) if isinstance(past, Taken)]

    def _return_to(self, index: int) -> None:
        self._earlier = self._past[index:] + self._earlier
        del self._past[index:]
        self._rerun()

    def _rerun(self) -> None:
        """Run the dialogue from its beginning with what is past, up to the next question."""
        self._keeps_earlier = False
        self._dialogue = self._begin()
        self.result = None
        value = None
        for past in self._past:
            self._dialogue.send(value)
            value = past.value
        self._go_on(value)

    def _go_on(self, value: Any) -> None:
        """Go on with the value of the last step, to the next question that must be asked."""
        self.question = None
        try:
            while True:
                step = self._dialogue.send(value)
                past: Past | None
                if isinstance(step, Deed):
                    past = self._redone(step)
                else:
                    past = self._kept(step)
                    if past is None:
                        self.question = step
                        return
                self._pass(past)
                value = past.value
        except StopIteration as end:
            self.result = end.value

    def _redone(self, deed: Deed[Any]) -> Done:
        """Return a deed with its outcome: the one of before if it is the same."""
        index = self._found_earlier(deed)
        return Done(deed, self._perform(deed) if index is None else self._earlier[index].value)

    def _kept(self, question: Question[Any]) -> Taken | None:
        """Return an earlier answer that still holds; None if the question must be asked."""
        earlier = self._earlier_answer(question)
        if earlier is None or not self._keeps_earlier:
            return None
        try:
            return Taken(question, earlier.typed, question.read(earlier.typed))
        except ValueError:  # it means nothing any more, after what was changed before it
            return None

    def _earlier_answer(self, question: Question[Any]) -> Taken | None:
        index = self._found_earlier(question)
        earlier = None if index is None else self._earlier[index]
        return earlier if isinstance(earlier, Taken) else None

    def _found_earlier(self, step: Step) -> int | None:
        """Return where among the earlier steps one is that is the same; None for nowhere."""
        return next((index for index, past in enumerate(self._earlier) if past.step == step), None)

    def _pass(self, past: Past) -> None:
        """Note a step as past; what was before it earlier is then past as well."""
        index = self._found_earlier(past.step)
        if index is not None:
            del self._earlier[: index + 1]
        self._past.append(past)
