"""Many households in one daemon: nobody harms anybody else, and nobody is forgotten."""

import os
import re
from collections.abc import Mapping
from concurrent.futures import Future
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from sillward.config.households import Place
from sillward.errors import LedgerError
from sillward.forecast.asking import Answered
from sillward.service.corrections import Corrections
from sillward.service.households_status import standings
from sillward.service.turn_heap import TurnHeap
from sillward.service.turns import NET
from tests.support.desks import local
from tests.support.fakes import FakeClock
from tests.support.houses import Street, collection

CARRY_IN = ["Carry in 2 plants by 18:40"]


@pytest.fixture
def street(tmp_path: Path) -> Street:
    return Street(tmp_path, FakeClock(local("16:58")))


def test_all_are_told_at_their_hour_each_on_its_own_channel(street: Street) -> None:
    for name in ("a", "b", "c"):
        street.add(name)  # all are called Courtyard
    street.open()
    street.run(4)
    assert sorted(each.household for each in street.post.sent) == ["a", "b", "c"]
    assert {each.at for each in street.post.sent} == {local("17:00")}
    assert len(street.source.asked) == 1
    street.run(60)
    assert all(street.post.to(name) == CARRY_IN for name in ("a", "b", "c"))
    first = standings(street.equipment.ledgers.shared())[0]
    assert first.line.startswith("Courtyard: all is well; next")


def wrong_collection(folder: Path) -> None:
    (folder / "collection.toml").write_text("plants = 3")


def no_channel(folder: Path) -> None:
    before, _, after = collection().partition("[[channels]]")
    (folder / "collection.toml").write_text(before + after[after.index("[[plants]]") :])


def no_address(folder: Path) -> None:
    (folder / "credentials" / "channel-phone").unlink()


def hostile_text(folder: Path) -> None:
    (folder / "collection.toml").write_text(collection("\\u001b[2J" + "x" * 100_000))


def a_link_elsewhere(folder: Path) -> None:
    (folder / "collection.toml").rename(folder.parent.parent / "elsewhere.toml")
    (folder / "collection.toml").symlink_to(folder.parent.parent / "elsewhere.toml")


def a_secret_of_the_neighbours(folder: Path) -> None:
    (folder / "credentials" / "channel-phone").unlink()
    (folder / "credentials" / "channel-phone").symlink_to("../../a/credentials/channel-phone")


def a_gigabyte(folder: Path) -> None:
    with (folder / "collection.toml").open("wb") as file:
        os.truncate(file.fileno(), 2**30)


def wording_elsewhere(folder: Path) -> None:
    macros = folder.parent.parent / "macros"
    macros.mkdir()
    (macros / "own.jinja").write_text("{% macro repeat(title) %}{{ title }}{% endmacro %}")
    (folder / "collection.toml").write_text(collection(notices=f'wording = "{macros}"'))


def macros_of_the_neighbours(folder: Path) -> None:
    (folder / "words").mkdir()
    (folder / "words" / "own.jinja").symlink_to("../../a/credentials/channel-phone")
    (folder / "collection.toml").write_text(collection(notices='wording = "words"'))


def a_pipe(folder: Path) -> None:
    (folder / "collection.toml").unlink()
    os.mkfifo(folder / "collection.toml")


@pytest.mark.parametrize(
    ("harm", "reason"),
    [
        (wrong_collection, "[site] is missing"),
        (no_channel, "channels"),
        (no_address, "channel"),
        (hostile_text, "site.name"),
        (a_link_elsewhere, "leads out of the household"),
        (a_secret_of_the_neighbours, "leads out of the household"),
        (a_gigabyte, "larger than"),
        (wording_elsewhere, "lies outside"),
        (macros_of_the_neighbours, "own.jinja: lies outside"),
        (a_pipe, "not a file"),
    ],
)
def test_what_is_wrong_with_one_household_is_its_own_alone(street: Street, harm, reason) -> None:  # type: ignore[no-untyped-def]
    street.add("a")
    harm(street.add("b"))
    street.open()
    street.run(4)
    assert (street.post.to("a"), street.post.to("b")) == (CARRY_IN, [])
    (trouble,) = street.member("b").troubles
    assert reason in trouble
    assert "\x1b" not in trouble
    first, second = standings(street.equipment.ledgers.shared())
    assert (first.name, first.troubles, second.name, second.troubles) == ("b", 1, "a", 0)
    assert trouble in first.line


def test_a_name_that_cannot_be_is_refused_alone(street: Street) -> None:
    street.add("a")
    street.add("B and \x1b[31m co")
    street.open()
    street.run(3)
    assert street.post.to("a") == CARRY_IN
    assert "not a valid household name" in street.member("B and \x1b[31m co").troubles[0]
    assert all("\x1b" not in each.line for each in standings(street.equipment.ledgers.shared()))


def test_a_damaged_ledger_is_set_aside_alone(street: Street) -> None:
    for name in ("a", "b"):
        street.add(name)
    street.open()
    street.run(1)
    street.close()
    path = street.ledger_path("b")
    path.write_bytes(b"\0" * path.stat().st_size)
    street.open()
    street.run(4)
    assert street.post.to("a") == CARRY_IN
    assert street.post.to("b")[-1:] == CARRY_IN
    assert any(
        "sillward set a damaged ledger" in each or "began" in each or each
        for each in street.post.to("b")
    )
    assert list(path.parent.glob("*damaged*"))


def test_one_whose_ledger_is_damaged_while_others_run_is_repaired_alone(street: Street) -> None:
    for name in ("a", "b"):
        street.add(name)
    street.open()
    street.run(1)
    path = street.ledger_path("b")
    path.unlink()
    path.write_bytes(b"\0" * 8192)
    street.run(4)
    assert street.post.to("a") == street.post.to("b")[-1:] == CARRY_IN


def test_a_defect_in_one_turn_is_contained(street: Street, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("a", "b"):
        street.add(name)
    street.open()
    street.run(0.5)

    def broken() -> None:
        raise RuntimeError

    monkeypatch.setattr(type(street.member("b")), "_turn_of", lambda *_: broken())
    street.run(1)
    trouble = "is not looked after: RuntimeError, a defect; see the log"
    assert street.member("b").troubles == [trouble]
    assert {each.line for each in standings(street.equipment.ledgers.shared())} == {trouble}
    monkeypatch.undo()
    street.run(3)
    assert street.post.to("a") == street.post.to("b") == CARRY_IN
    assert street.member("b").troubles == []


def test_nobodys_dusk_waits_for_a_provider_that_hangs(street: Street) -> None:
    """It hangs when the forecasts of noon are old, for as long as the test lasts."""
    for name in ("a", "b"):
        street.add(name)
    street.clock.now = local("15:50")
    street.open()
    street.run(1)
    calls: list[Future[list[Answered]]] = []

    def hang(_: object) -> "Future[list[Answered]]":
        calls.append(Future())
        return calls[-1]

    street.equipment.forecasts.updater.begin = hang
    street.run(75)
    assert len(calls) == 1
    assert street.post.to("a") == street.post.to("b") == CARRY_IN
    assert {each.at for each in street.post.sent} == {local("17:00")}


def test_turns_have_their_time_after_a_look_that_took_long(street: Street) -> None:
    street.add("a")
    street.open()
    steady_s = 0.0
    find = street.house.find

    def slow() -> Mapping[str, Place]:
        nonlocal steady_s
        steady_s += 60
        street.clock.move(minutes=1)
        return find()

    street.house.monotonic = lambda: steady_s
    street.house.find = slow
    street.run(4)
    assert street.post.to("a") == CARRY_IN


def test_turns_that_come_late_are_a_trouble_of_the_house(street: Street) -> None:
    street.add("a")
    street.open()
    street.run(1)
    street.house.run.stop_requested = True  # no turns are given
    street.run(12)
    (trouble,) = street.house.troubles
    assert re.fullmatch(r"\d+ minutes behind: more to do than one process can", trouble)
    street.house.run.stop_requested = False
    street.run(1)
    assert street.house.troubles == []


def test_looks_of_households_that_begin_together_are_spread(street: Street) -> None:
    for number in range(8):
        street.add(f"h{number}")
    street.clock.now = local("12:10")
    street.open()
    street.run(22)
    assert isinstance(street.house.turns, TurnHeap)
    moments = list(street.house.turns._turn_at.values())
    assert len(set(moments)) >= 7
    assert max(moments) - min(moments) > timedelta(minutes=2)
    assert max(moments) <= street.clock() + NET


def test_who_moves_waits_for_the_forecast_of_the_new_place(street: Street) -> None:
    folder = street.add("a")
    street.clock.now = local("15:00")
    street.open()
    street.run(60)
    (folder / "collection.toml").write_text(collection(latitude=-32.5))
    street.run(90)
    assert street.post.to("a") == ["Carry in 2 plants by 18:45"]


def test_households_come_change_and_go_while_it_runs(street: Street) -> None:
    street.add("a")
    street.open()
    street.run(1)
    street.add("b")
    text = collection(plants=3)
    (street.households / "a" / "collection.toml").write_text(text)
    street.run(3)
    assert street.post.to("a") == ["Carry in 3 plants by 18:40"]
    assert street.post.to("b") == CARRY_IN
    gone = street.households / "b"
    gone.rename(street.folder / "b")
    street.run(1)
    assert list(street.house.members) == ["a"]
    assert [each.name for each in standings(street.equipment.ledgers.shared())] == ["a"]
    assert [site.name for site in street.equipment.forecasts.updater.sites] == ["a"]


def test_a_folder_that_is_away_takes_nobody_out(street: Street) -> None:
    for name in ("a", "b"):
        street.add(name)
    street.open()
    street.run(1)
    street.households.rename(street.folder / "away")
    street.run(2)
    assert "cannot be read" in street.house.troubles[0]
    street.households.mkdir()
    street.run(2)
    assert street.house.troubles == ["2 of 2 households are gone at once"]
    assert street.post.to("a") == street.post.to("b") == CARRY_IN


def test_an_edit_that_is_wrong_leaves_the_collection_from_before_in_force(street: Street) -> None:
    street.max_desks = 1
    street.add("a")
    street.add("b")
    street.open()
    street.run(1)
    (street.households / "a" / "collection.toml").write_text("plants = 3")
    street.run(4)
    assert CARRY_IN[0] in street.post.to("a")
    assert any("refused" in each for each in street.member("a").troubles)


@pytest.mark.parametrize("text", ["plants = 3", None])
def test_a_collection_that_is_wrong_at_a_start_has_the_one_from_before_in_its_place(
    street: Street, text: str | None
) -> None:
    street.add("a")
    street.open()
    street.run(1)
    street.close()
    file = street.households / "a" / "collection.toml"
    file.unlink() if text is None else file.write_text(text)
    street.open()
    street.run(15)
    assert CARRY_IN[0] in street.post.to("a")
    alarms = [each.body for each in street.post.sent if "has an error" in each.title]
    if text is None:  # its disk may be away: nobody has edited anything
        assert alarms == []
        assert "is gone; the one from before stays in force" in street.member("a").troubles[-1]
        return
    assert len(alarms) == 1
    assert "goes on with the last good one, in use since Thu 14 May 16:5" in alarms[0]
    assert any("(in use since Thu 14 May 16:5" in each for each in street.member("a").troubles)


def test_a_household_of_too_many_plants_is_refused_and_says_why(
    street: Street, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_PLANTS_PER_HOUSEHOLD", "3")
    street.add("small", collection(plants=3))
    street.add("large", collection(plants=4))
    street.open()
    street.run(12)
    assert street.post.to("small") == ["Carry in 3 plants by 18:40"]
    assert street.post.to("large") == []
    (trouble,) = street.member("large").troubles
    assert 'plants[3] "Pot 3": makes more than 3 plants in all, the most that this' in trouble
    assert "SILLWARD_PLANTS_PER_HOUSEHOLD" in trouble


def test_a_collection_that_was_never_right_has_none_in_its_place(street: Street) -> None:
    street.add("a", "plants = 3")
    street.open()
    street.run(2)
    assert street.post.sent == []
    assert "is not looked after" in street.member("a").troubles[0]


def test_desks_beyond_the_bound_are_put_away_and_built_again(street: Street) -> None:
    street.max_desks = 2
    for number in range(6):
        street.add(f"h{number}")
    street.open()
    street.run(5)
    assert len(street.equipment.built) == 2
    assert all(street.post.to(f"h{number}") == CARRY_IN for number in range(6))


def test_orders_are_not_planned_anew_because_a_desk_was_put_away(
    street: Street, monkeypatch: pytest.MonkeyPatch
) -> None:
    planned = list[str]()
    plan = Corrections._compare

    def noted(self: Corrections, *args: Any, **options: Any) -> None:
        planned.append(self.context.site.name)
        plan(self, *args, **options)

    monkeypatch.setattr(Corrections, "_compare", noted)
    street.max_desks = 1
    for name in ("a", "b", "c"):
        street.add(name)
    street.open()
    street.run(5)
    assert street.post.to("a") == street.post.to("b") == street.post.to("c") == CARRY_IN
    planned.clear()
    street.run(12)
    assert planned == []


def test_a_new_secret_is_taken_over(street: Street) -> None:
    folder = street.add("a")
    street.open()
    street.run(1)
    (folder / "credentials" / "channel-phone").write_text("json://localhost/other")
    street.run(3)
    assert (street.post.to("a"), street.post.to("other")) == ([], CARRY_IN)


def test_a_ledger_at_rest_is_closed(street: Street) -> None:
    street.add("a")
    street.open()
    street.run(3)
    folder = street.ledger_path("a").parent
    assert not list(folder.glob("*-wal"))
    with pytest.raises(LedgerError):
        street.member("a")._ledger.marks.get("tick")  # type: ignore[union-attr]
