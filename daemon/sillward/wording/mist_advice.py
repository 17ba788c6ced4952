"""What to mist with: feed and the time until its rinse, or plain water."""

from collections.abc import Sequence

from sillward.wording.chore_phrases import plants_of
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, Reason

MAX_UNFED_NAMED = 2
"""Plants that are not fed are named up to this number. Judgement: more are longer than the rest of
the line."""


def mist_advice(mist: Chore, feeds: Sequence[Chore], voice: Voice, *, brief: bool = False) -> str:
    """Return what to mist with, or how soon plain water is gone; empty if nothing is to be said."""
    advice = feed_advice([mist], feeds, voice, brief=brief)
    if advice is not None:
        return advice
    reason = min(mist.because, key=_minutes)
    # Its reason may be about a later moment: within its own window the film lasts.
    short_lived = reason.limit is not None and _minutes(reason) < reason.limit
    if not short_lived or reason.at > mist.before or reason.value is None:
        return ""
    return voice.say("plain_advice", gone_min=round(reason.value), brief=brief)


def feed_advice(
    mistings: Sequence[Chore], feeds: Sequence[Chore], voice: Voice, *, brief: bool
) -> str | None:
    """Return which of the misted plants are fed and how soon to rinse them; None if none is."""
    fed = [feed for feed in feeds if any(feed.goes_with(mist) for mist in mistings)]
    if not fed:
        return None
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


def _minutes(reason: Reason) -> float:
    """Return how long a film lasts [min]; infinite if it is not known."""
    return float("inf") if reason.value is None else reason.value
