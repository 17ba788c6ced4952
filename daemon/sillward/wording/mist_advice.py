"""What to mist with: feed and the time until its rinse, or plain water."""

from collections.abc import Mapping, Sequence

from sillward.wording.chore_phrases import plants_of
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Reason

GIVEN = (ChoreKind.FEED, ChoreKind.COURSE)
"""What plants are given with a misting besides water."""

ALL_NAMED = 8
"""Plants that are named of those that get something by its name, where there is room. Judgement: a
line on a phone holds no more."""

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
    most: int = ALL_NAMED,
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
    most: int = ALL_NAMED,
) -> str | None:
    """Return which of the misted plants are fed and how soon to rinse them; None if none is.

    mixes: what to weigh out for each feed and course that has a name. most: how many plants are
        named that get one of these.
    """
    fed = [feed for feed in feeds if any(feed.goes_with(mist) for mist in mistings)]
    if not fed:
        return None
    if any(feed.what for feed in fed):
        crowded = brief and len(mistings) > 1
        return _advice_by_name(mistings, fed, voice, mixes, None if crowded else most)
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
    most: int | None,
) -> str:
    """Return for each feed and course which of the misted plants get it, and what follows.

    most: None for as few words as possible.
    """
    misted = list(dict.fromkeys(name for mist in mistings for name in mist.plants))
    # Where there is little room, salts are told with the feeds: one rinse in time for all.
    together = most is None or (
        most <= MAX_UNFED_NAMED and any(feed.kind is ChoreKind.FEED for feed in fed)
    )
    feeds: list[tuple[str, str]] = []
    salts: list[tuple[str, str, int]] = []
    for kind, what in dict.fromkeys((feed.kind, feed.what) for feed in fed):
        same = [feed for feed in fed if (feed.kind, feed.what) == (kind, what)]
        plants = [name for name in misted if name in plants_of(same)]
        named = voice.plants(len(plants)) if most is None else voice.names(plants, most)
        who = "" if len(plants) == len(misted) else named
        if kind is ChoreKind.FEED or together:
            feeds.append((what or voice.say("weak_feed"), who))
        else:
            reasons = [reason for feed in same for reason in feed.because]
            # One time for all: when all have taken it up, unless it would burn some before.
            after = min(max(reason.limit or 0.0 for reason in reasons), *map(_minutes, reasons))
            salts.append((weighed(what, mixes), who, round(after)))
    rinsed = [feed for feed in fed if together or feed.kind is ChoreKind.FEED]
    rinse_min = min(
        (_minutes(reason) for feed in rinsed for reason in feed.because), default=float("inf")
    )
    return voice.say(
        "given_advice",
        given=feeds,
        salts=salts,
        rinse_min=round(rinse_min) if rinse_min < float("inf") else None,
    )


def weighed(what: str, mixes: Mapping[str, str]) -> str:
    """Return how strong a course is, "0.5 g/L Epsom salt"; its name if that is not known."""
    return mixes[what].partition(" (")[0] if what in mixes else what


def _minutes(reason: Reason) -> float:
    """Return how long a film lasts [min]; infinite if it is not known."""
    return float("inf") if reason.value is None else reason.value
