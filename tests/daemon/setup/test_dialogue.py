"""Dialogues: going back, changing an answer, and what is done between questions."""

from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.setup.dialogue import Conversation, Deed, Dialogue, Question, ask, do


@dataclass
class Trip:
    """A dialogue with a deed and a question that depends on an answer; what was looked up."""

    looked_up: list[str] = field(default_factory=list)

    def look_up(self, town: str) -> int:
        self.looked_up.append(town)
        return len(town)

    def begin(self) -> Dialogue[tuple[str, int, str]]:
        town = yield from ask(Question("Town", str))
        length = yield from do(Deed(lambda: self.look_up(town), town, "looking"))
        height = yield from ask(Question("Height", int, str(length)))
        if height > 50:
            yield from ask(Question("Really", str, "yes", about=town))
        name = yield from ask(Question("Name", str, enter="none"))
        yield from ask(Question("Write it", str, "write"))
        return town, height, name


def take(conversation: Conversation[tuple[str, int, str]], *typed: str) -> None:
    """Answer the open questions in turn."""
    for each in typed:
        question = conversation.question
        assert question is not None
        answer = each or conversation.offered
        conversation.take(answer, question.read(answer))


def opened(conversation: Conversation[tuple[str, int, str]]) -> tuple[str, str]:
    """The open question, and what Enter alone answers to it."""
    assert conversation.question is not None
    return conversation.question.text, conversation.offered


def test_it_ends_with_what_was_answered() -> None:
    conversation = Conversation(Trip().begin)

    take(conversation, "Oslo", "", "Ida", "")

    assert conversation.question is None
    assert conversation.result == ("Oslo", 4, "Ida")


def test_back_offers_what_was_answered_and_looks_nothing_up_again() -> None:
    trip = Trip()
    conversation = Conversation(trip.begin)
    take(conversation, "Oslo", "12", "Ida")

    assert conversation.back()
    assert opened(conversation) == ("Name", "Ida")
    assert conversation.back()
    assert opened(conversation) == ("Height", "12")
    assert conversation.back()
    assert opened(conversation) == ("Town", "Oslo")
    assert not conversation.back()
    take(conversation, "", "", "", "")

    assert conversation.result == ("Oslo", 12, "Ida")
    assert trip.looked_up == ["Oslo"]


def test_what_an_answer_was_offered_for_is_offered_anew_after_another_answer() -> None:
    trip = Trip()
    conversation = Conversation(trip.begin)
    take(conversation, "Oslo", "12")
    conversation.back()
    conversation.back()

    take(conversation, "Turin")

    assert trip.looked_up == ["Oslo", "Turin"]
    assert opened(conversation) == ("Height", "5")


def test_a_change_asks_only_for_what_follows_from_it() -> None:
    trip = Trip()
    conversation = Conversation(trip.begin)
    take(conversation, "Oslo", "12", "Ida", "")

    conversation.change(1)
    assert opened(conversation) == ("Height", "12")
    take(conversation, "99")
    assert opened(conversation) == ("Really", "yes")
    take(conversation, "")
    assert opened(conversation) == ("Write it", "write")
    take(conversation, "")

    assert conversation.result == ("Oslo", 99, "Ida")
    assert trip.looked_up == ["Oslo"]
    assert [taken.step.text for taken in conversation.answered] == [
        "Town", "Height", "Really", "Name", "Write it",
    ]  # fmt: skip


def test_an_answer_that_means_nothing_any_more_is_asked_for_again() -> None:
    def begin() -> Dialogue[list[str]]:
        names: list[str] = []

        def read(typed: str) -> str:
            if typed in names:
                raise ValueError
            return typed

        for index in range(2):
            names.append((yield from ask(Question("Name", read, about=index))))
        yield from ask(Question("Write it", str, "write"))
        return names

    conversation = Conversation(begin)
    for typed in ("Ida", "Ole", "write"):
        conversation.take(typed, typed)

    conversation.change(0)
    conversation.take("Ole", "Ole")

    assert conversation.question is not None
    assert (conversation.question.text, conversation.question.about) == ("Name", 1)


def test_a_secret_is_not_offered_again() -> None:
    conversation = Conversation(
        lambda: ask(Question("Secret", str, is_secret=True)),
    )
    conversation.take("abc", "abc")
    assert conversation.back()

    assert conversation.offered == ""


@pytest.mark.parametrize("typed", ["x", ""])
def test_what_cannot_be_read_leaves_the_question_open(typed: str) -> None:
    conversation = Conversation(Trip().begin)
    take(conversation, "Oslo")
    question = conversation.question

    assert question is not None
    with pytest.raises(ValueError, match="invalid literal"):
        question.read(typed)
    assert conversation.question is question


@given(st.lists(st.sampled_from(["back", "enter", "60", "7"]), max_size=25))
def test_however_one_goes_back_the_answers_in_force_count(actions: list[str]) -> None:
    conversation = Conversation(Trip().begin)
    for action in actions:
        if conversation.question is None:
            conversation.change(0)
        elif action == "back":
            conversation.back()
        else:
            take(conversation, conversation.offered or "3" if action == "enter" else action)
    while conversation.question is not None:
        take(conversation, conversation.offered or "3")

    again = Conversation(Trip().begin)
    take(again, *(taken.typed for taken in conversation.answered))

    assert again.question is None
    assert again.result == conversation.result
