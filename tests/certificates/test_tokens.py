"""A key on a PKCS #11 token, played by SoftHSM where it is installed (apt-get install softhsm2)."""

from __future__ import annotations

import shutil
import subprocess
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from asn1crypto import x509 as asn1_x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.serialization import pkcs12
from django.conf import settings as site
from django.core.management import CommandError, call_command

from qcapp.certificates.services.checking import Answer, check_file_alone
from qcapp.certificates.services.keys import take_token
from qcapp.lib import pdf_signing, signing_keys
from qcapp.lib.detached_signing import detached_signature
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.signing_tokens import Token

from ..factories.certificates import ISSUED_AT

MODULE = Path("/usr/lib/softhsm/libsofthsm2.so")
HERE = MODULE.is_file() and shutil.which("softhsm2-util") is not None


@pytest.fixture
def token(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settings: Any) -> str:
    """A token with an EC P-256 key and its certificate under the label `site`."""
    pkcs11 = pytest.importorskip("pkcs11")
    settings.QCAPP_SIGNING_FOLDER = tmp_path / "keys"
    (tmp_path / "tokens").mkdir()
    config = tmp_path / "softhsm2.conf"
    config.write_text(f"directories.tokendir = {tmp_path / 'tokens'}\nobjectstore.backend = file\n")
    monkeypatch.setenv("SOFTHSM2_CONF", str(config))
    pin = site.QCAPP_SIGNING_PASSPHRASE
    tool = ["softhsm2-util", "--init-token", "--free", "--label", "maker", "--so-pin", "a so pin", "--pin", pin]
    subprocess.run(tool, check=True, capture_output=True)
    library = pkcs11.lib(str(MODULE))
    library.reinitialize()
    bundle = pkcs12.load_pkcs12(signing_keys.new_bundle("The maker", ISSUED_AT, 5), pin.encode())
    assert bundle.cert is not None
    with library.get_token(token_label="maker").open(rw=True, user_pin=pin) as session:
        _put(session, bundle.key, bundle.cert.certificate)
    return "maker"


def _put(session: Any, key: Any, certificate: Any) -> None:
    from pkcs11 import Attribute, ObjectClass
    from pkcs11.util.ec import decode_ec_private_key
    from pkcs11.util.x509 import decode_x509_certificate

    pem = serialization.Encoding.DER, serialization.PrivateFormat.TraditionalOpenSSL, serialization.NoEncryption()
    private = decode_ec_private_key(key.private_bytes(*pem))
    given = {Attribute.LABEL: "site", Attribute.ID: b"1", Attribute.TOKEN: True}
    session.create_object(private | given | {Attribute.SIGN: True})
    der = certificate.public_bytes(serialization.Encoding.DER)
    asn1_x509.Certificate.load(der)
    session.create_object(decode_x509_certificate(der) | given | {Attribute.CLASS: ObjectClass.CERTIFICATE})


@pytest.mark.skipif(not HERE, reason="SoftHSM is not installed: apt-get install softhsm2")
@pytest.mark.django_db
def test_signs_with_a_key_that_never_leaves_its_token(token: str, tmp_path: Path) -> None:
    at = ISSUED_AT + timedelta(hours=1)
    take_token(found=Token(str(MODULE), token, "site"), at=at)
    key = signing_keys.current_key()
    assert key.path.suffix == ".token"
    assert "PRIVATE" not in key.path.read_text()
    plain = html_to_pdf("<title>t</title><p>61.94</p>", identifier="t", created=ISSUED_AT, title="t")
    signed = pdf_signing.sign_pdf(plain, key, at=at, name="The maker")
    assert check_file_alone(signed, key.fingerprint).answer is Answer.REAL
    file = tmp_path / "signed.pdf"
    file.write_bytes(signed)
    said = subprocess.run(["pdfsig", "-nocert", file], capture_output=True, text=True, check=False).stdout
    assert "Signature is Valid" in said
    (tmp_path / "manifest.json").write_bytes(b"{}")
    (tmp_path / "manifest.p7s").write_bytes(detached_signature(b"{}", key, at))
    options = "-verify -binary -inform DER -in manifest.p7s -content manifest.json -noverify"
    subprocess.run(["openssl", "cms", *options.split()], cwd=tmp_path, check=True, capture_output=True)


@pytest.mark.django_db
def test_names_what_is_missing_when_there_is_no_such_token(tmp_path: Path, settings: Any) -> None:
    pytest.importorskip("pkcs11")
    settings.QCAPP_SIGNING_FOLDER = tmp_path / "keys"
    with pytest.raises(CommandError, match="signing_token_missing"):
        call_command("make_signing_key", module=str(tmp_path / "none.so"), token="maker", label="site")
    assert not (tmp_path / "keys").exists()
