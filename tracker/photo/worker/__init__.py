"""Decodes untrusted bytes in a separate process, which may be killed at any moment without harm.

The worker (`program`) is started once and kept. It gets the bytes of a file through a pipe, decodes them and returns
the code values in shared memory. `keeper` enforces the limits of `bounds`, replaces the worker when it ends, and admits
one request at a time. The worker has no file of the studio open, ends with the program that started it and writes
nothing to the disk.
"""

from tracker.photo.worker.keeper import PhotoWorker, read_photo, start_reader

__all__ = ["PhotoWorker", "read_photo", "start_reader"]
