"""A chore that the ledger kept is the chore that was told."""

from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.ledger.chore_codec import decode, encode, unpacked
from sillward_rules.chore import Chore, ChoreKind, Grounds, Heavy, Load, Reason, Spray, Weighing
from tests.support.chores import a_chore

TIMES = st.datetimes(timezones=st.just(UTC))
TEXTS = st.text(st.characters(exclude_categories=["Cs"]))
NUMBERS = st.floats(allow_nan=False)


def reasons(also: st.SearchStrategy[tuple[Reason, ...]]) -> st.SearchStrategy[Reason]:
    maybe_number = st.none() | NUMBERS
    return st.builds(
        Reason,
        plant=TEXTS, quantity=TEXTS, value=maybe_number, unit=TEXTS, limit=maybe_number, at=TIMES,
        origin=TEXTS, hours=maybe_number, degree_hours=maybe_number, rule=TEXTS,
        above=st.booleans(), chance=maybe_number, until=st.none() | TIMES, there=maybe_number,
        crosses_at=st.none() | TIMES,
        weighing=st.none() | st.builds(Weighing, harm=NUMBERS, gain=NUMBERS, price=NUMBERS),
        also=also,
    )  # fmt: skip


def pairs() -> st.SearchStrategy[tuple[tuple[str, ...], Reason]]:
    alone = reasons(st.just(()))
    names = st.lists(TEXTS, min_size=1, max_size=3).map(tuple)
    return st.tuples(names, reasons(st.lists(alone, max_size=2).map(tuple)))


CHORES = st.builds(
    Chore,
    id=TEXTS, kind=st.sampled_from(ChoreKind), plants=st.lists(TEXTS, max_size=4).map(tuple),
    from_spot=TEXTS, to_spot=TEXTS, not_before=st.none() | TIMES, before=TIMES,
    grounds=st.lists(pairs(), max_size=3).map(lambda parts: Grounds.of(*parts)),
    unconfirmed=st.lists(TEXTS, max_size=3).map(tuple), overdue_since=st.none() | TIMES,
    what=TEXTS,
    spray=st.none() | st.builds(Spray, litres=NUMBERS, filling=st.none() | NUMBERS),
    load=st.none() | st.builds(
        Load, takes=st.integers(0, 600).map(lambda minutes: timedelta(minutes=minutes)),
        begin_by=st.none() | TIMES,
        heavy=st.lists(st.builds(Heavy, plant=TEXTS, kg=NUMBERS), max_size=2).map(tuple),
    ),
)  # fmt: skip

CHORE = a_chore("2026-05-14-carry-in-bench-room", datetime(2026, 5, 14, 20, 15, 7, 123456, UTC))


@given(CHORES)
def test_every_chore_comes_back_as_it_was(chore: Chore) -> None:
    again = decode(encode(chore))

    for field in fields(Chore):
        assert getattr(again, field.name) == getattr(chore, field.name), field.name
    for mine, its in zip(again.grounds.reasons, chore.grounds.reasons, strict=True):
        for field in fields(Reason):
            assert getattr(mine, field.name) == getattr(its, field.name), field.name
    assert again == chore


@given(CHORES)
def test_what_is_read_is_written_as_it_was(chore: Chore) -> None:
    assert encode(decode(encode(chore))) == encode(chore)


def test_times_are_kept_in_utc_to_the_microsecond() -> None:
    local = CHORE.before.astimezone(ZoneInfo("America/Argentina/Mendoza"))

    again = decode(encode(replace(CHORE, before=local)))

    assert again.before == CHORE.before
    assert again.before.utcoffset() == CHORE.before.utcoffset()


def test_numbers_of_numpy_come_back_as_numbers() -> None:
    (plants, reason), *_ = CHORE.grounds
    single = replace(
        reason,
        value=np.float32(0.1),  # type: ignore[arg-type]
        chance=np.float64(1 / 3),
        weighing=Weighing(np.float64(0.25), np.float64(15.0), np.float32(0.25)),  # type: ignore[arg-type]
    )

    again = decode(encode(replace(CHORE, grounds=Grounds.of((plants, single)))))

    (back,) = again.grounds.reasons
    assert (back.value, back.chance) == (float(np.float32(0.1)), 1 / 3)
    assert type(back.value) is type(back.chance) is float
    assert back.weighing == Weighing(0.25, 15.0, 0.25)


def of_forty() -> Chore:
    """A chore that says the same of forty plants of eight kinds."""
    names = [f"Pot {number}" for number in range(40)]
    (_, reason), *_ = CHORE.grounds
    source = "culture sheet of a society, as copied on its pages (night at least 13 °C)"
    kinds = [
        (
            tuple(names[kind::8]),
            replace(reason, plant=names[kind], origin=f"group {kind}: {source}"),
        )
        for kind in range(8)
    ]
    return replace(CHORE, plants=tuple(names), grounds=Grounds.of(*kinds))


def test_what_is_said_of_many_plants_takes_little_room() -> None:
    text = encode(of_forty())

    assert len(text) < len(unpacked(text)) / 3
    assert text.isascii()
    assert unpacked(encode(CHORE)).startswith('{"id":"2026-05-14-carry-in')


def test_a_chore_that_an_earlier_version_wrote_is_read() -> None:
    assert decode(unpacked(encode(of_forty()))) == of_forty()


PACKED = encode(of_forty())
DAMAGED = [PACKED[:-9], f"{PACKED}?", "z:", "z:é", PACKED.replace("z:e", "z:f")]


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"id": "a"}', "null", *DAMAGED])
def test_what_is_no_chore_is_refused(text: str) -> None:
    with pytest.raises((ValueError, KeyError, TypeError)):
        decode(text)
