"""The collection file on feed, rain, hours and the newer limits: good ones, and every mistake."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from sillward.cli import main
from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.errors import ConfigError
from sillward_rules.plants.fertiliser import SALTS
from sillward_rules.plants.limits import UNITS
from sillward_rules.plants.plant import HOLDERS, Plant
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.weather.spot import PLANT_HEIGHT_M
from tests.support.config_errors import without_line_numbers
from tests.support.paths import COLLECTIONS

GOOD = COLLECTIONS / "good.toml"
FEED = 'npk = "20-20-20"\nppm_n = 50\nwater_ec = 0.15\n'


def written(tmp_path: Path, *changes: tuple[str, str], more: str = "") -> Path:
    """The good file with words exchanged, each of which must occur once, and more at its end."""
    text = GOOD.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = tmp_path / "garden.toml"
    path.write_text(text + more, encoding="utf-8")
    return path


def loaded(tmp_path: Path, *changes: tuple[str, str], more: str = "") -> Household:
    return load_household(written(tmp_path, *changes, more=more))


def errors_of(tmp_path: Path, *changes: tuple[str, str], more: str = "") -> list[str]:
    with pytest.raises(ConfigError) as caught:
        loaded(tmp_path, *changes, more=more)
    return without_line_numbers(caught.value.lines)


def fed(text: str) -> str:
    return f"\n[feed]\n{text}"


def cattleya(tmp_path: Path, *lines: str) -> Plant:
    more = "\n".join(['group = "cattleya"', *lines])
    household = loaded(tmp_path, ('group = "cattleya"', more))
    return next(plant for plant in household.collection.plants if plant.name == "Old cattleya")


# -- feed


def test_without_a_feed_there_is_none(tmp_path: Path) -> None:
    assert loaded(tmp_path).collection.feed is None


def test_a_feed_by_nitrogen_is_weighed_out(tmp_path: Path) -> None:
    more = fed(FEED + 'litres = 1.5\nsalts = { "MgSO4.7H2O" = 0.1 }\nec_per_100_ppm_n = 0.4\n')
    recipe = loaded(tmp_path, more=more).collection.feed

    assert recipe is not None
    # 20 % N: 1 g/L gives 200 ppm, so 50 ppm are a quarter of a gram.
    assert float(np.asarray(recipe.mix.grams_per_litre)) == pytest.approx(0.25)
    assert float(recipe.mix.ppm("N")) == pytest.approx(50.0)
    assert recipe.litres == 1.5
    # Epsom salt is 9.86 % Mg.
    assert float(recipe.mix.ppm("Mg")) != float(recipe.mix.ppm("N"))
    assert float(recipe.mix.ppm_of_salts("Mg")) == pytest.approx(9.86, abs=0.01)
    # 0.15 of the water, 50 ppm at 0.4 for each 100, and what the salt adds.
    assert float(recipe.mix.ec) == pytest.approx(0.35 + float(recipe.mix.ec_of_salts))


def test_a_feed_by_weight_is_taken_as_it_is(tmp_path: Path) -> None:
    more = fed('npk = "10-30-20"\ngrams_per_litre = 0.4\nwater_ec = 0\n')
    recipe = loaded(tmp_path, more=more).collection.feed

    assert recipe is not None
    assert float(recipe.mix.ppm("N")) == pytest.approx(40.0)
    assert recipe.litres == 1.0


def test_a_feed_without_nitrogen_goes_by_weight(tmp_path: Path) -> None:
    more = fed('npk = "0-52-34"\ngrams_per_litre = 0.1\nwater_ec = 0.1\n')
    recipe = loaded(tmp_path, more=more).collection.feed

    assert recipe is not None
    assert float(recipe.mix.ppm("N")) == 0.0
    assert float(recipe.mix.ppm("P")) == pytest.approx(0.1 * 10 * 52 * 0.4364, rel=0.001)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('npk = "20-20-20"\nwater_ec = 0.1\n', "give exactly one of ppm_n and grams_per_litre"),
        (FEED + "grams_per_litre = 0.2\n", "give exactly one of ppm_n and grams_per_litre"),
        (FEED + 'salts = { "Epsom" = 0.1 }\n', '"Epsom" is not a salt that is known'),
        (FEED + 'salts = { "MgSO4.7H2O" = 0 }\n', "must be more than 0"),
        (FEED + 'salts = { "MgSO4.7H2O" = 50 }\n', "must be at most 20"),
        (FEED + 'salts = ["MgSO4.7H2O"]\n', "must be a table"),
        (FEED.replace("20-20-20", "0-10-10"), "has no nitrogen"),
        (FEED.replace("20-20-20", "twenty"), '"twenty" is not a label'),
        (FEED.replace("20-20-20", "20-20"), '"20-20" is not a label'),
        (FEED.replace("20-20-20", "60-60-60"), "add up to 180"),
        (FEED.replace('"20-20-20"', "20"), "must be text in quotes"),
        (FEED.replace("ppm_n = 50", "ppm_n = 0"), "must be more than 0"),
        (FEED.replace("ppm_n = 50", "ppm_n = -5"), "must be more than 0"),
        (FEED.replace("ppm_n = 50", "ppm_n = 5000"), "must be at most 1000"),
        (FEED.replace("ppm_n = 50", "ppm_n = nan"), "must be a finite number"),
        (FEED.replace("water_ec = 0.15\n", ""), "water_ec is missing"),
        (FEED.replace("0.15", "150"), "must be at most 10"),
        (FEED + "litres = 0\n", "must be more than 0"),
        (FEED + "mg = 40\n", "must be at most 30"),
        (FEED + "ec_per_100_ppm_n = 0\n", "must be more than 0"),
        (FEED + "ppm_k = 50\n", 'unknown key "ppm_k"'),
    ],
)
def test_every_mistake_in_the_feed_is_told_in_one_line(
    tmp_path: Path, text: str, said: str
) -> None:
    lines = errors_of(tmp_path, more=fed(text))

    assert len(lines) == 1, lines
    assert lines[0].startswith("garden.toml: feed")
    assert said in lines[0]


def test_a_misspelt_salt_is_answered_with_those_that_are_known(tmp_path: Path) -> None:
    (line,) = errors_of(tmp_path, more=fed(FEED + 'salts = { "MgSO4" = 0.1 }\n'))

    assert all(salt.name in line for salt in SALTS.values())


def test_a_feed_that_is_no_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "garden.toml"
    path.write_text('feed = "20-20-20"\n' + GOOD.read_text(encoding="utf-8"), encoding="utf-8")

    with pytest.raises(ConfigError) as caught:
        load_household(path)

    (line,) = without_line_numbers(caught.value.lines)
    assert line.startswith("garden.toml: feed")


# -- spots


def test_a_spot_says_how_much_rain_falls_on_it_and_how_high_it_is(tmp_path: Path) -> None:
    household = loaded(tmp_path, ("rain = 0.8\n", "rain = 0\nheight = 2.5\n"))
    pergola, bench, sunroom = household.collection.spots

    assert (pergola.rain, pergola.height_m) == (0.0, 2.5)
    assert (bench.rain, bench.height_m) == (0.3, PLANT_HEIGHT_M)
    assert sunroom.rain is None


@pytest.mark.parametrize(
    "line", ["rain = 80", "rain = -0.1", 'rain = "all"', "height = 0", "height = 150", "hight = 2"]
)
def test_a_wrong_word_on_rain_or_height_is_refused(tmp_path: Path, line: str) -> None:
    (told,) = errors_of(tmp_path, ("rain = 0.8\n", f"{line}\n"))

    assert told.startswith("garden.toml: spots.pergola")
    assert line.split()[0] in told


def test_a_spot_that_does_not_tell_of_rain_is_asked(tmp_path: Path) -> None:
    household = loaded(tmp_path, ("rain = 0.8\n", ""))

    (question,) = household.collection.spot("pergola").open_questions()
    assert question == "rain is not given: taken to fall on the plants in full"


# -- plants


NEWER = {
    "leaf_high": 39.5,
    "light_low": 250.0,
    "light_high": 750.0,
    "salt_high": 0.45,
    "medium_salt_high": 1.2,
    "gust_high": 11.0,
    "rain_high": 22.0,
}


@pytest.mark.parametrize(("key", "value"), list(NEWER.items()))
def test_every_newer_limit_can_be_the_growers_own(tmp_path: Path, key: str, value: float) -> None:
    limit = getattr(cattleya(tmp_path, f"limits.{key} = {value}").limits, key)

    assert (limit.value, limit.origin) == (value, "your own limit")


@pytest.mark.parametrize(
    "line",
    [
        "limits.leaf_high = 95",
        "limits.light_low = 0",
        "limits.light_high = 4000",
        "limits.salt_high = 450",
        "limits.gust_high = 0",
        "limits.gust_high = 80",
        "limits.rain_high = -1",
        'limits.rain_high = "20 mm"',
        'limits.rest = "wet"',
        "limits.rest = true",
        'holder = "moss"\nlimits.gust_low = 3',
    ],
)
def test_a_limit_out_of_all_reason_is_refused(tmp_path: Path, line: str) -> None:
    change = ('group = "cattleya"\nholder = "basket"', f'group = "cattleya"\n{line}')
    if "holder" not in line:
        change = (change[0], f'{change[1]}\nholder = "basket"')
    (told,) = errors_of(tmp_path, change)

    assert "Old cattleya" in told
    assert line.splitlines()[-1].split()[0].removeprefix("limits.") in told


@pytest.mark.parametrize(("rest", "dry"), [("dry", True), ("none", False)])
def test_the_growers_word_on_the_dry_rest_wins(tmp_path: Path, rest: str, dry: bool) -> None:
    plant = cattleya(tmp_path, f'limits.rest = "{rest}"')

    assert plant.rests_dry is dry
    assert plant.limits.rest is not None
    assert plant.limits.rest.origin == "your own"


def test_moss_is_a_holder_in_which_velamen_is_covered(tmp_path: Path) -> None:
    assert "moss" in HOLDERS
    change = ('group = "cattleya"\nholder = "basket"', 'group = "cattleya"\nholder = "moss"')
    household = loaded(tmp_path, change)

    plant = next(plant for plant in household.collection.plants if plant.name == "Old cattleya")
    assert plant.holder == "moss"
    assert not plant.velamen


def test_every_numeric_limit_has_a_unit_and_the_watched_ones_the_same() -> None:
    for quantity in QUANTITIES.values():
        for limit in (quantity.limit_below, quantity.limit_above):
            assert limit is None or UNITS[limit] == quantity.unit


# -- habits


def test_hours_and_pauses_arrive(tmp_path: Path) -> None:
    hours = 'hours = ["06:30-08:30", "sunset-2h to sunset-1h"]\nfeed_every = "10 d"\n'
    habits = loaded(tmp_path, ("[habits]\n", f"[habits]\n{hours}")).collection.habits

    assert [hour.text for hour in habits.hours] == ["06:30-08:30", "sunset-2h to sunset-1h"]
    assert habits.feed_every == timedelta(days=10)


def test_without_hours_any_hour_will_do(tmp_path: Path) -> None:
    habits = loaded(tmp_path).collection.habits

    assert habits.hours == ()
    assert habits.feed_every == timedelta(days=7)


def test_a_pause_may_be_days_and_hours(tmp_path: Path) -> None:
    change = ("[habits]\n", '[habits]\nfeed_every = "3 d 12 h"\n')

    assert loaded(tmp_path, change).collection.habits.feed_every == timedelta(days=3.5)


@pytest.mark.parametrize(
    "line",
    [
        'hours = "06:30-08:30"',
        'hours = ["morning"]',
        'hours = ["06:30"]',
        'hours = ["06:30-25:00"]',
        'hours = ["6.30-8.30"]',
        'hours = ["06:30 to"]',
        "hours = [6, 8]",
        'hours = ["06:30-08:30", ""]',
        'feed_every = "weekly"',
        "feed_every = 7",
        'feed_every = "7 days"',
        "mistings_most = 9",
        "mistings_most = 2.5",
    ],
)
def test_a_wrong_word_on_habits_is_told_with_its_key(tmp_path: Path, line: str) -> None:
    lines = errors_of(tmp_path, ("[habits]\n", f"[habits]\n{line}\n"))

    assert lines
    assert all(error.startswith("garden.toml: habits") for error in lines)
    assert any(line.split()[0] in error for error in lines)


def test_wrong_hours_are_answered_with_right_ones(tmp_path: Path) -> None:
    (line,) = errors_of(tmp_path, ("[habits]\n", '[habits]\nhours = ["morning"]\n'))

    assert '"morning" are not hours of the day' in line
    assert '"10:00-17:00"' in line


# -- what check shows


def checked(path: Path) -> str:
    result = CliRunner().invoke(main, ["check", "--full", "--collection", str(path)])
    assert result.exit_code == 0, result.output
    return result.output


def test_check_shows_each_limit_with_unit_and_whose_it_is(tmp_path: Path) -> None:
    own = "\n".join(f"limits.{key} = {value}" for key, value in NEWER.items())
    change = ('group = "cattleya"', f'group = "cattleya"\nlimits.rest = "dry"\n{own}')
    shown = checked(written(tmp_path, change))

    part = shown[shown.index("Old cattleya") :].split("\n\n")[0]
    rows = {line.split()[0]: line for line in part.splitlines()[2:]}
    for key, value in NEWER.items():
        assert f"{value:g} {UNITS[key]}" in rows[key]
        assert rows[key].endswith("your own limit")
    assert rows["rest"].split()[:2] == ["rest", "dry"]


def test_check_asks_for_the_rain_and_tells_mistakes_of_the_feed(tmp_path: Path) -> None:
    assert "? rain is not given" in checked(written(tmp_path, ("rain = 0.8\n", "")))
    path = written(tmp_path, more=fed('npk = "20-20-20"\nwater_ec = 0.1\n'))

    result = CliRunner().invoke(main, ["check", "--full", "--collection", str(path)])

    assert result.exit_code == 78
    assert "exactly one of ppm_n and grams_per_litre" in result.output


# -- the water in use


def test_the_water_of_a_collection(tmp_path: Path) -> None:
    text = "[water]\nec = 0.6\nalkalinity = 150\nph = 7.6\nrain = 0.5\naim_ph = 5.8\n"

    water = loaded(tmp_path, more=text).collection.water

    assert water == Water(0.6, 150, 7.6, 0.5, 5.8)


def test_a_feed_without_an_ec_of_water_is_mixed_with_the_water_in_use(tmp_path: Path) -> None:
    feed = fed(FEED.replace("water_ec = 0.15\n", ""))
    water = "[water]\nec = 0.6\nrain = 0.5\n"

    own = loaded(tmp_path, more=fed(FEED) + water).collection.feed
    shared = loaded(tmp_path, more=feed + water).collection.feed

    assert own is not None
    assert shared is not None
    assert (own.mix.water_ec, shared.mix.water_ec) == (0.15, 0.3)


@pytest.mark.parametrize(
    "wrong", ["ec = -1", "ec = 0.3\nrain = 50", "ec = 0.3\nph = 0", "alkalinity = 100"]
)
def test_a_water_that_cannot_be(tmp_path: Path, wrong: str) -> None:
    with pytest.raises(ConfigError, match="water"):
        loaded(tmp_path, more=f"[water]\n{wrong}\n")


def test_with_a_water_each_plant_has_a_limit_for_the_salts_at_its_roots(tmp_path: Path) -> None:
    with_water = written(tmp_path, more="[water]\nec = 0.3\n")
    first = load_household(with_water).collection.plants[0].limits
    plain = load_household(GOOD).collection.plants[0].limits

    assert plain.medium_salt_high is None
    assert first.medium_salt_high is not None
    assert first.salt_high is not None
    assert first.medium_salt_high.value == pytest.approx(2.5 * first.salt_high.value)
    assert first.medium_salt_high.origin.endswith("2.5 times salt_high")


def test_check_tells_the_water_and_the_limit_for_salts_at_the_roots(tmp_path: Path) -> None:
    text = "[water]\nec = 0.6\nalkalinity = 150\nrain = 0.5\n"
    path = written(tmp_path, more=text)

    result = CliRunner().invoke(main, ["check", "--full", "--collection", str(path)])

    assert "EC 0.6 mS/cm, 50 % rain: 0.3; alkalinity 150 mg/L" in " ".join(result.output.split())
    assert "medium_salt_high" in result.output
