"""The household of a command with the limits that its grower has accepted."""

import logging
from contextlib import closing

from sillward.assembly.app import App
from sillward.config.household import Household
from sillward.errors import LedgerError
from sillward.service import accepted_limits

log = logging.getLogger(__name__)


def with_accepted_limits(app: App, household: Household | None = None) -> Household:
    """Return a household with the limits that were accepted; by default the app's.

    A ledger that cannot be read is logged: what the collection gives counts then.
    """
    household = household or app.household
    if app.pretending or not app.has_ledger:
        return household
    try:
        with closing(app.open_ledger()) as ledger:
            return accepted_limits.applied(household, ledger)
    except LedgerError as error:
        log.warning("limits.not_read reason=%s", error)
        return household
