"""`python -m sillward`."""

from sillward.cli import main

main()
