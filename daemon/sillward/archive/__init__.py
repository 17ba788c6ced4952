"""Past weather from files, for a replay and for the outlook on a season.

`read_archive` finds out by its content what a file is: a body of Open-Meteo's archive or of its
previous runs, a CSV file, an EPW file or a ledger of ours. Each reader makes a `Table` of it, and
`table` makes the weather of that. Nothing is guessed: what can be read in two ways is an error that
shows both.
"""

from sillward.archive.reading import past_of_ledger, read_archive
from sillward.archive.table import PastWeather

__all__ = ["PastWeather", "past_of_ledger", "read_archive"]
