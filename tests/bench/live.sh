#!/bin/sh
# SPDX-License-Identifier: MIT
# Samples lost while the store is slow: see live.py.
#   tests/bench/live.sh BUILD [MINUTES] [MS]      default: 10 minutes, 5000 ms a commit
exec /usr/bin/python3 "$(dirname "$0")/live.py" "$@"
