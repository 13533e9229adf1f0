"""The sections that a family chooses: photos, drawing, statistics, heats, components, reports, and the maker's logo."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import subprocess
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from statistics import fmean, stdev
from typing import Any

import pypdf
import pytest
from PIL import Image

from qcapp.certificates.choices import Choice
from qcapp.certificates.queries import CertificateCard, content_of
from qcapp.certificates.services import rendering
from qcapp.certificates.services.choosing import choose_paper
from qcapp.certificates.services.packing import package_of
from qcapp.certificates.services.picturing import PHOTO_EDGE, logo_now, with_pictures
from qcapp.certificates.services.rendering import page_of
from qcapp.core.errors import Refused
from qcapp.evidence.services.keeping import keep_checked
from qcapp.inspections.services.applying import decide_applicability
from qcapp.inspections.services.beside import Spot, keep_photo
from qcapp.inspections.services.first_articles import decide_first_article, mark_first_article
from qcapp.lib.fields import uuid7
from qcapp.lib.pdf import html_to_pdf
from qcapp.people.services import demonstration_proof
from qcapp.plans.models import Balloon, Checkpoint, DrawingSheet, PlanRevision, RevisionSheet
from qcapp.production.services.components import install_component, use_material

from ..cast import FIXED_NOW, Cast
from ..evidence.files import pdf
from ..factories import inspections as factory
from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..goods.conftest import decide, enter

pytestmark = pytest.mark.django_db
SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 200" width="400" height="200">'
    b'<path d="M20 100H380" stroke="#000" fill="none"/>'
    b'<circle cx="200" cy="100" r="40" fill="none" stroke="#000"/></svg>'
)


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Path) -> Path:
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def choose(workshop: Workshop, **chosen: Any) -> None:
    at = ISSUED_AT - timedelta(minutes=5)
    choose_paper(by=workshop.cast.quality_manager, family_code="FR-200", choice=Choice(**chosen), at=at)


def says_of(workshop: Workshop, **chosen: Any) -> dict[str, Any]:
    if chosen:
        choose(workshop, **chosen)
    return content_of(certified(release_unit(workshop)).id)


def picture(size: tuple[int, int] = (64, 48), kind: str = "JPEG") -> bytes:
    written = io.BytesIO()
    Image.new("RGB", size, "teal").save(written, kind)
    return written.getvalue()


def photographed(workshop: Workshop, count: int = 1, size: tuple[int, int] = (64, 48)) -> None:
    for place in range(count):
        at = workshop.at + timedelta(seconds=place)
        spot = Spot(operation=uuid7(), serial=workshop.serial, checkpoint="tack_look", device="t", said_at=at)
        keep_photo(
            spot=spot, by=workshop.cast.inspector, content=picture(size), name="p.jpg", at=at, note=f"side {place}"
        )


# ------------------------------------------------------------------------------------------------------ photos


def test_shows_photos_by_their_digest_and_counts_those_that_only_the_package_holds(workshop: Workshop) -> None:
    photographed(workshop, 14)
    part = says_of(workshop.finish())["pictures"]
    assert (part["shown"], len(part["photos"]), part["further"]) == (True, 12, 2)
    assert part["photos"][-1]["checkpoint"] == "105 Tacks without cracks"
    assert part["photos"][-1]["note"] == "side 13"
    assert "Ottoline" not in str(part)


def test_draws_a_large_photo_small_enough_for_paper(workshop: Workshop) -> None:
    photographed(workshop, size=(3000, 2000))
    says = says_of(workshop.finish())
    source = with_pictures(says)["pictures"]["photos"][0]["source"].partition(",")[2]
    with Image.open(io.BytesIO(base64.b64decode(source))) as drawn:
        assert drawn.size == (PHOTO_EDGE, PHOTO_EDGE * 2 // 3)
    assert 'alt="Photo of checkpoint 105 Tacks without cracks: side 0"' in page_of(says, "0" * 64)


def test_draws_no_page_with_a_photo_that_was_altered(workshop: Workshop, data_folder: Path) -> None:
    photographed(workshop)
    says = says_of(workshop.finish())
    says["pictures"]["photos"][0]["digest"] = "0" * 64
    with pytest.raises(Refused) as caught:
        page_of(says, "0" * 64)
    assert caught.value.code == "picture_altered"


def test_leaves_photos_out_where_the_family_chose_so(workshop: Workshop) -> None:
    photographed(workshop)
    assert says_of(workshop.finish(), pictures=False)["pictures"] == {"shown": False, "photos": [], "further": 0}


# ----------------------------------------------------------------------------------------------------- drawing


@pytest.fixture
def ballooned(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Workshop:
    """A unit whose plan is ballooned on one sheet in vector: 101 and 102 have balloons."""
    write = factory._write_content

    def with_sheet(revision: PlanRevision, family_id: int, rows: list[dict[str, str]]) -> None:
        write(revision, family_id, rows)
        by = cast.quality_manager
        file = keep_checked(by=by, content=SVG, media_type="image/svg+xml", ending="svg", name="s.svg", at=FIXED_NOW)
        sheet = DrawingSheet.objects.create(
            family_id=family_id, number="AQ-1", document_revision="C", sheet=2, title="Side view", file_id=file.id,
            width=400, height=200, added_by=by, added_at=FIXED_NOW,
        )  # fmt: skip
        RevisionSheet.objects.create(revision=revision, sheet=sheet, position=1)
        for place, key in enumerate(("head_angle", "left_length"), start=1):
            one = Checkpoint.objects.get(revision=revision, characteristic__key=key)
            Balloon.objects.create(
                revision=revision, row=place, checkpoint=one, sheet=sheet, across=30_000 * place, down=50_000
            )

    monkeypatch.setattr(factory, "_write_content", with_sheet)
    return Workshop.opened(cast)


def test_gives_a_first_article_its_balloons_and_the_drawing_in_vector(ballooned: Workshop, tmp_path: Path) -> None:
    says = says_of(ballooned.finish(), kind="first_article")
    (sheet,) = says["drawing"]["sheets"]
    assert [spot["number"] for spot in sheet["spots"]] == [101, 102]
    lines = {line["number"]: line["balloon"] for stage in says["results"]["stages"] for line in stage["lines"]}
    assert (lines[101], lines[103]) == ("AQ-1, sheet 2", "")
    page = page_of(says, "0" * 64)
    assert "AQ-1, sheet 2" in page
    assert "not on a drawing" in page
    file = tmp_path / "page.pdf"
    file.write_bytes(html_to_pdf(page, identifier="t", created=ISSUED_AT, title="t", variant="pdf/a-3a"))
    assert len(_said("pdfimages", "-list", file).splitlines()) == 2  # its head alone: no picture of pixels
    last = _said("pdftotext", "-raw", "-f", "2", file, "-")
    assert {"101", "102"} <= set(last.split())
    tags = _tags(pypdf.PdfReader(file).trailer["/Root"]["/StructTreeRoot"])
    assert any("Balloons: 101 102" in str(tag.get("/Alt", "")) for tag in tags)


def _tags(node: Any) -> Iterator[Any]:
    """Every tag of a document below this one."""
    node = node.get_object()
    if isinstance(node, pypdf.generic.DictionaryObject):
        yield node
        below = node.get("/K", [])
        for kid in below if isinstance(below, list) else [below]:
            yield from _tags(kid)


def _said(*command: object) -> str:
    words = [str(word) for word in command]
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout


def test_makes_a_first_article_report_of_an_accepted_first_article_alone(workshop: Workshop) -> None:
    by, at = workshop.cast.quality_manager, workshop.at
    article = mark_first_article(
        by=by, serial=workshop.serial, stage_number=3, cause="revision", about="revision D", at=at
    )
    workshop.finish()
    assert says_of(workshop)["identity"]["kind"] == "conformity"
    proof = demonstration_proof(by, at)
    decide_first_article(proof=proof, article=article, accepted=True, reason="As drawn.", at=at)
    assert content_of(certified(workshop, change_note="Accepted.").id)["identity"]["kind"] == "first_article"
    choose(workshop, first_articles=False)
    assert content_of(certified(workshop, change_note="Plain.").id)["identity"]["kind"] == "conformity"


def test_shows_no_drawing_unless_chosen(ballooned: Workshop) -> None:
    assert says_of(ballooned.finish())["drawing"] == {"shown": False, "sheets": []}


# -------------------------------------------------------------------------------------------------- statistics


def test_tells_of_other_units_only_where_that_was_chosen(workshop: Workshop) -> None:
    values = [61.94]
    for number, value in ((101, "62.00"), (102, "62.05"), (103, "61.98")):
        workshop.another_unit(f"FR-200-{number:04}").send_one("head_angle", value)
        values.append(float(value))
    workshop.finish()
    assert says_of(workshop)["statistics"] == {"shown": False, "units": 0, "lines": []}
    choose(workshop, statistics=True)
    part = content_of(certified(workshop, change_note="With statistics.").id)["statistics"]
    (line,) = [one for one in part["lines"] if one["number"] == 101]
    assert (line["units"], line["lowest"], line["highest"]) == (4, "61.94", "62.05")
    assert (line["mean"], line["spread"]) == (f"{fmean(values):.3f}", f"{stdev(values):.4f}")
    assert line["capability"] == ""  # four readings give none


# ----------------------------------------------------------------------------------- heats, components, reports


@pytest.fixture
def heated(workshop: Workshop) -> Workshop:
    """A unit made of heat H4711, which the mill certified."""
    enter(workshop.cast)
    decide(workshop.cast.goods_in)
    use_material(by=workshop.cast.inspector, serial=workshop.serial, heat_number="H4711", use="head tube", at=FIXED_NOW)
    return workshop.finish()


def test_lists_heats_with_the_chemistry_of_their_mill_certificates(heated: Workshop) -> None:
    (line,) = says_of(heated)["materials"]["heats"]
    assert (line["heat"], line["grade"], line["used"]) == ("H4711", "4130", ["head tube"])
    (paper,) = line["papers"]
    stated = {one["name"]: one["value"] for one in paper["composition"]}
    assert (paper["number"], stated["C"], stated["P"]) == ("MC-1001", "0.31", "0.011")  # 110 ppm
    assert len(paper["digest"]) == 64


def test_leaves_heats_out_where_the_family_chose_so(heated: Workshop) -> None:
    assert says_of(heated, materials=False)["materials"] == {"shown": False, "heats": []}


def test_lists_components_with_their_own_certificates(workshop: Workshop) -> None:
    fork = workshop.another_unit("FR-200-0902").finish()
    own = certified(release_unit(fork))
    by = workshop.cast.quality_manager
    install_component(
        by=by, serial=workshop.serial, component_serial=fork.serial, link="delivered_with", at=workshop.at
    )
    (line,) = says_of(workshop.finish())["components"]["lines"]
    assert line == {
        "serial": "FR-200-0902", "family": "Trike frame", "link": "delivered with", "standing": "current",
        "certificate": f"{own.number}, issue 1", "digest": own.digest,
    }  # fmt: skip


def test_leaves_reports_out_where_chosen_and_never_says_then_that_there_were_none(workshop: Workshop) -> None:
    Case.by_hand(workshop).withdraw()
    says = says_of(workshop.finish(), reports=False)
    assert says["nonconformances"]["reports"] == []
    page = page_of(says, "0" * 64)
    assert "No nonconformance report was raised" not in page
    assert "The unit stands under no concession." in page


def test_says_which_checkpoints_were_decided_not_to_apply(workshop: Workshop) -> None:
    proof = demonstration_proof(workshop.cast.quality_manager, workshop.at)
    decide_applicability(
        proof=proof, serial=workshop.serial, key="pores", applies=False, reason="No W7 on this one.", at=workshop.at
    )
    workshop.answer_stage(1)
    workshop.sign(1)
    for key in ("weld_w7", "throat_w7", "heat", "serial_read"):
        workshop.send_one(key)
    second = workshop.cast.second_inspector
    seconds = [workshop.operation(key, inspection=2, person=second) for key in factory.SECOND]
    workshop.send(*seconds, by=second)
    workshop.sign(2)
    workshop.answer_stage(3)
    workshop.sign(3)
    says = says_of(workshop)
    assert says["results"]["stages"][1]["not_applicable"] == [
        "203 Pores in W7: No W7 on this one; Isolde Brandt, quality manager"
    ]
    assert "1 checkpoint was decided not to apply to this unit." in says["statement"]["counts"]
    assert "Decided not to apply to this unit:" in page_of(says, "0" * 64)


# ----------------------------------------------------------------------------------------------------- package


def test_packs_photos_drawings_and_mill_certificates_unaltered(
    ballooned: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("goods_in", "quality_manager", "inspector"):
        getattr(ballooned.cast, name)
    photographed(ballooned, 2)
    enter(ballooned.cast)
    decide(ballooned.cast.goods_in)
    by = ballooned.cast.inspector
    use_material(by=by, serial=ballooned.serial, heat_number="H4711", use="head tube", at=FIXED_NOW)
    fork = ballooned.another_unit("FR-200-0902").finish()
    monkeypatch.setattr(rendering, "render", lambda card, at, look=None: b"%PDF of " + card.number.encode())
    own = certified(release_unit(fork))
    install_component(
        by=by, serial=ballooned.serial, component_serial=fork.serial, link="delivered_with", at=ballooned.at
    )
    card = certified(release_unit(ballooned.finish()))
    package = zipfile.ZipFile(io.BytesIO(package_of(card, at=ISSUED_AT)))
    (mill,) = [name for name in package.namelist() if name.startswith("mill-certificates/MC-1001-")]
    assert package.read(mill) == pdf()
    assert package.read("drawings/AQ-1-C-sheet-2.svg") == SVG
    assert b'class="balloon"' in package.read("drawings/AQ-1-C-sheet-2-ballooned.svg")
    photos = [name for name in package.namelist() if name.startswith("photos/")]
    assert photos == ["photos/001-checkpoint-105-round-1.jpg", "photos/002-checkpoint-105-round-1.jpg"]
    assert package.read(f"components/{own.number}-1.pdf") == b"%PDF of " + own.number.encode()
    listed = json.loads(package.read("manifest.json"))["sha256"]
    assert set(package.namelist()) - set(listed) == {"manifest.json", "manifest.json.p7s", "READ-ME.txt"}
    for name, digest in listed.items():
        assert hashlib.sha256(package.read(name)).hexdigest() == digest


# -------------------------------------------------------------------------------------------------------- logo


def test_prints_the_logo_that_was_the_sites_at_issue(workshop: Workshop, settings: Any, tmp_path: Path) -> None:
    file = tmp_path / "logo.png"
    file.write_bytes(picture((4000, 900), "PNG"))
    settings.QCAPP_SITE_LOGO = str(file)
    says = says_of(workshop.finish())
    file.unlink()
    page = page_of(says, "0" * 64)
    assert '<img class="logo" alt="' in page
    assert says["identity"]["logo_type"] == "image/png"
    with Image.open(tmp_path / says["identity"]["logo"]) as kept:
        assert kept.size[0] == 600


@pytest.mark.parametrize("how", ["missing", "huge", "no picture", "a folder", "a bomb"])
def test_issues_without_a_logo_that_cannot_be_printed(
    workshop: Workshop, settings: Any, tmp_path: Path, how: str, caplog: pytest.LogCaptureFixture
) -> None:
    file = tmp_path / "logo.png"
    if how == "huge":
        file.write_bytes(picture() + b"\0" * 3_000_000)
    elif how == "no picture":
        file.write_bytes(b"<script>alert(1)</script>")
    elif how == "a folder":
        file.mkdir()
    elif how == "a bomb":
        file.write_bytes(_bomb())
    settings.QCAPP_SITE_LOGO = str(file)
    says = says_of(workshop.finish())
    assert says["identity"]["logo"] == ""
    assert "printed without the logo" in caplog.text
    assert 'class="logo"' not in page_of(says, "0" * 64)


def _bomb() -> bytes:
    """Few bytes that would unpack to 400 million pixels."""
    written = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(written, "PNG")
    return written.getvalue()


def test_takes_no_script_out_of_a_drawn_logo(settings: Any, tmp_path: Path) -> None:
    file = tmp_path / "logo.svg"
    file.write_bytes(SVG.replace(b"</svg>", b"<script>alert(1)</script></svg>"))
    settings.QCAPP_SITE_LOGO = str(file)
    assert b"script" not in (tmp_path / logo_now().path).read_bytes()


@pytest.fixture
def named(cast: Cast) -> CertificateCard:
    """A certificate of a family whose name is as bad as names get."""
    for name in ("inspector", "second_inspector", "quality_manager", "engineer", "welder"):
        getattr(cast, name)
    workshop = Workshop.opened(cast)
    return certified(release_unit(workshop.finish()))


HARD = ["<script>alert(1)</script>", "a fox 🦊 and a name", "שלום עולם", "\u202egnp.exe", "W" * 300, "a&b \"'<>"]


@pytest.mark.parametrize("text", HARD)
def test_prints_names_of_every_kind_inside_the_page(named: CertificateCard, text: str, tmp_path: Path) -> None:
    says = content_of(named.id)
    says["identity"]["family_name"] = says["statement"]["released_by"] = text
    says["components"] = {"shown": True, "lines": [dict.fromkeys(("serial", "link", "certificate", "standing"), text)]}
    says["components"]["lines"][0]["family"] = text
    page = page_of(says, "0" * 64)
    assert "<script>" not in page
    assert "\u202e" not in page
    file = tmp_path / "page.pdf"
    file.write_bytes(html_to_pdf(page, identifier="t", created=ISSUED_AT, title="t", variant="pdf/a-3a"))
    widths = [float(word.split('"')[1]) for word in _said("pdftotext", "-bbox", file, "-").split("xMax=")[1:]]
    assert max(widths) < 595.3 - 40  # A4 less the margin of 16 mm
