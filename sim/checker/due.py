"""Things that must happen within a time: noticed at the first step after that time at which they have not."""

from sim.checker.form import TOL_S


class Due:
    """Remembers since when each obligation has been open, and tells once when it is overdue.

    The record only says what stood at each step. A step that itself does the thing late is not blamed: whoever drove
    the core may have given it no earlier chance.
    """

    def __init__(self) -> None:
        self._since: dict[tuple[str, str], float] = {}
        self._told: set[tuple[str, str]] = set()

    def clear(self) -> None:
        """A new process owes nothing yet."""
        self._since.clear()
        self._told.clear()

    def is_open(self) -> bool:
        """Whether any obligation is open now."""
        return bool(self._since or self._told)

    def forget(self, rule: str, name: str) -> None:
        """The obligation is met or gone."""
        if self._since or self._told:
            self._since.pop((rule, name), None)
            self._told.discard((rule, name))

    def overdue(self, rule: str, name: str, open_now: bool, t_s: float, within_s: float) -> bool:
        """Whether the obligation has stood, step after step, for longer than `within_s`; True once each time."""
        key = (rule, name)
        if not open_now:
            self.forget(rule, name)
            return False
        since = self._since.setdefault(key, t_s)
        if key in self._told or t_s <= since + within_s + TOL_S:
            return False
        self._told.add(key)
        return True

    def once(self, rule: str, name: str) -> bool:
        """Whether this was not told yet; it counts as told from now on."""
        key = (rule, name)
        fresh = key not in self._told
        self._told.add(key)
        return fresh
