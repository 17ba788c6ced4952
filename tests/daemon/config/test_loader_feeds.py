"""[[feeds]] and [[courses]]: what is read, and every mistake told in one line."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from sillward_rules.plants.feeds import WEEK
from sillward_rules.weather.season import Season
from tests.daemon.config.test_loader_water import FEED, errors_of, fed, loaded

NAMED = f'\n[[feeds]]\nname = "weak feed"\n{FEED}'
COURSE = '\n[[courses]]\nname = "magnesium"\nsalt = "epsom salt"\ngrams_per_litre = 0.5\n'
SPRING = 'from = "03-01"\nuntil = "05-31"\n'
AUTUMN = 'from = "05-31"\nuntil = "01-15"\n'
WATER = "water_ec = 0.2\n"


def test_a_feed_of_some_plants_has_its_pace_seasons_and_plants(tmp_path: Path) -> None:
    of = loaded(
        tmp_path,
        more=fed(FEED)
        + NAMED.replace("ppm_n = 50", "ppm_n = 25")
        + 'every = "1 d"\nseason = ["growing"]\nplants = { group = "cattleya" }\n',
    ).collection

    (feed,) = of.feeds
    assert (feed.name, feed.every, feed.seasons) == (
        "weak feed",
        timedelta(days=1),
        (Season.GROWING,),
    )
    assert feed.recipe is not None
    assert float(feed.recipe.mix.ppm("N")) == pytest.approx(25)
    by_name = {plant.name: of.feeds_of(plant) for plant in of.plants}
    assert by_name["Old cattleya"] == (feed,)
    (other,) = by_name["Moth orchid"]
    assert other.recipe == of.feed


def test_feeds_may_follow_each_other_through_the_year_and_the_seasons(tmp_path: Path) -> None:
    bloom = NAMED.replace("weak feed", "bloom feed") + 'from = "06-01"\nuntil = "02-28"\n'
    growth, slow = 'season = ["growing"]\n', 'season = ["slowing"]\n'
    by_season = NAMED + growth + NAMED.replace("weak feed", "bloom feed") + slow

    for text in (NAMED + SPRING + bloom, by_season):
        of = loaded(tmp_path, more=text).collection
        assert [feed.name for feed in of.feeds_of(of.plants[0])] == ["weak feed", "bloom feed"]
    assert str(of.feeds[0].days) == "all year"
    spring = loaded(tmp_path, more=NAMED + SPRING + bloom).collection.feeds
    assert [feed.runs_on(date(2026, 6, 1)) for feed in spring] == [False, True]


def test_a_course_has_its_salt_times_days_and_plants(tmp_path: Path) -> None:
    more = fed(FEED) + COURSE + "times = 3\nfrom = 2026-01-05\nuntil = 2026-03-01\n"
    more += 'rinse_after = "20 min"\nnever_with = ["lime"]\nplants = { name = "Old cattleya" }\n'
    (course,) = loaded(tmp_path, more=more).collection.courses

    assert (course.salt.formula, course.times, course.within) == ("MgSO4.7H2O", 3, WEEK)
    assert (course.begins, course.until) == (date(2026, 1, 5), date(2026, 3, 1))
    assert course.rinse_after == timedelta(minutes=20)
    assert course.never_with == ("lime",)
    assert course.water_ec == 0.15, "that of [feed]"


def test_a_course_every_so_many_days_is_given_once_in_them(tmp_path: Path) -> None:
    (course,) = loaded(tmp_path, more=COURSE + WATER + 'every = "10 d"\n').collection.courses

    assert (course.times, course.within, course.gap) == (1, timedelta(days=10), course.within)


def test_a_course_takes_its_water_from_the_water_in_use(tmp_path: Path) -> None:
    (course,) = loaded(tmp_path, more=COURSE + "times = 1\n[water]\nec = 0.3\n").collection.courses

    assert course.water_ec == 0.3


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (NAMED.replace('name = "weak feed"\n', ""), "name is missing"),
        (NAMED + 'every = "6 h"\n', 'must be from "1 d"'),
        (NAMED + 'every = "soon"\n', "every"),
        (NAMED + 'season = ["rest"]\n', "must be 'growing' or 'slowing'"),
        (NAMED + 'plants = { holder = "hat" }\n', "are not holders"),
        (NAMED + 'plants = { name = "Nobody" }\n', 'plants.name: there is no "Nobody"'),
        (NAMED + "plants = 3\n", "must be a table"),
        (NAMED + "grams_per_litre = 0.2\n", "give exactly one of ppm_n and grams_per_litre"),
        (
            NAMED + NAMED.replace("weak feed", "other"),
            '"Strap-leaf by the door" gets "weak feed" too (all year); one feed at a time',
        ),
        (
            NAMED + SPRING + NAMED.replace("weak feed", "bloom feed") + AUTUMN,
            'feeds[1] "bloom feed": plants: "Strap-leaf by the door" gets "weak feed" too '
            "(05-31 to 05-31)",
        ),
        (
            NAMED + 'season = ["slowing"]\n' + NAMED.replace("weak feed", "other") + SPRING,
            'gets "weak feed" too (03-01 to 05-31, while slowing)',
        ),
        (NAMED + 'from = "03-01"\n', "give both from and until, or neither"),
        (NAMED + 'until = "03-01"\n', "give both from and until, or neither"),
        (NAMED + 'from = "13-01"\nuntil = "03-01"\n', 'from: "13-01": must be a month and a day'),
        (NAMED + 'from = 2026-03-01\nuntil = "03-01"\n', "from"),
        (
            NAMED + 'plants = { holder = "pot" }\n' + NAMED + 'plants = { holder = "basket" }\n',
            "the name is already taken",
        ),
        (COURSE + WATER, "give exactly one of times and every"),
        (COURSE + WATER + 'times = 3\nevery = "2 d"\n', "give exactly one of times and every"),
        (COURSE + WATER + "times = 8\n", "must be at most 7"),
        (COURSE + "times = 3\n", "water_ec is missing"),
        (COURSE + WATER + "times = 3\nec = 0.1\n", "is below that of its water"),
        (COURSE.replace("epsom", "table") + WATER + "times = 3\n", "not a salt that is known"),
        (COURSE + WATER + "times = 3\nfrom = 2026-03-01\nuntil = 2026-01-05\n", "is before from"),
        (COURSE + WATER + 'times = 3\nuntil = "May"\n', "until"),
        (COURSE + WATER + 'times = 3\nrinse_after = "1 min"\n', 'must be from "5 min"'),
        (COURSE + WATER + 'every = "90 d"\n', 'must be from "1 d" to "28 d"'),
        (COURSE + WATER + 'times = 3\nplants = { name = "Nobody" }\n', 'there is no "Nobody"'),
        (
            NAMED.replace("weak feed", "magnesium") + COURSE + WATER + "times = 3\n",
            "the name is already taken by another feed or course",
        ),
    ],
)
def test_every_mistake_is_told_in_one_line(tmp_path: Path, text: str, said: str) -> None:
    lines = errors_of(tmp_path, more=text)

    assert len(lines) == 1, lines
    assert lines[0].startswith(("garden.toml: feeds[", "garden.toml: courses["))
    assert said in lines[0]
