"""What `sillward plant` prints: a plant as it is now, and its years."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sillward.config import group_lookup
from sillward.errors import one_line
from sillward.ledger import Ledger
from sillward.ledger.tables.coldest_nights import ColdNight
from sillward.reports.diary import entry_document
from sillward.reports.json_encoding import IsoTime, iso_in_zone_of, plain
from sillward.reports.limits import limit_rows, limits_document
from sillward.reports.plant_words import (
    Standing,
    limit_name,
    limit_value,
    night_rows,
    season,
    size_document,
    sized,
    standing,
    watered,
)
from sillward.reports.plant_year_words import year_rows
from sillward.reports.plant_years import PlantYear, years_of
from sillward.service.plant_nights import KNOWN_NIGHTS, NIGHTS, PlantNight, nights_of
from sillward.service.plant_states import states_at
from sillward.text.columns import PIPE, Cell, Column, Mark, Marked, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.site import Site


@dataclass(frozen=True, slots=True)
class PlantReport:
    """A plant as it is now, and its years.

    Args:
        plant: None if it is not in the collection any more.
        state: what is known of it now; None for nothing.
        nights: past nights of which anything is known, the last one first.
        years: the last one first.
        notes: how many entries its diary has.
    """

    name: str
    plant: Plant | None
    state: PlantState | None
    nights: Sequence[PlantNight]
    years: Sequence[PlantYear]
    notes: int
    now: datetime


def report_of(
    ledger: Ledger, site: Site, name: str, plant: Plant | None, now: datetime
) -> PlantReport:
    """Return what is known of a plant, or of one of which only a diary is left."""
    state = states_at(ledger, site, now).get(name)
    nights = [] if plant is None else nights_of(ledger, site, plant, state, now, KNOWN_NIGHTS)
    years = years_of(ledger, site, name, nights, now)
    notes = ledger.diary.counts(site.name).get(name, 0)
    return PlantReport(name, plant, state, nights, years, notes, now)


# -- for machines


def document(report: PlantReport, site: Site) -> dict[str, Any]:
    """Return it as plain types, with times in the site's zone; temperatures in °C."""
    iso, plant, state, now = iso_in_zone_of(site), report.plant, report.state, report.now
    there = None if plant is None else standing(plant, state, now, Voice(site))
    return {
        "schema": 1,
        "site": site.label,
        "at": iso(now),
        "plant": report.name,
        "in_collection": plant is not None,
        "is": None if plant is None else _kind(plant),
        "holder": None if plant is None else plant.holder,
        "home": None if plant is None else plant.home,
        "shelter": None if plant is None else plant.shelter,
        "stands": None if there is None else _standing_document(there, state, now, iso),
        "season": None
        if state is None or state.care.season is None
        else state.care.season.season.value,
        "watered": _watered_document(state, now, iso),
        "limits": {} if plant is None else limits_document(plant.limits),
        "size": {} if plant is None else size_document(plant),
        "years": [_year_document(year, iso) for year in report.years],
        "nights": [_night_document(night) for night in report.nights[:NIGHTS]],
        "notes": report.notes,
    }


def _standing_document(
    there: Standing, state: PlantState | None, now: datetime, iso: IsoTime
) -> dict[str, Any]:
    since = None if state is None else state.at(now).since
    return {
        "spot": there.spot,
        "since": None if since is None or since > now else iso(since),
        "confirmed": there.known,
    }


def _watered_document(state: PlantState | None, now: datetime, iso: IsoTime) -> dict[str, Any]:
    then = None if state is None else state.at(now)
    return {
        "misted": None if then is None else iso(then.misted_at),
        "fed": None if then is None else iso(then.fed_at),
        "rinsed": None if then is None else iso(then.rinsed_at),
    }


def _year_document(year: PlantYear, iso: IsoTime) -> dict[str, Any]:
    return {
        "year": year.year,
        "spikes": year.spikes,
        "flowers": year.flowers,
        "bloomings": [
            {
                "first": str(each.first),
                "last": None if each.last is None else str(each.last),
                "lasts": each.lasts,
                "days": each.days,
                "flowers": each.flowers,
            }
            for each in year.bloomings
        ],
        "growths": year.growths,
        "roots": year.roots,
        "repotted": [entry_document(entry, iso) for entry in year.repotted],
        "damage": [entry_document(entry, iso) for entry in year.damage],
        "looks": [entry_document(entry, iso) for entry in year.looks],
        "given": [
            {"chore": each.kind, "what": each.what, "times": each.count} for each in year.given
        ],
        "coldest": None if year.coldest is None else _cold_document(year.coldest),
    }


def _cold_document(night: ColdNight) -> dict[str, Any]:
    return {
        "night": str(night.night),
        "low": plain(night.low_c),
        "unit": "°C",
        "read": night.is_read,
        "limit": plain(night.limit_c),
        "spots": list(night.spots),
        "confirmed": night.is_known and len(night.spots) < 2,
    }


def _night_document(night: PlantNight) -> dict[str, Any]:
    return {
        "night": str(night.day),
        "spots": list(night.spots),
        "confirmed": night.is_known and len(night.spots) == 1,
        "expected": plain(night.told_c),
        "read": plain(night.read_c),
        "limit": plain(night.limit_c),
        "unit": "°C",
        "under": night.is_under,
    }


# -- for people

_ROWS = (Column(fixed=True), Column())
_LIMITS = (Column(fixed=True), Column(right=True, fixed=True), Column())
_NIGHTS = (Column(fixed=True), Column(), Column())


def text(report: PlantReport, voice: Voice, screen: Screen = PIPE) -> str:
    """Return it for a terminal, parts with a blank line between them."""
    parts = [
        [
            *screen.lines(one_line(report.name, 200)),
            *table(_now_rows(report, voice), _ROWS, screen, indent=2),
        ]
    ]
    for year in report.years:
        rows = _without_repeats(year_rows(year, report.now, voice))
        parts.append([str(year.year), *table(rows, _ROWS, screen, indent=2)])
    if report.nights:
        rows = [_night_cells(*pair) for pair in _nights(report, voice)]
        parts.append(["past nights", *table(rows, _NIGHTS, screen, indent=2)])
    if report.plant is not None:
        rows = [
            [limit_name(name), _spaced(limit_value(value, unit, voice)), voice.retold(origin)]
            for name, value, unit, origin in limit_rows(report.plant.limits)
        ]
        if rows:
            parts.append(["limits", *table(rows, _LIMITS, screen, indent=2)])
    return "\n\n".join("\n".join(lines) for lines in parts)


def _now_rows(report: PlantReport, voice: Voice) -> list[list[Cell]]:
    plant, state, now = report.plant, report.state, report.now
    rows: list[tuple[str, str]] = []
    if plant is None:
        rows.append(("Gone", "it is no longer in the collection; its diary is kept"))
    else:
        there = standing(plant, state, now, voice)
        since = f", since {there.since}" if there.since else ""
        sure = "" if there.known else ", assumed: nobody has confirmed it"
        rows += [
            ("Stands at", f"{there.spot}{since}{sure}"),
            ("Home", plant.home),
            ("Shelter", plant.shelter or "none"),
            ("It is", f"{_kind(plant)}, {plant.holder}"),
            ("Size", sized(plant)),
            ("Season", season(plant, state, now, voice)),
            *((f"Last {what}", at) for what, at in watered(state, now, voice).items()),
        ]
    noted = f"{report.notes} {'entry' if report.notes == 1 else 'entries'}"
    rows.append(("Diary", noted if report.notes else "nothing is noted yet"))
    return [[head, one_line(told, 400)] for head, told in rows if told]


def _kind(plant: Plant) -> str:
    """Return what a plant is: "vanda strap-leaf x aerides"."""
    return " x ".join(map(group_lookup.name_with_group, plant.named or plant.groups)) or "no group"


def _without_repeats(rows: Sequence[tuple[str, str]]) -> list[list[Cell]]:
    """Return rows in which a head that is that of the row before is left out."""
    heads = ["", *(head for head, _ in rows)]
    return [
        ["" if head == before else head, words]
        for before, (head, words) in zip(heads, rows, strict=False)
    ]


def _nights(report: PlantReport, voice: Voice) -> Iterator[tuple[list[str], bool]]:
    shown = report.nights[:NIGHTS]
    for row in night_rows(shown, report.now, voice):
        yield [row.night, row.stood, _spaced(", ".join(row.came))], row.is_under


def _night_cells(cells: Sequence[str], is_under: bool) -> list[Cell]:
    night, stood, came = cells
    under = f"{came}, under its limit" if is_under else came
    return [night, stood, Marked(under, Mark.TROUBLE) if is_under else under]


def _spaced(value: str) -> str:
    """Return a value with an ordinary space before its unit, as terminals show it."""
    return value.replace("\u00a0", " ")
