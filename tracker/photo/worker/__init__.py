"""Untrusted bytes are decoded in a process of their own, which may be killed at any moment without harm.

The worker (`program`) is started once and kept. It gets the bytes of a file through a pipe, decodes them and hands the
code values back in memory that both processes see. `keeper` holds it to the limits of `bounds`, replaces it when it
ends, and lets requests in one at a time. The worker holds no file of the studio, ends with the program that started it
and writes nothing to the disk.
"""

from tracker.photo.worker.keeper import PhotoWorker, read_photo, start_reader

__all__ = ["PhotoWorker", "read_photo", "start_reader"]
