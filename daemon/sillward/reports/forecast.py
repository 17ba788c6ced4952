"""What `sillward forecast` prints: which forecasts are held, how far they can be trusted."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

from sillward.config.household import Household
from sillward.forecast.doubt_wording import in_words
from sillward.forecast.store import Held
from sillward.forecast.updater import Keeper
from sillward.reports.json_values import plain
from sillward.text.columns import PIPE, Column, Mark, Marked, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import Collection
from sillward_rules.weather.hourly import Freshness, Gap, gaps, moment
from sillward_rules.weather.lows import SpotLow, tonight

AHEAD = timedelta(days=3)
"""Gaps are told so far ahead: those of later days close with the next forecasts. Judgement."""


def document(household: Household, keeper: Keeper, now: datetime, voice: Voice) -> dict[str, Any]:
    """What is held, as plain types; times in the site's zone. voice: for the remarks in it."""
    site = household.collection.site

    def iso(at: datetime | None) -> str | None:
        return None if at is None else at.astimezone(site.zone).isoformat(timespec="seconds")

    best, weather = keeper.shelf.best(site), keeper.shelf.weather(site)
    ahead = tonight(household.collection.site, household.collection.spots, weather, now)
    held = {one.source.name: one for one in keeper.shelf.held(site)}
    doubted = {
        one.source.name: [voice.retold(in_words(doubt)) for doubt in one.doubts]
        for one in keeper.shelf.doubted(site)
    }
    return {
        "schema": 1,
        "site": site.name,
        "at": iso(now),
        "sources": [
            {"name": source.name, "used": best is not None and best.source is source}
            | _schedule(keeper, source.name, iso)
            | {"doubted": doubted.get(source.name)}
            | (_held(held[source.name], now, iso) if source.name in held else {"state": "none"})
            for source in keeper.shelf.sources
        ],
        "spread": ahead.spread,
        "night": {"start": iso(ahead.night.start), "end": iso(ahead.night.end)},
        "lows": [_low(low, iso) for low in ahead.lows],
        "remarks": [voice.remark(one) for one in weather.remarks],
    }


Iso = Callable[[datetime | None], str | None]


def _schedule(keeper: Keeper, name: str, iso: Iso) -> dict[str, Any]:
    plan = keeper.shelf.ledger.calls.get(name)
    if plan is None or not keeper.live:
        return {"next": None, "failed": None, "calls_today": 0}
    return {
        "next": iso(plan.next_at),
        "failed": plan.reason if plan.failures else None,
        "calls_today": plan.calls if plan.day == keeper.shelf.today() else 0,
    }


def _held(held: Held, now: datetime, iso: Iso) -> dict[str, Any]:
    weather = held.weather
    return {
        "state": weather.freshness(now).value,
        "fetched": iso(held.stored.fetched_at),
        "issued": iso(weather.issued_at),
        "changed": iso(held.stored.changed_at),
        "age_minutes": max(0, int(weather.age(now) / timedelta(minutes=1))),
        "reaches": iso(moment(weather.times[-1])),
        "gaps": [_gap(gap, iso) for gap in gaps(weather, now, now + AHEAD)],
        "notes": list(weather.notes),
    }


def _gap(gap: Gap, iso: Iso) -> dict[str, Any]:
    return {
        "of": gap.series,
        "from": iso(gap.first),
        "to": iso(gap.last),
        "hours": gap.hours,
    }


def _low(low: SpotLow, iso: Iso) -> dict[str, Any]:
    return {
        "spot": low.spot,
        "leaf_c": plain(low.leaf_c),
        "air_c": plain(low.air_c),
        "at": iso(low.at),
        "sd_k": plain(low.sd_k),
    }


def text(report: dict[str, Any], household: Household, screen: Screen = PIPE) -> str:
    """The same in lines, and how many plants have their home where it gets too cold tonight."""
    collection, voice = household.collection, household.voice
    lines = [*screen.lines(f"{report['site']}, {_day(report['at'], voice)}"), ""]
    for source in report["sources"]:
        for line, mark in _source_lines(source, voice):
            lines += screen.lines(line, mark)
    lines += [*screen.lines(f"spread: {report['spread']}"), ""]
    start, end = report["night"]["start"], report["night"]["end"]
    lines += screen.lines(f"tonight, {_day(start, voice)} to {_hour(end, voice)}")
    rows = [(low["spot"], _low_cell(low, collection, voice)) for low in report["lows"]]
    lines += table(rows, (Column(), Column()), screen, indent=2)
    lines += [""] if report["remarks"] else []
    for remark in report["remarks"]:
        lines += screen.lines(f"! {remark}", Mark.TROUBLE)
    return "\n".join(lines)


def _source_lines(source: dict[str, Any], voice: Voice) -> Iterator[tuple[str, Mark | None]]:
    yield f"{source['name']}{', in use' if source['used'] else ''}", None
    if source["state"] == "none":
        yield "  nothing held", None
    else:
        age = voice.age(timedelta(minutes=source["age_minutes"]))
        issued = f", worked out {_day(source['issued'], voice)}" if source["issued"] else ""
        fetched = f"  {source['state']}: fetched {_day(source['fetched'], voice)}{issued}, {age}"
        yield fetched, Mark.OK if source["state"] == Freshness.FRESH.value else Mark.TROUBLE
        gaps_ = _gaps_text(source["gaps"], voice)
        yield f"  reaches {_day(source['reaches'], voice)}; {gaps_}", None
        for note in source["notes"]:
            yield f"  {voice.retold(note)}", None
    for doubt in source["doubted"] or ():
        yield f"  not believed: {doubt}", Mark.TROUBLE
    if source["failed"]:
        yield f"  failed: {voice.retold(source['failed'])}", Mark.TROUBLE
    if source["next"]:
        calls = "1 call" if source["calls_today"] == 1 else f"{source['calls_today']} calls"
        yield f"  next {_day(source['next'], voice)}; {calls} today (UTC)", None
    yield "", None


def _gaps_text(gaps: list[dict[str, Any]], voice: Voice) -> str:
    if not gaps:
        return "no gaps in three days"
    named = [
        f"no {gap['of']} {_day(gap['from'], voice)} to {_hour(gap['to'], voice)} ({gap['hours']} h)"
        for gap in gaps[:MOST_GAPS]
    ]
    more = [f"{len(gaps) - MOST_GAPS} more gaps"] if len(gaps) > MOST_GAPS else []
    return "; ".join([*named, *more])


MOST_GAPS = 4
"""Gaps that are told one by one."""


def _low_cell(low: dict[str, Any], collection: Collection, voice: Voice) -> Marked:
    if low["leaf_c"] is None:
        return Marked("not known: treated as cold", Mark.COLD)
    sure = "" if low["sd_k"] is None else f", give or take {voice.kelvins(low['sd_k'])}"
    text = (
        f"leaf {voice.degrees(low['leaf_c'])} at {_hour(low['at'], voice)}, "
        f"air {voice.degrees(low['air_c'])}{sure}"
    )
    limits = [one.limits.night_low for one in collection.plants if one.home == low["spot"]]
    cold = sum(one is not None and low["leaf_c"] < one.value for one in limits)
    if not cold:
        return Marked(text, None)
    return Marked(f"{text}; under the night limit of {cold} of {len(limits)} plants", Mark.COLD)


def _day(iso: str, voice: Voice) -> str:
    return voice.date_and_hour(datetime.fromisoformat(iso))


def _hour(iso: str, voice: Voice) -> str:
    return voice.hour(datetime.fromisoformat(iso))
