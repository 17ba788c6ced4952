"""The child that draws: `python -m sillward.charts png`, data as JSON in, the picture out."""

import json
import sys

from sillward.charts.data import drawn_from
from sillward.charts.process import NO_MATPLOTLIB, Form

try:
    from sillward.charts import draw
except ImportError as error:
    sys.stderr.write(f"{error}\n")
    sys.exit(NO_MATPLOTLIB)

if __name__ == "__main__":
    form: Form = "svg" if sys.argv[1:] == ["svg"] else "png"
    sys.stdout.buffer.write(draw.image(drawn_from(json.load(sys.stdin)), form))
