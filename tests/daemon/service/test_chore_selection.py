"""What the words of `sillward done` select, and how they are taken back."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sillward.errors import UsageError
from sillward.ledger import Ledger, StoredChore
from sillward.service.chore_selection import left_for_later, select_chores
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.state import OpenOrder, PlantState
from sillward_rules.transitions import answered
from tests.support.chores import a_chore
from tests.support.desks import DAY, SITE, local

NOW = local("19:00")
PLANTS = ("Moth orchid", "Boat orchid", "Desert rose, tall", "Desert rose", "Blue basket")


def chore(
    kind: str,
    spot: str,
    plants: Sequence[str],
    before: str = "18:40",
    *,
    start: str | None = None,
    done: bool = False,
) -> StoredChore:
    told = a_chore(
        f"{DAY}-{kind}-{spot.replace(' ', '-')}-to-sunroom",
        local(before),
        ChoreKind(kind),
        plants,
        (spot, "sunroom"),
        start=None if start is None else local(start),
    )
    return StoredChore(told, local("18:50") if done else None, "dusk")


PERGOLA = chore("carry-in", "pergola", PLANTS[:3])
BENCH = chore("carry-in", "wall bench", PLANTS[3:])
MIST = chore("mist", "pergola", PLANTS[:1], "09:20")
LATER = chore("carry-out", "sunroom", PLANTS[:1], "23:30", start="23:00")
VOICE = Voice(SITE)
TOLD = (PERGOLA, BENCH, MIST, LATER)


def named(words: str, told: Sequence[StoredChore] = TOLD) -> dict[str, list[str]]:
    return {
        key[11:]: list(names)
        for key, names in select_chores(words, told, PLANTS, NOW, VOICE).items()
    }


ALL_IN = {
    "carry-in-pergola-to-sunroom": list(PLANTS[:3]),
    "carry-in-wall-bench-to-sunroom": list(PLANTS[3:]),
}


@pytest.mark.parametrize("words", ["carry-in", "carry in", "Carry  In"])
def test_a_kind_in_either_spelling_is_all_of_it(words: str) -> None:
    assert named(words) == ALL_IN


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("carry-out", "put out"),
        ("stop-wetting", "Keep crowns dry"),
        ("leach", "flush the roots"),
        ("leach", "flush"),
        ("flush", "rinse"),
        ("flush", "flush"),
        ("secure", "secure against gusts"),
        ("damp-down", "damp down"),
    ],
)
def test_a_kind_is_called_as_messages_call_it(kind: str, words: str) -> None:
    told = chore(kind, "pergola", PLANTS[:1])

    assert named(words, [told, BENCH]) == {told.id[11:]: ["Moth orchid"]}


def test_flushing_is_what_messages_call_so_where_rinsing_is_open_too() -> None:
    told = [chore(kind, "pergola", PLANTS[:1]) for kind in ("flush", "leach")]

    assert list(named("flush", told)) == ["leach-pergola-to-sunroom"]


MISTINGS = [
    chore("mist", spot, plants, before, start=start)
    for spot, plants, before, start in (
        ("pergola", PLANTS[:3], "18:00", "17:00"),
        ("wall bench", PLANTS[3:], "20:00", "18:55"),
        ("bench at noon", PLANTS[:1], "20:30", "19:40"),
        ("shelf", PLANTS[1:2], "21:30", "20:40"),
    )
]


@pytest.mark.parametrize(
    ("words", "told", "spots"),
    [
        ("mist", MISTINGS, ["pergola", "wall bench"]),
        ("mist", MISTINGS[2:], ["bench at noon"]),
        ("mist all day", MISTINGS, ["pergola", "wall bench", "bench at noon", "shelf"]),
        ("mist Boat orchid", MISTINGS, ["pergola"]),
        ("mist Boat orchid", MISTINGS[2:], ["shelf"]),
        ("mist all day but Moth orchid", MISTINGS[2:], ["shelf"]),
    ],
)
def test_misting_counts_once_its_time_has_come_and_the_first_before(
    words: str, told: Sequence[StoredChore], spots: Sequence[str]
) -> None:
    ids = [f"mist-{spot.replace(' ', '-')}-to-sunroom" for spot in spots]

    assert sorted(named(words, told)) == sorted(ids)


def test_what_is_left_of_the_day_is_known() -> None:
    done = select_chores("mist", MISTINGS, PLANTS, NOW, VOICE)
    some = select_chores("mist Boat orchid", MISTINGS, PLANTS, NOW, VOICE)

    assert left_for_later(done, MISTINGS, NOW) == MISTINGS[2:]
    assert left_for_later(some, MISTINGS, NOW) == []
    assert left_for_later({BENCH.id: BENCH.plants}, [BENCH, *MISTINGS], NOW) == []


def test_shade_that_is_hung_early_hangs_all_day() -> None:
    told = [
        chore("shade", spot, PLANTS[:1], before, start=start)
        for spot, before, start in (("pergola", "20:00", "19:30"), ("bench", "21:00", "20:30"))
    ]

    assert len(named("shade", told)) == 2


def test_a_spot_is_what_is_open_from_there() -> None:
    assert named("wall bench") == {"carry-in-wall-bench-to-sunroom": list(PLANTS[3:])}


def test_all_is_what_has_begun() -> None:
    assert named("all") == ALL_IN | {"mist-pergola-to-sunroom": ["Moth orchid"]}


@pytest.mark.parametrize("words", ["Blue basket", "blue", "carry in blue basket"])
def test_a_plant_is_its_order_alone(words: str) -> None:
    assert named(words) == {"carry-in-wall-bench-to-sunroom": ["Blue basket"]}


def test_an_order_goes_before_what_else_is_open_for_a_plant() -> None:
    assert named("moth orchid") == {"carry-in-pergola-to-sunroom": ["Moth orchid"]}
    assert named("mist moth orchid") == {"mist-pergola-to-sunroom": ["Moth orchid"]}


def test_several_plants_with_commas_even_in_a_name() -> None:
    assert named("Desert rose, tall, Blue basket") == {
        "carry-in-pergola-to-sunroom": ["Desert rose, tall"],
        "carry-in-wall-bench-to-sunroom": ["Blue basket"],
    }


def test_plants_that_are_numbered_in_a_row_as_messages_call_them() -> None:
    many = [f"Moth {number}" for number in range(1, 13)]
    told = (chore("carry-in", "pergola", many),)

    (found,) = select_chores("carry-in moth 2-4, Moth 11–12", told, many, NOW, VOICE).values()

    assert sorted(found) == ["Moth 11", "Moth 12", "Moth 2", "Moth 3", "Moth 4"]
    with pytest.raises(UsageError):
        select_chores("carry-in moth 2-14", told, many, NOW, VOICE)


def test_all_but_a_plant() -> None:
    assert named("carry-in but Desert rose, Blue basket") == {
        "carry-in-pergola-to-sunroom": list(PLANTS[:3])
    }
    assert "Moth orchid" not in str(named("all but moth"))


def test_an_id_or_a_part_of_one() -> None:
    assert named("in-wall-bench") == {"carry-in-wall-bench-to-sunroom": list(PLANTS[3:])}
    assert named(LATER.id) == {"carry-out-sunroom-to-sunroom": ["Moth orchid"]}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("orchid", r"more than one plant here \(Moth orchid, Boat orchid\)"),
        ("to-sunroom", "more than one chore; open: .*pergola.*wall-bench"),
        ("zeppelin", "not a chore you were told of; open: carry in, mist, put out"),
        ("all but zeppelin", '"zeppelin" is not a plant here'),
        ("feed", "not a chore you were told of"),
        ("mist Blue basket", "nothing that has begun is open for Blue basket"),
    ],
)
def test_what_is_not_clear_names_the_possibilities(words: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        named(words)


def test_a_plant_that_is_done_is_not_open() -> None:
    with pytest.raises(UsageError, match="nothing that has begun is open for Boat orchid"):
        named("boat orchid", [chore("carry-in", "pergola", PLANTS[:3], done=True)])


# -- in the ledger

STATES = {
    name: PlantState(
        "sunroom",
        local("18:40"),
        came_from="pergola",
        asked=OpenOrder("pergola", "sunroom", local("18:40")),
    )
    for name in PLANTS[:3]
}
IN = PlantState("sunroom", NOW, assumed=False)


def written(path: Path | str = ":memory:") -> Ledger:
    ledger = Ledger(path)
    ledger.keep_round(
        SITE.name, "dusk", DAY, local("17:00"),
        notices=[], chores=[PERGOLA.chore], states_now=STATES,
    )  # fmt: skip
    return ledger


def test_what_is_done_for_some_parts_the_chore_and_can_be_taken_back_exactly(
    tmp_path: Path,
) -> None:
    path = tmp_path / "ledger.sqlite3"
    ledger = written(path)
    before = (ledger.chores.of_day(SITE.name, DAY), ledger.plant_states.of_site(SITE.name))

    ledger.confirm(SITE.name, NOW, {PERGOLA.id: ["Boat orchid"]}, {"Boat orchid": IN})

    rest, part = ledger.chores.of_day(SITE.name, DAY)
    assert (rest.id, rest.open, rest.plants) == (PERGOLA.id, True, ("Moth orchid", PLANTS[2]))
    assert (part.done_at, part.plants) == (NOW, ("Boat orchid",))
    ledger.close()

    again = Ledger(path)  # a restart in between
    answer = again.confirmations.last(SITE.name)
    assert answer is not None
    assert again.undo(SITE.name, answer) == []
    assert (again.chores.of_day(SITE.name, DAY), again.plant_states.of_site(SITE.name)) == before
    assert again.confirmations.last(SITE.name) is None
    again.close()


def test_taking_back_leaves_what_has_moved_since() -> None:
    ledger = written()
    ledger.confirm(SITE.name, NOW, {PERGOLA.id: None}, dict.fromkeys(STATES, IN))
    elsewhere = PlantState("pergola", NOW + timedelta(hours=1), assumed=False)
    ledger.confirm(SITE.name, NOW + timedelta(hours=1), {"any": None}, {"Moth orchid": elsewhere})
    answer = ledger.confirmations.last(SITE.name, PERGOLA.id)
    assert answer is not None

    assert ledger.undo(SITE.name, answer) == ["Moth orchid"]

    assert ledger.plant_states.of_site(SITE.name) == STATES | {"Moth orchid": elsewhere}
    assert ledger.chores.of_day(SITE.name, DAY)[0].open


@pytest.mark.parametrize("done", [["Boat orchid"], None], ids=["some", "all"])
def test_taking_back_leaves_who_has_joined_a_chore_and_its_hour_as_they_are(
    done: list[str] | None,
) -> None:
    ledger = written()
    names = done or list(PLANTS[:3])
    ledger.confirm(SITE.name, NOW, {PERGOLA.id: done}, dict.fromkeys(names, IN))
    rest = [name for name in PLANTS[:3] if name not in names]
    plants, way = [*rest, "Blue basket"], (PERGOLA.chore.from_spot, PERGOLA.chore.to_spot)
    grown = a_chore(PERGOLA.id, local("20:00"), plants=plants, way=way)
    ledger.keep_change(
        SITE.name, "dusk", 1, DAY, NOW,
        notices=[], chores=[(grown, NOW)], called_off=[], states_once_delivered={},
    )  # fmt: skip
    answer = ledger.confirmations.last(SITE.name)
    assert answer is not None

    ledger.undo(SITE.name, answer)

    hours = {
        plant: chore.before
        for chore in ledger.chores.of_day(SITE.name, DAY)
        if chore.open
        for plant in chore.plants
    }
    assert hours["Blue basket"] == local("20:00")
    if done:
        assert hours == dict.fromkeys([*rest, "Blue basket"], local("20:00")) | {
            "Boat orchid": local("18:40")
        }


def test_the_last_answer_is_the_last() -> None:
    ledger = written()
    for minutes, name in ((0, "Boat orchid"), (5, "Moth orchid")):
        at: datetime = NOW + timedelta(minutes=minutes)
        ledger.confirm(SITE.name, at, {PERGOLA.id: [name]}, {name: IN})

    last = ledger.confirmations.last(SITE.name)
    assert last is not None
    ledger.undo(SITE.name, last)

    assert ledger.plant_states.of_site(SITE.name)["Boat orchid"] == IN
    assert ledger.plant_states.of_site(SITE.name)["Moth orchid"] == STATES["Moth orchid"]


def test_who_has_gone_out_as_told_has_not_come_in_as_told_for_later() -> None:
    order = OpenOrder("pergola", "sunroom", local("15:50"), "sunroom", local("10:35"))
    later = PlantState("sunroom", order.before, came_from="pergola", asked=order)
    out = chore("carry-out", "sunroom", PLANTS[:1], "13:50", start="10:35")

    after = answered(later, ChoreKind.CARRY_OUT, out.chore.to_spot, out.before, local("11:00"))

    assert after.asked == order
    assert after.at(local("16:00")).spot == "pergola"  # the grace: nobody has said that it is in
    back_in = answered(later, ChoreKind.CARRY_IN, "sunroom", local("15:50"), NOW)
    assert back_in.asked is None


def test_an_order_is_kept_with_all_that_it_says() -> None:
    out_first = "sunroom", local("10:35")
    order = OpenOrder("pergola", "sunroom", local("15:50"), *out_first, for_heat=True)
    ledger = Ledger(":memory:")
    ledger.keep_round(
        SITE.name, "morning", DAY, local("08:40"),
        notices=[], chores=[],
        states_now={"Moth orchid": PlantState("sunroom", order.before, asked=order)},
    )  # fmt: skip

    assert ledger.plant_states.of_site(SITE.name)["Moth orchid"].asked == order
