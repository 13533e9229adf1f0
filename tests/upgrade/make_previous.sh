#!/usr/bin/env bash
# Makes previous.tar.xz: a backup of the whole demonstration as the version of a commit plays and keeps it.
# bash tests/upgrade/make_previous.sh COMMIT; run it for the commit of a release, when the next one is begun. What was
# previous may stay as older.tar.xz and .key: the further back, the more is migrated.
set -euo pipefail
cd "$(git rev-parse --show-toplevel)"
here=$PWD
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/tree"
git archive "$1" | tar -x -C "$work/tree"
ln -s "$here/.venv" "$work/tree/.venv"
cd "$work/tree"
.venv/bin/python manage.py demo --data "$work/data" --no-serve
QCAPP_DATA_DIR=$work/data QCAPP_DEMO=yes QCAPP_DEBUG=yes .venv/bin/python manage.py backup "$work/backup"
tar --sort=name --owner=0 --group=0 -C "$work/backup" -c . | xz -9e >"$here/tests/upgrade/previous.tar.xz"
cp "$work/data/secret_key" "$here/tests/upgrade/previous.key" # of invented data: it opens nothing else
ls -l "$here/tests/upgrade/previous.tar.xz"
