"""What `sillward why` prints: the numbers, hour by hour, behind the decisions for one plant."""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from string import ascii_lowercase
from typing import Any, NamedTuple

from sillward.reports import pot_water
from sillward.reports.coldest_hour import coldest_hour
from sillward.reports.json_encoding import iso, plain
from sillward.reports.learned import learned_document
from sillward.reports.limits import limits_document
from sillward.reports.sheet_json import chore_document
from sillward.text.columns import WIDTH, wrapped
from sillward.text.units import fixed
from sillward.wording import chore_phrases, full_sheet, salt_words, season_words
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, Reason, Weighing
from sillward_rules.explanation import AppliedRule, ExplainedHour, Explanation
from sillward_rules.planners.walks import PLANT_PRICE, WALK_PRICE
from sillward_rules.plants.course_progress import CourseProgress
from sillward_rules.remark import (
    FeedWaits,
    LookAtLeaf,
    Remark,
    ShelterFailing,
    WaterUnlessHeavy,
)
from sillward_rules.sheet import Sheet
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import MAX_SHOWN_CHANCE, percent

MIN_SHOWN_HARM = 1e-3
"""Less harm than this is not to speak of (0..1). Judgement: one leaf lost in a thousand nights."""

# -- for people


class _Series(NamedTuple):
    """A column of the table of hours.

    unit: the unit of the core, or an abbreviation of it.
    """

    head: str
    unit: str
    width: int
    digits: int
    value_in: Callable[[ExplainedHour], float | None]


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

_LEGEND = "* night  < coldest  lVPD: leaf to air  wet: crowns  film: 0.1 mm, wetted then"
_WET_LEGEND = "~ leaf wet with rain, or perhaps: judged as cooled by evaporation"


class HourRow(NamedTuple):
    """An hour of the table: its cells without padding, and letters of the rules that fire.

    night, deciding: whether it is in the night, and the lowest leaf of it.
    """

    clock: str
    night: bool
    deciding: bool
    cells: tuple[str, ...]
    rules: str


class Parts(NamedTuple):
    """What explains a plant, part by part; each a list of lines, but for the table of hours.

    heads: the quantity and unit of each of its columns. legend: what its signs mean. coldest: how
    its coldest leaf comes about. rules: those that apply. night: how cold it gets. weighing: what
    that was weighed against. decisions: what the rounds ask for.
    """

    head: list[str]
    heads: list[tuple[str, str]]
    hours: list[HourRow]
    legend: list[str]
    coldest: list[str]
    rules: list[str]
    night: list[str]
    weighing: list[str]
    decisions: list[str]


def parts(explanation: Explanation, decided: Sequence[Sheet], voice: Voice) -> Parts:
    """Return what explains the decisions for a plant.

    decided: the sheets of today's rounds, as they would be drawn up now.
    """
    letters = {
        rule.name: letter for rule, letter in zip(explanation.rules, ascii_lowercase, strict=False)
    }
    wet = [_WET_LEGEND] if any(hour.leaf_wet for hour in explanation.hours) else []
    return Parts(
        head=list(_head_lines(explanation, voice)),
        heads=_heads(voice),
        hours=[_hour_row(hour, letters, voice) for hour in explanation.hours],
        legend=[_LEGEND, *wet],
        coldest=list(coldest_hour(explanation, voice)),
        rules=list(_rule_lines(explanation.rules, letters, voice)),
        night=_cold_lines(explanation, voice),
        weighing=_weighing_lines(explanation),
        decisions=_decision_lines(explanation, decided, voice),
    )


def text(
    explanation: Explanation, decided: Sequence[Sheet], voice: Voice, columns: int = WIDTH
) -> str:
    """Return one screen: a row for each hour, then the rules, the night and the decisions.

    decided: as for `parts`. columns: no line is wider.
    """
    told = parts(explanation, decided, voice)
    lines = [
        *told.head,
        "",
        *_hour_lines(told.heads, told.hours),
        *told.legend,
        *told.coldest,
        *told.rules,
        "",
        *told.night,
        *told.weighing,
        *told.decisions,
    ]
    return "\n".join(wrapped(line, columns) for line in lines)


def _head_lines(explanation: Explanation, voice: Voice) -> Iterator[str]:
    """Yield where the plant stands, what the spot does to the forecast, season and light."""
    assumed = ", assumed" if explanation.assumed else ""
    home, here = explanation.spot.name, explanation.stands_at
    yield f"{explanation.plant.name} at its home, {home} (stands at {here}{assumed})"
    yield _corrections(explanation.spot, explanation.pressure_kpa, voice)
    taught = explanation.spot.taught
    if taught is not None:
        yield f"readings: {voice.retold(taught)}"
    shelter = explanation.shelter
    if shelter is not None and shelter.taught is not None:
        yield f"shelter {shelter.name}: {voice.retold(shelter.taught)}"
    yield _season_and_light(explanation, voice)
    if salt := salt_words.told(explanation.salt, voice):
        yield f"salts at the roots: {salt}"
    if explanation.pot is not None:
        yield from pot_water.lines(explanation.pot, voice)
    for note in explanation.notes:
        yield f"note: {voice.retold(note)}"


def _corrections(spot: Spot, pressure_kpa: float, voice: Voice) -> str:
    """Return what the forecast was corrected with to be that of the spot."""
    if spot.holds_itself:
        night, day = voice.bound(spot.night_low_c), voice.bound(spot.day_low_c)
        holds = "holds" if spot.response is None else "was said to hold"
        return f"spot: {holds} {night} at night, {day} by day"
    sun = "sun not given" if spot.sun_windows is None else _windows(len(spot.sun_windows))
    return (
        f"spot: night {voice.offset(spot.night_offset_k)}, "
        f"day {voice.offset(spot.day_offset_k)}, "
        f"sky view {_share(spot.sky_view)}, wind x {_share(spot.wind)} at {spot.height_m:g} m, "
        f"cloth takes {spot.shade:g}, {sun}, rain x {_share(spot.rain)}; "
        f"{pressure_kpa:.1f} kPa"
    )


def _windows(count: int) -> str:
    windows = "window" if count == 1 else "windows"
    return f"{count or 'no'} {windows} of direct sun"


def _share(share: float | None) -> str:
    return "?" if share is None else f"{share:g}"


def _season(explanation: Explanation, voice: Voice) -> str:
    """Return the season, and where one is remembered, since when and what follows from it."""
    season, memory = explanation.season.value, explanation.season_memory
    if memory is None:
        return season
    since = "" if memory.came_from is None else f" since {voice.day(memory.since)}"
    if memory.is_seen(memory.counted):
        since += ", as growth was seen"
    elif explanation.season_today is not memory.season:
        since += f" (the days around now alone say {explanation.season_today.value})"
    water = season_words.water(memory.season, rests_dry=explanation.plant.rests_dry)
    return f"{season}{since}, {water}"


def _season_and_light(explanation: Explanation, voice: Voice) -> str:
    light = "not known" if explanation.dli is None else f"{explanation.dli:.1f}"
    need = "" if explanation.dli_need is None else f", wants {explanation.dli_need:.0f}"
    text = f"season: {_season(explanation, voice)}; light today {light} mol/m2{need}"
    if explanation.spot.indoors:
        return text
    return f"{text}; possible direct sun {explanation.sun_h:.1f} h"


def _heads(voice: Voice) -> list[tuple[str, str]]:
    """Return the quantity and the unit of each column of the table."""
    return [(column.head, voice.units.shown(0.0, column.unit)[1]) for column in _COLUMNS]


def _hour_row(hour: ExplainedHour, letters: Mapping[str, str], voice: Voice) -> HourRow:
    """Return a row of the table. letters: of each rule, for the column of rules that fire."""
    cells = tuple(_cell(hour, column, voice) for column in _COLUMNS)
    fired = "".join(letters.get(name, "?") for name in hour.rules)
    return HourRow(voice.hour(hour.at), hour.night, hour.deciding, cells, fired)


def _hour_lines(heads: Sequence[tuple[str, str]], rows: Sequence[HourRow]) -> Iterator[str]:
    """Yield the table of hours, under two lines of heads: the quantity, and its unit."""
    width = max(map(len, ["time", *(row.clock for row in rows)]))

    def padded(cells: Iterable[str]) -> str:
        return "".join(
            f"{cell:>{column.width}}" for cell, column in zip(cells, _COLUMNS, strict=True)
        )

    yield f" {'time':>{width}} {padded(head for head, _ in heads)}  rules"
    yield f" {'':>{width}} {padded(unit for _, unit in heads)}"
    for row in rows:
        night, mark = "*" if row.night else " ", "<" if row.deciding else " "
        yield f"{night}{row.clock:>{width}}{mark}{padded(row.cells)}  {row.rules}".rstrip()


def _cell(hour: ExplainedHour, column: _Series, voice: Voice) -> str:
    value = column.value_in(hour)
    if value is None:
        shown = "?"
    elif value == float("inf"):
        shown = "long"
    else:
        shown = fixed(voice.units.shown(value, column.unit)[0], column.digits)
    return f"~{shown}" if column is _LEAF and hour.leaf_wet else shown


def _rule_lines(
    rules: Sequence[AppliedRule], letters: Mapping[str, str], voice: Voice
) -> Iterator[str]:
    """Yield a line for each rule that fires, and one for all that do not."""
    for rule in rules:
        if rule.hours:
            bound, origin = _bound(rule, voice), _origin(rule, voice)
            letter = letters.get(rule.name, "?")
            yield f"{letter} {rule.name}: {rule.asks} if {bound}: {origin}"
    silent = [
        f"{rule.name} ({'never' if _cannot_be(rule) else _bound(rule, voice)})"
        for rule in rules
        if not rule.hours
    ]
    if silent:
        yield f"silent: {'; '.join(silent)}"


def _cannot_be(rule: AppliedRule) -> bool:
    """Whether a rule never fires: no air is so dry that its humidity is below nothing."""
    return rule.unit == "%" and rule.direction == "below" and rule.bound <= 0


def _bound(rule: AppliedRule, voice: Voice) -> str:
    return f"{rule.quantity} {rule.direction} {voice.bound(rule.bound, rule.unit)}"


def _origin(rule: AppliedRule, voice: Voice) -> str:
    """Return where a bound is from, and how far it is from the limit that it is based on."""
    origin = voice.retold(rule.origin)
    if not rule.more:
        return origin
    limit = voice.bound(rule.bound - rule.more, rule.unit)
    return f"{voice.offset(rule.more, rule.unit)} beside {limit}: {origin}"


def _cold_lines(explanation: Explanation, voice: Voice) -> list[str]:
    """Return how long and how deep the night goes under the night limit, or may go."""
    low = explanation.plant.limits.night_low
    if low is None or explanation.cold_h is None or explanation.cold_kh is None:
        return []
    chance, limit = explanation.cold_chance, voice.bound(low.value)
    odds = "" if chance is None else f", {percent(chance)} chance"
    origin = "" if chance is None else f" ({explanation.spread})"
    if explanation.cold_h:
        cold = (
            f"{explanation.cold_h:.1f} h and {voice.kelvins(explanation.cold_kh)} h under {limit}"
        )
        return [f"the night: {cold} (straight lines between quarter hours){odds}{origin}"]
    if explanation.spot.indoors and (chance is None or chance < 1 - MAX_SHOWN_CHANCE):
        return []
    if chance is None:
        return [f"the night: not under {limit} by the forecast"]
    return [f"the night: not under {limit} by the forecast{odds} that it is{origin}"]


def _weighing_lines(explanation: Explanation) -> list[str]:
    """Return the harm that is expected if it stays out, what it was weighed against, the outcome.

    Nothing where that is not known, and at home indoors where no harm is expected.
    """
    weighing = explanation.weighing
    negligible = weighing is None or weighing.harm < MIN_SHOWN_HARM
    if weighing is None or (negligible and explanation.spot.indoors):
        return []
    if not explanation.caution:
        return ["not weighed: caution is 0, so only what the forecast itself asks for counts"]
    if negligible:
        return ["weighed: no harm to speak of is expected"]
    gain, price, harm = _trips(weighing.gain), _trips(weighing.price), _short(100 * weighing.harm)
    goes_in = "stays in" if explanation.is_in else "goes in"
    outcome = goes_in if explanation.goes_in else "may stay out"
    cost = f"carrying it costs {price} ({_walk(weighing)})"
    if explanation.asked_by_rule:
        cost, outcome = "the forecast itself asks for cover", goes_in
    elif explanation.goes_in and explanation.is_ordered and weighing.gain <= weighing.price:
        cost = "it has been told to go in, and that stands"
    elif explanation.is_in:
        cost = f"keeping it in costs {price}"
    worth = explanation.plant.worth
    times = "" if worth == 1 else f" times its worth of {worth:g}"
    return [
        f"weighed: the harm that cover spares it is {harm} % of a lost leaf; at "
        f"{explanation.caution:g} trips for a lost leaf{times} that is {gain}, and {cost}: "
        f"{outcome}"
    ]


def _trips(count: float) -> str:
    shown = _short(count)
    return f"{shown} {'trip' if shown == '1' else 'trips'}"


def _short(number: float) -> str:
    """Return a number with two digits at most after the point, or without decimals."""
    if number < 1:
        return f"{round(number, 2):g}"
    return f"{number:.2g}" if number < 10 else f"{number:.0f}"


def _walk(weighing: Weighing) -> str:
    if weighing.price <= PLANT_PRICE:
        return "one more on a walk that is made anyway"
    alone = weighing.price >= PLANT_PRICE + WALK_PRICE
    return "a walk for it alone" if alone else "with its share of a walk"


def _decision_lines(explanation: Explanation, decided: Sequence[Sheet], voice: Voice) -> list[str]:
    """Return what the rounds would ask for this plant, by when and why."""
    lines = [
        f"{voice.say('kind', name=chore.kind.value).lower()}{_of(chore, sheet, voice)}: "
        f"{full_sheet.when(chore, sheet.at, voice)}; "
        f"{voice.retold(full_sheet.because(_of_the_table(reason, explanation), chore, voice))}"
        for sheet, chore, reason in _decisions(explanation, decided)
    ]
    lines += _shelter_lines(explanation, decided, voice)
    lines += _course_lines(explanation, decided, voice)
    return lines or ["nothing to do for it today and tonight"]


def _of(chore: Chore, sheet: Sheet, voice: Voice) -> str:
    """Return which feed or course a chore gives, where it has a name, and what that is."""
    if not chore.what:
        return ""
    mix = sheet.mix_of(chore)
    return f", {chore.what}{f' ({voice.retold(mix)})' if mix else ''}"


def _course_lines(
    explanation: Explanation, decided: Sequence[Sheet], voice: Voice
) -> Iterator[str]:
    """Yield how far each course of the plant has come, and what is too strong for it."""
    yield from (voice.remark(remark) for remark in explanation.too_strong)
    for course in _courses(explanation, decided):
        if course.ended_at is not None:
            yield f"course {course.name}: ended {voice.day(course.ended_at)}"
            continue
        last = f", last {voice.day(course.doses[-1].at)}" if course.doses else ""
        at = course.looked_at
        looked = "" if at is None else f"; leaves looked at {voice.day(at)}"
        times = "once" if course.total == 1 else f"{course.total} times"
        yield f"course {course.name}: given {times if course.total else 'not yet'}{last}{looked}"


def _courses(explanation: Explanation, decided: Sequence[Sheet]) -> tuple[CourseProgress, ...]:
    states = decided[0].states if decided else {}
    state = states.get(explanation.plant.name)
    return () if state is None else state.care.courses


def _of_the_table(reason: Reason, explanation: Explanation) -> Reason:
    """Return a reason with the name of the column of the table in which its value stands.

    What goes out is judged by the air at its spot where that is colder than its leaf.
    """
    if reason.quantity != "leaf temperature" or reason.value is None:
        return reason
    for hour in explanation.hours:
        if hour.at == reason.at and hour.leaf_c is not None and hour.temp_c is not None:
            is_air = reason.value < hour.leaf_c and abs(reason.value - hour.temp_c) < SAME_K
            return replace(reason, quantity="temperature") if is_air else reason
    return reason


SAME_K = 0.05
"""Two temperatures that are told alike [K]."""


_TOLD_OF_PLANTS = (ShelterFailing, FeedWaits, LookAtLeaf, WaterUnlessHeavy)


def _shelter_lines(
    explanation: Explanation, decided: Sequence[Sheet], voice: Voice
) -> Iterator[str]:
    """Yield what the sheets warn of about where the plant spends its nights and what it gets."""
    name, told = explanation.plant.name, set[Remark]()
    for remark in (remark for sheet in decided for remark in sheet.warnings):
        if not (chore_phrases.is_too_cold(remark) or isinstance(remark, _TOLD_OF_PLANTS)):
            continue
        of_plant = replace(remark, plants=(name,))
        if name in remark.plants and of_plant not in told:
            told.add(of_plant)
            yield voice.remark(of_plant, None)


def _decisions(
    explanation: Explanation, decided: Sequence[Sheet]
) -> list[tuple[Sheet, Chore, Reason]]:
    """Return the chores of these sheets for the plant, each with the plant's reason.

    One that two sheets ask for, like an order that is still open, is the last one's.
    """
    found: dict[Hashable, tuple[Sheet, Chore, Reason]] = {}
    for sheet in decided:
        for chore in sheet.chores:
            for reason in chore.because:
                if reason.plant == explanation.plant.name:
                    what = chore.kind, chore.what, chore.from_spot, chore.to_spot, chore.before
                    found[what] = sheet, chore, reason
    return list(found.values())


# -- for machines


def document(explanation: Explanation, decided: Sequence[Sheet], site: Site) -> dict[str, Any]:
    """Return the same as plain types, for JSON: in SI units, with times in the site's zone."""
    voice = Voice(site)
    return {
        "schema": 1,
        "plant": explanation.plant.name,
        "spot": explanation.spot.name,
        "stands_at": explanation.stands_at,
        "assumed": explanation.assumed,
        "season": explanation.season.value,
        **_pot(explanation, site),
        **season_words.document(explanation.season_memory, explanation.season_today),
        **salt_words.document(explanation.salt),
        "pressure_kpa": plain(explanation.pressure_kpa),
        "corrections": _corrections_document(explanation.spot),
        "light": {
            "dli": plain(explanation.dli),
            "wants": plain(explanation.dli_need),
            "sun_h": plain(explanation.sun_h),
        },
        "cold": {
            "hours": plain(explanation.cold_h),
            "degree_hours": plain(explanation.cold_kh),
            "chance": plain(explanation.cold_chance),
            "spread": explanation.spread,
        },
        "weighing": _weighing_document(explanation),
        "limits": limits_document(explanation.plant.limits),
        "rules": [_rule_document(rule, voice) for rule in explanation.rules],
        "notes": list(explanation.notes),
        **_courses_document(explanation, decided, site),
        "chores": [chore_document(chore, site) for _, chore, _ in _decisions(explanation, decided)],
        "hours": [_hour_document(hour, site) for hour in explanation.hours],
    }


def _courses_document(
    explanation: Explanation, decided: Sequence[Sheet], site: Site
) -> dict[str, Any]:
    """Return how far the courses of the plant have come; nothing without any."""
    told = [
        {
            "name": course.name,
            "given": course.total,
            "last": iso(course.doses[-1].at, site) if course.doses else None,
            "looked_at": None if course.looked_at is None else iso(course.looked_at, site),
            "ended_at": None if course.ended_at is None else iso(course.ended_at, site),
        }
        for course in _courses(explanation, decided)
    ]
    return {"courses": told} if told else {}


def _weighing_document(explanation: Explanation) -> dict[str, Any] | None:
    weighing = explanation.weighing
    if weighing is None:
        return None
    return {
        "expected_harm": plain(weighing.harm, 4),
        "caution": plain(explanation.caution),
        "worth": plain(explanation.plant.worth),
        "gain_trips": plain(weighing.gain),
        "price_trips": plain(weighing.price),
        "goes_in": explanation.goes_in,
    }


def _corrections_document(spot: Spot) -> dict[str, Any]:
    return {
        "night_offset_k": spot.night_offset_k,
        "day_offset_k": spot.day_offset_k,
        "sky_view": spot.sky_view,
        "wind": spot.wind,
        "height_m": spot.height_m,
        "shade": spot.shade,
        "rain": spot.rain,
        "learned": learned_document(spot),
    }


def _rule_document(rule: AppliedRule, voice: Voice) -> dict[str, Any]:
    return {
        "name": rule.name,
        "asks": rule.asks,
        "quantity": rule.quantity,
        "direction": rule.direction,
        "bound": plain(rule.bound),
        "unit": rule.unit,
        "origin": _origin(rule, voice),
        "hours": rule.hours,
    }


def _hour_document(hour: ExplainedHour, site: Site) -> dict[str, Any]:
    return {
        "at": iso(hour.at, site),
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
        "learned_k": plain(hour.learned_k),
        "warming_cloud": plain(hour.warming_cloud),
        "leaf_wet": hour.leaf_wet,
        "rules": list(hour.rules),
        "deciding": hour.deciding,
    }


def _pot(explanation: Explanation, site: Site) -> dict[str, Any]:
    """Return the water of its pot; nothing without one."""
    pot = explanation.pot
    return {} if pot is None else {"pot": pot_water.document(pot, site)}
