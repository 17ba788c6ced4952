"""An order that was told and not confirmed: it is on every sheet, reminded of and asked about."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from sillward.ledger import Ledger, StoredChore
from sillward.reports.sheet_json import sheet_document
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.wording import full_sheet, short_sheet
from sillward.wording.macros import Wording, packaged, with_own
from sillward.wording.message_length import MAX_CHARACTERS
from sillward_rules.chore import ChoreKind
from sillward_rules.remark import NotConfirmed
from sillward_rules.sheet import Round, Sheet
from sillward_rules.transitions import acknowledged
from tests.support.collection_files import FORTY, ONE, SIX, courtyard, garden
from tests.support.invented_weather import Recording, Sky, recording
from tests.support.situations.dusk import AT, COLD
from tests.support.staged_day import StagedDay, staged_day

NEVER = 'remind = "never"'

EVENINGS: dict[str, tuple[str, str, Sky | Recording]] = {
    "one plant": (garden(ONE), AT, COLD),
    "six plants": (garden(SIX), AT, COLD),
    "forty plants": (garden(FORTY), AT, COLD),
    "forty plants, due at once": (garden(FORTY), "19:50", COLD),
    "the courtyard": (courtyard(), AT, recording("cold-snap")),
}


def evening(name: str, *, notices: str = NEVER, ledger: Ledger | None = None) -> StagedDay:
    text, at, sky = EVENINGS[name]
    played = staged_day(text, at, sky, notices=notices, ledger=ledger)
    played.desk.tick()
    return played


def open_orders(played: StagedDay) -> list[StoredChore]:
    return [chore for chore in played.chores() if chore.kind is ChoreKind.CARRY_IN and chore.open]


def drawn(played: StagedDay, round_: Round) -> Sheet:
    return played.desk.context.sheet(round_, played.desk.context.weather())


@pytest.mark.parametrize("name", EVENINGS)
def test_what_nobody_acknowledged_is_on_every_later_sheet_of_the_night(name: str) -> None:
    played = evening(name)
    told = {plant: order.before for order in open_orders(played) for plant in order.plants}
    assert told
    for clock, days in (("20:00", 0), ("22:10", 0), ("02:30", 1), ("07:50", 1)):
        played.sleep(clock, days)
        for round_ in Round:
            sheet = drawn(played, round_)
            into = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
            tonight = [chore for chore in into if chore.id.startswith(str(played.day))]
            listed = {plant: chore.before for chore in tonight for plant in chore.plants}
            assert listed == told, (clock, round_)
            assert all(chore.overdue_since == chore.before for chore in tonight)


def test_the_sheet_says_so_to_people_and_machines() -> None:
    played = evening("six plants")
    played.sleep("20:00")
    sheet, site = drawn(played, Round.DUSK), played.household.collection.site

    text = full_sheet.text(sheet, played.household.voice, "")
    document = json.loads(json.dumps(sheet_document(sheet, site)))

    due = {order.before.astimezone(site.zone) for order in open_orders(played)}
    assert min(due) > played.moment(AT)
    for at in due:
        assert f"overdue since {at:%H:%M} (not confirmed), " in text
    assert short_sheet.message(sheet, played.household.voice).title.startswith(
        f"{(played.moment('20:00') - min(due)).seconds // 60} min overdue: Carry in 6 plants now"
    )
    into = [chore for chore in document["chores"] if chore["chore"] == "carry-in"]
    assert {chore["before"] for chore in into} == {at.isoformat() for at in due}
    for chore in into:
        assert chore["confirmed"] is False
        assert chore["overdue_since"] == chore["before"]


def test_what_was_acknowledged_leaves_at_once_and_alone() -> None:
    played = evening("six plants")
    played.sleep("19:00")
    order = open_orders(played)[0]
    site, now = played.household.collection.site.name, played.clock.now
    states = played.ledger.plant_states.of_site(site)
    to = order.chore.to_spot
    done = {name: acknowledged(states[name], ChoreKind.CARRY_IN, to, now) for name in order.plants}
    played.ledger.confirm(site, now, {order.id: order.plants}, done)

    listed = {
        name
        for chore in drawn(played, Round.DUSK).chores
        if chore.kind is ChoreKind.CARRY_IN
        for name in chore.plants
    }

    assert listed == {name for order in open_orders(played) for name in order.plants}
    assert listed.isdisjoint(order.plants)


def test_a_newer_forecast_neither_doubles_nor_calls_off_what_is_overdue() -> None:
    played = evening("six plants")
    told = [(order.id, order.plants, order.before) for order in open_orders(played)]
    played.sleep("18:45")
    pushes = len(played.pushes)
    for sky in (COLD, Sky([(9, 17), (2, 15), (5, 16)]), Sky([(9, 17), (12.8, 20), (12, 20)])):
        played.wire.sky = sky
        played.clock.move(minutes=90)
        played.desk.tick()

    assert [(order.id, order.plants, order.before) for order in open_orders(played)] == told
    assert len(played.pushes) == pushes


def test_what_was_due_at_once_is_reminded_of_once_even_if_every_tick_is_a_restart(
    tmp_path: Path,
) -> None:
    ledger = Ledger(tmp_path / "ledger.sqlite3")
    played = evening("forty plants, due at once", notices="", ledger=ledger)
    while played.clock.now < played.moment("22:30"):
        played.clock.move(minutes=5)
        ledger.close()
        ledger = Ledger(tmp_path / "ledger.sqlite3")
        updater = played.desk.context.updater
        updater.store.ledger = ledger
        played.desk = Desk.of(
            ServiceContext(played.household, updater, ledger, played.post, played.clock)
        )
        played.desk.tick()
    played.ledger = ledger

    first, reminder = played.pushes
    count = sum(len(order.plants) for order in open_orders(played))
    assert 39 <= count <= 40
    assert first.title == f"Carry in {count} plants now"
    assert reminder.title.startswith(f"30 min overdue: Carry in {count} plants now")
    assert reminder.urgent
    assert len(reminder.title) + 1 + len(reminder.body) <= MAX_CHARACTERS
    ledger.close()


def test_who_never_acknowledges_gets_one_line_about_it_each_morning() -> None:
    played = staged_day(garden(FORTY), AT, COLD, notices=NEVER)
    asked = []
    for day in range(3):
        before = len(played.pushes)
        played.sleep(AT, day)
        if day == 1:  # not worth going out: kept in though nobody said that they are in
            (dusk,) = played.pushes[before:]
            assert "check that 17 plants are in tonight" in dusk.title.lower(), dusk
        before = len(played.pushes)
        played.sleep("08:40", day + 1)
        (push,) = played.pushes[before:]
        assert len(push.title) + 1 + len(push.body) <= MAX_CHARACTERS
        asked.append([line for line in push.body.splitlines() if "go in last night?" in line])

    assert [len(lines) for lines in asked] == [1, 1, 1]
    morning = drawn(played, Round.MORNING)
    assert sum(isinstance(warning, NotConfirmed) for warning in morning.warnings) == 1


@pytest.mark.parametrize("spot", ["pergola", "sunroom"])
def test_a_spot_that_gets_another_name_takes_no_open_order_from_view(spot: str) -> None:
    played = evening("six plants")
    told = {plant for order in open_orders(played) for plant in order.plants}
    played.sleep("19:45")  # assumed by now, for planning

    renamed = staged_day(garden(SIX).replace(spot, "arbour"), "19:45", COLD, notices=NEVER)
    played.desk.take_over(renamed.household)
    played.desk.tick()

    sheet = drawn(played, Round.DUSK)
    into = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    assert {plant for chore in into for plant in chore.plants} == told
    assert "arbour" in {name for chore in into for name in (chore.from_spot, chore.to_spot)}


def wordy(folder: Path) -> Wording:
    """Macros that say everything twice, and as much more as is allowed."""
    texts = []
    for name, source in packaged().ours.items():
        facts = ", ".join(source.facts)
        ours = f"{{{{ say.{name}({', '.join(f'{fact}={fact}' for fact in source.facts)}) }}}}"
        texts.append(
            f"{{% macro {name}({facts}) %}}{ours} {ours} and so on for ever{{% endmacro %}}"
        )
    (folder / "wordy.jinja").write_text("\n".join(texts), encoding="utf-8")
    return with_own(folder)


@pytest.mark.parametrize("name", EVENINGS)
def test_words_of_the_growers_that_are_long_make_no_push_too_long_and_none_empty(
    name: str, tmp_path: Path
) -> None:
    text, at, sky = EVENINGS[name]
    played = staged_day(text, at, sky, notices='pass_on = "never"')
    played.desk.context.household = replace(played.desk.context.household, wording=wordy(tmp_path))
    played.post.down, played.post.hanging = {"phone"}, True
    played.desk.tick()
    played.clock.move(minutes=1)
    played.post.down = set()
    played.play("09:00", 1, step=30)

    assert len(played.pushes) >= 3  # the round, a reminder, the morning
    assert played.pushes[0].title.startswith("(repeat) ")
    for push in played.pushes:
        assert len(push.title) + 1 + len(push.body) <= MAX_CHARACTERS
        assert "`sillward sheet`" in push.body
