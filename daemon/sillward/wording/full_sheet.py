"""A sheet in full, for the terminal and for mail: every chore, every plant, every number."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby

from sillward.text.columns import WIDTH, padded, width, wrapped
from sillward.text.numbered_names import folded
from sillward.wording import chore_phrases, load_words, reason_phrases
from sillward.wording.mist_advice import GIVEN, mist_advice
from sillward.wording.origin import origin_of
from sillward.wording.voice import Voice
from sillward.wording.weekly_mail import week_ahead
from sillward_rules.chore import WETTINGS, Chore, ChoreKind, Reason
from sillward_rules.planners.feeding import COURSE_FILM, COURSE_RINSE
from sillward_rules.planners.leaching import SALT
from sillward_rules.sheet import Round, Sheet

_ORDER = (
    ChoreKind.CARRY_IN,
    ChoreKind.CARRY_OUT,
    ChoreKind.MIST,
    ChoreKind.FEED,
    ChoreKind.COURSE,
    ChoreKind.FLUSH,
    ChoreKind.WATER,
    ChoreKind.LEACH,
    ChoreKind.STOP_WETTING,
    ChoreKind.MOVE,
    ChoreKind.SHADE,
    ChoreKind.COVER,
    ChoreKind.SECURE,
    ChoreKind.DAMP_DOWN,
    ChoreKind.STAY_IN,
)
"""Kinds of chores in the order in which they are told."""


def text(
    sheet: Sheet, voice: Voice, attribution: str, footer: Sequence[str] = (), columns: int = WIDTH
) -> str:
    """Return the whole sheet as plain text of lines that are no wider than so many columns.

    footer: lines before the origin of the forecast and the caution.
    """
    lines = _lines(sheet, voice, attribution, footer)
    return "\n".join(wrapped(line, columns) for line in lines).rstrip() + "\n"


def _lines(sheet: Sheet, voice: Voice, attribution: str, footer: Sequence[str]) -> Iterator[str]:
    say, round_ = voice.say, sheet.round
    time = voice.long_day(sheet.at)
    yield say("sheet_head", site=sheet.site, round=round_.value, told=time)
    yield ""
    if sheet.outlook is not None:
        yield from week_ahead.outlook(sheet.outlook, voice)
    if not any(chore.kind is not ChoreKind.STOP_WETTING for chore in sheet.chores):
        reaches = sheet.outlook is None or bool(sheet.outlook.nights)
        yield say("nothing_to_tell", round=round_.value) if reaches else say("not_reached")
        yield ""
    for kind in _ORDER if round_ is not Round.WEEK else ():
        of_kind = [chore for chore in sheet.chores if chore.kind is kind]
        if kind in WETTINGS:  # sorted by their beginnings, not by their deadlines
            of_kind.sort(key=lambda chore: (chore.not_before or chore.before, chore.before))
        if of_kind:
            yield say("kind", name=kind.value).upper()
            for chore in of_kind:
                yield from _chore(chore, sheet, voice)
            yield ""
    if round_ is Round.WEEK and sheet.chores:
        trips = [
            f"{voice.day(day)}  {text}" for day, text in week_ahead.carrying(sheet.chores, voice)
        ]
        yield from _listed("carrying", trips, voice)
    if round_ is Round.WEEK and sheet.outlook is not None and sheet.outlook.days:
        yield from _listed("feed", list(week_ahead.feeding(sheet, voice)), voice)
        yield from _listed("water", list(week_ahead.watering(sheet.outlook, voice)), voice)
    yield from _listed("warnings", [voice.remark(warning) for warning in sheet.warnings], voice)
    yield from _listed("last_night", [voice.remark(read) for read in sheet.last_night], voice)
    yield from _listed(
        "assumptions", [voice.question(question) for question in sheet.assumptions], voice
    )
    if footer:
        yield from footer
        yield ""
    origin = origin_of(sheet, voice)
    yield f"{origin[0]} {attribution}."
    yield from origin[1:]
    yield say("caution")


def _listed(heading: str, lines: Sequence[str], voice: Voice) -> Iterator[str]:
    if lines:
        yield voice.say("heading", name=heading)
        yield from (f"  {line}" for line in lines)
        yield ""


# -- chores


def _chore(chore: Chore, sheet: Sheet, voice: Voice) -> Iterator[str]:
    """Yield a chore: its head, the reason of each plant, and its id.

    Plants that are numbered in a row and have the same reason share a line.
    """
    yield f"  {_head(chore, sheet, voice)}"
    if chore.kind is ChoreKind.COURSE or chore.what in sheet.salts:
        yield f"    {voice.say('salt_caution')}"
    if chore.kind is ChoreKind.SECURE:
        yield f"    {voice.say('storm_caution')}"
    shared = _shared(chore, voice)
    if shared:
        certain = [reason for reason in chore.because if not reason_phrases.is_precaution(reason)]
        yield f"    {shared}{reason_phrases.chance(certain, voice) if certain else ''}"
        limits = groupby(chore.because, key=lambda reason: _limit_of_plant(reason, voice))
        rows = [
            (plants, limit)
            for limit, same in limits
            for plants, _ in folded([reason.plant for reason in same])
        ]
        widest = max(width(plants) for plants, _ in rows)
        yield from (f"    - {padded(plants, widest)}  {limit}" for plants, limit in rows)
    else:
        alike: dict[str, list[str]] = {}
        for reason in chore.because:
            alike.setdefault(because(reason, chore, voice), []).append(reason.plant)
        for text, names in alike.items():
            yield f"    - {', '.join(plants for plants, _ in folded(names))}: {text}"
    if spray := load_words.spray(chore, voice):
        yield f"    {spray}"
    if heavy := load_words.heavy(chore.load, voice):
        yield f"    {heavy}"
    yield f"    [{chore.id}]"


def _head(chore: Chore, sheet: Sheet, voice: Voice) -> str:
    """Return the time, way and number of plants of a chore, and what to mist with."""
    advice = ""
    if chore.kind is ChoreKind.MIST:
        feeds = [chore for chore in sheet.chores if chore.kind in GIVEN]
        advice = mist_advice(chore, feeds, voice, sheet.mixes)
    return voice.say(
        "chore",
        kind=chore.kind.value,
        when=when(chore, sheet.at, voice),
        count=len(chore.plants),
        advice=advice,
        feed=sheet.mix_of(chore),
        name=chore.what,
    )


def when(chore: Chore, now: datetime, voice: Voice) -> str:
    """Return the time and way of a chore: "by 17:50, pergola > sunroom"."""
    say, spot, start = voice.say, chore.from_spot, chore.not_before
    if chore.kind is ChoreKind.CARRY_IN:
        by = (
            chore_phrases.when(chore, now, voice)
            if chore.overdue_since
            else voice.by(chore.before, now)
        )
        by = say("unconfirmed", by=by) if chore.unconfirmed else by
        if not chore.overdue_since:
            by = load_words.with_begin(by, chore, now, voice)
        return say("when_in", by=by, spot=spot, to=chore.to_spot)
    if chore.kind is ChoreKind.CARRY_OUT:
        since = voice.since(start or chore.before, now)
        if_in = chore_phrases.if_taken_in(chore, voice, None)
        return say("when_out", since=since, spot=spot, to=chore.to_spot, if_in=if_in)
    if chore.kind is ChoreKind.STAY_IN:
        staying = say("when_staying", day=None if start is None else chore.before, spot=spot)
        return say("unconfirmed", by=staying) if chore.unconfirmed else staying
    if chore.kind is ChoreKind.STOP_WETTING:
        never = chore_phrases.forbids_wetting(chore)
        return say("when_dry", before=None if never else voice.clock(chore.before, now), spot=spot)
    if chore.kind is ChoreKind.MOVE:
        reasons = [reason for reason in chore.because if reason.there is not None]
        there = max((reason.there or 0.0 for reason in reasons), default=None)
        unit = reasons[0].unit if reasons else ""
        shown = say("not_known") if there is None else voice.bound(there, unit)
        back, by = chore_phrases.back_hour(chore, voice), voice.by(chore.before, now)
        return say("when_move", by=by, spot=spot, to=chore.to_spot, there=shown, back=back)
    if start is None:
        return say("when_by", by=voice.by(chore.before, now), spot=spot)
    opens, closes = voice.hour(start), voice.hour(chore.before)
    return say("when_within", opens=opens, closes=closes, spot=spot)


def _shared(chore: Chore, voice: Voice) -> str:
    """Return what all plants of a chore go through alike; empty if they differ."""
    first = chore.because[0]
    alike = {(reason.quantity, reason.value, reason.at) for reason in chore.because}
    has_more_reasons = any(reason.also for reason in chore.because)
    if len(alike) > 1 or has_more_reasons or first.quantity in _FILM_QUANTITIES:
        return ""
    return _number_line(first, chore, voice)


_OF_COURSES = (COURSE_FILM, COURSE_RINSE)
_FILM_QUANTITIES = frozenset(
    {"film life", "film until rinse", "rinse", "crown drying time", "pot water", SALT, *_OF_COURSES}
)


def _number_line(reason: Reason, chore: Chore, voice: Voice) -> str:
    """Return the value behind a chore: "leaf temperature down to 4.1 °C at 07:00"."""
    if reason.value is None:
        return voice.say("night_as_cold")
    whole_day = chore.kind is ChoreKind.STAY_IN and chore.not_before is not None
    whole_day = whole_day and not reason.above  # else it is heat that keeps it in
    way = "outside" if chore.kind is ChoreKind.STAY_IN else "down"
    if chore.kind is ChoreKind.CARRY_OUT or whole_day or reason.above:
        way = "up"
    return voice.say(
        "value_at",
        quantity=reason.quantity,
        value=reason_phrases.number(reason, voice),
        hour=voice.hour(reason.at),
        way=way,
        whole_day=whole_day,
    )


def _limit_of_plant(reason: Reason, voice: Voice) -> str:
    """Return a plant's limit, whose it is, and for how long and how far it is broken."""
    below_k, is_precaution = None, reason_phrases.is_precaution(reason)
    if reason.hours is not None and reason.value is not None and reason.limit is not None:
        below_k = None if is_precaution else reason.limit - reason.value
    return voice.say(
        "limit_of",
        limit=reason_phrases.limit(reason, voice),
        whose=reason_phrases.whose(reason, voice),
        above=reason.above,
        hours=None if below_k is None else reason.hours,
        below_k=below_k,
        chance=reason_phrases.precaution(reason, voice) if is_precaution else "",
    )


def because(reason: Reason, chore: Chore, voice: Voice) -> str:
    """Return the reason of a plant in full."""
    say, hour, value = voice.say, voice.hour(reason.at), reason.value
    if reason.quantity in ("film until rinse", "rinse"):
        within = None if value is None else round(value)
        return say("rinse_because", within_min=within, why=reason.origin.removeprefix("rinse "))
    if reason.quantity in _OF_COURSES:
        after, within = round(reason.limit or 0.0), None if value is None else round(value)
        return say("course_because", after_min=after, within_min=within)
    if reason.quantity == "film life":
        short = value is not None and (reason.limit is None or value < reason.limit)
        wants = reason_phrases.limit(reason, voice) if short else ""
        return say("film", minutes=None if value is None else round(value), hour=hour, wants=wants)
    if reason.quantity == "crown drying time":
        hours = "" if value is None else f"{value:.1f}"
        whose = reason_phrases.whose(reason, voice)
        return say("crown", hours=hours, hour=hour, whose=whose)
    if reason.quantity == "pot water":
        return chore_phrases.pot_water(reason, chore, voice)
    if reason.quantity == SALT:
        return say(
            "salt_because",
            value=reason_phrases.number(reason, voice),
            limit=reason_phrases.limit(reason, voice),
            whose=reason_phrases.whose(reason, voice),
            litres="" if reason.litres is None else f"{reason.litres:g} L",
        )
    number_line, of_plant = _number_line(reason, chore, voice), _limit_of_plant(reason, voice)
    odds = reason_phrases.is_precaution(reason)
    text = f"{number_line}, {of_plant}{'' if odds else reason_phrases.chance([reason], voice)}"
    others = [because(other, chore, voice) for other in reason.also]
    return say("and_also", text=text, also=others) if others else text
