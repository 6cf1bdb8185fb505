#!/bin/sh
# After removal. Records are patients' data: they go only by a person's hand.
set -e
if [ -d /run/systemd/system ]; then
	systemctl daemon-reload
fi
if [ "$1" = purge ]; then
	(cd /var/lib/coxswain 2>/dev/null && rm -f .lock .status.sock .display-token .write-test .tried .outbox.json .outbox.lock \
		.collected.json .collect.lock) || true
	rmdir /var/lib/coxswain 2>/dev/null || true
	if [ -d /var/lib/coxswain ]; then
		echo "coxswain: the records in /var/lib/coxswain, and their user, are left for you to keep or delete"
	elif getent passwd coxswain >/dev/null; then
		userdel coxswain
	fi
fi
