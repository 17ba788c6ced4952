"""Names of rounds and alarms in the ledger, taken apart and put together."""

import pytest

from sillward.ledger import Alarm, Subject
from sillward_rules.sheet import Round

NAMES = {
    "dusk": Subject(Round.DUSK),
    "morning early": Subject(Round.MORNING, is_early=True),
    "week": Subject(Round.WEEK),
    "dusk early too soon": Subject(Round.DUSK, is_early=True, is_too_soon=True),
    "blind": Subject(Alarm.NO_FORECAST),
    "clock over": Subject(Alarm.WRONG_CLOCK, is_over=True),
    "ledger over too soon": Subject(Alarm.NO_LEDGER, is_over=True, is_too_soon=True),
    "history": Subject(Alarm.HISTORY_RESET),
    "away 17:04:05": Subject(Alarm.HELPER, time="17:04:05"),
    "away 17:04:05 over": Subject(Alarm.HELPER, time="17:04:05", is_over=True),
    "collection refused 17:04:05": Subject(Alarm.COLLECTION_REFUSED, time="17:04:05"),
    "collection in force 00:00:00 too soon": Subject(
        Alarm.COLLECTION_IN_FORCE, time="00:00:00", is_too_soon=True
    ),
}


@pytest.mark.parametrize(("name", "subject"), NAMES.items())
def test_a_name_and_its_subject_say_the_same(name: str, subject: Subject) -> None:
    assert (Subject.parse(name), str(subject)) == (subject, name)


@pytest.mark.parametrize("name", ["", "noon", "dusk change 2", "clock 17:04", "soon too soon"])
def test_a_name_of_another_version_is_neither_a_round_nor_an_alarm(name: str) -> None:
    subject = Subject.parse(name)
    assert (subject.kind, subject.round, subject.daily_round) == (None, None, None)


def test_only_a_dusk_or_morning_at_its_hour_is_a_daily_round() -> None:
    daily = {name for name, subject in NAMES.items() if subject.daily_round}
    rounds = {name for name, subject in NAMES.items() if subject.round}
    assert (daily, rounds) == ({"dusk"}, {"dusk", "morning early", "week"})
