"""Reports as HTML and PDF, read back by other programs."""

import html
import io
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime

import html5lib
import pytest
from made_up_season import CLUBS, GAMES, RUNS, make_season
from PIL import Image
from pypdf import PdfReader

from pipeline import cli
from pipeline.errors import LibraryError, SettingsError
from pipeline.library.games import Library
from pipeline.reports.charts import printable
from pipeline.reports.compare_page import compare_page
from pipeline.reports.comparison import compare_set
from pipeline.reports.congestion import congestion
from pipeline.reports.congestion_page import congestion_page
from pipeline.reports.document import CAUTIONS, Document, Grid, Remark, Still, Stills
from pipeline.reports.execution import execution_sheet
from pipeline.reports.html import as_html, style, style_digest
from pipeline.reports.night_page import night_page
from pipeline.reports.night_summary import night_summary
from pipeline.reports.pdf import as_pdf
from pipeline.reports.set_page import set_page
from pipeline.reports.sides import Counted, side
from pipeline.reports.trend import trend
from pipeline.reports.trend_page import trend_page
from pipeline.reports.writing import write_report
from pipeline.settings import Settings

SETTINGS = Settings()
SET = "weak_side_motion"
PAGES = ("set", "compare", "congestion", "night", "trend", "measure", "nothing", "no_turns")


def page_of(name: str, season: Library) -> Document:
    def of(text=""):
        return side(text, SETTINGS)

    match name:
        case "set":
            return set_page(execution_sheet(season, SET, of("team:Harbour"), SETTINGS, Counted.WITH_CANDIDATES))
        case "compare":
            return compare_page(compare_set(season, SET, of("team:Harbour"), of("period:1"), SETTINGS))
        case "congestion":
            return congestion_page(congestion(season, of("team:Harbour"), SETTINGS))
        case "night":
            return night_page(night_summary(season, SETTINGS))
        case "trend":
            return trend_page(trend(season, "pushed_out_catch team:Harbour", SETTINGS))
        case "measure":
            return trend_page(trend(season, f"{SET} team:Harbour", SETTINGS, measure="return_catch_ft"))
        case "nothing":
            return set_page(execution_sheet(season, "horns", of(), SETTINGS))
        case _:
            return congestion_page(congestion(season, of("since:2031-01-01"), SETTINGS))


@pytest.fixture(scope="module")
def pages(season):
    return {name: page_of(name, season) for name in PAGES}


@pytest.mark.parametrize("name", PAGES)
def test_the_html_is_whole_and_stands_alone(pages, name):
    text = as_html(pages[name])
    parser = html5lib.HTMLParser(strict=True)  # raises at the first mistake
    tree = parser.parse(text)
    found = [
        (element.tag.rpartition("}")[2], element.attrib) for element in tree.iter() if isinstance(element.tag, str)
    ]
    tags = {tag for tag, _ in found}
    assert not tags & {"script", "link", "iframe", "object", "form", "base"}
    ids = [value["id"] for _, value in found if "id" in value]
    assert len(ids) == len(set(ids))
    for tag, values in found:
        for key, value in values.items():
            key = key if isinstance(key, str) else key[-1]
            assert not key.lower().startswith("on"), f"{tag} {key}"
            if key.rpartition("}")[2] in ("src", "href"):
                assert value.startswith(("data:", "#")), f"{tag} fetches {value[:60]}"
        if tag == "img":
            assert values.get("alt")
        if tag == "svg":
            assert values.get("role") == "img"
            assert values.get("aria-label")
            assert "nan" not in values["aria-label"].lower().split()
    references = set(re.findall(r'(?:href="#|url\(#)([^")]+)', text))
    assert references <= set(ids)
    assert "<h1>" in text
    assert [tag for tag, _ in found].count("h1") == 1
    for caution in CAUTIONS:
        assert html.escape(caution, quote=True).replace("&#x27;", "&#39;") in text
    assert style() in text
    assert style_digest().startswith("sha256-")


@pytest.mark.parametrize("name", PAGES)
def test_the_pdf_says_the_same(pages, name):
    document = pages[name]
    reader = PdfReader(io.BytesIO(as_pdf(document)))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    squeezed = text.replace(" ", "")
    assert document.title.replace(" ", "") in squeezed
    assert reader.metadata.title == document.title
    for caution in CAUTIONS:
        assert caution.replace(" ", "") in squeezed
    for block in document.blocks:
        if isinstance(block, Grid):
            for row in block.rows:
                for cell in row:
                    for word in printable(cell).split():
                        assert word in squeezed, f"{word} of {cell} is not on paper"
        if isinstance(block, Remark):
            assert printable(block.text).replace(" ", "") in squeezed
    assert f"page{len(reader.pages)}of{len(reader.pages)}" in squeezed
    fonts = {
        str(font["/BaseFont"]): font
        for page in reader.pages
        for font in (one.get_object() for one in page["/Resources"]["/Font"].values())
    }
    assert fonts
    for called, font in fonts.items():
        assert "DejaVu" in called
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in descriptor, "letters are embedded"


def test_the_same_tags_give_the_same_files(season):
    one, other = (page_of("measure", season) for _ in range(2))
    assert as_html(one) == as_html(other)
    assert as_pdf(one) == as_pdf(other)


def test_odd_names_come_through(pages):
    text = as_html(pages["congestion"])
    assert "A. &#34;Tree&#34; &lt;b&gt;Lund&lt;/b&gt;" in text
    assert "<b>Lund" not in text
    shown = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(as_pdf(pages["congestion"]))).pages)
    for name in ("Žilić", "Çelik", "Færøy", "$2^3$", "<b>Lund</b>"):
        assert name in shown
    assert printable("a漢b\U0001f3c0") == "a\u25a1b\u25a1"


def test_what_nobody_confirmed_is_said(season, pages):
    with_undecided = as_html(pages["set"])
    assert "nobody has confirmed" in with_undecided
    assert "that staff have decided so far" in with_undecided
    confirmed = as_html(set_page(execution_sheet(season, SET, side("", SETTINGS), SETTINGS)))
    assert "only runs that staff have confirmed" in confirmed
    assert f"{2 * GAMES} candidates" in confirmed


def test_stills_are_inside_the_file():
    stream = io.BytesIO()
    Image.new("RGB", (320, 180), "#338855").save(stream, "PNG")
    still = Still(stream.getvalue(), "the moment", "Tag 7", ("What it was.", "2 good"))
    document = Document("Stills", "", (Stills((still,) * 4),), CAUTIONS)
    assert as_html(document).count("data:image/png;base64,") == 4
    reader = PdfReader(io.BytesIO(as_pdf(document)))
    assert len(reader.pages[0].images) >= 1
    assert "Tag 7" in reader.pages[0].extract_text()


def test_a_long_report_breaks_over_pages():
    from pipeline.reports.document import Column

    rows = tuple((f"row {n}", "x" * 200, "words and words " * 12) for n in range(90))
    document = Document("Long", "a " * 300, (Grid("Many", (Column("A"), Column("B"), Column("C")), rows),), CAUTIONS)
    reader = PdfReader(io.BytesIO(as_pdf(document)))
    text = "".join(page.extract_text() for page in reader.pages)
    assert len(reader.pages) > 5
    for n in range(90):
        assert f"row {n}" in text


def test_files_are_written_whole_or_not_at_all(pages, tmp_path):
    out = write_report(pages["trend"], tmp_path / "new folder" / "trend.HTML", datetime(2026, 1, 1, tzinfo=UTC))
    assert out.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert write_report(pages["trend"], tmp_path / "t.pdf").read_bytes().startswith(b"%PDF")
    with pytest.raises(SettingsError, match=r"\.html or \.pdf"):
        write_report(pages["trend"], tmp_path / "t.docx")
    (tmp_path / "file").write_text("x")
    with pytest.raises(LibraryError, match="cannot be written"):
        write_report(pages["trend"], tmp_path / "file" / "t.html")
    assert not list(tmp_path.glob(".*.tmp"))


def elbowroom(*arguments, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["elbowroom", *map(str, arguments)])
    try:
        cli.main()
    except SystemExit as stopped:
        return stopped.code or 0, capsys.readouterr()
    return 0, capsys.readouterr()


def test_the_commands(season, tmp_path, monkeypatch, capsys):
    library = ("--library", season.root)
    for name, arguments in {
        "a.html": ("set", SET, "--of", "team:Harbour", "--candidates"),
        "b.pdf": ("compare", SET, "team:Harbour", "period:1"),
        "c.html": ("congestion", "--of", "team:Harbour"),
        "d.pdf": ("night", "--since", "2026-11-12"),
        "e.html": ("trend", "pushed_out_catch team:Harbour", "--per", "game"),
    }.items():
        code, shown = elbowroom(
            "report", *arguments, *library, "--out", tmp_path / name, monkeypatch=monkeypatch, capsys=capsys
        )
        assert code == 0, shown.err
        assert shown.out.strip() == f"Report: {tmp_path / name}"
        data = (tmp_path / name).read_bytes()
        assert b"Made 20" in data or data.startswith(b"%PDF")
    if shutil.which("pdftotext"):
        told = subprocess.run(["pdftotext", str(tmp_path / "b.pdf"), "-"], capture_output=True, text=True, check=True)
        assert "two sides" in told.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("set", SET, "--out", "x.doc"), "HTML or PDF"),
        (("set", "horn", "--out", "x.html"), "horns"),
        (("set", SET, "--of", "team:Nobody", "--out", "x.html"), "Nobody"),
        (("compare", SET, "horns", "period:1", "--out", "x.html"), "names no set"),
        (("trend", "period:1", "--out", "x.html"), "begin the line"),
        (("night", "--since", "yesterday", "--out", "x.html"), "no time"),
    ],
)
def test_mistakes_are_one_sentence_and_leave_nothing(arguments, said, season, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    code, shown = elbowroom("report", *arguments, "--library", season.root, monkeypatch=monkeypatch, capsys=capsys)
    assert code == 2
    assert said in shown.err
    assert not list(tmp_path.iterdir())


def test_reports_of_one_game_without_anything(tmp_path):
    library = make_season(tmp_path / "library", games=1)
    for text in ("team:Harbour", f"team:'{CLUBS[0]}'"):
        assert "too small" in as_html(
            compare_page(compare_set(library, SET, side("", SETTINGS), side(text, SETTINGS), SETTINGS))
        )
    assert RUNS > 2
