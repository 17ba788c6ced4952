"""What `sillward damage --json` prints."""

from typing import Any

from sillward.ledger.tables.diary import DiaryEntry
from sillward.service.inquest import Inquest, YearOfNights
from sillward.service.limit_news import LimitNews
from sillward.wording import salt_words
from sillward_rules.inquest import ColdNight, HotDay, LateFeed
from sillward_rules.plants.pot_water import PotWater


def document(
    inquest: Inquest,
    entry: DiaryEntry | None,
    news: LimitNews | None,
    year: YearOfNights | None,
) -> dict[str, Any]:
    """Return the inquest as plain types, with all suspects and nights."""
    kept = inquest.kept_in
    return {
        "schema": 1,
        "plant": inquest.plant.name,
        "seen": None if entry is None else inquest.seen.isoformat(),
        "what": None if entry is None else entry.what,
        "amount": None if entry is None else entry.amount,
        "suspects": [
            {
                "cause": suspect.cause.value,
                "weight": round(suspect.weight, 3),
                "likely": suspect.is_likely,
                **_event(suspect.event),
            }
            for suspect in inquest.suspects
        ],
        "nights": [_event(night) for night in inquest.nights],
        "unknown_nights": inquest.unknown,
        **salt_words.document(inquest.salt),
        **_water(inquest.water),
        "kept_in": None
        if kept is None
        else {
            "expected_c": _rounded(kept.told_c),
            "limit_c": kept.limit_c,
            "ordered": kept.ordered,
            "confirmed": kept.confirmed,
        },
        "learned": None if news is None else news_document(news, year),
    }


def _water(water: PotWater | None) -> dict[str, Any]:
    if water is None:
        return {}
    left = {"share": round(water.share, 2), "sd": round(water.sd, 2), "at": water.at.isoformat()}
    return {"pot": left}


def news_document(news: LimitNews, year: YearOfNights | None = None) -> dict[str, Any]:
    """Return what was learned as plain types."""
    return {
        "prior": {"mean_c": _rounded(news.prior.mean_c), "sd_k": _rounded(news.prior.sd_k)},
        "after": {"mean_c": _rounded(news.after.mean_c), "sd_k": _rounded(news.after.sd_k)},
        "damaged": news.damaged,
        "unharmed": news.unharmed,
        "counted": news.counted,
        "others": news.others,
        "because": news.because,
        "proposed": {
            change.name: {"was": change.was, "value": change.value} for change in news.changes
        },
        "nights_of_last_year": None
        if year is None
        else {
            "known": year.nights,
            "under": {f"{limit:g}": count for limit, count in year.under.items()},
        },
    }


def _event(event: ColdNight | HotDay | LateFeed) -> dict[str, Any]:
    if isinstance(event, LateFeed):
        return {
            "day": event.day.isoformat(),
            "done_at": event.done_at.isoformat(),
            "due": event.due.isoformat(),
        }
    known: dict[str, Any] = {
        "day": event.day.isoformat(),
        "spot": event.spot,
        "limit_c": event.limit_c,
        "hours": _rounded(event.hours),
        "harm": round(event.harm, 3),
    }
    if isinstance(event, HotDay):
        return known | {"high_c": _rounded(event.high_c)}
    return known | {
        "spot_known": event.is_known,
        "low_c": _rounded(event.low_c),
        "sd_k": _rounded(event.sd_k),
        "read": event.is_read,
        "dose": round(event.dose, 3),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
