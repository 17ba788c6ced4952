"""The counts of a run as Prometheus metrics, and the application that serves them."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeVar

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily
from prometheus_client.exposition import make_wsgi_app
from prometheus_client.registry import Collector

from sillward.service.tally import Distribution, Tally

Labels = TypeVar("Labels", bound=tuple[str, ...])
Metric = CounterMetricFamily | GaugeMetricFamily | HistogramMetricFamily


class TallyCollector(Collector):
    """Reads a tally anew whenever it is asked."""

    def __init__(self, tally: Tally) -> None:
        self._tally = tally

    def collect(self) -> Iterator[Metric]:
        """Yield every metric with its present values."""
        tally = self._tally
        for name, counts, meaning in (
            ("due", tally.rounds_due, "Rounds that came due."),
            ("told", tally.rounds_told, "Rounds whose notices were written down to be sent."),
            ("late", tally.rounds_late, "Rounds told more than ten minutes after they were due."),
            ("failed", tally.rounds_failed, "Rounds that could not be worked out."),
        ):
            yield _counter(f"sillward_rounds_{name}", meaning, ["round"], _by_one(counts))
        yield _counter(
            "sillward_notices",
            "Attempts to send a notice, and notices given up as too late.",
            ["outcome"],
            _by_one(tally.notices),
        )
        yield _counter(
            "sillward_provider_requests",
            "Requests to providers of forecasts.",
            ["provider", "outcome"],
            tally.provider_calls.copy(),
        )
        yield _histogram(
            "sillward_round_lateness_seconds",
            "From the time a round was due to that at which it was told.",
            tally.lateness_s,
        )
        yield _histogram(
            "sillward_household_seconds", "How long one turn of one household took.", tally.work_s
        )
        yield GaugeMetricFamily(
            "sillward_households", "Households looked after.", value=tally.households
        )
        yield GaugeMetricFamily(
            "sillward_households_in_trouble",
            "Households with which something is wrong at present.",
            value=tally.in_trouble,
        )


def application(tally: Tally) -> Callable[..., Any]:
    """Return the WSGI application that answers with the metrics of a tally and of the process."""
    registry = CollectorRegistry()
    registry.register(TallyCollector(tally))
    ProcessCollector(registry=registry)
    return make_wsgi_app(registry)


def _by_one(counts: Counter[str]) -> dict[tuple[str, ...], int]:
    """Return counts by the value of their only label, copied at once: another thread counts on."""
    return {(name,): count for name, count in counts.copy().items()}


def _counter(
    name: str, meaning: str, labels: list[str], counts: Mapping[Labels, int]
) -> CounterMetricFamily:
    family = CounterMetricFamily(name, meaning, labels=labels)
    for values, count in sorted(counts.items()):
        family.add_metric(values, count)
    return family


def _histogram(name: str, meaning: str, found: Distribution) -> HistogramMetricFamily:
    """Return a histogram; its buckets count all values up to their bounds."""
    buckets, below = list[tuple[str, float]](), 0
    for bound, count in zip((*map(str, found.bounds), "+Inf"), found.counts, strict=True):
        below += count
        buckets.append((bound, below))
    return HistogramMetricFamily(name, meaning, buckets=buckets, sum_value=found.sum)
