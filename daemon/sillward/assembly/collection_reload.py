"""An edited collection is taken over while the daemon runs; a wrong one is refused as a whole.

Refused means: the one from before stays in force, and the log, `status` and, once, the channels for
alarms say so. What counts is the file, and the folder of wording that it names; while an editor is
still writing, they wait for the next look. A reload that was asked for (SIGHUP) reads everything
again, including files with the URLs of channels.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from sillward.assembly import kept_collection
from sillward.assembly.app import App
from sillward.assembly.desk_setup import require_channels
from sillward.channels.sender import Problems
from sillward.config.household import Household
from sillward.errors import ConfigError, LedgerError, one_line
from sillward.ledger import Alarm
from sillward.service import accepted_limits
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.service.health import IN_FORCE_MARK, REFUSED_MARK, digest_of
from sillward.wording import alarms

SETTLED = timedelta(seconds=2)
"""A file that was written less than this ago may be half written: the next look takes it.
Judgement: editors write in milliseconds, copies over a network in a second."""

MAX_ERRORS = 3
"""Errors that are told of a collection that is refused; `sillward check` shows all."""

MAX_LINE_CHARACTERS = 160
"""Of an error that is told. Judgement: half a push."""

log = logging.getLogger(__name__)

FileStamp = tuple[str, int, int, int]
"""Name, inode, size and time of change [ns] of a file."""

Stamp = tuple[FileStamp, ...]
"""The stamps of the files that the collection consists of."""

LedgerWrite = Callable[[], None]


@dataclass(slots=True)
class CollectionReloader:
    """Looks whether the collection of one desk was edited, and takes it over.

    others: returns the names of the sites of the daemon's other desks.
    """

    app: App
    desk: Desk
    problems: Problems
    others: Callable[[], Sequence[str]] = lambda: ()
    _seen: Stamp | None = None
    """The files as they were last read; None if they may have changed since the start."""
    _refused: tuple[str, ...] = ()
    """What is wrong with the collection as it was last read."""
    _unwritten: list[LedgerWrite] = field(default_factory=list)
    """What the ledger did not take; it is tried again at the next look."""

    @property
    def _context(self) -> ServiceContext:
        return self.desk.context

    def look(self, *, asked: bool = False) -> None:
        """Take the collection over if it has changed. asked: read it in any case."""
        self._write(*self._unwritten)
        stamp = self._stamp()
        # While it is refused what is wrong may lie in files that only the edited one names.
        if not asked and not self._refused and stamp == self._seen:
            return
        if not asked and _is_still_written(stamp, self._context.clock()):
            return
        self._seen = stamp
        try:
            household = self._read()
        except ConfigError as error:
            lines = tuple(one_line(line, MAX_LINE_CHARACTERS) for line in error.lines)
            self._refuse(lines, error.count)
        else:
            self._take_over(household, asked=asked)

    def _read(self) -> Household:
        """Read the collection. Raise ConfigError if it cannot be taken over."""
        household = self.app.read_household()
        require_channels(replace(self.app, household=household), self.problems)
        name = household.collection.site.name
        if name in self.others():
            msg = f"{self.app.path.name}: site.name: another collection is for this site ({name})"
            raise ConfigError([msg])
        return household

    def _take_over(self, household: Household, *, asked: bool) -> None:
        # The mark has the name of the site, which may be about to change.
        refused_mark = self._mark(REFUSED_MARK)
        given = accepted_limits.as_given(self._context.household)
        if household == given and not asked:  # a first look, or a comment
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
        self._write_in_force(refused_mark)

    def _refuse(self, lines: tuple[str, ...], count: int) -> None:
        if lines == self._refused:
            return
        self._refused = lines
        for line in lines[:MAX_ERRORS]:
            log.error("collection.refused %s", line)
        log.error("collection.refused errors=%d: the one from before stays in force", count)
        self._write(partial(self._tell_refused, lines, self._context.clock()))

    # -- in the ledger, for the channels and for `status`

    def _tell_refused(self, lines: Sequence[str], now: datetime) -> None:
        """Enqueue the alarm, then set the mark by which it is known to have been told."""
        context, mark = self._context, self._mark(REFUSED_MARK)
        more = f" (and {len(lines) - MAX_ERRORS} more)" if len(lines) > MAX_ERRORS else ""
        known = context.ledger.marks.get(mark)
        since = now if known is None else known.at
        if known is None:
            in_force = context.ledger.kept_collections.since(context.site.name)
            words = alarms.collection_refused(lines, in_force, context.voice)
            self.desk.alarms.tell_at_once(Alarm.COLLECTION_REFUSED, since, words)
        context.ledger.marks.set(mark, since, "; ".join(lines[:MAX_ERRORS]) + more)

    def _tell_no_longer_refused(self, mark: str, now: datetime) -> None:
        """Enqueue the end of the alarm, if it has been told, and remove its mark."""
        context = self._context
        if context.ledger.marks.get(mark) is not None:
            words = alarms.collection_in_force(context.voice)
            self.desk.alarms.tell_at_once(Alarm.COLLECTION_IN_FORCE, now, words)
            context.ledger.marks.remove(mark)

    def _write_in_force(self, refused_mark: str) -> None:
        """Write which collection is in force, for `status` in another process.

        refused_mark: the mark of one that was wrong, maybe under a name that the site had then.
        """
        now, digest = self._context.clock(), digest_of(self.app.path)
        writes: list[LedgerWrite] = [partial(self._tell_no_longer_refused, refused_mark, now)]
        if digest is not None:
            marks = self._context.ledger.marks
            writes.append(partial(marks.set, self._mark(IN_FORCE_MARK), now, digest))
        if self._stamp() == self._seen:  # still the file that was read
            name = self._context.site.name
            keep = kept_collection.keep
            writes.append(partial(keep, self._context.ledger, name, self.app.path, now))
        self._write(*writes)

    def _mark(self, name: str) -> str:
        return f"{name}, {self._context.site.name}"

    def _write(self, *writes: LedgerWrite) -> None:
        """Write to the ledger; what it does not take replaces what was kept for the next look.

        A ledger that cannot be written is no reason to keep an old collection in force.
        """
        self._unwritten = []
        for write in writes:
            try:
                write()
            except LedgerError as error:
                log.error("ledger.failed reason=%s", error)
                self._unwritten.append(write)

    # -- the files

    def _stamp(self) -> Stamp:
        """Return what distinguishes one state of the files from another."""
        path, folder = self.app.path, self._context.household.wording.folder
        files = [path] if folder is None else [path, *_files_in(folder)]
        return tuple(stamp for stamp in map(_stamp_of, files) if stamp is not None)


def _stamp_of(path: Path) -> FileStamp | None:
    """Return the stamp of a file, or None if it is not there."""
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


def _is_still_written(stamp: Stamp, now: datetime) -> bool:
    """Whether one of the files was written a moment ago, by a clock that may have been set."""
    newest = max((changed for *_, changed in stamp), default=0) / 1e9
    return timedelta(0) <= timedelta(seconds=now.timestamp() - newest) < SETTLED
