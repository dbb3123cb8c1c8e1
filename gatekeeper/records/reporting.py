"""How the two writers tell the service what is wrong with a file."""

from collections.abc import Callable

#: Told a code and a sentence when something is wrong, the code and None when it is well again. Called on the writer's
#: thread: it may only hand the news on, and must not raise. The codes:
#: ``kept_damaged``: the kept values were found damaged while running and written anew; never "well again".
#: ``not_kept``: the disk does not take the kept values.
#: ``history_damaged``: the history was set aside and begun anew; never "well again".
#: ``history_not_written``: the disk does not take the history.
Report = Callable[[str, str | None], None]


def tell_nobody(_code: str, _sentence: str | None) -> None:
    """For a caller who asks ``trouble`` instead."""
