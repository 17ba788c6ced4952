"""Remarks in words: every kind has a macro; what each one says in °C and 24 hours."""

import re
from dataclasses import fields
from datetime import UTC, date, datetime
from importlib import resources

import jinja2
import pytest
from jinja2 import nodes

from sillward.wording.voice import Voice
from sillward_rules import remark
from sillward_rules.remark import (
    CarryBegins,
    CarryEnds,
    CloseCall,
    ColdBorne,
    CourseBehind,
    CourseTooStrong,
    DamageAsked,
    FeedTooStrong,
    FeedWaits,
    FlushWaits,
    ForecastDoubted,
    ForecastElsewhere,
    ForecastInstead,
    ForecastOld,
    ForecastsDisagree,
    ForecastUndated,
    HeatAhead,
    HeatUnrelieved,
    LeftOutByChoice,
    LimitProposed,
    LookAtLeaf,
    MistingMissed,
    NightRead,
    NightsSafe,
    NightUnjudged,
    NoForecast,
    NoShelter,
    NotConfirmed,
    Note,
    NotNeeded,
    OnNights,
    Plain,
    PlantsRest,
    PotsUnknown,
    Remark,
    RestBegins,
    RestEnds,
    RootsHot,
    SaltsNear,
    SensorQuiet,
    ShelterChosen,
    ShelterFailing,
    ShelterTooCold,
    ShelterUnknown,
    Spell,
    SpotDark,
    ThermometerMoved,
    ThermometerTooWarm,
    Threat,
    Undecided,
    WarmNights,
    WateringIncomplete,
    WateringUnplanned,
    WaterTooSalty,
    WaterUnlessHeavy,
)
from tests.support.core import MENDOZA

VOICE = Voice(MENDOZA)

KINDS = sorted(
    (
        value
        for value in vars(remark).values()
        if isinstance(value, type) and issubclass(value, Remark)
    ),
    key=lambda kind: kind.__name__,
)


def at(clock: str) -> datetime:
    """Return a time on 14 May at the site."""
    hour, minute = map(int, clock.split(":"))
    return datetime(2026, 5, 14, hour, minute, tzinfo=MENDOZA.zone)


THURSDAY, SATURDAY = date(2026, 5, 14), date(2026, 5, 16)
A, B = ("Anemone",), ("Anemone", "Boat")
SIX, SEVEN = tuple("ABCDEF"), tuple("ABCDEFG")

SAMPLES: list[tuple[Remark, str]] = [
    (Plain("wind_speed_10m of 468.5 m/s is  odd"), "wind_speed_10m of 468.5 m/s is  odd"),
    (NoForecast(), "there is no forecast: nothing is known about the weather"),
    (
        ForecastElsewhere(),
        "the forecast does not cover this hour; what is not known is treated as cold",
    ),
    (ForecastOld(8.4, expired=False), "the forecast is 8 hours old"),
    (
        ForecastOld(24.6, expired=True),
        "the forecast is 25 hours old: too old to judge a night, so nights are treated as cold",
    ),
    (
        ForecastUndated(),
        "the forecast was fetched while the clock was ahead, so nobody knows how old it is",
    ),
    (
        ForecastsDisagree("Open-Meteo", 5.0, "MET Norway", 3.24, at("07:00")),
        "Open-Meteo says 5.0 °C at 07:00, MET Norway says 3.2 °C; the colder one counts",
    ),
    (
        ForecastsDisagree("Open-Meteo", 5.0, "MET Norway", -0.04, at("07:00")),
        "Open-Meteo says 5.0 °C at 07:00, MET Norway says 0.0 °C; the colder one counts",
    ),
    (
        ForecastDoubted("Open-Meteo", "20 °C warmer than the one before", None, None, colder=False),
        "Open-Meteo's forecast looks wrong: 20 °C warmer than the one before;"
        " nights are treated as cold",
    ),
    (
        ForecastDoubted(
            "Open-Meteo", "even at night 59.9 °C", "MET Norway", at("14:00"), colder=False
        ),
        "Open-Meteo's forecast looks wrong: even at night 59.9 °C;"
        " using MET Norway's from Thu 14:00",
    ),
    (
        ForecastDoubted("Open-Meteo", "20 K colder", "Open-Meteo", at("14:00"), colder=True),
        "Open-Meteo's forecast looks wrong: 20 °C colder; nights are treated as cold",
    ),
    (
        ForecastInstead("Open-Meteo: cannot be reached", at("14:00")),
        "Open-Meteo: cannot be reached; this is the forecast from Thu 14 May 14:00",
    ),
    (
        NightRead("bench", 11.2, at("06:40"), 12.46),
        "bench: coldest tonight was 11.2 °C at 06:40 (expected 12.5 °C)",
    ),
    (NightRead("bench", 11.2, None, 12.0), "bench: coldest tonight was 11.2 °C (expected 12.0 °C)"),
    (
        NightUnjudged(("bench",)),
        "too little is known about the night at bench, so it is treated as cold",
    ),
    (
        NightUnjudged(("bench", "wall")),
        "too little is known about the night at bench, wall, so it is treated as cold",
    ),
    (
        NoShelter(A, "sunroom", 10.5),
        "sunroom may fall to 10.5 °C, too cold for Anemone: heat it, or find a warm place",
    ),
    (
        NoShelter(B),
        "Anemone, Boat must go in, but no spot is known to be warm enough: find a warm place",
    ),
    (
        NoShelter(A, "shed", 3.0, is_colder_shelter=True),
        "Anemone: shed (3 °C) is colder tonight than where it stands: find a warm place",
    ),
    (
        NoShelter(B, "shed", 2.96, is_colder_shelter=True),
        "Anemone, Boat: shed (3 °C) is colder tonight than where they stand: find a warm place",
    ),
    (ShelterChosen(A, "room", 16.0), "Anemone to room, which holds 16 °C: you named no shelter"),
    (
        ShelterTooCold(A, "shed", 9.0, 13.0, "room", 16.04),
        "Anemone to room (16 °C): shed is too cold (9 °C, needs 13 °C)",
    ),
    (
        ShelterTooCold(B, "shed", 8.73, 12.5, None, None),
        "Anemone, Boat: no spot is warm enough; shed is the warmest (8.7 °C, they need 12.5 °C)",
    ),
    (
        ShelterTooCold(A, "shed", -0.04, 1.0, "hall", -0.0),
        "Anemone to hall (0 °C): shed is too cold (0 °C, needs 1 °C)",
    ),
    (
        ShelterTooCold(A, "hall", 10.53, 14.0, None, None, 11.81),
        "Anemone: no spot is warm enough; hall is the warmest (11.8 °C expected, to be careful "
        "10.5 °C, needs 14 °C)",
    ),
    (
        ShelterUnknown(A, "shed", "room", 16.0),
        "Anemone to room, 16 °C: how warm shed stays is not known",
    ),
    (
        ShelterUnknown(SEVEN, "shed", None, None),
        "A, B, C, D, E, F, G: how warm shed stays is not known, and no other spot is "
        "known to be warm enough",
    ),
    (
        ShelterFailing(A, "hall", (THURSDAY,), THURSDAY, 11.62, 0.84, 13.0, "room", 16.0),
        "Thu night hall may not hold 13 °C for Anemone: 11.6 °C expected there, give or take "
        "0.8 °C; heat it by then, or make room in room (16 °C)",
    ),
    (
        ShelterFailing(B, "hall", (THURSDAY, SATURDAY), SATURDAY, -0.04, 1.25, 13.0, None, None),
        "From Thu night on (2 nights) hall may not hold 13 °C for Anemone, Boat: 0.0 °C expected "
        "on Sat, give or take 1.2 °C; heat it by Thu or find a warmer place: no other is "
        "known to be warm enough",
    ),
    (
        OnNights((THURSDAY,), ShelterTooCold(B, "shed", 9.0, 13.0, "room", 16.0)),
        "Thu night: Anemone, Boat to room (16 °C): shed is too cold (9 °C, they need 13 °C)",
    ),
    (
        OnNights((THURSDAY, SATURDAY), NightUnjudged(("bench",))),
        "Thu and Sat night: too little is known about the night at bench, so it is treated as cold",
    ),
    (
        OnNights((THURSDAY, SATURDAY, date(2026, 5, 18)), ShelterChosen(A, "room", 16.0)),
        "Thu and 2 more nights: Anemone to room, which holds 16 °C: you named no shelter",
    ),
    (
        PotsUnknown(A),
        "how wet is the pot of Anemone? Lift or feel, and say: "
        "sillward look PLANT dry (or moist, wet)",
    ),
    (
        PotsUnknown(B),
        "how wet are the pots of Anemone, Boat? Lift or feel, and say: "
        "sillward look PLANTS dry (or moist, wet)",
    ),
    (
        WaterUnlessHeavy(A),
        "water Anemone today unless the pot is heavy: nobody said how wet, and the day is dry",
    ),
    (
        WaterUnlessHeavy(B),
        "water Anemone, Boat today unless the pots are heavy: nobody said how wet, and the day is "
        "dry",
    ),
    (
        RootsHot(B, 47.26, at("16:00")),
        "roots in dark pots reach 47.3 °C at about 16:00: shade the pots of Anemone, Boat",
    ),
    (
        NotConfirmed(A, 2.81, None),
        "did Anemone go in last night? Nobody said so. Any left out fell to 2.8 °C: check it",
    ),
    (
        NotConfirmed(B, -0.04, at("09:40")),
        "did Anemone, Boat go in last night? Nobody said so. Any left out fell to 0.0 °C: "
        "take it in until 09:40 and check it",
    ),
    (
        NotConfirmed(A, None, None),
        "did Anemone go in last night? Nobody said so. Any left out may have been too cold: "
        "check it",
    ),
    (
        NotNeeded(B, "carry-in", "leaf temperature", 3.21, "°C", 5.0),
        "you said not needed: carry in Anemone, Boat (leaf temperature 3.2 °C, limit 5 °C)",
    ),
    (
        NotNeeded(A, "secure", "gust", 18.46, "m/s", None),
        "you said not needed: secure against gusts Anemone (gust at the plants 18.5 m/s)",
    ),
    (
        NotNeeded(A, "carry-in", "leaf temperature", None, "°C", 5.0),
        "you said not needed: carry in Anemone; how cold it gets is not known",
    ),
    (
        LeftOutByChoice(B, 2.81, 5.0, None),
        "left out by your decision: Anemone, Boat fell to 2.8 °C, limit 5 °C",
    ),
    (
        LeftOutByChoice(A, None, None, at("09:40")),
        "left out by your decision: Anemone may have been too cold; still too cold until 09:40",
    ),
    (
        ColdBorne(A, 10.67, at("02:00"), 0.5, 13.0),
        "Anemone may stay out: 10.7 °C at 02:00, but only 30 min below 13 °C",
    ),
    (
        ColdBorne(B, -0.04, at("02:00"), 0.254, 0.5),
        "Anemone, Boat may stay out: 0.0 °C at 02:00, but only 15 min below 0.5 °C",
    ),
    (
        Undecided(A, datetime(2026, 5, 14, 20, 14, tzinfo=UTC)),
        "tonight is undecided for Anemone: you'll hear by 17:14 if it has to go in",
    ),
    (
        Undecided(B, datetime(2026, 5, 14, 20, 14, tzinfo=UTC)),
        "tonight is undecided for Anemone, Boat: you'll hear by 17:14 if they have to go in",
    ),
    (
        CloseCall("bench", (Threat(0.469, 13.0, A),)),
        "bench: a close call, 47 % chance of less than 13 °C (Anemone)",
    ),
    (
        CloseCall("bench", (Threat(0.97, 13.0, SEVEN), Threat(0.41, 12.8, SIX))),
        "bench: a close call, >95 % chance of less than 13 °C (A, B, C, D, E and 2 more), "
        "41 % of less than 12.8 °C (A, B, C, D, E, F)",
    ),
    (
        Note("hot wind", "bench", "gust", 18.46, "m/s", at("16:00")),
        "hot wind, bench: gust at the plants 18.5 m/s at 16:00",
    ),
    (
        Note("frost", "bench", "temperature", -0.04, "°C", at("06:00")),
        "frost, bench: temperature 0.0 °C at 06:00",
    ),
    (
        MistingMissed(A, "bench", at("12:05"), at("15:10"), ()),
        "Anemone, bench: dry from 12:05 to 15:10, but none of your watering hours fits",
    ),
    (
        MistingMissed(SEVEN[:3], "bench", at("12:05"), at("15:10"), (at("12:05"), at("14:00"))),
        "A, B, C, bench: dry from 12:05 to 15:10; misting needed by 12:05, 14:00, "
        "but none of your watering hours fits",
    ),
    (
        MistingMissed(SEVEN[:4], "bench", at("12:05"), at("15:10"), (at("12:05"),)),
        "4 plants, bench: dry from 12:05 to 15:10; misting needed by 12:05, "
        "but none of your watering hours fits",
    ),
    (
        HeatUnrelieved(A, "bench", 37.96, 27.0, at("16:00"), dry=True),
        "Anemone: too hot at bench, 38.0 °C at 16:00, limit 27 °C; no cooler spot is known",
    ),
    (
        HeatUnrelieved(B, "bench", 31.0, 27.0, at("16:00"), dry=False),
        "Anemone, Boat: too hot at bench, 31.0 °C at 16:00, limit 27 °C; no cooler spot is known, "
        "and in air this damp misting does not cool: keep the air moving",
    ),
    (
        HeatAhead(B, "move", 39.2, 27.0, at("06:30")),
        "tomorrow move by 06:30, before the morning round: Anemone, Boat (39.2 °C, limit 27 °C)",
    ),
    (
        WarmNights(A, 21.44, 18.0, THURSDAY, 1),
        "warm night for Anemone (Thu): no cooler than 21.4 °C, limit 18 °C",
    ),
    (
        WarmNights(B, 18.02, 18.0, THURSDAY, 3),
        "warm nights for Anemone, Boat (Thu and 2 more): no cooler than 18.02 °C, limit 18 °C",
    ),
    (
        FeedTooStrong(B, "", 0.30000000000000004, 0.25, 0.112),
        "Anemone, Boat: the feed is too strong, 0.3 mS/cm; the limit is 0.25 mS/cm; "
        "at most 0.11 g/L",
    ),
    (
        FeedTooStrong(B, "bloom feed", 0.30000000000000004, 0.35, 0.1, dries=True),
        "Anemone, Boat: bloom feed, 0.3 mS/cm, cannot be given on dry mornings: as it dries "
        "it gets stronger than 0.35 mS/cm before it is taken up; at most 0.10 g/L",
    ),
    (
        CourseTooStrong(B, "magnesium", 1.2, 0.8, 0.604),
        "Anemone, Boat: magnesium is too strong, 1.2 mS/cm; the limit is 0.8 mS/cm; "
        "at most 0.60 g/L",
    ),
    (
        CourseTooStrong(B, "magnesium", 1.2, 0.1, 0.0),
        "Anemone, Boat: magnesium is too strong, 1.2 mS/cm; the limit is 0.1 mS/cm; "
        "its water alone is too salty for that",
    ),
    (
        FeedWaits(B, "magnesium", "", clouds=False),
        "Anemone, Boat: magnesium today, so feed waits for another day",
    ),
    (
        FeedWaits(B, "calcium", "bloom feed", clouds=True),
        "Anemone, Boat: calcium today, so bloom feed waits for another day; "
        "never mix the two, they cloud",
    ),
    (
        CourseBehind("magnesium", B, 2, 1, 3, 7),
        "magnesium for Anemone, Boat: 2 of 3 given in the last 7 days, 1 of them not confirmed",
    ),
    (
        CourseBehind("magnesium", B, 2, 0, 3, 7),
        "magnesium for Anemone, Boat: 2 of 3 given in the last 7 days",
    ),
    (
        LookAtLeaf(B, "magnesium", 14),
        "look at the leaves of Anemone, Boat after 14 days with magnesium: better, same or worse? "
        "Answer: sillward look 'Anemone' better",
    ),
    (
        DamageAsked(B, date(2026, 5, 3), 7.2, True),
        "Anemone, Boat went down to 7.2 °C in the night of Sun 03 May: any damage? Answer: "
        "sillward damage 'Anemone'; if none has any: sillward damage --none",
    ),
    (
        LimitProposed("Boat", "night_low", 10.0, 12.0, 1, 0),
        "Boat: night_low 12 °C is proposed instead of 10 °C, after damage in 1 night: "
        "sillward damage 'Boat'",
    ),
    (
        SaltsNear(B),
        "Anemone, Boat: salts at the roots near the limit; a flush with plain water comes soon",
    ),
    (
        FlushWaits(A),
        "Anemone: salts are building up at the roots; no feed, and flush on the next warm day that "
        "dries by dark",
    ),
    (
        WaterTooSalty(B, 1.2, 2.0, 0.6),
        "Anemone, Boat: with water of 1.2 mS/cm the roots get more salt than they can take (2 "
        "mS/cm); mix in 60 % rain or RO water, or flush with that each week",
    ),
    (
        WaterTooSalty(A, 1.2, 1.0, 1.0),
        "Anemone: with water of 1.2 mS/cm the roots get more salt than they can take (1 "
        "mS/cm); use only rain or RO water, or flush with that each week",
    ),
    (WateringUnplanned(), "the forecast is too old to plan watering: water by eye"),
    (
        WateringIncomplete(),
        "too little is known about today's weather to plan all the watering: check what is dry",
    ),
    (
        Spell("hot", THURSDAY, 3, 1),
        "hot spell from Thu 14 May, 3 days (1 plant beyond its limit)",
    ),
    (
        Spell("dry", THURSDAY, 5, 12),
        "dry spell from Thu 14 May, 5 days (12 plants beyond their limit)",
    ),
    (
        ShelterTooCold(A, "hall", 9.97, 10.0, "room", 14.0),
        "Anemone to room (14 °C): hall is too cold (9.97 °C, needs 10 °C)",
    ),
    (
        ColdBorne(A, 9.997, at("07:00"), 0.25, 10.0),
        "Anemone may stay out: 9.997 °C at 07:00, but only 15 min below 10 °C",
    ),
    (
        RestBegins(A, dry=True, not_before=SATURDAY),
        "Anemone goes to rest: keep dry until growth begins, not before Sat 16 May; no feed",
    ),
    (
        RestBegins(B, dry=False, not_before=None),
        "Anemone, Boat go to rest: water little until growth begins; no feed",
    ),
    (
        RestEnds(A, dry=True),
        "the rest of Anemone is over: water a little again, freely only once roots grow",
    ),
    (RestEnds(B, dry=False), "the rest of Anemone, Boat is over: water them again as they dry"),
    (
        PlantsRest(B, dry=True, not_before=SATURDAY),
        "at rest, kept dry and not fed: Anemone, Boat; growth is not due before Sat 16 May",
    ),
    (
        PlantsRest(A, dry=False, not_before=None),
        "at rest, with little water and not fed: Anemone; growth comes with warmth now: look for "
        "it",
    ),
    (CarryBegins(THURSDAY), "first night with plants to carry in: Thu 14 May"),
    (
        CarryEnds(THURSDAY),
        "nothing to carry in from Thu 14 May on, as far as the forecast goes",
    ),
    (
        NightsSafe("bench", B, THURSDAY, begins=True, years=12),
        "nights at bench are safe for 2 plants from Thu 14 May on, in nine years out of ten",
    ),
    (
        NightsSafe("bench", A, THURSDAY, begins=False, years=9),
        "nights at bench are safe for 1 plant until Thu 14 May, in nine years out of ten",
    ),
    (
        NightsSafe("bench", A, THURSDAY, begins=False, years=6),
        "nights at bench are safe for 1 plant until Thu 14 May, in all 6 known years",
    ),
    (
        NightsSafe("bench", A, THURSDAY, begins=True, years=1),
        "nights at bench are safe for 1 plant from Thu 14 May on, in the one known year",
    ),
    (
        SpotDark("bench", 4.6, "Anemone", 12.4, 1),
        "bench is too dark: 5 mol/m2 of light a day, Anemone needs 12",
    ),
    (
        SpotDark("bench", 0.2, "Anemone", 12.4, 3),
        "bench is too dark: 0 mol/m2 of light a day, Anemone needs 12 (3 plants)",
    ),
    (
        SensorQuiet("bench", "temperature", at("03:10")),
        "the thermometer at bench has sent nothing since Thu 14 May 03:10: check its battery",
    ),
    (
        SensorQuiet("room", "humidity", at("15:00")),
        "the hygrometer at room has sent nothing since Thu 14 May 15:00: check its battery",
    ),
    (
        ThermometerMoved("wall bench", 3.84, THURSDAY),
        "wall bench reads 3.8 °C warmer than before since Thu 14 May, against the forecast: was "
        "the thermometer moved? If it hangs among the plants: sillward readings wall bench "
        "--hangs-right. If not, move it back; until then the colder case counts",
    ),
    (
        ThermometerMoved("bench", -5.0, THURSDAY),
        "bench reads 5.0 °C colder than before since Thu 14 May, against the forecast: was the "
        "thermometer moved? If it hangs among the plants: sillward readings bench --hangs-right. "
        "If not, move it back; until then the colder case counts",
    ),
    (
        ThermometerTooWarm("bench", 8.2),
        "bench reads 8.2 °C warmer than the forecast: does the thermometer hang outside, among the "
        "plants? It is not believed; if it is right, set night_offset",
    ),
]


@pytest.mark.parametrize(("said", "words"), SAMPLES)
def test_what_a_remark_says(said: Remark, words: str) -> None:
    assert VOICE.remark(said) == words


def test_every_kind_of_remark_has_an_example() -> None:
    assert {type(said) for said, _ in SAMPLES} == set(KINDS) - {Remark}


def test_every_kind_has_a_macro_with_its_fields() -> None:
    path = resources.files("sillward.wording") / "templates" / "remarks.jinja"
    tree = jinja2.Environment(autoescape=True).parse(path.read_text(encoding="utf-8"))
    macros = {
        macro.name: [argument.name for argument in macro.args]
        for macro in tree.find_all(nodes.Macro)
    }

    for kind in KINDS:
        if kind not in (Remark, Plain):
            name = re.sub(r"\B([A-Z])", r"_\1", kind.__name__).lower()
            facts = [fact.name for fact in fields(kind)]
            assert macros.get(name) in (facts, [*facts, "most"]), name


def test_times_are_told_by_the_clock_of_the_site() -> None:
    utc = at("07:00").astimezone(UTC)

    assert "at 07:00," in VOICE.remark(ForecastsDisagree("Open-Meteo", 5.0, "MET", 3.0, utc))


@pytest.mark.parametrize("name", ["<b>{{ 1 + 1 }}</b>", "{% raw %}", "Ann & Bob's"])
def test_names_are_told_letter_for_letter(name: str) -> None:
    words = VOICE.remark(ShelterTooCold((name,), name, 9.0, 13.0, name, 16.0))

    assert words == f"{name} to {name} (16 °C): {name} is too cold (9 °C, needs 13 °C)"


def test_the_question_of_the_morning_names_two_plants_however_little_room_there_is() -> None:
    question = "go in last night? Nobody said so"

    assert VOICE.remark(NotConfirmed(B, 2.8, None), 0) == f"did Anemone, Boat {question}"
    assert VOICE.remark(NotConfirmed((*B, "Cup"), 2.8, None), 0) == f"did 3 plants {question}"
