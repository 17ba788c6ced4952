"""An edited collection is taken over while the daemon runs; a wrong one is refused as a whole.

Refused means: the one from before stays in force, and the log, `status` and, once, the channels for
alarms say so. The file counts, and the folder of wording that it names; while an editor is still
writing, it waits for the next look. A reload that was asked for (SIGHUP) reads everything anew,
files with the URLs of channels included.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from sillward.assembly.app import App
from sillward.assembly.desks import require_channels
from sillward.channels.apprise_sender import Problems
from sillward.config.household import Household
from sillward.errors import ConfigError, LedgerError, one_line
from sillward.service.desk import Desk
from sillward.service.health import IN_FORCE_MARK, REFUSED_MARK, digest_of
from sillward.wording import alarms

SETTLED = timedelta(seconds=2)
"""A file that was written less than this ago may be half written: the next look takes it.
Judgement: editors write in milliseconds, copies over a network in a second."""

ERRORS_KEPT = 3
"""Errors that are told of a collection that is refused; `sillward check` shows all."""

LINE_CHARACTERS = 160
"""Of an error that is told. Judgement: half a push."""

log = logging.getLogger(__name__)

Stamp = tuple[tuple[str, int, int, int], ...]
"""Name, inode, size and time of change [ns] of each file that the collection consists of."""


@dataclass(slots=True)
class CollectionReloader:
    """Looks whether the collection of one desk was edited, and takes it over.

    others: names of the sites of the daemon's other desks.
    """

    app: App
    desk: Desk
    problems: Problems
    others: Callable[[], Sequence[str]] = lambda: ()
    _seen: Stamp | None = None
    """The files as they were read last; None: they may have changed since the daemon read them."""
    _refused: tuple[str, ...] = ()
    """What is wrong with the collection as it was read last."""
    _unwritten: list[Callable[[], None]] = field(default_factory=list)
    """What the ledger did not take: it is tried again at the next look."""

    def look(self, *, asked: bool = False) -> None:
        """Take the collection over if it has changed. asked: read it in any case."""
        self._write(*self._unwritten)
        stamp = self._stamp()
        # While it is refused what is wrong may lie in files that only the edited one names.
        if not asked and not self._refused and stamp == self._seen:
            return
        if not asked and _still_written(stamp, self.desk.context.clock()):
            return
        self._seen = stamp
        try:
            household = self._read()
        except ConfigError as error:
            lines = tuple(one_line(line, LINE_CHARACTERS) for line in error.lines)
            self._refuse(lines, error.count)
        else:
            self._take_over(household, asked=asked)

    def _read(self) -> Household:
        household = self.app.read_household()
        require_channels(replace(self.app, household=household), self.problems)
        name = household.collection.site.name
        if name in self.others():
            msg = f"{self.app.path.name}: site.name: another collection is for this site ({name})"
            raise ConfigError([msg])
        return household

    def _take_over(self, household: Household, *, asked: bool) -> None:
        before, refused = self.desk.context.household, self._mark(REFUSED_MARK)
        if household == before and not asked:  # the first look, or a comment was edited
            log.info("collection.unchanged file=%s", self.app.path.name)
        else:
            self.desk.take_over(household)
            log.warning(
                "collection.taken_over file=%s plants=%d spots=%d channels=%d",
                self.app.path.name,
                len(household.collection.plants),
                len(household.collection.spots),
                len(household.channels),
            )
        self._refused = ()
        self._in_force(refused)

    def _refuse(self, lines: tuple[str, ...], count: int) -> None:
        if lines == self._refused:
            return
        self._refused = lines
        for line in lines[:ERRORS_KEPT]:
            log.error("collection.refused %s", line)
        log.error("collection.refused errors=%d: the one from before stays in force", count)
        self._write(partial(self._tell_refused, lines, self.desk.context.clock()))

    def _tell_refused(self, lines: Sequence[str], now: datetime) -> None:
        """Put the alarm down, then the mark: by that it is known to have been told."""
        desk = self.desk
        more = f" (and {len(lines) - ERRORS_KEPT} more)" if len(lines) > ERRORS_KEPT else ""
        known = desk.context.ledger.marks.get(self._mark(REFUSED_MARK))
        since = now if known is None else known.at
        if known is None:
            words = alarms.collection_refused(lines, desk.context.voice)
            desk.alarms.tell_at_once(f"collection refused {since:%H:%M:%S}", words)
        text = "; ".join(lines[:ERRORS_KEPT]) + more
        desk.context.ledger.marks.set(self._mark(REFUSED_MARK), since, text)

    def _no_longer_refused(self, mark: str, now: datetime) -> None:
        desk = self.desk
        if desk.context.ledger.marks.get(mark) is not None:
            words = alarms.collection_in_force(desk.context.voice)
            desk.alarms.tell_at_once(f"collection in force {now:%H:%M:%S}", words)
            desk.context.ledger.marks.remove(mark)

    def _in_force(self, refused: str) -> None:
        """Write down which collection one goes by, for `status` in another process.

        refused: the mark of one that was wrong, maybe under the name that the site had then.
        """
        now, digest = self.desk.context.clock(), digest_of(self.app.path)
        writes = [partial(self._no_longer_refused, refused, now)]
        if digest is not None:
            writes.append(
                partial(self.desk.context.ledger.marks.set, self._mark(IN_FORCE_MARK), now, digest)
            )
        self._write(*writes)

    def _mark(self, name: str) -> str:
        return f"{name}, {self.desk.context.site.name}"

    def _write(self, *writes: Callable[[], None]) -> None:
        """A ledger that cannot be written is no reason to go by an old collection; what it did not
        take is kept, in the place of what was kept before."""
        self._unwritten = []
        for write in writes:
            try:
                write()
            except LedgerError as error:
                log.error("ledger.failed reason=%s", error)
                self._unwritten.append(write)

    def _stamp(self) -> Stamp:
        """What tells one state of the files from another; a file that is not there has none."""
        path, folder = self.app.path, self.desk.context.household.wording.folder
        files = [path] if folder is None else [path, *_files_in(folder)]
        return tuple(one for one in map(_stamp_of, files) if one is not None)


def _stamp_of(path: Path) -> tuple[str, int, int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return path.name, found.st_ino, found.st_size, found.st_mtime_ns


def _files_in(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []


def _still_written(stamp: Stamp, now: datetime) -> bool:
    """Whether one of the files was written a moment ago, by a clock that may have been set."""
    newest = max((changed for *_, changed in stamp), default=0) / 1e9
    return timedelta(0) <= timedelta(seconds=now.timestamp() - newest) < SETTLED
