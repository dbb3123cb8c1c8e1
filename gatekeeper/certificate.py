"""The page's certificate: whether it can be used at all, and until when, found out before anything moves."""

import ssl
import time
from dataclasses import dataclass

from gatekeeper.shop.finding import Finding, bite, nice
from gatekeeper.shop.model import Page, Shop

#: A new certificate is asked for this long before the old one ends. Ours.
SOON_S = 21 * 24 * 3600.0


class CertificateTrouble(Exception):
    """The certificate cannot be used; the text is a sentence that says what to do."""


@dataclass(frozen=True, slots=True)
class Validity:
    """``ends_wall_s``: seconds since 1970, or None where that could not be read. ``is_over``: it has ended."""

    ends_wall_s: float | None
    is_over: bool = False


def validity_of(page: Page) -> Validity | None:
    """Until when the page's certificate may be used; None where the page has none.

    Raises:
        CertificateTrouble: a file is missing or is not what it should be.
    """
    if page.certificate is None or page.key is None:
        return None
    for path, what in ((page.certificate, "certificate"), (page.key, "key")):
        try:
            with open(path, "rb") as file:
                file.read(1)
        except OSError as error:
            raise CertificateTrouble(
                f"page > {what}: {path} cannot be read ({error.strerror}). Put the file there and let the "
                "controller's user read it, or take certificate and key out."
            ) from None
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        # A key with a password is none that can be used unattended; without this the library would ask a terminal.
        serving.load_cert_chain(page.certificate, page.key, password=lambda: b"")
    except (ssl.SSLError, ValueError):
        raise CertificateTrouble(
            f"page > certificate: {page.certificate} and {page.key} do not make a certificate with its key. Give a "
            "PEM file with the certificate and one with its own key, without a password."
        ) from None
    return _looked_at(serving, page.certificate)


def _looked_at(serving: ssl.SSLContext, certificate: str) -> Validity:
    """A handshake in memory: the library's own way to read a certificate."""
    looking = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    looking.check_hostname = False
    looking.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
    looking.load_verify_locations(certificate)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = looking.wrap_bio(to_client, to_server)
    server = serving.wrap_bio(to_server, to_client, server_side=True)
    for _ in range(4):
        for side in (client, server):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
            except ssl.SSLCertVerificationError as error:
                # 10: the library's number for a certificate that has ended.
                return Validity(None, is_over=error.verify_code == 10)
            except ssl.SSLError:
                return Validity(None)
    ends = (client.getpeercert() or {}).get("notAfter")
    return Validity(ssl.cert_time_to_seconds(ends) if isinstance(ends, str) else None)


def certificate_findings(page: Page, now_wall_s: float) -> list[Finding]:
    """What the owner should hear of the certificate; nothing where the page has none.

    Raises:
        CertificateTrouble: it cannot be used.
    """
    found = validity_of(page)
    if found is None:
        return []
    if found.is_over:
        return [bite("certificate", "page", "Its certificate has ended: phones warn of the page. Put a new one there.")]
    if found.ends_wall_s is None:
        return [nice("certificate", "page", "Until when its certificate may be used cannot be read here.")]
    day = time.strftime("%Y-%m-%d", time.gmtime(found.ends_wall_s))
    if found.ends_wall_s - now_wall_s < SOON_S:
        said = f"Its certificate ends on {day}: put a new one there, then start the controller anew."
        return [bite("certificate", "page", said)]
    return [nice("certificate", "page", f"It speaks https; its certificate may be used until {day}.")]


def beside_the_file(shop: Shop) -> list[Finding]:
    """What stands beside a shop's file and belongs to it: the certificate, as it is on this machine now."""
    try:
        return certificate_findings(shop.page, time.time())
    except CertificateTrouble as trouble:
        return [bite("certificate", "shop", f"The controller would not start: {trouble}")]
