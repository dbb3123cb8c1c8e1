"""Checks the control rules from outside, from the record alone.

It knows the rules and the description of the record, and nothing of the core that wrote it: it shares no code with it.

Where the rules leave a choice, these readings are used; where two readings allow different things, neither is blamed.

1. Times may be out by 1 ms; a stop or start that is due must be in the first step more than a second after it is due.
   A step that does it late is blamed only with `punctual=True`.
2. An open gate without a switch is proven `travel_s` after its open command. Dead time on a reversal lengthens the
   move for C11, not the proof. A switch that says open proves the gate unless it is moving shut.
3. A gate with a switch that does not arrive moves no longer than its travel for C11, but up to 10 s more as an excuse.
4. A command that repeats what the gate has already done takes no slot.
5. A tool found running (no reading before, or lost before) gets its gate and is no cause; a tool lost within its hold
   goes on as it was. The word of a person that a tool has stopped counts until its next change of reading.
6. Starts seen while a motor is forbidden (C13, C14, C24, C25 off, C27) or latched (C9) never become causes. Starts seen
   in Hand or while the sensors settle may be, and need not be. Shutting the shop uses up what has not started yet:
   unlocking starts nothing.
7. Clear times and delays bind a voluntary stop only for tools that ran with the motor or are its cause; a run by hand
   counts from its request for the earliest stop, and from the motor's start for the latest.
8. A lost tool's hold ends as a stop: mildest for the earliest stop (no delay after it), longest for the latest.
9. C13 and C24 tell off every motor; C14, C16 and C25 those that are on; waking (C15) all.
10. `starts_stored` of a `shop` entry may stand before or after the charge of waking (C8a): the lower counts.
11. C5 is not asked of room air cleaners and filter shakers, whose times the record does not give.
12. A gate that stays open after its clear time is excused by any entry about it with a reason since the tool's stop.
13. Refusing `stop` breaks C16, refusing `out_of_service` breaks C14, unless it names no motor of the shop.
14. A circuit that is declared and was not read since waking may count as open where a message about it says so.
15. Clearing the alarm of a gate is no release. A damaged record forgets holds and latches, and counts as out of
    service for every motor.
16. Clear is about the motor that it names. A delay made longer brings no cause back; turning to Hand uses causes up.
    A stop that could be of two kinds (C5, or C9 and C12) is judged as what the record calls it.
17. A motor whose `state` says `latched` beside an alarm of the highest heap owes no start, and takes up no cause.
18. A reading with `fresh` false is a fact and no cause: the change itself was not watched.
19. A lost run sensor (`motor_sensor`) says nothing: the motor is then as one that nothing confirms. After waking, a
    motor that runs though told off is judged once the sensors have settled.
20. A gate that waits and has said so owes no second word for a second tool behind it. Where air is not proved, the gate
    shut last opens again; those that were shut before it need not.
21. The open switch of a stuck gate need not be believed as path. A lost path may open again in the slot that it still
    has, before a first attempt that waits (C3 before C11 and C4).
"""

from sim.checker.judge import Checker, check_record
from sim.checker.violation import FORM, GUARD, Violation, ten_before

__all__ = ["FORM", "GUARD", "Checker", "Violation", "check_record", "ten_before"]
