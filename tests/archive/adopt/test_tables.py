"""A person's own list of pictures: headings in several languages, cells as people fill them, three kinds of files."""

from __future__ import annotations

from datetime import date
from zipfile import ZipFile

import pytest
from noctuary.archive.adopt.table_columns import columns, read_choices
from noctuary.archive.adopt.table_evidence import join
from noctuary.archive.adopt.table_rows import TableFault, read_table
from noctuary.archive.partial_date import PartialDate

from tests.archive.adopt.catalogue import names


def joined(tmp_path, text, pictures, chosen=None):
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    table = read_table(path)
    return join(table, columns(table.headings, chosen or {}), {p: p for p in pictures}, [], names(), "list.csv")


def test_rows_find_their_files_whatever_case_ending_and_separators(tmp_path):
    text = "File,Title\nM31-Final.TIF,One\n2019/m31 final.jpg,Two\nnot there,Three\n"
    found = joined(tmp_path, text, ["2019/M31_final.jpg"])
    assert found.of_picture["2019/M31_final.jpg"].title == "One"
    assert found.unjoined == ["list.csv, row 4: there is no picture “not there”"]


def test_a_name_that_two_pictures_have_wants_its_folder(tmp_path):
    found = joined(tmp_path, "File,Title\nfinal.jpg,One\n2019/final.jpg,Two\n", ["2018/final.jpg", "2019/final.jpg"])
    assert {name: said.title for name, said in found.of_picture.items()} == {"2019/final.jpg": "Two"}
    assert "write the folder too" in found.unjoined[0]


LANGUAGES = {
    "German": (
        "Dateiname;Titel;Objekt;Aufnahmedatum;Belichtung (s);Anzahl;Brennweite (mm);Blende",
        "a.jpg;Schön;M 31;03.08.2019;180;60;135;2,8",
    ),
    "French": (
        "fichier\ttitre\tobjet\tdate de prise de vue\tpose (s)\tnombre de poses\tfocale (mm)\trapport f/d",
        "a.jpg\tSchön\tM31\t2019-08-03\t180\t60\t135\tf/2.8",
    ),
    "Spanish": (
        "Archivo,Título,Objeto,Fecha de captura,Exposición (min),Tomas,Distancia focal,Relación focal",
        "a.jpg,Schön,Messier 31,2019-08-03,3,60,135 mm,1:2.8",
    ),
    "Italian": (
        "nome file|titolo|oggetto|data di ripresa|posa|scatti|lunghezza focale|rapporto focale",
        "a.jpg|Schön|NGC 224|2019-08-03|3 min|60|135 mm|2.8",
    ),
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_headings_in_several_languages(tmp_path, language):
    said = joined(tmp_path, "\n".join(LANGUAGES[language]), ["a.jpg"]).of_picture["a.jpg"]
    assert (said.title, said.night, said.focal_length_mm, said.f_ratio) == ("Schön", date(2019, 8, 3), 135, 2.8)
    assert names().called(said.objects[0])[1] == "NGC 224"
    assert [(g.exposure_s, g.kept) for g in said.frames] == [(180.0, 60)]


def test_cells_as_people_fill_them(tmp_path):
    text = (
        "file,exposures,total (h),date,finished,filter,iso\n"
        "a,120 x 180 s,,2019-08-03,2019,Ha,800\nb,,27,,2019-09,,\nc,soon,,,,,\nd,,3:20,,,,\n"
    )
    found = joined(tmp_path, text, ["a.jpg", "b.jpg", "c.jpg", "d.jpg"])
    a, b, d = (found.of_picture[f"{name}.jpg"] for name in "abd")
    assert [(g.exposure_s, g.kept, g.filter, g.iso) for g in a.frames] == [(180.0, 120, "Ha", 800)]
    # A column that says no more than “date” may mean the night or the day of the last stroke.
    assert (a.night, a.captured, a.finished) == (None, PartialDate(2019, 8, 3), PartialDate(2019))
    assert (b.integration_s, b.finished, d.integration_s) == (27 * 3600, PartialDate(2019, 9), 12000)


@pytest.mark.parametrize(
    ("cells", "nights"),
    [
        (("8/3/2019", "9/4/2019"), (None, None)),
        (("8/3/2019", "13/4/2019"), (date(2019, 3, 8), date(2019, 4, 13))),
        (("8/3/2019", "9/14/2019"), (date(2019, 8, 3), date(2019, 9, 14))),
    ],
)
def test_a_day_before_a_month_is_read_where_a_row_settles_it(tmp_path, cells, nights):
    text = "file,night\n" + "".join(f"{name},{cell}\n" for name, cell in zip("ab", cells, strict=True))
    found = joined(tmp_path, text, ["a.jpg", "b.jpg"])
    assert tuple(found.of_picture[f"{n}.jpg"].night for n in "ab") == nights
    assert all("2019-08-03" in line for line in found.unread)


def test_columns_as_the_person_maps_them(tmp_path):
    path = tmp_path / "columns.txt"
    path.write_text("# mine\nfile: Nr.\ntitle: Was\n", encoding="utf-8")
    found = joined(tmp_path, "Nr.,Was\n17,Adler\n", ["17.jpg"], read_choices(path))
    assert found.of_picture["17.jpg"].title == "Adler"
    path.write_text("fiel: Nr.\n", encoding="utf-8")
    with pytest.raises(TableFault, match=r"columns.txt:1.*did you mean file"):
        read_choices(path)
    with pytest.raises(TableFault, match="no column is headed “Nummer”; known are Nr"):
        joined(tmp_path, "Nr.,Was\n17,Adler\n", [], {"file": "Nummer"})


def test_a_table_without_files_says_how_to_map_one(tmp_path):
    with pytest.raises(TableFault, match="--columns"):
        joined(tmp_path, "Nr.,Was\n17,Adler\n", [])


def test_spreadsheets(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.append(["My pictures"])
    book.active.append(["File", "Title", "Night", "Exposure (s)", "Frames"])
    book.active.append(["a.jpg", "One", date(2019, 8, 3), 180, 60])
    book.save(tmp_path / "list.xlsx")
    table = read_table(tmp_path / "list.xlsx")
    found = join(table, columns(table.headings, {}), {"a.jpg": "a.jpg"}, [], names(), "list.xlsx")
    said = found.of_picture["a.jpg"]
    assert (said.title, said.night, said.frames[0].kept) == ("One", date(2019, 8, 3), 60)


_OASIS = "urn:oasis:names:tc:opendocument:xmlns"
ODS = f"""<?xml version="1.0" encoding="UTF-8"?><office:document-content office:version="1.2"
 xmlns:office="{_OASIS}:office:1.0" xmlns:table="{_OASIS}:table:1.0" xmlns:text="{_OASIS}:text:1.0">
<office:body><office:spreadsheet><table:table table:name="S">
<table:table-row>{{0}}</table:table-row><table:table-row>{{1}}</table:table-row>
</table:table></office:spreadsheet></office:body></office:document-content>"""
MANIFEST = f'<?xml version="1.0"?><manifest:manifest xmlns:manifest="{_OASIS}:manifest:1.0"/>'


def test_an_open_document_sheet(tmp_path):
    """Written here by hand, cell for cell as OASIS OpenDocument 1.2 has it."""

    def cells(*texts):
        one = '<table:table-cell office:value-type="string"><text:p>{}</text:p></table:table-cell>'
        return "".join(one.format(text) for text in texts)

    day = '<table:table-cell office:value-type="date" office:date-value="2019-08-03"/>'
    row = cells("a.jpg") + day
    with ZipFile(tmp_path / "list.ods", "w") as file:
        file.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        file.writestr("META-INF/manifest.xml", MANIFEST)
        file.writestr("content.xml", ODS.format(cells("File", "Night"), row))
    table = read_table(tmp_path / "list.ods")
    found = join(table, columns(table.headings, {}), {"a.jpg": "a.jpg"}, [], names(), "list.ods")
    assert found.of_picture["a.jpg"].night == date(2019, 8, 3)


@pytest.mark.parametrize(
    ("cell", "night"),
    [
        ("2019-08-04 01:12", date(2019, 8, 3)),
        ("2019-08-03 22:10", date(2019, 8, 3)),
        ("3 Aug 2019", date(2019, 8, 3)),
        ("3-5 Aug 2019", None),
        ("2019-08-03/05", None),
        ("2019-08-03, 2019-08-05", None),
    ],
)
def test_one_night_is_read_and_several_are_not_taken_for_one(tmp_path, cell, night):
    found = joined(tmp_path, f"file;night\na.jpg;{cell}\n", ["a.jpg"])
    assert found.of_picture["a.jpg"].night == night
    assert bool(found.unread) == (night is None)


def test_a_second_row_adds_frames_and_a_second_night_is_told(tmp_path):
    rows = ["file,night,exposure,frames,filter", "a,2019-08-03,300,12,Ha", "a,2019-08-03,300,10,OIII"]
    text = "\n".join([*rows, "a,2019-08-09,300,9,SII\n"])
    found = joined(tmp_path, text, ["a.jpg"])
    assert [(g.filter, g.kept) for g in found.of_picture["a.jpg"].frames] == [("Ha", 12), ("OIII", 10)]
    assert found.unread == [
        "list.csv, row 4: this is a further night of “a”; write it into its record as a second session"
    ]
