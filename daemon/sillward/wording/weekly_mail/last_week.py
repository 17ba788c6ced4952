"""The review of the last week in words, for the text and the page of the weekly mail."""

from sillward.errors import one_line
from sillward.ledger.tables.diary import DiaryEntry
from sillward.ledger.week_review import CLEAR_BY_K, WeekReview
from sillward.wording import diary_words
from sillward.wording.voice import Voice

MAX_NOTED = 4
"""So much of what was noted is told. Judgement: two lines of a mail."""

MAX_NAME = 60
"""Characters of a plant's name, and of what was seen. Judgement: longer ones fill a line alone."""


def heading(review: WeekReview, voice: Voice) -> str:
    """Return "Last week, Thu 07 May to Wed 13 May"."""
    return voice.say("last_week", first=review.first, last=review.last)


def sentences(review: WeekReview, voice: Voice) -> list[str]:
    """Return the review in sentences: the orders, the forecast, then the false alarms and what was
    noted, if any."""
    orders = voice.say(
        "orders_behind",
        told=review.told,
        done=review.done,
        late=review.late,
        called_off=review.called_off,
        declined=review.declined,
        missed=review.missed,
    )
    sentences = [orders, _forecast(review, voice)]
    if review.false_alarms:
        sentences.append(voice.say("false_alarms", count=review.false_alarms, clear_k=CLEAR_BY_K))
    noted = [_noted(entry) for entry in review.seen if entry.kind in diary_words.EVENTS]
    if noted:
        shown, more = noted[:MAX_NOTED], max(0, len(noted) - MAX_NOTED)
        sentences.append(voice.say("diary_behind", noted=shown, noted_more=more))
    return sentences


def _noted(entry: DiaryEntry) -> tuple[str, str]:
    """Return a plant, and what was seen of it."""
    return one_line(entry.plant, MAX_NAME), one_line(diary_words.seen(entry), MAX_NAME)


def lines(review: WeekReview, voice: Voice) -> list[str]:
    """Return the review for a text: the heading, a line for each sentence and for each night."""
    nights = [
        voice.say(
            "night_behind",
            day=night.day,
            at_dusk_c=night.at_dusk_c,
            last_c=night.last_c,
            off_k=night.off_k,
            measured=night.measured,
        )
        for night in review.nights
    ]
    facts = [f"  {sentence}" for sentence in sentences(review, voice)]
    return [heading(review, voice).upper(), *facts, *(f"    {night}" for night in nights)]


def _forecast(review: WeekReview, voice: Voice) -> str:
    """Return how far the forecasts of the nights were off, on average and at worst."""
    sizes = [abs(night.off_k) for night in review.nights]
    worst = max(review.nights, key=lambda night: abs(night.off_k), default=None)
    return voice.say(
        "forecast_behind",
        nights=len(sizes),
        mean_k=sum(sizes) / len(sizes) if sizes else 0.0,
        worst_day=worst and worst.day,
        worst_k=worst.off_k if worst else 0.0,
        thermometer=review.thermometer,
    )
