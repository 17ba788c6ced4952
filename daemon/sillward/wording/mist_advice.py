"""What to mist with: feed and the time until its rinse, or plain water."""

from collections.abc import Mapping, Sequence

from sillward.wording.chore_phrases import plants_of
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Reason

GIVEN = (ChoreKind.FEED, ChoreKind.COURSE)
"""What plants are given with a misting besides water."""

MAX_UNFED_NAMED = 2
"""Plants that are not fed are named up to this number. Judgement: more are longer than the rest of
the line."""


def mist_advice(
    mist: Chore,
    feeds: Sequence[Chore],
    voice: Voice,
    mixes: Mapping[str, str],
    *,
    brief: bool = False,
    most: int = MAX_UNFED_NAMED,
) -> str:
    """Return what to mist with, or how soon plain water is gone; empty if nothing is to be said.

    feeds: feeds and courses. mixes, most: as in `feed_advice`.
    """
    advice = feed_advice([mist], feeds, voice, mixes, brief=brief, most=most)
    if advice is not None:
        return advice
    reason = min(mist.because, key=_minutes)
    # Its reason may be about a later moment: within its own window the film lasts.
    short_lived = reason.limit is not None and _minutes(reason) < reason.limit
    if not short_lived or reason.at > mist.before or reason.value is None:
        return ""
    return voice.say("plain_advice", gone_min=round(reason.value), brief=brief)


def feed_advice(
    mistings: Sequence[Chore],
    feeds: Sequence[Chore],
    voice: Voice,
    mixes: Mapping[str, str],
    *,
    brief: bool,
    most: int = MAX_UNFED_NAMED,
) -> str | None:
    """Return which of the misted plants are fed and how soon to rinse them; None if none is.

    mixes: what to weigh out for each feed and course that has a name. most: how many plants are
        named that get one of these.
    """
    fed = [feed for feed in feeds if any(feed.goes_with(mist) for mist in mistings)]
    if not fed:
        return None
    if any(feed.what for feed in fed):
        return _advice_by_name(mistings, fed, voice, mixes, 0 if brief else most)
    driest = min((reason for mist in mistings for reason in mist.because), key=_minutes)
    misted = [name for mist in mistings for name in mist.plants]
    plants = plants_of(fed) & set(misted)
    rinse_min = min(_minutes(reason) for feed in fed for reason in feed.because)
    without = [name for name in misted if name not in plants]
    return voice.say(
        "feed_advice",
        rinse_min=round(rinse_min) if rinse_min < float("inf") else None,
        fed=len(plants) if without else 0,
        without=", ".join(without) if len(without) <= MAX_UNFED_NAMED else "",
        salt_min=None if driest.value is None else round(driest.value),
        hour=voice.hour(driest.at),
        brief=brief,
    )


def _advice_by_name(
    mistings: Sequence[Chore],
    fed: Sequence[Chore],
    voice: Voice,
    mixes: Mapping[str, str],
    most: int,
) -> str:
    """Return for each feed and course which of the misted plants get it, and what follows."""
    misted = list(dict.fromkeys(name for mist in mistings for name in mist.plants))
    told = []
    for kind, what in dict.fromkeys((feed.kind, feed.what) for feed in fed):
        same = [feed for feed in fed if (feed.kind, feed.what) == (kind, what)]
        plants = [name for name in misted if name in plants_of(same)]
        reasons = [reason for feed in same for reason in feed.because]
        within = min(map(_minutes, reasons))
        after = max((reason.limit or 0.0 for reason in reasons), default=0.0)
        told.append(
            voice.say(
                "given_advice",
                what=weighed(what, mixes)
                if kind is ChoreKind.COURSE
                else what or voice.say("weak_feed"),
                who="" if len(plants) == len(misted) else voice.names(plants, most),
                rinse_min=round(within) if within < float("inf") else None,
                after_min=round(after) if kind is ChoreKind.COURSE else None,
            )
        )
    return "".join(told)


def weighed(what: str, mixes: Mapping[str, str]) -> str:
    """Return how strong a course is, "0.5 g/L Epsom salt"; its name if that is not known."""
    return mixes[what].partition(" (")[0] if what in mixes else what


def _minutes(reason: Reason) -> float:
    """Return how long a film lasts [min]; infinite if it is not known."""
    return float("inf") if reason.value is None else reason.value
