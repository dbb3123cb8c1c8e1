"""The commands about the air in the ducts."""

from typing import Annotated

import typer

from gatekeeper.cli.common import ShopArgument, app, named_shop, refuse


@app.command()
def airflow(
    shop_file: ShopArgument,
    open_gates: Annotated[list[str] | None, typer.Option("--open", help="A gate that stands open; repeat it.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the state for machines, in SI units.")] = False,
) -> None:
    """Say how the air moves in a shop's ducts with these gates open and all others shut."""
    from gatekeeper.layout.commands import LayoutTrouble, airflow_answer

    shop, name = named_shop(shop_file)
    try:
        typer.echo(airflow_answer(shop, name, open_gates or [], as_json=as_json))
    except LayoutTrouble as trouble:
        refuse(str(trouble))


@app.command()
def layout(
    shop_file: ShopArgument,
    other_file: Annotated[
        str | None, typer.Argument(metavar="[SHOP2.yaml]", help="A second layout, set beside the first.")
    ] = None,
    report: Annotated[str | None, typer.Option("--report", help="Write the study as a page, such as out.html.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the study for machines, in SI units.")] = False,
    all_open: Annotated[
        bool, typer.Option("--all-open", help="For sites whose rules forbid gates that cut airflow: none ever moves.")
    ] = False,
) -> None:
    """Say what each machine of a layout gets, where chips settle, who can run together, and what would mend it."""
    from gatekeeper.layout.commands import LayoutTrouble, layout_answer

    shops = [named_shop(named) for named in (shop_file, other_file) if named is not None]
    try:
        said, is_short = layout_answer(shops, all_open=all_open, report=report, as_json=as_json)
    except LayoutTrouble as trouble:
        refuse(str(trouble))
    typer.echo(said)
    raise typer.Exit(1 if is_short else 0)
