"""Every message the controller can give, as a page of text: ``hardware/messages.md`` is made from the fault tables."""

from gatekeeper.control.alarms import FAULTS, UNTIL_CLEARED, Fault
from gatekeeper.service import coil_gates
from gatekeeper.service.one_cause import TOGETHER
from gatekeeper.service.troubles import every_row

_HEAPS = {
    "now": ("Now", "It hurts somebody or something. The message lamp is lit, the page's first sentence says it."),
    "today": ("Today", "The shop goes on for now; left alone it will hurt."),
    "when_you_can": ("When you can", "Worth knowing. Nothing hurts."),
}
_HEAD = """# Messages

Made from the fault tables by the program; a test holds the two equal. The page shows each message with when it first
and last came, how often, and a way to say "seen"; one that is over stays for twelve hours, for the reader. What comes
back within that time is the same message, counted. One cause is one message: a converter that falls silent is one, with
the names of all that it leaves unseen. A lamp for the whole shop and one phone are told by heap (`messages` in the shop
file); the phone gets the sentence and what to do, never who did what. What to do before a collector is opened stands in
[the cautions](cautions.md).
"""


def message_table() -> str:
    """The page as Markdown: one table for each heap, by code."""
    parts = [_HEAD]
    for heap, (title, said) in _HEAPS.items():
        rows = {code: row for code, row in sorted(every_row().items()) if row.heap == heap}
        lines = ["| Code | What happened | Likely cause | What to do |", "|---|---|---|---|"]
        lines += [_row(code, row) for code, row in rows.items()]
        parts.append(f"## {title}\n\n{said}\n\n" + "\n".join(lines) + "\n")
    parts.append(
        "## At a gate on a coil\n\nA solenoid or an air valve goes on pushing while its gate is stuck or held, and its "
        "spring does without it; so there, and for the machines behind it, what to do is this.\n\n" + coil_gates.table()
    )
    stays = ", ".join(f"`{code}`" for code in sorted(UNTIL_CLEARED))
    together = ", ".join(f"`{code}`" for code in sorted(TOGETHER))
    parts.append(
        "## How they end\n\n"
        f"Most end with their reason. These stay until a person clears them, whatever happens after: {stays}. "
        f"Several of these at once are told as one sentence: {together}.\n"
    )
    return "\n".join(parts)


def _row(code: str, row: Fault) -> str:
    of_core = "" if code in FAULTS else " (the service's own)"
    happened = row.happened.replace("{subject}", "*name*").replace("{gate}", "*gate*")
    return f"| `{code}`{of_core} | {happened} | {row.cause} | {row.remedy} |"
