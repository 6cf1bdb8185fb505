#!/bin/sh
# Before removal: the session that runs is closed in order.
set -e
if [ "$1" != upgrade ] && [ -d /run/systemd/system ]; then
	systemctl disable --now coxswain || true
fi
