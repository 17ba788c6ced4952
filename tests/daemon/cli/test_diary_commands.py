"""`sillward note` and `sillward plant`, as a grower calls them."""

import functools
import json
from contextlib import closing
from datetime import datetime
from typing import Any

import pytest

from sillward.assembly import app, examples
from sillward.cli import note_words, shared
from sillward.config.settings import load_settings
from sillward.errors import UsageError
from sillward.ledger import Ledger, SavedForecast
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.service import diary
from tests.support.commands import call, refused, said
from tests.support.paths import EXAMPLES

DUSK = examples.demo("cold-snap").clock()
BLUE = "Blue basket"


@pytest.fixture(autouse=True)
def _dusk(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is Thursday 14 May, dusk."""
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: DUSK))
    monkeypatch.setenv("SILLWARD_COLLECTION", str(EXAMPLES / "courtyard.toml"))


def entries(plant: str = BLUE) -> list[DiaryEntry]:
    with closing(Ledger(load_settings().ledger)) as ledger:
        return ledger.diary.of_plant("Courtyard", plant)


@pytest.mark.parametrize(
    ("words", "kind", "what", "amount", "text"),
    [
        (("blue", "basket", "a", "new", "root"), None, None, None, "a new root"),
        ((BLUE, "spike"), "spike", None, None, ""),
        (("blue basket spikes 2",), "spike", None, "2", ""),
        ((BLUE, "flower", "three", "on the left"), "flower", None, "3", "on the left"),
        ((BLUE, "damage", "a few", "spots", "below"), "damage", "spots", "a few", "below"),
        ((BLUE, "damage", "crown rot"), "damage", "crown rot", None, ""),
        ((BLUE, "spike broken"), None, None, None, "spike broken"),
        ((BLUE, "root", "rot"), None, None, None, "root rot"),
        ((BLUE, "over night it leaned"), None, None, None, "over night it leaned"),
        ((BLUE, "repotted", "into bark"), "repotted", None, None, "into bark"),
        ((BLUE, "faded"), "faded", None, None, ""),
        (("grey", "curls", "dry"), None, None, None, "dry"),
    ],
)
def test_what_is_typed_is_understood(
    words: tuple[str, ...], kind: str | None, what: str | None, amount: str | None, text: str
) -> None:
    names = (BLUE, "Grey curls", "Grey", "Blue jar")
    (plant,), rest = note_words.plants_and_rest(names, words)
    read = note_words.led_by_kind(note_words.Read(None, None, None, rest))

    assert plant == ("Grey curls" if words[0].startswith("grey") else BLUE)
    assert (read.kind, read.what, read.amount, read.text) == (kind, what, amount, text)


@pytest.mark.parametrize(
    ("day", "seen"),
    [
        ("yesterday", "2026-05-13T12:00"),
        ("fri", "2026-05-08T12:00"),
        ("Thursday", "2026-05-14T12:00"),
        ("2019-03-02", "2019-03-02T12:00"),
        ("06:40", "2026-05-14T06:40"),
        ("yesterday 9:15 pm", "2026-05-13T21:15"),
        ("2026-05-01T06:40", "2026-05-01T06:40"),
        ("tomorrow", "is not a day"),
        ("2026-05-15", "in the future"),
        ("9999-12-31T23:59", "in the future"),
        ("9999-12-31", "in the future"),
        ("0001-01-01", "before 1971"),
        ("0001-01-01T00:00", "before 1971"),
    ],
)
def test_it_may_have_been_seen_on_another_day(day: str, seen: str) -> None:
    site = examples.demo("cold-snap").site
    try:
        at = diary.seen_on(day, site, DUSK).astimezone(site.zone).isoformat()
    except UsageError as error:
        at = str(error)
    assert seen in at


def test_all_that_the_options_say_is_kept() -> None:
    said("note", BLUE, "tips", "--kind", "New roots", "--count", "12", "--on", "fri", "--by", "ana")

    (entry,) = entries()
    assert (entry.kind, entry.what, entry.amount) == (EntryKind.ROOT, None, "12")
    assert (entry.text, entry.person) == ("tips", "ana")
    assert entry.seen_at < entry.entered_at


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ((), "say of which plant"),
        (("nosuch", "thing"), '"nosuch" is not a plant here'),
        (("basin",), "is not a plant here"),
        ((BLUE,), "write what you see"),
        (
            (BLUE, "--kind", "dream"),
            '"dream" is not a kind of note; choose one of observation',
        ),
        ((BLUE, "--kind", "move"), "sillward move"),
        ((BLUE, "--kind", "look"), "sillward look"),
        ((BLUE, "--kind", "root", "--amount", "0"), '"0" is not an amount'),
        ((BLUE, "--kind", "root", "--amount", "9" * 5000), "is not an amount"),
        ((BLUE, "--kind", "faded", "--amount", "2"), "an amount is for damage"),
        ((BLUE, "--kind", "spike", "--what", "x"), "what is for damage"),
        ((BLUE, "--kind", "damage", "--what", "x" * 61), "longer than 60 characters"),
        ((BLUE, "x" * 2001), "longer than 2,000 characters"),
        ((BLUE, "x", "--on", "tomorrow"), "is not a day"),
        (("--correct", "1"), "there is no entry 1"),
        (("--delete", "99999999999999999999"), "there is no entry"),
        (("--list", "--delete", "1"), "choose one of"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(words: tuple[str, ...], why: str) -> None:
    assert why in refused("note", *words)
    assert entries() == []


def test_entries_are_listed_corrected_and_deleted() -> None:
    assert said("note", BLUE, "flower", "3", "--on", "fri") == (
        "noted: Blue basket, Fri 08 May 2026: 3 flowers opened (entry 1)"
    )
    said("note", "grey curls", "leans")

    assert said("note", "--list") == "2 Thu 14 May Grey curls Leans 1 Fri 08 May Blue basket 3" \
        " flowers opened"  # fmt: skip
    assert said("note", "--correct", "1", "--amount", "4", "white ones", "--by", "Ana") == (
        "corrected: Blue basket, Fri 08 May 2026: 4 flowers opened: white ones (entry 1)"
    )
    assert "say what entry 1 is instead" in refused("note", "--correct", "1")
    listed: dict[str, Any] = json.loads(call("note", "blue", "--list", "--json").stdout)
    assert listed["schema"] == 1
    (entry,) = listed["entries"]
    assert (entry["kind"], entry["amount"], entry["seen"]) == ("flower", "4", "4 flowers opened")
    assert said("note", "--list", "--kind", "spike").startswith("nothing is noted")
    assert said("note", "--delete", "1") == (
        "deleted: Blue basket, Fri 08 May 2026: 4 flowers opened: white ones (entry 1)"
    )
    assert entries() == []
    with closing(Ledger(load_settings().ledger)) as ledger:
        deeds = [(deed.what, deed.person) for deed in ledger.deeds.latest("Courtyard", 9)]
    assert deeds == [
        ("note deleted", None),
        ("note corrected", "Ana"),
        ("noted", None),
        ("noted", None),
    ]


@pytest.mark.parametrize(
    ("words", "plants", "rest"),
    [
        (("lime,", "kumquat", "spike", "2"), ["Lime", "Kumquat"], "spike 2"),
        (("lime,blue", "spike, thin"), ["Lime", BLUE], "spike, thin"),
        (("Lime", "Kumquat", "leans"), ["Lime", "Kumquat"], "leans"),
        (("blue", "and", "lime", "lean"), [BLUE, "Lime"], "lean"),
        (("lime", "and the pot fell"), ["Lime"], "and the pot fell"),
        (("lime", "kumquat beside it fell"), ["Lime"], "kumquat beside it fell"),
        (("lime", "blue", "spots"), ["Lime"], "blue spots"),
        (("lime,", "the leaf fell"), None, '"the", after a comma'),
        (("lime, kumqat",), None, '"kumqat", after a comma'),
    ],
)
def test_the_same_is_noted_of_several_plants(
    words: tuple[str, ...], plants: list[str] | None, rest: str
) -> None:
    names = (BLUE, "Lime", "Lime small", "Kumquat", "Strap-leaf by the door")
    if plants is None:
        with pytest.raises(UsageError, match=rest):
            note_words.plants_and_rest(names, words)
        return
    assert note_words.plants_and_rest(names, words) == (plants, rest)


def test_notes_of_several_plants_are_taken_back_as_one() -> None:
    said("note", BLUE, "x")
    told = said("note", "blue,", "grey", "curls", "flower", "2", "--on", "fri")
    assert told == (
        "noted: Blue basket, Fri 08 May 2026: 2 flowers opened (entry 2)"
        " noted: Grey curls, Fri 08 May 2026: 2 flowers opened (entry 3)"
    )

    assert said("note", "--undo").replace("deleted", "noted") == told
    assert [entry.text for entry in entries()] == ["x"]
    assert entries("Grey curls") == []
    undone: dict[str, Any] = json.loads(call("note", "--undo", "--json").stdout)
    assert [entry["text"] for entry in undone["entries"]] == ["x"]
    assert "nothing is noted" in refused("note", "--undo")
    assert "choose one of" in refused("note", "--undo", "--list")
    assert "leave the rest out" in refused("note", BLUE, "--undo")


def test_a_move_of_a_past_day_is_noted_with_its_spot() -> None:
    told = said("note", BLUE, "moved", "to", "wall", "bench", "--on", "fri")
    assert "noted: Blue basket, Fri 08 May 2026: Moved to wall bench (entry 1)" in told
    assert "if it still stands there: sillward move Blue basket wall bench" in told
    (entry,) = entries()
    assert (entry.kind, entry.text) == (EntryKind.MOVE, "wall bench")
    assert "delete it, and note it" in refused("note", "--correct", "1", "sunroom")
    said("note", "--delete", "1")

    said("note", BLUE, "sunroom", "--kind", "moved", "--on", "fri")
    assert [entry.text for entry in entries()] == ["sunroom"]
    said("note", "--undo")
    assert entries() == []


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (("moved a little to the left",), "if it stands at another spot now: sillward move Blue"),
        (("photo of the new spike",), "photos are noted on the page"),
    ],
)
def test_texts_of_moves_and_photos_are_noted_and_lead_on(words: tuple[str, ...], hint: str) -> None:
    assert hint in said("note", BLUE, *words)
    assert len(entries()) == 1


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("moved",), "sillward move Blue basket SPOT"),
        (("moved to sunroom",), "sillward move Blue basket sunroom"),
        (("--kind", "moved", "nowhere"), "is not a spot"),
        (("photo",), "on the page of the plant"),
    ],
)
def test_moves_of_now_and_photos_are_told_where_they_are_noted(
    words: tuple[str, ...], why: str
) -> None:
    assert why in refused("note", BLUE, *words)
    assert entries() == []


# -- looks at several plants


def test_several_plants_are_looked_at_at_once() -> None:
    for words in (
        ("dry", "hibiscus", "boat"),
        ("boat,", "hibiscus", "dry"),
        ("hibiscus boat dry",),
    ):
        told = said("look", *words)
        assert told.count("noted: ") == 2
    assert said("look", "--undo").count("taken back: ") == 2
    assert len(entries("Boat orchid")) == 2
    assert said("look", "--undo", "boat", "hibiscus").count("taken back: ") == 2
    undone = json.loads(call("look", "--undo", "--json").stdout)
    assert [entry["amount"] for entry in undone["entries"]] == ["dry"] * 2
    assert "no look is left" in refused("look", "--undo")


def test_who_says_that_a_pot_is_dry_hears_what_it_wants(monkeypatch: pytest.MonkeyPatch) -> None:
    morning = datetime.fromisoformat("2026-01-20T07:20-03:00")
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: morning))
    body = (EXAMPLES / "recorded" / "dry-summer.json").read_bytes()
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.forecasts.keep("Courtyard", SavedForecast("Open-Meteo", morning, morning, body))

    told = said("look", "clay-pot lime", "dry")
    assert "water by 09:20: Clay-pot lime " in told
    assert told.endswith(" L when you have watered: sillward done water")
    assert said("done", "water").startswith("done: 2026-01-20-water-")
    document = json.loads(call("look", "hibiscus", "dry", "--json").stdout)
    assert [pot["plant"] for pot in document["water"]] == ["Courtyard hibiscus"]


def test_what_was_not_typed_here_stays_as_it_is() -> None:
    said("note", BLUE, "x")
    with closing(Ledger(load_settings().ledger)) as ledger:
        move = DiaryEntry(BLUE, DUSK, DUSK, EntryKind.MOVE, "bench")
        photo = DiaryEntry(BLUE, DUSK, DUSK, EntryKind.PHOTO, "", photo="a" * 32)
        ledger.diary.add("Courtyard", [move, photo])

    assert "is a move" in refused("note", "--delete", "2")
    assert "has a photo" in refused("note", "--delete", "3")
    assert "only its text and day" in refused("note", "--correct", "3", "--kind", "root")
    said("note", "--correct", "3", "from the east")
    assert [entry.text for entry in entries()] == ["from the east", "bench", "x"]
    assert (
        said("note", "--list", "--kind", "photo") == "3 Thu 14 May Blue basket Photo: from the east"
    )
    assert said("note", "--list", "--kind", "move") == "2 Thu 14 May Blue basket Moved to bench"


def test_a_plant_that_is_gone_keeps_its_diary_and_hostile_text_is_only_text() -> None:
    with closing(Ledger(load_settings().ledger)) as ledger:
        old = "Old\x1b[31m one"
        ledger.diary.add(
            "Courtyard", [DiaryEntry(old, DUSK, DUSK, EntryKind.OBSERVATION, "a\x1b[2Jb\u202e")]
        )

    assert "A [2Jb" in said("note", "--list")
    said("note", "one", "it", "died\x1b[31m")
    assert [entry.text for entry in entries(old)] == ["it died [31m", "a\x1b[2Jb\u202e"]


# -- the years of a plant


def test_the_years_of_a_plant_are_told() -> None:
    for words in (
        ("spike", "--on", "2025-02-01"),
        ("flower", "3", "--on", "2025-02-20"),
        ("faded", "--on", "2025-04-21"),
        ("repotted", "--what", "bark", "--on", "2026-03-02"),
        ("damage", "some", "spots", "--on", "fri"),
    ):
        said("note", BLUE, *words)

    told = said("plant", "blue", "basket")
    assert "Stands at pergola, assumed: nobody has confirmed it" in told
    assert "2026 Repotted Mon 02 Mar: bark Damage Fri 08 May: spots, some" in told
    assert "2025 Flowers 1 spike, 3 opened Thu 20 Feb to Mon 21 Apr, 60 days" in told
    assert "Night low 14 °C your own limit" in told

    document = json.loads(call("plant", "blue", "basket", "--json").stdout)
    assert (document["schema"], document["plant"], document["notes"]) == (1, BLUE, 5)
    assert [year["year"] for year in document["years"]] == [2026, 2025]
    assert document["years"][1]["bloomings"] == [
        {"first": "2025-02-20", "last": "2025-04-21", "lasts": False, "days": 60, "flowers": 3}
    ]
    (damage,) = document["years"][0]["damage"]
    assert (damage["what"], damage["amount"]) == ("spots", "some")


def test_a_plant_that_is_gone_has_its_years_and_one_that_never_was_is_refused() -> None:
    with closing(Ledger(load_settings().ledger)) as ledger:
        entry = DiaryEntry(
            "Gone\x1b[2J", DUSK, DUSK, EntryKind.DAMAGE, "<b>\x1b[31m", what="\u202ex"
        )
        ledger.diary.add("Courtyard", [entry])

    told = said("plant", "gone")
    assert "no longer in the collection" in told
    assert "2026 Damage Thu 14 May: x; <b> [31m" in told
    assert json.loads(call("plant", "gone", "--json").stdout)["in_collection"] is False
    assert '"nosuch" is not a plant here' in refused("plant", "nosuch")
