"""`sillward read`, `read-file` and `readings`, as a grower calls them."""

import functools
import json
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.shell_completion import ShellComplete

from sillward.assembly import app, examples, read_only
from sillward.assembly.app import Options
from sillward.cli import completion, main, shared
from sillward.config.settings import load_settings
from sillward.ledger import Ledger, SavedForecast
from sillward.readings import by_hand
from sillward.readings.lessons import Lessons
from sillward.readings.live_intake import LiveIntake, Origin, Reading
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.weather import sun
from tests.support.commands import call, refused, said
from tests.support.past_readings import past_nights
from tests.support.paths import EXAMPLES

COURTYARD = EXAMPLES / "courtyard.toml"
COLD_SNAP = EXAMPLES / "recorded" / "cold-snap.json"
DEMO = examples.demo("cold-snap")
DUSK = DEMO.clock()
FILE = "time (local),temperature (°C),humidity\n" + "".join(
    f"{at:%Y-%m-%d %H:%M},{11 + at.hour / 10:.1f},{50 + at.hour}\n"
    for at in (
        (DUSK - timedelta(hours=60)).astimezone(DEMO.site.zone) + timedelta(minutes=10 * row)
        for row in range(300)
    )
)


@pytest.fixture(autouse=True)
def _dusk(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is dusk of the cold snap, and its forecast is held."""
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: DUSK))
    monkeypatch.setenv("SILLWARD_COLLECTION", str(COURTYARD))
    monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", "http://127.0.0.1:9")


def hold_forecast() -> None:
    with closing(Ledger(load_settings().ledger)) as ledger:
        kept = SavedForecast("Open-Meteo", DUSK, DUSK, COLD_SNAP.read_bytes())
        ledger.forecasts.keep("Courtyard", kept)


def document(*words: object) -> dict[str, Any]:
    result = call(*words, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    assert found["schema"] == 1
    return found


def logger_file(folder: Path, content: str = FILE) -> Path:
    path = folder / "april.csv"
    path.write_text(content, encoding="utf-8")
    return path


# -- by hand


def test_a_reading_is_noted_beside_the_forecast() -> None:
    hold_forecast()
    answer = document("read", "pergola", "11,4")

    told = json.loads(call("why", "Blue basket", "--json").stdout)
    assert (answer["spot"], answer["value"], answer["unit"]) == ("pergola", 11.4, "°C")
    assert datetime.fromisoformat(answer["at"]) == DUSK.replace(second=0, microsecond=0)
    before, after = (
        min(
            (hour for hour in told["hours"] if (datetime.fromisoformat(hour["at"]) > DUSK) is late),
            key=lambda hour: abs(datetime.fromisoformat(hour["at"]) - DUSK),
        )
        for late in (False, True)
    )
    temps = sorted([before["temp_c"], after["temp_c"]])
    assert temps[0] - 0.06 <= answer["forecast"] <= temps[1] + 0.06

    line = said("read", "pergola", "11.5")
    assert line.startswith("noted as number ")
    assert (
        f"pergola 11.5 °C at {DUSK.astimezone(examples.demo('cold-snap').site.zone):%H:%M}" in line
    )
    assert f"expected there {answer['forecast']:.1f} °C; it was 11.4 °C before" in line


def test_without_a_forecast_it_is_noted_all_the_same() -> None:
    assert document("read", "wall", "bench", "52F") | {"number": 0} == {
        "schema": 1,
        "site": "Courtyard",
        "number": 0,
        "spot": "wall bench",
        "quantity": "temperature",
        "value": 11.11,
        "unit": "°C",
        "at": DUSK.astimezone(DEMO.site.zone).replace(second=0, microsecond=0).isoformat(),
        "night": None,
        "forecast": None,
        "replaced": None,
        "colder_that_night": None,
    }


def test_the_lowest_of_a_night_and_rooms_and_humidity() -> None:
    hold_forecast()
    lowest = document("read", "pergola", "-2", "--lowest")
    assert lowest["value"] == -2.0
    assert lowest["night"] == str((DUSK - timedelta(days=1)).date())
    assert "as the lowest of the night from" in said(
        "read", "pergola", "3", "--night", "2026-01-10"
    )
    assert "taken to be" in said("read", "sunroom", "18.5")
    assert "at Thu 23 Apr 06:40" in said("read", "sunroom", "18", "--at", "2026-04-23T06:40")
    counts = "(counts as the lowest of the night)"
    assert counts in said("read", "pergola", "8", "--at", "08:10")  # the sun rises at 08:18
    assert counts not in said("read", "pergola", "8", "--at", "10:00")
    assert counts not in said("read", "pergola", "80%", "--at", "08:10")
    assert document("read", "sunroom", "61%")["quantity"] == "humidity"
    assert document("read", "sunroom", "60", "--humidity")["replaced"] == 61.0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("pergla", "11"), '"pergla" is not a spot here (pergola, wall bench, sunroom, back hall); '
                           'did you mean "pergola"?'),
        (("pergola",), "say where, and what the thermometer shows"),
        (("pergola", "200"), "200 °C cannot be"),
        (("pergola", "11", "--at", "2099-01-01T00:00"), "2099-01-01T00:00 is in the future"),
        (("pergola", "11", "--at", "soon"), '"soon" is not a time'),
        (("pergola", "11", "--lowest", "--at", "06:40"), "--lowest is a temperature of a whole"),
        (("pergola", "61%", "--lowest"), "--lowest is a temperature of a whole night"),
        (("pergola", "11", "--night", "2099-01-01"), "the night of 2099-01-01 is not over"),
        (("pergola", "52"), "52 °C is unlikely"),
        (("pergola", "0.61", "--humidity"), "write 61% if it is a share, and 0.61% if it is"),
        (("\x1b[31m", "11"), "is not a spot here"),
    ],
)  # fmt: skip
def test_what_is_no_reading_is_refused(words: tuple[str, ...], said: str) -> None:
    assert said in refused("read", *words)
    assert document("readings")["by_hand"] == []


def test_in_fahrenheit_and_by_twelve_hours(tmp_path: Path) -> None:
    units = '\n[notices]\ntemperature = "°F"\nclock = "12 h"\n'
    path = tmp_path / "yard.toml"
    path.write_text(COURTYARD.read_text(encoding="utf-8") + units, encoding="utf-8")

    line = said("read", "pergola", "52.5", "--at", "6:40 am", "--collection", path)
    assert "pergola 52.5 °F at 6:40 am" in line
    assert "pergola 52.5 °F" in said("readings", "--collection", path)
    assert document("readings", "--collection", path)["by_hand"][0]["value"] == 11.39


def test_what_is_far_from_what_is_expected_may_be_a_slip() -> None:
    hold_forecast()
    slip = "if it is a slip: sillward readings --correct"

    assert slip not in said("read", "sunroom", "17")
    assert slip in said("read", "sunroom", "4")
    assert slip in said("read", "pergola", "-12")


def test_plants_that_are_too_cold_by_a_reading_wait_for_no_message() -> None:
    hold_forecast()
    cold = ". If it is right, do not wait for a message: Strap-leaf by the door, "

    assert "do not wait" not in said("read", "pergola", "19")
    assert "do not wait" not in said("read", "pergola", "2", "--lowest")
    assert "do not wait" not in said("read", "pergola", "7", "--at", "06:40")
    assert cold in said("read", "pergola", "12.5")


def test_two_cold_readings_half_an_hour_apart_change_what_this_night_is_taken_to_be() -> None:
    """What `read` promises."""
    hold_forecast()
    collection = app.build(Options()).household.collection
    night = sun.night_at_or_after(DEMO.site, DUSK)
    for minutes, is_believed in ((60, False), (90, True)):
        now = night.start + timedelta(minutes=minutes)
        with closing(Ledger(load_settings().ledger)) as ledger:
            here = app.build(Options(), clock=functools.partial(lambda at: at, now))
            store = read_only.forecast_updater(here, ledger).store
            value = by_hand.measured("-3", "°C", humidity=False)
            by_hand.note(ledger, DEMO.site, "pergola", value, now, None, now)
            taught = Lessons(ledger, store).applied(collection, now)
        assert (taught is not collection) == is_believed


def test_a_lowest_above_another_reading_of_the_night_is_told() -> None:
    first = document("read", "pergola", "9.5", "--at", "06:40")["number"]
    line = said("read", "pergola", "11", "--lowest")

    assert f"But 9.5 °C was noted for 06:40 of that night, as number {first}" in line
    assert "But" not in said("read", "pergola", "9.4", "--lowest")


def test_a_reading_keeps_its_number_when_it_is_noted_again() -> None:
    first = document("read", "pergola", "9.5", "--at", "06:40")["number"]
    said("read", "pergola", "9.9", "--at", "06:50")

    assert document("read", "pergola", "9.6", "--at", "06:40")["number"] == first


def test_a_spot_whose_name_ends_in_a_number_is_no_reading(tmp_path: Path) -> None:
    yard = tmp_path / "yard.toml"
    text = COURTYARD.read_text(encoding="utf-8")
    text = text.replace("[spots.pergola]", '[spots."pergola 2"]').replace(
        '"pergola"', '"pergola 2"'
    )
    yard.write_text(text, encoding="utf-8")

    assert "what the thermometer shows" in refused("read", "Pergola", "2", "--collection", yard)
    assert "pergola 2 11.4 °C" in said("read", "pergola", "2", "11.4", "--collection", yard)


def test_a_night_of_another_year_is_listed_with_its_year() -> None:
    said("read", "pergola", "3", "--night", "2024-11-27")
    said("read", "pergola", "4", "--lowest")

    assert "Thu 28 Nov 2024" in said("readings")
    assert "2026" not in said("readings")


# -- from files


def test_a_file_is_taken_in_and_twice_adds_nothing(tmp_path: Path) -> None:
    path = logger_file(tmp_path)
    line = said("read-file", path, "--spot", "pergola")
    assert "pergola, logger: 300 readings of temperature" in line
    assert line.count("all of them are new") == 2

    again = document("read-file", path, "--spot", "pergola")
    assert [(part["quantity"], part["readings"], part["new"]) for part in again["taken"]] == [
        ("temperature", 300, 0),
        ("humidity", 300, 0),
    ]
    sensors = document("readings", "pergola")["sensors"]
    assert [(each["sensor"], each["unit"]) for each in sensors] == [
        ("logger", "%"),
        ("logger", "°C"),
    ]


def test_a_file_for_the_wrong_spot_is_set_aside_and_told(tmp_path: Path) -> None:
    path = logger_file(tmp_path)
    said("read-file", path, "--spot", "pergola")

    line = said("read-file", path, "--spot", "wall bench", "--quantity", "temperature")
    assert "none of them is used" in line
    assert "set aside: 300, the same values as another sensor: logger at pergola" in line
    assert "is wall bench the right spot for this file?" in line
    listed = said("readings", "wall bench")
    assert "not used wall bench logger 300 the same values as another sensor" in listed
    assert said("readings", "wall bench", "--forget", "logger").startswith("forgotten: 0 readings")
    assert document("readings", "wall bench")["set_aside"] == []


def test_a_file_that_was_read_for_the_wrong_spot_first_is_read_again(tmp_path: Path) -> None:
    path = logger_file(tmp_path)
    of_air = ("--quantity", "temperature")
    said("read-file", path, "--spot", "pergola", *of_air)
    said("read-file", path, "--spot", "wall bench", *of_air)

    assert said("readings", "pergola", "--forget", "logger") == (
        "forgotten: 300 readings of logger at pergola 300 readings of logger at wall bench were set"
        " aside as the same as these: read their file again, and they count"
    )
    assert "not used wall bench logger 300 the same values" in said("readings")
    assert "all of them are new" in said("read-file", path, "--spot", "wall bench", *of_air)
    listed = document("readings")
    assert [each["spot"] for each in listed["sensors"]] == ["wall bench"]
    assert listed["set_aside"] == []


def test_the_right_file_is_read_after_the_wrong_one(tmp_path: Path) -> None:
    path = logger_file(tmp_path)
    of_air = ("--quantity", "temperature")
    for spot in ("pergola", "wall bench"):
        said("read-file", path, "--spot", spot, *of_air)
    other = logger_file(tmp_path, FILE.replace(",1", ",2"))

    assert "all of them are new" in said("read-file", other, "--spot", "wall bench", *of_air)
    assert document("readings")["set_aside"] == []


def test_a_file_of_long_ago_is_listed_with_what_is_not_used(tmp_path: Path) -> None:
    lines = "".join(f"2026-01-03 {hour:02d}:00,{99 if hour < 3 else 11}\n" for hour in range(24))
    path = logger_file(tmp_path, "time (local),temperature (°C)\n" + lines)

    assert "set aside: 3, outside of what can be" in said("read-file", path, "--spot", "pergola")
    assert [each["count"] for each in document("readings")["set_aside"]] == [3]


def test_a_file_of_nights_without_a_forecast_teaches_nothing(tmp_path: Path) -> None:
    of_air = ("--quantity", "temperature", "--spot", "pergola")
    taught_nothing = "they teach nothing: sillward has no forecasts of these nights"

    assert taught_nothing in said("read-file", logger_file(tmp_path), *of_air)
    assert taught_nothing not in said("read-file", logger_file(tmp_path), *of_air)  # none is new
    with closing(Ledger(load_settings().ledger)) as ledger:
        past_nights(ledger, DEMO.site, "Open-Meteo", "pergola", DUSK, [0.0] * 5)
    other = logger_file(tmp_path, FILE.replace(",1", ",2"))
    assert taught_nothing not in said("read-file", other, "--sensor", "box", *of_air)


def in_unit(tmp_path: Path, head: str, *, fahrenheit: bool, now: datetime = DUSK) -> Path:
    zone = DEMO.site.zone
    start = (now - timedelta(hours=40)).astimezone(zone)
    values = 12 + 6 * np.sin(np.arange(40) / 4)
    values = values * 1.8 + 32 if fahrenheit else values
    rows = "".join(
        f"{start + timedelta(hours=row):%Y-%m-%d %H:%M},{value:.2f}\n"
        for row, value in enumerate(values)
    )
    return logger_file(tmp_path, f"time (local),temperature ({head})\n{rows}")


@pytest.mark.parametrize("forecast", [True, False])
def test_a_file_in_another_unit_than_its_head_says_is_asked_about(
    tmp_path: Path, *, forecast: bool
) -> None:
    if forecast:
        hold_forecast()

    def asked(path: Path) -> str:
        result = call("read-file", path, "--spot", "pergola")
        assert result.exit_code == 1, result.output
        return " ".join(result.stderr.split())

    wrong = in_unit(tmp_path, "°C", fahrenheit=True)
    assert "would fit in °F: say --unit F, or --unit C if they are really in °C" in asked(wrong)
    assert "all of them are new" in said("read-file", wrong, "--spot", "pergola", "--unit", "F")
    assert 5 < document("readings")["sensors"][0]["last"] < 19
    other = in_unit(tmp_path, "°F", fahrenheit=False)
    assert "would fit in °C: say --unit C" in asked(other)
    for head, fahrenheit in (("°C", False), ("°F", True)):
        right = in_unit(tmp_path, head, fahrenheit=fahrenheit)
        said("read-file", right, "--spot", "pergola", "--sensor", head)


def test_other_values_of_the_same_moments_are_another_thermometer(tmp_path: Path) -> None:
    head = "time (local),temperature (°C)\n"
    for value, used in ((15.1, True), (16.1, False)):
        path = logger_file(tmp_path, f"{head}2026-04-03 01:00,{value}\n2026-04-03 01:10,{value}\n")
        result = call("read-file", path, "--spot", "pergola")
        assert (result.exit_code == 0) is used
    text = " ".join(result.stderr.split())
    assert "is this another thermometer?" in text
    assert 'sillward readings "pergola" --forget "logger"' in text


def test_a_spot_of_two_words_needs_no_quotes(tmp_path: Path) -> None:
    path = logger_file(tmp_path)
    assert "say where it hung: --spot pergola (pergola, wall bench, " in refused("read-file", path)
    assert (
        document("read-file", path, "--spot", "wall", "bench")["taken"][0]["spot"] == "wall bench"
    )


def test_two_readings_of_one_second_are_told(tmp_path: Path) -> None:
    lines = "2026-01-03 01:00:00,11\n2026-01-03 01:00:00,9\n2026-01-03 01:10:00,9\n"
    path = logger_file(tmp_path, "time (local),temperature (°C)\n" + lines)

    line = said("read-file", path, "--spot", "pergola")
    assert "2 of them are new 1 of a second that has one already: the first counts" in line


def test_what_is_not_used_is_shown_in_the_units_of_the_grower(tmp_path: Path) -> None:
    units = '\n[notices]\ntemperature = "°F"\n'
    yard = tmp_path / "yard.toml"
    yard.write_text(COURTYARD.read_text(encoding="utf-8") + units, encoding="utf-8")
    sensor = Origin("pergola", Quantity.TEMPERATURE, "garden/pergola")
    intake = LiveIntake("Courtyard")
    intake.take([Reading(sensor, DUSK, 85.0)])
    with closing(Ledger(load_settings().ledger)) as ledger:
        intake.write(ledger.readings, DUSK)

    assert "the last 185 °F" in said("readings", "--collection", yard)


def test_if_one_series_of_a_file_is_refused_nothing_is_kept(tmp_path: Path) -> None:
    path = logger_file(tmp_path, FILE.replace(",5", ",2005").replace(",6", ",2006"))
    result = call("read-file", path, "--spot", "pergola")

    assert result.exit_code == 1
    assert "outside of what can be" in result.stderr
    assert document("readings")["sensors"] == []


def test_what_a_file_leaves_open_is_asked_for(tmp_path: Path) -> None:
    path = logger_file(tmp_path, "03/04/2026 11:10;7,5\n03/04/2026 11:20;7,5\n")

    def failed(*words: str) -> str:
        result = call("read-file", path, "--spot", "pergola", *words)
        assert result.exit_code == 1, result.output
        return result.stderr

    assert "name its columns" in failed()
    named = ("--columns", "time;temperature")
    assert "--dates dmy or --dates mdy" in failed(*named)
    assert "say which: --zone UTC" in failed(*named, "--dates", "dmy")
    assert "--unit C or --unit F" in failed(*named, "--dates", "dmy", "--zone", "local")
    told = (*named, "--dates", "dmy", "--zone", "local", "--unit", "C")
    assert "2 readings of temperature" in said("read-file", path, "--spot", "pergola", *told)
    assert '--zone "here" is not a time zone' in refused(
        "read-file", path, "--spot", "pergola", "--zone", "here"
    )


# -- what was read


def test_readings_are_corrected_and_deleted() -> None:
    assert said("readings") == ("nothing was read so far; for example: sillward read pergola 11.4")
    number = document("read", "pergola", "14.1", "--at", "06:40")["number"]
    assert said("readings", "--correct", number, "-1,4") == (
        f"corrected: reading {number}, pergola, is -1.4 °C instead of 14.1 °C"
    )
    assert document("readings")["by_hand"][0]["value"] == -1.4
    assert "is a temperature, not in %" in refused("readings", "--correct", number, "50%")
    assert said("readings", "--delete", number) == f"deleted: reading {number}"
    for words in (("--correct", "99", "11"), ("--delete", "99")):
        assert refused("readings", *words) == (
            "there is no reading 99 by hand; `sillward readings` lists them"
        )
    assert "one at a time" in refused("readings", "--delete", "1", "--forget", "x")


def test_a_sensor_is_forgotten_where_it_is_meant(tmp_path: Path) -> None:
    path = logger_file(tmp_path)
    said("read-file", path, "--spot", "pergola", "--sensor", "box")
    said("read-file", path, "--spot", "sunroom", "--sensor", "box")

    assert '"box" is at pergola and sunroom; say at which' in refused("readings", "--forget", "box")
    assert said("readings", "pergola", "--forget", "box").startswith(
        "forgotten: 600 readings of box at pergola"
    )
    assert '"bx" is not a sensor here (box)' in refused("readings", "--forget", "bx")


def test_the_last_are_listed_and_with_all_every_one() -> None:
    for minute in range(32):
        said("read", "pergola", "11", "--at", f"07:{minute:02d}")

    assert "and 2 before, which --all lists" in said("readings")
    assert len(document("readings")["by_hand"]) == 30
    assert len(document("readings", "--all")["by_hand"]) == 32


def test_status_counts_them(tmp_path: Path) -> None:
    hold_forecast()
    said("read", "pergola", "11")
    path = logger_file(tmp_path)
    for spot in ("pergola", "wall bench"):
        said("read-file", path, "--spot", spot, "--quantity", "humidity")

    status = call("status")
    assert json.loads(call("status", "--json").stdout)["readings"] == {
        "sensors": 1,
        "by_hand": 1,
        "set_aside": 300,
    }
    line = " ".join(status.stdout.split())
    assert "1 sensor; in 7 days 1 by hand, 300 set aside; `sillward readings` says why" in line


def test_what_a_sensor_calls_itself_reaches_no_terminal() -> None:
    hold_forecast()
    name, reason = "to\x1b[31mpic\u202e/\n1", "no \x07value"
    some = by_the_hour(np.array([int(DUSK.timestamp()) - 60]), np.array([11.0]))
    air = Quantity.TEMPERATURE
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.readings.keep("Courtyard", "pergola", air, name, some)
        ledger.readings.set_aside(
            "Courtyard", "pergola", air, name, reason, [DUSK], ["\x1b[2J"], DUSK
        )

    assert "pergola to [31mpic / 1 11.0 °C" in said("readings")
    assert "1 no value; the last [2J" in said("readings")
    assert document("readings")["sensors"][0]["sensor"] == name
    assert call("status").exit_code in (0, 1)
    assert "is not a sensor here" in refused("readings", "--forget", "\x1b[2J")


def test_spots_and_sensors_are_completed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(completion, "utc_now", lambda: datetime(2026, 5, 14, tzinfo=UTC))
    said("read-file", logger_file(tmp_path), "--spot", "pergola")

    def offers(*words: str) -> list[str]:
        shell = ShellComplete(main, {}, "sillward", "_SILLWARD_COMPLETE")
        return [item.value for item in shell.get_completions(list(words[:-1]), words[-1])]

    assert offers("read", "") == ["pergola", "wall", "sunroom", "back"]
    assert offers("read", "wall", "") == ["bench"]
    assert offers("readings", "s") == ["sunroom"]
    assert offers("read-file", "x.csv", "--spot", "w") == ["wall bench"]
    assert offers("readings", "--forget", "lo") == ["logger"]


# -- a thermometer that was moved


def with_step() -> None:
    """The pergola was as forecast, and 4.5 K warmer for the last twelve nights."""
    site = DEMO.site
    with closing(Ledger(load_settings().ledger)) as ledger:
        errors = [-0.4, 0.4] * 15 + [4.1, 4.9] * 6
        past_nights(ledger, site, "Open-Meteo", "pergola", DUSK, errors)


def test_a_thermometer_is_said_to_hang_right() -> None:
    with_step()
    (question,) = document("check")["questions"].values()
    assert "sillward readings pergola --hangs-right. If not, move it back" in question
    assert "! pergola: pergola reads 4.5 °C warmer" in said("check")
    assert "question pergola reads 4.5 °C warmer" in " ".join(call("status").stdout.split())

    noted = said("readings", "pergola", "--hangs-right")

    assert "noted: the thermometer at pergola hangs right; it is learned from anew since" in noted
    assert document("check")["questions"] == {}
    assert "question" not in call("status").stdout
    learned = document("check")["learned"]["pergola"]
    assert not learned["asks"]
    assert learned["warmer_than_forecast_k"] > 3.5


def test_what_is_not_asked_is_not_answered() -> None:
    assert "asked is: of no spot" in refused("readings", "pergola", "--hangs-right")
    with_step()
    assert "say of which spot; asked is: pergola" in refused("readings", "--hangs-right")
    text = refused("readings", "wall bench", "--hangs-right")
    assert "nothing is asked about the thermometer at wall bench; asked is: pergola" in text
    assert "one at a time" in refused("readings", "pergola", "--hangs-right", "--delete", "1")
