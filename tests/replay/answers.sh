#!/bin/sh
# SPDX-License-Identifier: MIT
# answers.sh BUILD FOLDER: plays FOLDER/recording.ufr through the daemon, as fast as it goes, and prints
# what was stored: swings, events, and every number with all its digits or its reason.
set -eu
build=$1
folder=$2
work=$(mktemp -d)
trap 'rm -r "$work"' EXIT
with="--config $folder/underfoot.conf"
here="--set daemon.database=$work/db --set daemon.control=$work/control"
# shellcheck disable=SC2086 # lists of words
"$build/calib/underfoot-calib" $with --database "$work/db" add "$folder/calibration.json" --activate \
    >"$work/log" 2>&1 || { cat "$work/log" >&2; exit 1; }
# shellcheck disable=SC2086
"$build/daemon/underfootd" $with $here --set link.type=replay --set link.pace=fast \
    --set "link.device=$folder/recording.ufr" >"$work/log" 2>&1 || { cat "$work/log" >&2; exit 1; }
sqlite3 -batch "$work/db" <<'SQL'
.mode list
SELECT 'swing ' || id || ': hand ' || hand || ', shape ' || shape_hand || ', samples ' || samples ||
  ', start_dev_us ' || start_dev_us || ', trigger_dev_us ' || trigger_dev_us FROM swing ORDER BY id;
SELECT 'swing ' || swing_id || ': ' || kind || ' ' || printf('%!.17g', t_s) || ' ' || source
  FROM swing_event JOIN derivation ON derivation.id = derivation_id ORDER BY swing_id, kind;
SQL
for metric in $(sqlite3 -batch "$work/db" 'SELECT name FROM metric ORDER BY position'); do
    sqlite3 -batch "$work/db" "
        SELECT 'swing ' || derivation.swing_id || ': $metric ' ||
          coalesce(printf('%!.17g', $metric), 'NULL ' || reason)
        FROM derivation JOIN swing_metric ON swing_metric.derivation_id = derivation.id
        LEFT JOIN swing_metric_null AS n ON n.derivation_id = derivation.id AND n.metric = '$metric'
        ORDER BY derivation.swing_id"
done
