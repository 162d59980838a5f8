# shellcheck shell=bash
# A private PostGIS cluster that only this clone uses: no TCP port, no system
# service, a socket that only its owner and root can reach.
#
# cluster_use NAME chooses one (NAME is "postgres" or "postgres-test") and sets
#   CLUSTER_HOME    folder that holds everything of the cluster
#   CLUSTER_DATA    PostgreSQL data directory
#   CLUSTER_SOCKET  folder of the Unix socket
#   CLUSTER_USER    operating system user that PostgreSQL runs as
#   PG_BIN          folder of the PostgreSQL programs

CLUSTER_ROLE=duskpool
RELOCATED_DIR=/var/lib/duskpool-demo
# sockaddr_un.sun_path holds 107 bytes and a closing zero byte.
SOCKET_PATH_BYTES=107
SOCKET_FILE=.s.PGSQL.5432

cluster_use() {
    CLUSTER_NAME=$1
    CLUSTER_LINK=$VAR_DIR/$CLUSTER_NAME
    CLUSTER_USER=$(cluster_user)
    CLUSTER_HOME=$(cluster_home)
    CLUSTER_DATA=$CLUSTER_HOME/data
    CLUSTER_LOG=$CLUSTER_HOME/postgresql.log
    CLUSTER_SOCKET=$(socket_dir_for "$CLUSTER_HOME" "$CLUSTER_USER")
    PG_BIN=$(postgres_bin_dir)
}

# PostgreSQL refuses to run as root, so root hands it to the package's user.
cluster_user() {
    if [[ $(id -u) -ne 0 ]]; then
        id -un
    elif [[ -d $CLUSTER_LINK && $(stat -Lc %u "$CLUSTER_LINK") -ne 0 ]]; then
        stat -Lc %U "$CLUSTER_LINK"
    elif getent passwd postgres >/dev/null; then
        echo postgres
    else
        echo nobody
    fi
}

as_cluster_user() {
    if [[ $(id -un) == "$CLUSTER_USER" ]]; then
        (cd / && "$@")
    else
        (cd / && runuser -u "$CLUSTER_USER" -- env -i PATH="$PATH" LANG=C.UTF-8 LC_ALL=C.UTF-8 "$@")
    fi
}

# var/NAME, or a folder outside the clone where the clone lies in a folder
# that the cluster's user may not enter (/root, or one made by mktemp -d).
cluster_home() {
    if [[ -d $CLUSTER_LINK ]]; then
        (cd "$CLUSTER_LINK" && pwd -P)
    elif can_enter "$CLUSTER_USER" "$VAR_DIR"; then
        echo "$CLUSTER_LINK"
    else
        echo "$RELOCATED_DIR/$(short_sum "$PROJECT_DIR")/$CLUSTER_NAME"
    fi
}

can_enter() {
    local user=$1 dir=$2
    [[ $(id -un) == "$user" ]] && return
    (cd / && runuser -u "$user" -- test -x "$dir")
}

short_sum() { printf '%s' "$1" | sha256sum | cut -c1-12; }

# socket_dir_for HOME USER: HOME/socket while that fits in a socket address and
# needs no quoting in settings and URLs, else a short folder in /tmp that is
# USER's alone.
socket_dir_for() {
    local dir=$1/socket LC_ALL=C
    local path=$dir/$SOCKET_FILE
    if ((${#path} <= SOCKET_PATH_BYTES)) && [[ $path =~ ^[A-Za-z0-9/._+-]+$ ]]; then
        echo "$dir"
    else
        echo "/tmp/duskpool-$(id -u "$2")-$(short_sum "$1")"
    fi
}

# The programs of the version that made the data, else of the newest
# installed version that has PostGIS. Prints nothing when there is none.
postgres_bin_dir() {
    local version
    if [[ -f $CLUSTER_DATA/PG_VERSION ]]; then
        version=$(<"$CLUSTER_DATA/PG_VERSION")
    else
        version=$(installed_postgis_versions | head -n 1)
    fi
    [[ -z $version ]] || echo "/usr/lib/postgresql/$version/bin"
}

# Major versions with server programs and PostGIS, newest first.
installed_postgis_versions() {
    local control version
    for control in /usr/share/postgresql/*/extension/postgis.control; do
        version=${control#/usr/share/postgresql/}
        version=${version%%/*}
        [[ ! -x /usr/lib/postgresql/$version/bin/initdb ]] || echo "$version"
    done | sort -rn
}

# postgis URL with the socket folder as a percent-encoded host.
cluster_url() { echo "postgis://$CLUSTER_ROLE@${CLUSTER_SOCKET//\//%2F}/$1"; }

cluster_sql() {
    local database=$1
    shift
    "$PG_BIN/psql" -X -q -A -t -v ON_ERROR_STOP=1 \
        -h "$CLUSTER_SOCKET" -U "$CLUSTER_ROLE" -d "$database" "$@"
}

cluster_answers() {
    [[ -S $CLUSTER_SOCKET/$SOCKET_FILE ]] &&
        [[ $(cluster_sql postgres -c 'SHOW data_directory' 2>/dev/null) == "$CLUSTER_DATA" ]]
}

# cluster_up DATABASE: make, start and prepare what is missing.
cluster_up() {
    local database=$1
    cluster_owner_check
    discard_leftover
    if ! cluster_answers; then
        [[ -f $CLUSTER_DATA/PG_VERSION ]] || step "Making the database cluster" cluster_make
        step "Starting the database cluster" cluster_start
    fi
    if [[ ! -f $CLUSTER_DATA/prepared-$database ]]; then
        step "Making the database \"$database\"" cluster_make_database "$database"
    fi
}

cluster_owner_check() {
    [[ -e $CLUSTER_LINK ]] || return 0
    local owner
    owner=$(stat -Lc %U "$CLUSTER_LINK")
    [[ $owner == "$CLUSTER_USER" ]] ||
        fail "$CLUSTER_LINK belongs to the user \"$owner\"." \
            "Call this as that user or as root, or remove the folder to begin again."
}

# Data outside the clone that no link in var/ points to is left over from an
# earlier clone at the same path. It belonged to that clone's var/ and is gone
# for its owner like the rest of it.
discard_leftover() {
    if [[ $CLUSTER_HOME != "$CLUSTER_LINK" && -d $CLUSTER_HOME && ! -e $CLUSTER_LINK ]]; then
        cluster_stop immediate
        rm -rf "$CLUSTER_HOME"
    fi
}

# The data directory gets its name only when it is complete, so a run that
# was cut short leaves nothing that looks like a cluster.
cluster_make() {
    cluster_make_home
    rm -rf "$CLUSTER_DATA" "$CLUSTER_DATA.new"
    as_cluster_user "$PG_BIN/initdb" -D "$CLUSTER_DATA.new" -U "$CLUSTER_ROLE" \
        --auth-local=trust --auth-host=reject --encoding=UTF8 --locale=C.UTF-8
    as_cluster_user tee -a "$CLUSTER_DATA.new/postgresql.conf" >/dev/null <<<"include 'duskpool.conf'"
    as_cluster_user mv "$CLUSTER_DATA.new" "$CLUSTER_DATA"
}

cluster_make_home() {
    local parent=${CLUSTER_HOME%/*}
    if [[ $CLUSTER_HOME != "$CLUSTER_LINK" ]]; then
        mkdir -p "$parent"
        chmod 755 "$RELOCATED_DIR" "$parent"
        printf '%s\n' "$PROJECT_DIR" >"$parent/clone"
        ln -sfn "$CLUSTER_HOME" "$CLUSTER_LINK"
    fi
    mkdir -p "$CLUSTER_HOME"
    chmod 700 "$CLUSTER_HOME"
    chown "$CLUSTER_USER" "$CLUSTER_HOME"
}

cluster_make_socket_dir() {
    [[ -d $CLUSTER_SOCKET ]] || as_cluster_user mkdir -m 700 "$CLUSTER_SOCKET"
    [[ ! -L $CLUSTER_SOCKET && $(stat -c %U "$CLUSTER_SOCKET") == "$CLUSTER_USER" ]] ||
        fail "$CLUSTER_SOCKET does not belong to \"$CLUSTER_USER\". Remove it, then try again."
    chmod 700 "$CLUSTER_SOCKET"
}

# Fit for a machine with two cores. Parallel workers share memory in the data
# directory, so that nothing stays in /dev/shm even when they are killed.
cluster_settings() {
    cat <<END
listen_addresses = ''
unix_socket_directories = '$CLUSTER_SOCKET'
unix_socket_permissions = 0700
max_connections = 100
shared_buffers = 256MB
effective_cache_size = 2GB
work_mem = 16MB
maintenance_work_mem = 128MB
random_page_cost = 1.1
jit = off
max_worker_processes = 4
max_parallel_workers = 2
max_parallel_workers_per_gather = 1
autovacuum_max_workers = 2
dynamic_shared_memory_type = mmap
wal_level = minimal
max_wal_senders = 0
max_wal_size = 1GB
checkpoint_timeout = 15min
timezone = 'UTC'
log_timezone = 'UTC'
log_line_prefix = '%m [%p] %d '
END
    # A crash may cost the tests their data, never the demo.
    if [[ $CLUSTER_NAME == postgres-test ]]; then
        cat <<END
fsync = off
full_page_writes = off
synchronous_commit = off
END
    fi
}

cluster_start() {
    local attempt
    cluster_make_socket_dir
    cluster_settings | as_cluster_user tee "$CLUSTER_DATA/duskpool.conf" >/dev/null
    remove_stale_pid_file
    for attempt in 1 2 3 4 5; do
        as_cluster_user "$PG_BIN/pg_ctl" start --silent --wait --timeout=60 \
            -D "$CLUSTER_DATA" -l "$CLUSTER_LOG" 8>&- 9>&- && return
        # Children of a killed server may need a moment to go.
        echo "PostgreSQL did not start (attempt $attempt)."
        sleep 1
    done
    tail -n 20 "$CLUSTER_LOG"
    return 1
}

# PostgreSQL takes a living process with the number of a killed server for
# that server when both belong to the same user.
remove_stale_pid_file() {
    local file=$CLUSTER_DATA/postmaster.pid pid
    [[ -f $file ]] || return 0
    pid=$(head -n 1 "$file")
    [[ $(cat "/proc/$pid/comm" 2>/dev/null) == postgres ]] || rm -f "$file"
}

cluster_make_database() {
    local database=$1
    cluster_sql template1 -c 'CREATE EXTENSION IF NOT EXISTS postgis'
    if [[ -z $(cluster_sql postgres -c "SELECT 1 FROM pg_database WHERE datname = '$database'") ]]; then
        cluster_sql postgres -c "CREATE DATABASE \"$database\""
    fi
    as_cluster_user touch "$CLUSTER_DATA/prepared-$database"
}

# cluster_stop [fast|immediate]
cluster_stop() {
    remove_stale_pid_file
    [[ -f $CLUSTER_DATA/postmaster.pid ]] || return 0
    if [[ -x $PG_BIN/pg_ctl ]]; then
        as_cluster_user "$PG_BIN/pg_ctl" stop --silent --mode="${1:-fast}" -D "$CLUSTER_DATA"
    else
        kill -QUIT "$(head -n 1 "$CLUSTER_DATA/postmaster.pid")"
    fi
    rmdir "$CLUSTER_SOCKET" 2>/dev/null || true
}

# Stop the cluster and remove everything of it.
cluster_remove() {
    cluster_stop immediate
    rm -rf "$CLUSTER_HOME" "$CLUSTER_SOCKET" "$CLUSTER_LINK"
    if [[ $CLUSTER_HOME != "$CLUSTER_LINK" ]]; then
        rm -f "${CLUSTER_HOME%/*}/clone"
        rmdir "${CLUSTER_HOME%/*}" "$RELOCATED_DIR" 2>/dev/null || true
    fi
}
