"""The process behind `pdf_pages`: one job on standard input, the pictures on standard output, then the end."""

from __future__ import annotations

import io
import json
import resource
import sys
from typing import Any

MEMORY = 1_500_000_000  # bytes of address space, libraries included
SECONDS = 60  # of the processor, for whatever the caller's own limit does not end


def main() -> None:
    """Draw what is asked for; ends with an error code when that cannot be done within the limits."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    job = json.loads(sys.stdin.buffer.readline())
    drawn = _draw(sys.stdin.buffer.read(job["length"]), job)
    heads = [[page, width, height, len(data)] for page, data, width, height in drawn]
    sys.stdout.buffer.write(json.dumps(heads).encode() + b"\n" + b"".join(data for _, data, _, _ in drawn))


def _draw(content: bytes, job: dict[str, Any]) -> list[tuple[int, bytes, int, int]]:
    import pypdfium2

    document = pypdfium2.PdfDocument(content)
    found = []
    for number in job["pages"]:
        page = document[number - 1]
        width, height = page.get_size()  # points
        bitmap = page.render(scale=job["longest_edge"] / max(width, height, 1.0))
        target = io.BytesIO()
        picture = bitmap.to_pil()
        picture.save(target, "PNG", optimize=False)
        found.append((number, target.getvalue(), picture.width, picture.height))
        bitmap.close()
        page.close()
    return found


if __name__ == "__main__":
    main()
