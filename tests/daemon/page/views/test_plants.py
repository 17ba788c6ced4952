"""All plants by where they stand, and the page of each."""

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.page.cards import LATE_AFTER
from sillward.page.desk import PageDesk
from sillward.page.keys import key_of
from sillward.page.views.plants import SHOWN
from sillward_rules.plants.state import PlantState
from tests.support.pages import Visitor, an_evening

PLANT = "Old cattleya"
SITE = "Courtyard"
PAGE = f"/plants/{key_of(PLANT)}"

HOSTILE = [
    "<script>alert(1)</script>",
    "'\"><img src=x onerror=alert(1)>",
    "../../etc/passwd",
    "a/b?c#d&e%2f",
    "שלום עולם",
    "x" * 300,
    "{{ 7 * 7 }}",
]
"""Names that a collection may hold."""


@pytest.fixture(scope="module")
def desk() -> PageDesk:
    return an_evening()


@pytest.fixture
def visitor(desk: PageDesk) -> Visitor:
    desk.context.ledger.database.execute("DELETE FROM diary")
    return Visitor(desk)


def renamed(names: list[str]) -> Visitor:
    """A visitor of a household in which the first plants have these names."""
    desk = an_evening()
    household = desk.current()
    plants = household.collection.plants
    new = [replace(plant, name=name) for plant, name in zip(plants, names, strict=False)]
    collection = replace(household.collection, plants=(*new, *plants[len(new) :]))
    changed = replace(household, collection=collection)
    desk.current = lambda: changed
    return Visitor(desk)


def noted(visitor: Visitor, texts: list[str], plant: str = PLANT) -> None:
    now = visitor.desk.context.clock()
    visitor.desk.context.ledger.diary.add(
        SITE,
        [
            DiaryEntry(plant, now - timedelta(hours=age), now, EntryKind.OBSERVATION, text)
            for age, text in enumerate(texts)
        ],
    )


# -- the list


def test_every_plant_stands_under_its_spot_in_the_order_of_the_collection(
    visitor: Visitor,
) -> None:
    page = visitor.get("/plants")
    heads = re.findall(r"<h2>(.*?)</h2>", page)
    collection = visitor.desk.current().collection

    assert heads == [spot.name for spot in collection.spots if f"<h2>{spot.name}</h2>" in page]
    for plant in collection.plants:
        assert page.count(f'href="/plants/{key_of(plant.name)}"') == 1
    pergola = page[page.index("<h2>pergola") : page.index("<h2>wall bench")]
    assert PLANT in pergola


def test_it_says_what_is_open_and_what_is_only_assumed(visitor: Visitor) -> None:
    said = visitor.says("/plants")

    assert f"{PLANT} Carry in now: 4.0 °C expected, limit 13 °C" in said
    assert "Cork-slab laelia Carry in by 18:10: 4.0 °C expected, limit 8 °C" in said
    assert "pergola Assumed: nobody has said that they stand here. Strap-leaf" in said


def test_an_order_that_nobody_answered_is_there_after_midnight_too(visitor: Visitor) -> None:
    clock = visitor.desk.context.clock
    visitor.desk.context.clock = lambda: clock() + timedelta(hours=9)
    try:
        said = visitor.says("/plants")
    finally:
        visitor.desk.context.clock = clock
    # Planning takes it as followed by now; that it is not confirmed stays in view.
    assert f"{PLANT} Carry in (overdue since Thu 17:14)" in said
    assert said.index(" sunroom ") < said.index(PLANT)


def test_a_place_that_somebody_confirmed_has_its_time_and_no_mark(visitor: Visitor) -> None:
    context = visitor.desk.context
    at = context.clock() - timedelta(hours=1)
    context.ledger.plant_states.keep(SITE, {"Moth orchid": PlantState("sunroom", at, False)})

    assert "sunroom Moth orchid here since today 16:16" in visitor.says("/plants")


def test_entries_are_counted_and_diaries_of_plants_that_are_gone_are_kept(
    visitor: Visitor,
) -> None:
    noted(visitor, ["a", "b"])
    noted(visitor, ["c"], "Lost one")
    said = visitor.says("/plants")

    assert re.search(rf"{PLANT} Carry in [^;]*?13 °C 2 in its diary", said)
    assert "Not in the collection any more" in said
    gone = visitor.says(f"/plants/{key_of('Lost one')}")
    assert "It is not in the collection any more" in gone
    assert " c " in gone


@pytest.mark.parametrize("path", ["/plants", "/plants/{key}"])
def test_a_name_is_shown_as_text_and_in_no_address(path: str) -> None:
    visitor = renamed(HOSTILE)
    for name in HOSTILE:
        page = visitor.get(path.format(key=key_of(name)))
        assert name in visitor.says(path.format(key=key_of(name)))
        assert "<script>alert" not in page
        assert "<img src=x" not in page
        links = re.findall(r'(?:href|action|src)="([^"]*)"', page)
        assert not any(piece in link for link in links for piece in ("passwd", "%2f", "xxx"))


# -- one of them


def test_a_plant_says_where_it_stands_and_whose_its_limits_are(visitor: Visitor) -> None:
    said = visitor.says(PAGE)

    assert "Stands at pergola assumed nobody has confirmed it" in said
    assert "Home pergola Shelter sunroom" in said
    assert "Brief low 7 °C" in said
    assert "Carry in now: 4.0 °C expected, limit 13 °C" in said


def test_limits_of_a_house_that_thinks_in_fahrenheit_are_told_so() -> None:
    desk = an_evening()
    household = desk.current()
    units = replace(household.units, temperature="°F", clock="12 h")
    other = replace(desk, current=lambda: replace(household, units=units))
    clock = other.context.clock
    other.context.clock = lambda: clock() + LATE_AFTER
    said = Visitor(other).says(PAGE)

    assert "Brief low 44.6 °F" in said
    assert "overdue since 5:14 pm" in said


def test_the_newest_entries_come_first_and_older_ones_are_a_link_away(visitor: Visitor) -> None:
    noted(visitor, [f"note {number};" for number in range(SHOWN + 2)])

    page = visitor.get(PAGE)
    assert page.index("note 0;") < page.index("note 1;")
    assert page.count('<article class="entry"') == SHOWN
    assert f"note {SHOWN};" not in page
    assert f'href="{PAGE}?skip={SHOWN}#diary"' in page
    older = visitor.get(f"{PAGE}?skip={SHOWN}")
    assert f"note {SHOWN};" in older
    assert older.count('<article class="entry"') == 2
    assert f'href="{PAGE}#diary">Newer' in older
    assert "Older" not in older


@pytest.mark.parametrize("skip", ["-1", "x", "9" * 30, ""])
def test_a_place_in_the_diary_that_cannot_be_is_its_beginning(skip: str, visitor: Visitor) -> None:
    noted(visitor, ["the newest;"])

    assert "the newest;" in visitor.get(f"{PAGE}?skip={skip}")


def test_who_noted_it_is_named(visitor: Visitor) -> None:
    context = visitor.desk.context
    now = context.clock()
    entry = DiaryEntry(PLANT, now, now, EntryKind.OBSERVATION, "Spike", "Ana <b>")
    context.ledger.diary.add(SITE, [entry])

    assert "Ana <b>" in visitor.says(PAGE)
    assert "Ana <b>" not in visitor.get(PAGE)


@pytest.mark.parametrize(
    "key", ["0123456789ab", "x", "%00", "..%2f..%2fetc", "a" * 3_000, key_of(PLANT).upper()]
)
def test_there_is_no_page_of_another_plant(visitor: Visitor, key: str) -> None:
    assert visitor.client.get(f"/plants/{key}").status_code == 404


# -- moved


def to(spot: str) -> dict[str, str]:
    return {"spot": key_of(spot)}


@pytest.fixture
def mover() -> Visitor:
    """A visitor whose plants stay moved, on the page of one of them."""
    visitor = Visitor()
    visitor.get(PAGE)
    return visitor


def test_a_plant_that_was_carried_in_stands_there_and_its_order_is_done(mover: Visitor) -> None:
    answer = mover.post(f"{PAGE}/move", **to("sunroom"))

    assert (answer.status_code, answer.headers["Location"]) == (303, f"{PAGE}?said=moved")
    said = mover.says(answer.headers["Location"])
    assert "Noted: it now stands at sunroom." in said
    assert "Stands at sunroom, since today 17:16 Home" in said
    assert "Carry in" not in said.partition("Diary")[0]
    assert "Today 17:16 Moved to sunroom" in said


def test_a_plant_that_was_moved_outdoors_is_to_come_in_all_the_same(mover: Visitor) -> None:
    mover.post(f"{PAGE}/move", **to("wall bench"))
    said = mover.says(PAGE)

    assert "Stands at wall bench, since today 17:16 Home" in said
    assert "Carry in now: 4.0 °C expected, limit 13 °C" in said


def test_a_move_can_be_taken_back_once(mover: Visitor) -> None:
    mover.post(f"{PAGE}/move", **to("sunroom"))
    page = mover.get(PAGE)
    (answer,) = re.findall(r'name="answer" value="(\d+)"', page)

    back = [mover.post(f"{PAGE}/move/back", answer=answer).headers["Location"] for _ in range(2)]
    assert back == [f"{PAGE}?said=back", PAGE]
    said = mover.says(back[0])
    assert "The move is taken back: it stands at pergola." in said
    assert "Stands at pergola assumed" in said
    assert "Carry in now" in said
    assert "Moved to" not in said
    assert "Take the move back" not in said


def test_an_old_page_takes_no_newer_move_back(mover: Visitor) -> None:
    mover.post(f"{PAGE}/move", **to("wall bench"))
    (answer,) = re.findall(r'name="answer" value="(\d+)"', mover.get(PAGE))
    mover.post(f"{PAGE}/move", **to("sunroom"))
    mover.post(f"{PAGE}/move/back", answer=answer)

    assert "Stands at sunroom, since" in mover.says(PAGE)


def test_where_it_stands_has_to_be_a_spot(mover: Visitor) -> None:
    nowhere = mover.post(f"{PAGE}/move", spot="")

    assert nowhere.status_code == 422
    assert "Not moved: choose where it stands now" in nowhere.text
    assert mover.post(f"{PAGE}/move", spot="0123456789ab").status_code == 404
    assert mover.post("/plants/0123456789ab/move", **to("sunroom")).status_code == 404
    assert "Stands at pergola assumed" in mover.says(PAGE)


def test_a_plant_that_is_gone_cannot_be_moved(visitor: Visitor) -> None:
    noted(visitor, ["c"], "Lost one")
    visitor.get(PAGE)

    path = f"/plants/{key_of('Lost one')}"
    assert visitor.post(f"{path}/move", **to("sunroom")).status_code == 404
    assert "It stands somewhere else" not in visitor.says(path)


def test_what_may_go_out_again_is_no_second_order_for_tonight() -> None:
    said = Visitor().says("/plants")

    assert "limit 8 °C May go out again Fri 12:25 to 14:05" in said
    assert "Put out by" not in said


def test_what_goes_in_by_the_risk_alone_says_so() -> None:
    said = Visitor().says("/plants")

    assert "5.0 °C expected, limit 3 °C, 7 % chance of less; worth taking along" in said
    assert said.count("worth taking along") < said.count("Carry in")


# -- its years


def seen(visitor: Visitor, *entries: DiaryEntry) -> None:
    visitor.desk.context.ledger.diary.add(SITE, entries)


def test_the_years_of_a_plant_are_a_strip_a_table_and_words(visitor: Visitor) -> None:
    now = visitor.desk.context.clock()
    assert 'id="years"' not in visitor.get(PAGE)
    seen(
        visitor,
        DiaryEntry(PLANT, now - timedelta(days=400), now, EntryKind.FLOWER, "", amount="3"),
        DiaryEntry(PLANT, now - timedelta(days=9), now, EntryKind.DAMAGE, "<b>", what="spots"),
    )

    page, said = visitor.get(PAGE), visitor.says(PAGE)
    assert "2026 in words Damage Tue 05 May: spots; <b> 2025 in words Flowers 3 opened" in said
    assert "2025 3" in said
    assert page.count('class="harm" d="M') == 2  # the mark, and its key
    assert page.count('class="mist" x="') == 2
    assert "Damage: spots" in said


def test_the_years_of_a_plant_that_is_gone_are_told(visitor: Visitor) -> None:
    now = visitor.desk.context.clock()
    seen(visitor, DiaryEntry("Gone", now, now, EntryKind.REPOTTED, "", what="bark"))

    assert "Repotted Thu 14 May: bark" in visitor.says(f"/plants/{key_of('Gone')}")


def test_a_diary_is_looked_through_by_kind(visitor: Visitor) -> None:
    noted(visitor, [f"note {number};" for number in range(SHOWN + 2)])
    now = visitor.desk.context.clock()
    seen(visitor, DiaryEntry(PLANT, now, now, EntryKind.SPIKE, "thin"))

    page = visitor.get(f"{PAGE}?kind=spike")
    assert page.count('<article class="entry"') == 1
    assert '<option value="spike" selected>Spikes (1)</option>' in page
    assert f'href="{PAGE}?skip={SHOWN}&amp;kind=observation#diary"' in visitor.get(
        f"{PAGE}?kind=observation"
    )
    for odd in ("dream", "<b>", "damage"):
        assert visitor.client.get(PAGE, query_string={"kind": odd}).text == visitor.get(PAGE)
