#!/bin/sh
# Puts the controller on a board as a service, brings a newer one, goes back, takes it off. See deployment.md.
set -eu
umask 022

usage() {
    cat <<'END'
sh install.sh [install]       put this version on the board; on a board that has one it is the upgrade
    --shop FILE               the shop file, or the name of an example; kept if the board has one already. Without one
                              the board asks for its shop on its page
    --pins gpiod|lgpio        the pin library of the service (lgpio for servos on the board's own pins)
    --wheels FOLDER           take every package from this folder, nothing from the internet
    --from FILE.whl           this packed version instead of the folder around this script
    --hold SECONDS            how long a new version must stay ready before it is kept (default 10)
sh install.sh back            go back to the version before
sh install.sh board           switch on SPI, I2C, strict pins and the board's own watchdog; then restart the board
sh install.sh access-point NAME    the board's own Wi-Fi; the password is read from standard input
sh install.sh uninstall [--with-data]
--root DIR with any of them   write below DIR (for trying it out)
END
}

say() { printf '%s\n' "$1"; }
die() { printf '%s\n' "$1" >&2; exit 1; }

verb=install
case "${1:-}" in
    install | back | board | uninstall) verb=$1; shift ;;
    access-point) verb=$1; name=${2:-}; shift; [ $# -eq 0 ] || shift ;;
esac
root='' shop='' pins='' wheels='' from='' hold=10 with_data=''
while [ $# -gt 0 ]; do
    case "$1" in
        --with-data) with_data=yes; shift; continue ;;
        -h | --help) usage; exit 0 ;;
        --shop | --pins | --wheels | --from | --hold | --root) ;;
        *) usage >&2; die "$1 is no word that install.sh knows." ;;
    esac
    [ $# -ge 2 ] || die "$1 needs a value after it."
    case "$1" in
        --shop) shop=$2 ;; --pins) pins=$2 ;; --wheels) wheels=$2 ;;
        --from) from=$2 ;; --hold) hold=$2 ;; --root) root=${2%/} ;;
    esac
    shift 2
done
case "$pins" in '' | gpiod | lgpio) ;; *) die "The pins are $pins; gpiod and lgpio are allowed." ;; esac
case "$hold" in '' | *[!0-9]*) die "The hold time is $hold; a whole number of seconds is allowed." ;; esac
[ "$(id -u)" = 0 ] || die "This changes the system: run it as root, as in: sudo sh $0"

here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
project=$(dirname -- "$here")
opt=$root/opt/gatekeeper
config=$root/etc/gatekeeper
state=$root/var/lib/gatekeeper
units=$root/etc/systemd/system
rules=$root/etc/udev/rules.d/60-gatekeeper.rules
modules=$root/etc/modules-load.d/gatekeeper.conf
command=$root/usr/local/bin/gatekeeper
making=''

# ---------------------------------------------------------------- versions

# The version that a link leads to, or nothing.
version_at() { if [ -L "$opt/$1" ]; then basename "$(readlink "$opt/$1")"; fi; }

# Whether a service manager runs here; none does in the tree of a card that is being made.
has_manager() { [ -d "$root/run/systemd/system" ]; }
reload_units() { if has_manager; then systemctl daemon-reload; fi; }

# Lets a link lead to a version, in one step.
point() { ln -sfn "versions/$2" "$opt/.$1" && mv -T "$opt/.$1" "$opt/$1"; }

# Makes a version the one that runs at the next start, with the unit that belongs to it.
switch_to() {
    point current "$1"
    mkdir -p "$units"
    cp "$opt/versions/$1/gatekeeper.service" "$units/gatekeeper.service"
    reload_units
}

# Starts the service and says whether it became ready and stayed so for the hold time.
becomes_ready() {
    timeout 150 systemctl restart gatekeeper.service || return 1
    restarts=$(systemctl show --property=NRestarts --value gatekeeper.service)
    left=$hold
    while :; do
        systemctl is-active --quiet gatekeeper.service || return 1
        [ "$(systemctl show --property=NRestarts --value gatekeeper.service)" = "$restarts" ] || return 1
        [ "$left" -gt 0 ] || return 0
        left=$((left - 1))
        sleep 1
    done
}

# The last version that became ready, or nothing. One that runs now has.
last_ready() {
    if has_manager && [ -e "$opt/current" ] && systemctl is-active --quiet gatekeeper.service; then
        touch "$opt/current/became-ready"
    fi
    for link in current previous; do
        if [ -e "$opt/$link/became-ready" ]; then
            version_at "$link"
            return
        fi
    done
}

# Keeps the version that runs and the one before; older ones and failed ones go.
prune() {
    for old in "$opt"/versions/*; do
        case "$(basename "$old")" in "$(version_at current)" | "$(version_at previous)") ;; *) rm -rf "$old" ;; esac
    done
}

# ---------------------------------------------------------------- install, upgrade, back

find_python() {
    for candidate in python3 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null; then
            python=$candidate
            return
        fi
    done
    die "Python 3.11, 3.12 or 3.13 is needed and none was found. Debian 12 and 13 have it: apt-get install python3-venv"
}

prepare_system() {
    [ "$(getconf LONG_BIT)" = 64 ] || die "A 64-bit system is needed: the packages are not made for a 32-bit one."
    find_python
    if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        say "Installing Debian's python3-venv."
        DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends python3-venv >/dev/null ||
            die "Python cannot make environments: install Debian's package python3-venv, then run this again."
    fi
    for group in gatekeeper gpio i2c spi dialout; do
        getent group "$group" >/dev/null || groupadd --system "$group"
    done
    getent passwd gatekeeper >/dev/null || useradd --system --gid gatekeeper --home-dir /var/lib/gatekeeper \
        --no-create-home --shell /usr/sbin/nologin gatekeeper
    mkdir -p "$opt/versions" "$config" "$state" "$(dirname "$command")" "$(dirname "$rules")" "$(dirname "$modules")"
    chown gatekeeper:gatekeeper "$config" "$state"
    chmod 0750 "$config" "$state"
    echo i2c-dev >"$modules"
    rm -f "$rules"
    if ! grep -qs 'GROUP="gpio"' "$root"/etc/udev/rules.d/*.rules "$root"/usr/lib/udev/rules.d/*.rules \
        "$root"/lib/udev/rules.d/*.rules; then
        cp "$here/60-gatekeeper.rules" "$rules"
        udevadm control --reload 2>/dev/null || true
        udevadm trigger --subsystem-match=gpio --subsystem-match=spidev --subsystem-match=i2c-dev 2>/dev/null || true
    fi
}

# Lays a new version beside the others and leaves its name in "new".
make_version() {
    new=$(date -u +%Y%m%d-%H%M%S)
    while [ -e "$opt/versions/$new" ]; do new=${new}b; done
    making=$opt/versions/$new
    say "Laying version $new beside the others."
    "$python" -m venv "$making"
    set -- "${from:-$project}[board]"
    [ -z "$wheels" ] || set -- --no-index --find-links "$wheels" "$@"
    "$making/bin/python" -m pip install --quiet --disable-pip-version-check --no-cache-dir "$@" ||
        die "The packages could not be installed; nothing was changed. Without internet, give a folder with --wheels."
    # The pins stay as they are unless told.
    if [ -z "$pins" ] && [ -e "$opt/current/gatekeeper.service" ]; then
        pins=$(sed -n 's/^Environment=GATEKEEPER_PINS=//p' "$opt/current/gatekeeper.service")
    fi
    sed "s/^Environment=GATEKEEPER_PINS=.*/Environment=GATEKEEPER_PINS=${pins:-gpiod}/" "$here/gatekeeper.service" \
        >"$making/gatekeeper.service"
}

# Leaves in "laid" the shop file that the new version has accepted, or nothing where there is none yet.
check_shop_file() {
    laid=''
    if [ -e "$config/shop.yaml" ]; then
        laid=$config/shop.yaml
        [ -z "$shop" ] || say "The board has a shop file already, $laid; $shop was not taken."
    elif [ -n "$shop" ]; then
        laid=$shop
        [ -f "$laid" ] || laid=$(echo "$making"/lib/python3*/site-packages/gatekeeper/examples/"$shop".yaml)
        [ -f "$laid" ] || die "There is no shop file $shop, and no example of that name; nothing was changed."
    fi
    [ -n "$laid" ] || return 0
    if ! "$making/bin/gatekeeper" check "$laid" >"$making/check.txt" 2>&1; then
        cat "$making/check.txt" >&2
        die "This version does not accept $laid; nothing was changed."
    fi
    [ "$laid" = "$config/shop.yaml" ] || cp "$laid" "$config/shop.yaml"
    chown gatekeeper:gatekeeper "$config/shop.yaml"
    chmod 0640 "$config/shop.yaml"
}

# Says where the board asks for its shop.
asks_for_shop() {
    pin="in $state/pin"
    if [ -r "$state/pin" ]; then pin=$(cat "$state/pin"); fi
    say "There is no shop file: the board asks for it on its page. http://$(uname -n).local:8080/ PIN: $pin"
}

install_version() {
    trap 'if [ -n "$making" ]; then rm -rf "$making"; fi' EXIT
    trap 'exit 1' HUP INT TERM
    prepare_system
    make_version
    check_shop_file
    before=$(last_ready)
    switch_to "$new"
    ln -sfn /opt/gatekeeper/current/bin/gatekeeper "$command"
    making=''
    systemctl enable --quiet gatekeeper.service
    if ! has_manager; then
        say "Installed. No service manager runs here; the controller starts with the board."
        [ -n "$laid" ] || say "There is no shop file: the board then asks for it on its page."
        return
    fi
    say "Starting it; it must become ready and stay so for $hold s."
    if becomes_ready; then
        touch "$opt/versions/$new/became-ready"
        if [ -n "$before" ]; then point previous "$before"; fi
        prune
        say "Version $new runs."
        [ -n "$laid" ] || asks_for_shop
        return
    fi
    [ -n "$before" ] ||
        die "Version $new did not become ready. What it said: journalctl -u gatekeeper -n 50. Then: gatekeeper doctor"
    switch_to "$before"
    prune
    becomes_ready || die "Version $new did not become ready, and $before, which ran before, does not now. Turn the collector's switch to Hand, and see: journalctl -u gatekeeper -n 50"
    die "Version $new did not become ready; $before runs again, as before. What it said: journalctl -u gatekeeper -n 80"
}

go_back() {
    before=$(version_at previous)
    [ -n "$before" ] || die "There is no version before this one."
    now=$(version_at current)
    switch_to "$before"
    if becomes_ready; then
        point previous "$now"
        say "Version $before runs. To go forward again: sh install.sh back"
        return
    fi
    switch_to "$now"
    becomes_ready || die "Neither $before nor $now becomes ready. Turn the collector's switch to Hand, and see: journalctl -u gatekeeper -n 50"
    die "Version $before did not become ready; $now runs again."
}

# ---------------------------------------------------------------- board, access point, uninstall

set_up_board() {
    found=''
    for text in "$root/boot/firmware/config.txt" "$root/boot/config.txt"; do
        [ -e "$text" ] || continue
        found=$text
        [ -e "$text.before-gatekeeper" ] || cp "$text" "$text.before-gatekeeper"
        section='[all]\n'
        for line in dtparam=spi=on dtparam=i2c_arm=on dtparam=strict_gpiod; do
            grep -qx "$line" "$text" && continue
            # shellcheck disable=SC2059  # the section is ours
            printf "$section%s\n" "$line" >>"$text"
            section=''
        done
        break
    done
    [ -n "$found" ] || say "There is no config.txt: switch on SPI and I2C in this board's own way."
    mkdir -p "$root/etc/systemd/system.conf.d"
    printf '[Manager]\nRuntimeWatchdogSec=10\n' >"$root/etc/systemd/system.conf.d/gatekeeper.conf"
    say "Set. It holds from the next start of the board: reboot"
}

set_up_access_point() {
    case "$name" in
        '' | *[!A-Za-z0-9\ _-]*) die "The Wi-Fi's name may have letters, digits, spaces, - and _, and must not be empty." ;;
    esac
    [ ${#name} -le 32 ] || die "The Wi-Fi's name may have 32 characters."
    command -v nmcli >/dev/null || die "NetworkManager is needed: apt-get install network-manager dnsmasq-base"
    IFS= read -r password || true
    { [ ${#password} -ge 8 ] && [ ${#password} -le 63 ]; } || die "The Wi-Fi's password has 8 to 63 characters."
    case "$password" in *[!\ -~]* | *\\*) die "The Wi-Fi's password may have plain letters, digits and signs but no backslash." ;; esac
    folder=$root/etc/NetworkManager/system-connections
    mkdir -p "$folder"
    (
        umask 077
        cat >"$folder/gatekeeper.nmconnection" <<END
[connection]
id=gatekeeper
type=wifi
autoconnect=true

[wifi]
mode=ap
band=bg
ssid=$name

[wifi-security]
key-mgmt=wpa-psk
psk=$password

[ipv4]
method=shared
address1=10.77.0.1/24

[ipv6]
method=disabled
END
    )
    nmcli connection reload
    nmcli connection up gatekeeper
    say "The board's own Wi-Fi is on. Join $name with the phone, then open http://10.77.0.1:8080/"
}

uninstall() {
    if has_manager; then systemctl stop gatekeeper.service 2>/dev/null || true; fi
    systemctl disable --quiet gatekeeper.service 2>/dev/null || true
    rm -rf "$units/gatekeeper.service" "$rules" "$modules" "$command" "$opt" \
        "$root/etc/systemd/system.conf.d/gatekeeper.conf"
    reload_units
    if [ -z "$with_data" ]; then
        say "Taken off. Kept: $config and $state (take them too with: uninstall --with-data)."
        return
    fi
    rm -rf "$config" "$state"
    if getent passwd gatekeeper >/dev/null; then userdel gatekeeper; fi
    say "Taken off, with shop file, settings, counters and history."
}

case "$verb" in
    install) install_version ;;
    back) go_back ;;
    board) set_up_board ;;
    access-point) set_up_access_point ;;
    uninstall) uninstall ;;
esac
