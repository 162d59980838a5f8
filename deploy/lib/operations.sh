# shellcheck shell=bash
# What backup, off-site copy and drill share: the latest backup, sums of its tables, and the note
# that operators read on the page System status.

# as_operation KIND COMMAND...: run it, and write down how it ended. The detail is its last line of
# output, or the first sentence of its last refusal. A note that cannot be written changes nothing.
as_operation() {
    local kind=$1 status=0 said detail outcome=ok
    shift
    said=$(mktemp)
    set +e
    (
        set -e
        "$@"
    ) > >(tee "$said") 2> >(tee "$said.errors" >&2)
    status=$?
    set -e
    # The last lines arrive a moment after the end.
    sleep 0.1
    detail=$(tail -n 1 "$said")
    if [[ $status -ne 0 ]]; then
        outcome=failed
        detail=$({ grep '^deploy/' "$said.errors" || cat "$said.errors"; } | tail -n 1)
    fi
    record_operation "$kind" "$outcome" "$detail" ||
        printf '%s\n' "$PROGRAM: how this ended could not be written into the database." >&2
    rm -f "$said" "$said.errors"
    return "$status"
}

record_operation() { manage record_operation "$@"; }

manage() {
    local python=$PROJECT_DIR/.venv/bin/python
    [[ -x $python ]] || python=python
    (cd "$PROJECT_DIR" && "$python" manage.py "$@")
}

# latest_backup FOLDER: the newest whole backup in it.
latest_backup() {
    local latest
    latest=$(backups_in "$1" | head -n 1)
    [[ -n $latest ]] || fail "there is no backup in $1." "deploy/backup $1 makes one."
    echo "$latest"
}

# Newest first.
backups_in() {
    find "$1" -mindepth 1 -maxdepth 1 -type d -regextype posix-extended \
        -regex '.*/duskpool-[0-9]{8}-[0-9]{6}' | sort -r
}

# sums_of_tables: rows and checksum of every table, whatever order its rows are in. The settings
# make the text of a row the same everywhere.
sums_of_tables() {
    cat <<'END'
SET timezone = 'UTC'; SET datestyle = 'ISO'; SET intervalstyle = 'postgres';
SET extra_float_digits = 1; SET bytea_output = 'hex';
SELECT format('SELECT %L, count(*), coalesce(sum(hashtextextended(t::text, 0)::numeric), 0) FROM %s t',
    n.nspname || '.' || c.relname, c.oid::regclass)
FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
WHERE c.relkind = 'r'
    AND n.nspname NOT IN ('pg_catalog', 'information_schema') AND n.nspname !~ '^pg_'
    AND NOT EXISTS (SELECT FROM pg_depend d
        WHERE d.classid = 'pg_class'::regclass AND d.objid = c.oid AND d.deptype = 'e')
ORDER BY 1 \gexec
END
}
