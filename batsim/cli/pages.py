"""Pages that commands write: as they are, or laid out on paper."""

from pathlib import Path

from batsim.cli.options import refuse, written
from batsim.output import replacing

PAGES = (".html", ".pdf")
PAPERS = ("a4", "letter")


def is_pdf(output: str, what: str) -> bool:
    """Whether a page is to be laid out on paper; refuse before any work what cannot be made."""
    suffix = Path(output).suffix.lower()
    if suffix not in PAGES:
        refuse(f"--output: {what} must end in {' or '.join(PAGES)} (got {output})")
    if suffix == ".html":
        return False
    try:
        import weasyprint  # noqa: F401, PLC0415 - an extra
    except (ImportError, OSError):
        refuse("--output: a .pdf needs the extra 'pdf': pip install 'batsim[pdf]'; a browser prints the .html as well")
    return True


def pdf_of(html: str, paper: str) -> bytes:
    """Lay a page out on paper, its parts tagged for screen readers."""
    from weasyprint import CSS, HTML  # noqa: PLC0415 - an extra

    size = CSS(string=f"@page {{ size: {paper} }}")
    pdf: bytes = HTML(string=html).write_pdf(stylesheets=[size], pdf_variant="pdf/ua-1")
    return pdf


def write_page(output: str, page: bytes | str) -> None:
    """Write a page whole, or say why not."""
    with written("--output", "choose another file"), replacing(Path(output)) as beside:
        beside.write_bytes(page if isinstance(page, bytes) else page.encode(errors="backslashreplace"))
