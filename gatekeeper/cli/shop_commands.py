"""The commands about a shop file itself: looked over, made, changed, its pins."""

import json
from typing import TYPE_CHECKING, Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, refuse, shop_and_text

if TYPE_CHECKING:
    from pathlib import Path


@app.command()
def check(
    shop_file: ShopArgument,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings for machines.")] = False,
    show_all: Annotated[bool, typer.Option("--all", help="Show every finding, not only the first ten.")] = False,
) -> None:
    """Say what stops a shop, what will bite, and what is nice to know."""
    from gatekeeper.certificate import beside_the_file
    from gatekeeper.files import FileTrouble, read_shop_text
    from gatekeeper.printing import check_data, check_lines
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    try:
        text, name = read_shop_text(shop_file)
    except FileTrouble as trouble:
        refuse(str(trouble))
    shop = load_shop(text, name)
    more = [] if isinstance(shop, Faults) else beside_the_file(shop)
    if as_json:
        typer.echo(json.dumps(check_data(name, shop, more), indent=2, ensure_ascii=False))
    else:
        typer.echo("\n".join(check_lines(name, shop, more, show_all=show_all)))
    if isinstance(shop, Faults):
        raise typer.Exit(2)


@app.command()
def schema(
    scenario: Annotated[bool, typer.Option("--scenario", help="That of a scenario file instead.")] = False,
) -> None:
    """Print the JSON Schema of a shop file, or of a scenario file; editors check and complete by it."""
    if scenario:
        from sim.scenario import scenario_schema

        found = scenario_schema()
    else:
        from gatekeeper.shop.schema import shop_schema

        found = shop_schema()
    typer.echo(json.dumps(found, indent=2, ensure_ascii=False))


@app.command()
def new(
    out: Annotated[str, typer.Argument(metavar="OUT.yaml", help="The shop file to write.")],
    page: Annotated[bool, typer.Option("--page", help="Ask on a page, for a phone or a browser.")] = False,
    lan: Annotated[bool, typer.Option("--lan", help="Open that page to phones on this network.")] = False,
    port: Annotated[int, typer.Option("--port", help="The page's port; 0 for any free one.")] = 8080,
) -> None:
    """Ask for a shop from the collector outward and write its file; what is answered is kept if you stop."""
    from pathlib import Path

    if not 0 <= port <= 65535:
        refuse(f"The port is {port}; 0 to 65535 are allowed.")
    if page or lan:
        raise typer.Exit(0 if _new_on_page(Path(out), port, lan=lan) else 1)
    from gatekeeper.interview_keeping import CannotInterview
    from gatekeeper.interviewing import interview_new, terminal_face

    try:
        is_written = interview_new(Path(out), terminal_face(typer.echo))
    except CannotInterview as trouble:
        refuse(str(trouble))
    raise typer.Exit(0 if is_written else 1)


def _new_on_page(out: "Path", port: int, *, lan: bool) -> bool:
    from gatekeeper.door_parts import made_pin
    from gatekeeper.interview_page_serving import serve_new
    from gatekeeper.launch import state_folder

    if out.exists():
        refuse(f"{out}: this file is there already; to add a machine to it: gatekeeper add {out}")
    if not out.parent.is_dir():
        refuse(f"{out}: there is no folder {out.parent} to write it into.")
    folder = state_folder(str(out), None)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        made_pin(folder)
    except OSError as trouble:
        refuse(f"The folder {folder}, where the page's PIN is kept, cannot be used ({trouble.strerror}).")
    try:
        return serve_new(out, folder, typer.echo, port=port, lan=lan)
    except OSError as trouble:
        why = trouble.strerror or "the system refused"
        refuse(f"The page cannot listen on port {port} ({why}); choose another with --port.")


@app.command()
def add(
    shop_file: ShopArgument,
    move: Annotated[
        str | None, typer.Option("--move", help="A machine that gets another way to the collector.")
    ] = None,
    retire: Annotated[str | None, typer.Option("--retire", help="A machine that leaves the shop.")] = None,
    gate: Annotated[str | None, typer.Option("--gate", help="A gate that gets something else to move it.")] = None,
    motor: Annotated[bool, typer.Option("--motor", help="A collector, tool vacuum or air cleaner more.")] = False,
) -> None:
    """Ask for one more machine or motor, a machine that moves or leaves, or a gate that gets something else to move
    it, and change nothing else in the file.
    """
    from pathlib import Path

    from gatekeeper.interview_keeping import CannotInterview
    from gatekeeper.interviewing import interview_parts, terminal_face

    if (move is not None) + (retire is not None) + (gate is not None) + motor > 1:
        refuse("--move, --retire, --gate and --motor are different things; give one of them.")
    shop, name, text = shop_and_text(shop_file)
    if not Path(name).is_file():
        refuse(f"{name} is an example and stays as it is; copy it to a file of yours first.")
    try:
        is_written = interview_parts(
            Path(name), text, shop, terminal_face(typer.echo), move, retire, gate=gate, motor=motor
        )
    except CannotInterview as trouble:
        refuse(str(trouble))
    raise typer.Exit(0 if is_written else 1)


@app.command()
def pins(
    shop_file: ShopArgument,
    assign: Annotated[
        bool, typer.Option("--assign", help="Choose a pin for every wire without one, and better ones for bad ones.")
    ] = False,
    write: Annotated[bool, typer.Option("--write", help="Write the choice into the shop file, after asking.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
) -> None:
    """Say which wire is on which pin; choose pins that are quiet while the board starts."""
    from pathlib import Path

    from gatekeeper.pinning import PinTrouble, assign_lines, pin_lines, write_pins

    if (write or yes) and not assign:
        refuse("--write and --yes belong to --assign; without it nothing is chosen.")
    shop, name, text = shop_and_text(shop_file)
    try:
        if not assign:
            typer.echo("\n".join(pin_lines(shop, name, text)))
            return
        said, choices = assign_lines(name, text)
        typer.echo("\n".join(said))
        if not choices:
            return
        if not Path(name).is_file():
            typer.echo(f"{name} is an example and stays as it is; copy it to a file of yours to keep this.")
        elif not (write or yes):
            typer.echo(f"Nothing was written. next: gatekeeper pins {name} --assign --write")
        elif yes or typer.confirm(f"Write this into {name}?"):
            write_pins(Path(name), text, choices)
            typer.echo(f"Written. next: gatekeeper wiring {name} --out wiring.html")
        else:
            typer.echo("Nothing was written.")
    except PinTrouble as trouble:
        refuse(str(trouble))
