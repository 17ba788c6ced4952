"""Files of loggers: what pandas reads in them is read, and what is open is asked for."""

import io
import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sillward.errors import SourceError
from sillward.readings import logger_file
from sillward.readings.logger_file import Choice, LoggerFile, read_logger_file, zone_told
from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.site import Site

SITE = Site("Testyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))
MADRID = Site("Patio", 40.4, -3.7, 650.0, ZoneInfo("Europe/Madrid"))
AIR, HUMIDITY = Quantity.TEMPERATURE, Quantity.HUMIDITY
NOTHING_SAID = Choice()
UTC_ZONE = Choice(zone=UTC)
DMY = Choice(order="dmy")

Read = Callable[..., LoggerFile]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def from_file(
        content: str | bytes, choice: Choice = NOTHING_SAID, site: Site = SITE
    ) -> LoggerFile:
        path = tmp_path / "april.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_logger_file(path, site, choice)

    return from_file


@pytest.fixture
def refused(read: Read) -> Callable[..., str]:
    """What is said of a file that is refused, after its name: one line that can be shown."""

    def said(content: str | bytes, choice: Choice = NOTHING_SAID, site: Site = SITE) -> str:
        with pytest.raises(SourceError) as caught:
            read(content, choice, site)
        text = str(caught.value)
        assert text.isprintable()
        assert len(text) < 500
        return text.removeprefix("april.csv: ").removeprefix("the file ")

    return said


def only(found: LoggerFile, quantity: Quantity = AIR) -> tuple[np.ndarray, Array]:
    (series,) = [each for each in found.series if each.quantity is quantity]
    return series.times, series.values


def moments(found: LoggerFile) -> list[datetime]:
    return [datetime.fromtimestamp(second, UTC) for second in only(found)[0].tolist()]


# -- what makers of loggers write. The shapes are those of real files (heads, dates, marks); the
# values are invented.

WITH_SERIAL = (
    '\ufeff"Plot Title: pergola"\r\n'
    '"#","Date Time, GMT+02:00","Temp, °C (LGR S/N: 10737651, SEN S/N: 10737651)",'
    '"RH, % (LGR S/N: 10737651, SEN S/N: 10737651)","Coupler Attached (LGR S/N: 10737651)"\r\n'
    "1,04/18/21 12:00:00 PM,21.712,43.2,\r\n"
    "2,04/18/21 12:10:00 PM,21.9,42.8,\r\n"
    "3,04/18/21 12:20:00 PM,,,Logged\r\n"
    "4,04/18/21 12:30:00 PM,-0.3,99.5,\r\n"
)


def test_heads_with_serial_numbers_zone_and_units(read: Read) -> None:
    found = read(WITH_SERIAL, Choice(order="mdy"))

    frame = pd.read_csv(io.StringIO(WITH_SERIAL.removeprefix("\ufeff")), skiprows=1)
    frame = frame[frame.iloc[:, 2].notna()]
    times = pd.to_datetime(frame.iloc[:, 1], format="%m/%d/%y %I:%M:%S %p").dt.tz_localize("+02:00")
    for quantity, column in ((AIR, 2), (HUMIDITY, 3)):
        seconds, values = only(found, quantity)
        assert seconds.tolist() == [int(at.timestamp()) for at in times]
        np.testing.assert_array_equal(values, frame.iloc[:, column])
    assert found.serial == "10737651"


def test_no_heads_but_named_columns(read: Read) -> None:
    content = "".join(
        f"{row};2020.10.16 {row // 4:02d}:{row % 4 * 15:02d};4;{12.5 - row / 8:.4f};13.1;202;0\r\n"
        for row in range(40)
    )
    found = read(content, Choice(columns="index;time;zone;temperature (°C)", zone=UTC))

    frame = pd.read_csv(io.StringIO(content), sep=";", header=None)
    times = pd.to_datetime(frame[1], format="%Y.%m.%d %H:%M", utc=True)
    assert only(found)[0].tolist() == [int(at.timestamp()) for at in times]
    np.testing.assert_array_equal(only(found)[1], frame[3])


def test_semicolons_and_decimal_commas(read: Read) -> None:
    content = "Messung\nDatum;x\n\nDate;Time;Temperature (°C);Humidity (%rh)\n" + "".join(
        f"18.10.2018;{row:02d}:30:00;{row},{row}25;4{row % 10},5\n" for row in range(1, 24)
    )
    found = read(content, Choice(zone=SITE.zone))

    frame = pd.read_csv(io.StringIO(content), sep=";", decimal=",", skiprows=3)
    times = pd.to_datetime(frame["Date"] + " " + frame["Time"], format="%d.%m.%Y %H:%M:%S")
    times = times.dt.tz_localize("America/Argentina/Mendoza")
    assert only(found)[0].tolist() == [int(at.timestamp()) for at in times]
    np.testing.assert_array_equal(only(found)[1], frame["Temperature (°C)"])
    np.testing.assert_array_equal(only(found, HUMIDITY)[1], frame["Humidity (%rh)"])


def test_tabs_fahrenheit_and_newest_first(read: Read) -> None:
    content = "Timestamp\tTemperature (℉)\n" + "".join(
        f"2021-04-08 {hour:02d}:00:05\t{50 + hour}\n" for hour in range(23, -1, -1)
    )
    found = read(content, UTC_ZONE)

    times, values = only(found)
    assert np.all(np.diff(times) == 3600)
    np.testing.assert_allclose(values, (50 + np.arange(24) - 32) / 1.8)
    assert found.remarks == ["Temperature (℉): converted to °C"]


@pytest.mark.parametrize(
    ("written", "at"),
    [
        ("2021-04-08T05:06:07Z", datetime(2021, 4, 8, 5, 6, 7, tzinfo=UTC)),
        ("2021-04-08T05:06:07.25+0530", datetime(2021, 4, 7, 23, 36, 7, tzinfo=UTC)),
        ("2021/4/8 5:06", datetime(2021, 4, 8, 5, 6, tzinfo=UTC)),
        ("18.4.2021 5:06 PM", datetime(2021, 4, 18, 17, 6, tzinfo=UTC)),
        ("4/18/2021 12:06:09\u202fAM", datetime(2021, 4, 18, 0, 6, 9, tzinfo=UTC)),
    ],
)
def test_ways_to_write_a_time(read: Read, written: str, at: datetime) -> None:
    found = read(f"time,temperature (°C)\n{written},11.5\n", UTC_ZONE)

    assert moments(found) == [at]


@pytest.mark.parametrize(
    "heads",
    [
        "Fecha,Hora,Temperatura (°C),Humedad (%)",
        "Datum,Uhrzeit,Temperatur [°C],Luftfeuchte [%]",
        "Date,Time,Celsius(°C),Humidity(%rh)",
        "Date,Time,Temp(℃),RH%",
    ],
)
def test_heads_in_other_words(read: Read, heads: str) -> None:
    found = read(f"{heads}\n18.10.2026,10:15,21.5,40\n", UTC_ZONE)

    assert [series.quantity for series in found.series] == [AIR, HUMIDITY]
    assert moments(found) == [datetime(2026, 10, 18, 10, 15, tzinfo=UTC)]


def test_words_for_no_value_are_counted(read: Read) -> None:
    found = read(
        "created_at;temp (C)\n2026-10-18T10:15:00Z;21.5\n2026-10-18T10:16:00Z;unavailable\n"
    )

    assert only(found)[1].tolist() == [21.5]
    assert found.remarks == ['cells with "error" or the like for a value: 1']


def test_a_long_head_of_times_and_a_zone_that_is_none(
    read: Read, refused: Callable[..., str]
) -> None:
    content = (
        "Timestamp for sample frequency every 1 min,Temperature_Celsius\n2026-10-18 10:15,21\n"
    )
    assert only(read(content, UTC_ZONE))[1].tolist() == [21.0]
    assert refused("Date-Time (CET),temp (C)\n2026-10-18 10:15,21\n") == (
        'has times in "CET", which is not a known time zone: say which: --zone UTC, --zone local,'
        " or an offset such as --zone +02:00"
    )


def test_utf_16_and_windows_text(read: Read) -> None:
    content = "time (UTC);temp (°C)\n2021-04-08 05:00;11,5\n2021-04-08 06:00;12,5\n"

    for encoding in ("utf-16", "cp1252", "utf-8-sig"):
        assert only(read(content.encode(encoding)))[1].tolist() == [11.5, 12.5]


def test_unix_seconds(read: Read) -> None:
    found = read("1617858000,11.5\n", Choice(columns="time (unix),temperature (C)"))

    assert moments(found) == [datetime(2021, 4, 8, 5, tzinfo=UTC)]


def test_blocks_of_lines_are_one_series(read: Read, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same file in blocks of 7 lines and in one."""
    start = datetime(2021, 3, 1, tzinfo=UTC)
    lines = [f"{start + timedelta(minutes=row):%d.%m.%Y %H:%M},{row % 40}.5" for row in range(1500)]
    content = "time (UTC),temp (°C)\n" + "\n".join(lines) + "\n"
    whole = only(read(content, DMY))
    monkeypatch.setattr("sillward.archive.csv_cells.LINES_AT_ONCE", 7)
    monkeypatch.setattr("sillward.archive.csv_times._TIMES_AT_ONCE", 11)

    in_blocks = only(read(content, DMY))

    np.testing.assert_array_equal(whole[0], in_blocks[0])
    np.testing.assert_array_equal(whole[1], in_blocks[1])
    assert whole[0][-1] == int((start + timedelta(minutes=1499)).timestamp())


# -- what is open is asked for


@pytest.mark.parametrize(
    ("first", "said", "dmy"),
    [
        (
            "04/08/2021 12:00",
            '"04/08/2021", which may be 4 August 2021 or 8 April 2021: say which: --dates dmy or'
            " --dates mdy",
            (4, 8, 2021),
        ),
        (
            "21.04.08 12:00",
            '"21.04.08", which may be 8 April 2021 or 21 April 2008: say which: --dates ymd or'
            " --dates dmy",
            (21, 4, 2008),
        ),
        (
            "04.08.21 12:00",
            '"04.08.21", which may be 21 August 2004 or 4 August 2021 or 8 April 2021: say which:'
            " --dates ymd or --dates dmy or --dates mdy",
            (4, 8, 2021),
        ),
    ],
)
def test_an_open_order_of_the_date_shows_all_readings(
    read: Read, refused: Callable[..., str], first: str, said: str, dmy: tuple[int, int, int]
) -> None:
    content = f"time (UTC),temp (°C)\n{first},11.5\n"

    assert refused(content) == f"has dates such as {said}"
    (at,) = moments(read(content, DMY))
    assert (at.day, at.month, at.year) == dmy


def test_an_order_that_is_clear_needs_no_word(read: Read) -> None:
    assert moments(read("time (UTC),temp (°C)\n31.12.21 12:00,11.5\n31.12.31 12:00,1\n"
                        "01.01.01 00:00,3\n", Choice(order="dmy")))[0].year == 2001  # fmt: skip
    same = read("time (UTC),temp (°C)\n04/04/2021 12:00,11.5\n")
    assert moments(same) == [datetime(2021, 4, 4, 12, tzinfo=UTC)]


def test_a_zone_that_nobody_has_said_is_asked_for(refused: Callable[..., str]) -> None:
    assert refused("time,temp (°C)\n2021-04-08 12:00,11.5\n") == (
        'does not say its zone: "2021-04-08 12:00" may be by the clocks of'
        " America/Argentina/Mendoza, or UTC, when these showed 2021-04-08 09:00: say which: --zone"
        " UTC, --zone local, or an offset such as --zone +02:00"
    )


def test_a_unit_that_nobody_has_said_is_asked_for(read: Read, refused: Callable[..., str]) -> None:
    content = "time (UTC),temp,humidity\n2021-04-08 12:00,41.5,0.6\n"

    assert refused(content, Choice(quantity=AIR)) == (
        'does not say the unit of "temp": its highest value may be 41.5 °C or 41.5 °F; say which:'
        " --unit C or --unit F"
    )
    assert "60 % or" not in refused(content, Choice(quantity=HUMIDITY))
    found = read(content, Choice(quantity=AIR, unit="f"))
    np.testing.assert_allclose(only(found)[1], (41.5 - 32) / 1.8)
    found = read(content, Choice(quantity=HUMIDITY, unit="share"))
    np.testing.assert_allclose(only(found, HUMIDITY)[1], 60.0)


def test_of_two_columns_one_is_chosen(read: Read, refused: Callable[..., str]) -> None:
    content = (
        "time (UTC),Ch: 1 - Temperature (°C),Ch: 2 - Temperature (°C)\n2021-04-08 12:00,11,12\n"
    )

    assert refused(content) == (
        'has more than one column of temperature: "Ch: 1 - Temperature (°C)", "Ch: 2 - Temperature'
        ' (°C)"; say which: --column and a part of its head'
    )
    assert only(read(content, Choice(column="ch: 2")))[1].tolist() == [12.0]
    assert refused(content, Choice(column="ch: 3")) == (
        'has no column "ch: 3"; besides the time it has "Ch: 1 - Temperature (°C)", "Ch: 2 -'
        ' Temperature (°C)"'
    )


def test_a_temperature_of_another_name_is_not_passed_over(
    read: Read, refused: Callable[..., str]
) -> None:
    content = "time (UTC),Temp inside (°C),Temp outside (°C),RH\n2021-04-08 12:00,11,12,60\n"

    for choice in (NOTHING_SAID, Choice(quantity=AIR)):
        text = refused(content, choice)
        assert text.startswith(
            'may have a temperature in "Temp inside (°C)", "Temp outside (°C)": say which is to be'
            " read, --column and a part of its head"
        )
    assert only(read(content, Choice(column="outside")))[1].tolist() == [12.0]
    (series,) = read(content, Choice(quantity=HUMIDITY)).series
    assert series.values.tolist() == [60.0]


def test_the_unit_that_the_grower_says_counts_before_the_head(read: Read) -> None:
    content = "time (UTC),temp (°C)\n2021-04-08 12:00,50\n"

    found = read(content, Choice(unit="f"))
    assert only(found)[1].tolist() == pytest.approx([10.0])
    assert "read in the unit that you said" in found.remarks[0]
    assert read(content, Choice(unit="c")).remarks == []
    assert only(read(content, Choice(unit="%")))[1].tolist() == [50.0]


def test_a_share_that_is_slightly_above_one_is_still_asked_for(
    refused: Callable[..., str],
) -> None:
    content = "time (UTC),humidity\n2021-04-08 12:00,0.6\n2021-04-08 13:00,1.02\n"
    assert "--unit % or --unit share" in refused(content)


def test_a_column_of_any_name_is_read_if_it_is_named(read: Read) -> None:
    content = "time (UTC),Luft [°C],x\n2021-04-08 12:00,11,3\n"

    assert only(read(content, Choice(column="luft")))[1].tolist() == [11.0]
    assert only(read(content, Choice(column="x", quantity=HUMIDITY, unit="%")), HUMIDITY)[
        1
    ].tolist() == [3.0]


def test_a_decimal_comma_that_splits_a_cell_is_seen(refused: Callable[..., str]) -> None:
    said = refused("time (UTC),temp (°C)\n2021-04-08 12:00,11,5\n")

    assert said.startswith("has 3 cells in line 2, under 2 heads: is a decimal comma")


def test_three_decimals_are_no_thousands(read: Read) -> None:
    found = read("time (UTC);temp (°C)\n2021-04-08 12:00;11,500\n")

    assert only(found)[1].tolist() == [11.5]


# -- clocks that are changed


def local_minutes(first: datetime, count: int, every_min: int = 10) -> str:
    """A file with the times that clocks of Madrid showed, from a moment on."""
    rows = [
        f"{(first + timedelta(minutes=every_min * row)).astimezone(MADRID.zone):%Y-%m-%d %H:%M}"
        for row in range(count)
    ]
    return "time (local),temp (°C)\n" + "".join(f"{row},11\n" for row in rows)


@pytest.mark.parametrize("every_min", [10, 60])
def test_an_hour_shown_twice_is_read_twice(read: Read, every_min: int) -> None:
    first = datetime(2021, 10, 30, 20, tzinfo=UTC)
    found = read(local_minutes(first, 60, every_min), site=MADRID)

    assert moments(found) == [first + timedelta(minutes=every_min * row) for row in range(60)]


def test_an_hour_that_clocks_skip_asks_for_an_offset(refused: Callable[..., str]) -> None:
    rows = "".join(f"2021-03-28 {hour:02d}:00,11\n" for hour in range(6))

    assert refused("time (local),temp (°C)\n" + rows, site=MADRID) == (
        "has 2021-03-28 02:00, which clocks of Europe/Madrid skip: is it standard time all year?"
        " Then give its offset, such as --zone +01:00"
    )


def test_zones_as_growers_name_them() -> None:
    assert zone_told("local", SITE) is SITE.zone
    assert zone_told("utc", SITE) is UTC
    assert zone_told("+02:00", SITE) == timezone(timedelta(hours=2))
    assert zone_told("Europe/Madrid", SITE) == MADRID.zone
    for text in ("", "CET?", "../../etc/passwd", "Mars/Base", "+99:00", "a/" * 200):
        assert zone_told(text, SITE) is None


# -- files that mean ill


def test_what_is_no_file_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name, said in (("pipe", "it is a pipe"), (".", "it is a folder"), ("none", "No such file")):
        with pytest.raises(SourceError, match=said):
            read_logger_file(tmp_path / name, SITE, Choice())


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf \r\n", "is empty"),
        (b"PK\x03\x04rest", "is packed or a spreadsheet"),
        (b"time (UTC),temp (C)\n2021-04-08 12:00,1\0\n", "is neither text nor"),
        (b"\xff\xfe\x00", "is neither text nor"),
        (
            b"time (UTC),temp (C)\n2021-04-08 12:00,\x1b[31m1\n",
            'has "[31m1" as "temp (C)" in line 2',
        ),
        (b"time (UTC),temp (C)\n2021-04-08 12:00\x07,1\n", "in line 2, which is not a time"),
        (b"time (UTC),temp (C)\n", "has no line of values"),
        (b"time (UTC),temp (C)\n2021-04-08 12:00,\n", "has no reading"),
        (b"time (UTC),temp (C)\n2021-04-08 12:00," + b"1" * 200_000 + b"\n", "cannot be read"),
        (b"time (UTC),temp (C)\n2021-04-08 12:00\n", "has 1 cells in line 2, 2 are needed"),
        (b"time (UTC),temp (furlong)\n2021-04-08 12:00,1\n", "in an unknown unit"),
        (b"time (UTC),temp (C)\n2021-02-30 12:00,1\n", "which is not a time"),
        (b"time (UTC),temp (C)\n1921-02-03 12:00,1\n", "before 1940"),
        (b"a,b\n" * 50, "has no line with heads"),
        (b"x" * 1_000_000, "has no line with heads"),
    ],
    ids=lambda part: str(part)[:20],
)
def test_a_broken_file_is_refused_in_a_line(
    refused: Callable[..., str], content: bytes, said: str
) -> None:
    assert said in refused(content)


def test_a_million_columns_are_no_heads(refused: Callable[..., str]) -> None:
    assert "has no line with heads" in refused(b"time,temp," * 100_000 + b"\n1,2\n")


@pytest.mark.parametrize("part", [" ", "ch ", ".", "(", "S/N", "temp ", "°", "\u0130"])
def test_heads_of_any_length_take_no_time(refused: Callable[..., str], part: str) -> None:
    head = part * (100_000 // len(part))

    assert "has no line with heads" in refused(f"time (UTC),ch{head}x\n1,2\n")
    assert "is to have the columns" in refused("1,2\n", Choice(columns=f"time,{head}"))


def test_huge_numbers_are_read_as_such(read: Read) -> None:
    found = read(
        "time (UTC),temp (C)\n2021-04-08 12:00,1e308\n2021-04-08 13:00," + "9" * 320 + "\n"
    )

    assert only(found)[1].tolist() == [1e308, np.inf]


def test_a_file_that_is_too_large_is_refused(
    refused: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logger_file, "MAX_BYTES", 20_000)

    assert "larger than 20 kB: give it in parts" in refused(b"x" * 20_001)


CELLS = st.sampled_from(
    ["11.5", "11,5", "", "-", "2021-04-08 12:00", "04/08/21 1:00 PM", '"', "\0", "\x1b[2J", "1e308",
     "nan", "°C", "time (UTC)", "temp (°C)", "RH, %", "4" * 30, "\u202e", "٣", "1_0"]
)  # fmt: skip


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.lists(CELLS, max_size=5), max_size=8),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(
        [Choice(), Choice(zone=UTC, order="dmy", unit="c"), Choice(columns="time;temp")]
    ),
    st.binary(max_size=3),
)
def test_whatever_a_file_holds_it_is_read_or_refused(
    tmp_path: Path, rows: list[list[str]], mark: str, choice: Choice, ending: bytes
) -> None:
    path = tmp_path / "any"
    text = "\n".join([f"time (UTC){mark}temp (°C)", *(mark.join(row) for row in rows)])
    path.write_bytes(text.encode() + ending)
    said, found = "", None
    try:
        found = read_logger_file(path, SITE, choice)
    except SourceError as error:
        said = str(error)
    assert said.isprintable()
    assert len(said) < 500
    for series in found.series if found is not None else ():
        assert series.times.size == series.values.size > 0
        assert np.all(np.diff(series.times) >= 0)
        assert not np.isnan(series.values).any()
