"""A separate program that locks a database until its input ends: ``python holder.py FILE``."""

import sqlite3
import sys

connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA locking_mode = EXCLUSIVE")
connection.execute("BEGIN EXCLUSIVE")
print("held", flush=True)
sys.stdin.read()
