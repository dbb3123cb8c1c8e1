"""A terminal where a line is typed behind a status that goes on changing; the same for what comes through a pipe."""

import codecs
import os
import select
import shutil
import sys
import termios
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol

_CHUNK = 4096
_ERASE = ("\x7f", "\b")
_END_OF_INPUT = "\x04"
#: Arrows and the like send this first, then some of these and one more; they mean nothing here.
_ESCAPE, _WITHIN_ESCAPE = "\x1b", "[O;0123456789"
#: What is typed keeps at least so many cells beside a long status.
_TYPED_CELLS = 24


class EndOfTyping(Exception):
    """Nobody types any more."""


class Screen(Protocol):
    """Where lines are said and typed."""

    def say(self, line: str) -> None:
        """Print one line."""
        ...

    def read(self, status: str, wait_s: float) -> str | None:
        """A typed line; None when nothing was finished within ``wait_s``. ``status`` stands before what is typed.

        Raises:
            EndOfTyping: the input has ended.
        """
        ...


class Terminal:
    """Standard input and output; on a screen the status is drawn anew in place, through a pipe it is not drawn.

    Args:
        say: prints one line.
    """

    def __init__(self, say: Callable[[str], None]) -> None:
        self._say = say
        self._in = sys.stdin.fileno()
        self.is_screen = os.isatty(self._in) and sys.stdout.isatty()
        self._decode = codecs.getincrementaldecoder("utf-8")("replace")
        self._text = ""
        self._typed = ""
        self._drawn = ""
        self._has_ended = False
        self._in_escape = False

    @contextmanager
    def open(self) -> Iterator["Terminal"]:
        """Keys come one by one while this is open; afterwards the terminal is as it was."""
        if not self.is_screen:
            yield self
            return
        before = termios.tcgetattr(self._in)
        tty.setcbreak(self._in)
        try:
            yield self
        finally:
            termios.tcsetattr(self._in, termios.TCSADRAIN, before)
            self._wipe()

    def say(self, line: str) -> None:
        """Print one line above the status."""
        self._wipe()
        self._say(line)

    def read(self, status: str, wait_s: float) -> str | None:
        """See ``Screen.read``."""
        end_s = time.monotonic() + wait_s
        while True:
            line = self._taken()
            if line is not None:
                return line
            if self._has_ended:
                raise EndOfTyping
            self._draw(status)
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not select.select([self._in], [], [], left_s)[0]:
                return None
            chunk = os.read(self._in, _CHUNK)
            self._has_ended = not chunk
            self._text += self._decode.decode(chunk, final=not chunk)

    # ---------------------------------------------------------------- inside

    def _taken(self) -> str | None:
        """The first whole line of what came in."""
        while self._text:
            key, self._text = self._text[0], self._text[1:]
            if self._in_escape:
                self._in_escape = key in _WITHIN_ESCAPE
                if key not in "\r\n":
                    continue
            if key in "\r\n":
                line, self._typed = self._typed, ""
                if self.is_screen:
                    self.say(f"> {line}" if line else ">")
                return line
            if key in _ERASE:
                self._typed = self._typed[:-1]
            elif key == _ESCAPE:
                self._in_escape = True
            elif key == _END_OF_INPUT and not self._typed:
                self._has_ended = True
            elif key.isprintable():
                self._typed += key
        return None

    def _draw(self, status: str) -> None:
        if not self.is_screen:
            return
        cells = shutil.get_terminal_size().columns - 1
        room = max(_TYPED_CELLS, cells - len(status) - 3)
        typed = self._typed[-room:]
        shown = f"{status[: max(0, cells - 3 - len(typed))]} > {typed}" if status else f"> {typed}"
        if shown != self._drawn:
            sys.stdout.write(f"\r\x1b[K{shown}")
            sys.stdout.flush()
            self._drawn = shown

    def _wipe(self) -> None:
        if self._drawn:
            sys.stdout.write("\r\x1b[K")
            sys.stdout.flush()
            self._drawn = ""
