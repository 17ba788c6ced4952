"""The process that draws: takes requests from `charts.process` and replies with pictures."""

import sys
from base64 import b64encode
from typing import Any

from sillward.charts.data import from_plain
from sillward.charts.process import NO_MATPLOTLIB
from sillward.child_process import serve

try:
    from sillward.charts import draw
except ImportError as error:
    sys.stderr.write(f"{error}\n")
    sys.exit(NO_MATPLOTLIB)


def answer(request: dict[str, Any]) -> dict[str, str]:
    """Draw a chart, and return the reply."""
    image = draw.image(from_plain(request["data"]), request["form"])
    return {"image": b64encode(image).decode()}


if __name__ == "__main__":
    serve(answer)
