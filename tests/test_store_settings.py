"""Choices of the studio: kept, replaced, forgotten, and still there after opening the folder again."""

from __future__ import annotations

from pathlib import Path

import pytest

from tracker.store import Store


def test_a_setting_is_kept_replaced_and_forgotten(tmp_path: Path) -> None:
    with Store(tmp_path / "studio") as store:
        assert store.settings.get("card_size_mm") is None
        store.settings.put("card_size_mm", {"grey18": [210.0, 297.0]})
        store.settings.put("card_size_mm", {"grey18": [100.0, 140.0]})
    with Store(tmp_path / "studio") as store:
        assert store.settings.get("card_size_mm") == {"grey18": [100.0, 140.0]}
        store.settings.put("card_size_mm", None)
        assert store.settings.get("card_size_mm") is None


def test_what_is_no_number_is_not_kept(tmp_path: Path) -> None:
    with Store(tmp_path / "studio") as store:
        with pytest.raises(ValueError, match="JSON"):
            store.settings.put("card_size_mm", float("nan"))
        assert store.settings.get("card_size_mm") is None
