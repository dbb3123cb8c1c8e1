"""The page's certificate: looked at before anything moves, with a sentence for each way it can be wrong."""

import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gatekeeper.certificate import CertificateTrouble, Validity, certificate_findings, validity_of
from gatekeeper.cli import app
from gatekeeper.shop.model import Page

DAY_S = 24 * 3600.0
#: Days that a test's certificate may be used; far enough that no run of the tests sees it end.
DAYS = 3650


def self_signed(folder: Path, name: str) -> tuple[str, str]:
    certificate, key = folder / f"{name}.crt", folder / f"{name}.key"
    words = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    words += ["-keyout", str(key), "-out", str(certificate), "-subj", "/CN=shop.local", "-days", str(DAYS)]
    subprocess.run(words, check=True, capture_output=True)
    return str(certificate), str(key)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    return self_signed(tmp_path_factory.mktemp("good"), "page")


def page(certificate: str | None, key: str | None) -> Page:
    return Page("127.0.0.1", 8080, False, None, certificate=certificate, key=key)


def test_a_page_without_a_certificate_has_nothing_to_say() -> None:
    assert validity_of(page(None, None)) is None
    assert certificate_findings(page(None, None), 0.0) == []


def test_its_end_is_read_from_the_certificate_and_told_in_time(pair: tuple[str, str]) -> None:
    found = validity_of(page(*pair))
    assert found is not None
    assert found.ends_wall_s is not None
    said = subprocess.run(
        ["openssl", "x509", "-enddate", "-noout", "-dateopt", "iso_8601", "-in", pair[0]],
        capture_output=True,
        text=True,
    ).stdout
    day = said.partition("=")[2][:10]
    (nice,) = certificate_findings(page(*pair), found.ends_wall_s - 22 * DAY_S)
    assert nice.said == f"It speaks https; its certificate may be used until {day}."
    (soon,) = certificate_findings(page(*pair), found.ends_wall_s - 20 * DAY_S)
    assert soon.said == f"Its certificate ends on {day}: put a new one there, then start the controller anew."


def test_a_certificate_that_has_ended_is_told(tmp_path: Path) -> None:
    pair = _ended(tmp_path)
    assert validity_of(page(*pair)) == Validity(None, is_over=True)
    (said,) = certificate_findings(page(*pair), 0.0)
    assert said.said == "Its certificate has ended: phones warn of the page. Put a new one there."


def _ended(folder: Path) -> tuple[str, str]:
    """A certificate of the past: only openssl's small authority gives any dates."""
    key, certificate, request = (folder / f"old.{kind}" for kind in ("key", "crt", "csr"))
    made = ["openssl", "req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    subprocess.run(
        [*made, "-keyout", str(key), "-out", str(request), "-subj", "/CN=x"], check=True, capture_output=True
    )
    (folder / "index.txt").write_text("")
    (folder / "serial").write_text("01\n")
    (folder / "ca.cnf").write_text(
        f"[ca]\ndefault_ca=a\n[a]\ndatabase={folder}/index.txt\nnew_certs_dir={folder}\nserial={folder}/serial\n"
        "default_md=sha256\npolicy=p\n[p]\ncommonName=supplied\n"
    )
    words = ["openssl", "ca", "-batch", "-selfsign", "-config", str(folder / "ca.cnf"), "-keyfile", str(key)]
    words += ["-in", str(request), "-out", str(certificate), "-notext"]
    words += ["-startdate", "20200101000000Z", "-enddate", "20210101000000Z"]
    subprocess.run(words, check=True, capture_output=True)
    return str(certificate), str(key)


def test_each_way_of_being_wrong_has_its_sentence(pair: tuple[str, str], tmp_path: Path) -> None:
    certificate, key = pair
    missing, junk = tmp_path / "none.crt", tmp_path / "junk.key"
    junk.write_text("not a key\n")
    other = self_signed(tmp_path, "other")[1]
    locked = tmp_path / "locked.key"
    words = ["openssl", "pkey", "-in", key, "-aes256", "-passout", "pass:sawdust", "-out", str(locked)]
    subprocess.run(words, check=True, capture_output=True)
    with pytest.raises(CertificateTrouble) as trouble:
        validity_of(page(str(missing), key))
    assert str(trouble.value) == (
        f"page > certificate: {missing} cannot be read (No such file or directory). Put the file there and let the "
        "controller's user read it, or take certificate and key out."
    )
    for wrong in ((certificate, str(junk)), (certificate, other), (str(junk), key), (certificate, str(locked))):
        with pytest.raises(CertificateTrouble) as trouble:
            validity_of(page(*wrong))
        assert str(trouble.value) == (
            f"page > certificate: {wrong[0]} and {wrong[1]} do not make a certificate with its key. Give a PEM file "
            "with the certificate and one with its own key, without a password."
        )


SHOP = """
shop: {{name: Quiet shop, mains: 50 Hz}}
motors:
  collector: {{power: 2 kW, switched_by: {{pin: GPIO17, when_board_dies: drops}}}}
gates:
  saw gate: {{diameter: 100 mm, servo: {{pin: GPIO12}}}}
tools:
  table saw: {{gates: saw gate, sensor: {{current_switch: GPIO23}}}}
page: {{certificate: {0}, key: {1}}}
"""


def test_the_controller_does_not_start_without_its_certificate_and_check_says_so(
    pair: tuple[str, str], tmp_path: Path
) -> None:
    shop_file = tmp_path / "shop.yaml"
    shop_file.write_text(SHOP.format(tmp_path / "none.crt", pair[1]))
    run = CliRunner().invoke(app, ["run", str(shop_file), "--pins", "mock", "--state", str(tmp_path / "state")])
    assert run.exit_code == 2
    assert f"page > certificate: {tmp_path / 'none.crt'} cannot be read" in run.output
    assert not (tmp_path / "state").exists()  # nothing was begun
    check = CliRunner().invoke(app, ["check", str(shop_file), "--json"])
    assert check.exit_code == 0
    assert "The controller would not start: page > certificate: " in check.output
    shop_file.write_text(SHOP.format(*pair))
    check = CliRunner().invoke(app, ["check", str(shop_file), "--all"])
    assert "It speaks https; its certificate may be used until " in " ".join(check.output.split())
