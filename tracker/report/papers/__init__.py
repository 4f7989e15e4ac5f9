"""Papers to print."""

from tracker.report.papers.holder import HOLDER_PAPERS, HolderPaper, frame_on, holder_pdf, holder_picture

__all__ = ["HOLDER_PAPERS", "HolderPaper", "frame_on", "holder_pdf", "holder_picture"]
