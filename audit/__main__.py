"""``python -m audit``: the same as ``iud-audit``."""

from audit.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
