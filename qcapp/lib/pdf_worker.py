"""The process that lays out documents: `python -m qcapp.lib.pdf_worker`, started by `pdf.py`.

Reads one job per line of JSON, answers with a line of JSON (`code`, `message`, `length`) and so many bytes
of PDF. It imports no Django, so that it starts quickly, and ends when its input does.
"""

from __future__ import annotations

import base64
import html as html_words
import json
import mimetypes
import os
import sys
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, BinaryIO
from urllib.parse import unquote, urlsplit

BASE = "http://static.invalid/"  # never reachable (RFC 2606); only static paths are answered
FONTS = Path("/usr/share/fonts")
FONT_FILES = ("inter/Inter-Regular.*", "dejavu/DejaVuSans.ttf")
INVISIBLE = frozenset("\t\n\r\u00ad\u200b\u200c\u200d\u2060\ufeff")
PACKAGES = "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fontconfig fonts-inter fonts-dejavu-core"


ACCESSIBLE_ARCHIVE = "pdf/a-3a"
BOTH_MARKS = """
<rdf:Description xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" rdf:about=""
 xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/"><pdfuaid:part>1</pdfuaid:part></rdf:Description>
<rdf:Description xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" rdf:about=""
 xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/" xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#"><pdfaExtension:schemas><rdf:Bag>
<rdf:li rdf:parseType="Resource"><pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix><pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name><pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Which part of ISO 14289 the file follows</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property></rdf:li></rdf:Bag></pdfaExtension:schemas></rdf:Description>
"""


class NotMade(Exception):
    """Why there is no document: the code and sentence for `PdfNotMade`."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def main(jobs: BinaryIO, answers: BinaryIO) -> None:
    """Answer jobs until the input ends."""
    for line in jobs:
        try:
            code, message, body = "", "", render(json.loads(line))
        except NotMade as refusal:
            code, message, body = refusal.code, str(refusal), b""
        except Exception as error:  # whatever it is, the caller waits for an answer
            code, message, body = "pdf_failed", f"The document cannot be laid out: {error!r}", b""
        header = {"code": code, "message": message, "length": len(body)}
        answers.write(json.dumps(header).encode() + b"\n" + body)
        answers.flush()


def render(job: dict[str, Any]) -> bytes:
    """The PDF of one job. Raises `NotMade`."""
    require_glyphs(job["html"])
    weasyprint, fetcher = layout(job)
    page = weasyprint.HTML(string=job["html"], base_url=BASE, url_fetcher=fetcher)
    try:
        document = page.render(pdf_variant=job["variant"], pdf_tags=True)
    except weasyprint.urls.FatalURLFetchingError as error:
        raise NotMade("pdf_resource_missing", str(error)) from error
    document.metadata.title = job["title"]
    document.metadata.lang = job["language"]
    document.metadata.created = document.metadata.modified = job["created"]
    document.metadata.generator = None
    document.metadata.attachments = attachments(weasyprint, job)
    if job["variant"] == ACCESSIBLE_ARCHIVE:
        also_accessible(document.metadata)
    pdf: bytes = document.write_pdf(
        finisher=name_each_file_once,
        pdf_identifier=job["identifier"].encode(),
        pdf_variant=job["variant"],
        pdf_tags=True,
    )
    return pdf


def attachments(weasyprint: Any, job: dict[str, Any]) -> list[Any]:
    """The job's files as the layout library takes them, all of the document's date."""
    at = datetime.fromisoformat(job["created"])
    return [
        weasyprint.Attachment(
            string=base64.b64decode(data),
            name=name,
            description=description,
            created=at,
            modified=at,
            relationship=relationship,
        )
        for name, description, data, relationship in job["attached"]
    ]


def also_accessible(metadata: Any) -> None:
    """Let the description of a PDF/A-3a say that the file is PDF/UA-1 as well: it is tagged by the same rules.

    The library writes one of the two marks. PDF/A (ISO 19005-3, 6.6.2.3) wants the foreign one described.
    """
    generate = metadata.generate_rdf_metadata

    def generate_both(*arguments: Any) -> bytes:
        xml: bytes = generate(*arguments)
        place = xml.rindex(b"</")
        return xml[:place] + BOTH_MARKS.encode() + xml[place:]

    metadata.generate_rdf_metadata = generate_both


def name_each_file_once(document: Any, pdf: Any) -> None:
    """The library lists each associated file twice."""
    if "AF" in pdf.catalog:
        pdf.catalog["AF"][:] = list(dict.fromkeys(pdf.catalog["AF"]))


def layout(job: dict[str, Any]) -> tuple[Any, Any]:
    """The layout library and the fetcher of this job's static files. Raises `NotMade` when its C libraries
    lack.
    """
    try:
        import weasyprint
        from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse
    except OSError as error:
        message = f"Libraries that lay out documents are missing. Install: apt-get install {PACKAGES}"
        raise NotMade("pdf_libraries_missing", message) from error

    class StaticFetcher(URLFetcher):
        """Reads data: addresses and files below the static folders; anything else ends the document."""

        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            if url.startswith("data:"):
                return super().fetch(url, headers)
            file = static_file(url, job["static_url"], job["folders"])
            if file is None:
                raise FatalURLFetchingError(f"A document may not read {url}, or it is not there.")
            # A style sheet that does not say what it is would be left out silently.
            kind = mimetypes.guess_type(file.name)[0] or "application/octet-stream"
            return URLFetcherResponse(url, file.read_bytes(), {"Content-Type": kind})

    return weasyprint, StaticFetcher(allowed_protocols=("data",))


def static_file(url: str, static_url: str, folders: list[str]) -> Path | None:
    """The file behind a static address, or None; never one outside the folders."""
    path = unquote(urlsplit(url).path)
    if not url.startswith(BASE) or not path.startswith(static_url):
        return None
    for folder in map(Path, folders):
        file = (folder / path.removeprefix(static_url)).resolve()
        if file.is_relative_to(folder.resolve()) and file.is_file():
            return file
    return None


def require_glyphs(html: str) -> None:
    """Raises `NotMade` for a character that neither font can print: it would come out as an empty box."""
    missing = sorted(set(html_words.unescape(html)) - known_characters() - INVISIBLE)
    if missing:
        named = ", ".join(f"{character} (U+{ord(character):04X})" for character in missing[:5])
        raise NotMade("pdf_glyph_missing", f"No font of the documents has {named}. Write it in other characters.")


@cache
def known_characters() -> frozenset[str]:
    """Every character that one of the fonts has. Raises `NotMade` when a font lacks."""
    from fontTools.ttLib import TTFont

    characters: set[str] = set()
    for pattern in FONT_FILES:
        file = next(iter(sorted(FONTS.glob(f"*/{pattern}"))), None)
        if file is None:
            raise NotMade("pdf_fonts_missing", f"Fonts are missing. Install: apt-get install {PACKAGES}")
        with TTFont(file, lazy=True) as font:
            characters |= {chr(code) for code in font.getBestCmap()}
    return frozenset(characters)


if __name__ == "__main__":
    os.nice(5)  # a web request that somebody waits for goes first
    main(sys.stdin.buffer, sys.stdout.buffer)
