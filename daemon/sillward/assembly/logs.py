"""Where log events go."""

import logging
import sys


def start_logging(level: str) -> None:
    """Write log events of this level and above to standard error."""
    logging.basicConfig(
        stream=sys.stderr, level=level, format="%(levelname)s %(name)s %(message)s", force=True
    )
    # Both say at INFO what we say better, and requests' own debug lines carry addresses.
    for name in ("apscheduler", "urllib3"):
        logging.getLogger(name).setLevel(logging.WARNING)
