"""Turns claimed a second, by the size of a batch, and claimed and ended: one worker, each commit
synced.

usage: python -m tests.bench.claims [--households N]
"""

import argparse
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta

from sillward.ledger.server_ledgers import ServerLedgers
from sillward.service.shared_turns import SharedTurns
from sillward.service.worker_clock import WorkerClock
from tests.bench.table import Row, report
from tests.support import postgres_server

BATCHES = (1, 50, 500)

NOW = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)


def main() -> None:
    """Print how many a second."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--households", type=int, default=2000)
    households = parser.parse_args().households
    rows = []
    with postgres_server.running(**postgres_server.DURABLE) as server:
        for batch in BATCHES:
            with closing(ServerLedgers(server.emptied(), lambda: NOW)) as ledgers:
                turns = SharedTurns(
                    ledgers.turns, WorkerClock(ledgers.shared(), lambda: NOW), batch=batch
                )
                turns.keep([f"court-{number:05}" for number in range(households)])
                began_s = time.perf_counter()
                names = []
                while (name := turns.next_due()) is not None:
                    names.append(name)
                claimed_s = time.perf_counter() - began_s
                for name in names:
                    turns.schedule(name, NOW + timedelta(minutes=5))
                ended_s = time.perf_counter() - began_s
                assert len(set(names)) == households
            rows.append(Row(f"batches of {batch}: claimed", households / claimed_s, "/s"))
            rows.append(Row(f"batches of {batch}: and ended", households / ended_s, "/s"))
    report("turns, each commit synced, one worker", rows)


if __name__ == "__main__":
    main()
