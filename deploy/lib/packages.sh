# shellcheck shell=bash
# System packages: what is missing, and apt to bring it where it may.

# packages_ensure LOCK [browser]: install what is missing, or say what is wanted
# and stop. LOCK is the lock file of the Python packages.
packages_ensure() {
    local missing packages version_note=
    missing=$(missing_parts "$@")
    [[ -n $missing ]] || return 0

    find_install_rights
    if [[ $MAY_INSTALL == yes ]]; then
        step "Reading the lists of packages" refresh_package_lists
    fi
    packages=$(packages_for "$missing")
    if [[ $MAY_INSTALL != yes ]]; then
        fail "system packages are missing, and this user may not install any ($WHY_NOT)." \
            "Ask an administrator to run this, then call $PROGRAM again:" "" \
            "  apt-get update && apt-get install --no-install-recommends $packages"
    fi

    [[ $missing != *postgis* || -d /usr/lib/postgresql ]] || version_note=yes
    # shellcheck disable=SC2086 # a list of package names
    step "Installing $(wc -w <<<"$packages") system packages" install_packages $packages
    [[ -z $version_note ]] ||
        say "  (PostgreSQL came without a system cluster; pg_createcluster makes one if you want it.)"
    missing=$(missing_parts "$@")
    [[ -z $missing ]] || fail "still missing after the installation: $(xargs <<<"$missing")" "See $SETUP_LOG."
}

# One word a line for each part that is not there.
missing_parts() {
    local lock=$1 browser=${2:-} libraries
    libraries=$(ldconfig -p)
    venv_is_current "$lock" || [[ -n $(find_python) ]] || echo python
    [[ -n $(postgres_bin_dir) && -x $(postgres_bin_dir)/initdb ]] || echo postgis
    [[ $libraries == *libgdal.so* ]] || echo gdal
    [[ $libraries == *libpango-1.0.so* && $libraries == *libpangoft2-1.0.so* ]] || echo pango
    [[ -f /usr/share/fonts/truetype/dejavu/DejaVuSans.ttf ]] || echo fonts
    [[ $browser != browser || -n $(find_browser) ]] || echo browser
    [[ $browser != browser || -n $(command -v soffice) ]] || echo office
    [[ $browser != browser || -n $(command -v Rscript) ]] || echo r
    [[ $browser != browser || -n $(command -v gpg) ]] || echo gnupg
    [[ $browser != browser || -n $(command -v nginx) ]] || echo nginx
    [[ $browser != browser || -n $(command -v pgbouncer) ]] || echo pgbouncer
    [[ $browser != browser || -n $(command -v firefox-esr) ]] || echo firefox
    [[ $browser != browser ]] || has_webkit || echo webkit
}

# Its driver, the bindings for a window of our own, a screen, and what it plays sound with.
has_webkit() {
    local names=(webkit2gtk-driver gir1.2-webkit2-4.1 python3-gi xvfb gstreamer1.0-plugins-bad gstreamer1.0-libav)
    [[ $(dpkg-query -W -f='${db:Status-Status}\n' "${names[@]}" 2>/dev/null | grep -c '^installed$') -eq ${#names[@]} ]]
}

find_browser() { "${BASH_SOURCE[0]%/*}/find_browser" || true; }

# Sets MAY_INSTALL, WHY_NOT and SUDO.
find_install_rights() {
    MAY_INSTALL=no
    SUDO=()
    if ! command -v apt-get >/dev/null; then
        WHY_NOT="there is no apt-get"
    elif [[ $(id -u) -eq 0 ]]; then
        MAY_INSTALL=yes
    elif ! command -v sudo >/dev/null; then
        WHY_NOT="not root, and there is no sudo"
    elif sudo -n true 2>/dev/null || { [[ -t 0 ]] && sudo -v; }; then
        MAY_INSTALL=yes
        SUDO=(sudo)
    else
        WHY_NOT="not root, and sudo refuses"
    fi
}

apt() {
    "${SUDO[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -q -y -o DPkg::Lock::Timeout=300 "$@"
}

# Without a network the lists may still be good enough.
refresh_package_lists() { apt update || echo "The lists could not be refreshed."; }

packages_for() {
    local part
    for part in $1; do
        "packages_for_$part"
    done | xargs
}

packages_for_gdal() { echo gdal-bin; }
packages_for_pango() {
    echo libpango-1.0-0 libpangoft2-1.0-0
    if has_candidate libharfbuzz-subset0; then echo libharfbuzz-subset0; fi
}
packages_for_fonts() { echo fonts-dejavu-core; }
# The tests open a workbook in a spreadsheet program.
packages_for_office() { echo libreoffice-calc-nogui; }
# The tests run the examples in R that the pages show.
packages_for_r() { echo r-base-core; }
# The tests encrypt a backup.
packages_for_gnupg() { echo gnupg; }
# The tests put the proxy of deploy/nginx in front of a server.
packages_for_nginx() { echo nginx; }
# And a pool of connections behind it.
packages_for_pgbouncer() { echo pgbouncer; }
# The tests survey an evening in the makes of browser that phones have: Firefox, and WebKit as GTK
# ships it, which plays sound by GStreamer.
packages_for_firefox() { echo firefox-esr; }
packages_for_webkit() {
    echo webkit2gtk-driver gir1.2-webkit2-4.1 python3-gi xvfb
    echo gstreamer1.0-plugins-good gstreamer1.0-plugins-bad gstreamer1.0-libav
}
packages_for_browser() {
    local name
    for name in chromium-headless-shell chromium chromium-browser; do
        if has_candidate "$name"; then echo "$name" && return; fi
    done
}

packages_for_python() {
    local version
    if [[ -z $(apt_version python3) ]] || at_least_3_11 "$(apt_version python3)"; then
        echo python3 python3-venv
        return
    fi
    for version in 3.13 3.12 3.11; do
        if has_candidate "python$version-venv"; then
            echo "python$version" "python$version-venv"
            return
        fi
    done
    fail "Python 3.11 or newer is needed, and this release has none." \
        "Debian 12 and Ubuntu 24.04 have it; on older ones put python3.11 with its venv module on the PATH."
}

packages_for_postgis() {
    local version
    version=$(wanted_postgres_version)
    if [[ -n $version ]]; then
        echo "postgresql-$version" "postgresql-$version-postgis-3"
    else
        echo postgresql postgresql-postgis
    fi
}

# The version that made the data; else the newest installed server for which
# PostGIS can be had; else the newest pair that apt knows.
wanted_postgres_version() {
    local version
    if [[ -f $CLUSTER_DATA/PG_VERSION ]]; then
        version=$(<"$CLUSTER_DATA/PG_VERSION")
        has_candidate "postgresql-$version-postgis-3" ||
            fail "$CLUSTER_DATA was made by PostgreSQL $version, which this release does not have." \
                "Install it from elsewhere, or give the data up with: deploy/demo --fresh"
        echo "$version"
        return
    fi
    for version in $(installed_postgres_versions) $(apt_postgis_versions); do
        if has_candidate "postgresql-$version-postgis-3"; then
            echo "$version"
            return
        fi
    done
    usual_postgres_version
}

installed_postgres_versions() {
    local program
    for program in /usr/lib/postgresql/*/bin/initdb; do
        [[ ! -x $program ]] || echo "$program"
    done | cut -d/ -f5 | sort -rn
}

apt_postgis_versions() {
    command -v apt-cache >/dev/null || return 0
    apt-cache pkgnames postgresql- | sed -n 's/^postgresql-\([0-9]*\)-postgis-3$/\1/p' | sort -rn
}

# What the release ships, for a machine whose package lists are empty.
usual_postgres_version() {
    case $(os_release VERSION_CODENAME) in
        jammy) echo 14 ;;
        bookworm) echo 15 ;;
        noble) echo 16 ;;
        trixie) echo 17 ;;
    esac
}

os_release() { sed -n "s/^$1=\"\{0,1\}\([^\"]*\).*/\1/p" /etc/os-release; }

has_candidate() { [[ -n $(apt_version "$1") ]]; }

# The version of a package that apt would install; nothing if there is none.
apt_version() {
    command -v apt-cache >/dev/null || return 0
    apt-cache policy "$1" | sed -n 's/^  Candidate: \([^(].*\)/\1/p'
}

at_least_3_11() {
    local major minor
    IFS=. read -r major minor _ <<<"$1"
    ((major > 3 || (major == 3 && minor >= 11)))
}

# Debian's packages start what they bring: PostgreSQL on port 5432, nginx on port 80,
# unless they are told not to.
NO_MAIN_CLUSTER=/etc/postgresql-common/createcluster.d/duskpool-demo.conf
NO_SERVICES=/usr/sbin/policy-rc.d

install_packages() {
    trap allow_services EXIT
    "${SUDO[@]}" mkdir -p "${NO_MAIN_CLUSTER%/*}"
    "${SUDO[@]}" tee "$NO_MAIN_CLUSTER" <<<"create_main_cluster = false"
    if [[ " $* " == *" nginx "* && ! -e $NO_SERVICES ]]; then
        printf '#!/bin/sh\n# duskpool: until the packages are installed\nexit 101\n' | "${SUDO[@]}" tee "$NO_SERVICES"
        "${SUDO[@]}" chmod 755 "$NO_SERVICES"
    fi
    apt install --no-install-recommends --no-upgrade "$@"
    if [[ " $* " == *" nginx "* ]] && command -v systemctl >/dev/null; then
        "${SUDO[@]}" systemctl --no-reload disable nginx
    fi
}

allow_services() {
    if grep -qs "^# duskpool:" "$NO_SERVICES"; then "${SUDO[@]}" rm -f "$NO_SERVICES"; fi
    "${SUDO[@]}" rm -f "$NO_MAIN_CLUSTER"
    "${SUDO[@]}" rmdir --ignore-fail-on-non-empty "${NO_MAIN_CLUSTER%/*}"
}
