"""What is told when somebody else begins and ends to look after the plants."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from sillward.wording import helper_list
from sillward.wording.helper_list import HelperList, date_in_words, span_in_words
from sillward.wording.push import Message, shortened
from sillward.wording.voice import Voice

MAX_PART_BYTES = 2_500
"""Bytes of the list in one message that is no mail. Judgement: most services take 3 or 4 KB."""


def helper_begins(shown: HelperList, days: tuple[date, date], voice: Voice) -> Message:
    """Return what the helper is told at the beginning: the whole list."""
    title = voice.say("helper_begins", first_on=date_in_words(days[0], voice))
    return Message(title, helper_list.text(shown))


def in_parts(message: Message, voice: Voice) -> list[Message]:
    """Return a long message as several that services other than mail take, cut between lines."""
    bodies = list(_pieces(message.body))
    if len(bodies) == 1:
        return [message]
    say = voice.say
    return [
        replace(
            message,
            title=say("part_of", number=number, count=len(bodies), title=message.title),
            body=body,
        )
        for number, body in enumerate(bodies, 1)
    ]


def _pieces(body: str) -> Iterator[str]:
    """Yield the text in pieces of at most `MAX_PART_BYTES`, split between its paragraphs where
    possible."""
    piece = ""
    for paragraph in body.rstrip().split("\n\n"):
        joined = f"{piece}\n\n{paragraph}" if piece else paragraph
        if len(joined.encode()) <= MAX_PART_BYTES:
            piece = joined
            continue
        if piece:
            yield piece
        piece = ""
        for line in paragraph.split("\n"):
            longer = f"{piece}\n{line}" if piece else line
            if piece and len(longer.encode()) > MAX_PART_BYTES:
                yield piece
                longer = line
            piece = longer
    yield piece


def household_begins(
    person: str, days: tuple[date, date], voice: Voice, *, linked: bool = False
) -> Message:
    """Return what the household is told at the beginning: who is told too, and when.

    linked: whether there is a page, which has the list.
    """
    say = voice.say
    lines = [
        say("helper_is_told", span=span_in_words(days, voice), person=person),
        say("list_is_sent", person=person, linked=linked),
        say("told_as_before"),
    ]
    return shortened(say("household_begins", person=person), lines)


def helper_ends(voice: Voice) -> Message:
    """Return what the helper is told at the end."""
    return Message(voice.say("helper_ends"), voice.say("thank_you"))


def household_ends(person: str, voice: Voice) -> Message:
    """Return what the household is told at the end."""
    return Message(voice.say("household_ends", person=person), voice.say("yours_again"))
