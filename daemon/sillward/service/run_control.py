"""What a daemon and its desks share during a run: the request to stop, and the progress of work.

Time here is *watched* time: it advances only while the main thread looks, so that it stands still
with a process that is suspended or starved.
"""

from dataclasses import dataclass, field

from sillward.service.tally import Tally


@dataclass(slots=True)
class RunControl:
    """A request to stop, which desks read, finished steps of work, which the watchdog reads, and
    the counts of what was done."""

    stop_requested: bool = field(default=False, init=False)
    """Asked between two notices: the rest is left for the next start."""
    watched_s: float = field(default=0.0, init=False)
    """How long the run has been watched [s]."""
    tally: Tally = field(default_factory=Tally, init=False)
    _last_step_s: float = field(default=0.0, init=False)

    def request_stop(self) -> None:
        """Ask the desks to come to an end."""
        self.stop_requested = True

    def step_done(self) -> None:
        """Report a finished step of work: a sign of life."""
        self._last_step_s = self.watched_s

    def advance(self, seconds: float) -> None:
        """Let this much watched time pass [s]."""
        self.watched_s += seconds

    @property
    def idle_s(self) -> float:
        """Watched time since the last finished step [s]."""
        return self.watched_s - self._last_step_s
