"""The "air ready" contact at a machine: a relay that may permit a start, and never starts or cuts a machine."""

from gatekeeper.devices.base import BoardDeath, Fate
from gatekeeper.devices.switching import RelaySwitch


class PermitContact(RelaySwitch):
    """A dry contact that is made while air is ready at a machine; on the same lease as a motor's relay.

    Wiring, by an electrician: the relay's normally open contact in series with the machine's START button only, ahead
    of the contact that holds its starter, so that it decides about a start and nothing else. Never in the holding
    circuit, the stop circuit or a wire that feeds the machine: there it would cut a machine in mid-cut. A machine with
    a plain switch has no such place, and gets no such contact. GPIO 16, 17 or 22 to 27, 10 kilo-ohm to ground.

    Made at the wrong time it lets a person start a machine without air, as without this contact. Args and errors as
    for ``RelaySwitch``.
    """

    fate = Fate(
        at_power_up="Open: the machine's start button does nothing.",
        when_process_dies="It stays as it is: made, it goes on permitting starts until the next start of the program "
        "or the outputs-off program (not measured on a real board).",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power it opens: the machine's start button does nothing, a running machine runs "
        "on.",
    )
