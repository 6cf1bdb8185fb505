#!/bin/sh
# After installation: the service's user and folder. It starts nothing.
set -e
if ! getent passwd coxswain >/dev/null; then
	useradd --system --no-create-home --home-dir /var/lib/coxswain --shell /usr/sbin/nologin --groups audio coxswain
fi
install -d -m 700 -o coxswain -g audio /var/lib/coxswain
if [ -d /run/systemd/system ]; then
	systemctl daemon-reload
fi
