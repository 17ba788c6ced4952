"""What `sillward readings` prints: what was read by hand, the sensors, and what is not used."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from sillward.errors import one_line
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import SET_ASIDE_DAYS, HandReading, Sensor, SetAside
from sillward.readings.forecast_here import UNITS
from sillward.reports.json_encoding import IsoTime, iso_in_zone_of
from sillward.reports.reading_noted import LAST_YEAR, night_in_words
from sillward.text.columns import PIPE, Cell, Column, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.site import Site

MAX_BY_HAND = 30
"""Readings by hand that are listed unless all are asked for. Judgement: a month of mornings."""

DAYS_FROM = timedelta(days=3)
"""From this age on it is told in days."""

# -- for machines


def document(
    ledger: Ledger, site: Site, spot: str | None, now: datetime, *, whole: bool
) -> dict[str, Any]:
    """Return what is known of a spot, or of all, as plain types with times in the site's zone.

    whole: whether all that was read by hand is listed.
    """
    iso = iso_in_zone_of(site)
    by_hand = ledger.readings.by_hand(site.name, spot)
    shown = by_hand if whole else by_hand[-MAX_BY_HAND:]
    sensors = [each for each in ledger.readings.sensors(site.name) if spot in (None, each.spot)]
    since = now - timedelta(days=SET_ASIDE_DAYS)
    aside = [
        each
        for each in ledger.readings.set_aside_since(site.name, since)
        if spot in (None, each.spot)
    ]
    return {
        "schema": 1,
        "site": site.label,
        "at": iso(now),
        "by_hand": [_by_hand_document(reading, iso) for reading in shown],
        "by_hand_before": len(by_hand) - len(shown),
        "sensors": [_sensor_document(sensor, now, iso) for sensor in sensors],
        "set_aside": list(_set_aside_documents(aside, iso)),
    }


def _by_hand_document(reading: HandReading, iso: IsoTime) -> dict[str, Any]:
    return {
        "number": reading.id,
        **_subject(reading.spot, reading.quantity),
        "value": round(reading.value, 2),
        "at": iso(reading.at),
        "night": None if reading.night is None else str(reading.night),
    }


def _sensor_document(sensor: Sensor, now: datetime, iso: IsoTime) -> dict[str, Any]:
    return {
        "sensor": sensor.name,
        **_subject(sensor.spot, sensor.quantity),
        "last": round(sensor.last, 2),
        "last_at": iso(sensor.last_at),
        "age_minutes": max(0, int((now - sensor.last_at) / timedelta(minutes=1))),
        "first_at": iso(sensor.first_at),
    }


def _set_aside_documents(aside: Iterable[SetAside], iso: IsoTime) -> Iterator[dict[str, Any]]:
    """Yield what was set aside of each sensor for each reason, days put together."""
    groups: dict[tuple[str, Quantity, str, str], list[SetAside]] = {}
    for each in aside:
        key = (each.spot, each.quantity, each.sensor, each.reason)
        groups.setdefault(key, []).append(each)
    for (spot, quantity, sensor, reason), days in groups.items():
        yield {
            "sensor": sensor,
            **_subject(spot, quantity),
            "reason": reason,
            "count": sum(each.count for each in days),
            "first_at": iso(min(each.first_at for each in days)),
            "last_at": iso(max(each.last_at for each in days)),
            "example": max(days, key=lambda each: each.last_at).example,
        }


def _subject(spot: str, quantity: Quantity) -> dict[str, str]:
    return {"spot": spot, "quantity": quantity.value, "unit": UNITS[quantity]}


# -- for people

_BY_HAND = (Column(right=True, fixed=True), Column(), Column(right=True, fixed=True), Column())
_SENSORS = (Column(), Column(), Column(right=True, fixed=True), Column())
_SET_ASIDE = (Column(), Column(), Column(right=True, fixed=True), Column())


def text(report: dict[str, Any], voice: Voice, screen: Screen = PIPE) -> str:
    """Return a document of readings as tables."""
    now = datetime.fromisoformat(report["at"])
    parts: Sequence[tuple[str, list[list[Cell]], Sequence[Column]]] = (
        ("by hand", [by_hand_row(each, now, voice) for each in report["by_hand"]], _BY_HAND),
        ("sensors", [sensor_row(each, voice) for each in report["sensors"]], _SENSORS),
        ("not used", [set_aside_row(each, voice) for each in report["set_aside"]], _SET_ASIDE),
    )
    lines: list[str] = []
    for name, rows, columns in parts:
        if rows:
            lines += [*([""] if lines else []), name]
            if name == "by hand" and report["by_hand_before"]:
                lines.append(f"  and {report['by_hand_before']} before, which --all lists")
            lines += table(rows, columns, screen, indent=2)
    if not lines:
        return "nothing was read so far; for example: sillward read pergola 11.4"
    return "\n".join(lines)


def by_hand_row(reading: dict[str, Any], now: datetime, voice: Voice) -> list[Cell]:
    """Return the number, spot, value and time of a reading by hand."""
    at = datetime.fromisoformat(reading["at"])
    when = voice.date_and_hour(at)
    if reading["night"] is not None:
        when = f"lowest of {night_in_words(date.fromisoformat(reading['night']), voice)}"
    if now - at > LAST_YEAR:
        when += f" {voice.local(at).year}"
    return [str(reading["number"]), _name(reading, "spot"), _value(reading, "value", voice), when]


def sensor_row(sensor: dict[str, Any], voice: Voice) -> list[Cell]:
    """Return the spot, name, last value and age of a sensor."""
    last_at = datetime.fromisoformat(sensor["last_at"])
    old = timedelta(minutes=sensor["age_minutes"])
    age = voice.age(old) if old < DAYS_FROM else f"{old.days} days old"
    when = f"{voice.date_and_hour(last_at)}, {age}"
    return [_name(sensor, "spot"), _name(sensor, "sensor"), _value(sensor, "last", voice), when]


def set_aside_row(aside: dict[str, Any], voice: Voice) -> list[Cell]:
    """Return the spot, sensor and number of readings that are not used, and why."""
    last_at = voice.date_and_hour(datetime.fromisoformat(aside["last_at"]))
    example = voice.retold(one_line(aside["example"], 30))
    why = f"{one_line(aside['reason'], 200)}; the last {example}, {last_at}"
    return [_name(aside, "spot"), _name(aside, "sensor"), f"{aside['count']:,}", why]


def _name(of: dict[str, Any], key: str) -> str:
    """Return a name on one line: that of a sensor may come from anywhere."""
    return one_line(of[key], 60)


def _value(of: dict[str, Any], key: str, voice: Voice) -> str:
    digits = 0 if of["unit"] == "%" else 1
    return voice.measure(of[key], of["unit"], digits)
