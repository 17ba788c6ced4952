"""What a daemon and its desks tell each other: a request to stop, and that work gets done."""

from sillward.service.run_control import RunControl


def test_a_run_is_idle_since_its_last_finished_step() -> None:
    run = RunControl()
    run.advance(5.0)
    assert run.idle_s == 5.0

    run.step_done()
    run.advance(2.0)

    assert run.watched_s == 7.0
    assert run.idle_s == 2.0


def test_a_run_goes_on_until_it_is_asked_to_stop() -> None:
    run = RunControl()
    assert not run.stop_requested

    run.request_stop()

    assert run.stop_requested
