"""Point files as they come: order, delimiter, coding, header or none; and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from layout.errors import ReadError
from layout.readers.points import MOST_POINTS, PointTable, read_points, split_name

SQUARE = ((10.0, 20.0), (30.0, 20.0), (30.0, 40.0))


def read(folder: Path, content: str | bytes, name: str = "bed.csv") -> PointTable:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_points(path, shown=name)


@pytest.mark.parametrize(
    "text",
    [
        "x,y\n10,20\n30,20\n30,40\n",
        "y,x\n20,10\n20,30\n40,30\n",
        "Easting,Northing\n10,20\n30,20\n30,40\n",
        "NORTHING,EASTING\n20,10\n20,30\n40,30\n",
        "n,e\n20,10\n20,30\n40,30\n",
        "point,x,y,description\n1,10,20,a\n2,30,20,b\n3,30,40,\n",
        'Point,Description,Elevation,Y,X\n1,"a, b",5,20,10\n2,,,20,30\n3,c,6,40,30\n',
        "x;y\n10;20\n30;20\n30;40\n",
        "x;y\n10,0;20,0\n30,0;20,0\n30,0;40,0\n",
        "x\ty\n10\t20\n30\t20\n30\t40\n",
        " x , y \n 10 , 20 \n30, 20\n30,40\n",
        '"x","y"\n"10","20"\n"30","20"\n"30","40"\n',
        "# bed of lot 12\n\nx,y\n10,20\n\n# hub\n30,20\n30,40\n\n",
        "# x,y\n10,20\n30,20\n30,40\n",
        "#,x,y\n1,10,20\n2,30,20\n3,30,40\n",
        "x,y,\n10,20,\n30,20,\n30,40,\n",
        "x,y\r\n10,20\r\n30,20\r\n30,40\r\n",
        "x,y\r10,20\r30,20\r30,40",
        "x,y\n+1.0e1,20.\n30,2e+1\n30,40.000\n",
        "1,20,10\n2,20,30\n3,40,30\n",
        "1,20,10,5.5,corner\n2,20,30,5.6,fence; post\n3,40,30,5.7,a, b, c\n",
        "A1,20,10\nA2,20,30\nA3,40,30\n",
        "10,20\n30,20\n30,40\n",
        "x|y\n10|20\n30|20\n30|40\n",
        "x y\n10 20\n30  20\n30 40\n",
        "x y description\n10 20 a fence post\n30 20\n30 40 b\n",
        "1 20.00 10.00 5.5 EDGE OF BED\n2 20.00 30.00 5.6 EDGE\n3 40.00 30.00 5.7\n",
        "   1   20.00   10.00\n   2   20.00   30.00\n   3   40.00   30.00\n",
        "1\t20\t10\t5,5\tcorner, east\n2\t20\t30\t5,6\tfence\n3\t40\t30\t5,7\n",
        "x\ty\n10,0\t20,0\n30,00\t20,0\n30,0\t40,0\n",
        "x y\n10,0 20,0\n30,0 20,0\n30,0 40,0\n",
        "x;y\n10,000;20,000\n30,000;20,000\n30,000;40,000\n",
        "1;20,0;10,0;5,5;a, b\n2;20,0;30,0;5,5;\n3;40,0;30,0;5,5;c\n",
        "1,20,10,corner\n2,20,30,fence\n3,40,30,\n",
        "Easting (ft),Northing [ft]\n10,20\n30,20\n30,40\n",
        "Point No.;Northing_m;Easting_m\n1;20;10\n2;20;30\n3;40;30\n",
        "Lat,Lon,E,N\n42,-71,10,20\n42,-71,30,20\n42,-71,30,40\n",
    ],
)
def test_forms(tmp_path: Path, text: str) -> None:
    assert read(tmp_path, text).xy == SQUARE


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_codings(tmp_path: Path, coding: str) -> None:
    text = "x,y,description\n10,20,Weiße Brücke\n30,20,\n30,40,\n"
    assert read(tmp_path, text.encode(coding)).xy == SQUARE


def test_levels_and_places(tmp_path: Path) -> None:
    table = read(tmp_path, "x,y,elevation\n10,20,97.5\n\n30,20,\n30,40,-1\n")
    assert table.z == (97.5, None, -1.0)
    assert table.places == ("line 2", "line 4", "line 5")
    assert table.file == "bed.csv"


def test_surveyors_order_has_levels(tmp_path: Path) -> None:
    assert read(tmp_path, "1,20,10,5.5,corner\n2,20,30,,\n3,40,30,5.7\n").z == (5.5, None, 5.7)


def test_a_line_break_in_quotes_keeps_the_line_numbers(tmp_path: Path) -> None:
    table = read(tmp_path, 'x,y,description\n10,20,"two\nlines"\n30,20,\n')
    assert table.places == ("line 2", "line 4")


def test_two_columns_without_a_header_are_noted(tmp_path: Path) -> None:
    assert read(tmp_path, "10,20\n30,20\n").notes == (
        "bed.csv has no header; its two columns are read as x, y",
    )
    assert read(tmp_path, "x,y\n10,20\n").notes == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("1,20,10\n", "point, northing, easting"),
        ("1,20,10,5.5\n", "point, northing, easting, elevation"),
        ("1,20,10,corner\n", "point, northing, easting, description"),
        ("1,20,10,5.5,corner\n", "point, northing, easting, elevation, description"),
    ],
)
def test_the_order_taken_without_a_header_is_noted(tmp_path: Path, text: str, told: str) -> None:
    """Else a file of point, x, y gives the mirrored bed, and nothing tells."""
    assert read(tmp_path, text).notes == (f"bed.csv has no header; its columns are read as {told}",)


def test_text_behind_the_last_column_belongs_to_it(tmp_path: Path) -> None:
    written = 'point,x,y,description\n1,10,20,OAK, 24, south\n2,30,20,"EDGE, east"\n'
    assert read(tmp_path, written).descriptions == ("OAK, 24, south", "EDGE, east")
    assert read(tmp_path, "1,20,10,5.5,fence, post\n").descriptions == ("fence, post",)


@pytest.mark.parametrize(
    ("text", "line", "found"),
    [
        ("point,x,y,z,description\n1,3.2,9,10.0,EDGE\n2,3.2,15,0,10.0,EDGE\n", 3, "6 cells in 5 columns"),
        ("point,x,y,z,description\n1,3.2,15,0,,EDGE\n", 2, "6 cells in 5 columns"),
        ("point,x,y,description\n1,3.2,15,0,EDGE\n", 2, "5 cells in 4 columns"),
        ("x,y\n10,20\n10,5,20,5\n", 3, "4 cells in 2 columns"),
        ("1,20,10,5.5,EDGE\n2,20,30,0,5.5,EDGE\n", 2, "6 cells in 5 columns"),
    ],
)
def test_a_decimal_comma_that_shifts_the_cells(tmp_path: Path, text: str, line: int, found: str) -> None:
    """A corner would be lost from ``#EDGE`` without a word, or stand elsewhere."""
    with pytest.raises(ReadError) as caught:
        read(tmp_path, text)
    assert f"bed.csv: line {line}: there are {found}. Write decimal points" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "x,y\n0,0\n100,zero\n",
            'bed.csv: line 3: the northing (column 2) cannot be read: "zero" is no number',
        ),
        ("x,y\n0,0\n,5\n", "bed.csv: line 3: the easting (column 1) cannot be read: it is missing"),
        ("x,y\n0,0\n7\n", "bed.csv: line 3: the northing (column 2) cannot be read: it is missing"),
        ("x,y\n0,inf\n", '"inf" is no number'),
        ("x,y\n0,nan\n", '"nan" is no number'),
        ("x,y\n0,1_000\n", '"1_000" is no number'),
        ("x,y\n0,12 ft\n", '"12 ft" is no number'),
        ("x\ty\n0\t1,500\n", '"1,500" may have a decimal comma or one that parts thousands'),
        ("x,y\n0,1e12\n", "is 1e+12, beyond 1,000,000,000"),
        ("x,y\n0,1e999\n", "is inf, beyond 1,000,000,000"),
        ("x,y,z\n0,0,high\n", 'the elevation (column 3) cannot be read: "high" is no number'),
        (
            "lat,lon\n42,somewhere\n",
            'line 2: the longitude (column 2) cannot be read: "somewhere" is no angle',
        ),
        ("lat,lon\n42\n", "line 2: the longitude (column 2) cannot be read: it is missing"),
        ("lat,lon\n-71,142\n42,-200\n", "line 3: the longitude (column 2) is -200, beyond 180 degrees"),
        ("lat,lon\n775086,2956520\n", "are plan coordinates in them?"),
        ("lat,z\n42,5\n", "the header names no pair of coordinates; it holds: lat, z"),
        ("x,z\n0,0\n", "the header names no pair of coordinates; it holds: x, z"),
        ("east side,north side\n0,0\n", "it holds: east side, north side"),
        ("x,y,X\n0,0,0\n", "two columns hold x: x and X"),
        ("x,y,easting,northing\n0,0,0,0\n", "the header names both x and y and easting and northing"),
        ("x,northing\n0,0\n", "the header names both x and northing"),
        ("x,y\n", "the file holds a header but no points"),
        ("", "the file holds no points"),
        ("\n# remark\n\n", "the file holds no points"),
        ("0\n100\n", "line 1: there is only one column"),
        ("0.00,0.00,98.1\n", '"0.00" in the first column is no point number'),
        (",20,10\n", '"" in the first column is no point number'),
        ("1,0,0\n1,0,5\n", "line 2: point 1 stands on line 1 already, with other coordinates"),
        ('x,y,description\n0,0,"open\n1,1,\n', "line 2: the line cannot be split into columns"),
    ],
)
def test_faults(tmp_path: Path, text: str, expected: str) -> None:
    with pytest.raises(ReadError) as caught:
        read(tmp_path, text)
    assert expected in str(caught.value)
    assert all(fault.file == "bed.csv" and fault.remedy for fault in caught.value.faults)


def test_a_closing_point_may_repeat_the_first_number(tmp_path: Path) -> None:
    assert read(tmp_path, "1,20,10\n2,20,30\n3,40,30\n1,20,10\n").xy == (*SQUARE, SQUARE[0])


def test_all_faults_at_once_and_the_rest_counted(tmp_path: Path) -> None:
    with pytest.raises(ReadError) as caught:
        read(tmp_path, "x,y\n" + "a,b\n" * 20)
    lines = str(caught.value).splitlines()
    assert len(lines) == 9
    assert "32 more faults" in lines[-1]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("bed.shp", ".shp files cannot be read"),
        ("bed.xlsx", ".xlsx files cannot be read"),
        ("bed", "the file has no ending"),
    ],
)
def test_other_kinds_name_what_can_be_read(tmp_path: Path, name: str, expected: str) -> None:
    with pytest.raises(ReadError, match=r"\.csv points, \.dxf drawings") as caught:
        read(tmp_path, "x,y\n", name)
    assert expected in str(caught.value)


def test_a_drawing_needs_the_site_for_its_units(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="a drawing is read only where a site file names it"):
        read(tmp_path, "0\nEOF\n", "bed.dxf")


@pytest.mark.parametrize("text", ["# a remark\n", "\n \n\t\n", "# x y\n\n#\n"])
def test_remarks_alone_are_no_points(tmp_path: Path, text: str) -> None:
    with pytest.raises(ReadError, match="the file holds no points"):
        read(tmp_path, text)


def test_files_that_are_none(tmp_path: Path) -> None:
    (tmp_path / "fence.csv").mkdir()
    (tmp_path / "bed.csv").write_text("x,y\n0,0\n")
    with pytest.raises(ReadError, match="this is a folder"):
        read_points(tmp_path / "fence.csv")
    with pytest.raises(ReadError, match=r"no such file. Is it bed\.csv\?"):
        read_points(tmp_path / "bde.csv")
    with pytest.raises(ReadError, match="Check the path"):
        read_points(tmp_path / "nowhere" / "x.csv")
    with pytest.raises(ReadError, match=r"cannot be opened|no such file"):
        read_points(tmp_path / ("long" * 100 + ".csv"))
    with pytest.raises(ReadError, match="this is no text file"):
        read(tmp_path, b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0")
    with pytest.raises(ReadError, match="this is no text file"):
        read(tmp_path, b"\xff\xfe\x00")


def test_too_many_points(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=f"holds {MOST_POINTS + 1} points"):
        read(tmp_path, "x,y\n" + "0,0\n" * (MOST_POINTS + 1))


def test_many_points_are_read_soon(tmp_path: Path) -> None:
    rows = "".join(f"{i},{i % 7}.25\n" for i in range(20_000))
    assert len(read(tmp_path, "x,y\n" + rows).xy) == 20_000


CODED = "1,20,10,5,BED 1\n2,0,0,5,TREE\n3,20,30,5,bed 2\n4,9,9,5,\n5,40,30,5,Bed\n"


def test_points_of_one_description_code(tmp_path: Path) -> None:
    (tmp_path / "lot.csv").write_text(CODED)
    table = read_points(tmp_path / "lot.csv", part="BED")
    assert table.xy == SQUARE
    assert table.places == ("line 1", "line 3", "line 5")
    (tmp_path / "lot.csv").write_text("x,y,code\n10,20,EB\n1,1,T\n30,20,EB\n30,40,EB\n")
    assert read_points(tmp_path / "lot.csv", part="eb").xy == SQUARE


@pytest.mark.parametrize(
    ("text", "part", "expected"),
    [
        (CODED, "HOUSE", "no description begins with HOUSE; there are: BED 1, TREE, bed 2, Bed"),
        ("x,y\n0,0\n", "BED", "no point has a description, so none can be chosen by #BED"),
        ("1,2,3,4\n", "BED", "no point has a description"),
    ],
)
def test_codes_that_are_not_there(tmp_path: Path, text: str, part: str, expected: str) -> None:
    (tmp_path / "lot.csv").write_text(text)
    with pytest.raises(ReadError) as caught:
        read_points(tmp_path / "lot.csv", part=part)
    assert expected in str(caught.value)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("x,y\n10,20\n", None),
        ("x (m),y (m)\n10,20\n", "m"),
        ("E_ft,N_ft,elev_ft\n10,20,1\n", "ft"),
        ("X (USft),Y\n10,20\n", "us-ft"),
    ],
)
def test_a_unit_that_the_header_names(tmp_path: Path, text: str, unit: str | None) -> None:
    assert read(tmp_path, text).unit == unit


def test_two_units_in_one_header(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="the header names two units: ft and m"):
        read(tmp_path, "x (ft),y (ft),z (m)\n10,20,1\n")


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("lot.csv", ("lot.csv", "")),
        ("lot.csv#EDGE OF BED", ("lot.csv", "EDGE OF BED")),
        ("a/lot.DXF#V-BED", ("a/lot.DXF", "V-BED")),
        ("bed #2.csv", ("bed #2.csv", "")),
        ("bed #2.geojson#bed #2", ("bed #2.geojson", "bed #2")),
        ("lot.csv#", ("lot.csv", "")),
    ],
)
def test_names_with_a_part(name: str, parts: tuple[str, str]) -> None:
    assert split_name(name) == parts


@pytest.mark.parametrize(
    "text",
    [
        "lat,lon\n42.36,-71.06\n42.37,-71.06\n",
        "Point;Longitude;Latitude;Code\n1;-71.06;42.36;a\n2;-71.06;42.37;b\n",
        "lat;lon\n42,36;-71,06\n42,37;-71,06\n",
        "Latitude,Longitude\n42°21'36\" N,71°03'36\" W\n42°22'12\" N,71°03'36\" W\n",
        "lat lon\n42.36 -71.06\n42.37 -71.06\n",
        "# lat,lon\n42.36,-71.06\n42.37,-71.06\n",
    ],
)
def test_latitude_and_longitude(tmp_path: Path, text: str) -> None:
    table = read(tmp_path, text)
    assert table.geographic
    assert table.xy == (pytest.approx((-71.06, 42.36)), pytest.approx((-71.06, 42.37)))


def test_plan_coordinates_go_before_degrees(tmp_path: Path) -> None:
    table = read(tmp_path, "lat,lon,northing,easting\n42,-71,20,10\n")
    assert (table.xy, table.geographic) == (((10.0, 20.0),), False)
    assert table.notes == ("bed.csv: plan coordinates are read; latitude and longitude are not looked at",)


def test_levels_beside_degrees(tmp_path: Path) -> None:
    table = read(tmp_path, "lat,lon,elevation (m)\n42,-71,20\n")
    assert (table.metric_z, table.unit) == (True, None)
    table = read(tmp_path, "lat,lon,elevation (ft)\n42,-71,20\n")
    assert (table.metric_z, table.unit) == (False, "ft")
