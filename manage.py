"""Run a command of the service."""

import sys

from vineyard.launch import run

if __name__ == "__main__":
    sys.exit(run(sys.argv))
