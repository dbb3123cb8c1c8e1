"""The commands about what a clamp sees."""

import json
from typing import Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, named_shop, refuse


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
    plot: Annotated[
        str | None, typer.Option("--plot", help="Draw current, RMS, trip and decisions into this .svg or .png.")
    ] = None,
) -> None:
    """Send a recorded current through sensing, core and drivers, and print what happens when."""
    from pathlib import Path

    from gatekeeper.files import FileTrouble, write_new
    from gatekeeper.recording import RecordingError, read_recording
    from gatekeeper.service.replaying import Replay, paced, picture, pictured, timeline
    from gatekeeper.service.wave_picture import Look, Mark, svg_of
    from gatekeeper.service.wave_png import NOT_INSTALLED, can_draw, png_of

    if speed is not None and not speed > 0:
        refuse(f"The speed is {speed:g}; it must be more than 0.")
    if trip_a is not None and not 0 < trip_a <= 1000:
        refuse(f"The trip is {trip_a:g} A; it must be more than 0 A and at most 1000 A.")
    kind = Path(plot).suffix.lower() if plot is not None else ""
    if plot is not None and kind not in (".svg", ".png"):
        refuse(f"{plot} is no picture that can be drawn; name a file that ends in .svg or .png.")
    if kind == ".png" and not can_draw():
        refuse(NOT_INSTALLED)
    shop, _ = named_shop(shop_file)
    looks: list[Look] = []
    marks: list[Mark] = []
    try:
        heard = read_recording(Path(recording), rate_hz, mains_hz, number)
        run = Replay(shop, heard, trip_a, looks.append if plot is not None else None)
    except (RecordingError, ValueError) as trouble:
        refuse(str(trouble))
    entries = pictured(run, run.entries() if speed is None else paced(run.entries(), run, speed), marks)
    if as_json:
        for entry in entries:
            typer.echo(json.dumps(entry.as_json(), ensure_ascii=False))
    else:
        for shown in timeline(run, entries):
            typer.echo(shown)
    run.close()
    if plot is not None:
        try:
            drawn = picture(Path(recording).name, heard, looks, marks)
            write_new(Path(plot), png_of(drawn) if kind == ".png" else svg_of(drawn).encode(), replace=True)
        except FileTrouble as trouble:
            refuse(str(trouble))


@app.command()
def record(
    shop_file: ShopArgument,
    machine: Annotated[str, typer.Argument(metavar="TOOL", help="The tool, outlet or motor whose clamp is read.")],
    out: Annotated[str, typer.Argument(metavar="OUT", help="A new file: .npz or .csv.")],
    seconds: Annotated[float, typer.Option("--seconds", help="How long, 1 to 600 s.")] = 10.0,
    pins: Annotated[
        str, typer.Option("--pins", help="gpiod or lgpio: the board's converters; mock: none; virtual: a virtual shop.")
    ] = "gpiod",
) -> None:
    """Write what a machine's clamp sees to a file that replay reads. Switches nothing."""
    from pathlib import Path

    from gatekeeper.devices.base import DeviceError
    from gatekeeper.taking import CannotTake, converters_for, record_to_file
    from sim.plant import VirtualShop

    shop, _ = named_shop(shop_file)
    try:
        lines = record_to_file(shop, machine, Path(out), seconds, converters_for(shop, pins, VirtualShop))
    except (CannotTake, DeviceError) as trouble:
        refuse(str(trouble))
    for said in lines:
        typer.echo(said)


@app.command()
def calibrate(
    shop_file: ShopArgument,
    machine: Annotated[str, typer.Argument(metavar="TOOL", help="The tool, outlet or motor whose clamp is set.")],
    pins: Annotated[
        str, typer.Option("--pins", help="gpiod or lgpio: the board's converters; virtual: a virtual shop.")
    ] = "gpiod",
    yes: Annotated[bool, typer.Option("--yes", help="Write what is found without asking.")] = False,
) -> None:
    """Find which clamp sees a machine, measure it off and running, and write its trip into the shop file."""
    from pathlib import Path

    from gatekeeper.calibrating import terminal_face, walk
    from gatekeeper.devices.base import DeviceError
    from gatekeeper.service.calibration_file import CannotCalibrate, changes_for, write_back
    from gatekeeper.taking import converters_for
    from sim.plant import VirtualShop

    shop, name = named_shop(shop_file)
    try:
        clamp, proposal = walk(shop, machine, converters_for(shop, pins, VirtualShop), terminal_face(typer.echo))
        changes, said = changes_for(shop, clamp, proposal)
    except (CannotCalibrate, DeviceError) as trouble:
        refuse(str(trouble))
    for sentence in said:
        typer.echo(sentence)
    if not Path(name).is_file():
        typer.echo(f"{name} is an example and stays as it is; copy it to a file of yours to keep this.")
    elif yes or typer.confirm(f"Write this into {name}?"):
        try:
            write_back(Path(name), changes)
        except CannotCalibrate as trouble:
            refuse(str(trouble))
        typer.echo("Written. A controller that is running takes this up when it starts again.")
        typer.echo(f"next: gatekeeper check {name}")
    else:
        typer.echo("Nothing was written.")
