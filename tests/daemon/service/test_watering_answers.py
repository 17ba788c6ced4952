"""Answers about waterings: late, taken back, before a round is delivered, and in two ledgers."""

from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sillward.ledger import Answer, Ledger
from sillward.service.answers import confirm, decline, move, take_back
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.care import Wetting
from sillward_rules.plants.sightings import course_ended
from sillward_rules.plants.state import PlantState
from sillward_rules.transitions import watered
from tests.support.chores import a_chore
from tests.support.desks import DAY, SITE, local

HOUR, DAY_LONG = timedelta(hours=1), timedelta(days=1)
NOW = local("08:00")
NAME = "Lime"


def told(kind: ChoreKind, hours: float) -> Chore:
    due = NOW + hours * HOUR
    return a_chore(f"{DAY}-{kind.value}-bench", due, kind, (NAME,), ("bench", "bench"))


WATER, MIST, FEED = (
    told(ChoreKind.WATER, 1), told(ChoreKind.MIST, 2), told(ChoreKind.FEED, 3)
)  # fmt: skip
CHORES = (WATER, MIST, FEED)


def once_told(chores: Sequence[Chore] = CHORES) -> dict[str, PlantState]:
    state = PlantState("bench", NOW - DAY_LONG, assumed=False)
    for chore in chores:
        state = watered(state, Wetting(chore.kind, chore.before, due=chore.before))
    return {NAME: state}


def written(path: Path | str = ":memory:", chores: Sequence[Chore] = CHORES) -> Ledger:
    ledger = Ledger(path)
    ledger.keep_round(
        SITE.name, "morning", DAY, NOW - HOUR,
        notices=[], chores=chores, states_now=once_told(chores),
    )  # fmt: skip
    return ledger


def done(ledger: Ledger, chore: Chore, at: datetime) -> None:
    stored = ledger.chores.get(SITE.name, chore.id)
    assert stored is not None
    confirm(ledger, SITE.name, [(stored, [NAME])], at)


def states(ledger: Ledger) -> Mapping[str, PlantState]:
    return ledger.plant_states.of_site(SITE.name)


def is_confirmed(ledger: Ledger, chore: Chore) -> list[bool]:
    wettings = states(ledger)[NAME].care.wettings
    return [one.confirmed for one in wettings if one.kind is chore.kind]


def test_water_with_feed_is_one_answer_and_taken_back_as_one() -> None:
    chore = replace(WATER, what="pot feed")
    ledger = written(chores=(chore, MIST))
    before = states(ledger)[NAME]

    done(ledger, chore, NOW)
    after = states(ledger)[NAME]
    done(ledger, MIST, NOW + timedelta(minutes=1))
    take_back(ledger, SITE.name, chore.id, NOW + HOUR)

    assert (before.fed_at, after.fed_at) == (None, NOW)
    assert [(one.of, one.confirmed) for one in after.care.wettings if one.fills] == [
        ("pot feed", True)
    ]
    assert states(ledger)[NAME].fed_at is None
    assert is_confirmed(ledger, chore) == [False]


@pytest.mark.parametrize("chore", CHORES, ids=lambda chore: chore.kind.value)
def test_an_answer_is_taken_back_whatever_was_answered_since(chore: Chore) -> None:
    ledger, expected = written(), written()
    done(ledger, chore, NOW)
    for other in CHORES:
        if other is not chore:
            done(ledger, other, NOW + HOUR / 2)
            done(expected, other, NOW + HOUR / 2)
    move(ledger, SITE.name, NAME, "room", NOW + HOUR)
    move(expected, SITE.name, NAME, "room", NOW + HOUR)

    taken = take_back(ledger, SITE.name, chore.id, NOW + HOUR)

    assert taken is not None
    assert taken.moved == []  # a watering moves nothing
    assert is_confirmed(ledger, chore) == [False]
    assert states(ledger) == states(expected)
    assert ledger.chores.get(SITE.name, chore.id) == expected.chores.get(SITE.name, chore.id)


def test_what_was_not_needed_is_told_again_once_that_is_taken_back() -> None:
    ledger, expected = written(), written()
    stored = ledger.chores.get(SITE.name, FEED.id)
    assert stored is not None
    decline(ledger, SITE.name, [(stored, [NAME])], NOW)
    done(ledger, MIST, NOW)
    done(expected, MIST, NOW)

    taken = take_back(ledger, SITE.name, FEED.id, NOW)

    assert taken is not None
    assert taken.answer is Answer.NOT_NEEDED
    assert states(ledger)[NAME].care == states(expected)[NAME].care
    assert states(ledger)[NAME].declined == ()


def test_an_answer_counts_from_the_deadline_if_it_is_given_later() -> None:
    ledger = written()
    done(ledger, FEED, NOW + DAY_LONG)

    state = states(ledger)[NAME]
    assert (state.fed_at, state.misted_at) == (FEED.before, FEED.before)
    assert Wetting(
        ChoreKind.FEED, FEED.before, confirmed=True, due=FEED.before, said_at=NOW + DAY_LONG
    ) in state.care.wettings  # fmt: skip


@pytest.mark.parametrize("taken_back", [False, True])
def test_what_is_said_before_a_round_is_delivered_holds_once_it_is(taken_back: bool) -> None:
    ledger = written(chores=[WATER, FEED])
    if taken_back:
        done(ledger, FEED, NOW)
    made = states(ledger)[NAME]
    after = watered(made, Wetting(ChoreKind.MIST, MIST.before, due=MIST.before))
    next_day = DAY + DAY_LONG
    ledger.keep_round(
        SITE.name, "morning", next_day, NOW,
        notices=[], chores=[], states_now={}, states_once_delivered={NAME: after},
    )  # fmt: skip
    if taken_back:
        take_back(ledger, SITE.name, FEED.id, NOW)
    else:
        done(ledger, FEED, NOW)
    known = states(ledger)[NAME]

    ledger.plant_states.keep(
        SITE.name, ledger.states_once_delivered(SITE.name, "morning", next_day)
    )

    assert is_confirmed(ledger, FEED) == [not taken_back]
    assert is_confirmed(ledger, MIST) == [False]
    assert states(ledger)[NAME].fed_at == known.fed_at


def test_what_a_round_tells_of_a_plant_that_is_moved_before_it_is_delivered_is_kept() -> None:
    ledger = written(chores=[WATER])
    made = watered(states(ledger)[NAME], Wetting(ChoreKind.FEED, FEED.before, due=FEED.before))
    ledger.keep_round(
        SITE.name, "morning", DAY + DAY_LONG, NOW,
        notices=[], chores=[], states_now={}, states_once_delivered={NAME: made},
    )  # fmt: skip
    move(ledger, SITE.name, NAME, "room", NOW + HOUR)

    state = ledger.states_once_delivered(SITE.name, "morning", DAY + DAY_LONG)[NAME]

    assert (state.spot, state.assumed) == ("room", False)
    assert state.care == made.care


def test_one_misting_of_a_day_that_is_done_in_the_file_leaves_the_other_open(
    tmp_path: Path,
) -> None:
    path, again = tmp_path / "ledger.sqlite3", told(ChoreKind.MIST, 7)
    again = replace(again, id=f"{again.id}-2")
    with closing(written(path, [MIST, again])) as ledger, closing(Ledger(path)) as other:
        ledger.to_memory()
        done(other, MIST, NOW)

        assert ledger.to_file()

        chores = ledger.chores.of_day(SITE.name, DAY)
        assert [chore.id for chore in chores if chore.open] == [again.id]


def test_answers_of_two_ledgers_come_together(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(written(path)) as ledger, closing(Ledger(path)) as other:
        done(ledger, WATER, NOW)
        ledger.to_memory()
        take_back(ledger, SITE.name, WATER.id, NOW)  # in memory
        done(ledger, FEED, NOW)
        ended = course_ended(states(ledger)[NAME], "magnesium", NOW)
        ledger.plant_states.keep(SITE.name, {NAME: ended})
        done(other, MIST, NOW + HOUR / 2)  # in the file
        move(other, SITE.name, NAME, "room", NOW + HOUR / 2)

        assert ledger.to_file()

        state = states(ledger)[NAME]
        assert [is_confirmed(ledger, one) for one in CHORES] == [[False], [True], [True]]
        assert (state.fed_at, state.spot) == (NOW, "room")
        course = state.care.course("magnesium")
        assert course is not None
        assert course.ended_at == NOW
