#!/bin/sh
# testserver.sh COMMAND…: runs COMMAND beside a temporary PostgreSQL server of its own, whose address stands in
# HEARDIFF_TEST_POSTGRES; whatever happens, the server and its files are gone afterwards. The server never runs as root.
set -eu
bin=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -n 1)
[ -n "$bin" ] || bin=$(dirname "$(command -v initdb || echo /missing/initdb)")
[ -x "$bin/initdb" ] && [ -x "$bin/pg_ctl" ] || { echo "testserver.sh: no PostgreSQL server here: the tests against one were NOT run" >&2; exit 1; }

dir=$(mktemp -d /tmp/pg.XXXXXX) # a socket's path may have 107 characters: not below a long TMPDIR
if [ "$(id -u)" = 0 ]; then
  chown postgres "$dir"
  as() { (cd "$dir" && setpriv --reuid=postgres --regid=postgres --init-groups "$@"); }
else
  as() { "$@"; }
fi
stop() {
  [ ! -f "$dir/data/postmaster.pid" ] || as "$bin/pg_ctl" stop -D "$dir/data" -m immediate -s || true
  rm -rf "$dir"
}
trap stop EXIT
trap 'exit 130' INT TERM HUP

password=$(od -An -N16 -tx1 /dev/urandom | tr -d ' \n')
port=$(($(od -An -N2 -tu2 /dev/urandom) % 20000 + 20000))
printf '%s\n' "$password" >"$dir/password"
chmod 644 "$dir/password" # the folder is closed to others
init() { as "$bin/initdb" -D "$dir/data" -U heardiff -E UTF8 --auth=scram-sha-256 --pwfile="$dir/password" --no-sync "$@" >"$dir/initdb.log" 2>&1; }
# A locale that sorts otherwise than by bytes, where the server has one: the store must not depend on it.
init --locale=C.UTF-8 --locale-provider=icu --icu-locale=en || { rm -rf "$dir/data"; init --locale=C; } || { cat "$dir/initdb.log" >&2; exit 1; }
as "$bin/pg_ctl" start -D "$dir/data" -w -s -l "$dir/log" \
  -o "-c listen_addresses='' -c unix_socket_directories='$dir' -p $port -c shared_buffers=32MB" || { cat "$dir/log" >&2; exit 1; }

HEARDIFF_TEST_POSTGRES="postgres://heardiff:$password@/postgres?host=$dir&port=$port" "$@"
