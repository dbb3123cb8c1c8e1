"""What comes of a calibration in the shop's file: which values are written, where, and when it is refused.

The terminal's walk and the page's share it. A file is written whole or not at all, with every comment kept.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from gatekeeper.files import FileTrouble, write_new
from gatekeeper.sensing.calibration import Place, Proposal
from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.service.clamp_reading import Clamped, clamps_of
from gatekeeper.service.hearing import front_end_of
from gatekeeper.service.wiring import channels_used
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import CannotRewrite, Change, rewritten


class CannotCalibrate(Exception):
    """No trip came of it; the message is one plain sentence."""


@dataclass(frozen=True, slots=True)
class ShopFile:
    """The file that a running controller was started with.

    Args:
        path: where it is.
        text: what it said then.
        refusal: why it is never written, one plain sentence; None where it may be.
        note: what a person should know of it before writing; None where it is simply the shop's file.
    """

    path: Path
    text: str
    refusal: str | None = None
    note: str | None = None


def shop_file_of(name: str, text: str) -> ShopFile:
    """The file that a controller was started with; an example stays as it is."""
    path = Path(name)
    if path.is_file():
        return ShopFile(path.resolve(), text)
    example = f"{name} is an example and stays as it is. Copy it to a file of yours, start the controller with that, "
    return ShopFile(path, text, refusal=f"{example}and calibrate again.")


def wires_of(shop: Shop, clamp: Clamped) -> dict[Place, FrontEnd]:
    """Every channel that is scanned; one that the file says nothing of is taken to have the machine's own clamp."""
    known = clamps_of(shop)
    wires = {}
    for name in shop.converters:
        gauged = {
            one.wire.channel for one in shop.gauges.values() if one.wire is not None and one.wire.converter == name
        }
        for channel in range(channels_used(shop, name)):
            if channel in gauged or shop.converters[name].singles:
                continue
            there = known.get((name, channel))
            wires[name, channel] = front_end_of(shop, there.channel if there is not None else clamp.channel)
    return wires


def changes_for(shop: Shop, clamp: Clamped, proposal: Proposal) -> tuple[list[Change], list[str]]:
    """What is to be written into the shop's file, and what was found, in sentences.

    Raises:
        CannotCalibrate: the machine's wire is on a channel with another burden or clamp, so it cannot be swapped here.
    """
    trip_a, shared = _trip(shop, clamp, proposal)
    said = [*replace(proposal, trip_a=trip_a).sentences, *shared]
    changes = [Change(clamp.place, "trip", f"{trip_a:g} A")]
    if not proposal.is_swapped:
        return changes, said
    converter, channel = proposal.place
    there = clamps_of(shop).get(proposal.place)
    found = (
        f"The file has {clamp.name} on channel {clamp.channel.channel} of {clamp.channel.converter}; "
        f"its wire is on channel {channel} of {converter}."
    )
    if there is not None and (there.channel.turns, there.channel.burden_ohm) != (
        clamp.channel.turns,
        clamp.channel.burden_ohm,
    ):
        raise CannotCalibrate(f"{found} That is {there.name}'s, with another burden or clamp: swap the two plugs.")
    said.append(found)
    changes += _moved(clamp, converter, channel)
    if there is not None:
        changes += _moved(there, clamp.channel.converter, clamp.channel.channel)
        said.append(f"The two are swapped in the file; calibrate {there.name} next.")
    else:
        said.append("The file is set right.")
    return changes, said


def _trip(shop: Shop, clamp: Clamped, proposal: Proposal) -> tuple[float, list[str]]:
    """The proposed trip; where other machines share the clamp, the lower one of the file's and the new one."""
    section, owner = clamp.place[0], clamp.place[1]
    others = [tool for tool in shop.circuits[owner].tools if tool != clamp.name] if section == "circuits" else []
    old_a = clamp.sensor.trip_a
    if not others or old_a is None or not proposal.lowest_a <= old_a < proposal.trip_a:
        return proposal.trip_a, []
    return old_a, [f"{' and '.join(others)} on the same clamp may draw less, so its lower trip of {old_a:g} A stays."]


def _moved(clamp: Clamped, converter: str, channel: int) -> list[Change]:
    changes = [Change(clamp.place, "channel", str(channel))]
    if converter != clamp.channel.converter:
        changes.append(Change(clamp.place, "converter", converter))
    return changes


def write_back(path: Path, changes: list[Change]) -> None:
    """Put the changes into the file, which may have been edited meanwhile; whole or not at all.

    Raises:
        CannotCalibrate: the file cannot be read, changed or written; it is as it was.
    """
    path = path.resolve()
    try:
        text = path.read_bytes().decode("utf-8")
        write_new(path, rewritten(text, path.name, changes).encode("utf-8"), replace=True)
    except (OSError, UnicodeDecodeError):
        raise CannotCalibrate(f"{path}: this file cannot be read any more") from None
    except (CannotRewrite, FileTrouble) as trouble:
        raise CannotCalibrate(str(trouble)) from None


def written(file: ShopFile, changes: Sequence[Change], then: str = "calibrate again") -> tuple[ShopFile, Shop]:
    """Put the changes into the file of a running controller; the file as it is then, and the shop that it tells of.

    Args:
        file: the file. changes: what is to stand in it.
        then: what is to be done anew after a refusal, in words.

    Raises:
        CannotCalibrate: it may not be written, it was changed since the controller read it, or it cannot be written;
            nothing was written, and the message says what to do.
    """
    return _put(file, lambda now: rewritten(now, file.path.name, changes), f" {_by_hand(changes)}", then)


def written_text(file: ShopFile, text: str, then: str) -> tuple[ShopFile, Shop]:
    """The same with the whole text, made from the file's own by somebody who has loaded it. Raises as ``written``."""
    return _put(file, lambda _now: text, "", then)


def _put(file: ShopFile, made: Callable[[str], str], by_hand: str, then: str) -> tuple[ShopFile, Shop]:
    if file.refusal is not None:
        raise CannotCalibrate(file.refusal)
    path = file.path
    try:
        now = path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError):
        raise CannotCalibrate(f"{path} cannot be read any more. Nothing was written. Put it back and go on.") from None
    if now != file.text:
        raise CannotCalibrate(
            f"{path} was changed since the controller read it. Nothing was written. Restart the controller, then "
            f"{then}."
        )
    try:
        text = made(now)
        write_new(path, text.encode("utf-8"), replace=True)
    except CannotRewrite as trouble:
        raise CannotCalibrate(f"{trouble}. Nothing was written.") from None
    except FileTrouble as trouble:
        raise CannotCalibrate(
            f"{trouble}. Nothing was written. Let the controller's user write it and its folder, or write it by hand"
            f"{by_hand}."
        ) from None
    shop = load_shop(text, path.name)
    assert isinstance(shop, Shop)  # `rewritten` gives nothing back that is none
    return replace(file, text=text), shop


def _by_hand(changes: Sequence[Change]) -> str:
    parts: dict[str, list[str]] = {}
    for change in changes:
        parts.setdefault(" > ".join(change.part), []).append(f"{change.key}: {change.value}")
    return "; and ".join(f"under {part}: {', '.join(lines)}" for part, lines in parts.items())
