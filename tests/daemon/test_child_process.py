"""A child of ours: one protocol for all, and a reason whenever there is no reply."""

import os
import sys
from contextlib import closing
from pathlib import Path

import pytest

from sillward.child_process import ChildError, ChildProcess, Failure

ECHO = """
from sillward.child_process import serve
def answer(request):
    print("a library that talks")
    return {"told": request["say"], "environment": [k for k in __import__("os").environ]}
serve(answer)
"""


def child(text: str, limit_s: float = 10.0, max_reply_bytes: int = 100_000) -> ChildProcess:
    return ChildProcess((sys.executable, "-c", text), limit_s, max_reply_bytes)


def failure_of(text: str, limit_s: float = 10.0) -> ChildError:
    with closing(child(text, limit_s)) as asked, pytest.raises(ChildError) as caught:
        asked.ask({"say": "x" * 200_000})  # more than a pipe holds
    assert asked.pid is None
    return caught.value


def test_one_child_answers_all_requests_until_it_is_let_go() -> None:
    with closing(child(ECHO)) as asked:
        assert asked.pid is None
        assert asked.ask({"say": "23 °C\n蘭"})["told"] == "23 °C\n蘭"
        first = asked.pid
        assert asked.ask({"say": 2})["told"] == 2
        assert asked.pid == first
        asked.close()
        assert asked.pid is None
        assert asked.ask({"say": 3})["told"] == 3
        assert asked.pid != first


@pytest.mark.skipif(not Path("/proc/self/oom_score_adj").exists(), reason="Linux alone has it")
def test_if_memory_runs_out_the_child_goes_first() -> None:
    with closing(child(ECHO)) as asked:
        asked.ask({"say": ""})
        said = Path(f"/proc/{asked.pid}/oom_score_adj").read_text(encoding="ascii")

    assert int(said) == 1000


def test_a_child_does_not_see_the_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", "ntfy://s3cret")
    monkeypatch.setenv("LC_TRIAL", "kept")

    with closing(child(ECHO)) as asked:
        seen = asked.ask({"say": 1})["environment"]

    assert "LC_TRIAL" in seen
    assert "SILLWARD_CHANNELS__PHONE" not in seen


@pytest.mark.parametrize(
    ("does", "heard", "status", "complaint"),
    [
        ("import sys; sys.exit(7)", False, 7, ""),
        ("import os; os.abort()", False, -6, ""),
        ("input(); raise ValueError('no')", True, 1, "ValueError: no"),
        ("input(); print('no json')", True, 0, ""),
        ("input(); print([1])", True, 0, ""),
        ("input(); print('{', end='')", True, 0, ""),
    ],
)
def test_a_child_that_ends_without_a_reply_leaves_its_reason(
    does: str, heard: bool, status: int, complaint: str
) -> None:
    error = failure_of(does)

    assert error.failure is Failure.ENDED
    assert (error.heard, error.status, error.complaint) == (heard, status, complaint)


@pytest.mark.parametrize(
    ("does", "heard"),
    [
        ("import time; time.sleep(600)", False),
        ("input(); import time; time.sleep(600)", True),
        ("import os, time; input(); os.close(1); os.close(2); time.sleep(600)", True),
        ("import sys; input()\nwhile True: sys.stderr.write('x' * 10_000)", True),
    ],
)
def test_a_child_that_hangs_is_ended_in_time(does: str, heard: bool) -> None:
    error = failure_of(does, limit_s=0.5)

    assert (error.failure, error.heard) == (Failure.TIMED_OUT, heard)


def test_a_child_that_says_too_much_is_ended() -> None:
    error = failure_of("import sys; input()\nwhile True: sys.stdout.write('x' * 10_000)")

    assert (error.failure, error.heard) == (Failure.TOO_LARGE, True)


def test_a_child_that_cannot_be_started_is_an_error_of_the_system(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No such file"):
        ChildProcess((str(tmp_path / "nothing here"),), 1.0).ask({})


def test_nothing_of_a_child_is_left_open() -> None:
    folder = Path("/proc/self/fd")
    if not folder.exists():
        pytest.skip("no /proc here")
    before = len(os.listdir(folder))

    failure_of("import sys; sys.exit(7)")
    failure_of("import time; time.sleep(600)", limit_s=0.1)

    assert len(os.listdir(folder)) == before
