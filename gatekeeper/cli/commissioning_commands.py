"""The command that tries a shop part by part, and prints what came of it."""

from typing import Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, playable_shop, refuse, runnable_shop, shop_and_text


@app.command()
def commission(
    shop_file: ShopArgument,
    pins: Annotated[
        str, typer.Option("--pins", help="The board's lines: gpiod or lgpio; virtual: try it on a virtual shop.")
    ] = "gpiod",
    state: Annotated[str | None, typer.Option("--state", help="Folder for what must outlive a power cut.")] = None,
    by: Annotated[str | None, typer.Option("--by", help="Who tries it, as it is to stand in the record.")] = None,
    print_to: Annotated[
        str | None, typer.Option("--print", metavar="RECORD.html", help="Write the record as a page, and try nothing.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the record for machines, and try nothing.")] = False,
) -> None:
    """Try a shop part by part: machines, inputs, gates, motors, stops, first starts. What was done is kept."""
    from pathlib import Path

    from gatekeeper.commissioning_command import CannotCommission, commission_real, commission_virtual, write_record

    folder = Path(state) if state else None
    try:
        if print_to is not None or as_json:
            shop, name, _ = shop_and_text(shop_file)
            typer.echo(write_record(shop, name, folder, print_to, as_json=as_json))
            return
        if pins == "virtual":
            from sim.bench import VirtualBench
            from sim.plant import VirtualShop

            shop, name, text = playable_shop(shop_file)
            is_over = commission_virtual(shop, name, text, VirtualShop, VirtualBench, folder, by, typer.echo)
        else:
            shop, name, text = runnable_shop(shop_file)
            is_over = commission_real(shop, name, text, pins, folder, by, typer.echo)
    except CannotCommission as trouble:
        refuse(str(trouble))
    raise typer.Exit(0 if is_over else 1)
