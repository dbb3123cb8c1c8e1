"""The lines of the board's 40-pin header: where they come out, what they do while the board starts, which are quiet.

From the board's documentation, not measured on a real board: until a program claims them, GPIO 0 to 8 are pulled up and
9 to 27 down; 2 and 3 have resistors of 1.8 kilo-ohm to 3.3 V on the board; 14 is driven high by the serial console; 0
and 1 belong to the board's own identification.
"""

UNCHOSEN = -1
"""The line of a wire whose pin is still to be chosen."""

TO_BE_CHOSEN = "to be chosen"
"""What a shop file says instead of a pin that nobody has chosen yet."""

LAST_LINE = 27

#: Where GPIO 0, 1, 2 and so on to 27 come out on the 40-pin header.
HEADER_PINS = (
    *(27, 28, 3, 5, 7, 29, 31, 26, 24, 21, 19, 23, 32, 33),
    *(8, 10, 36, 11, 12, 35, 38, 40, 15, 16, 18, 22, 37, 13),
)
HEADER_GROUNDS = (6, 9, 14, 20, 25, 30, 34, 39)
HEADER_5V = (2, 4)
HEADER_3V3 = (1, 17)

PULLED_UP_AT_BOOT = range(9)
CONSOLE_LINE = 14
IDENTITY_LINES = (0, 1)

QUIET = (17, 22, 23, 24, 25, 26, 27, 16)
"""Low while the board starts, and wanted by no bus: for what may start a motor or move a gate."""

LOW_BUT_SHARED = (12, 13, 18, 19, 20, 21)
"""Low while the board starts; sound, hardware pulses and the second SPI bus want them where those are used."""

UP_AND_PLAIN = (5, 6)
"""Pulled up while the board starts and wanted by nobody: for contacts, and for relays that are on when low."""
