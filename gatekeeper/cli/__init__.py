"""The commands. Each one reads the files and composes; what it needs is imported when it runs."""

from gatekeeper.cli import (
    air_commands,
    commissioning_commands,
    current_commands,
    keeping_commands,
    paper_commands,
    play_commands,
    run_commands,
    shop_commands,
)
from gatekeeper.cli.common import app

#: Importing a module of commands makes them known.
COMMANDS = (
    shop_commands,
    air_commands,
    play_commands,
    current_commands,
    run_commands,
    commissioning_commands,
    paper_commands,
    keeping_commands,
)


def main() -> None:
    """The ``gatekeeper`` command."""
    app()
