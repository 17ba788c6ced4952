"""A defect in one step: it is logged and holds up nothing else, unless it is the ledger's."""

import logging

import pytest

from sillward.errors import LedgerError
from sillward.service.defects import Defects, contained


def risky(error: BaseException | None) -> str:
    with contained("step.failed", "key=7"):
        if error is not None:
            raise error
        return "done"
    return "left out"


def test_what_goes_well_is_as_if_nothing_were_there(caplog: pytest.LogCaptureFixture) -> None:
    assert risky(None) == "done"
    assert not caplog.records


def test_a_defect_is_logged_with_its_trace_and_the_rest_goes_on(
    caplog: pytest.LogCaptureFixture,
) -> None:
    with caplog.at_level(logging.ERROR):
        assert risky(ValueError("a defect")) == "left out"

    (record,) = caplog.records
    assert record.getMessage() == "step.failed key=7"
    assert "a defect" in caplog.text
    assert "in risky" in caplog.text


@pytest.mark.parametrize("error", [LedgerError("no disk"), KeyboardInterrupt(), SystemExit(1)])
def test_what_the_ledger_says_and_what_ends_the_process_is_raised(
    error: BaseException, caplog: pytest.LogCaptureFixture
) -> None:
    with pytest.raises(type(error)):
        risky(error)

    assert not caplog.records


def attempted(error: BaseException | None) -> str:
    def action() -> str:
        if error is not None:
            raise error
        return "done"

    return contained("step.failed").attempt(action, otherwise=lambda: "the next best")


def test_an_attempt_returns_its_result_or_the_next_best(
    caplog: pytest.LogCaptureFixture,
) -> None:
    assert attempted(None) == "done"
    assert not caplog.records

    assert attempted(ValueError("a defect")) == "the next best"
    assert [record.getMessage() for record in caplog.records] == ["step.failed"]


@pytest.mark.parametrize("error", [LedgerError("no disk"), KeyboardInterrupt()])
def test_an_attempt_contains_neither_the_ledger_nor_the_end_of_the_process(
    error: BaseException,
) -> None:
    with pytest.raises(type(error)):
        attempted(error)


def test_the_defects_of_a_tick_are_remembered_until_the_next() -> None:
    defects = Defects()
    for event in ("alarm.failed", "change.failed"):
        with defects.contained(event):
            raise ValueError

    assert defects.events == ["alarm.failed", "change.failed"]

    defects.clear()
    assert defects.events == []
