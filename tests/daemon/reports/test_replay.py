"""What `sillward replay` prints, of results made by hand."""

import json
import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from sillward.reports import replay as report
from sillward.reports import replay_comparison as comparison
from sillward.text.columns import Screen
from sillward.text.units import Units
from sillward.wording.voice import Voice
from sillward_rules.replay.records import Cause, NightRecord, ReplayResult, Warned
from sillward_rules.replay.summary import totals
from tests.support.core import MENDOZA
from tests.support.replays import FIRST, exposure, year

PHONE = Screen(50)
VOICE = Voice(MENDOZA)


def summary(result: ReplayResult, voice: Voice = VOICE, *remarks: str) -> str:
    return report.text(result, voice, remarks, PHONE)


def joined(text: str) -> str:
    """The text without its line breaks."""
    return " ".join(text.split())


def with_first(**changes: object) -> ReplayResult:
    """A year whose first night is changed."""
    result = year()
    nights = (replace(result.nights[0], **changes), *result.nights[1:])  # type: ignore[arg-type]
    return replace(result, nights=nights)


def test_the_numbers_are_those_of_the_records() -> None:
    result = year()
    found = totals(result.nights)

    said = joined(summary(result))

    assert f"nights {found.nights} " in said
    assert f"walks {found.walks}, in and out; {found.needless_walks} for nothing" in said
    assert f"carried in {found.carried_in} plants, {found.needless_carried} for nothing" in said
    assert f"missed {found.misses} plants: {found.shallow} by less than 0.5 °C" in said
    assert f"{found.corrections} corrections" in said
    assert f"{found.deadlines} deadlines kept" in said
    assert "(--seed 7)" in said


def test_it_fits_a_phone_and_is_read_in_a_minute() -> None:
    lines = summary(year()).splitlines()

    assert max(map(len, lines)) <= 50
    assert len(lines) < 80


def test_a_calendar_shows_each_night_by_a_letter() -> None:
    lines = summary(year()).splitlines()

    strips = {line[:7]: line[9:40].rstrip() for line in lines if re.match(r"\d{4}-\d\d  ", line)}
    assert next(iter(strips)) == "2025-06"
    assert list(strips)[-1] == "2026-05"
    assert sum(map(len, strips.values())) == 365
    missed = sum(1 for night in year().nights if night.misses)
    assert sum(strip.count("M") for strip in strips.values()) == missed > 0
    assert strips["2026-02"] == "." * 28


def test_ten_years_have_a_line_for_each_year() -> None:
    ten = year(FIRST.replace(year=2016, month=1), FIRST.replace(year=2025, month=12))

    lines = summary(ten).splitlines()

    assert [line[:4] for line in lines if re.match(r"20\d\d  ", line)] == [
        str(year) for year in range(2016, 2026)
    ]
    assert max(map(len, lines)) <= 50


def test_colour_adds_nothing_to_the_letters() -> None:
    plain = report.text(year(), VOICE, [], Screen(50))
    coloured = report.text(year(), VOICE, [], Screen(50, colour=True))

    assert "\x1b[1;31mM\x1b[0m" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


def test_an_interrupted_replay_says_until_when() -> None:
    said = summary(year(done=40))

    assert "interrupted: 40 of 365 nights: Sun 01 Jun 2025 to Thu 10 Jul 2025" in joined(said)
    assert "nights           40 of 365 only\n" in said


def test_nights_that_two_processes_had_are_told_as_spans() -> None:
    whole = year()
    some = replace(whole, nights=(*whole.nights[:10], *whole.nights[92:95]))

    assert (
        "interrupted: 13 of 365 nights: Sun 01 Jun 2025 to Tue 10 Jun 2025, Mon 01 Sep 2025 to "
        "Wed 03 Sep 2025" in joined(summary(some))
    )


def test_without_a_night_nothing_is_summed_up() -> None:
    said = summary(year(done=0))

    assert said.endswith("interrupted: 0 of 365 nights")


@pytest.mark.parametrize(
    ("cause", "words"),
    [
        (Cause.MISSED, "not asked in"),
        (Cause.LATE, "asked in too late"),
        (Cause.OUT_TOO_EARLY, "let out again too early"),
        (Cause.NOT_DONE, "asked in, not carried"),
        (Cause.NO_COVER, "no cover that is warm enough"),
    ],
)
def test_what_suffered_most_says_how_it_came(cause: Cause, words: str) -> None:
    worst = exposure(FIRST, "Old cattleya", depth_k=4.0, cause=cause)

    said = joined(summary(with_first(exposures=(worst,))))

    assert (
        f"Sun 01 Jun 2025: Old cattleya, pergola: 9.0 °C, limit 13 °C, for 10.0 h; {words}; "
        "the forecast gave it a chance of 12 %" in said
    )


def test_what_was_said_of_a_miss_is_told() -> None:
    miss = exposure(FIRST, "Old cattleya", depth_k=4.0, warned=Warned.CLOSE_CALL, chance=None)

    said = joined(summary(with_first(exposures=(miss,))))

    assert "not asked in, named as a close call" in said


def test_nights_that_are_not_judged_and_remarks_on_the_weather_are_told() -> None:
    said = joined(summary(with_first(unjudged=3), VOICE, "2 nights are missing"))

    assert "not judged 3 plants: too little is known of the weather" in said
    assert "note: 2 nights are missing" in said
    assert "? too little is known of the weather" in said


def test_a_grower_of_fahrenheit_reads_fahrenheit() -> None:
    said = summary(year(), Voice(MENDOZA, Units("°F", "12 h", "mph")))

    assert "°C" not in said
    assert "limit 55.4 °F" in joined(said)
    assert "less than 0.9 °F" in joined(said)


def test_json_has_every_night_the_totals_and_times_of_the_site() -> None:
    result = year()

    document = json.loads(json.dumps(report.document(result, MENDOZA, ["a gap"])))

    assert document["schema"] == 1
    assert len(document["nights"]) == 365
    assert document["totals"]["walks"] == totals(result.nights).walks
    assert next(iter(document["by_month"])) == "2025-06"
    assert document["remarks"] == ["a gap"]
    for told in document["reliability"]:
        assert told["at_least"] <= told["told"] <= told["below"]
        assert told["low"] <= told["came_true"] <= told["high"]
        assert told["plants"] == 4 * told["nights"]
    assert sum(told["nights"] for told in document["reliability"]) == 365
    missed = next(night for night in document["nights"] if night["exposures"])
    assert missed["exposures"][0]["at"].endswith("07:00:00-03:00")
    assert missed["exposures"][0]["cause"] == "missed"


# -- side by side


def side_by_side(before: ReplayResult, after: ReplayResult, *changes: str) -> str:
    return comparison.text(before, after, changes, VOICE, [], PHONE)


def test_a_change_is_shown_by_one_table_and_two_sentences() -> None:
    before, after = year(warmer_k=0.6), year()
    had, has = totals(before.nights), totals(after.nights)

    said = side_by_side(before, after, "plants.Blue basket.limits.night_low=13")

    assert "changed: plants.Blue basket.limits.night_low=13" in joined(said)
    row = next(line for line in said.splitlines() if line.startswith("plants carried in"))
    change = f"{has.carried_in - had.carried_in:+}"
    assert row.split()[-3:] == [str(had.carried_in), str(has.carried_in), change]
    assert f"costs {has.carried_in - had.carried_in} plants carried in" in joined(said)
    assert max(map(len, said.splitlines())) <= 50


def test_the_table_of_a_change_adds_up() -> None:
    before, after = year(warmer_k=0.61), year(warmer_k=0.17)

    for row in side_by_side(before, after).splitlines():
        found = re.search(r" ([\d,.]+) +([\d,.]+) +([-+][\d,.]+)$", row)
        if found is not None:
            now, then, change = (float(number.replace(",", "")) for number in found.groups())
            assert change == pytest.approx(then - now, abs=1e-9), row


@pytest.mark.parametrize(
    ("caution", "told"),
    [
        (60.0, r"it costs [\d.]+ in harm by your caution \(60\), and it saves 15 in work"),
        (0.0, "Your caution is 0, so harm is not weighed"),
    ],
)
def test_harm_and_work_are_weighed_by_the_growers_caution(caution: float, told: str) -> None:
    """40 walks fewer and no plant less: each walk, one way, is 0.375 of the unit of caution."""
    before = year(warmer_k=0.6)
    colder = year()
    after = replace(
        before,
        nights=tuple(
            replace(had, exposures=has.exposures, walks=had.walks - (number < 40))
            for number, (had, has) in enumerate(zip(before.nights, colder.nights, strict=True))
        ),
    )

    said = joined(comparison.text(before, after, [], VOICE, [], PHONE, caution=caution))

    assert re.search(told, said), said


@pytest.mark.parametrize(
    ("changed", "costs", "saves"),
    [
        (lambda night: replace(night, walks=night.walks + 1), "365 walks", "nothing"),
        (lambda night: replace(night, exposures=()), "nothing", "plants missed, "),
    ],
    ids=["more walks", "no misses"],
)
def test_what_it_costs_and_what_it_saves_are_told_apart(
    changed: Callable[[NightRecord], NightRecord], costs: str, saves: str
) -> None:
    before = year()
    after = replace(before, nights=tuple(map(changed, before.nights)))

    said = joined(side_by_side(before, after))

    cost, saved = re.findall(r"The change costs (.*?)\. It saves (.*?)\.", said)[0]
    assert costs in cost
    assert saves in saved


def test_without_a_difference_it_says_so() -> None:
    said = side_by_side(year(), year())

    assert "The change makes no difference to the work or the cold." in joined(said)
    assert re.search(r"walks, in and out +\d+ +\d+ +=", said)


def test_an_interrupted_comparison_is_over_the_nights_of_both() -> None:
    said = side_by_side(year(), year(done=30))

    assert "interrupted: 30 of 365 nights: Sun 01 Jun 2025 to Mon 30 Jun 2025" in joined(said)
    row = next(line for line in said.splitlines() if line.startswith("walks, in and out"))
    assert row.split()[-3:-1] == ["60", "60"]


def test_json_of_a_change_has_both_and_their_differences() -> None:
    document = json.loads(
        json.dumps(
            comparison.document(year(), year(warmer_k=1.0), ["habits.lead=1 h"], MENDOZA, [], 60.0)
        )
    )

    assert document["changes"] == ["habits.lead=1 h"]
    walks = document["differences"]["walks"]
    assert walks["before"] == document["before"]["totals"]["walks"]
    assert walks["after"] == document["after"]["totals"]["walks"]
    assert walks["change"] == walks["after"] - walks["before"]
