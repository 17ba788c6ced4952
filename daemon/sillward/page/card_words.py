"""What a card says: when and where, how it stands, why, and what its buttons say."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sillward.ledger import StoredChore
from sillward.wording import full_sheet, load_words, reason_phrases
from sillward.wording.mist_advice import feed_advice
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.planners.feeding import COURSE_RINSE
from sillward_rules.weather.uncertainty import MAX_SHOWN_CHANCE, percent

BRIEF = frozenset({ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE, ChoreKind.CARRY_OUT})
"""Chores of which one number tells why; each plant is shown with its limit."""

_GUARDED = frozenset({ChoreKind.COVER, ChoreKind.SECURE})
"""What is done to plants where they stand."""

MAX_ASKED = 2
"""Plants that a question names in its title. Judgement: what fits into two lines of a phone."""

_ASKS = {
    ChoreKind.CARRY_IN: ("It is in", "They are in"),
    ChoreKind.CARRY_OUT: ("It is out", "They are out"),
    ChoreKind.STAY_IN: ("It is in", "They are in"),
}
"""What the button of a chore says, of one plant and of several; all others are simply done."""

_MORE_WHILE_WET = "more while the crown is wet"
"""With which the origin of a limit ends that is higher than the plant's own."""


def title(chore: Chore, voice: Voice, *, last_night: bool) -> str:
    """Return "Carry in: 2 plants", or the question whether they went in last night."""
    count = voice.plants(len(chore.plants))
    if last_night:
        who = ", ".join(chore.plants) if len(chore.plants) <= MAX_ASKED else count
        was = "Were" if len(chore.plants) > 1 else "Was"
        if chore.kind is ChoreKind.COVER:
            return f"{was} {who} covered last night?"
        if chore.kind is ChoreKind.SECURE:
            return f"{was} {who} secured in time?"
        return f"Did {who} go in last night?"
    if chore.kind is ChoreKind.STAY_IN and chore.unconfirmed:
        return capital(voice.say("head_check", count=len(chore.plants)))
    of = f", {chore.what}" if chore.what else ""
    return f"{voice.say('kind', name=chore.kind.value)}{of}: {count}"


def asks(chore: Chore, *, last_night: bool) -> str:
    """Return what the button says by which a chore is done."""
    several = len(chore.plants) > 1
    if last_night and chore.kind in _GUARDED:
        return "They were" if several else "It was"
    if last_night:
        return "They went in" if several else "It went in"
    return _ASKS.get(chore.kind, ("Done", "Done"))[several]


def leaves(chore: Chore, *, last_night: bool) -> str:
    """Return what the button says by which a chore is not done at all."""
    if last_night and chore.kind in _GUARDED:
        return "They were not" if len(chore.plants) > 1 else "It was not"
    if chore.kind is not ChoreKind.CARRY_IN:
        return "Not needed"
    several = len(chore.plants) > 1
    if last_night:
        return "They stayed out" if several else "It stayed out"
    return "I leave them out" if several else "I leave it out"


def way(
    chore: Chore, now: datetime, voice: Voice, *, is_settled: bool, last_night: bool = False
) -> str:
    """Return when and where: "By 17:50, pergola to sunroom".

    is_settled: it is answered or over, and its hours are told as they were.
    """
    if last_night:
        moves = chore.kind is ChoreKind.CARRY_IN
        return capital(f"{chore.from_spot} to {chore.to_spot}" if moves else chore.from_spot)
    # An order that is overdue says so in its tag.
    chore = replace(chore, unconfirmed=(), overdue_since=None)
    if is_settled:
        chore = replace(chore, load=None)
    if is_settled or chore.kind is ChoreKind.STOP_WETTING:  # "after 15:10" in the past
        begins = chore.not_before or chore.before
        now = min(now, min(begins, chore.before) - timedelta(minutes=1))
    told = full_sheet.when(chore, now, voice)
    within = [reason.value for reason in chore.because if reason.value is not None]
    if chore.kind is ChoreKind.FLUSH and within:  # not at any time between its hours
        of = "salt" if chore.because[0].quantity == COURSE_RINSE else "feed"
        told = f"within {round(min(within))} min of the {of}, {told}"
    spray = "" if is_settled else load_words.spray(chore, voice)
    return capital(f"{told}; {spray}" if spray else told)


def answered(kept: StoredChore, voice: Voice) -> str:
    """Return how a chore was answered: "done 17:20 by Inés"; empty if it was not."""
    by = f" by {kept.done_by}" if kept.done_by else ""
    if kept.done_at is not None:
        return f"done {voice.hour(kept.done_at)}{by}"
    if kept.declined_at is None:
        return ""
    what = "left out" if kept.kind is ChoreKind.CARRY_IN else "not needed"
    return f"{what}, {kept.done_by or 'you'} said at {voice.hour(kept.declined_at)}"


def why(chore: Chore, now: datetime, voice: Voice) -> str:
    """Return the number that matters most: "Leaves cool to 4.0 °C by tomorrow 08:00"."""
    reason = reason_phrases.deciding_reason([chore])
    if reason.value is None:
        return voice.say("night_not_known")
    at = voice.clock_of_day(reason.at, now) if reason.at <= now else voice.clock(reason.at, now)
    facts = {
        "value": reason_phrases.number(reason, voice),
        "hour": at,
        "limit": reason_phrases.limit(reason, voice),
        "plant": reason.plant,
    }
    if chore.kind is ChoreKind.CARRY_OUT and not reason.above:
        return voice.say("warms", **facts)
    told = voice.say("why", quantity=reason.quantity, above=reason.above, chance="", **facts)
    if reason.chance is None or reason.chance >= MAX_SHOWN_CHANCE:
        return told
    return f"{told}: {voice.say('colder_chance', chance=percent(reason.chance))}"


def why_last_night(
    chore: Chore, low_c: float | None, until: datetime | None, now: datetime, voice: Voice
) -> str:
    """Return what to do with plants that nobody has confirmed to be in, now that it is day.

    low_c, until: how cold it got and when it is warm again, if that is known better than by the
        reasons of the chore.
    """
    if chore.kind is ChoreKind.SECURE:
        return "If not, look at them: the gusts are over"
    reasons = chore.because
    if low_c is None:
        known = [reason.value for reason in reasons if reason.quantity == "leaf temperature"]
        low_c = min((value for value in known if value is not None), default=None)
    if until is None:
        until = max((reason.until for reason in reasons if reason.until), default=None)
    fell = "may have been too cold" if low_c is None else f"fell to {voice.degrees(low_c)}"
    if chore.kind is ChoreKind.COVER or (until is not None and until <= now):
        until = None
    then = "check it" if until is None else f"take it in until {voice.hour(until)} and check it"
    left = "bare" if chore.kind is ChoreKind.COVER else "out"
    return f"Any left {left} {fell}: {then}"


def because(reason: Reason, chore: Chore, voice: Voice) -> str:
    """Return why a chore is there for a plant; its limit alone if the card says the rest."""
    if chore.kind not in BRIEF:
        if reason.value is None and reason.quantity == "leaf temperature":
            return voice.say("night_as_cold")  # the limit says nothing then
        return full_sheet.because(reason, chore, voice)
    if reason.limit is None or reason.value is None:  # a limit says nothing if nothing is known
        return ""
    origin, _, more = reason.origin.rpartition("; ")
    if more.endswith(_MORE_WHILE_WET):
        whose = reason_phrases.whose(replace(reason, origin=origin), voice)
        whose = f"{whose}; {voice.retold(more)}"
    else:
        whose = reason_phrases.whose(reason, voice)
    odds = reason_phrases.is_precaution(reason)
    return voice.say(
        "limit_of",
        limit=reason_phrases.limit(reason, voice),
        whose=whose,
        above=reason.above,
        hours=None,
        below_k=None,
        chance=reason_phrases.precaution(reason, voice) if odds else "",
    )


def of_misting(mist: Chore, feeds: Sequence[Chore], mixes: Mapping[str, str], voice: Voice) -> str:
    """Return which of the misted plants are fed with it, and how soon they are rinsed; or nothing.

    "Weak feed (not Blue basket), rinse each within 16 min"
    """
    return capital((feed_advice([mist], feeds, voice, mixes, brief=False) or "").removeprefix("; "))


def plants(chore: Chore, voice: Voice) -> Iterator[tuple[str, str]]:
    """Yield the name of each plant, why the chore is there for it, and whether it is heavy."""
    heavy = {} if chore.load is None else {one.plant: one for one in chore.load.heavy}
    for names, reason in chore.grounds:
        text = because(reason, chore, voice)
        for name in names:
            weighs = load_words.of_card(heavy[name]) if name in heavy else ""
            yield name, "; ".join(filter(None, (text, weighs)))
