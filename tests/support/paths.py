"""Where the files lie that tests read."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
COLLECTIONS = ROOT / "tests" / "daemon" / "config" / "collections"
"""Collection files: one good, the others named for what is wrong with them."""
GOLDEN = ROOT / "tests" / "daemon" / "wording" / "golden"
"""What growers are told, word for word."""
