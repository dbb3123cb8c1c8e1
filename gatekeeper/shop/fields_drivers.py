"""The kinds of value that drivers are described with, beside those of ``fields``."""

import re
from typing import Annotated

from gatekeeper.shop.faults import shortened
from gatekeeper.shop.fields import Reads, refuse

#: Where every PCA9685 answers after power-up, whatever its own address.
ALL_CALL = 0x70


def _bank_address(value: object) -> int:
    text = value.strip().lower() if isinstance(value, str) else ""
    address = int(text, 16) if re.fullmatch(r"0x[0-9a-f]{2}", text) else 0
    if address == ALL_CALL:
        raise refuse("every PCA9685 answers at 0x70 until it is told not to; give this one another address")
    if not 0x40 <= address <= 0x77:
        said = f'"{shortened(str(value))}" is no address of a PCA9685; it has 0x40 to 0x77, by its pads A0 to A5'
        raise refuse(said)
    return address


BankAddress = Annotated[int, Reads(_bank_address, {"type": ["string", "integer"], "examples": ["0x40", "0x41"]})]


def _word(value: object) -> int:
    text = str(value).strip().lower() if isinstance(value, str) else ""
    if re.fullmatch(r"0x[0-9a-f]{1,4}", text):
        return int(text, 16)
    if re.fullmatch(r"[0-9]{1,5}", text) and int(text) <= 0xFFFF:
        return int(text)
    raise refuse(f'"{shortened(str(value))}" is no register or word; write 0 to 65535, or 0x0 to 0xFFFF, as its manual')


Word = Annotated[int, Reads(_word, {"type": ["string", "integer"], "examples": ["0x2000", "8192"]})]


def _serial_path(value: object) -> str:
    text = value.strip() if isinstance(value, str) else ""
    if not re.fullmatch(r"/dev/[A-Za-z0-9/._-]{1,80}", text):
        raise refuse(f'"{shortened(str(value))}" is no serial line; write such as /dev/ttyUSB0')
    return text


SerialPath = Annotated[str, Reads(_serial_path, {"type": "string", "pattern": "^/dev/", "examples": ["/dev/ttyUSB0"]})]


#: What stands in place of a speed where the air decides.
FROM_THE_AIR = "from the air"


def _drive_speed(value: object) -> float | str:
    text = " ".join(value.split()) if isinstance(value, str) else ""
    if text == FROM_THE_AIR:
        return FROM_THE_AIR
    if re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,9})?", text) and 1 <= float(text) <= 120:
        return float(text)
    raise refuse(f'"{shortened(str(value))}" is no speed; write 1 to 120, in Hz, or: {FROM_THE_AIR}')


DriveSpeed = Annotated[
    float | str,
    Reads(_drive_speed, {"type": ["number", "string"], "minimum": 1, "maximum": 120, "examples": [48.5, FROM_THE_AIR]}),
]
