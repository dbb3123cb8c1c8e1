"""Where the example shops lie: inside an installed package, or in ``config/`` beside a checkout's package."""

from importlib import resources
from pathlib import Path


def folder() -> Path:
    """The folder of the example shops."""
    packed = Path(str(resources.files("gatekeeper") / "examples"))
    if packed.is_dir():
        return packed
    return Path(str(resources.files("gatekeeper"))).parent / "config"


def names() -> tuple[str, ...]:
    """The names of the example shops, in order of the alphabet: ``one-evening`` and so on."""
    return tuple(sorted(path.stem for path in folder().glob("*.yaml")))


def example(name: str) -> Path:
    """The file of one example shop. Raises KeyError when there is none of that name."""
    if name not in names():
        raise KeyError(name)
    return folder() / f"{name}.yaml"
