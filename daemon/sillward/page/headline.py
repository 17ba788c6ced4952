"""What stands above all that is to do: the most pressing of it in half a line."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from sillward.page.cards import Card, Group
from sillward.wording import chore_phrases
from sillward.wording.short_sheet.morning import heads_of_day
from sillward.wording.short_sheet.sheet_writer import title_of
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import URGENT, Chore, ChoreKind
from sillward_rules.remark import ForecastElsewhere, ForecastOld, NoShelter, Remark, nothing_known

_ORDERS = (ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE)
_GUARDS = (
    ChoreKind.MOVE,
    ChoreKind.SHADE,
    ChoreKind.DAMP_DOWN,
    ChoreKind.WATER,
    ChoreKind.LEACH,
)
_LESS_URGENT = (ChoreKind.FEED, ChoreKind.COURSE, ChoreKind.FLUSH)


def headline(
    shown: Sequence[Card],
    remarks: Sequence[Remark],
    now: datetime,
    voice: Voice,
    *,
    is_blind: bool,
) -> str:
    """Return what is to be done first, as the title of a message has it.

    is_blind: whether there is no forecast by which a night can be judged.
    """
    open_ = [card for card in shown if card.is_open]
    to_do = [card.chore for card in open_ if not card.is_question and card.group is not Group.KNOW]
    heads = [
        *_heads_of_orders(to_do, now, voice),
        *_heads_of_the_night(open_, remarks, voice),
    ]
    if is_blind:
        heads.append(_no_forecast(remarks))
    asked = _asked(open_, voice)
    if asked and not any(chore.kind in URGENT for chore in to_do):
        return asked
    return title_of(heads) or _of_the_day(to_do, now, voice) or "Nothing is urgent"


def is_about_forecast(remark: Remark) -> bool:
    """Whether a remark says that no forecast tells how cold it gets."""
    if isinstance(remark, ForecastOld):
        return remark.expired
    return isinstance(remark, ForecastElsewhere) or nothing_known(remark)


def _heads_of_orders(to_do: Sequence[Chore], now: datetime, voice: Voice) -> Iterator[str]:
    for kind in _ORDERS:
        orders = [chore for chore in to_do if chore.kind is kind]
        if orders:
            yield chore_phrases.head_of(orders, now, voice)


def _heads_of_the_night(
    open_: Sequence[Card], remarks: Sequence[Remark], voice: Voice
) -> Iterator[str]:
    """Yield what else there is about plants that may get too cold tonight."""
    unsure = {
        name
        for card in open_
        if card.chore.kind is ChoreKind.STAY_IN and not card.is_question
        for name in card.chore.unconfirmed
    }
    if unsure:
        yield voice.say("head_check", count=len(unsure))
    homeless = {
        name for remark in remarks if isinstance(remark, NoShelter) for name in remark.plants
    }
    if homeless:
        yield voice.say("head_no_shelter", count=len(homeless))


def _no_forecast(remarks: Sequence[Remark]) -> str:
    is_old = any(isinstance(remark, ForecastOld) for remark in remarks)
    return f"{'the forecast is too old' if is_old else 'no forecast'}: treat tonight as cold"


def _asked(open_: Sequence[Card], voice: Voice) -> str:
    """Return the question about orders that are over; empty if there are none."""
    asked = [card.chore for card in open_ if card.is_question]
    count = voice.plants(len(chore_phrases.plants_of(asked)))
    if any(chore.kind in (ChoreKind.COVER, ChoreKind.SECURE) for chore in asked):
        return f"What became of {count}?"
    return f"Did {count} go in last night?" if asked else ""


def _of_the_day(to_do: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """Return what the day asks for first; empty if nothing."""
    out = [chore for chore in to_do if chore.kind is ChoreKind.CARRY_OUT]
    mistings = [chore for chore in to_do if chore.kind is ChoreKind.MIST]
    timed = list(heads_of_day(out, mistings, now, voice))
    for kind in _GUARDS:
        chores = [chore for chore in to_do if chore.kind is kind]
        if chores:
            first = max(now, min(chore.before for chore in chores))
            timed.append((first, chore_phrases.head_of(chores, now, voice)))
    heads = [head for _, head in sorted(timed, key=lambda head: head[0])]
    for kind in _LESS_URGENT if not heads else ():
        chores = [chore for chore in to_do if chore.kind is kind]
        if chores:
            by = voice.by(min(chore.before for chore in chores), now)
            count = chore_phrases.count_of(chores)
            heads.append(voice.say("head_asked_for", kind=kind.value, by=by, count=count))
    return capital(heads[0]) if heads else ""  # more is not read in large letters
