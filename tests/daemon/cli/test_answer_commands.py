"""`sillward done` and `sillward move`: what a grower says on the command line, and its words."""

from contextlib import closing
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import Result

from sillward.ledger import Ledger, StoredChore
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.state import OpenOrder, PlantState
from tests.support import commands
from tests.support.chores import a_chore
from tests.support.paths import EXAMPLES

COURTYARD = EXAMPLES / "courtyard.toml"
DAY = date(2026, 5, 14)
DUE = datetime.fromisoformat("2026-05-14T17:50-03:00")
EVENING = ("--collection", str(COURTYARD), "--at", "2026-05-14T17:00")
PLANTS = ("Blue basket", "Grey curls")
ORDER = "2026-05-14-carry-in-pergola-to-sunroom"


@pytest.fixture(autouse=True)
def _told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At dusk two plants are told to go in by ten to six."""
    monkeypatch.setenv("SILLWARD_LEDGER", str(tmp_path / "ledger.sqlite3"))
    asked = OpenOrder("pergola", "sunroom", DUE)
    state = PlantState("sunroom", DUE, came_from="pergola", asked=asked)
    order = a_chore(ORDER, DUE, plants=PLANTS, way=("pergola", "sunroom"))
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
        ledger.keep_round(
            "Courtyard",
            "dusk",
            DAY,
            datetime.fromisoformat("2026-05-14T16:30-03:00"),
            notices=[],
            chores=[order],
            states_now=dict.fromkeys(PLANTS, state),
        )


def call(*words: str) -> Result:
    return commands.call(*words, *EVENING)


def said(*words: str) -> str:
    return commands.said(*words, *EVENING)


def refused(*words: str) -> str:
    return commands.refused(*words, *EVENING)


def chores(folder: Path) -> list[StoredChore]:
    with closing(Ledger(folder / "ledger.sqlite3")) as ledger:
        return ledger.chores.of_day("Courtyard", DAY)


def test_who_did_it_is_kept(tmp_path: Path) -> None:
    said("done", "carry", "in", "--by", " Ana  Luz ")
    (chore,) = chores(tmp_path)
    assert (chore.done_at is not None, chore.done_by) == (True, "Ana Luz")


def test_a_name_is_spelled_as_in_the_collection(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "own.toml"
    text = COURTYARD.read_text(encoding="utf-8")
    own.write_text(f'{text}\n[page]\npeople = ["Inés"]\n', encoding="utf-8")
    monkeypatch.setattr(f"{__name__}.EVENING", ("--collection", str(own), *EVENING[2:]))
    said("done", "carry", "in", "--by", "inés")
    assert [chore.done_by for chore in chores(tmp_path)] == ["Inés"]


@pytest.mark.parametrize("name", ["", "  ", "x" * 61])
def test_a_name_that_is_none_is_refused(name: str) -> None:
    assert "at most 60 characters" in refused("done", "carry-in", "--by", name)


def test_not_needed_and_back(tmp_path: Path) -> None:
    assert said("done", "--not-needed", "grey curls").startswith("not needed: ")
    assert {(chore.plants, chore.open) for chore in chores(tmp_path)} == {
        (("Blue basket",), True),
        (("Grey curls",), False),
    }
    assert said("done", "--undo").startswith("needed after all: ")
    (chore,) = chores(tmp_path)
    assert (set(chore.plants), chore.open) == (set(PLANTS), True)


def test_what_was_not_needed_already_says_so() -> None:
    said("done", "--not-needed", "carry in")
    again = said("done", "--not-needed", ORDER)
    assert again == f"{ORDER} is not needed, you said Thu 14 May 17:00 already"


def test_what_was_not_needed_may_be_done_all_the_same(tmp_path: Path) -> None:
    said("done", "--not-needed", "carry in")
    assert said("done", ORDER).startswith("done: ")
    assert [chore.declined_at for chore in chores(tmp_path)] == [None]


@pytest.mark.parametrize(
    ("words", "until"),
    [
        (("carry-in", "--later"), "17:30"),
        (("--later", "20min", "carry", "in"), "17:20"),
        (("--later", "2 h", "carry", "in"), "17:40"),  # ten minutes before it is due
    ],
)
def test_later(words: tuple[str, ...], until: str, tmp_path: Path) -> None:
    assert said("done", *words) == f"later: {ORDER}; you are reminded at {until}"
    assert [chore.open for chore in chores(tmp_path)] == [True]
    assert said("done", "--undo") == f"not put off any more: {ORDER}"
    assert [chore.later_until for chore in chores(tmp_path)] == [None]


def test_what_is_due_cannot_wait() -> None:
    words = ("done", "carry-in", "--later", *EVENING[:2], "--at", "2026-05-14T17:45")
    result = commands.call(*words)
    assert " ".join(result.stdout.split()) == f"{ORDER} cannot wait: it is due at 17:50"


def test_a_word_in_the_place_of_a_time_is_explained() -> None:
    told = " ".join(refused("done", "--later", "carry", "in").split())
    assert '"carry" is not a duration' in told
    assert "without a time it goes last" in told


def test_one_answer_at_a_time() -> None:
    assert "choose one of" in refused("done", "carry-in", "--later", "--not-needed")


# -- moved


@pytest.mark.parametrize(
    "words",
    [("blue", "basket", "sunroom"), ("Blue basket", "to", "the", "sunroom"), ("blue", "sunr")],
)
def test_a_move_to_where_a_plant_was_to_go_is_doing_it(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    told = said("move", *words, "--by", "Ana")
    assert told.startswith("Blue basket is now at sunroom (was at pergola) this completes ")
    assert {(chore.plants, chore.open) for chore in chores(tmp_path)} == {
        (("Blue basket",), False),
        (("Grey curls",), True),
    }
    assert said("move", "--undo", "blue") == "not moved after all: Blue basket"
    assert [chore.open for chore in chores(tmp_path)] == [True]


def test_a_move_elsewhere_leaves_the_order_open(tmp_path: Path) -> None:
    told = said("move", "grey curls", "wall bench")
    assert told == (
        f"Grey curls is now at wall bench (was at pergola) still open: {ORDER}, due 17:50"
    )
    assert [chore.open for chore in chores(tmp_path)] == [True]


def test_a_move_that_is_not_clear_is_refused() -> None:
    assert "say which plant, and where" in refused("move", "sunroom")
    assert "is not a plant here" in refused("move", "zeppelin", "sunroom")
    assert "is not a spot here" in refused("move", "blue", "basket", "cellar")
    assert "no move of" in refused("move", "--undo", "blue")


def test_only_a_move_is_taken_back_as_a_move() -> None:
    said("done", "carry-in")
    assert "no move of" in refused("move", "--undo", "blue")


def test_names_that_can_be_cut_in_two_ways_are_asked_about(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "own.toml"
    text = COURTYARD.read_text(encoding="utf-8")
    for old, new in (("Blue basket", "Blue"), ("Grey curls", "Blue wall")):
        text = text.replace(f'"{old}"', f'"{new}"')
    own.write_text(text, encoding="utf-8")
    monkeypatch.setattr(f"{__name__}.EVENING", ("--collection", str(own), *EVENING[2:]))
    told = " ".join(refused("move", "Blue", "wall", "bench").split())
    assert '"Blue" to "wall bench" or "Blue wall" to "wall bench"; write the names out' in told


def test_what_waits_for_a_later_hour_is_said(tmp_path: Path) -> None:
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
        starts = [datetime.fromisoformat(f"2026-05-14T{hour}-03:00") for hour in ("16:30", "18:10")]
        mistings = [
            a_chore(
                f"2026-05-14-mist-{number}",
                start + timedelta(minutes=40),
                ChoreKind.MIST,
                PLANTS,
                ("pergola", "pergola"),
                start=start,
            )
            for number, start in enumerate(starts)
        ]
        ledger.keep_round(
            "Courtyard", "morning", DAY, starts[0], notices=[], chores=mistings, states_now={}
        )

    assert said("done", "mist") == (
        "done: 2026-05-14-mist-0 (Blue basket, Grey curls) open for later: mist at 18:10; "
        "if that is done too: sillward done mist all day"
    )
    assert said("done", "mist", "all", "day") == (
        "done: 2026-05-14-mist-1 (Blue basket, Grey curls)"
    )
