#!/bin/sh
# A throw-away PostgreSQL cluster on 127.0.0.1, for the tests marked "database".
#
#   eval "$(sh tests/start_postgres.sh start)"   # starts it, sets FATHOMLIGHT_TEST_POSTGRES and FATHOMLIGHT_PG_DIR
#   python -m pytest -m database
#   sh tests/start_postgres.sh stop "$FATHOMLIGHT_PG_DIR"
#
# PGPORT chooses the port (default 54329). Nothing in the cluster is worth keeping: no fsync, no password.
set -eu

bin=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -n 1 || true)
[ -n "$bin" ] || bin=$(dirname "$(command -v initdb || echo /nowhere/initdb)")
[ -x "$bin/initdb" ] || { echo "PostgreSQL server programs not found (package: postgresql)" >&2; exit 2; }

# the server refuses to run as root
as_owner() {
    if [ "$(id -u)" = 0 ]; then su postgres -s /bin/sh -c "$1"; else sh -c "$1"; fi
}

case "${1:-}" in
start)
    port=${PGPORT:-54329}
    dir=$(mktemp -d "${TMPDIR:-/tmp}/fathomlight-pg.XXXXXX")
    [ "$(id -u)" != 0 ] || chown postgres "$dir"
    as_owner "'$bin/initdb' -D '$dir/data' -U fathomlight -A trust -E UTF8 --no-sync" >"$dir/initdb.log" 2>&1
    as_owner "'$bin/pg_ctl' -D '$dir/data' -l '$dir/server.log' -w -t 60 \
        -o '-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories=$dir -c fsync=off' start" >&2
    as_owner "'$bin/createdb' -h 127.0.0.1 -p $port -U fathomlight fathomlight_test"
    echo "export FATHOMLIGHT_TEST_POSTGRES=postgresql+psycopg://fathomlight@127.0.0.1:$port/fathomlight_test"
    echo "export FATHOMLIGHT_PG_DIR=$dir"
    ;;
stop)
    dir=${2:-${FATHOMLIGHT_PG_DIR:?which directory?}}
    case "$dir" in */fathomlight-pg.*) ;; *) echo "not a cluster of this script: $dir" >&2; exit 2 ;; esac
    as_owner "'$bin/pg_ctl' -D '$dir/data' -m fast -w stop" >&2
    rm -rf -- "$dir"
    ;;
*)
    echo "usage: $0 start | stop DIR" >&2
    exit 2
    ;;
esac
