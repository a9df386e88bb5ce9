"""The page as PDF, by WeasyPrint: needs the optional dependencies `report`, but no browser."""

from weasyprint import HTML
from weasyprint.urls import URLFetcher


def pdf_bytes(page: str) -> bytes:
    """The page's HTML as A4 pages; nothing outside of the page is loaded."""
    closed = URLFetcher(allowed_protocols=(), fail_on_errors=True)
    pdf: bytes = HTML(string=page, url_fetcher=closed).write_pdf()
    return pdf
