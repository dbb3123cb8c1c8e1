"""The picture of a replay as PNG. matplotlib draws it, and is loaded only when somebody asks for one."""

import importlib.util
import io

from gatekeeper.service.wave_picture import INKS, SMALL_SIZE, TEXT_COLOUR, TEXT_SIZE, Picture, Words

#: A unit of the picture is a point, a seventy-second of an inch; at this many dots an inch it is two dots.
UNITS_PER_INCH, DOTS_PER_INCH = 72, 144

NOT_INSTALLED = (
    "A .png is drawn by matplotlib, which is not installed: run pip install 'gatekeeper[report]', or name a file that "
    "ends in .svg."
)


def can_draw() -> bool:
    """Whether matplotlib is there; nothing is loaded to find out."""
    return importlib.util.find_spec("matplotlib") is not None


def png_of(picture: Picture) -> bytes:
    """The same picture as the SVG, twice as fine.

    Raises:
        ImportError: matplotlib is not installed; ask ``can_draw`` first.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.patches import Polygon

    figure = Figure(figsize=(picture.width / UNITS_PER_INCH, picture.high / UNITS_PER_INCH), dpi=DOTS_PER_INCH)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, picture.width)
    axes.set_ylim(picture.high, 0)
    axes.axis("off")
    for order, one in enumerate(picture.drawn):
        if isinstance(one, Words):
            axes.text(
                one.x,
                one.y,
                one.said.replace("$", r"\$"),
                fontsize=SMALL_SIZE if one.is_small else TEXT_SIZE,
                color=TEXT_COLOUR,
                horizontalalignment="right" if one.ends_here else "left",
                verticalalignment="baseline",
                zorder=order,
            )
            continue
        ink = INKS[one.kind]
        width = ink.width if ink.stroke else 0.0
        if one.is_closed:
            area = Polygon(one.points, facecolor=ink.fill or "none", edgecolor=ink.stroke or "none", linewidth=width)
            area.set_zorder(order)
            axes.add_patch(area)
            continue
        line = Line2D(*zip(*one.points, strict=True), color=ink.stroke or "none", linewidth=width, zorder=order)
        if ink.dash is not None:
            # matplotlib counts dashes in widths of the line.
            line.set_linestyle((0, tuple(length / width for length in ink.dash)))
        axes.add_line(line)
    made = io.BytesIO()
    figure.savefig(made, format="png", dpi=DOTS_PER_INCH, metadata={"Title": picture.title, "Software": None})
    return made.getvalue()
