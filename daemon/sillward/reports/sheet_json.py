"""What `sillward sheet --json` prints: a document of schema 1, with times in the site's zone."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from sillward.reports.json_encoding import iso, plain
from sillward.wording.mist_advice import GIVEN
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.planners.outlook import DayAhead, Outlook
from sillward_rules.remark import Remark
from sillward_rules.sheet import Sheet
from sillward_rules.weather.site import Site

SCHEMA = 1


def sheet_document(sheet: Sheet, site: Site) -> dict[str, Any]:
    """Return a sheet as plain types."""
    forecast: dict[str, Any] = {"source": sheet.source}
    if sheet.issued_at is not None:
        forecast["issued"] = iso(sheet.issued_at, site)
    forecast["fetched"] = iso(sheet.fetched_at, site)
    forecast["age_minutes"] = max(0, int(sheet.age.total_seconds() // 60))
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "round": sheet.round.value,
        "at": iso(sheet.at, site),
        "site": sheet.site,
        "forecast": forecast,
        "chores": [chore_document(chore, site) | _water(chore, sheet) for chore in sheet.chores],
        "warnings": [*_texts(sheet.warnings, Voice(site)), *map(str, sheet.assumptions)],
    }
    if sheet.outlook is not None:
        document["outlook"] = outlook_document(sheet.outlook, site)
    return document


def _texts(remarks: Iterable[Remark], voice: Voice) -> list[str]:
    """Return remarks in our own words."""
    return [voice.remark(remark) for remark in remarks]


def _water(chore: Chore, sheet: Sheet) -> dict[str, str]:
    """Return what a wetting is done with; nothing for other chores."""
    if chore.kind is ChoreKind.FEED:
        mix = sheet.mix_of(chore)
        return {"with": f"{chore.what or 'feed'}, {mix}" if mix else chore.what or "weak feed"}
    if chore.kind is ChoreKind.MIST:
        given = [other for other in sheet.chores if other.kind in GIVEN and chore.goes_with(other)]
        names = dict.fromkeys(other.what or "feed" for other in given)
        return {"with": ", ".join(names) or "plain water"}
    if chore.kind is ChoreKind.LEACH and chore.what:
        return {"with": f"{chore.what} water"}
    if chore.what:  # a course, or a pot with something in its water
        return {"with": ", ".join(filter(None, (chore.what, sheet.mix_of(chore))))}
    plain = chore.kind in (ChoreKind.FLUSH, ChoreKind.WATER, ChoreKind.LEACH)
    return {"with": "plain water"} if plain else {}


def outlook_document(outlook: Outlook, site: Site) -> dict[str, Any]:
    """Return the week ahead as plain types."""
    voice = Voice(site)
    return {
        "trips": outlook.trips,
        "turn": None if outlook.turn is None else voice.remark(outlook.turn),
        "season": None if outlook.season is None else voice.remark(outlook.season),
        "spells": _texts(outlook.spells, voice),
        "dark": _texts(outlook.dark, voice),
        "resting": _texts(outlook.resting, voice),
        "watering": [
            {"plants": list(plants), "days": [str(day) for day in on]}
            for plants, on in outlook.watering
        ],
        "nights": [
            {
                "day": str(night.day),
                "lows": {spot: plain(low) for spot, low in night.lows.items()},
                "plants_in": list(night.plants_in),
                "judged": night.judged,
                "chance": night.chance,
            }
            for night in outlook.nights
        ],
        "days": [
            {
                "day": str(day.day),
                "high": plain(day.high_c),
                "humidity_low": plain(day.humidity_low_pct),
                "mistings": day.mistings,
                "misted_plants": day.misted_plants,
                "others": {kind.value: count for kind, count in day.others},
                "fed_plants": day.fed,
                **_by_name(day),
            }
            for day in outlook.days
        ],
    }


def _by_name(day: DayAhead) -> dict[str, Any]:
    """Return how many plants get each feed and course that has a name, where there are any."""
    counts = {what: count for what, count in (*day.feeds, *day.courses) if what}
    return {"given": counts} if counts else {}


def chore_document(chore: Chore, site: Site) -> dict[str, Any]:
    """Return a chore as plain types."""
    return {
        "id": chore.id,
        "chore": chore.kind.value,
        **({"what": chore.what} if chore.what else {}),
        "plants": list(chore.plants),
        "from": chore.from_spot,
        "to": chore.to_spot,
        "not_before": None if chore.not_before is None else iso(chore.not_before, site),
        "before": iso(chore.before, site),
        "because": [_reason_document(reason, site) for reason in chore.single_reasons],
        "chance": chore.chance,
        **_confirmation(chore, site),
        **_load(chore, site),
        **({} if chore.spray is None else {"litres": plain(chore.spray.litres)}),
    }


def _load(chore: Chore, site: Site) -> dict[str, Any]:
    """Return how long carrying takes and what is heavy; nothing where no size is known."""
    load = chore.load
    if load is None:
        return {}
    begins = {} if load.begin_by is None else {"begin_by": iso(load.begin_by, site)}
    return {
        "takes_min": plain(load.takes / timedelta(minutes=1)),
        **begins,
        "heavy": [{"plant": one.plant, "kg": plain(one.kg)} for one in load.heavy],
    }


def _confirmation(chore: Chore, site: Site) -> dict[str, Any]:
    """Return what was told before and is not confirmed; nothing for chores without confirmation.

    confirmed: false, or null if it has not been told before. if_taken_in: the plants that go out
    only if they were taken in. if_not_watered: those told to be watered before, which may be done.
    """
    if chore.kind is ChoreKind.CARRY_IN:
        overdue = chore.overdue_since
        return {
            "confirmed": False if chore.unconfirmed else None,
            "overdue_since": None if overdue is None else iso(overdue, site),
        }
    if chore.kind is ChoreKind.STAY_IN:
        return {"confirmed": False if chore.unconfirmed else None}
    if chore.kind is ChoreKind.WATER:
        return {"if_not_watered": list(chore.unconfirmed)}
    if chore.kind is ChoreKind.CARRY_OUT:
        return {"if_taken_in": list(chore.unconfirmed)}
    return {}


def _reason_document(reason: Reason, site: Site) -> dict[str, Any]:
    return {
        "plant": reason.plant,
        "quantity": reason.quantity,
        "value": plain(reason.value),
        "unit": reason.unit,
        "limit": plain(reason.limit),
        "at": iso(reason.at, site),
        "origin": reason.origin,
        **({"above": True} if reason.above else {}),
        **_exposure(reason),
        **({} if reason.chance is None else {"chance": reason.chance}),
        **_weighing(reason),
        **({} if reason.until is None else {"until": iso(reason.until, site)}),
        **({} if reason.there is None else {"there": reason.there}),
        **({} if reason.litres is None else {"litres": reason.litres}),
    }


def _weighing(reason: Reason) -> dict[str, Any]:
    """Return the expected harm and what it was weighed against, in trips, where that is known."""
    weighing = reason.weighing
    if weighing is None:
        return {}
    return {
        "expected_harm": plain(weighing.harm, 4),
        "gain_trips": plain(weighing.gain),
        "price_trips": plain(weighing.price),
    }


def _exposure(reason: Reason) -> dict[str, Any]:
    """Return for how long and how deep it is under the limit, where that is counted."""
    if reason.hours is None or reason.degree_hours is None:
        return {}
    return {"hours": reason.hours, "degree_hours": reason.degree_hours}
