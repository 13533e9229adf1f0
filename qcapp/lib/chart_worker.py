"""The process that draws charts: `python -m qcapp.lib.chart_worker`, started by `charts.py`.

Reads one job per line of JSON (`description`, a Vega-Lite text, or `svg` and `scale`), answers with a line of JSON
(`code`, `message`, `length`) and so many bytes of SVG, or of PNG. It imports no Django, and ends when its input does.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any, BinaryIO


def main(jobs: BinaryIO, answers: BinaryIO) -> None:
    """Answer jobs until the input ends."""
    for line in jobs:
        try:
            code, message, body = "", "", made(json.loads(line))
        except Exception as error:  # whatever it is, the caller waits for an answer
            code, message, body = "chart_failed", f"The chart cannot be drawn: {error!r}", b""
        header = {"code": code, "message": message, "length": len(body)}
        answers.write(json.dumps(header).encode() + b"\n" + body)
        answers.flush()


def made(job: dict[str, Any]) -> bytes:
    """What one job asks for."""
    return as_png(job["svg"], job["scale"]) if "svg" in job else draw(job["description"])


def as_png(svg: str, scale: float) -> bytes:
    """The drawing as PNG. Files that it names are not read."""
    import vl_convert

    return bytes(vl_convert.svg_to_png(svg, scale=scale))


def draw(description: str) -> bytes:
    """The SVG of a Vega-Lite text. Addresses inside it are not followed: a chart's data stands in it."""
    import vl_convert

    svg: str = vl_convert.vegalite_to_svg(description, allowed_base_urls=[])
    return svg.encode()


if __name__ == "__main__":
    os.nice(5)  # a web request that somebody waits for goes first
    main(sys.stdin.buffer, sys.stdout.buffer)
