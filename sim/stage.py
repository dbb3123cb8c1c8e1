"""What every play of one shop needs and none changes: the core's plan, the solved air, what the machines draw."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from gatekeeper.control.plan import Plan
from gatekeeper.service.air_systems import AirSystem, air_systems
from gatekeeper.service.air_table import computed_air
from gatekeeper.service.drive_table import SpeedTable, speed_tables
from gatekeeper.service.planning import plan_of
from gatekeeper.shop.model import Shop
from sim.currents import Load
from sim.duct_air import DuctAir
from sim.loads import load_of_motor, load_of_tool

#: An "on" holds for a few seconds and most steps of a day only renew it. Where nothing can befall the controller in a
#: play, and nobody reads the renewals, it holds for this long instead: a tenth of a day's steps are left, and the rest
#: are the same (a test holds both plays equal).
LONG_LEASE_S = 3600.0


@dataclass(frozen=True, slots=True)
class Stage:
    """One shop, ready to be played any number of times in one thread.

    ``air``: by motor, empty without air and where the ducts cannot be solved, and then ``unsolved`` says why. What was
    solved in one play is remembered for the next. ``speeds``: of motors on drives that follow the air.
    """

    shop: Shop
    plan: Plan
    air: Mapping[str, DuctAir] = field(default_factory=dict)
    tool_loads: Mapping[str, Load] = field(default_factory=dict)
    motor_loads: Mapping[str, Load] = field(default_factory=dict)
    unsolved: str | None = None
    speeds: Mapping[str, SpeedTable] = field(default_factory=dict)

    def with_long_leases(self) -> "Stage":
        """The same for plays in which the controller itself is never cut off, killed or held up."""
        motors = {name: replace(motor, lease_s=LONG_LEASE_S) for name, motor in self.plan.motors.items()}
        return replace(self, plan=replace(self.plan, motors=motors))


def stage_of(shop: Shop, *, with_air: bool = True) -> Stage:
    """Make a shop ready, as the service does at its start: a few tenths of a second with air.

    Args:
        shop: the checked shop.
        with_air: solve the ducts. Without, the core has no table of air, and the plays know no flows and no chips.
    """
    systems: Mapping[str, AirSystem] = {}
    speeds: Mapping[str, SpeedTable] = {}
    unsolved = None
    plan = None
    if with_air:
        try:
            systems = air_systems(shop)
            computed = computed_air(systems)
            plan = plan_of(shop, computed)
            speeds = speed_tables(shop, computed)
        except ValueError as why:
            systems, unsolved = {}, str(why)
    return Stage(
        shop,
        plan if plan is not None else plan_of(shop),
        {name: DuctAir(system) for name, system in systems.items()},
        {name: load_of_tool(shop, tool) for name, tool in shop.tools.items()},
        {name: load_of_motor(motor) for name, motor in shop.motors.items()},
        unsolved,
        speeds,
    )
