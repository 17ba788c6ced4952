"""What each command tells a person in °F, by 12 hours and in mph; and that machines get SI.

Values are converted here from the JSON, which is the same whatever the grower's units are.
"""

import json
import math
import re
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from sillward.assembly import app, examples
from sillward.assembly.app import Options
from sillward.charts import process
from sillward.charts.data import ChartData
from sillward.cli import shared
from sillward.config.settings import load_settings
from sillward.ledger import Ledger, SavedForecast
from sillward.reports import status, why
from sillward.service.health import TICK_MARK
from sillward_rules.explanation import ExplainedHour
from tests.end_to_end.test_screens import too_wide
from tests.support import commands
from tests.support.chart_examples import US
from tests.support.loopback_server import Server, serving, whole
from tests.support.met_bodies import met_body
from tests.support.paths import EXAMPLES

COLD_SNAP = EXAMPLES / "recorded" / "cold-snap.json"
DUSK = examples.demo("cold-snap").clock()

YARD = f"""{(EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")}
[spots.shelf]

[[plants]]
name = "Guest"
group = "cattleya"
holder = "pot"
home = "shelf"
shelter = "sunroom"
limits.gust_high = 8

[[rules]]
name = "nearly cold"
watch = "leaf temperature"
below = "limit + 2 °C"
asks = "note"

[[channels]]
name = "phone"
"""
YARD = YARD.replace("[habits]\n", '[habits]\nhours = ["07:00-10:30", "17:00 to sunset-30min"]\n')

NOTICES = """
[notices]
quiet = "22:30-06:30"
"""
IN_US = 'temperature = "°F"\nclock = "12 h"\nwind = "mph"\n'


@pytest.fixture(autouse=True)
def phone(monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    """It is dusk of the cold snap, nobody has a forecast for us, and the phone takes everything."""
    monkeypatch.setattr(shared, "build", lambda options: app.build(options, clock=lambda: DUSK))
    monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", "http://127.0.0.1:9")
    with serving(whole(b"{}"), ends=b"}") as server:
        host = server.address.removeprefix("http://")
        monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", f"json://{host}/")
        yield server


def file_of(folder: Path, units: str) -> Path:
    path = folder / ("us" if units else "si") / "yard.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(YARD + NOTICES + units, encoding="utf-8")
    return path


@pytest.fixture
def us(tmp_path: Path) -> Path:
    """The yard of a grower who wants °F, 12 hours and mph."""
    return file_of(tmp_path, IN_US)


def call(path: Path, *words: str) -> Result:
    return commands.call(*words, "--collection", path)


def told(path: Path, *words: str) -> str:
    """What it says to people, where nothing may be in another unit and nothing too wide."""
    result = call(path, *words)
    assert result.stdout, result.output
    for text in (result.stdout, result.stderr):
        assert foreign(text) == []
    assert too_wide(result.stdout) == []
    return result.stdout


def one_line(text: str) -> str:
    return " ".join(text.split())


_FOREIGN = re.compile(
    r"°C| K\b|m/s|(?<!\d)(?:0\d|1[3-9]|2\d):[0-5]\d|(?<!\d)1[0-2]:[0-5]\d(?! [ap]m|-\d)"
)


def foreign(text: str) -> list[str]:
    """All that is not in °F, by 12 hours and in mph."""
    return _FOREIGN.findall(text)


@pytest.mark.parametrize(
    "text", ["3 °C", "under by 2 K", "8 m/s", "at 07:10", "at 17:05", "until 10:30", "00:00"]
)
def test_what_is_foreign_is_found(text: str) -> None:
    assert foreign(text)
    assert foreign("37.4 °F at 7:10 am, 10:30-11:15 am, 12:05 pm, KNO3, 18 mph") == []


def machine(path: Path, *words: str) -> Any:
    """The one JSON document of a command."""
    return json.loads(call(path, *words, "--json").stdout)


def keep_a_forecast(age: timedelta = timedelta(0)) -> None:
    at = DUSK - age
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.forecasts.keep(
            "Courtyard", SavedForecast("Open-Meteo", at, at, COLD_SNAP.read_bytes())
        )


def fahrenheit(value_c: float) -> float:
    return value_c * 9 / 5 + 32


def mph(value_m_s: float) -> float:
    return value_m_s * 3600 / 1609.344


def twelve(at: str | datetime) -> str:
    """ "5:05 pm", of a time in the site's zone."""
    at = datetime.fromisoformat(at) if isinstance(at, str) else at
    return f"{at:%I:%M %p}".lower().removeprefix("0")


def day_and_hour(at: str) -> str:
    return f"{datetime.fromisoformat(at):%a %d %b} {twelve(at)}"


# -- check


def test_check_tells_limits_and_hours_as_the_grower_reads_them(us: Path) -> None:
    text = told(us, "check", "--full")
    report = machine(us, "check")

    blocks = text.split("\n\n")
    for plant in report["plants"]:
        (block,) = [block for block in blocks if block.startswith(f"{plant['name']}\n")]
        rows = {row.split()[0]: row.split()[1:3] for row in block.splitlines() if row[2:3] != " "}
        for name, limit in plant["limits"].items():
            if limit["unit"] == "°C":
                assert rows[name] == [f"{round(fahrenheit(limit['value']), 1):g}", "°F"]
            elif limit["unit"] == "m/s":
                assert rows[name] == [f"{round(mph(limit['value']), 2):g}", "mph"]
            elif limit["unit"]:
                assert rows[name][0] == f"{limit['value']:g}"
    line = one_line(text)
    assert "derived (judgement) from 79.7 °F, the middle of the day optimum" in line
    assert "watering hours: 7:00-10:30 am, 5:00 pm to sunset-30min" in line
    assert "quiet 10:30 pm-6:30 am" in line
    assert "though they can be 18 °F warmer" in line
    assert "they can be 18 °F warmer" in line
    assert "next dusk round: Fri 15 May 5:14 pm" in line


# -- why


def rows_of(text: str) -> list[str]:
    return re.findall(r"^[ *][ \d]?\d:\d\d [ap]m[ <].*", text, re.MULTILINE)


def test_why_shows_its_hours_in_the_growers_units(us: Path) -> None:
    keep_a_forecast()
    text = told(us, "why", "Blue basket")
    report = machine(us, "why", "Blue basket")

    (head,) = [line for line in text.splitlines() if line.endswith("rules")]
    assert head.split()[1:12] == [
        *("fcst", "spot", "leaf", "RH", "VPD", "lVPD", "wind", "PPFD", "rain", "wet", "film"),
    ]
    (units,) = [line for line in text.splitlines() if line.split()[:2] == ["°F", "°F"]]
    assert units.split() == [
        *("°F", "°F", "°F", "%", "kPa", "kPa", "mph", "umol", "mm", "h", "min"),
    ]
    rows = rows_of(text)
    assert len(rows) == len(report["hours"]) > 20
    for row, hour in zip(rows, report["hours"], strict=True):
        assert row[1:].strip().startswith(twelve(hour["at"]))
        cells = row[10:].split()
        numbers = [float(cell) for cell in cells[:8]]
        assert numbers[:3] == pytest.approx(
            [
                fahrenheit(value_c)
                for value_c in (hour["forecast"]["temp_c"], hour["temp_c"], hour["leaf_c"])
            ],
            abs=0.07,  # the JSON has two digits
        )
        assert numbers[3] == pytest.approx(hour["rh_pct"], abs=0.51)
        assert numbers[4:6] == [hour["vpd_kpa"], hour["leaf_vpd_kpa"]]
        assert numbers[6] == pytest.approx(mph(hour["wind_m_s"]), abs=0.07)
        assert numbers[7] == pytest.approx(hour["ppfd"], abs=0.51)
    ends = [[cell.end() for cell in re.finditer(r"\S+", row[10:])][:11] for row in rows]
    assert all(end == ends[0] for end in ends)
    assert [cell.end() for cell in re.finditer(r"\S+", units[10:])] == ends[0]


def test_why_tells_bounds_and_corrections_in_the_growers_units(us: Path) -> None:
    keep_a_forecast()
    line = one_line(told(us, "why", "Blue basket"))
    report = machine(us, "why", "Blue basket")
    guest = one_line(told(us, "why", "Guest"))
    inside = one_line(told(us, "why", "Moth orchid"))

    # 0.8 K, 14 °C, 14 + 2 °C, 9 m/s
    assert "spot: night +1.4 °F, day +0 °F, sky view 0.5" in line
    assert "cold night: carry in if leaf temperature below 57.2 °F: your own limit" in line
    assert "note if leaf temperature below 60.8 °F: +3.6 °F beside 57.2 °F: your own" in line
    assert "gust above 20.13 mph" in line
    depth = report["cold"]["degree_hours"] * 9 / 5
    assert f"{report['cold']['hours']:.1f} h and {depth:.1f} °F h under 57.2 °F" in line
    chore = next(chore for chore in report["chores"] if chore["chore"] == "carry-in")
    assert datetime.fromisoformat(chore["before"]) == DUSK.replace(microsecond=0)
    assert "carry in: now (about 10 min), pergola to sunroom" in line
    (reason,) = [reason for reason in chore["because"] if reason["plant"] == "Blue basket"]
    assert f"down to {fahrenheit(reason['value']):.1f} °F at {twelve(reason['at'])}" in line
    assert "note: sky_view is not given: taken as 0.5 for cold nights, light and drying" in guest
    assert "though they can be 18 °F warmer" in guest
    # 14 °C at night, 18 by day
    assert "spot: holds 57.2 °F at night, 64.4 °F by day" in inside
    (rule,) = [rule for rule in report["rules"] if rule["name"] == "nearly cold"]
    assert (rule["bound"], rule["origin"]) == (16.0, "+2 °C beside 14 °C: your own limit")


def an_hour(at: datetime, value: float, film: float | None) -> ExplainedHour:
    """An hour that is as wide as they come; no rain is at -25 or 40 °C."""
    return ExplainedHour(
        at=at,
        night=True,
        forecast={"temp_c": value},
        temp_c=value,
        leaf_c=value,
        rh_pct=100.0,
        vpd_kpa=12.34,
        leaf_vpd_kpa=12.34,
        wind_m_s=abs(value),
        light_w_m2=None,
        ppfd=2500.0,
        rain_mm=99.9,
        crown_wet_h=100.0,
        film_min=film,
        offset_k=-1.0,
        offset_share=0.5,
        learned_k=-0.5,
        warming_cloud=1.0,
        leaf_wet=0.0 < value < 30.0,
        rules=("one", "two", "three", "four", "five"),
        deciding=True,
    )


@pytest.mark.parametrize("clock", ["24 h", "12 h"])
@pytest.mark.parametrize("wind", ["m/s", "km/h", "mph"])
def test_the_widest_hours_stand_under_each_other(clock: str, wind: str, tmp_path: Path) -> None:
    units = f'temperature = "°F"\nclock = "{clock}"\nwind = "{wind}"\n'
    voice = app.build(Options(file_of(tmp_path, units)), clock=lambda: DUSK).household.voice
    midnight = datetime(2026, 5, 15, 0, 5, tzinfo=voice.site.zone)
    hours = [
        an_hour(midnight, 40.0, float("inf")),  # 104 °F, 144 km/h
        an_hour(midnight + timedelta(hours=1), -25.6, 1440.0),
        an_hour(midnight + timedelta(hours=12), 9.0, None),
    ]

    letters = dict.fromkeys(hours[0].rules, "a")
    cells = [why._hour_row(hour, letters, voice) for hour in hours]
    head, of_units, *rows = why._hour_lines(why._heads(voice), cells)

    first = {"24 h": ["00:05", "01:05", "12:05"], "12 h": ["12:05 am", " 1:05 am", "12:05 pm"]}[
        clock
    ]
    assert [row[1 : 1 + len(first[0])] for row in rows] == first
    start = 2 + len(first[0])
    ends = [[cell.end() for cell in re.finditer(r"\S+", row[start:])] for row in rows]
    assert ends[0] == ends[1] == ends[2]
    assert len(ends[0]) == 12
    assert [cell.end() for cell in re.finditer(r"\S+", of_units[start:])] == ends[0][:11]
    assert [cell.end() for cell in re.finditer(r"\S+", head[start:])][:11] == ends[0][:11]
    assert all(len(row) <= 78 for row in rows)
    assert rows[0].split()[-1] == "aaaaa"
    assert "104.0" in rows[0]
    assert f" {wind} " in of_units
    assert (" 144.0 " in rows[0]) == (wind == "km/h")


# -- forecast


def test_forecast_tells_lows_and_hours_in_the_growers_units(us: Path) -> None:
    keep_a_forecast(timedelta(minutes=40))
    line = one_line(told(us, "forecast"))
    report = machine(us, "forecast")

    assert line.startswith(f"Courtyard, {day_and_hour(report['at'])} ")
    (source,) = report["sources"]
    assert f"fetched {day_and_hour(source['fetched'])}, 40 min old" in line
    assert f"reaches {day_and_hour(source['reaches'])};" in line
    night = report["night"]
    assert f"tonight, {day_and_hour(night['start'])} to {twelve(night['end'])}" in line
    assert len(report["lows"]) == 3
    for low in report["lows"]:
        found = re.search(
            rf"{low['spot']} leaf (\S+) °F at (\S+ [ap]m), air (\S+) °F, give or take (\S+) °F",
            line,
        )
        assert found is not None
        leaf, at, air, off = found.groups()
        assert float(leaf) == pytest.approx(fahrenheit(low["leaf_c"]), abs=0.07)
        assert at == twelve(low["at"])
        assert float(air) == pytest.approx(fahrenheit(low["air_c"]), abs=0.07)
        assert float(off) == pytest.approx(low["sd_k"] * 9 / 5, abs=0.07)


def test_what_a_source_says_of_itself_is_retold(us: Path, tmp_path: Path) -> None:
    """Steps of six hours begin at an hour by UTC."""
    file = tmp_path / "met.json"
    start = DUSK.replace(minute=0, second=0, microsecond=0)
    ahead = [*range(58), *range(58, 58 + 6 * 29, 6)]
    temp = [12 + 5 * math.cos((start.hour + hour - 19) / 12 * math.pi) for hour in ahead]
    body = met_body(start, hourly=58, air_temperature=temp, relative_humidity=None, low=7, high=17)
    file.write_text(json.dumps(body))
    recorded = ("--recorded", str(file), "--at", DUSK.isoformat())

    plain, line = machine(us, "forecast", *recorded), one_line(told(us, "forecast", *recorded))

    (note,) = [note for note in plain["sources"][0]["notes"] if "in steps of" in note]
    found = re.match(r"from (\w{3} \d\d \w{3}) (\d\d:\d\d) UTC on in steps", note)
    assert found is not None
    clock = twelve(datetime.strptime(found[2], "%H:%M"))  # noqa: DTZ007
    assert f"from {found[1]} {clock} UTC on in steps" in line


# -- send, status, done


def test_what_was_sent_is_told_by_the_growers_clock(us: Path) -> None:
    keep_a_forecast()

    assert call(us, "send", "--round", "dusk").stdout == "phone: sent 5:14 pm\n"


def test_status_tells_hours_by_the_growers_clock(us: Path) -> None:
    keep_a_forecast()
    call(us, "send", "--round", "dusk")
    ids = [chore["id"] for chore in machine(us, "status")["chores"]]
    chore = next(id_ for id_ in ids if "carry-in" in id_)
    call(us, "done", chore)
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.marks.set(TICK_MARK, DUSK - timedelta(hours=4), "")

    line = one_line(told(us, "status"))
    report = machine(us, "status")

    assert line.startswith(f"Courtyard, {day_and_hour(report['at'])} ")
    assert f"fetched {day_and_hour(report['forecast']['fetched'])}, 0 min old" in line
    assert f"last tick {day_and_hour(report['tick'])} (saved" in line
    assert "`sillward run` has done nothing since Thu 14 May 1:14 pm" in line
    assert report["troubles"][0] == "`sillward run` has done nothing since Thu 14 May 13:14"
    for name, at in report["next"].items():
        assert f"{name} {day_and_hour(at)}" in line
    (notice,) = report["notices"]
    assert f"phone sent {day_and_hour(notice['sent'])} " in line
    done = [chore["done"] for chore in report["chores"] if chore["done"]]
    assert done
    assert f"done {day_and_hour(done[0])}" in line
    moved = [plant["next"]["at"] for plant in report["plants"].values() if "next" in plant]
    assert moved
    assert f"sunroom from {day_and_hour(moved[0])}" in line


def test_what_was_done_before_is_told_by_the_growers_clock(us: Path) -> None:
    keep_a_forecast()
    call(us, "send", "--round", "dusk")
    ids = [chore["id"] for chore in machine(us, "status")["chores"]]
    chore = next(id_ for id_ in ids if "carry-in" in id_)
    call(us, "done", chore)

    assert told(us, "done", chore) == f"{chore} was done Thu 14 May 5:14 pm already\n"


def test_the_line_for_a_service_manager_has_the_growers_clock(us: Path) -> None:
    household = app.build(Options(us), clock=lambda: DUSK).household

    assert status.summary_line(household, [], DUSK) == (
        "Courtyard: all is well; next morning Fri 8:33 am"
    )


# -- sheet, chart, try-channel


def test_the_short_sheet_tells_its_deadline_by_the_growers_clock(us: Path) -> None:
    recorded = ("--recorded", str(COLD_SNAP), "--round", "dusk")

    text = told(us, "sheet", "--short", *recorded)

    sheet = machine(us, "sheet", *recorded)
    carried = {chore["before"] for chore in sheet["chores"] if chore["chore"] == "carry-in"}
    at, later, *_ = sorted(carried)
    assert at == sheet["at"]
    title = text.splitlines()[0]
    assert " plants now, " in title
    assert f" more by {twelve(later)}" in title or f" the first by {twelve(later)}" in title


def test_why_tells_a_deadline_by_the_growers_clock(us: Path) -> None:
    keep_a_forecast()
    line = one_line(told(us, "why", "Cork-slab laelia"))
    report = machine(us, "why", "Cork-slab laelia")

    chore = next(chore for chore in report["chores"] if chore["chore"] == "carry-in")
    assert datetime.fromisoformat(chore["before"]) > DUSK
    begin = f"begin by {twelve(chore['begin_by'])}, about {chore['takes_min']:.0f} min"
    assert f"carry in: by {twelve(chore['before'])} ({begin}), pergola to back hall" in line


def test_the_moment_that_is_taken_for_now_is_told_by_the_growers_clock(
    us: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    later = DUSK + timedelta(days=200)
    monkeypatch.setattr(shared, "build", lambda options: app.build(options, clock=lambda: later))

    said = call(us, "sheet", "--short", "--recorded", str(COLD_SNAP)).stderr

    assert said == "sillward: no --at given: taking 2026-05-14 5:14 pm, when it was recorded\n"


def test_a_chart_is_drawn_in_the_growers_units(
    us: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[ChartData] = []

    def drawn(data: ChartData, form: process.Form) -> bytes:
        asked.append(data)
        return b""

    monkeypatch.setattr(process, "picture", drawn)
    monkeypatch.chdir(tmp_path)

    told(us, "chart", "pergola", "--recorded", str(COLD_SNAP))

    (data,) = asked
    assert data.units == US
    assert {limit.unit for limit in data.limits} == {"°C"}


def test_a_trial_tells_its_hour_by_the_growers_clock(us: Path, phone: Server) -> None:
    told(us, "try-channel", "phone")

    (asked,) = phone.asked
    message = json.loads(asked.split(b"\r\n\r\n", 1)[1])["message"]
    assert message.startswith("Channel phone of Courtyard, Thu 14 May 2026 5:14 pm.\n")


# -- machines


@pytest.mark.parametrize(
    "words",
    [
        ("check",),
        ("why", "Blue basket"),
        ("why", "Guest"),
        *(("sheet", "--round", name) for name in ("dusk", "morning", "week")),
        ("status",),
        ("forecast",),
        *(("chart", "pergola", "--kind", kind) for kind in ("night", "water")),
    ],
    ids=" ".join,
)
def test_machines_get_the_same_bytes_whatever_the_units(
    words: tuple[str, ...], us: Path, tmp_path: Path
) -> None:
    si = file_of(tmp_path, "")
    keep_a_forecast(timedelta(hours=8))
    call(us, "send", "--round", "dusk")
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.marks.set(TICK_MARK, DUSK - timedelta(hours=4), "")

    of_si, of_us = (call(path, *words, "--json").stdout_bytes for path in (si, us))

    assert json.loads(of_si)
    assert of_us == of_si
    assert b"\xc2\xb0F" not in of_us
    assert not re.search(rb"\d [ap]m\b", of_us.split(b'"title"')[0])


def test_a_sheet_for_machines_says_in_si_how_old_its_forecast_is(us: Path) -> None:
    keep_a_forecast(timedelta(hours=3))

    (note,) = [text for text in machine(us, "sheet")["warnings"] if "this is the forecast" in text]

    assert note.endswith("this is the forecast from Thu 14 May 14:14")
    assert "this is the forecast from Thu 14 May 2:14 pm" in one_line(call(us, "sheet").stdout)
