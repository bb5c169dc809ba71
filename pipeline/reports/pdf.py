"""A report as a PDF on A4: text and charts as vectors, letters embedded so that any name prints."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime

from fpdf import FPDF, FontFace
from fpdf.enums import MethodReturnValue, TableBordersLayout, XPos, YPos
from PIL import Image

from pipeline.reports.charts import FONT_FOLDER, printable
from pipeline.reports.document import (
    Align,
    Block,
    Card,
    Cards,
    Chart,
    Document,
    Drawings,
    Facts,
    Grid,
    Heading,
    Remark,
    Still,
    Stills,
    Text,
    Tone,
)
from pipeline.sets.ink import Anchor, Disc, Page, Path, Words

FONT = "DejaVu"
MARGIN_MM, BOTTOM_MM = 15.0, 17.0
BODY, SMALL = 9.5, 8.0
INK, SOFT, RULE = (31, 35, 40), (95, 101, 109), (198, 197, 191)
CHART_MM = 106.0
"""Width of a card's chart; its lines stand to the right of it."""


def as_pdf(document: Document, made_at: datetime | None = None) -> bytes:
    """The report as the bytes of a PDF; ``made_at`` is written into its properties where it is given."""
    paper = _Paper(document.title)
    paper.set_creation_date(made_at or datetime(2000, 1, 1, tzinfo=UTC))
    with _quiet():
        paper.add_page()
        paper.head(document)
        for block, after in zip(document.blocks, (*document.blocks[1:], None), strict=True):
            if isinstance(block, Heading):
                paper.keep(after)
            paper.block(block)
        paper.foot(document.footer)
        return bytes(paper.output())


@contextmanager
def _quiet() -> Iterator[None]:
    """fpdf2 says on its log what of an SVG it leaves out; nothing here needs that."""
    log = logging.getLogger("fpdf.svg")
    before = log.level
    log.setLevel(logging.ERROR)
    try:
        yield
    finally:
        log.setLevel(before)


class _Paper(FPDF):
    """Pages with a line at the foot."""

    def __init__(self, title: str) -> None:
        super().__init__(format="A4", unit="mm")
        self.set_margins(MARGIN_MM, MARGIN_MM)
        self.set_auto_page_break(auto=True, margin=BOTTOM_MM)
        self.add_font(FONT, "", str(FONT_FOLDER / "DejaVuSans.ttf"))
        self.add_font(FONT, "B", str(FONT_FOLDER / "DejaVuSans-Bold.ttf"))
        self.set_title(title)
        self.set_lang("en")
        self.set_producer("elbowroom")
        self.alias_nb_pages()
        self._running = printable(title)

    def footer(self) -> None:
        """The report's name and the page's number."""
        self.set_y(-12)
        self._letters(SMALL, SOFT)
        self.cell(self.epw - 30, 5, self._fitted(self._running, self.epw - 32))
        self.cell(30, 5, f"page {self.page_no()} of {{nb}}", align="R")

    def head(self, document: Document) -> None:
        """Title and subtitle."""
        self._letters(17, INK, "B")
        self._lines(document.title, 7.5)
        if document.subtitle:
            self._letters(BODY, SOFT)
            self._lines(document.subtitle, 4.6)
        self.set_draw_color(*INK)
        self.set_line_width(0.8)
        self.line(self.l_margin, self.y + 1.5, self.l_margin + self.epw, self.y + 1.5)
        self.set_line_width(0.2)
        self.ln(5)

    def block(self, block: Block) -> None:
        """One block of the report."""
        match block:
            case Heading(text=text):
                self._heading(text)
            case Text(text=text):
                self._letters(BODY, INK)
                self._lines(text, 4.7)
                self.ln(1.8)
            case Remark(text=text, tone=tone):
                self._remark(text, tone)
            case Facts(rows=rows):
                self._facts(rows)
            case Grid():
                self._grid(block)
            case Chart():
                self._alone(block)
            case Cards(cards=cards):
                for card in cards:
                    self._card(card)
            case Drawings():
                self._drawings(block)
            case Stills(stills=stills):
                self._stills(stills)

    def foot(self, lines: Iterable[str]) -> None:
        """Methods and cautions."""
        lines = tuple(lines)
        self.ln(3)
        self._letters(SMALL, SOFT)
        self._room(sum(self._height(line, self.epw, 3.9) + 0.6 for line in lines) + 3)
        self.set_draw_color(*RULE)
        self.line(self.l_margin, self.y, self.l_margin + self.epw, self.y)
        self.ln(2)
        for line in lines:
            self._lines(line, 3.9)
            self.ln(0.6)

    # ---- parts -----------------------------------------------------------------------------------------------------

    def _letters(self, size: float, colour: tuple[int, int, int], bold: str = "") -> None:
        self.set_font(FONT, bold, size)
        self.set_text_color(*colour)

    def _lines(self, text: str, height: float, width: float = 0.0) -> None:
        self.multi_cell(width or self.epw, height, printable(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def _height(self, text: str, width: float, height: float) -> float:
        found = self.multi_cell(
            width, height, printable(text), align="L", dry_run=True, output=MethodReturnValue.HEIGHT
        )
        assert isinstance(found, int | float)
        return float(found)

    def _fitted(self, text: str, width: float) -> str:
        while text and self.get_string_width(text) > width:
            text = text[:-2] + "…" if len(text) > 2 else ""
        return text

    def _room(self, height: float) -> None:
        """A new page where so much does not fit any more."""
        if self.y + height > self.h - self.b_margin and self.y > self.t_margin + 1:
            self.add_page()

    def keep(self, after: Block | None) -> None:
        """A new page where a heading would stand alone at the foot of one."""
        heading = 13.0
        match after:
            case Stills() | Drawings():
                self._room(heading + 75)
            case Chart():
                self._room(heading + self.epw * after.height / after.width)
            case Cards():
                self._room(heading + 52)
            case _:
                self._room(heading + 30)

    def _heading(self, text: str) -> None:
        self.ln(3.5)
        self._letters(12.5, INK, "B")
        self._lines(text, 6)
        self.set_draw_color(*RULE)
        self.line(self.l_margin, self.y + 0.6, self.l_margin + self.epw, self.y + 0.6)
        self.ln(2.8)

    def _remark(self, text: str, tone: Tone) -> None:
        self._letters(BODY, INK)
        inner = self.epw - 6
        tall = self._height(text, inner, 4.7)
        self._room(tall + 3)
        top = self.y
        self.set_fill_color(*((245, 237, 222) if tone is Tone.CAUTION else (241, 240, 236)))
        self.rect(self.l_margin, top, self.epw, tall + 3, style="F")
        self.set_fill_color(*(INK if tone is Tone.CAUTION else SOFT))
        self.rect(self.l_margin, top, 1.1, tall + 3, style="F")
        self.set_fill_color(255)
        self.set_xy(self.l_margin + 4, top + 1.5)
        self.multi_cell(inner, 4.7, printable(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.set_y(top + tall + 5.5)

    def _facts(self, rows: Sequence[tuple[str, str]]) -> None:
        across, gap, pad = 4, 2.5, 2.0
        wide = (self.epw - (across - 1) * gap) / across
        for first in range(0, len(rows), across):
            part = rows[first : first + across]
            talls = []
            for name, value in part:
                self._letters(SMALL, SOFT)
                head = self._height(name, wide - 2 * pad, 3.7)
                self._letters(BODY + 1, INK, "B")
                talls.append(head + self._height(value, wide - 2 * pad, 5) + 2 * pad)
            tall = max(talls)
            self._room(tall + gap)
            top = self.y
            for place, (name, value) in enumerate(part):
                left = self.l_margin + place * (wide + gap)
                self.set_draw_color(*RULE)
                self.rect(left, top, wide, tall)
                self.set_xy(left + pad, top + pad)
                self._letters(SMALL, SOFT)
                self.multi_cell(wide - 2 * pad, 3.7, printable(name), align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
                self._letters(BODY + 1, INK, "B")
                self.multi_cell(wide - 2 * pad, 5, printable(value), align="L")
            self.set_xy(self.l_margin, top + tall + gap)
        self.ln(1.5)

    def _grid(self, grid: Grid) -> None:
        self._room(22)
        self._letters(SMALL, SOFT)
        self._lines(grid.caption, 4)
        self.ln(0.8)
        self._letters(SMALL, INK)
        self.set_draw_color(*RULE)
        total = sum(column.weight for column in grid.columns)
        with self.table(
            col_widths=tuple(column.weight / total * self.epw for column in grid.columns),
            text_align=tuple("RIGHT" if column.align is Align.RIGHT else "LEFT" for column in grid.columns),
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD"),
            line_height=4.1,
            padding=(0.7, 1.0),
            first_row_as_headings=True,
        ) as table:
            head = table.row()
            for column in grid.columns:
                head.cell(printable(column.head))
            for cells in grid.rows:
                row = table.row()
                for cell in cells:
                    row.cell(printable(cell))
        self.ln(3.5)

    def _alone(self, chart: Chart) -> None:
        wide = min(self.epw, chart.width / 72 * 25.4 * 1.12)
        tall = wide * chart.height / chart.width
        self._room(tall + 3)
        self._vector(chart, self.l_margin, self.y, wide)
        self.set_y(self.y + tall + 3)

    def _vector(self, chart: Chart, x: float, y: float, wide: float) -> None:
        self.image(io.BytesIO(chart.svg.encode()), x=x, y=y, w=wide, alt_text=printable(chart.alt))

    def _card(self, card: Card) -> None:
        beside = self.epw - CHART_MM - 5 if card.chart is not None else self.epw
        self._letters(BODY, INK, "B")
        title = self._height(card.title, self.epw, 5)
        self._letters(SMALL + 0.5, INK)
        text = sum(self._height(line, beside, 4.1) + 1.1 for line in card.lines)
        tall_chart = 0.0 if card.chart is None else CHART_MM * card.chart.height / card.chart.width
        tall = title + max(text, tall_chart) + 3
        self._room(tall + 2)
        self._letters(BODY, INK, "B")
        self._lines(card.title, 5)
        top = self.y
        if card.chart is not None:
            self._vector(card.chart, self.l_margin, top, CHART_MM)
        left = self.l_margin + (CHART_MM + 5 if card.chart is not None else 0)
        self.set_xy(left, top + 0.5)
        self._letters(SMALL + 0.5, INK)
        for line in card.lines:
            self.multi_cell(beside, 4.1, printable(line), align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
            self.set_xy(left, self.y + 1.1)
        end = top + max(text, tall_chart) + 1.5
        self.set_draw_color(*RULE)
        self.line(self.l_margin, end, self.l_margin + self.epw, end)
        self.set_xy(self.l_margin, end + 2.2)

    def _drawings(self, drawings: Drawings) -> None:
        across, gap = 3, 5.0
        wide = (self.epw - (across - 1) * gap) / across
        for first in range(0, len(drawings.frames), across):
            part = drawings.frames[first : first + across]
            self._letters(SMALL, INK)
            captions = [frame.caption for frame in part]
            below = max(self._height(caption, wide, 3.7) for caption in captions)
            above = max(self._height(frame.head, wide, 3.9) if frame.head else 0.0 for frame in part)
            tall = max(wide * frame.page.height / frame.page.width for frame in part)
            self._room(above + tall + below + 5)
            top = self.y
            for place, (frame, caption) in enumerate(zip(part, captions, strict=True)):
                left = self.l_margin + place * (wide + gap)
                if frame.head:
                    self._letters(SMALL, INK, "B")
                    self.set_xy(left, top)
                    self.multi_cell(wide, 3.9, printable(frame.head), align="L")
                _draw(self, frame.page, left, top + above, wide / frame.page.width)
                self._letters(SMALL, INK)
                self.set_xy(left, top + above + tall + 1.2)
                self.multi_cell(wide, 3.7, printable(caption), align="L")
            self.set_xy(self.l_margin, top + above + tall + below + 4.5)

    def _stills(self, stills: Sequence[Still]) -> None:
        across, gap = 3, 4.0
        wide = (self.epw - (across - 1) * gap) / across
        for first in range(0, len(stills), across):
            part = stills[first : first + across]
            talls = []
            for still in part:
                width, height = Image.open(io.BytesIO(still.png)).size
                self._letters(SMALL, INK)
                text = sum(self._height(line, wide, 3.7) + 0.6 for line in (still.title, *still.lines))
                talls.append((wide * height / width, text))
            self._room(max(a for a, _ in talls) + max(b for _, b in talls) + 4)
            top = self.y
            high = max(a for a, _ in talls)
            for place, still in enumerate(part):
                left = self.l_margin + place * (wide + gap)
                self.image(io.BytesIO(still.png), x=left, y=top, w=wide, alt_text=printable(still.alt))
                self.set_xy(left, top + high + 1)
                for number, line in enumerate((still.title, *still.lines)):
                    self._letters(SMALL, INK, "" if number else "B")
                    self.multi_cell(wide, 3.7, printable(line), align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
                    self.set_xy(left, self.y + 0.6)
            self.set_xy(self.l_margin, top + high + max(b for _, b in talls) + 4)


def _draw(paper: FPDF, page: Page, left: float, top: float, scale: float) -> None:
    """Marks of a drawing as lines, discs and letters of the PDF."""

    def on_paper(point: tuple[float, float]) -> tuple[float, float]:
        return left + point[0] * scale, top + point[1] * scale

    for mark in page.marks:
        match mark:
            case Path(points=points, colour=colour, width=width, filled=filled):
                paper.set_draw_color(colour)
                paper.set_line_width(width * scale)
                if filled:
                    paper.set_fill_color(colour)
                    paper.polygon([on_paper(point) for point in points], style="F")
                else:
                    paper.polyline([on_paper(point) for point in points])
            case Disc(centre=centre, radius=radius, fill=fill, colour=colour, width=width):
                paper.set_draw_color(colour)
                paper.set_fill_color(fill)
                paper.set_line_width(width * scale)
                x, y = on_paper(centre)
                paper.circle(x, y, radius * scale, style="DF")
            case Words(at=at, text=text, size=size, colour=colour, anchor=anchor, bold=bold):
                paper.set_font(FONT, "B" if bold else "", size * scale / 25.4 * 72)
                paper.set_text_color(colour)
                x, y = on_paper(at)
                if anchor is Anchor.MIDDLE:
                    x, y = x - paper.get_string_width(text) / 2, y + 0.36 * size * scale
                paper.text(x, y, printable(text))
    paper.set_line_width(0.2)
