#!/bin/sh
# Makes a backup by `evenrig backup` in a folder named after the time, and then clears old ones away. Nothing is cleared
# when the backup fails, and the last ones always stay, however old they are. Without systemd, from cron each night:
#
#   20 3 * * *  EVENRIG_BACKUPS=/var/backups/evenrig /usr/local/lib/evenrig/backup.sh
#
# EVENRIG_BACKUPS: the folder for backups. EVENRIG_BACKUPS_KEPT: how many stay (14). EVENRIG_PROGRAM: the program
# (evenrig). What else `evenrig backup` reads, like EVENRIG_DATA, it reads from the environment too. Arguments are passed on:
# with --without-key the key that seals draws stays out, as it should where backups leave the machine.
set -eu
backups=${EVENRIG_BACKUPS:?the folder for backups}
kept=${EVENRIG_BACKUPS_KEPT:-14}
case $kept in
'' | *[!0-9]* | 0)
    echo "EVENRIG_BACKUPS_KEPT is '$kept'; accepted: a whole number, 1 or more" >&2
    exit 2
    ;;
esac

"${EVENRIG_PROGRAM:-evenrig}" backup "$@" "$backups/evenrig-$(date -u +%Y%m%dT%H%M%SZ)"

# Newest first, by name. Only whole backups count and only they are deleted.
n=0
for folder in $(cd "$backups" && ls -1r); do
    case $folder in
    evenrig-[0-9][0-9][0-9][0-9][0-9][0-9][0-9][0-9]T[0-9][0-9][0-9][0-9][0-9][0-9]Z) ;;
    *) continue ;;
    esac
    [ -f "$backups/$folder/manifest.json" ] || continue
    n=$((n + 1))
    if [ "$n" -gt "$kept" ]; then
        rm -rf "${backups:?}/$folder"
        echo "cleared away $folder"
    fi
done
