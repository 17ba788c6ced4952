"""The week's page as HTML: what it says, that it loads and runs nothing, that it can be read.

Its looks were checked in Chromium, 360 and 720 pixels wide, light and dark.
"""

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from sillward.assembly.examples import DEMOS, demo
from sillward.ledger.week_review import ReviewedNight, WeekReview
from sillward.wording import full_sheet
from sillward.wording.weekly_mail import html_page, week_ahead, week_tables
from sillward.wording.weekly_mail.html_page import Picture, html
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.remark import Plain
from sillward_rules.sheet import OpenQuestion, Sheet
from tests.support.html_pages import Page, contrast, page_of
from tests.support.paths import GOLDEN
from tests.support.week_pages import LIFE, sheet_of, week_page_of

VOICE = demo("cold-snap").household.voice
CREDIT = "Weather data by Open-Meteo.com (CC BY 4.0, https://open-meteo.com/)"
ENOUGH = 4.5
"""WCAG 2.2, 1.4.3 contrast (minimum), level AA, for text of usual size (from memory)."""

MAX_BYTES = 300_000

HOSTILE = (
    '<script>alert(1)</script><img src="http://spy.example/a.png" onerror="x()">',
    '"><a href="https://spy.example/">here</a>',
    "' style='background:url(//spy.example)' x='",
    "{{ 7 * 7 }}{% raw %}",
    "&lt;b&gt; &amp; &#60;i&#62;",
    "\u202eneerG\u2066 ]]> <!-- -->",
    "a" * 4_000,
)


def page(sheet: Sheet, collection: Collection | None = None, **rest: object) -> Page:
    given = collection or demo("cold-snap").household.collection
    return page_of(html(sheet, given, VOICE, CREDIT, life=LIFE, **rest))  # type: ignore[arg-type]


def cells(text: str, heading: str) -> list[str]:
    """Return what follows a heading, piece by piece."""
    pieces = text.split("\n")
    return pieces[pieces.index(heading) + 1 :]


# -- as it was


@pytest.mark.parametrize("name", DEMOS)
def test_the_examples_are_as_they_were(name: str) -> None:
    """`python -m tests.support.week_pages` renews them after an intended change."""
    kept = (GOLDEN / f"digest-{name}.html").read_text(encoding="utf-8")

    assert week_page_of(name) == kept


# -- what it says


def test_the_nights_are_told_against_the_limits_of_the_plants_there() -> None:
    """The tenderest plant of the pergola is the blue basket, at 14 °C in the example."""
    told = page(sheet_of("cold-snap")).text

    assert "night limits of 7 plants: 8 to 14 °C; tenderest Blue basket" in told
    ahead = sheet_of("cold-snap").outlook
    assert ahead is not None
    low = ahead.nights[0].lows["pergola"]
    assert low is not None
    first = cells(told, "To the tenderest")[:4]
    assert first == ["Thu 14 May", f"{low:.1f}\xa0°C", "7 of 7", f"{14 - low:.1f} °C below"]


def test_the_week_is_in_one_sentence_with_its_trips() -> None:
    ahead = sheet_of("cold-snap").outlook
    assert ahead is not None

    told = page(sheet_of("cold-snap")).text

    assert f"On 7 of 7 nights 7 to 15 plants must come in, {ahead.trips} trips in all" in told
    assert f"Trips expected: {ahead.trips} in 7 nights" in told
    assert "On 1 of 7 nights 2 plants must come in" in page(sheet_of("dry-summer")).text


def test_the_trips_of_the_days_are_all_the_trips() -> None:
    sheet = sheet_of("cold-snap")
    assert sheet.outlook is not None
    rows = cells(page(sheet).text, "Trips that day")
    trips = [int(rows[4 * night + 3]) for night in range(7)]

    assert sum(trips) == sheet.outlook.trips


@pytest.mark.parametrize("name", DEMOS)
def test_the_page_has_everything_that_the_text_tells(name: str) -> None:
    sheet, told = sheet_of(name), page(sheet_of(name)).text
    assert sheet.outlook is not None

    facts = [*sheet.warnings, *sheet.outlook.dark, *sheet.outlook.spells]
    for fact in [*map(VOICE.remark, facts), LIFE, VOICE.say("caution")]:
        assert fact[1:] in told
    for day in sheet.outlook.days:
        if day.mistings:
            assert f"{day.misted_plants} plant" in told
    for _, walks in week_ahead.carrying(sheet.chores, VOICE):
        assert walks in told


def test_the_parts_come_in_their_order() -> None:
    told = week_page_of("mild-week")
    parts = (
        "the week ahead</h1>", ">Nights<", ">Leaf low<", ">Carrying,", ">Misting by day<", ">Feed<",
        ">The season<", ">Last week,", f">{LIFE}<", ">A forecast is not a promise", "Forecast: ",
        "Weather data by",
    )  # fmt: skip
    places = [told.index(part) for part in parts]

    assert places == sorted(places)


def test_feed_is_told_by_day_with_what_to_weigh() -> None:
    sheet = replace(sheet_of("dry-summer"), mixes={})
    assert sheet.outlook is not None
    days = [
        replace(day, fed=fed) for day, fed in zip(sheet.outlook.days, (0, 6, 0, 1), strict=False)
    ]
    given = replace(sheet, outlook=replace(sheet.outlook, days=tuple(days)))

    told = page(given).text

    assert f"Mix: {sheet.feed}." in told
    assert "followed: Thu 22 Jan 6 plants, Sat 24 Jan 1 plant; each morning round decides." in told
    assert "; feed 6" in told
    assert "Mix: " not in page(replace(given, feed=None)).text
    for feed in week_ahead.feeding(given, VOICE):
        assert feed in " ".join(full_sheet.text(given, VOICE, CREDIT).split())


def test_a_night_that_is_not_known_is_to_be_treated_as_cold() -> None:
    sheet = sheet_of("dry-summer")
    assert sheet.outlook is not None
    first, *rest = sheet.outlook.nights
    unknown = replace(first, lows={"pergola": None}, judged=False, chance=None)
    given = replace(sheet, outlook=replace(sheet.outlook, nights=(unknown, *rest)))

    told = page(given).text

    assert cells(told, "To the tenderest")[1:3] == ["not known", "treat as cold"]
    assert "none (too few known hours)" in told


def test_a_page_without_a_forecast_says_so() -> None:
    sheet = sheet_of("cold-snap")
    assert sheet.outlook is not None
    nothing = replace(sheet.outlook, nights=(), days=(), spells=(), turn=None, chores=())

    for given in (nothing, None):
        told = page(replace(sheet, outlook=given, chores=()))
        assert "No forecast reaches the coming nights: treat them as cold." in told.text
        assert told.all("table") == []


def test_a_low_at_the_limit_is_not_under_it() -> None:
    sheet = sheet_of("cold-snap")
    assert sheet.outlook is not None
    first, *rest = sheet.outlook.nights
    exact = replace(first, lows={"pergola": 13.0})
    plants = tuple(
        Plant(name, "pergola", None, "pot", Limits(night_low=Limit(limit, "your own limit")))
        for name, limit in (("a", 13.0), ("b", 12.0))
    )
    collection = replace(demo("cold-snap").household.collection, plants=plants)
    given = replace(sheet, outlook=replace(sheet.outlook, nights=(exact, *rest)))

    told = cells(page(given, collection).text, "To the tenderest")

    assert told[:4] == ["Thu 14 May", "13.0\xa0°C", "none", "0.0 °C above"]


def test_the_last_week_is_told_with_its_nights() -> None:
    day = date(2026, 5, 7)
    review = WeekReview(
        day, day + timedelta(days=6), 3, 2, 0, 0, 1, 0, (ReviewedNight(day, 5.2, 4.0),)
    )

    told = page(sheet_of("cold-snap"), review=review).text

    assert "Last week, Thu 07 May to Wed 13 May" in told
    assert "3 orders told, 2 acknowledged; 1 message missed." in told
    assert cells(told, "It came")[:4] == ["Thu 07 May", "5.2\xa0°C", "4.0\xa0°C", "1.2 °C colder"]
    assert "Last week" not in page(sheet_of("cold-snap")).text


# -- hostile names


def renamed(name: str) -> tuple[Sheet, Collection]:
    """Return the cold snap with this name for its site, a spot and a plant, and in a warning."""
    collection, sheet = demo("cold-snap").household.collection, sheet_of("cold-snap")
    assert sheet.outlook is not None
    plants = tuple(
        replace(pot, home=name if pot.home == "pergola" else pot.home, name=f"{name} {number}")
        for number, pot in enumerate(collection.plants)
    )
    spots = tuple(
        replace(spot, name=name) if spot.name == "pergola" else spot for spot in collection.spots
    )
    nights = tuple(
        replace(
            night,
            lows={name if spot == "pergola" else spot: low for spot, low in night.lows.items()},
        )
        for night in sheet.outlook.nights
    )
    said = Plain(name)
    given = replace(
        sheet,
        site=name,
        source=name,
        warnings=(said,),
        assumptions=(OpenQuestion(name, name),),
        notes=(name,),
        feed=name,
        outlook=replace(sheet.outlook, nights=nights, dark=(said,), spells=(said,), turn=said),
    )
    return given, replace(collection, plants=plants, spots=spots)


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_a_name_is_text_and_nothing_else(name: str) -> None:
    sheet, collection = renamed(name)
    plain, _ = renamed("pergola")

    made = page(sheet, collection)

    usual = page(plain, replace(collection, plants=collection.plants))
    assert {tag for tag, _ in made.tags} <= {tag for tag, _ in usual.tags}
    assert {key for _, attrs in made.tags for key in attrs} == {
        key for _, attrs in usual.tags for key in attrs
    }
    assert len(made.all("a")) == 1
    assert name.strip() in made.text  # letter for letter, as a warning


def test_a_long_name_is_cut_in_tables() -> None:
    sheet, collection = renamed("a" * 4_000)
    told = page(sheet, collection)

    assert f"{'a' * week_tables.MAX_NAME}" in told.text.split("\n")


def test_many_spots_and_warnings_do_not_make_a_page_long() -> None:
    sheet = sheet_of("cold-snap")
    assert sheet.outlook is not None
    lows: dict[str, float | None] = {f"spot {number} {'x' * 80}": 3.0 for number in range(200)}
    nights = tuple(replace(night, lows=lows) for night in sheet.outlook.nights)
    many = replace(
        sheet,
        outlook=replace(sheet.outlook, nights=nights),
        warnings=tuple(Plain(f"warning {number} {'w' * 200}") for number in range(1_000)),
    )
    collection = demo("cold-snap").household.collection

    made = html(many, collection, VOICE, CREDIT, life=LIFE)

    assert len(made.encode()) < MAX_BYTES
    assert "188 more spots: see the text of this mail." in made
    assert "960 more: see the text of this mail." in made


# -- nothing is loaded, nothing runs


@pytest.mark.parametrize("name", DEMOS)
def test_nothing_is_loaded_from_anywhere_and_nothing_runs(name: str) -> None:
    made = week_page_of(name)
    told = page_of(made)

    assert {tag for tag, _ in told.tags}.isdisjoint(
        {"script", "link", "iframe", "object", "embed", "form", "input", "base", "svg", "video"}
    )
    for tag, attrs in told.tags:
        assert not [key for key in attrs if key.startswith("on")], (tag, attrs)
        assert "url(" not in (attrs.get("style") or "")
        assert set(attrs).isdisjoint({"srcset", "background", "action", "ping"})
        if "src" in attrs:
            assert (attrs["src"] or "").startswith("cid:")
    style = made[made.index("<style>") : made.index("</style>")]
    assert not re.search(r"url\(|@import|@font-face|expression", style)


def test_links_are_those_of_the_attribution_alone() -> None:
    told = page(sheet_of("cold-snap"))

    assert [attributes["href"] for attributes in told.all("a")] == ["https://open-meteo.com/"]
    assert " ".join(told.text.split("\n")[-3:]) == f"{CREDIT[:-1]} )."


@pytest.mark.parametrize(
    ("credit", "addresses"),
    [
        ("no address", []),
        ("(https://api.met.no/)", ["https://api.met.no/"]),
        (
            "see https://a.example/b, or https://c.example.",
            ["https://a.example/b", "https://c.example"],
        ),
        ('https://a.example/"onclick="x http://b.example javascript:x', ["https://a.example/"]),
    ],
)
def test_an_address_in_the_credit_becomes_a_link_and_no_more(
    credit: str, addresses: list[str]
) -> None:
    pieces = html_page._with_links(credit)

    assert [address for _, address in pieces if address] == addresses
    assert "".join(text for text, _ in pieces) == credit


# -- it can be read


@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize("screen", ["light", "dark"])
def test_every_text_stands_out_from_its_ground(name: str, screen: str) -> None:
    told = page_of(week_page_of(name))

    pairs = {light if screen == "light" else dark for _, light, dark in told.texts}

    assert len(pairs) >= 4
    assert {pair: contrast(pair) for pair in pairs if contrast(pair) < ENOUGH} == {}


def test_the_contrast_that_is_computed_is_that_of_the_standard() -> None:
    """Black on white is 21; #767676 is the lightest grey that passes on white (both well known)."""
    assert contrast(("#000000", "#ffffff")) == pytest.approx(21)
    assert contrast(("#767676", "#ffffff")) == pytest.approx(4.54, abs=0.005)
    assert contrast(("#777777", "#ffffff")) < ENOUGH


def test_colours_are_readable_without_the_style_sheet() -> None:
    """Each inline colour has its own background, so none meets a dark one of the mail program."""
    for tag, attrs in page_of(week_page_of("cold-snap")).tags:
        style = attrs.get("style") or ""
        assert ("background-color:" in style) == bool(re.search(r"(^|;)color:", style)), (
            tag,
            style,
        )
        assert ("class" in attrs) == ("background-color:" in style)


def test_a_screen_reader_finds_language_title_and_tables() -> None:
    made = week_page_of("cold-snap")
    told = page_of(made)

    assert made.startswith("<!DOCTYPE html>\n")
    assert told.all("html") == [{"lang": "en"}]
    assert "<title>Courtyard: the week from Thursday 14 May 2026, 17:14</title>" in made
    assert {"name": "color-scheme", "content": "light dark"} in told.all("meta")
    assert len(told.all("h1")) == 1
    assert {attributes["scope"] for attributes in told.all("th")} == {"col", "row"}
    assert len(told.all("caption")) == len(told.all("table")) == 6
    assert all(attributes["alt"] for attributes in told.all("img"))


def test_charts_are_shown_by_their_content_ids() -> None:
    charts = [Picture("a@x", 'Chart of "a" <b>'), Picture("b@x", "b")]

    told = page(sheet_of("cold-snap"), charts=charts)

    assert [(attributes["src"], attributes["alt"]) for attributes in told.all("img")] == [
        ("cid:a@x", 'Chart of "a" <b>'),
        ("cid:b@x", "b"),
    ]
    assert page(sheet_of("cold-snap")).all("img") == []


@pytest.mark.parametrize("name", DEMOS)
def test_a_page_is_small(name: str) -> None:
    assert 5_000 < len(week_page_of(name).encode()) < 60_000
