"""Files that were taken in do not stay in the memory of the server."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from streamlit.proto.Common_pb2 import FileURLs
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.uploaded_file_manager import UploadedFile, UploadedFileRec

from tracker.ui.parts import upload


def test_taken_in_files_are_let_go_and_others_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    manager = MemoryUploadedFileManager("/upload")
    records = [UploadedFileRec(name, f"{name}.jpg", "image/jpeg", bytes(1000)) for name in ("one", "two", "three")]
    for record in records:
        manager.add_file("window", record)
    manager.add_file("another window", records[0])
    context = SimpleNamespace(session_id="window", uploaded_file_mgr=manager)
    monkeypatch.setattr(upload, "get_script_run_ctx", lambda: context)
    upload.let_go_of([UploadedFile(record, FileURLs()) for record in records[:2]])
    held = manager.get_files("window", ["one", "two", "three"])
    assert [record.file_id for record in held] == ["three"]
    assert len(manager.get_files("another window", ["one"])) == 1


def test_a_manager_that_cannot_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    record = UploadedFileRec("one", "one.jpg", "image/jpeg", b"content")
    for context in (None, SimpleNamespace(session_id="window", uploaded_file_mgr=object())):
        monkeypatch.setattr(upload, "get_script_run_ctx", lambda context=context: context)
        upload.let_go_of([UploadedFile(record, FileURLs())])
