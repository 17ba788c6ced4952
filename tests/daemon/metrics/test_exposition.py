"""Metrics as a scraper reads them, by the parser of the client library itself."""

import io
from wsgiref.util import setup_testing_defaults

from prometheus_client.parser import text_string_to_metric_families

from sillward.metrics.exposition import application
from sillward.service.tally import Tally


def scraped(tally: Tally) -> dict[tuple[str, tuple[str, ...]], float]:
    """Every sample of ours, by its name and the values of its labels."""
    environ: dict[str, object] = {}
    setup_testing_defaults(environ)
    environ["PATH_INFO"] = "/metrics"
    status: list[str] = []
    body = b"".join(application(tally)(environ, lambda code, _headers: status.append(code)))
    assert status == ["200 OK"]
    families = text_string_to_metric_families(io.StringIO(body.decode()).read())
    return {
        (sample.name, tuple(sample.labels.values())): sample.value
        for family in families
        for sample in family.samples
        if sample.name.startswith("sillward_")
    }


def test_what_was_counted_is_read() -> None:
    tally = Tally(households=3, in_trouble=1)
    tally.rounds_due["dusk"] += 3
    tally.round_told("dusk", 20.0)
    tally.round_told("dusk", 700.0)
    tally.rounds_failed["week"] += 1
    tally.notices["sent"] += 5
    tally.provider_calls["open-meteo", "failed"] += 2
    found = scraped(tally)
    assert found["sillward_rounds_due_total", ("dusk",)] == 3
    assert found["sillward_rounds_told_total", ("dusk",)] == 2
    assert found["sillward_rounds_late_total", ("dusk",)] == 1
    assert found["sillward_rounds_failed_total", ("week",)] == 1
    assert found["sillward_notices_total", ("sent",)] == 5
    assert found["sillward_provider_requests_total", ("failed", "open-meteo")] == 2
    assert found["sillward_households", ()] == 3
    assert found["sillward_households_in_trouble", ()] == 1


def test_buckets_count_all_values_up_to_their_bound() -> None:
    tally = Tally()
    for seconds in (0.0005, 0.01, 0.02, 500.0):
        tally.work_s.add(seconds)
    found = scraped(tally)
    assert found["sillward_household_seconds_bucket", ("0.001",)] == 1
    assert found["sillward_household_seconds_bucket", ("0.01",)] == 2
    assert found["sillward_household_seconds_bucket", ("0.03",)] == 3
    assert found["sillward_household_seconds_bucket", ("60.0",)] == 3
    assert found["sillward_household_seconds_bucket", ("+Inf",)] == 4
    assert found["sillward_household_seconds_count", ()] == 4
    assert found["sillward_household_seconds_sum", ()] == 500.0305


def test_a_run_in_which_nothing_happened_says_so() -> None:
    found = scraped(Tally())
    assert found["sillward_household_seconds_count", ()] == 0
    assert not [name for name, _ in found if name == "sillward_rounds_told_total"]
