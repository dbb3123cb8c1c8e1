"""``python -m gatekeeper`` is the same as the ``gatekeeper`` command."""

from gatekeeper.cli import main

if __name__ == "__main__":
    main()
