"""What `sillward forecast` prints: the saved forecasts, and how far they can be trusted."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from sillward.config.household import Household
from sillward.forecast.doubt_wording import in_words
from sillward.forecast.store import HeldForecast
from sillward.forecast.updater import ForecastUpdater
from sillward.reports.json_encoding import IsoTime, iso_in_zone_of, plain
from sillward.text.columns import PIPE, Column, Mark, Marked, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import Collection
from sillward_rules.weather.hourly import Freshness, Gap, gaps, moment
from sillward_rules.weather.lows import SpotLow, tonight

GAPS_AHEAD = timedelta(days=3)
"""Gaps are listed so far ahead. Judgement: the next forecasts close those of later days."""

MAX_GAPS = 4
"""Gaps that are listed one by one; others are counted."""

# -- for machines


def document(
    household: Household, updater: ForecastUpdater, now: datetime, voice: Voice
) -> dict[str, Any]:
    """Return what is saved, as plain types with times in the site's zone.

    voice: words the remarks among it.
    """
    site = household.collection.site
    iso = iso_in_zone_of(site)
    best, weather = updater.store.best(site), updater.store.weather(site)
    lows = tonight(site, household.collection.spots, weather, now)
    saved = {held.source.name: held for held in updater.store.held(site)}
    doubted = {
        doubted.source.name: [voice.retold(in_words(doubt)) for doubt in doubted.doubts]
        for doubted in updater.store.doubted(site)
    }
    return {
        "schema": 1,
        "site": site.label,
        "at": iso(now),
        "sources": [
            {"name": source.name, "used": best is not None and best.source is source}
            | _schedule_document(updater, source.name, iso)
            | {"doubted": doubted.get(source.name)}
            | _held_document(saved.get(source.name), now, iso)
            for source in updater.store.sources
        ],
        "spread": lows.spread,
        "night": {"start": iso(lows.night.start), "end": iso(lows.night.end)},
        "lows": [_low_document(low, iso) for low in lows.lows],
        "remarks": [voice.remark(remark) for remark in weather.remarks],
    }


def _schedule_document(updater: ForecastUpdater, name: str, iso: IsoTime) -> dict[str, Any]:
    plan = updater.store.ledger.call_schedules.get(name)
    if plan is None or not updater.live:
        return {"next": None, "failed": None, "calls_today": 0}
    return {
        "next": iso(plan.next_at),
        "failed": plan.reason if plan.failures else None,
        "calls_today": plan.calls if plan.day == updater.store.today() else 0,
    }


def _held_document(held: HeldForecast | None, now: datetime, iso: IsoTime) -> dict[str, Any]:
    if held is None:
        return {"state": "none"}
    weather = held.weather
    return {
        "state": weather.freshness(now).value,
        "fetched": iso(held.saved.fetched_at),
        "issued": iso(weather.issued_at),
        "changed": iso(held.saved.changed_at),
        "age_minutes": max(0, int(weather.age(now) / timedelta(minutes=1))),
        "reaches": iso(moment(weather.times[-1])),
        "gaps": [_gap_document(gap, iso) for gap in gaps(weather, now, now + GAPS_AHEAD)],
        "notes": list(weather.notes),
    }


def _gap_document(gap: Gap, iso: IsoTime) -> dict[str, Any]:
    return {
        "of": gap.series,
        "from": iso(gap.first),
        "to": iso(gap.last),
        "hours": gap.hours,
    }


def _low_document(low: SpotLow, iso: IsoTime) -> dict[str, Any]:
    return {
        "spot": low.spot,
        "leaf_c": plain(low.leaf_c),
        "air_c": plain(low.air_c),
        "at": iso(low.at),
        "sd_k": plain(low.sd_k),
    }


# -- for people


def text(report: dict[str, Any], household: Household, screen: Screen = PIPE) -> str:
    """Return a forecast document as lines of text.

    Each low tonight is held against the night limits of the plants that live at the spot.
    """
    collection, voice = household.collection, household.voice
    lines = [*screen.lines(f"{report['site']}, {_time(report['at'], voice)}"), ""]
    for source in report["sources"]:
        for line, mark in _source_lines(source, voice):
            lines += screen.lines(line, mark)
    lines += [*screen.lines(f"spread: {report['spread']}"), ""]
    start, end = report["night"]["start"], report["night"]["end"]
    lines += screen.lines(f"tonight, {_time(start, voice)} to {_hour(end, voice)}")
    rows = [(low["spot"], _low_cell(low, collection, voice)) for low in report["lows"]]
    lines += table(rows, (Column(), Column()), screen, indent=2)
    lines += [""] if report["remarks"] else []
    for remark in report["remarks"]:
        lines += screen.lines(f"! {remark}", Mark.TROUBLE)
    return "\n".join(lines)


def _source_lines(source: dict[str, Any], voice: Voice) -> Iterator[tuple[str, Mark | None]]:
    """Yield the lines on a source, each with its mark."""
    yield f"{source['name']}{', in use' if source['used'] else ''}", None
    if source["state"] == "none":
        yield "  nothing held", None
    else:
        age = voice.age(timedelta(minutes=source["age_minutes"]))
        issued = f", worked out {_time(source['issued'], voice)}" if source["issued"] else ""
        fetched = f"  {source['state']}: fetched {_time(source['fetched'], voice)}{issued}, {age}"
        yield fetched, Mark.OK if source["state"] == Freshness.FRESH.value else Mark.TROUBLE
        gaps_ = _gaps_text(source["gaps"], voice)
        yield f"  reaches {_time(source['reaches'], voice)}; {gaps_}", None
        for note in source["notes"]:
            yield f"  {voice.retold(note)}", None
    for doubt in source["doubted"] or ():
        yield f"  not believed: {doubt}", Mark.TROUBLE
    if source["failed"]:
        yield f"  failed: {voice.retold(source['failed'])}", Mark.TROUBLE
    if source["next"]:
        calls = "1 call" if source["calls_today"] == 1 else f"{source['calls_today']} calls"
        yield f"  next {_time(source['next'], voice)}; {calls} today (UTC)", None
    yield "", None


def _gaps_text(gaps: list[dict[str, Any]], voice: Voice) -> str:
    if not gaps:
        return "no gaps in three days"
    named = [_gap_text(gap, voice) for gap in gaps[:MAX_GAPS]]
    more = [f"{len(gaps) - MAX_GAPS} more gaps"] if len(gaps) > MAX_GAPS else []
    return "; ".join([*named, *more])


def _gap_text(gap: dict[str, Any], voice: Voice) -> str:
    start, end = _time(gap["from"], voice), _hour(gap["to"], voice)
    return f"no {gap['of']} {start} to {end} ({gap['hours']} h)"


def _low_cell(low: dict[str, Any], collection: Collection, voice: Voice) -> Marked:
    """Return a spot's low tonight, and for how many of its plants that is too cold."""
    if low["leaf_c"] is None:
        return Marked("not known: treated as cold", Mark.COLD)
    error = "" if low["sd_k"] is None else f", give or take {voice.kelvins(low['sd_k'])}"
    text = (
        f"leaf {voice.degrees(low['leaf_c'])} at {_hour(low['at'], voice)}, "
        f"air {voice.degrees(low['air_c'])}{error}"
    )
    plants = [plant for plant in collection.plants if plant.home == low["spot"]]
    limits = [plant.limits.night_low for plant in plants]
    too_cold = sum(limit is not None and low["leaf_c"] < limit.value for limit in limits)
    if not too_cold:
        return Marked(text, None)
    cold = f"under the night limit of {too_cold} of {len(plants)} plants"
    return Marked(f"{text}; {cold}", Mark.COLD)


def _time(iso: str, voice: Voice) -> str:
    return voice.date_and_hour(datetime.fromisoformat(iso))


def _hour(iso: str, voice: Voice) -> str:
    return voice.hour(datetime.fromisoformat(iso))
