"""The keys under which the core's durable values are kept, and how they are read when a run begins.

Keys: ``starts/MOTOR`` {"level": starts in store, "locked": its record was lost}, ``on/MOTOR`` true while it is
commanded on, ``out_of_service/MOTOR`` {"who", "why", "since_s"}, ``latched/MOTOR`` a fault's code, ``held/GATE``
{"why", "worked"}, ``stuck/GATE`` true, ``emergency`` and ``fire`` true while latched, ``sparks`` true where somebody's
word latched the fire, ``clean_stop`` true after a clean stop, ``beat`` {"t_s", "on", "resumed_s"},
``setting/SUBJECT/spin_down_s`` seconds.
"""

from typing import Any

from gatekeeper.control.messages import Kept
from gatekeeper.control.plan import MotorPlan
from gatekeeper.control.starts import StartStore

#: A resumed run may follow a beat of at most this age (C21).
RESUME_BEAT_S = 60.0
#: ... and at most once in this time.
RESUME_AGAIN_S = 3600.0


def starts_key(motor: str) -> str:
    """Where a motor's start store is kept."""
    return f"starts/{motor}"


def on_key(motor: str) -> str:
    """Where it is kept that a motor was commanded on."""
    return f"on/{motor}"


def setting_key(subject: str) -> str:
    """Where a subject's spin-down setting is kept."""
    return f"setting/{subject}/spin_down_s"


def store_of(plan: MotorPlan, kept: Kept, now_s: float) -> StartStore:
    """The start store with which a run begins (C8a)."""
    store = StartStore(plan.starts_capacity, now_s, plan.starts_per_hour, plan.starts_capacity)
    if kept.fresh:
        return store
    value = kept.values.get(starts_key(plan.name))
    level = value.get("level") if isinstance(value, dict) else None
    if kept.damaged or isinstance(level, bool) or not isinstance(level, int | float) or not 0 <= level <= 1e6:
        return StartStore(1.0, now_s, plan.starts_per_hour, plan.starts_capacity, locked=True)
    level = min(float(level), plan.starts_capacity)
    if isinstance(value, dict) and value.get("locked"):
        return StartStore(level, now_s, plan.starts_per_hour, plan.starts_capacity, locked=True)
    if kept.values.get(on_key(plan.name)) and not kept.values.get("clean_stop"):
        level = max(0.0, level - 1.0)
    # When it stopped is not known: without a start in hand it rests from now on.
    rest_until_s = now_s + plan.rest_s if level < 1.0 else None
    return StartStore(level, now_s, plan.starts_per_hour, plan.starts_capacity, rest_until_s)


def out_of_service_of(motor: str, kept: Kept) -> tuple[str, str, float] | None:
    """Who took a motor out of service, why and since when; a damaged record counts as set (C14)."""
    if kept.damaged:
        return ("the controller", "the kept record could not be read", 0.0)
    value = kept.values.get(f"out_of_service/{motor}")
    if not value:
        return None
    fields: dict[str, Any] = value if isinstance(value, dict) else {}
    since = fields.get("since_s")
    return (str(fields.get("who", "somebody")), str(fields.get("why", "")), float(since or 0.0))


def may_resume(plan: MotorPlan, kept: Kept, now_s: float) -> bool:
    """The sole exception of C21: same boot, a fresh beat with this motor on, no latch, once an hour."""
    beat = kept.values.get("beat")
    if not (plan.resume and kept.same_boot and not kept.damaged and isinstance(beat, dict)):
        return False
    latched = kept.values.get("emergency") or kept.values.get("fire") or kept.values.get(f"latched/{plan.name}")
    resumed_s = beat.get("resumed_s")
    return (
        not latched
        and plan.name in beat.get("on", ())
        and 0 <= now_s - float(beat.get("t_s", -1e9)) <= RESUME_BEAT_S
        and (resumed_s is None or now_s - float(resumed_s) >= RESUME_AGAIN_S)
    )
