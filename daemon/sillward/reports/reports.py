"""What the commands other than `sheet` print: check, why, status, groups."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import datetime, timedelta
from string import ascii_lowercase
from typing import Any, NamedTuple

from sillward.config import group_lookup
from sillward.config.loader import Household
from sillward.forecast.updater import Keeper
from sillward.ledger import Notice
from sillward.ledger.chore_codec import of_chore, plain
from sillward.reports.coldest_hour import coldest_hour
from sillward.service import due_rounds
from sillward.service.health import TICK_MARK, troubles
from sillward.text.columns import PIPE, Cell, Column, Mark, Marked, Screen, table, wrapped
from sillward.wording import full_sheet
from sillward.wording.voice import Voice, fixed
from sillward_rules.account import Account, AccountHour, HeldRule
from sillward_rules.chore import Chore, Reason
from sillward_rules.plants.group_names import (
    alias_named,
    aliases_by_group,
    folded,
    genus_of,
    singulars,
)
from sillward_rules.plants.groups import Group, standard_groups
from sillward_rules.plants.plant import UNITS, Limits, Plant
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Sheet, feed_in_words
from sillward_rules.weather import light
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import SURE, percent

# -- check


def check_text(
    household: Household, now: datetime, sources: Sequence[str], screen: Screen = PIPE
) -> str:
    """The collection as it was understood, and where forecasts come from, in order."""
    collection, voice = household.collection, household.voice
    site = collection.site
    lines = screen.lines(
        f"{site.name}: {site.latitude:g}, {site.longitude:g}, {site.elevation_m:g} m, {site.zone}"
    )
    for plant in collection.plants:
        lines += ["", *_plant_lines(plant, voice, screen)]
    lines.append("")
    for spot in collection.spots:
        kind = "indoors" if spot.indoors else "outdoors"
        lines += screen.lines(f"spot {spot.name} ({kind})")
        if spot.sun_windows is not None:
            today = light.direct_sun_hours(site, spot.sun_windows, site.local_date(now))
            lines.append(f"  possible direct sun today: {today:.1f} h")
        for question in spot.open_questions():
            lines += screen.lines(f"  ? {voice.retold(question)}")
    lines += ["", *table(list(_facts(household, now, sources)), _LABELLED, screen)]
    if not household.channels:
        alone = "no channels: sheets can be printed, but nobody will be told"
        lines += screen.lines(alone, Mark.TROUBLE)
    well = f"all is well: {voice.plants(len(collection.plants))}"
    return "\n".join([*lines, *screen.lines(well, Mark.OK)])


_LABELLED = (Column(fixed=True), Column())
"""What a line is about, and what it says."""


def _facts(
    household: Household, now: datetime, sources: Sequence[str]
) -> Iterator[tuple[Cell, Cell]]:
    """What holds for the whole collection: what about, and what."""
    collection, voice = household.collection, household.voice
    yield "rules:", ", ".join(rule.name for rule in collection.rules)
    if collection.feed is not None:
        yield "feed:", feed_in_words(collection.feed)
    if collection.habits.hours:
        yield "watering hours:", ", ".join(map(voice.hours, collection.habits.hours))
    yield "forecast:", ", then ".join(sources)
    for round_, occasion in due_rounds.upcoming(collection.site, household.rounds, now).items():
        yield f"next {round_.value} round:", voice.date_and_hour(occasion.due_at)
    yield "what follows:", _manners(household)
    yield "told in:", _speech(voice)
    for channel in household.channels:
        length = "in full" if channel.full_length else "in short"
        told = ", ".join(channel.rounds)
        url = "no url yet" if channel.url is None else "url is fine"
        yield f"channel {channel.name}:", f"{told}, {length}; {url}"


def _speech(voice: Voice) -> str:
    """The units, and how many lines the grower has worded."""
    units, wording = voice.units, voice.wording
    told = f"{units.temperature}, {units.clock}, {units.wind}"
    own = len(wording.own)
    if own:
        told += f"; {own} {'line' if own == 1 else 'lines'} in your own words"
    return f"{told}; a page of your own" if wording.page is not None else told


def _manners(household: Household) -> str:
    manners, quiet = household.manners, household.rounds.quiet.hours

    def ahead(what: str, by: timedelta | None) -> str:
        return (
            f"{what} never" if by is None else f"{what} {by / timedelta(minutes=1):.0f} min before"
        )

    parts = [ahead("remind", manners.remind), ahead("pass on", manners.pass_on)]
    parts.append(f"changes of more than {manners.moved_by / timedelta(minutes=1):.0f} min")
    parts.append(f"at most {manners.most} messages of a round")
    parts.append(f"quiet {household.voice.hours(quiet)}" if quiet else "no quiet hours")
    return ", ".join(parts)


def _plant_lines(plant: Plant, voice: Voice, screen: Screen) -> list[str]:
    kind = " x ".join(map(group_lookup.said, plant.named or plant.groups)) or "no group"
    roots = ", bare velamen" if plant.velamen else ""
    way = f"{plant.home}, shelter {plant.shelter}" if plant.shelter else f"{plant.home}, no shelter"
    rows = [
        (
            name,
            value if isinstance(value, str) else voice.bound(value, unit),
            voice.retold(origin),
        )
        for name, value, unit, origin in _limits(plant.limits)
    ]
    columns = (Column(fixed=True), Column(fixed=True), Column())
    asked = [question for name in plant.named if (question := group_lookup.open_question(name))]
    return [
        *screen.lines(plant.name),
        *screen.lines(f"  {kind}; {plant.holder}{roots}; {way}"),
        *(line for question in asked for line in screen.lines(f"  ? {question}")),
        *table(rows, columns, screen, indent=2),
    ]


def _limits(limits: Limits) -> list[tuple[str, float | str, str, str]]:
    return [
        (field.name, limit.value, UNITS.get(field.name, ""), limit.origin)
        for field in fields(Limits)
        if (limit := getattr(limits, field.name)) is not None
    ]


def check_document(household: Household, sources: Sequence[str]) -> dict[str, Any]:
    """The same for machines."""
    collection = household.collection
    return {
        "schema": 1,
        "site": collection.site.name,
        "plants": [
            {
                "name": plant.name,
                "groups": list(plant.groups),
                "named": list(plant.named or plant.groups),
                "home": plant.home,
                "shelter": plant.shelter,
                "limits": {
                    name: {"value": value, "unit": unit, "origin": origin}
                    for name, value, unit, origin in _limits(plant.limits)
                },
            }
            for plant in collection.plants
        ],
        "open": {spot.name: list(spot.open_questions()) for spot in collection.spots},
        "rules": [rule.name for rule in collection.rules],
        "forecast": list(sources),
        "channels": [channel.name for channel in household.channels],
    }


# -- why


class _Series(NamedTuple):
    """A column of the table of hours. unit: the core's, or short for it."""

    head: str
    unit: str
    width: int
    digits: int
    of: Callable[[AccountHour], float | None]


_LEAF = _Series("leaf", "°C", 6, 1, lambda hour: hour.leaf_c)

_COLUMNS = (
    _Series("fcst", "°C", 6, 1, lambda hour: hour.forecast["temp_c"]),
    _Series("spot", "°C", 6, 1, lambda hour: hour.temp_c),
    _LEAF,
    _Series("RH", "%", 5, 0, lambda hour: hour.rh_pct),
    _Series("VPD", "kPa", 6, 2, lambda hour: hour.vpd_kpa),
    _Series("lVPD", "kPa", 6, 2, lambda hour: hour.leaf_vpd_kpa),
    _Series("wind", "m/s", 6, 1, lambda hour: hour.wind_m_s),
    _Series("PPFD", "umol", 5, 0, lambda hour: hour.ppfd),
    _Series("rain", "mm", 5, 1, lambda hour: hour.rain_mm),
    _Series("wet", "h", 5, 0, lambda hour: hour.crown_wet_h),
    _Series("film", "min", 5, 0, lambda hour: hour.film_min),
)
"""Wide enough for 100.4 °F and 100.4 km/h."""


def _decisions(account: Account, decided: Sequence[Sheet]) -> Iterator[tuple[Sheet, Chore, Reason]]:
    """What the rounds would ask for this plant now, with its own reason."""
    for sheet in decided:
        for chore in sheet.chores:
            for reason in chore.because:
                if reason.plant == account.plant.name:
                    yield sheet, chore, reason


def why_text(account: Account, decided: Sequence[Sheet], voice: Voice) -> str:
    """One screen: a row for each hour, the deciding one marked, the rules, and what follows."""
    plant = account.plant
    assumed = ", assumed" if account.assumed else ""
    letters = {
        rule.name: letter for rule, letter in zip(account.rules, ascii_lowercase, strict=False)
    }
    lines = [
        f"{plant.name} at its home, {account.spot.name} (stands at {account.stands_at}{assumed})",
        _at_spot(account, voice),
        _season_and_light(account),
        *(f"note: {voice.retold(note)}" for note in account.notes),
        "",
        *_hour_lines(account.hours, letters, voice),
    ]
    lines += ["* night  < coldest  lVPD: leaf to air  wet: crowns  film: 0.1 mm, wetted then"]
    if any(hour.leaf_wet for hour in account.hours):
        lines.append("~ leaf wet with rain, or perhaps: judged as cooled by evaporation")
    lines += coldest_hour(account, voice)
    lines += [
        f"{letters.get(rule.name, '?')} {_rule(rule, voice)}"
        for rule in account.rules
        if rule.hours
    ]
    silent = [f"{rule.name} ({_bound(rule, voice)})" for rule in account.rules if not rule.hours]
    lines += [f"silent: {'; '.join(silent)}"] if silent else []
    lines += ["", *_cold_line(account, voice)]
    lines += [
        f"{voice.say('kind', name=chore.kind.value).lower()}: "
        f"{full_sheet.when(chore, sheet.at, voice)}; "
        f"{voice.retold(full_sheet.because(reason, chore, voice))}"
        for sheet, chore, reason in _decisions(account, decided)
    ] or ["nothing to do for it today and tonight"]
    return "\n".join(wrapped(line) for line in lines)


def _at_spot(account: Account, voice: Voice) -> str:
    """What the forecast was corrected with."""
    spot = account.spot
    if spot.holds_itself:
        night, day = voice.bound(spot.night_low_c), voice.bound(spot.day_low_c)
        return f"spot: holds {night} at night, {day} by day"
    sun = "sun not given" if spot.sun_windows is None else _windows(len(spot.sun_windows))
    return (
        f"spot: night {voice.offset(spot.night_offset_k)}, "
        f"day {voice.offset(spot.day_offset_k)}, "
        f"sky view {_or(spot.sky_view)}, wind x {_or(spot.wind)} at {spot.height_m:g} m, "
        f"cloth takes {spot.shade:g}, {sun}, rain x {_or(spot.rain)}; "
        f"{account.pressure_kpa:.1f} kPa"
    )


def _windows(count: int) -> str:
    windows = "window" if count == 1 else "windows"
    return f"{count or 'no'} {windows} of direct sun"


def _or(share: float | None) -> str:
    return "?" if share is None else f"{share:g}"


def _season_and_light(account: Account) -> str:
    light = "not known" if account.dli is None else f"{account.dli:.1f}"
    need = "" if account.dli_need is None else f", wants {account.dli_need:.0f}"
    said = f"season: {account.season.value}; light today {light} mol/m2{need}"
    if account.spot.indoors:
        return said
    return f"{said}; possible direct sun {account.sun_h:.1f} h"


def _rule(rule: HeldRule, voice: Voice) -> str:
    return f"{rule.name}: {rule.asks} if {_bound(rule, voice)}: {_origin(rule, voice)}"


def _bound(rule: HeldRule, voice: Voice) -> str:
    return f"{rule.quantity} {rule.direction} {voice.bound(rule.bound, rule.unit)}"


def _origin(rule: HeldRule, voice: Voice) -> str:
    """Whose the bound is, and how far it is beside the limit that it goes by."""
    origin = voice.retold(rule.origin)
    if not rule.more:
        return origin
    limit = voice.bound(rule.bound - rule.more, rule.unit)
    return f"{voice.offset(rule.more, rule.unit)} beside {limit}: {origin}"


def _cold_line(account: Account, voice: Voice) -> list[str]:
    low = account.plant.limits.night_low
    if low is None or account.cold_h is None or account.cold_kh is None:
        return []
    chance, limit = account.cold_chance, voice.bound(low.value)
    told = "" if chance is None else f", {percent(chance)} chance"
    origin = "" if chance is None else f" ({account.spread})"
    if account.cold_h:
        text = f"{account.cold_h:.1f} h and {voice.kelvins(account.cold_kh)} h under {limit}"
        return [f"the night: {text} (straight lines between quarter hours){told}{origin}"]
    if chance is None or chance < 1 - SURE:
        return []
    return [f"the night: not under {limit} by the forecast{told} that it is{origin}"]


def _hour_lines(
    hours: Sequence[AccountHour], letters: Mapping[str, str], voice: Voice
) -> Iterator[str]:
    """The table of hours, under two lines of heads: what, and in which unit."""
    clocks = [voice.hour(hour.at) for hour in hours]
    widest = max(map(len, ["time", *clocks]))
    yield f" {'time':>{widest}} {''.join(f'{one.head:>{one.width}}' for one in _COLUMNS)}  rules"
    units = (f"{voice.units.shown(0.0, one.unit)[1]:>{one.width}}" for one in _COLUMNS)
    yield f" {'':>{widest}} {''.join(units)}"
    for clock, hour in zip(clocks, hours, strict=True):
        cells = "".join(_cell(hour, one, voice) for one in _COLUMNS)
        night, mark = "*" if hour.night else " ", "<" if hour.deciding else " "
        fired = "".join(letters.get(name, "?") for name in hour.rules)
        yield f"{night}{clock:>{widest}}{mark}{cells}  {fired}".rstrip()


def _cell(hour: AccountHour, column: _Series, voice: Voice) -> str:
    value = column.of(hour)
    if value is None:
        told = "?"
    elif value == float("inf"):
        told = "long"
    else:
        told = fixed(voice.units.shown(value, column.unit)[0], column.digits)
    if column is _LEAF and hour.leaf_wet:
        told = f"~{told}"
    return f"{told:>{column.width}}"


def why_document(account: Account, decided: Sequence[Sheet], site: Site) -> dict[str, Any]:
    """The same for machines."""
    spot, voice = account.spot, Voice(site)
    return {
        "schema": 1,
        "plant": account.plant.name,
        "spot": spot.name,
        "stands_at": account.stands_at,
        "assumed": account.assumed,
        "season": account.season.value,
        "pressure_kpa": plain(account.pressure_kpa),
        "corrections": {
            "night_offset_k": spot.night_offset_k,
            "day_offset_k": spot.day_offset_k,
            "sky_view": spot.sky_view,
            "wind": spot.wind,
            "height_m": spot.height_m,
            "shade": spot.shade,
            "rain": spot.rain,
        },
        "light": {
            "dli": plain(account.dli),
            "wants": plain(account.dli_need),
            "sun_h": plain(account.sun_h),
        },
        "cold": {
            "hours": plain(account.cold_h),
            "degree_hours": plain(account.cold_kh),
            "chance": plain(account.cold_chance),
            "spread": account.spread,
        },
        "limits": {
            name: {"value": value, "unit": unit, "origin": origin}
            for name, value, unit, origin in _limits(account.plant.limits)
        },
        "rules": [
            {
                "name": rule.name,
                "asks": rule.asks,
                "quantity": rule.quantity,
                "direction": rule.direction,
                "bound": plain(rule.bound),
                "unit": rule.unit,
                "origin": _origin(rule, voice),
                "hours": rule.hours,
            }
            for rule in account.rules
        ],
        "notes": list(account.notes),
        "chores": [of_chore(chore, site) for _, chore, _ in _decisions(account, decided)],
        "hours": [
            {
                "at": hour.at.astimezone(site.zone).isoformat(timespec="seconds"),
                "night": hour.night,
                "forecast": {name: plain(value) for name, value in hour.forecast.items()},
                "temp_c": plain(hour.temp_c),
                "leaf_c": plain(hour.leaf_c),
                "rh_pct": plain(hour.rh_pct),
                "vpd_kpa": plain(hour.vpd_kpa),
                "leaf_vpd_kpa": plain(hour.leaf_vpd_kpa),
                "wind_m_s": plain(hour.wind_m_s),
                "light_w_m2": plain(hour.light_w_m2),
                "ppfd": plain(hour.ppfd),
                "rain_mm": plain(hour.rain_mm),
                "crown_wet_h": plain(hour.crown_wet_h),
                "film_min": plain(hour.film_min),
                "offset_k": plain(hour.offset_k),
                "offset_share": plain(hour.offset_share),
                "warming_cloud": plain(hour.warming_cloud),
                "leaf_wet": hour.leaf_wet,
                "rules": list(hour.rules),
                "deciding": hour.deciding,
            }
            for hour in account.hours
        ],
    }


# -- status


def status_document(
    household: Household, keeper: Keeper, now: datetime, voice: Voice
) -> dict[str, Any]:
    """What the ledger knows, as plain types. voice: for the troubles in it."""
    site, ledger = household.collection.site, keeper.shelf.ledger

    def iso(at: datetime | None) -> str | None:
        return None if at is None else at.astimezone(site.zone).isoformat(timespec="seconds")

    best, failed = keeper.shelf.best(site), keeper.shelf.failure()
    tick = ledger.mark_of(TICK_MARK)
    return {
        "schema": 1,
        "site": site.name,
        "at": iso(now),
        "forecast": None
        if best is None
        else {
            "source": best.source.name,
            "fetched": iso(best.stored.fetched_at),
            "age_minutes": max(0, int(best.weather.age(now) / timedelta(minutes=1))),
            "state": best.weather.freshness(now).value,
        },
        "tick": iso(None if tick is None else tick.at),
        "troubles": troubles(household, keeper.shelf, now, voice),
        "outbox": _outbox(ledger.notices(site.name, most=500), now),
        "fetch_failed": None if failed is None else {"at": iso(failed.at), "why": failed.text},
        "clock": keeper.shelf.clock_doubt(),
        "next": {
            round_.value: iso(occasion.due_at)
            for round_, occasion in due_rounds.upcoming(site, household.rounds, now).items()
        },
        "notices": [
            {
                "round": notice.round,
                "stage": notice.stage,
                "day": notice.day,
                "channel": notice.channel,
                "state": notice.state,
                "attempts": notice.attempts,
                "sent": iso(notice.sent_at),
                "title": notice.title,
                "last_error": notice.last_error,
            }
            for notice in ledger.notices(site.name)
        ],
        "chores": [
            {
                "id": chore.id,
                "before": iso(chore.before),
                "done": iso(chore.done_at),
                "called_off": iso(chore.called_off_at),
                "reminded": iso(chore.reminded_at),
            }
            for chore in ledger.chores(site.name, now - timedelta(hours=12))
        ],
        "plants": {
            name: _plant_now(state, now, iso) for name, state in ledger.states(site.name).items()
        },
    }


def _outbox(notices: Sequence[Notice], now: datetime) -> dict[str, int]:
    """How many notices wait, how many of them failed so far, and of the last week how many were
    delivered and how many could not be sent in time."""
    waiting = [one for one in notices if one.state in ("waiting", "sending")]
    lately = [one for one in notices if now - timedelta(days=7) <= one.expires_at]
    return {
        "waiting": len(waiting),
        "failing": sum(one.attempts > 0 for one in waiting),
        "delivered": sum(one.state == "sent" for one in lately),
        "lost": sum(one.state == "expired" for one in lately),
    }


def status_line(household: Household, wrong: Sequence[str], now: datetime) -> str:
    """How it is, in half a line: for a service manager's list."""
    site, voice = household.collection.site, household.voice
    coming = due_rounds.upcoming(site, household.rounds, now).values()
    first = min(coming, key=lambda one: one.due_at)
    head, due = wrong[0] if wrong else "all is well", voice.day_and_hour(first.due_at)
    return f"{site.name}: {head}; next {first.round.value} {due}"


def _plant_now(
    state: PlantState, now: datetime, iso: Callable[[datetime | None], str | None]
) -> dict[str, Any]:
    """Where a plant stands now, and where it is to go next if the advice is followed."""
    here = state.at(now)
    plant: dict[str, Any] = {"spot": here.spot, "since": iso(here.since), "assumed": state.assumed}
    if here.spot != state.spot:
        plant["next"] = {"spot": state.spot, "at": iso(state.since)}
    return plant


def status_text(report: dict[str, Any], voice: Voice, screen: Screen = PIPE) -> str:
    """The status in tables."""
    lines = [*screen.lines(f"{report['site']}, {_told(report['at'], voice)}"), ""]
    troubles = [("trouble", Marked(one, Mark.TROUBLE)) for one in report["troubles"]]
    lines += table(troubles, _LABELLED, screen) or screen.lines("all is well", Mark.OK)
    lines += ["", *table(list(_doings(report, voice)), _LABELLED, screen)]
    plants = [_plant_row(name, one, voice) for name, one in report["plants"].items()]
    for name, rows, columns in (
        ("notices", [_notice_row(one, voice) for one in report["notices"]], _NOTICE),
        ("chores", [_chore_row(one, voice) for one in report["chores"]], _CHORE),
        ("plants", plants, _PLANT),
    ):
        if rows:
            lines += ["", name, *table(rows, columns, screen, indent=2)]
    if not report["notices"]:
        lines += ["", "no notices so far"]
    return "\n".join(lines)


def _doings(report: dict[str, Any], voice: Voice) -> Iterator[tuple[Cell, Cell]]:
    """What was fetched, what waits and what comes next: what about, and what."""
    forecast, failed, outbox = report["forecast"], report["fetch_failed"], report["outbox"]
    if forecast is None:
        yield "forecast", "none so far"
    else:
        old = voice.age(timedelta(minutes=forecast["age_minutes"]))
        state = "" if forecast["state"] == "fresh" else f", {forecast['state']}"
        at = _told(forecast["fetched"], voice)
        fetched = f"{forecast['source']}, fetched {at}, {old}{state}"
        yield "forecast", Marked(fetched, Mark.TROUBLE if state else None)
    if failed is not None:
        yield "", f"failed {_told(failed['at'], voice)}: {voice.retold(failed['why'])}"
    if report["clock"]:
        yield "clock", Marked(report["clock"], Mark.TROUBLE)
    if report["tick"]:
        yield "last tick", f"{_told(report['tick'], voice)} (written down every 10 min)"
    yield (
        "outbox",
        f"{outbox['waiting']} waiting, {outbox['failing']} of them failing; "
        f"in 7 days {outbox['delivered']} delivered, {outbox['lost']} not",
    )
    for number, (name, at) in enumerate(report["next"].items()):
        yield "" if number else "next", f"{name:<8}{_told(at, voice)}"


_NOTICE = (Column(fixed=True), Column(), Column(), Column(), Column())
_CHORE = (Column(), Column(fixed=True))
_PLANT = (Column(), Column())


def _notice_row(notice: dict[str, Any], voice: Voice) -> list[Cell]:
    """Day, what, channel, what became of it, title."""
    reason = (notice["last_error"] or "").removeprefix(f"channel {notice['channel']}: ")
    why = f"; {reason}" if reason else ""
    sent = f" {_told(notice['sent'], voice)}" if notice["sent"] else ""
    tries = f", {notice['attempts']} tries" if notice["attempts"] > 1 else ""
    follows = notice["stage"] in ("reminder", "passed on")
    what = f"{notice['round']} {notice['stage']}" if follows else notice["round"]
    fails = bool(reason) and notice["state"] not in ("sent", "not needed")
    state = Marked(f"{notice['state']}{sent}{tries}{why}", Mark.TROUBLE if fails else None)
    return [notice["day"], what, notice["channel"], state, notice["title"]]


def _chore_row(chore: dict[str, Any], voice: Voice) -> list[Cell]:
    state = "called off" if chore["called_off"] else "open"
    return [chore["id"], f"done {_told(chore['done'], voice)}" if chore["done"] else state]


def _plant_row(name: str, plant: dict[str, Any], voice: Voice) -> list[Cell]:
    assumed = " (assumed)" if plant["assumed"] else ""
    after = plant.get("next")
    then = f", {after['spot']} from {_told(after['at'], voice)}" if after else ""
    return [name, f"{plant['spot']}{assumed}{then}"]


def _told(iso: str, voice: Voice) -> str:
    return voice.date_and_hour(datetime.fromisoformat(iso))


# -- groups


def groups_with(words: Sequence[str]) -> dict[Group, list[str]]:
    """The culture groups that these words find, each with those of its other names that did.

    What the words as a whole are a name of comes first; then the groups with all the words, as
    beginnings, in name, title and examples, or in one of their names.
    """
    parts = folded(" ".join(words)).split()
    known = standard_groups()
    whole = alias_named(" ".join(words)) if parts else None
    found: dict[Group, list[str]] = {}
    if whole is not None:
        found = {known[name]: [whole.name] for name in whole.groups}
    for name, group in known.items():
        text = f"{name} {group.title} {group.examples}"
        shown = folded(f"{name} {group.examples}")
        called = [one.name for one in aliases_by_group()[name] if _has_all(one.name, parts)]
        if called or _has_all(text, parts):
            new = [one for one in called if parts and folded(one) not in shown]
            found[group] = [*dict.fromkeys([*found.get(group, []), *new])]
    return found


def _has_all(text: str, parts: Sequence[str]) -> bool:
    """Whether each of the words begins a word of the text, in the plural too."""
    words = folded(text).split()
    return all(
        any(word.startswith(form) for word in words for form in singulars(part)) for part in parts
    )


def group_line(group: Group) -> str:
    """A group with its night limit and what belongs to it."""
    low = group.limits.night_low
    night = f"{low.value:g} °C" if low else "?"
    return f"{group.name:<28}night {night:<7}{group.examples}"


MOST_NAMES = 4
"""Other names of a group that are told beside it: enough to see why it was found. Judgement."""


def groups_text(words: Sequence[str], screen: Screen = PIPE) -> str:
    """The culture groups that these words find, with their night limits.

    With what the words stand for above them where that is another name, and what may have been
    meant where nothing is found.
    """
    asked = " ".join(words)
    alias, rows = alias_named(asked) if words else None, []
    found = groups_with(words)
    genus = None if found else genus_of(asked)
    for name in genus.groups if genus else ():
        found[standard_groups()[name]] = []
    for group, called in found.items():
        low = group.limits.night_low
        told = group.examples
        others = [name for name in called if alias is None or name != alias.name]
        if others:
            told += (
                f" (also {', '.join(others[:MOST_NAMES])}{', ...' * (len(others) > MOST_NAMES)})"
            )
        rows.append((group.name, f"night {low.value:g} °C" if low else "night ?", told))
    lines = table(rows, (Column(fixed=True), Column(fixed=True), Column()), screen)
    if not rows:
        return "\n".join(
            screen.lines(f"no group has all these words{group_lookup.suggestion(asked)}")
        )
    head = ""
    if genus is not None:
        head = f"{asked} is not listed; its genus is: {group_lookup.one_of(genus.groups)}"
    elif alias is not None and alias.groups != (alias.name,):
        head = group_lookup.explained(alias)
    return "\n".join([*(screen.lines(head) if head else []), *lines])
