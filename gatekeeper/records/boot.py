"""Which boot of the board and which run of the program this is: two names that go with every kept thing."""

import re
import secrets
import uuid
from pathlib import Path

KERNEL_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def boot_id(source: Path = KERNEL_BOOT_ID) -> str:
    """The kernel's name of this boot, a UUID in small letters.

    Where the kernel does not tell, a random one is made: it equals no kept one, so every start then counts as a new
    boot, and no kept instant is believed to be on the present clock.
    """
    try:
        text = source.read_text(encoding="ascii").strip().lower()
    except (OSError, ValueError):
        text = ""
    return text if _UUID.fullmatch(text) else str(uuid.uuid4())


def run_id() -> str:
    """A random name for this run of the program: twelve hexadecimal digits."""
    return secrets.token_hex(6)
