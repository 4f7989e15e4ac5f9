"""``python -m tracker.photo.worker``: the process that decodes; only `keeper` starts it."""

from tracker.photo.worker.program import main

main()
