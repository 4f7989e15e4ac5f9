"""``python -m tracker``."""

from tracker.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
