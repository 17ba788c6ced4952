"""The spots: what each is taken to be, what its thermometer has shown, and who stands there."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from werkzeug.wrappers import Response

from sillward.charts.data import ChartData
from sillward.page import noted
from sillward.page.drawings.night import give_or_take_k
from sillward.page.keys import key_of, named
from sillward.page.noted import Said
from sillward.page.plant_facts import SpotRows, rows_by_spot
from sillward.page.route import Route
from sillward.page.views.ahead import charts, spot_nights, spots_lived_at
from sillward.page.visit import Visit
from sillward.readings import amendments
from sillward.readings.forecast_here import UNITS, ForecastHere
from sillward.reports import readings as report
from sillward.reports.plant_words import unbroken
from sillward.service import sensor_status
from sillward.service.sensor_status import SensorState
from sillward.wording.voice import Voice
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import night_at_or_after


@dataclass(frozen=True, slots=True)
class SpotLine:
    """A spot among all. last: its newest temperature, with its age; "" if there is none.

    quiet: whether a sensor there should have sent something by now.
    """

    key: str
    name: str
    tonight: str
    last: str
    plants: int
    quiet: bool
    asks: bool


@dataclass(frozen=True, slots=True)
class SensorLine:
    """A sensor, with its newest value and age; quiet: since when it has sent nothing."""

    name: str
    quantity: str
    last: str
    quiet: str | None


def spots(visit: Visit) -> Response:
    """Show all spots, each with tonight's low and its last reading."""
    context, voice, now = visit.context, visit.voice, visit.now
    collection, nights = context.collection, charts(visit).nights
    standing = {group.spot: group.rows for group in rows_by_spot(visit)}
    last = _last_read(visit, now)
    states = sensor_status.states(context.household, context.ledger, now)
    quiet = {state.sensor.spot for state in states if state.quiet_since is not None}
    lines = [
        SpotLine(
            key_of(spot.name),
            spot.name,
            tonight(nights[spot.name], voice),
            last.get(spot.name, ""),
            len(standing.get(spot.name, ())),
            spot.name in quiet,
            spot.question is not None,
        )
        for spot in collection.spots
    ]
    return visit.page("spots.html", lines=lines)


def _last_read(visit: Visit, now: datetime) -> dict[str, str]:
    """Return the newest temperature of each spot, from a sensor or by hand, with its age."""
    readings, site, voice = visit.context.ledger.readings, visit.context.site, visit.voice
    read = [
        *((one.last_at, one.spot, one.last) for one in readings.sensors(site.name)
          if one.quantity is Quantity.TEMPERATURE),
        *((one.at, one.spot, one.value) for one in readings.by_hand(site.name)
          if one.quantity is Quantity.TEMPERATURE and one.night is None),
    ]  # fmt: skip
    return {
        spot: f"{voice.degrees(value)}, {_age(at, now, voice)}" for at, spot, value in sorted(read)
    }


def _age(at: datetime, now: datetime, voice: Voice) -> str:
    old = now - at
    return voice.age(old) if old < report.DAYS_FROM else f"{old.days} days old"


def tonight(data: ChartData, voice: Voice) -> str:
    """Return the lowest leaf of the coming night, with its hour and give or take."""
    night = data.nights[0]
    if night.low_c is None or night.low_at is None:
        return "not known: treat it as cold"
    off = give_or_take_k(data, night.low_at)
    low = unbroken(voice.degrees(night.low_c))
    if off is None:  # a room that holds its temperature all night
        return low
    sure = f"give or take {unbroken(voice.kelvins(off))}"
    return f"{low} at {unbroken(voice.hour(night.low_at))}, {sure}"


# -- one spot


def spot(visit: Visit, key: str) -> Response:
    """Show a spot."""
    return show(visit, key, said=noted.said(visit, spot_called(visit, key)))


def spot_called(visit: Visit, key: str) -> Spot:
    """Return the spot of a key, with what readings say of it. Raise NotFound."""
    collection = visit.context.collection
    return collection.spot(named(key, [spot.name for spot in collection.spots]))


def show(
    visit: Visit,
    key: str,
    *,
    said: Said | None = None,
    wrong: str | None = None,
    typed: Mapping[str, str] | None = None,
) -> Response:
    """Show a spot, with what was just noted, or what is wrong with what was typed.

    typed: the fields of the form as they were sent.
    """
    context, voice, now = visit.context, visit.voice, visit.now
    collection, here = context.collection, spot_called(visit, key)
    data = charts(visit).nights[here.name]
    night = night_at_or_after(context.site, now)
    air = ForecastHere(context.site, here, context.weather()).low(night)
    states = sensor_status.states(context.household, context.ledger, now)
    lived_at = here.name in spots_lived_at(collection)
    groups = {group.spot: group for group in rows_by_spot(visit)}
    standing = groups.get(here.name, SpotRows(here.name, (), are_assumed=False))
    return visit.page(
        "spot.html",
        status=200 if wrong is None else 422,
        key=key,
        name=here.name,
        said=said,
        wrong=wrong,
        typed=typed or {"value": "", "when": "now", "at": ""},
        unit=voice.units.temperature,
        tonight=tonight(data, voice),
        air=None if air is None else voice.degrees(air),
        nights=spot_nights(data, now, voice) if lived_at else None,
        facts=list(_facts(here, voice)),
        open_questions=[voice.retold(text) for text in here.open_questions()],
        taught=None if here.taught is None else voice.retold(here.taught),
        moved=_moved(here, voice),
        question=None if here.question is None else voice.remark(here.question),
        sensors=[_sensor(state, now, voice) for state in states if state.sensor.spot == here.name],
        plants=standing.rows,
        are_assumed=standing.are_assumed,
        **_readings(visit, here.name, now),
    )


def _readings(visit: Visit, spot: str, now: datetime) -> dict[str, Any]:
    """Return what was read at a spot by hand, newest first, and what is not used."""
    context, voice = visit.context, visit.voice
    known = report.document(context.ledger, context.site, spot, now, whole=False)
    by_hand = [report.by_hand_row(each, now, voice) for each in reversed(known["by_hand"])]
    aside = [report.set_aside_row(each, voice) for each in known["set_aside"]]
    return {
        "by_hand": [(number, value, when) for number, _, value, when in by_hand],
        "before": known["by_hand_before"],
        "aside": [(sensor, count, why) for _, sensor, count, why in aside],
    }


def _facts(spot: Spot, voice: Voice) -> Iterator[tuple[str, str]]:
    """Yield what the grower has said of a spot."""
    if spot.indoors:
        yield "Where", "indoors"
    if spot.night_low_c is not None:
        yield "Holds at night", voice.bound(spot.night_low_c)
    if spot.day_low_c is not None:
        yield "Holds by day", voice.bound(spot.day_low_c)
    if spot.night_offset_k is not None:
        yield "Nights", _beside_forecast(spot.night_offset_k, voice)
    if spot.day_offset_k is not None:
        yield "Days", _beside_forecast(spot.day_offset_k, voice)
    if spot.humidity_pct is not None:
        yield "Humidity", f"{spot.humidity_pct:g} %"
    shares = (
        ("Sky", "sees", spot.sky_view),
        ("Wind", "gets", spot.wind),
        ("Rain", "gets", spot.rain),
    )
    yield from (
        (name, f"{verb} {100 * share:.0f} %") for name, verb, share in shares if share is not None
    )
    if spot.shade:
        yield "Cloth", f"takes {100 * spot.shade:.0f} % of the light"
    if spot.sun_windows is not None:
        count = len(spot.sun_windows)
        yield "Direct sun", f"{count} window{'' if count == 1 else 's'}" if count else "none"


def _beside_forecast(offset_k: float, voice: Voice) -> str:
    """Return how a spot differs from the forecast: "0.8 °C warmer than the forecast"."""
    if not offset_k:
        return "as in the forecast"
    way = "warmer" if offset_k > 0 else "colder"
    return f"{unbroken(voice.kelvins(abs(offset_k)))} {way} than the forecast"


@dataclass(frozen=True, slots=True)
class Moved:
    """By how much a thermometer reads differently since a night, which nobody has explained."""

    change: str
    since: str


def _moved(spot: Spot, voice: Voice) -> Moved | None:
    learned = amendments.asked_about([spot]).get(spot.name)
    if learned is None or learned.since is None:
        return None
    way = "warmer" if learned.step_k > 0 else "colder"
    return Moved(f"{voice.kelvins(abs(learned.step_k))} {way}", voice.day(learned.since))


def _sensor(state: SensorState, now: datetime, voice: Voice) -> SensorLine:
    sensor = state.sensor
    if state.last_at is None:
        return SensorLine(sensor.name, sensor.quantity.value, "nothing so far", None)
    value = voice.measure(state.last, UNITS[sensor.quantity])
    quiet = None if state.quiet_since is None else voice.date_and_hour(state.quiet_since)
    last = f"{value}, {_age(state.last_at, now, voice)}"
    return SensorLine(sensor.name, sensor.quantity.value, last, quiet)


ROUTES = (Route("/spots", "spots", spots), Route("/spots/<key>", "spot", spot))
