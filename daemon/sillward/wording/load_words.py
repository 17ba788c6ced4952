"""How long carrying takes, what is heavy, and how much a spray takes, in words."""

import math
from collections.abc import Sequence
from datetime import datetime, timedelta

from sillward.wording.push import Part, plain_part
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, Heavy, Load

SPARE_FILLING = 0.1
"""So much more than a filling still counts as one. Judgement: the estimate is no better."""

LONG_WALK = timedelta(minutes=30)
"""A push says when to begin with walks that take so long. Judgement: who looks at a message at its
hour, and begins soon, is not late with shorter ones."""


def with_begin(by: str, chore: Chore, now: datetime, voice: Voice) -> str:
    """Return the hour of a chore with when to begin: "by 17:50 (begin by 16:20, about 40 min)".

    by: the hour alone, which is all that is said where no size is known.
    """
    load, due_at = chore.load, chore.before
    if load is None or load.begin_by is None:
        return by
    begin = "" if due_at <= now else voice.by(load.begin_by, now)
    return voice.say("begin_by", by=by, begin=begin, minutes=minutes(load.takes))


def minutes(takes: timedelta) -> int:
    """Return how long a walk takes, in minutes; beyond ten in steps of five."""
    exact = takes / timedelta(minutes=1)
    return max(1, round(exact)) if exact < 10 else 5 * round(exact / 5)


def heavy(load: Load | None, voice: Voice) -> str:
    """Return a line on the plants that are heavy for one person; empty if none is."""
    if load is None or not load.heavy:
        return ""
    return voice.say("heavy", plants=[(one.plant, kilos(one)) for one in load.heavy])


def kilos(one: Heavy) -> int:
    """Return a weight as a whole number: the estimate is no better than that."""
    return round(one.kg)


def spray(chore: Chore, voice: Voice) -> str:
    """Return "about 2.1 L, 2 fillings of 1.5 L" of what is sprayed; empty if that is not known."""
    if chore.spray is None:
        return ""
    litres, filling = chore.spray.litres, chore.spray.filling
    count = 1 if filling is None else math.ceil(litres / filling - SPARE_FILLING)
    return voice.say("spray", litres=f"{litres:.2g}", fillings=count, filling=f"{filling or 0:g}")


def of_card(one: Heavy) -> str:
    """Return what a card says of a heavy plant."""
    return f"about {kilos(one)} kg: two people or a trolley"


def of_push(chores: Sequence[Chore], now: datetime, voice: Voice) -> Part:
    """Return when to begin with what is due first, if that is a long walk; else an empty part.

    What must be begun before the walk ahead of it is due belongs to the same walk. chores: what
    goes in.
    """
    takes, begins, until = timedelta(0), None, now
    for chore in sorted(chores, key=lambda chore: chore.before):
        load = chore.load
        if load is None or load.begin_by is None:
            continue
        if begins is not None and load.begin_by >= until:
            break
        begins = begins or load.begin_by
        takes, until = takes + load.takes, chore.before
    if begins is None or takes < LONG_WALK:
        return plain_part("")
    text = voice.say("long_walk", begin=voice.by(begins, now), minutes=minutes(takes))
    return Part((lambda _: text,), hours=(max(begins, now),), kept=True)
