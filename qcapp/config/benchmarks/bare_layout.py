"""The layout library alone, in a process of its own: what the certificate is measured against.

`python -m qcapp.config.benchmarks.bare_layout` reads lines of JSON (`html`, `identifier`, `variant`, `folders`) and
answers each with the length of the PDF on a line, and the PDF. The same options as `qcapp.lib.pdf_worker`, and
nothing else of what that does.
"""

from __future__ import annotations

import base64
import json
import os
import sys
from datetime import UTC, datetime
from mimetypes import guess_type
from pathlib import Path
from typing import Any, BinaryIO

BASE = "http://static.invalid/static/"


def main(jobs: BinaryIO, answers: BinaryIO) -> None:
    """Answer jobs until the input ends."""
    for line in jobs:
        pdf = lay_out(json.loads(line))
        answers.write(str(len(pdf)).encode() + b"\n" + pdf)
        answers.flush()


def lay_out(job: dict[str, Any]) -> bytes:
    """The PDF of the page in `job`; its addresses below /static/ are read from the folders."""
    import weasyprint
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class Fetcher(URLFetcher):
        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            if not url.startswith(BASE):
                return super().fetch(url, headers)
            files = [Path(folder) / url.removeprefix(BASE) for folder in job["folders"]]
            file = next((file for file in files if file.is_file()), None)
            if file is None:  # a page without its style sheet would be another page, and quicker or slower
                raise FatalURLFetchingError(url)
            return URLFetcherResponse(url, file.read_bytes(), {"Content-Type": guess_type(file.name)[0] or ""})

    page = weasyprint.HTML(string=job["html"], base_url=BASE, url_fetcher=Fetcher(allowed_protocols=("data",)))
    at = datetime(2026, 1, 1, tzinfo=UTC)
    attached = [
        weasyprint.Attachment(string=base64.b64decode(data), name=name, created=at, modified=at)
        for name, data in job.get("attached", ())
    ]
    document = page.render(pdf_variant=job["variant"], pdf_tags=True)
    document.metadata.attachments = attached
    pdf: bytes = document.write_pdf(
        pdf_identifier=job["identifier"].encode(), pdf_variant=job["variant"], pdf_tags=True
    )
    return pdf


if __name__ == "__main__":
    os.nice(5)  # as the product's own process
    main(sys.stdin.buffer, sys.stdout.buffer)
