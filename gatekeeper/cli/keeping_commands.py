"""The commands that keep, put back and look after."""

from typing import Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, named_shop, refuse, shop_and_text


@app.command()
def backup(
    shop_file: ShopArgument,
    out: Annotated[str, typer.Argument(metavar="OUT", help="The file to write, such as shop.backup.")],
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")] = False,
) -> None:
    """Put shop file, settings, records and history into one file, while the controller runs."""
    from pathlib import Path

    from gatekeeper.backing import backed_up
    from gatekeeper.launch import installed_or_own
    from gatekeeper.records.backup import CannotBackUp

    shop, name, text = shop_and_text(shop_file)
    folder = installed_or_own(name, Path(state) if state else None)
    try:
        typer.echo("\n".join(backed_up(shop.name, name, text, folder, Path(out), replace=replace)))
    except CannotBackUp as trouble:
        refuse(str(trouble))


@app.command()
def restore(
    backup_file: Annotated[str, typer.Argument(metavar="FILE", help="A file that backup has made.")],
    shop_file: Annotated[
        str | None, typer.Option("--shop", help="Where the shop file goes; its old name, here, if not given.")
    ] = None,
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Set aside what is there already.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only check the file and say what is in it.")] = False,
) -> None:
    """Put a backup back: on a new card, or where the controller does not run. Nothing starts because of it."""
    from pathlib import Path

    from gatekeeper.backing import CannotRestore, checked, looked_at, put_back, restored_lines
    from gatekeeper.launch import installed_or_own

    path = Path(backup_file)
    try:
        if look:
            typer.echo("\n".join(looked_at(path)))
            return
        shop_path = Path(shop_file if shop_file is not None else checked(path).shop_file)
        folder = installed_or_own(str(shop_path), Path(state) if state else None)
        typer.echo("\n".join(restored_lines(put_back(path, shop_path, folder, replace=replace), shop_path, folder)))
    except CannotRestore as trouble:
        refuse(str(trouble))


@app.command()
def checkup(
    shop_file: ShopArgument,
    suction: Annotated[str | None, typer.Option("--suction", help="What the gauge shows, such as 1.5 kPa.")] = None,
    at: Annotated[str | None, typer.Option("--at", help="The duct with the tap.")] = None,
    open_gates: Annotated[list[str] | None, typer.Option("--open", help="A gate that stands open; repeat it.")] = None,
    speed: Annotated[
        float | None, typer.Option("--speed", help="How fast a drive from the air ran, in % of full speed.")
    ] = None,
    stopped: Annotated[str | None, typer.Option("--stopped", help="A motor that you saw stop after Stop.")] = None,
    measured: Annotated[bool, typer.Option("--measured", help="Take the newest steady value of a gauge.")] = False,
    correct_fan: Annotated[
        bool,
        typer.Option("--correct-fan", help="Say what a reading makes of an estimated fan; writes no reading down."),
    ] = False,
    write: Annotated[bool, typer.Option("--write", help="With --correct-fan: put it into the shop file.")] = False,
    who: Annotated[str, typer.Option("--who", help="Your name.")] = "the terminal",
    state: Annotated[str | None, typer.Option("--state", help="The folder for what must outlive a power cut.")] = None,
) -> None:
    """The five-minute monthly check: write a reading down, and say how it stands against day one."""
    from pathlib import Path

    from gatekeeper.checking_up import CannotCheck, checked_up
    from gatekeeper.launch import installed_or_own

    shop, name = named_shop(shop_file)
    folder = installed_or_own(name, Path(state) if state else None)
    try:
        gates = open_gates or []
        if correct_fan:
            from gatekeeper.correcting_fan import Given, fan_corrected

            given = Given(suction, at, gates, speed, measured)
            lines = fan_corrected(shop, name, folder, given, write=write)
        else:
            lines = checked_up(
                shop,
                name,
                folder,
                suction=suction,
                at=at,
                gates=gates,
                stopped=stopped,
                who=who,
                speed=speed,
                measured=measured,
            )
    except CannotCheck as trouble:
        refuse(str(trouble))
    typer.echo("\n".join(lines))
