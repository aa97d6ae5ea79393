"""The notice of a recall as a PDF, to hand or mail to a customer."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from roastlog.label.fonts import face, normalize
from roastlog.label.sheets import new_pdf
from roastlog.languages import _

A4_MM: Final = (210.0, 297.0)
MARGIN_MM: Final = 20.0
LINE_MM: Final = 5.6
TEXT_PT, TITLE_PT = 11.0, 20.0


@dataclass(frozen=True)
class Notice:
    """The texts of a notice. ``bags`` has a line for each pack concerned."""

    business: str
    title: str
    day: str
    cause: str
    bags: Sequence[str]
    asks: Sequence[str]
    drill: bool = False


def notice_pdf(notice: Notice) -> bytes:
    """The notice on A4 pages; each page of a drill says at its head that it is one."""
    with new_pdf(A4_MM, notice.title) as pdf:

        def write(text: str, size_pt: float = TEXT_PT, *, bold: bool = False) -> None:
            pdf.set_font("label", "B" if bold else "", size_pt)
            shown = face(bold=bold).displayable(normalize(text))
            pdf.multi_cell(0, LINE_MM * size_pt / TEXT_PT, shown, align="L", new_x="LMARGIN", new_y="NEXT")

        def head() -> None:
            if notice.drill:
                write(_("DRILL – this is not a real recall"), TITLE_PT, bold=True)

        pdf.header = head
        pdf.set_margin(MARGIN_MM)
        pdf.set_auto_page_break(True, MARGIN_MM)
        pdf.add_page()
        for text, size_pt, bold in (
            (notice.business, TEXT_PT, False),
            (notice.title, TITLE_PT, True),
            (notice.day, TEXT_PT, False),
            (notice.cause, TEXT_PT, False),
        ):
            write(text, size_pt, bold=bold)
            pdf.ln(LINE_MM / 2)
        for line in notice.bags:
            write(line, bold=True)
        pdf.ln(LINE_MM)
        for line in notice.asks:
            write(line)
        return bytes(pdf.output())
