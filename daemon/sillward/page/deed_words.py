"""The deeds of the log in words: who did what."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sillward.ledger.tables.confirmations import Answer
from sillward.ledger.tables.deeds import Deed
from sillward.service import (
    absences,
    accepted_limits,
    course_answers,
    damage,
    devices,
    diary,
    unharmed,
)
from sillward.wording.helper_list import span_in_words
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import ChoreKind

MAX_NAMES = 6
"""Plants that are named. Judgement: two lines of a phone."""

MAX_NAMES_OF_LAST = 3
"""The same in the line on what was done last. Judgement: it is read in passing."""

_LEFT_OUT = "left out, as you said: {plants}"
_LEFT_OUT_BY = "left out: {plants}"
"""A plant that was to be carried in: a decision, which does not say that it is warm enough."""

_DID = {
    "done": "{kind}, done: {plants}",
    "not needed": "{kind}, not needed: {plants}",
    "later": "{kind}, reminder put off to {until}: {plants}",
    "moved": "moved to {to}: {plants}",
    "taken back": "taken back ({answer}): {plants}",
    absences.BEGUN: "Away: {helper} will be told too, {days}",
    absences.ENDED: "Back: {helper} is no longer told",
    devices.BEGUN: "{phone} gets messages",
    devices.ENDED: "{phone} gets no more messages",
    course_answers.ENDED: "{course} is over for {plants}",
    course_answers.RESUMED: "{course} goes on for {plants}",
    diary.NOTED: "noted of {plants}: {seen}",
    diary.CORRECTED: "note of {plants} corrected: {seen}",
    diary.DELETED: "note of {plants} deleted: {seen}",
    damage.NO_DAMAGE: "looked at {plants}: no damage",
    unharmed.TAKEN_BACK: "{plants}: whether there is damage is open again",
    accepted_limits.ACCEPTED: "limits accepted for {plants}: {limits}",
    accepted_limits.TAKEN_BACK: "limits taken back for {plants}",
}
"""What was done, by the names of deeds; a deed of another name is told by that name."""


def line(deed: Deed, voice: Voice, most: int = MAX_NAMES) -> str:
    """Return "Inés: carry in, done: Blue basket and Grey curls".

    most: so many plants are named; only their number is given for 0.
    """
    about: Mapping[str, Any] = deed.about
    plants = [str(name) for name in about.get("plants", ())]
    until = about.get("until")
    facts = {
        "kind": voice.say("kind", name=about["kind"]) if "kind" in about else "",
        "plants": voice.names(plants, most),
        "until": voice.hour(datetime.fromisoformat(until)) if until else "",
        "to": about.get("to", ""),
        "answer": about.get("answer", ""),
        "helper": about.get("helper", ""),
        "phone": about.get("phone", ""),
        "seen": about.get("seen", ""),
        "course": about.get("course", ""),
        "limits": voice.retold(str(about.get("limits", ""))),
        "days": _days(about, voice),
    }
    form = _DID.get(deed.what)
    if deed.what == Answer.NOT_NEEDED and about.get("kind") == ChoreKind.CARRY_IN.value:
        form = _LEFT_OUT if deed.person is None else _LEFT_OUT_BY
    said = f"{deed.what}: {facts['plants']}" if form is None else form.format(**facts)
    return f"{deed.person}: {said[:1].lower()}{said[1:]}" if deed.person else capital(said)


def last(deed: Deed, left: Sequence[str], voice: Voice) -> str:
    """Return what was done last in few words, and what of it is left to do.

    "Carry in, done: 5 plants. Still to do: Old cattleya"
    left: the plants for which the same chore is still to do.
    """
    several = len(deed.about.get("plants", ())) > MAX_NAMES_OF_LAST
    told = line(deed, voice, 0 if several else MAX_NAMES_OF_LAST)
    if deed.what not in (Answer.DONE, Answer.NOT_NEEDED) or not left:
        return told
    return f"{told}. Still to do: {voice.names(left, MAX_NAMES_OF_LAST)}"


def _days(about: Mapping[str, Any], voice: Voice) -> str:
    """Return the days of an absence; empty for other deeds."""
    first, last = (str(about.get(name, "")) for name in ("first_day", "last_day"))
    if not (first and last):
        return ""
    return span_in_words((date.fromisoformat(first), date.fromisoformat(last)), voice)
