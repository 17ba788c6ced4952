"""What a push says of heat at its head, and that its reason is one of its own plants."""

from dataclasses import replace
from datetime import datetime
from functools import cache

from sillward.assembly import examples, read_only
from sillward.wording import short_sheet
from sillward.wording.push import Message, led_to_page
from sillward.wording.weekly_mail import week_ahead
from sillward_rules.chore import ChoreKind
from sillward_rules.sheet import Round, Sheet, draw_up
from tests.support.chores import a_chore

SUMMER = examples.demo("dry-summer")
VOICE = SUMMER.household.voice
NOW = SUMMER.clock()
MORNING = NOW.replace(hour=7, minute=3)


@cache
def summer(round_: Round) -> Sheet:
    weather = read_only.fetched_weather(SUMMER, NOW)
    return draw_up(round_, SUMMER.household.collection, weather, {}, MORNING)


def told(sheet: Sheet) -> str:
    push = short_sheet.message(sheet, VOICE)
    return f"{push.title}\n{push.body}"


def at(text: str) -> datetime:
    return datetime.fromisoformat(f"{MORNING.date()}T{text}-03:00")


def test_the_reason_at_dusk_is_one_of_a_plant_that_is_carried() -> None:
    inside = a_chore("x", at("23:00"), ChoreKind.STAY_IN, ["Angraecum"], values=(2.2,), limit=16)
    out = a_chore("y", at("19:40"), ChoreKind.CARRY_IN, ["Red fuchsia"], values=(2.2,), limit=5)
    dusk = replace(summer(Round.DUSK), chores=(out, inside), warnings=())

    assert "Red fuchsia needs 5 °C" in told(dusk)
    assert "Angraecum needs" not in told(dusk)
    assert "Angraecum needs 16 °C" in told(replace(dusk, chores=(inside,)))


def test_the_title_of_a_hot_morning_says_how_hot_and_hot_pots_come_before_shade() -> None:
    morning = summer(Round.MORNING)
    push = told(morning)
    shade = tuple(chore for chore in morning.chores if chore.kind is ChoreKind.SHADE)
    shaded = told(replace(morning, chores=shade)).splitlines()[1:]

    assert push.splitlines()[0].endswith("; 35.6 °C at 16:00")
    assert "hot" in shaded[0] or "dark pots" in shaded[0]
    assert shaded[1].startswith("Shade ")


def test_a_week_of_heat_says_so_first_and_one_of_cold_nights_does_not() -> None:
    sheet = summer(Round.WEEK)
    assert sheet.outlook is not None
    first = told(sheet).splitlines()[0]
    assert first.startswith("Hot ")
    assert "39.5 °C on Fri: too hot for 13 plants" in first

    cold = replace(sheet.outlook.nights[0], plants_in=tuple(map(str, range(20))))
    nights = (cold, *sheet.outlook.nights[1:])
    assert week_ahead.heat(replace(sheet.outlook, nights=nights), VOICE) == ""
    assert week_ahead.heat(replace(sheet.outlook, spells=()), VOICE) == ""


def test_a_helper_without_the_page_is_never_told_a_command() -> None:
    message = Message("Carry in 24 plants now", "Now bench: 5\n+3 more lines: `sillward sheet`")

    assert led_to_page(message, VOICE) == message
    assert led_to_page(message, VOICE, to_helper=True).body.endswith("+3 more lines: ask us")
