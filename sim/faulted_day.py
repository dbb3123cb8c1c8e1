"""A working day with faults: what people do by a shop's usual pattern, and something that breaks every two hours.

Quieter than a busy half-hour, and as long as a shop is open: what wears, waits or adds up over hours shows here. In
each two hours one fault of the catalogue, or a pair, comes at a random moment; it is mended and put right before the
next two hours begin, so that the shop works on.
"""

import random
from collections.abc import Sequence

from gatekeeper.shop.model import Shop
from sim.catalogue_row import Fault
from sim.day import begins_s, working_day
from sim.day_pattern import default_pattern
from sim.half_hour import PUT_RIGHT_S, Put, asked_by_people, in_order, log_drawn, possible, put_in, put_right
from sim.happening import Happening

#: A day is played for so long from its beginning, seconds.
DAY_LENGTH_S = 8 * 3600.0
#: One fault, or one pair, in each such part of the day, seconds.
PART_S = 2 * 3600.0
PARTS = int(DAY_LENGTH_S / PART_S)
#: A person asks for something this often, seconds in the mean. Our own assumption.
ASKS_EVERY_S = 2400.0
#: A fault that nobody mends soon is mended this long before the next part begins, seconds.
LAST_MENDED_S = 300.0


def day_with_faults(
    shop: Shop, draw: random.Random, combinations: Sequence[Sequence[Fault]]
) -> tuple[list[Happening], list[Put], float]:
    """One working day: what happens, in play seconds; the faults in it; and the wall clock at its beginning.

    Args:
        combinations: at most ``PARTS`` faults alone or in pairs, each of which the shop can have.

    Raises:
        ValueError: the shop has nothing that one of them could befall.
    """
    pattern = default_pattern(shop)
    begin_s = begins_s(pattern)
    work = [
        Happening(one.at_s - begin_s, one.what, one.subject, one.value)
        for one in working_day(shop, pattern, random.Random(draw.random()))
        if one.at_s >= begin_s
    ]
    found = in_order([*work, *asked_by_people(shop, draw, DAY_LENGTH_S, ASKS_EVERY_S)], DAY_LENGTH_S)
    puts: list[Put] = []
    for part, faults in enumerate(combinations):
        begins, ends = part * PART_S, (part + 1) * PART_S - LAST_MENDED_S
        near = [one for one in found if begins <= one.at_s < ends]
        last_s = 0.0
        for fault in faults:
            happenings, put = put_in(shop, draw, fault, near, begins, ends, ends)
            puts.append(put)
            found += happenings
            last_s = max(last_s, put.until_s)
        if faults:
            found += put_right(shop, last_s + log_drawn(draw, PUT_RIGHT_S))
    return possible(in_order(found, DAY_LENGTH_S)), puts, begin_s
