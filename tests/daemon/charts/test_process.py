"""The process that draws: in bounded time there is a picture, or a reason why there is none."""

import logging
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from sillward.charts import process
from sillward.charts.process import COMMAND, drawn, picture
from sillward.errors import ChartError
from tests.support.chart_examples import bench_weather, example, on_bench
from tests.support.core import plant

DATA = example("night", "cold-snap", "pergola")


def scripted(text: str) -> tuple[str, ...]:
    """Return the command of a child that runs this code instead."""
    return sys.executable, "-c", text


@pytest.fixture(autouse=True)
def _nothing_said() -> Iterator[None]:
    process._log_once.cache_clear()
    yield
    process._log_once.cache_clear()


@pytest.fixture
def _no_matplotlib(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Make every child find a matplotlib that cannot be imported."""
    fake = tmp_path / "fake"
    (fake / "matplotlib").mkdir(parents=True)
    (fake / "matplotlib" / "__init__.py").write_text("raise ImportError('none here')\n")
    path = os.pathsep.join([str(fake), *filter(None, [os.environ.get("PYTHONPATH")])])
    monkeypatch.setenv("PYTHONPATH", path)


def test_a_picture_comes_through_the_child() -> None:
    made = drawn(DATA, "png")

    assert made is not None
    assert made.startswith(b"\x89PNG\r\n\x1a\n")


def test_an_svg_comes_through_the_child() -> None:
    made = drawn(on_bench("water", bench_weather(), plant("Größe, 蘭 and <b>")), "svg")

    assert made is not None
    assert made.startswith(b"<?xml")
    assert made.rstrip().endswith(b"</svg>")


@pytest.mark.usefixtures("_no_matplotlib")
def test_without_matplotlib_there_is_no_picture_and_the_log_says_once_how_to_get_it(
    caplog: pytest.LogCaptureFixture,
) -> None:
    with caplog.at_level(logging.WARNING):
        assert drawn(DATA, "png") is None
        assert drawn(DATA, "png") is None

    (record,) = caplog.records
    assert "pip install '.[charts]'" in record.getMessage()
    assert record.exc_info is None


@pytest.mark.parametrize(
    ("does", "reason"),
    [
        ("raise ValueError('no such font')", "ValueError: no such font"),
        ("import os; os.abort()", "its process ended with -6"),
        ("print('no picture')", "its process ended with 0"),
        ("", "its process ended with 0"),
        ("import sys; sys.exit(7)", "its process ended with 7"),
        ("import os; os.close(0); raise OSError('stdin')", "OSError: stdin"),
    ],
)
def test_a_child_that_fails_gives_no_picture_and_its_reason(
    does: str, reason: str, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        assert drawn(DATA, "png", scripted(does)) is None

    (record,) = caplog.records
    assert reason in record.getMessage()


@pytest.mark.parametrize(
    "does",
    [
        "import time; time.sleep(600)",  # it does not even read
        "import sys, time; sys.stdin.read(); time.sleep(600)",
        "import sys, time; sys.stdout.close(); sys.stderr.close(); time.sleep(600)",
        "import os, sys\nwhile True: sys.stderr.write('x' * 10_000)",
    ],
)
def test_a_child_that_hangs_is_ended_in_time(does: str) -> None:
    plants = [plant(f"A plant with a long name, number {n}") for n in range(3000)]
    large = on_bench("night", bench_weather(), *plants)
    begun = time.monotonic()

    with pytest.raises(ChartError, match=r"not drawn within 0\.5 s"):
        picture(large, "png", scripted(does), limit_s=0.5)

    assert time.monotonic() - begun < 20


def test_a_child_that_writes_too_much_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(process, "MAX_CHART_BYTES", 100_000)

    with pytest.raises(ChartError, match="larger than 100,000 bytes"):
        picture(DATA, "png", scripted("import sys\nwhile True: sys.stdout.write('x' * 10_000)"))


def test_without_a_child_there_is_no_picture(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        assert drawn(DATA, "png", (str(tmp_path / "nothing here"),)) is None

    assert "No such file" in caplog.text


def test_no_child_is_left_behind(tmp_path: Path) -> None:
    note = tmp_path / "pid"
    does = f"import os, time; open({str(note)!r}, 'w').write(str(os.getpid())); time.sleep(600)"
    with pytest.raises(ChartError):
        picture(DATA, "png", scripted(does), limit_s=2)

    with pytest.raises(ProcessLookupError):
        os.kill(int(note.read_text()), 0)


def test_no_secret_reaches_the_child(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", "ntfy://s3cret")
    shown = "import os, sys; sys.exit(' '.join(k for k in os.environ if 'SILLWARD' in k) or 'none')"

    with pytest.raises(ChartError, match="cannot be drawn: none"):
        picture(DATA, "png", scripted(shown))


def test_the_daemon_does_not_load_matplotlib() -> None:
    asks = "import sys, sillward.cli.run; sys.exit('matplotlib' in sys.modules)"

    with pytest.raises(ChartError, match="its process ended with 0"):
        picture(DATA, "png", scripted(asks))
    assert COMMAND[1:] == ("-m", "sillward.charts")
