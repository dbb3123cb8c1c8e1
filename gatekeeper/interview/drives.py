"""The questions about a variable-frequency drive over Modbus: its registers and words, as its manual has them."""

import re
from dataclasses import dataclass

from gatekeeper.interview.engine import NotUnderstood, Question, Walk
from gatekeeper.interview.reading import Size, size_question

USUAL_LINE = "/dev/ttyUSB0"


@dataclass(frozen=True, slots=True)
class DraftDrive:
    """A drive: where it is, its words as written, and after how long without one it stops by itself."""

    line: str
    words: tuple[tuple[str, str], ...]
    silence: Size
    line_assumed: bool = False


def ask_drive() -> Walk[DraftDrive | None]:
    """A drive; None where its registers are not known yet."""
    command: str | None = yield Question(
        "drive command",
        "Which register of the drive takes commands?",
        "From its manual, a holding register, such as 0x2000 or 8192. The next questions are on the same page there.",
        _read_word,
        "unknown",
        (),
        "The collector counts as started by hand until the registers are known.",
    )
    if command is None:
        return None
    start: str = yield _word_question("drive start", "Which word there starts it?", "0x0001")
    stop: str = yield _word_question("drive stop", "Which word there stops it?", "0x0000", (start, "starts it"))
    status: str = yield _word_question("drive status", "Which register says whether it runs?", "0x2100")
    running: str = yield Question(
        "drive running",
        "What does that register say while it runs?",
        "A word such as 0x0001. Where only some of its bits say so: the bits that are set, of those that count, such "
        "as 0x0001 of 0x0003.",
        _read_running,
    )
    line: str | None = yield Question(
        "drive line",
        "Where is the drive?",
        "A serial line such as /dev/ttyUSB0, or an address on your network such as 192.168.1.20.",
        _read_line,
        USUAL_LINE,
        (),
        f"It is taken to hang on {USUAL_LINE}.",
    )
    silence: Size = yield size_question(
        "drive silence",
        "After how long without a word does the drive stop by itself?",
        "Loss of communication, as it is set in the drive: nothing else stops the motor when the board dies.",
        ("time", "1 s", "60 s"),
        "5 s",
    )
    bits, _, counting = running.partition(" of ")
    words = [("command", command), ("start", start), ("stop", stop), ("status", status), ("running", bits)]
    words += [("running_mask", counting)] if counting else []
    return DraftDrive(line or USUAL_LINE, tuple(words), silence, line is None)


def _word_question(about: str, said: str, example: str, other: tuple[str, str] | None = None) -> Question:
    """``other``: a word that it must not be, and what that one does."""

    def read(answer: str) -> str:
        word = _read_word(answer)
        if other is not None and int(word, 0) == int(other[0], 0):
            raise NotUnderstood(f"That word {other[1]}; look it up again.")
        return word

    return Question(about, said, f"A number from its manual, such as {example}.", read)


def _read_word(answer: str) -> str:
    small = answer.lower()
    is_word = re.fullmatch(r"0x[0-9a-f]{1,4}", small) or re.fullmatch(r"0|[1-9][0-9]{0,4}", small)
    if is_word is None or int(small, 0) > 0xFFFF:
        raise NotUnderstood("This is no register or word of a drive; write 0 to 65535, or 0x0 to 0xFFFF.")
    return answer


def _read_running(answer: str) -> str:
    bits, _, counting = answer.partition(" of ")
    word = _read_word(bits)
    if not counting:
        return word
    if int(word, 0) & ~int(_read_word(counting), 0):
        raise NotUnderstood("The first number has bits that the second leaves out, so it would never run.")
    return answer


def _read_line(answer: str) -> str:
    if answer.startswith("/") and re.fullmatch(r"/dev/[A-Za-z0-9/._-]{1,80}", answer) is None:
        raise NotUnderstood("This is no serial line; write such as /dev/ttyUSB0.")
    if len(answer) > 80:
        raise NotUnderstood("This is too long for an address; at most 80 characters fit.")
    return answer
