"""What `sillward season` prints, of invented years."""

import json
from datetime import date, timedelta

import numpy as np
import pytest

from sillward.reports import season as report
from sillward.text.columns import Mark, Screen
from sillward.text.units import Units
from sillward.wording.voice import Voice
from sillward_rules.arrays import Array
from sillward_rules.replay.past_nights import PastNights
from sillward_rules.replay.season import SeasonOutlook, season_outlook
from tests.support.core import MENDOZA, collection, plant

PHONE = Screen(50)
VOICE = Voice(MENDOZA)
FIRST = date(2008, 1, 1)

WALKS = dict.fromkeys(range(1, 13), 0.0) | {5: 40.4, 6: 60.0, 7: 61.6}


def lows(years: int, *, shift: int = 0) -> Array:
    """Nights of 18 °C, but 8 °C from about 1 April to about 20 October, a day later each year."""
    days = [FIRST + timedelta(days=n) for n in range((date(FIRST.year + years, 1, 1) - FIRST).days)]
    return np.array(
        [
            8.0
            if date(day.year, 4, 1) <= day - timedelta(days=day.year % 10 + shift)
            and day - timedelta(days=day.year % 10 + shift) <= date(day.year, 10, 20)
            else 18.0
            for day in days
        ]
    )


def outlook(low_c: Array) -> SeasonOutlook:
    place = collection(
        plant("Blue basket", night_low=14), plant("Old cattleya", night_low=14),
        plant("Hardy one", night_low=2), plant("Snow loving", night_low=25),
    )  # fmt: skip
    low = low_c[:, None]
    return season_outlook(place, PastNights(FIRST, ("bench",), low, low))


def said(found: SeasonOutlook, voice: Voice = VOICE, walks: dict[int, float] | None = None) -> str:
    return report.text(found, "Court", walks, voice, [], PHONE)


def joined(text: str) -> str:
    return " ".join(text.split())


def test_what_is_safe_comes_first_with_the_plants_that_it_holds_for() -> None:
    text = joined(said(outlook(lows(12))))

    assert text.startswith("Court: nights from 01 Jan 2008 to 31 Dec 2019")
    assert (
        "bench, limit 14 °C: Blue basket, Old cattleya nights are safe from 30 Oct to 31 Mar, in "
        "nine years out of ten 1 in 10 median 9 in 10 years first cold 01 Apr 06 Apr 10 Apr 12 "
        "last cold 20 Oct 26 Oct 29 Oct 12" in text
    )
    assert "bench, limit 2 °C: Hardy one nights are safe all year, in nine years out of ten" in text
    assert "no night under it in 12 years" in text
    assert "limit 25 °C: Snow loving there is no time of the year that is safe" in text


def test_it_fits_a_phone() -> None:
    text = said(outlook(lows(12)), walks=WALKS)

    assert max(map(len, text.splitlines())) <= 50


def test_months_stand_under_their_letters() -> None:
    lines = said(outlook(lows(12))).splitlines()

    head = next(line for line in lines if line.split() == list("JFMAMJJASOND"))
    row = next(line for line in lines if line.split()[:2] == ["14", "°C"] and len(line) > 30)
    cells = [row[end - 2 : end].strip() for end in (i + 1 for i, c in enumerate(head) if c != " ")]
    assert cells[0] == "."
    assert cells[4] == "31"
    assert cells[3] == "25"


def test_walks_are_told_by_month_and_for_the_year() -> None:
    text = joined(said(outlook(lows(12)), walks=WALKS))

    assert "came true: May 40, Jun 60, Jul 62; 162 a year" in text
    assert "walks" not in said(outlook(lows(12)))


def test_fewer_than_ten_years_are_told_and_not_called_nine_of_ten() -> None:
    text = joined(said(outlook(lows(4))))

    assert "! 4 years of nights: too few for odds, which take ten or more" in text
    assert "in all 4 known years" in text
    assert "nine years out of ten" not in text


def test_missing_nights_are_named() -> None:
    low = lows(12)
    low[100:103] = np.nan
    low[1500] = np.nan

    text = joined(said(outlook(low)))

    assert "! nights are missing: 3 from 10 Apr 2008 to 12 Apr 2008, 09 Feb 2012; such a" in text


def test_a_limit_of_which_nothing_is_known_says_so() -> None:
    text = joined(said(outlook(lows(12)[:30])))

    assert (
        "when nights are safe is not known: the first cold night is known of no year, the" in text
    )


def test_one_end_of_the_cold_season_is_shown_where_the_other_is_not_known() -> None:
    text = joined(said(outlook(lows(12)[:250])))

    assert (
        "last cold night is known of no year 1 in 10 median 9 in 10 years first cold 09 Apr" in text
    )
    assert "last cold ? ? ? 0" in text


def test_a_grower_of_fahrenheit_reads_fahrenheit() -> None:
    text = said(outlook(lows(12)), Voice(MENDOZA, Units("°F", "12 h", "mph")))

    assert "°C" not in text
    assert "limit 57.2 °F" in text
    assert max(map(len, text.splitlines())) <= 50


def test_safe_and_never_safe_have_colours_of_their_own() -> None:
    text = report.text(outlook(lows(12)), "Court", None, VOICE, [], Screen(78, colour=True))

    assert f"\x1b[{Mark.OK.value}m  nights are safe all year" in text
    assert f"\x1b[{Mark.COLD.value}m  there is no time of the year" in text


def test_without_plants_outdoors_there_is_nothing_to_say() -> None:
    place = collection(plant("Inside", home="room"))
    low = lows(2)[:, None]

    text = said(season_outlook(place, PastNights(FIRST, ("bench",), low, low)))

    assert text.endswith("No plant that lives outdoors has a night limit.")


@pytest.mark.parametrize("walks", [None, WALKS])
def test_json_has_dates_years_and_every_season(walks: dict[int, float] | None) -> None:
    document = json.loads(json.dumps(report.document(outlook(lows(12)), "Court", walks, ["a gap"])))

    assert document["cut"] == "01-01"
    assert document["remarks"] == ["a gap"]
    assert document["walks_by_month"] == (None if walks is None else list(walks.values()))
    first = next(limit for limit in document["limits"] if limit["limit_c"] == 14)
    assert first["safe"] == "from until"
    assert (first["safe_from"], first["safe_until"]) == ("10-30", "04-01")
    assert first["first"] == {
        "one_of_ten": "04-01", "median": "04-06", "nine_of_ten": "04-10",
        "years": 12, "years_without": 0,
    }  # fmt: skip
    assert len(first["seasons"]) == 12
    assert first["seasons"][0]["first"] == "2008-04-09"
    assert first["nights_by_month"][4] == 31
