"""Fine dust in the air of the room: one well-mixed zone, cleaned by the room air cleaner and a little by itself.

Theory of operation. With ``a`` air changes an hour and a steady source, the dust goes towards source over ``a`` like
exp(-a t). Of the chips that escape their hoods a small share is fine enough to stay in the air. The cleaner holds back
all that passes it. Known only for a shop whose file gives its air cleaner a room and a flow.
"""

import math

from gatekeeper.shop.model import MotorKind, Shop

#: Of escaped chips, the share that stays in the air. Our own.
AIRBORNE_SHARE = 0.001
#: What a room loses by itself: leaks and settling, air changes an hour. Our own.
BY_ITSELF_PER_H = 0.5
HOUR_S = 3600.0


def after(dust: float, changes_per_h: float, passed_s: float, source_per_s: float = 0.0) -> float:
    """Dust in the room after a time, in whatever unit the source has.

    Args:
        dust: now.
        changes_per_h: air changes an hour, 0 or more.
        passed_s: how long.
        source_per_s: a steady source.
    """
    per_s = changes_per_h / HOUR_S
    if per_s <= 0.0:
        return dust + source_per_s * passed_s
    goal = source_per_s / per_s
    return goal + (dust - goal) * math.exp(-per_s * passed_s)


class RoomAir:
    """The room of one shop.

    Args:
        shop: the shop.
    """

    def __init__(self, shop: Shop) -> None:
        cleaners = [motor for motor in shop.motors.values() if motor.kind is MotorKind.AIR_CLEANER]
        self._flows_m3s = {
            motor.name: motor.flow_m3s for motor in cleaners if motor.room_m3 is not None and motor.flow_m3s is not None
        }
        rooms = [motor.room_m3 for motor in cleaners if motor.name in self._flows_m3s]
        self.room_m3: float | None = max((room for room in rooms if room is not None), default=None)
        self.dust_mg = 0.0
        self.worst_mg = 0.0

    def pass_time(self, passed_s: float, escaped_kg: float, running: set[str]) -> None:
        """Let time pass, with what escaped in it, evenly, and the motors that ran."""
        if self.room_m3 is None or not (self.dust_mg or escaped_kg):
            return
        cleaned_m3s = sum(flow for name, flow in self._flows_m3s.items() if name in running)
        changes_per_h = BY_ITSELF_PER_H + cleaned_m3s / self.room_m3 * HOUR_S
        source_mg_s = escaped_kg * 1e6 * AIRBORNE_SHARE / passed_s
        self.dust_mg = after(self.dust_mg, changes_per_h, passed_s, source_mg_s)
        self.worst_mg = max(self.worst_mg, self.dust_mg)

    @property
    def worst_mg_m3(self) -> float | None:
        """The most dust in the room's air until now; None where the room is not known."""
        return None if self.room_m3 is None else self.worst_mg / self.room_m3

    @property
    def now_mg_m3(self) -> float | None:
        """The dust in the room's air now; None where the room is not known."""
        return None if self.room_m3 is None else self.dust_mg / self.room_m3
