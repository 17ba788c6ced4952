"""Tries the grower's macros before they are needed: with invented facts, one changed at a time.

So a macro that fails, says nothing or leaves something out is found when the collection is checked,
and not on the evening of the first frost.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from sillward.wording.macro_check import error_line, fault_in
from sillward.wording.voice import Voice
from sillward_rules.remark import Threat

_AT, _LATER = datetime(2026, 5, 14, 20, 10, tzinfo=UTC), datetime(2026, 5, 15, 9, 35, tzinfo=UTC)
_DAY, _NEXT = date(2026, 5, 14), date(2026, 5, 16)
_PLANTS = ("Grey curls", "Blue basket", "Old cattleya", "Wax vine")
_LOWS = [("pergola", 4.12), ("wall bench", 6.5)]
_ORDERS = ("carry-in", "cover", "secure")
_GUARDS = ("shade", "cover", "secure", "damp-down", "move")
_KINDS = ("carry-in", *_GUARDS)
_BY_SPOT = (
    [("by 08:00", "pergola", 7), ("", "roof", 2)],
    [("by 08:00", "pergola", 7), ("by 08:50", "roof", 2)],
)
_ALL_KINDS = (
    *_KINDS, "carry-out", "mist", "feed", "flush", "course", "water", "leach", "stop-wetting",
    "stay-in",
)  # fmt: skip

FACTS: Mapping[str, Sequence[Any]] = {
    "above": (False, True),
    "address": ("https://plants.example/t/AQEh", "https://yard.example/"),
    "also": (["leaf temperature up to 41.2 °C"], ["air up to 38 °C", "gust at the plants"]),
    "advice": ("; weak feed, rinse each within 35 min", ""),
    "after_min": (20, None, 45),
    "again": (["12:40", "15:10"], []),
    "age": ("12 min old", "5 h old"),
    "at": (_AT, _LATER),
    "at_dusk_c": (4.12, -1.5),
    "back": ("20:10", ""),
    "before": ("17:10", "18:40"),
    "better_low_c": (14.0, 15.5),
    "better_spot": ("sunroom", "hall", None),
    "brief": (False, True),
    "by": ("by 17:10", "now"),
    "called_off": (0, 2),
    "chance": (", 68 % chance", ""),
    "clear_k": (1.0, 1.5),
    "close": (False, True),
    "closes": ("08:05", "09:00"),
    "cold": (2, 0, 1),
    "colder": (False, True),
    "coldest": (_DAY, _NEXT),
    "clouds": (False, True),
    "course": ("Epsom salt", "magnesium"),
    "count": (3, 1, 4),
    "day": (_DAY, _NEXT),
    "days": (7, 4),
    "bare": (True, False),
    "begins": (True, False),
    "carried": (True, False),
    "below_k": (4.3, 6.0),
    "declined": (0, 1),
    "done": (4, 2),
    "dry_from": (_AT, _LATER),
    "dry_until": (_LATER, _AT),
    "due": ((_AT, _LATER), ()),
    "dry": (True, False),
    "dries": (False, True),
    "ec_ms_cm": (0.9, 1.4),
    "enough": ("11:00", ""),
    "errors": (2, 1),
    "error": ("Open-Meteo: cannot be reached", "MET Norway: answered 503"),
    "evenings": (7, 3, 0),
    "event": ("In", "Out"),
    "expired": (False, True),
    "falling": (True, False),
    "fed": (0, 2),
    "feed": ("0.25 g/L 20-20-20: 50 ppm N", "0.1 g/L 20-20-20: 20 ppm N", None),
    "fetched": (_AT, _LATER),
    "first": (_DAY, _NEXT),
    "first_day": (_DAY, _NEXT),
    "first_on": ("Friday 4 December", "Sunday 13 December"),
    "gone_min": (12, 25),
    "given": (2, 0, 3),
    "heads": ("in by 17:10: 3 plants", "1 more in by 18:40"),
    "here": ("", "sunroom"),
    "high": ("93 %", "68 %"),
    "high_c": (38.0, 36.5),
    "holder": ("basket", "mount", "moss", "pot"),
    "hot": (0, 3),
    "hour": ("17:10", "18:40"),
    "hours": (6.4, 9.0),
    "judged": (True, False),
    "kept": (2, 0),
    "kind": _KINDS,
    "kinds": (["carry-in"], ["carry-in", "cover"]),
    "late": (0, 2),
    "last": (_NEXT, _DAY),
    "last_c": (5.5, 2.25),
    "last_on": ("Sunday 13 December", "Friday 4 December"),
    "later": (0, 9),
    "later_by": ("by 19:00", "by 18:30"),
    "least": (2, 3),
    "least_c": (8.0, 10.0, 13.0),
    "light_mol_m2": (4.6, 3.1),
    "left": ("55 %", "40 %"),
    "limit": ("13", "10"),
    "less": (False, True),
    "walk": (False, True),
    "limit_c": (13.0, 10.0),
    "limit_ms_cm": (0.8, 0.5),
    "lines": (4, 2),
    "litres": ("1.5 L", "0.25 L"),
    "lost": (0, 2),
    "low": ("68", "93 %"),
    "low_c": (4.12, 6.5),
    "lows": (_LOWS, [("roof", -0.04)]),
    "many": ("orders", "nights"),
    "mean_k": (0.8, 1.5),
    "measured": (False, True),
    "minutes": (12, 25),
    "missed": (0, 1, 2),
    "misted": (3, 0),
    "mistings": (2, 1, 0),
    "most_g_l": (0.41, 0.0),
    "month": (5, 12),
    "more": (False, True),
    "most": (None, 2),
    "most_c": (13.0, 10.0),
    "most_plants": (4, 1),
    "learned": (
        ["pergola, learned from 9 nights: as forecast, give or take 0.5 K"],
        ["roof, learned from 2 nights: 1.2 K colder than the forecast, give or take 1.0 K"],
    ),
    "names": ("Grey curls, Blue basket", "Wax vine"),
    "name": ("leaf temperature", "rain wetness"),
    "need_mol_m2": (12.4, 9.0),
    "neediest": ("Blue basket", "Wax vine"),
    "never": ([], [("roof", 2)]),
    "nights": (7, 1),
    "note": ("", "done", "expected"),
    "noted": ([("Blue basket", "3 flowers opened")], [("Wax vine", "damage: spots")]),
    "noted_more": (0, 3),
    "nothing": ("-", "none"),
    "notes": (["no gusts"], ["no gusts", "hours from steps of six"]),
    "number": (3, 6),
    "off_k": (1.2, -0.4, 0.0),
    "one": ("order", "night"),
    "opens": ("07:10", "07:40"),
    "origin": ("usual errors by lead time", "31 members of an ensemble"),
    "out": (True, False),
    "other_source": ("MET Norway", "another"),
    "other_temp_c": (3.0, 2.5),
    "others": ("", "Grey curls"),
    "passed_on": (False, True),
    "person": ("Inés", "Tomás"),
    "plant": ("Blue basket", "Wax vine"),
    "plant_count": (1, 3),
    "plants": (_PLANTS, _PLANTS[:1]),
    "quantity": ("leaf temperature", "rain wetness", "gust"),
    "reason": ("channel ines has no url", "ines: answered 503"),
    "rinse_min": (35, None, 20),
    "room_k": (1.4, -0.6),
    "root_c": (47.2, 42.0),
    "read_c": (14.12, 8.2),
    "round": ("dusk", "morning"),
    "rule": ("dry noon", "crowns wet overnight"),
    "salt_min": (11, None, 20),
    "sd_k": (0.8, 1.5),
    "sent": (12, 9),
    "since": (_AT, _LATER, None),
    "site": ("Courtyard", "Terrace"),
    "source": ("Open-Meteo", "MET Norway"),
    "span": ("07:10-08:05", "07:40-09:00"),
    "spot": ("pergola", "wall bench"),
    "spots": (["pergola", "roof"], ["roof"]),
    "start": ("", "10:20"),
    "temp_c": (5.0, 6.5),
    "there": ("18 °C", "24 °C"),
    "tenderest": ("Blue basket", "Wax vine"),
    "text": ("the forecast is 8 h old", "too few known hours at roof"),
    "threats": ((Threat(0.68, 13.0, _PLANTS),), (Threat(0.4, 10.0, _PLANTS[:1]),)),
    "times": (3, 2),
    "asked": ([("pots", 6), ("damage", 3)], [("leaves", 1)], [("limits", 2), ("pots", 1)]),
    "title": ("In by 17:10: 3 plants", "In by 18:40: 1 plant"),
    "told_by": (_AT, _LATER),
    "to": ("sunroom", "hall"),
    "told": (9, 0, 1),
    "total": ("", "6.5 L"),
    "tonight": (False, True),
    "trips": (4, 1),
    "unconfirmed": (0, 1),
    "under": (2, 0),
    "unit": ("m/s", "°C"),
    "until": ("17:10", "18:40"),
    "used": ("Open-Meteo", "MET Norway", None),
    "value": ("4.1 °C", "6.5 °C"),
    "walks": ([("17:10", "pergola", 5), ("", "roof", 2)], [("18:40", "roof", 2)]),
    "wants": ("45 min", ""),
    "waits": ("orchid feed", "", "magnesium"),
    "was": ("", "18:40"),
    "way": ("down", "up", "outside"),
    "ways": ([("5 plants", "sunroom")], [("Grey curls", "hall"), ("rest 4", "sunroom")]),
    "weekday": (3, 5),
    "unsure": (False, True),
    "what": ("in NOW 3 plants", "1 plant may have been too cold"),
    "when": ("17:10", "now"),
    "where": ("pergola > sunroom", ""),
    "which": ("all", "rest"),
    "who": ("Grey curls, Blue basket", "3 plants"),
    "whole_day": (False, True),
    "whose": ("yours", "cattleya"),
    "why": ("Leaf 4.1 °C at 07:00, limit 13 (Blue basket)", "Night not known: treated as cold"),
    "several": (False, True),
    "short": (False, True),
    "stays": ("", "Grey curls"),
    "with_forecast": (7, 5),
    "within_min": (35, None),
    "without": ("", "Wax vine"),
    "worst_day": (_DAY, _NEXT),
    "worst_k": (1.5, -2.0, 0.0),
    "years": (20, 6, 1),
    "year": (2026, 2027),
    "told_c": (16.2, 12.04),
}
"""Values of each fact, the usual one first."""

SPECIFIC_FACTS: Mapping[str, Sequence[Any]] = {
    "asked_for.kind": _ALL_KINDS,
    "acknowledge.linked": (False, True),
    "answer_done.count": (3, 0, 1),
    "blind.since": (_AT, None),
    "server_away.since": (_AT, _LATER),
    "chore.kind": _ALL_KINDS,
    "carry_out.if_in": ("", "all", "Wax vine"),
    "chore.when": ("by 17:10, pergola > sunroom", "07:10 to 08:05, pergola"),
    "cold_borne.hours": (0.5, 0.8),
    "column.name": (
        "nights",
        "chance",
        "plants in",
        "days",
        "warmest",
        "driest",
        "mistings",
    ),
    "crown.hours": ("2.5", ""),
    "crowded_in.spots": (
        [("pergola", [("5", "sunroom"), ("Wax vine", "hall")]), ("roof", [("7", "hall")])],
        [("pergola", [("5", "sunroom")]), ("roof", [("7", "hall")])],
    ),
    "crowded_in.later": (False, True),
    "by_spot.walks": _BY_SPOT,
    "crowded_again.walks": _BY_SPOT,
    "crowded_guard.walks": ([("", "pergola", 2), ("", "roof", 1)], [("", "roof", 1)]),
    "crowded_mist.walks": _BY_SPOT,
    "crowded_stop.later": (3, 0),
    "crowded_stop.later_at": ("16:55", ""),
    "crowded_out.if_in": (False, True),
    "crowded_out.spots": ([("pergola", 7), ("roof", 2)], [("roof", 1)]),
    "crowded_stop.never": (0, 2),
    "crowded_stop.until": ("17:20", ""),
    "cut.plants": (31, 0),
    "day.day": (14, 5),
    "day_asks.others": ([("shade", 3)], []),
    "day_asks.plants": (4, 1),
    "crowded_guard.given": ("", "rain or RO"),
    "crowded_guard.kind": (*_GUARDS, "leach"),
    "event.kind": _ALL_KINDS,
    "event.until": ("17:10", None),
    "event_coldest.value": ("4 °C", "6 °C"),
    "event_walk.before": ("17:10", ""),
    "event_walk.way": ("pergola > sunroom", "roof > hall"),
    "chore.name": ("orchid feed", "", "magnesium"),
    "feed_waits.given": ("magnesium", "", "orchid feed"),
    "feed_too_strong.feed": ("", "orchid feed"),
    "given_advice.given": (
        [("orchid feed", "Grey curls, Blue basket"), ("weak feed", "")],
        [],
        [("orchid feed", "")],
    ),
    "given_advice.salts": ([("0.5 g/L Epsom salt", "Wax vine", 20)], []),
    "course_because.after_min": (20, 45),
    "given_days.days": ([], [(_DAY, 4)], [(_NEXT, 1)]),
    "given_days.why": ("days", "", "nobody", "strong", "rest", "pots"),
    "given_days.span": ("03-01 to 05-31", ""),
    "too_strong.what": ("the feed", "magnesium"),
    "given_days.what": ("orchid feed", "magnesium"),
    "mix_named.what": ("orchid feed", "magnesium"),
    "mix_named.feed": ("0.25 g/L 20-20-20: 50 ppm N", "0.1 g/L 20-20-20: 20 ppm N"),
    "feed_days.why": ("strong", "", "pots"),
    "feed_days.days": ([], [(_DAY, 4)], [(_NEXT, 1)]),
    "film.minutes": (35, None, 12),
    "damage_asked.night": (_DAY, _NEXT),
    "damage_asked.is_read": (True, False),
    "forecast_behind.nights": (5, 1, 0),
    "forecast_behind.thermometer": (None, "pergola"),
    "forecast_old.hours": (8.0, 26.0),
    "guard.kind": (*_GUARDS[:-1], "leach"),
    "guard.water": ("", "rain or RO"),
    "water_too_salty.rain": (0.6, 1.0),
    "heat_ahead.by": (_AT, _LATER),
    "no_shelter.room": ("sunroom", "hall", None),
    "no_shelter.is_colder_shelter": (False, True),
    "sensor_quiet.quantity": ("temperature", "humidity"),
    "sensor_quiet.since": (_AT, _LATER),
    "thermometer_moved.since": (_DAY, _NEXT),
    "thermometer_moved.warmer_k": (3.8, -2.1),
    "thermometer_too_warm.warmer_k": (8.2, 6.5),
    "warm_nights.nights": (3, 1),
    "night_read.at": (_AT, None),
    "move.value": ("38 °C", "36.5 °C"),
    "move.limit": ("27 °C", "32 °C"),
    "head_asked_for.kind": _ALL_KINDS,
    "head_more.kind": _ORDERS,
    "head_order.kind": (*_KINDS, "water", "leach"),
    "helper_is_told.span": ("on Friday 4 December, from morning to evening", "from today"),
    "head_out.when": ("from 08:20", "now"),
    "head_in.later": (9, 0),
    "head_more.later": (9, 0),
    "head_order.later": (9, 0),
    "heading.name": ("carrying", "feed", "water", "warnings", "last_night", "assumptions"),
    "kind.name": _ALL_KINDS,
    "left_out_by_choice.limit_c": (13.0, None),
    "left_out_by_choice.low_c": (4.12, None),
    "left_out_by_choice.until": (_AT, None),
    "list_answer.linked": (True, False),
    "week_sentence.trips": (4, 1, 0),
    "under_cover.inside": (2, 0, 3),
    "under_cover.unsure": ("", "Grey curls"),
    "list_is_sent.linked": (True, False),
    "list_care.name": (
        "water",
        "late",
        "sun",
        "lifting",
        "ladder",
        "floor",
        "power",
        "poison",
        "rest",
    ),
    "list_evening.start": ("18:20", "19:40"),
    "list_evening.end": ("18:20", "19:40"),
    "list_for.span": ("on Friday 4 December, from morning to evening", "from today"),
    "list_blank.name": ("water", "telephone"),
    "list_heading.name": ("messages", "silence", "care", "ask", "own"),
    "list_morning.start": ("06:20", "07:40"),
    "list_morning.end": ("06:20", "07:40"),
    "list_way.sure": (True, False),
    "list_way.usual": ("back hall", "hall", ""),
    "list_water.misted": (True, False),
    "list_water.watered": (False, True),
    "limit_of.chance": ("", ", 11 % chance of less; worth taking along"),
    "limit_of.hours": (6.4, None),
    "limit_of.limit": ("13 °C", "10 °C"),
    "long_day.day": (14, 5),
    "limit_proposed.limit": ("night_low", "brief_low"),
    "limit_proposed.was_c": (14.0, 10.5),
    "limit_proposed.value_c": (12.0, 9.5),
    "limit_proposed.damaged": (0, 1),
    "limit_proposed.unharmed": (3, 2),
    "may_stay_out.low_c": (9.2, None),
    "night.chance": ("68 %", ""),
    "night_unjudged.spots": (("pergola", "roof"), ("roof",)),
    "not_confirmed.low_c": (4.12, None),
    "not_confirmed.until": (_AT, None),
    "not_needed.kind": _ALL_KINDS,
    "not_needed.limit": (13.0, None),
    "not_needed.unit": ("°C", "m/s"),
    "not_needed.value": (4.12, None),
    "note.quantity": ("gust", "wind"),
    "note.value": (15.3, 4.12),
    "nothing_to_tell.round": ("dusk", "morning", "week"),
    "on_nights.about": ("wall bench is dark", "too few known hours at roof"),
    "on_nights.nights": ((_DAY,), (_DAY, _NEXT), (_DAY, date(2026, 5, 15), _NEXT)),
    "order.kind": _ORDERS,
    "pot_water.again": (False, True),
    "pot_water.at": ("", "16:00"),
    "pot_water.wants": ("65 %", "50 %"),
    "roots_hot.at": (_AT, _LATER),
    "week_water.pots": ([("Wax vine", "Thu, Sat"), ("2 plants", "daily")], [("Wax vine", "daily")]),
    "water_days.days": ([_DAY, _NEXT], []),
    "water_of.days": ("Thu, Sat", "daily"),
    "to_answer.where": (True, False),
    "water_pots.again": (False, True),
    "list_feed.in_pots": (False, True),
    "water_pots.given": ("", "pot feed"),
    "water_pots.spot": ("wall bench", ""),
    "order.when": ("17:10", ""),
    "order_now.kind": _ORDERS,
    "out_again.when": ("tomorrow 08:20", "09:15"),
    "out_later.was": ("18:40", "17:30"),
    "begin_by.begin": ("by 16:20", "now", ""),
    "heavy.plants": ([("Old palm", 28), ("Wax vine", 17)], [("Old palm", 31)]),
    "list_heavy.plants": ([("Old palm", 28), ("Wax vine", 17)], [("Old palm", 31)]),
    "list_heights.spots": (["pergola", "roof"], ["roof"]),
    "long_walk.begin": ("by 16:20", "now"),
    "spray.litres": ("2.1", "0.34"),
    "spray.fillings": (2, 3, 1),
    "spray.filling": ("1.5", "2"),
    "plants_rest.not_before": (_DAY, _NEXT, None),
    "rest_begins.not_before": (_DAY, _NEXT, None),
    "rinse_because.why": ("before the film has lost half", "before it dries"),
    "shelter_failing.nights": ((_DAY, _NEXT), (_DAY,)),
    "shelter_too_cold.expected_c": (None, 7.5),
    "too_cold_ahead.nights": ((_DAY,), (_DAY, _NEXT)),
    "sheet_head.round": ("dusk", "morning", "week"),
    "sheet_head.told": ("Thursday 14 May 2026, 17:10", "Friday 15 May 2026, 08:35"),
    "spell.days": (4, 3),
    "spell.kind": ("hot", "dry"),
    "still.until": ("09:00", ""),
    "salt_because.limit": ("2 mS/cm", "1.2 mS/cm"),
    "salt_because.litres": ("7.5 L", ""),
    "salt_because.value": ("2.1 mS/cm", "3 mS/cm"),
    "stop_wetting.never": ([], [("roof", 2)]),
    "stop_wetting.until": ([("17:20", "pergola", ""), ("", "roof", "Wax vine")], []),
    "under_cover.by": ("by 17:10", "now", None),
    "under_limit.count": (5, 4),
    "value_at.way": ("down", "up", "outside"),
    "verb.name": (*_KINDS, "leach"),
    "walk.later": (0, 5),
    "week_lows.nights": ([(_DAY, 4.12, 3), (_NEXT, None, 0)], [(_DAY, -0.04, 0)]),
    "week_mistings.days": ([(_DAY, 2), (_NEXT, 1)], [(_DAY, 1)]),
    "week_sentence.most": (4, 2),
    "when_dry.before": ("17:20", None),
    "overdue.minutes": (35, 180),
    "when_out.if_in": ("", "all", "Wax vine"),
    "when_out.since": ("from 08:20", "now"),
    "when_staying.day": (_DAY, None),
    "whose.origin": ("your own limit", "cattleya"),
}
"""Values of a fact that a macro understands in its own way, by "macro.fact"."""


@dataclass(frozen=True, slots=True)
class Sample:
    """Facts for a macro. They differ from `usual` in the fact `changed`; in the first, in none."""

    facts: dict[str, Any]
    usual: dict[str, Any]
    changed: str | None


def samples(macro: str, facts: Sequence[str]) -> Iterator[Sample]:
    """Yield the usual facts, then each fact changed in turn.

    This is repeated for every value of the first fact, because it often chooses between sentences.
    """
    values = {fact: SPECIFIC_FACTS.get(f"{macro}.{fact}", FACTS.get(fact, ())) for fact in facts}
    usual = {fact: given[0] for fact, given in values.items()}
    yield Sample(usual, usual, None)
    if not facts:
        return
    first, *others = facts
    for value in values[first]:
        base = {**usual, first: value}
        if value != usual[first]:
            yield Sample(base, usual, first)
        for fact in others:
            yield from (Sample({**base, fact: value}, base, fact) for value in values[fact][1:])


def problems(voice: Voice) -> list[str]:
    """Return what is wrong with the grower's macros in lines: they fail, or `fault_in` objects."""
    found = []
    for name, source in voice.wording.own.items():
        fault = next(_faults(name, voice), None)
        if fault is not None:
            found.append(f"{source.file}: macro {name}: {fault}")
    return found


def _faults(name: str, voice: Voice) -> Iterator[str]:
    for sample in samples(name, voice.wording.ours[name].facts):
        ours = voice.in_our_words(name, sample.facts)
        try:
            fault = fault_in(voice.in_own_words(name, sample.facts), ours, sample.facts)
        except Exception as error:
            fault = error_line(error)
        if fault is not None:
            yield fault


def left_out(voice: Voice) -> list[str]:
    """Return the facts that packaged macros tell and the grower's leave out, a line for each macro.

    A fact is told if the words change with it.
    """
    found = []
    for name, source in voice.wording.own.items():
        untold = [fact for fact in voice.wording.ours[name].facts if _leaves_out(name, fact, voice)]
        if untold:
            found.append(f"{source.file}: macro {name} does not tell {', '.join(untold)}")
    return found


def _leaves_out(name: str, fact: str, voice: Voice) -> bool:
    changed = [
        sample for sample in samples(name, voice.wording.ours[name].facts) if sample.changed == fact
    ]

    def tells(words: Callable[[str, Mapping[str, Any]], str]) -> bool:
        return any(words(name, sample.facts) != words(name, sample.usual) for sample in changed)

    return tells(voice.in_our_words) and not tells(voice.in_own_words)
