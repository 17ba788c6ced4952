"""Every kind of chore in a push, in full and as JSON: mist, feed, rinse, shade, cover."""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward.reports import sheet_json
from sillward.reports.sheet_json import chore_document
from sillward.text.columns import WIDTH
from sillward.wording import alarms, full_sheet, short_sheet
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.voice import Voice
from sillward.wording.weekly_mail import week_ahead, week_tables
from sillward_rules.chore import WETTINGS, Chore, ChoreKind, Grounds, Reason
from sillward_rules.planners.feeding import COURSE_FILM
from sillward_rules.planners.outlook import NightAhead, Outlook
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import Plain, ShelterTooCold
from sillward_rules.sheet import Round, Sheet
from tests.support.bodies import SITE

VOICE = Voice(SITE)
NOW = datetime(2026, 1, 20, 7, 5, tzinfo=SITE.zone)
RESTING = settings(max_examples=40, derandomize=True, deadline=None)

NAMES = (
    "Strap-leaf by the door",
    "Blue basket",
    "Old cattleya",
    "Lady of the night",
    "Dancing ladies",
    "Cork-slab laelia",
    "Grey curls",
    "Scarlet reed",
    "Boat orchid",
    "Clay-pot lime",
    "Courtyard hibiscus",
    "White frangipani",
    "Paper vine",
    "Wax vine",
)


def at(clock: str) -> datetime:
    hour, minute = map(int, clock.split(":"))
    return NOW.replace(hour=hour, minute=minute)


QUANTITIES: dict[ChoreKind, tuple[str, float, str, float, bool]] = {
    ChoreKind.CARRY_IN: ("leaf temperature", 4.2, "°C", 13.0, False),
    ChoreKind.CARRY_OUT: ("leaf temperature", 21.0, "°C", 13.0, False),
    ChoreKind.STAY_IN: ("leaf temperature", 9.0, "°C", 13.0, False),
    ChoreKind.MIST: ("film life", 12.0, "min", 15.0, False),
    ChoreKind.FEED: ("film until rinse", 20.0, "min", None, False),  # type: ignore[dict-item]
    ChoreKind.FLUSH: ("rinse", 20.0, "min", None, False),  # type: ignore[dict-item]
    ChoreKind.COURSE: (COURSE_FILM, 35.0, "min", 20.0, False),
    ChoreKind.WATER: ("pot water", 55.0, "%", 50.0, False),
    ChoreKind.LEACH: ("salt at the roots", 2.1, "mS/cm", 2.0, True),
    ChoreKind.STOP_WETTING: ("crown drying time", 2.4, "h", 2.5, False),
    ChoreKind.SHADE: ("leaf temperature", 44.1, "°C", 42.0, True),
    ChoreKind.SECURE: ("gust", 17.3, "m/s", 12.0, True),
    ChoreKind.COVER: ("rain", 25.4, "mm", 20.0, True),
    ChoreKind.DAMP_DOWN: ("humidity", 14.0, "%", 25.0, False),
    ChoreKind.MOVE: ("temperature", 38.1, "°C", 27.0, True),
}


def chore(
    kind: ChoreKind,
    *plants: str,
    start: str | None = "07:10",
    before: str = "08:30",
    spot: str = "pergola",
    to: str | None = None,
) -> Chore:
    quantity, value, unit, limit, above = QUANTITIES[kind]
    names = plants or NAMES[:3]
    reason = Reason(
        names[0], quantity, value, unit, limit, at("15:00"), "rinse before the salts", above=above
    )
    opens = None if start is None else at(start)
    target = to or spot
    return Chore(
        f"2026-01-20-{kind.value}-{spot.replace(' ', '-')}",
        kind,
        tuple(names),
        spot,
        target,
        opens,
        at(before),
        Grounds.of((tuple(names), reason)),
    )


def sheet(
    *chores: Chore,
    round_: Round = Round.MORNING,
    warnings: Sequence[str] = (),
    feed: str | None = "0.25 g/L 20-20-20 (0.38 g in 1.5 L): 50 ppm N, about 0.5 mS/cm",
) -> Sheet:
    return Sheet(
        round=round_,
        at=NOW,
        site=SITE.name,
        source="Test",
        fetched_at=NOW - timedelta(minutes=20),
        issued_at=None,
        chores=tuple(chores),
        warnings=tuple(map(Plain, warnings)),
        assumptions=(),
        outlook=None,
        lows={"pergola": 9.1},
        states={name: PlantState("pergola") for name in NAMES},
        feed=feed,
    )


def pushed(told: Sheet) -> str:
    message = short_sheet.message(told, VOICE)
    text = f"{message.title}\n{message.body}"
    assert len(text) <= MAX_CHARACTERS, text
    assert message.title
    assert message.body
    return text


def printed(told: Sheet) -> str:
    text = full_sheet.text(told, VOICE, "Weather by nobody")
    assert all(len(line) <= WIDTH for line in text.splitlines())
    return text


def unwrapped(text: str) -> str:
    return " ".join(text.split())


# -- each kind


GUARDS = {
    ChoreKind.SHADE: ("Shade pergola by 12:00", "44.1 °C at 15:00", "SHADE"),
    ChoreKind.SECURE: ("Secure pergola by 12:00", "17.3 m/s at 15:00", "SECURE AGAINST GUSTS"),
    ChoreKind.COVER: ("Cover pergola by 12:00", "25.4 mm at 15:00", "COVER"),
    ChoreKind.DAMP_DOWN: ("Damp down pergola by 12:00", "14 % at 15:00", "DAMP DOWN"),
}


@pytest.mark.parametrize("round_", [Round.MORNING, Round.DUSK])
@pytest.mark.parametrize("kind", list(GUARDS))
def test_a_guard_is_told_with_place_hour_plants_and_number(kind: ChoreKind, round_: Round) -> None:
    head, number, _ = GUARDS[kind]

    text = pushed(sheet(chore(kind, *NAMES[:3], start=None, before="12:00"), round_=round_))

    title, *body = text.splitlines()
    around = " around" if kind is ChoreKind.DAMP_DOWN else ""
    assert title == f"{head.split(' pergola')[0]}{around} 3 plants by 12:00"
    (line,) = [line for line in body if line.startswith(head)]
    assert number in line
    assert all(name in line for name in NAMES[:3])


@pytest.mark.parametrize("kind", list(GUARDS))
def test_a_guard_in_full_has_every_plant_with_its_limit(kind: ChoreKind) -> None:
    _, number, heading = GUARDS[kind]
    single = chore(kind, start=None, before="12:00")

    text = printed(sheet(single))

    assert f"\n{heading}\n  by 12:00, pergola: 3 plants\n" in text
    assert f"{'up to' if kind is not ChoreKind.DAMP_DOWN else 'down to'} {number}" in text
    for name in NAMES[:3]:
        assert f"- {name}" in text
    assert f"[{single.id}]" in text


def test_a_guard_whose_hour_has_come_is_due_now() -> None:
    now = chore(ChoreKind.COVER, start=None, before="07:05")

    assert pushed(sheet(now)).startswith("Cover 3 plants now\nCover pergola now: ")
    assert "  now, pergola: 3 plants" in printed(sheet(now))


def test_a_fed_misting_says_feed_and_rinse_and_the_full_sheet_what_to_weigh() -> None:
    mist = chore(ChoreKind.MIST)
    feed = chore(ChoreKind.FEED, before="08:00")
    rinse = chore(ChoreKind.FLUSH, start="07:25", before="08:20")
    told = sheet(feed, mist, rinse)

    text = pushed(told)
    assert text.startswith("Mist 3 plants by 08:30\nMist pergola 07:10-08:30: ")
    assert "weak feed, rinse each within 20 min" in text
    whole = unwrapped(printed(told))
    assert "FEED 07:10 to 08:00, pergola: 3 plants; 0.25 g/L 20-20-20 (0.38 g in 1.5 L): " in whole
    assert "RINSE 07:25 to 08:20, pergola: 3 plants; plain water" in whole


def test_without_a_recipe_the_feed_is_weak() -> None:
    told = sheet(chore(ChoreKind.MIST), chore(ChoreKind.FEED, before="08:00"), feed=None)

    assert "pergola: 3 plants; weak, and rinse" in unwrapped(printed(told))


def test_plants_that_are_misted_and_not_fed_are_named() -> None:
    mist = chore(ChoreKind.MIST, *NAMES[:4])
    feed = chore(ChoreKind.FEED, *NAMES[:2], before="08:00")

    text = pushed(sheet(feed, mist))

    assert f"weak feed (not {NAMES[2]}, {NAMES[3]})" in text


def test_a_misting_that_only_wets_says_plain_water() -> None:
    noon = chore(ChoreKind.MIST, start="14:30", before="15:30")

    assert "plain water, which dries in 12 min" in pushed(sheet(noon))


def test_repeats_for_the_same_plants_share_a_line_and_others_have_their_own() -> None:
    again = chore(ChoreKind.MIST, start="12:00", before="13:00")
    fewer = chore(ChoreKind.MIST, NAMES[0], start="15:00", before="16:10")

    first, second = pushed(sheet(chore(ChoreKind.MIST), again, fewer)).splitlines()[1:]

    assert first.endswith("; again by 13:00")
    assert second == f"Mist again pergola 15:00-16:10: {NAMES[0]}"


def test_plants_that_are_wetted_later_are_exceptions_from_staying_dry() -> None:
    until = chore(ChoreKind.STOP_WETTING, NAMES[1], start="06:50", before="15:35")
    late = chore(ChoreKind.MIST, NAMES[0], start="15:45", before="17:40")

    assert f"Keep crowns dry after 15:35 pergola but {NAMES[0]}" in pushed(sheet(until, late))


@pytest.mark.parametrize(
    ("own", "told"), [("17:40", "of 2 plants after 17:40"), ("18:10", "of 2 plants later")]
)
def test_on_a_crowded_day_they_are_counted_with_the_hour_of_their_own(own: str, told: str) -> None:
    until = chore(ChoreKind.STOP_WETTING, NAMES[1], start="06:50", before="15:35")
    late = chore(ChoreKind.MIST, NAMES[0], NAMES[2], start="15:45", before="17:40")
    theirs = chore(ChoreKind.STOP_WETTING, NAMES[2], start="06:50", before=own)
    bench = chore(ChoreKind.STOP_WETTING, NAMES[8], start="06:50", before="17:20", spot="bench")
    talk = ["much of this and that that nobody has to know about today, or on any day"] * 4

    text = pushed(sheet(until, bench, late, theirs, warnings=talk))

    assert f"Keep crowns dry after 15:35, {told}" in text.splitlines()


def test_lines_of_a_day_are_told_by_their_hours() -> None:
    """Plants go out at two hours, with mistings before, between and after them."""
    morning = chore(ChoreKind.MIST, NAMES[0], start="07:20", before="08:20")
    late = chore(ChoreKind.MIST, NAMES[1], start="10:35", before="11:50")
    out = chore(ChoreKind.CARRY_OUT, NAMES[2], start="09:20", before="14:00", spot="hall")
    later = chore(ChoreKind.CARRY_OUT, NAMES[3], start="12:30", before="14:00", spot="hall")

    lines = pushed(sheet(late, later, morning, out)).splitlines()[1:]

    told = [re.search(r"\d\d:\d\d", line) for line in lines]
    assert [line[0] for line in told if line] == ["07:20", "09:20", "10:35", "12:30"]


@pytest.mark.parametrize("crowd", [2, 5, 14])
def test_plants_left_too_cold_are_told_on_any_crowded_day(crowd: int) -> None:
    spots = ["pergola by the garden wall", "bench at the side gate", "terrace above the kitchen"]
    chores = [
        chore(ChoreKind.CARRY_IN, name, start=None, before="18:40", spot=spots[n % 3], to="hall")
        for n, name in enumerate(NAMES[:crowd])
    ]
    chores += [
        chore(kind, *NAMES[:crowd], start=None, before="19:00")
        for kind in (ChoreKind.COVER, ChoreKind.SECURE)
    ]
    failing = [
        ShelterTooCold((name,), "hall", 5.0, 12.0 - n / 10, None, None)
        for n, name in enumerate(NAMES[:crowd])
    ]
    text = pushed(replace(sheet(*chores, round_=Round.DUSK), warnings=tuple(failing)))

    assert len(text) <= MAX_CHARACTERS
    (line,) = [line for line in text.splitlines() if "warm enough" in line][:1]
    assert re.match(rf"! (?:no spot is known to be warm enough for )?{NAMES[0]}", line)


def test_crowns_are_told_the_hour_or_to_stay_dry() -> None:
    until = chore(ChoreKind.STOP_WETTING, NAMES[0], start="06:50", before="17:20")
    never = chore(
        ChoreKind.STOP_WETTING, NAMES[8], start="06:50", before="06:50", spot="wall bench"
    )

    text = pushed(sheet(until, never))

    assert "Keep crowns dry after 17:20 pergola; all day: wall bench (1)" in text
    whole = unwrapped(printed(sheet(until, never)))
    assert "after 17:20, pergola: 1 plant" in whole
    assert "all day, wall bench: 1 plant" in whole


# -- chances


def cold(*chances: float | None) -> Chore:
    """Return an order to carry in plants that have these chances of cold."""
    order = chore(ChoreKind.CARRY_IN, *NAMES[: len(chances)], start=None, before="18:40", to="hall")
    (reason,) = order.grounds.reasons
    pairs = [
        ((name,), replace(reason, plant=name, limit=13.0 + number / 2, chance=chance))
        for number, (name, chance) in enumerate(zip(order.plants, chances, strict=True))
    ]
    return replace(order, grounds=Grounds.of(*pairs))


@pytest.mark.parametrize(
    ("chances", "push", "whole"),
    [
        ((0.5, 0.68), ", 68 % chance", ", 50 to 68 % chance"),
        ((0.68, 0.68), ", 68 % chance", ", 68 % chance"),
        ((0.9, 0.99), None, ", 90 to >95 % chance"),
        ((0.95, 0.99), None, None),
        ((0.02, 0.04), ", <5 % chance", ", <5 % chance"),
        ((None, None), None, None),
    ],
)
def test_a_chance_is_told_unless_it_is_near_certain(
    chances: tuple[float | None, ...], push: str | None, whole: str | None
) -> None:
    told = sheet(cold(*chances), round_=Round.DUSK)

    # The last plant has the highest limit: it decides.
    reason = f"Leaves cool to 4.2 °C by 15:00; {NAMES[1]} needs 13.5 °C"
    assert f"{reason}{push or ''}\n" in f"{pushed(told)}\n"
    assert f"leaf temperature down to 4.2 °C at 15:00{whole or ''}\n" in printed(told)


def test_the_sheet_says_where_its_chances_are_from() -> None:
    dusk = replace(sheet(cold(0.68), round_=Round.DUSK), spread="51 members of a test")

    assert "\nChances: 51 members of a test.\n" in printed(dusk)
    assert "Chances:" not in printed(replace(dusk, spread=None))
    assert "Chances:" not in printed(replace(dusk, round=Round.MORNING))


def test_the_document_has_the_chance_of_each_reason_and_the_highest() -> None:
    made = chore_document(cold(0.5, None, 0.684), SITE)

    assert [reason.get("chance") for reason in made["because"]] == [0.5, None, 0.684]
    assert "chance" not in made["because"][1]
    assert made["chance"] == 0.684


def ahead(*chances: float | None, spots: Sequence[str] = ("pergola", "wall bench")) -> Outlook:
    nights = [
        NightAhead(
            day=NOW.date() + timedelta(days=number),
            lows=dict.fromkeys(spots, 11.5),
            plants_in=NAMES[:3],
            judged=chance is not None,
            chance=chance,
        )
        for number, chance in enumerate(chances)
    ]
    return Outlook(tuple(nights), (), (), None, (), ())


def test_a_week_in_which_nothing_is_carried_has_no_trips() -> None:
    week = replace(ahead(0.68, 0.68), chores=())

    assert week_tables.sentence(week, VOICE).partition(";")[0].endswith("plants must stay in.")


def test_the_table_of_nights_has_a_column_of_chances() -> None:
    outlook = ahead(0.99, 0.85, 0.04, None)

    text = printed(replace(sheet(round_=Round.WEEK), outlook=outlook))

    rows = [line for line in text.splitlines() if "11.5 °C" in line]
    assert [line.split("°C")[2][:9].strip() for line in rows] == [">95 %", "85 %", "<5 %", "-"]
    heading = next(line for line in text.splitlines() if line.startswith("NIGHTS"))
    assert heading.index("chance") + len("chance") == rows[0].index(">95 %") + len(">95 %")
    told = sheet_json.outlook_document(outlook, SITE)["nights"]
    assert [night["chance"] for night in told] == [0.99, 0.85, 0.04, None]


def test_with_many_spots_the_chance_stands_in_the_line_of_the_night() -> None:
    outlook = ahead(
        0.85, None, spots=[f"spot {number}" for number in range(week_ahead.MAX_COLUMNS + 1)]
    )

    text = printed(replace(sheet(round_=Round.WEEK), outlook=outlook))

    assert "plants in: 3, chance 85 %; spot 0" in text
    assert "plants in: 3 (too few known hours); spot 0" in unwrapped(text)


# -- everything at once


def everything(plants: Sequence[str], spots: Sequence[str]) -> list[Chore]:
    """Return every kind of chore, at every spot, for its plants."""
    chores = []
    for number, spot in enumerate(spots):
        here = list(plants[number :: len(spots)]) or list(plants[:1])
        for kind in ChoreKind:
            to = "sunroom" if kind in (ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT) else spot
            late = chore(kind, *here, before="18:40", spot=spot, to=to)
            chores.append(late)
        chores.append(chore(ChoreKind.MIST, *here, start="12:00", before="13:10", spot=spot))
    return sorted(chores, key=lambda chore: chore.before)


@pytest.mark.parametrize("round_", [Round.MORNING, Round.DUSK])
@pytest.mark.parametrize("spots", [("pergola",), ("pergola", "wall bench", "north-facing balcony")])
def test_fourteen_plants_and_every_kind_at_once_fit_a_push(
    round_: Round, spots: tuple[str, ...]
) -> None:
    text = pushed(sheet(*everything(NAMES, spots), round_=round_))

    assert "carry in 14 plants by 18:40" in text.splitlines()[0].lower()


def test_what_does_not_fit_is_counted_not_dropped() -> None:
    many = everything(NAMES, ("pergola", "wall bench", "balcony"))

    text = pushed(sheet(*many))

    assert text.splitlines()[-1].startswith("+")
    assert "`sillward sheet`" in text.splitlines()[-1]


def kept_in(confirmed: Sequence[str], unconfirmed: Sequence[str]) -> Chore:
    plants = (*confirmed, *unconfirmed)
    stay = chore(ChoreKind.STAY_IN, *plants, start=None, before="18:40", spot="sunroom")
    return replace(stay, unconfirmed=tuple(unconfirmed))


def test_plants_that_nobody_has_confirmed_to_be_in_are_named_whatever_is_cut() -> None:
    cold = [
        ShelterTooCold((name,), f"hall {number}", 8.0, 10.0, None, None)
        for number, name in enumerate(NAMES)
    ]
    told = replace(sheet(kept_in(NAMES[2:], NAMES[:2]), round_=Round.DUSK), warnings=tuple(cold))
    text = pushed(told)

    assert text.splitlines()[:2] == [
        "Check that 2 plants are in tonight",
        "Should be in tonight: Strap-leaf by the door, Blue basket",
    ]
    assert len(text) <= MAX_CHARACTERS


@pytest.mark.parametrize(
    ("confirmed", "unconfirmed", "first"),
    [
        (NAMES[2:], NAMES[:2], "Have 14 plants in by dusk: 12 are in, not confirmed: "),
        (NAMES, (), "Keep 14 plants in"),
        ((), NAMES, "Bring 14 plants in by dusk"),
    ],
)
def test_the_alarm_does_not_ask_to_bring_in_what_is_in(
    confirmed: Sequence[str], unconfirmed: Sequence[str], first: str
) -> None:
    told = sheet(kept_in(confirmed, unconfirmed), round_=Round.DUSK)

    line = alarms.blind(told, None, None, VOICE).body.splitlines()[0]
    assert line.startswith(first)
    assert all((name in line) is (name in unconfirmed[:3]) for name in NAMES if confirmed)


def test_everything_is_in_the_full_text() -> None:
    chores = everything(NAMES, ("pergola", "wall bench"))

    text = printed(sheet(*chores))
    whole = unwrapped(text)

    for chore in chores:
        assert f"[{chore.id}]" in whole
        assert f"{VOICE.say('kind', name=chore.kind.value).upper()}\n" in text
    assert all(name in whole for name in NAMES)


WORDS = st.text(
    alphabet=st.characters(categories=["L", "N"], include_characters=" -'"), min_size=1, max_size=80
).filter(lambda text: text.strip() != "")


@RESTING
@given(
    names=st.lists(WORDS, min_size=1, max_size=14, unique=True),
    spots=st.lists(WORDS, min_size=1, max_size=4, unique=True),
    kinds=st.sets(st.sampled_from(list(ChoreKind)), min_size=1),
    round_=st.sampled_from([Round.MORNING, Round.DUSK]),
    warnings=st.lists(WORDS, max_size=3),
)
def test_any_sheet_fits_a_push_and_a_screen(
    names: list[str],
    spots: list[str],
    kinds: set[ChoreKind],
    round_: Round,
    warnings: list[str],
) -> None:
    chores = [candidate for candidate in everything(names, spots) if candidate.kind in kinds]
    told = sheet(*chores, round_=round_, warnings=warnings)

    message = short_sheet.message(told, VOICE)

    assert message.title
    assert len(message.title) + 1 + len(message.body) <= MAX_CHARACTERS
    assert full_sheet.text(told, VOICE, "Weather by nobody").endswith("\n")


# -- the document


def of(*chores: Chore, feed: str | None = "0.25 g/L 20-20-20") -> dict[str, str | None]:
    """Return by kind and hour what each chore of a sheet is done together with."""
    made = sheet_json.sheet_document(sheet(*chores, feed=feed), SITE)
    return {
        f"{chore['chore']} {chore['before'][11:16]}": chore.get("with") for chore in made["chores"]
    }


def test_the_document_says_what_to_wet_with() -> None:
    said = of(
        chore(ChoreKind.FEED, before="08:00"),
        chore(ChoreKind.MIST),
        chore(ChoreKind.FLUSH, start="07:25", before="08:20"),
        chore(ChoreKind.MIST, start="12:00", before="13:00"),
    )

    assert said == {
        "feed 08:00": "feed, 0.25 g/L 20-20-20",
        "mist 08:30": "feed",
        "flush 08:20": "plain water",
        "mist 13:00": "plain water",
    }


def test_a_feed_without_a_recipe_is_weak_feed() -> None:
    assert of(chore(ChoreKind.FEED), feed=None) == {"feed 08:30": "weak feed"}


def test_the_document_names_each_feed_and_course_and_what_is_in_it() -> None:
    bloom = replace(chore(ChoreKind.FEED, NAMES[0]), what="bloom feed", id="a")
    salt = replace(chore(ChoreKind.COURSE, NAMES[1]), what="magnesium", id="b")
    plain = replace(chore(ChoreKind.FEED, NAMES[2]), id="c")
    told = replace(
        sheet(chore(ChoreKind.MIST, *NAMES[:3]), bloom, salt, plain),
        mixes={"bloom feed": "0.2 g/L 10-30-20", "magnesium": "0.5 g/L Epsom salt (1 g in 2 L)"},
    )

    made = {row["id"]: row for row in sheet_json.sheet_document(told, SITE)["chores"]}

    assert made["a"]["what"] == "bloom feed"
    assert made["a"]["with"] == "bloom feed, 0.2 g/L 10-30-20"
    assert made["b"]["with"] == "magnesium, 0.5 g/L Epsom salt (1 g in 2 L)"
    assert "what" not in made["c"]
    (mist,) = (row for row in made.values() if row["chore"] == "mist")
    assert mist["with"] == "bloom feed, magnesium, feed"
    text = pushed(told)
    assert f"bloom feed for {NAMES[0]}" in text
    assert f"weak feed for {NAMES[2]}" in text
    whole = unwrapped(printed(told))
    assert "magnesium, 0.5 g/L Epsom salt (1 g in 2 L); then plain water" in whole
    assert "gloves" in whole


def test_a_push_says_what_salt_to_mist_with_and_when_plain_water_follows() -> None:
    salt = replace(chore(ChoreKind.COURSE, NAMES[0]), what="magnesium", id="b")
    mixes = {"magnesium": "0.5 g/L Epsom salt (1 g in 2 L)"}

    told = pushed(replace(sheet(chore(ChoreKind.MIST, NAMES[0]), salt), mixes=mixes))

    assert f": {NAMES[0]}; 0.5 g/L Epsom salt, plain water 20 min later" in told


def test_a_misting_elsewhere_or_of_others_is_plain() -> None:
    feed = chore(ChoreKind.FEED, NAMES[0])
    there = chore(ChoreKind.MIST, NAMES[0], spot="wall bench", before="08:10")
    others = chore(ChoreKind.MIST, NAMES[1], before="08:20")

    said = of(feed, there, others)

    assert said["mist 08:10"] == said["mist 08:20"] == "plain water"


@pytest.mark.parametrize(
    "kind",
    [kind for kind in ChoreKind if kind not in WETTINGS],
)
def test_other_chores_are_done_with_nothing(kind: ChoreKind) -> None:
    (value,) = of(chore(kind)).values()

    assert value is None
