"""A made-up system for the install script: a tree below a folder, and programs that only note how they were called."""

import os
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

SCRIPT = Path(__file__).parents[2] / "hardware" / "install.sh"
STAMP = re.compile(r"\d{8}-\d{6}b*")

_NOTES = 'echo "{name} $*" >>"$BENCH/calls"\n'
_FAKES = {
    "id": "echo 0\n",
    "getconf": 'if [ -e "$BENCH/is-32-bit" ]; then echo 32; else echo 64; fi\n',
    "getent": 'grep -qx "$1 $2" "$BENCH/accounts"\n',
    "groupadd": _NOTES + 'for last; do :; done; echo "group $last" >>"$BENCH/accounts"\n',
    "useradd": _NOTES + 'for last; do :; done; echo "passwd $last" >>"$BENCH/accounts"\n',
    "userdel": _NOTES,
    "chown": _NOTES,
    "udevadm": _NOTES,
    "nmcli": _NOTES,
    "systemctl": _NOTES
    + """case "$1" in
    restart) [ ! -e "$BENCH/root/opt/gatekeeper/current/broken" ] || exit 1; touch "$BENCH/active" ;;
    stop) rm -f "$BENCH/active" ;;
    is-active) [ -e "$BENCH/active" ] && [ ! -e "$BENCH/root/opt/gatekeeper/current/broken" ] ;;
    show) if [ -e "$BENCH/root/opt/gatekeeper/current/flaps" ]; then echo x >>"$BENCH/restarts"; fi
        touch "$BENCH/restarts"; wc -l <"$BENCH/restarts" ;;
esac
""",
    # Makes an environment whose programs are made up, too.
    "python3": """[ "$1" != -c ] || exit 0
mkdir -p "$3/bin" "$3/lib/python3.11/site-packages/gatekeeper/examples"
echo "tools: {}" >"$3/lib/python3.11/site-packages/gatekeeper/examples/one-evening.yaml"
for mark in broken flaps; do if [ -e "$BENCH/next-$mark" ]; then touch "$3/$mark"; fi; done
cat >"$3/bin/python" <<'END'
#!/bin/sh
echo "pip $*" >>"$BENCH/calls"
[ ! -e "$BENCH/no-packages" ]
END
cat >"$3/bin/gatekeeper" <<'END'
#!/bin/sh
if grep -q wrong "$2"; then echo "Stops you: line 1."; exit 2; fi
END
chmod +x "$3/bin/python" "$3/bin/gatekeeper"
""",
}


@dataclass
class System:
    """The made-up system in a folder."""

    folder: Path

    def __post_init__(self) -> None:
        programs = self.folder / "programs"
        programs.mkdir()
        for name, body in _FAKES.items():
            (programs / name).write_text("#!/bin/sh\n" + body.replace("{name}", name), encoding="utf-8")
            (programs / name).chmod(0o755)
        (self.folder / "accounts").write_text("group dialout\n", encoding="utf-8")
        (self.root / "run/systemd/system").mkdir(parents=True)

    @property
    def root(self) -> Path:
        return self.folder / "root"

    @property
    def opt(self) -> Path:
        return self.root / "opt/gatekeeper"

    @property
    def shop(self) -> Path:
        return self.root / "etc/gatekeeper/shop.yaml"

    @property
    def unit(self) -> Path:
        return self.root / "etc/systemd/system/gatekeeper.service"

    def mark(self, name: str) -> None:
        (self.folder / name).touch()

    def unmark(self, name: str) -> None:
        (self.folder / name).unlink()

    def run(self, *words: str, typed: str = "") -> "subprocess.CompletedProcess[str]":
        """The script with these words; ``calls`` begins anew."""
        (self.folder / "calls").write_text("", encoding="utf-8")
        path = f"{self.folder / 'programs'}:{os.environ['PATH']}"
        return subprocess.run(
            ["/bin/sh", str(SCRIPT), *words, "--root", str(self.root)],
            capture_output=True,
            text=True,
            input=typed,
            env={"PATH": path, "BENCH": str(self.folder), "HOME": str(self.folder)},
            check=False,
            timeout=60,
        )

    def install(self, *words: str) -> "subprocess.CompletedProcess[str]":
        return self.run(*words, "--hold", "0")

    def said(self, done: "subprocess.CompletedProcess[str]") -> list[str]:
        """What was printed, with every version called V and the tree left out."""
        return STAMP.sub("V", done.stdout + done.stderr).replace(str(self.root), "").splitlines()

    def calls(self, program: str) -> list[str]:
        text = (self.folder / "calls").read_text(encoding="utf-8").replace(str(self.root), "")
        return [line.removeprefix(f"{program} ") for line in text.splitlines() if line.startswith(f"{program} ")]

    def version(self, link: str = "current") -> str:
        return (self.opt / link).resolve().name

    def versions(self) -> list[str]:
        return sorted(path.name for path in (self.opt / "versions").iterdir())
