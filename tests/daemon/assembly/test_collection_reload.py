"""A collection that is edited while the daemon runs: taken over, or refused as a whole and told."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path

import pytest

from sillward.assembly.app import App, Options
from sillward.assembly.collection_reload import SETTLED, CollectionReloader
from sillward.config.channel import Channel
from sillward.config.loader import load_household
from sillward.config.settings import Settings
from sillward.errors import LedgerError
from sillward.ledger import Ledger
from sillward.ledger.tables.marks import MarkTable
from sillward.service.desk import Desk
from sillward.service.health import not_in_force
from tests.support.desks import World, a_world

COLLECTION = """
[site]
name = "Test court"
latitude = -32.89
longitude = -68.85
elevation = 780
zone = "America/Argentina/Mendoza"

[spots.bench]
sky_view = 0.0
night_offset = 0.0

[spots.room]
indoors = true
night_low = 16

[[plants]]
name = "Left pot"
group = "cattleya"
holder = "pot"
home = "bench"
shelter = "room"

[rounds]
dusk = "17:00"

[[channels]]
name = "phone"
url = "json://localhost"

[notices]
remind = "never"
pass_on = "never"
"""

RIGHT_POT = """
[[plants]]
name = "Right pot"
group = "cattleya"
holder = "pot"
home = "bench"
shelter = "room"
"""


@dataclass
class Edited:
    """A running desk, and the file that it was started with."""

    world: World
    path: Path
    wrong_channels: list[str] = field(default_factory=list)
    desk: Desk = field(init=False)
    watch: CollectionReloader = field(init=False)

    def __post_init__(self) -> None:
        self.write(COLLECTION)
        self.world.household = load_household(self.path)
        self.desk = self.world.desk
        app = App(
            Settings.model_construct(),
            self.world.household,
            (self.world.source,),
            Options(collection=self.path),
            self.world.clock,
        )
        self.watch = CollectionReloader(app, self.desk, self._problems, lambda: ["Other court"])

    def _problems(self, channels: Sequence[Channel]) -> list[str | None]:
        return [*self.wrong_channels, *[None] * (len(channels) - len(self.wrong_channels))]

    def write(self, text: str, *, ago: timedelta = timedelta(minutes=5)) -> None:
        """Save the file so long ago, by the desk's clock."""
        self.path.write_text(text, encoding="utf-8")
        at = (self.world.clock() - ago).timestamp()
        os.utime(self.path, (at, at))

    def tick(self, *, asked: bool = False) -> None:
        """Tick as the daemon does, half a minute later."""
        self.world.clock.move(minutes=0.5)
        self.watch.look(asked=asked)
        self.desk.tick()

    @property
    def plants(self) -> list[str]:
        return [plant.name for plant in self.desk.context.household.collection.plants]

    @property
    def titles(self) -> list[str]:
        return self.world.post.titles

    @property
    def troubles(self) -> str:
        return "; ".join(self.desk.troubles())


@pytest.fixture
def edited(tmp_path: Path) -> Edited:
    one = Edited(a_world("14:00"), tmp_path / "yard.toml")
    one.tick()
    return one


def test_an_edited_collection_is_in_force_at_the_next_tick(edited: Edited) -> None:
    edited.write(COLLECTION + RIGHT_POT)

    edited.tick()

    assert edited.plants == ["Left pot", "Right pot"]
    assert edited.troubles == ""
    edited.world.clock.now = edited.world.clock.now.replace(hour=20, minute=1)  # 17:01 there
    edited.tick()
    assert edited.titles[-1] == "Carry in 2 plants now"


def test_a_plant_that_is_added_after_dusk_was_told_is_told_too(edited: Edited) -> None:
    edited.world.clock.move(minutes=182)
    edited.tick()
    assert edited.titles[-1] == "Carry in 1 plant now"

    edited.write(COLLECTION + RIGHT_POT)
    edited.tick()

    assert len(edited.titles) == 2
    told = edited.world.post.pushes[-1][1]
    assert "Right pot" in f"{told.title}\n{told.body}"


def test_a_wrong_one_is_refused_as_a_whole_and_told_once(
    edited: Edited, caplog: pytest.LogCaptureFixture
) -> None:
    wrong = COLLECTION + RIGHT_POT.replace('home = "bench"', 'home = "bank"')
    edited.write(wrong)

    for _ in range(3):
        edited.tick()

    assert edited.plants == ["Left pot"]  # not even what is right in it
    assert edited.titles == ["Your edited collection has an error"]
    line = wrong[: wrong.index('home = "bank"')].count("\n") + 1
    assert f".toml:{line}: plants[1] " in edited.world.post.pushes[-1][1].body
    assert '"bank"' in edited.world.post.pushes[-1][1].body
    assert "`sillward check`" in edited.world.post.pushes[-1][1].body
    assert "the edited collection has been refused since Thu 14 May 14:01" in edited.troubles
    assert "bank" in edited.troubles
    refused = [text for text in caplog.messages if text.startswith("collection.refused")]
    assert len(refused) == 2  # what is wrong, and what follows; not at each tick

    edited.write(COLLECTION + RIGHT_POT)
    edited.tick()

    assert edited.plants == ["Left pot", "Right pot"]
    assert edited.titles[1:] == ["Your edited collection is now in use"]
    assert edited.troubles == ""


def test_a_second_mistake_on_the_same_day_is_told_too(edited: Edited) -> None:
    for text in ("[site", COLLECTION, "[spots"):
        edited.write(text)
        edited.tick()

    assert edited.titles == [
        "Your edited collection has an error",
        "Your edited collection is now in use",
        "Your edited collection has an error",
    ]


def test_a_collection_that_is_gone_is_a_wrong_one(edited: Edited) -> None:
    edited.path.unlink()

    edited.tick()

    assert edited.plants == ["Left pot"]
    assert "yard.toml" in edited.troubles


def test_channels_that_cannot_be_used_are_refused_with_the_rest(edited: Edited) -> None:
    edited.wrong_channels.append("is not a service that is known")
    edited.write(COLLECTION + RIGHT_POT)

    edited.tick()

    assert edited.plants == ["Left pot"]
    assert "is not a service that is known" in edited.troubles


def test_two_collections_cannot_come_to_be_for_one_site(edited: Edited) -> None:
    edited.write(COLLECTION.replace("Test court", "Other court"))

    edited.tick()

    assert edited.desk.context.site.name == "Test court"
    assert "Other court" in edited.troubles


def test_what_is_still_being_written_waits_for_the_next_look(edited: Edited) -> None:
    edited.write(COLLECTION[: len(COLLECTION) // 2], ago=timedelta(seconds=-30) + SETTLED / 2)

    edited.tick()

    assert edited.troubles == ""
    edited.write(COLLECTION + RIGHT_POT)
    edited.tick()
    assert edited.plants == ["Left pot", "Right pot"]
    assert edited.titles == []


def test_a_reload_that_is_asked_for_reads_it_in_any_case(edited: Edited) -> None:
    text = COLLECTION + RIGHT_POT
    stamp = edited.path.stat()
    padding = "#" * (len(text) - len(COLLECTION) - 1)
    edited.write(COLLECTION + padding + "\n")
    edited.tick()
    before = edited.path.stat()
    edited.path.write_text(text, encoding="utf-8")
    os.utime(edited.path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert stamp.st_ino == before.st_ino
    edited.tick()
    assert edited.plants == ["Left pot"]  # nothing to be seen from outside

    edited.tick(asked=True)

    assert edited.plants == ["Left pot", "Right pot"]


def test_the_folder_of_wording_counts_as_the_collection(edited: Edited) -> None:
    folder = edited.path.parent / "words"
    folder.mkdir()
    macro = "{% macro nothing_today() %}Nada esta noche{% endmacro %}"
    (folder / "mine.jinja").write_text(macro.replace("Nada", "Nix"), encoding="utf-8")
    edited.write(COLLECTION.replace("[notices]", '[notices]\nwording = "words"'))
    edited.tick()
    assert edited.desk.context.voice.say("nothing_today", close=False) == "Nix esta noche"

    (folder / "mine.jinja").write_text(macro, encoding="utf-8")
    at = (edited.world.clock() - timedelta(minutes=1)).timestamp()
    os.utime(folder / "mine.jinja", (at, at))
    edited.tick()

    assert edited.desk.context.voice.say("nothing_today", close=False) == "Nada esta noche"


def test_another_place_is_asked_for_from_then_on(edited: Edited) -> None:
    edited.write(COLLECTION.replace("-32.89", "-33.10"))

    edited.tick()

    assert [site.latitude for site in edited.desk.context.updater.sites] == [-33.10]


def test_a_ledger_that_fails_keeps_no_collection_back(
    edited: Edited, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(*_: object) -> None:
        msg = "the disk is full"
        raise LedgerError(msg)

    monkeypatch.setattr(MarkTable, "set", fails)
    edited.write(COLLECTION + RIGHT_POT)

    edited.watch.look()

    assert edited.plants == ["Left pot", "Right pot"]
    assert "ledger.failed reason=the disk is full" in caplog.messages


def test_status_tells_of_a_daemon_that_goes_by_an_old_collection(edited: Edited) -> None:
    def told() -> list[str]:
        ledger, voice = edited.desk.context.ledger, edited.desk.context.voice
        return list(not_in_force(edited.path, ledger, voice, edited.world.clock()))

    assert told() == []
    edited.write(COLLECTION + RIGHT_POT, ago=timedelta(minutes=1))
    assert told() == []  # it may still be taken over

    edited.world.clock.move(minutes=2)

    (line,) = told()
    assert line.startswith("yard.toml was changed Thu 14 May 13:59")
    assert "still goes by what it read Thu 14 May 14:00" in line
    edited.tick()
    assert told() == []


def test_after_a_restart_with_a_right_collection_nothing_is_refused_any_more(
    edited: Edited,
) -> None:
    edited.write("[site")
    edited.tick()
    assert "refused" in edited.troubles
    edited.write(COLLECTION)
    again = replace(edited.watch.app, household=load_household(edited.path))

    CollectionReloader(again, edited.desk, edited._problems).look()

    assert edited.troubles == ""
    assert edited.watch.desk.context.household == again.household


def test_what_was_edited_while_the_daemon_started_is_taken_over_at_the_first_look(
    edited: Edited,
) -> None:
    edited.write(COLLECTION + RIGHT_POT)  # after the desk's was read
    edited.watch = CollectionReloader(edited.watch.app, edited.desk, edited._problems)

    edited.tick()

    assert edited.plants == ["Left pot", "Right pot"]


def test_a_first_look_takes_over_nothing_that_is_in_force(
    edited: Edited, caplog: pytest.LogCaptureFixture
) -> None:
    edited.watch = CollectionReloader(edited.watch.app, edited.desk, edited._problems)

    edited.tick()

    assert not [text for text in caplog.messages if "collection.taken_over" in text]


@pytest.mark.parametrize(
    ("place", "failing"), [(Ledger, "keep_round"), (MarkTable, "set"), (MarkTable, "remove")]
)
def test_what_a_ledger_did_not_take_is_told_once_it_does(
    edited: Edited, monkeypatch: pytest.MonkeyPatch, place: type[Ledger | MarkTable], failing: str
) -> None:
    calls = []
    takes = getattr(place, failing)

    def fails_once(self: object, *given: object, **named: object) -> object:
        if any(str(argument).startswith("collection") for argument in given):
            calls.append(given)
            if len(calls) in (1, 3):
                msg = "somebody else writes"
                raise LedgerError(msg)
        return takes(self, *given, **named)

    monkeypatch.setattr(place, failing, fails_once)
    edited.write("[site")
    for _ in range(3):
        edited.tick()
    assert edited.titles == ["Your edited collection has an error"]
    assert "refused since" in edited.troubles

    edited.write(COLLECTION)
    for _ in range(3):
        edited.tick()

    assert edited.titles[1:] == ["Your edited collection is now in use"]
    assert edited.troubles == ""
    assert len(calls) >= 2


def test_a_site_that_gets_another_name_leaves_no_mark_behind(edited: Edited) -> None:
    edited.write("[site")
    edited.tick()

    edited.write(COLLECTION.replace("Test court", "Yard"))
    edited.tick()

    assert edited.desk.context.site.name == "Yard"
    assert not [name for name in edited.world.ledger.marks.all() if "refused" in name]
    assert edited.titles[-1] == "Your edited collection is now in use"
