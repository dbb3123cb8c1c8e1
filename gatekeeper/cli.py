"""The commands. Each one reads the files and composes; what it needs is imported when it runs.

Exit status: 0 done, 1 failed while running, 2 the command or a file was wrong and nothing was moved.
"""

import json
from typing import Annotated, NoReturn

import typer

app = typer.Typer(
    name="gatekeeper",
    help="Opens the gate at the machine that starts, runs the right dust collector, and keeps the duct clear.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

ShopArgument = Annotated[str, typer.Argument(metavar="SHOP.yaml", help="A shop file, or the name of an example shop.")]


@app.callback()
def _commands() -> None:
    """Keeps every command a word of its own, however few there are."""


@app.command()
def check(
    shop_file: ShopArgument,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings for machines.")] = False,
    show_all: Annotated[bool, typer.Option("--all", help="Show every finding, not only the first ten.")] = False,
) -> None:
    """Say what stops a shop, what will bite, and what is nice to know."""
    from gatekeeper.files import FileTrouble, read_shop_text
    from gatekeeper.printing import check_data, check_lines
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    try:
        text, name = read_shop_text(shop_file)
    except FileTrouble as trouble:
        _refuse(str(trouble))
    shop = load_shop(text, name)
    if as_json:
        typer.echo(json.dumps(check_data(name, shop), indent=2, ensure_ascii=False))
    else:
        typer.echo("\n".join(check_lines(name, shop, show_all=show_all)))
    if isinstance(shop, Faults):
        raise typer.Exit(2)


@app.command()
def schema() -> None:
    """Print the JSON Schema of a shop file."""
    from gatekeeper.shop.schema import shop_schema

    typer.echo(json.dumps(shop_schema(), indent=2, ensure_ascii=False))


@app.command()
def replay(
    recording: Annotated[str, typer.Argument(metavar="RECORDING", help="A recorded current: .npz or .csv, amperes.")],
    rate_hz: Annotated[float, typer.Option("--rate", help="Samples a second.")],
    mains_hz: Annotated[float, typer.Option("--mains", help="Mains frequency, 50 or 60 Hz.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print the record, one JSON object a line.")] = False,
    speed: Annotated[
        float | None, typer.Option("--speed", help="Seconds a real second; as fast as it goes if not given.")
    ] = None,
    trip_a: Annotated[float | None, typer.Option("--trip", help="Amperes above which the tool runs.")] = None,
    number: Annotated[int, typer.Option("--recording", help="Which one of a file of several, from 1.")] = 1,
    shop_file: Annotated[str, typer.Option("--shop", help="The shop to play it in.")] = "recording-bench",
) -> None:
    """Send a recorded current through sensing, core and drivers, and print what happens when."""
    from pathlib import Path

    from gatekeeper.files import FileTrouble, read_shop_text
    from gatekeeper.printing import check_lines
    from gatekeeper.recording import RecordingError, read_recording
    from gatekeeper.service.replaying import Replay, paced, timeline
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    if speed is not None and not speed > 0:
        _refuse(f"The speed is {speed:g}; it must be more than 0.")
    if trip_a is not None and not 0 < trip_a <= 1000:
        _refuse(f"The trip is {trip_a:g} A; it must be more than 0 A and at most 1000 A.")
    try:
        text, name = read_shop_text(shop_file)
        currents = read_recording(Path(recording), rate_hz, mains_hz, number)
    except (FileTrouble, RecordingError) as trouble:
        _refuse(str(trouble))
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        typer.echo("\n".join(check_lines(name, shop, show_all=False)))
        raise typer.Exit(2)
    try:
        run = Replay(shop, currents, trip_a)
    except ValueError as trouble:
        _refuse(str(trouble))
    entries = run.entries() if speed is None else paced(run.entries(), run, speed)
    if as_json:
        for entry in entries:
            typer.echo(json.dumps(entry.as_json(), ensure_ascii=False))
    else:
        for shown in timeline(run, entries):
            typer.echo(shown)
    run.close()


def _refuse(said: str) -> NoReturn:
    """One plain sentence on standard error, exit status 2."""
    typer.echo(said, err=True)
    raise typer.Exit(2)


def main() -> None:
    """The ``gatekeeper`` command."""
    app()
