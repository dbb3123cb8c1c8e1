"""Taking one file out of a form as it comes in, piece by piece onto the disk. The form has no other field."""

import asyncio
import re
from collections.abc import Mapping
from pathlib import Path

from fastapi import Request
from starlette.requests import ClientDisconnect

from gatekeeper.web.door import (
    NO_CHUNKS,
    NO_LENGTH,
    NOT_A_FORM,
    TOO_LARGE,
    TOO_SLOW,
    WRONG_ORIGIN,
    WRONG_TYPE,
    Refusal,
    Refused,
)

#: The one address that takes a file.
UPLOAD = "/restore"
#: The largest backup that is taken: its history is held at 200 MB and packs to less. Ours.
LARGEST_UPLOAD_BYTES = 300_000_000
#: The next piece of an upload comes within this time, or it is given up, seconds. Ours.
PIECE_S = 10.0
#: What stands around the file in the form: two boundaries and two header lines.
_MOST_AROUND = 4096
_BOUNDARY = re.compile(r'multipart/form-data;\s*boundary="?([0-9A-Za-z\'()+_,./:=?-]{1,70})"?\s*$')


def refuse_upload(headers: Mapping[str, str]) -> Refusal | None:
    """Refuse a form with a file that is no form, of unknown length, or too large."""
    if "origin" not in headers:
        return WRONG_ORIGIN
    if "transfer-encoding" in headers:
        return NO_CHUNKS
    length = headers.get("content-length")
    if length is None or not (length.isascii() and length.isdecimal() and len(length) < 16):
        return NO_LENGTH
    if int(length) > LARGEST_UPLOAD_BYTES:
        return TOO_LARGE_UPLOAD
    return None if _BOUNDARY.match(headers.get("content-type", "")) else WRONG_TYPE


TOO_LARGE_UPLOAD = Refusal(
    TOO_LARGE.status,
    TOO_LARGE.code,
    f"The file is too large. At most {LARGEST_UPLOAD_BYTES // 1_000_000} MB are taken.",
)


async def file_of(request: Request, to: Path) -> None:
    """Write the one file of a form to ``to``.

    Raises:
        Refused: the form cannot be read.
    """
    matched = _BOUNDARY.match(request.headers.get("content-type", ""))
    if matched is None:
        raise Refused(WRONG_TYPE)
    begin, end = f"--{matched[1]}\r\n".encode(), f"\r\n--{matched[1]}--\r\n".encode()
    head, tail, size, in_file = b"", b"", 0, False
    with to.open("wb") as file:
        pieces = request.stream().__aiter__()
        while True:
            try:
                piece = await asyncio.wait_for(anext(pieces), PIECE_S)
            except StopAsyncIteration:
                break
            except (TimeoutError, ClientDisconnect):
                raise Refused(TOO_SLOW) from None
            size += len(piece)
            if size > LARGEST_UPLOAD_BYTES:
                raise Refused(TOO_LARGE_UPLOAD)
            if not in_file:
                head += piece
                around, mark, rest = head.partition(b"\r\n\r\n")
                if len(around) > _MOST_AROUND or (mark and not around.startswith(begin)):
                    raise Refused(NOT_A_FORM)
                if not mark:
                    continue
                in_file, piece = True, rest
            # The last boundary may come in two pieces: as much as it may be is held back.
            tail += piece
            if len(tail) > len(end):
                await asyncio.to_thread(file.write, tail[: -len(end)])
                tail = tail[-len(end) :]
        if not in_file or tail != end:
            raise Refused(NOT_A_FORM)
