"""Workbooks written by hand, part by part, so that every part can be wrong.

The format is Office Open XML (ECMA-376, part 1, clause 18); only what a table needs is written.
"""

import io
import random
import re
import zipfile
from functools import cache
from html import escape

from stress.mutations import bent_text, few, hostile_text, number_text

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPES = (
    f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default '
    'Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.worksheet+xml"/><Override PartName="/xl/styles.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>'
    '<Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.sharedStrings+xml"/></Types>'
)
PARTS = {
    "[Content_Types].xml": _TYPES,
    "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
    f'Type="{_REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_REL}"><sheets><sheet name="Orders" '
    'sheetId="1" r:id="rId1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_REL}/worksheet" Target="worksheets/sheet1.xml"/>'
    f'<Relationship Id="rId2" Type="{_REL}/styles" Target="styles.xml"/><Relationship Id="rId3" '
    f'Type="{_REL}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
    "xl/styles.xml": f'<styleSheet xmlns="{_MAIN}"><fonts count="1"><font/></fonts>'
    '<fills count="1">'
    "<fill><patternFill/></fill></fills>"
    '<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/>'
    '</cellStyleXfs><cellXfs count="2"><xf/><xf numFmtId="14"/></cellXfs></styleSheet>',
    "xl/sharedStrings.xml": f'<sst xmlns="{_MAIN}"><si><t>yes</t></si><si><t>no</t></si></sst>',
}
#: What a change puts into a part.
TOKENS = (
    b'<c r="XFD1048576"><v>1</v></c>', b'<row r="1048576"/>', b'<row r="0"/>',
    b'<row r="99999999"/>',
    b'<c r="A1" t="s"><v>999</v></c>', b'<c t="e"><v>#REF!</v></c>',
    b'<c t="d"><v>2026-13-45</v></c>',
    b'<c t="b"><v>maybe</v></c>', b'<c t="n"><v>1e999</v></c>', b'<c s="99"><v>5</v></c>',
    b'<c s="1"><v>-5</v></c>', b'<c s="1"><v>1e300</v></c>', b'<c s="1"><v>2958466</v></c>',
    b"<c><f>1+1</f></c>", b'<c><f t="shared" si="0" ref="A1:XFD9">A1</f></c>', b"<mergeCells>",
    b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>', b'<mergeCell ref="B2:C9"/>',
    b'<mergeCells><mergeCell ref="A2:B4"/></mergeCells>', b'<dimension ref="A1:XFD1048576"/>',
    b'<dimension ref="nonsense"/>', b"<!DOCTYPE x [<!ENTITY a \"b\">]>", b"&a;", b"&#x0;", b"<",
    b">",
    b"</row>", b"</sheetData>", b'<row r="x">', b"<c/>", b'<c r="">', b'<c r="1A">', b"<t>",
    b"\xff",
    b'date1904="1"', b'<workbookPr date1904="1"/>', b'<definedName name="x">#REF!</definedName>',
    b'<sheet name="Orders" sheetId="2" r:id="rId1"/>', b'<sheet name="" sheetId="0" r:id="rId9"/>',
    b'state="hidden"', b'hidden="1"', b'Target="../../../etc/passwd"', b'TargetMode="External"',
    b'<xf numFmtId="999999"/>', b'<numFmt numFmtId="200" formatCode="[h]:mm:ss"/>', b'count="-1"',
)  # fmt: skip


def column_name(place: int) -> str:
    name = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        name = chr(65 + rest) + name
    return name


def _cell(draws: random.Random, row: int, column: int, text: str) -> str:
    place = f' r="{column_name(column)}{row}"' if draws.random() < 0.9 else ""
    plain = escape(re.sub(r"[\x00-\x08\x0b-\x1f\ud800-\udfff\ufffe\uffff]", "", text))
    if re.fullmatch(r"-?\d{1,12}(\.\d{1,6})?", text):
        style = ' s="1"' if draws.random() < 0.01 else ""
        return f"<c{place}{style}><v>{text}</v></c>"
    if re.fullmatch(r"\d{1,2}/\d{1,2}/\d{4}", text) and draws.random() < 0.9:
        serial = draws.randint(45800, 46300) if draws.random() < 0.997 else number_text(draws)
        return f'<c{place} s="1"><v>{serial}</v></c>'
    kind = draws.random()
    if kind < 0.003:
        return f"<c{place}><f>{plain}</f></c>"
    if kind < 0.006:
        type_ = draws.choice(("str", "s", "e", "d", "b", "n", "x"))
        return f'<c{place} t="{type_}"><v>{plain}</v></c>'
    return f'<c{place} t="inlineStr"><is><t>{plain}</t></is></c>'


def sheet_part(draws: random.Random, rows: list[list[str]]) -> str:
    lines = []
    for number, row in enumerate(rows, start=1):
        cells = "".join(_cell(draws, number, k, text) for k, text in enumerate(row) if text)
        lines.append(f'<row r="{number}">{cells}</row>')
    return f'<worksheet xmlns="{_MAIN}"><sheetData>{"".join(lines)}</sheetData></worksheet>'


def zipped(parts: dict[str, bytes | str], level: int = 1) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED, compresslevel=level) as file:
        for name, part in parts.items():
            file.writestr(name, part)
    return content.getvalue()


def workbook(draws: random.Random, rows: list[list[str]]) -> bytes:
    """Return a workbook of the rows, its parts or its archive changed somewhere."""
    parts: dict[str, bytes | str] = PARTS | {"xl/worksheets/sheet1.xml": sheet_part(draws, rows)}
    for _ in range(few(draws, 3) - 1):
        name = draws.choice((*parts, *["xl/worksheets/sheet1.xml"] * 2))
        if name not in parts:
            continue
        part = parts[name]
        body = part.encode("utf-8", "replace") if isinstance(part, str) else part
        do = draws.random()
        if do < 0.08:
            del parts[name]
        elif do < 0.5:  # between two elements, where it is read
            places = [found.start() for found in re.finditer(rb"<", body)] or [0]
            place = draws.choice(places)
            parts[name] = body[:place] + draws.choice(TOKENS) + body[place:]
        elif do < 0.75:
            values = list(re.finditer(rb'"[^"]*"', body))
            if values:
                found = draws.choice(values)
                said = escape(hostile_text(draws)).encode("utf-8", "replace")
                parts[name] = body[: found.start()] + b'"' + said + b'"' + body[found.end() :]
        else:
            parts[name] = bent_text(draws, body, TOKENS)
    content = zipped(parts)
    return bent_text(draws, content, (b"PK\x03\x04", b"\x00" * 8, b"\xff" * 4)) if (
        draws.random() < 0.15) else content  # fmt: skip


def _sheet(rows: str, after: str = "") -> str:
    return f'<worksheet xmlns="{_MAIN}"><sheetData>{rows}</sheetData>{after}</worksheet>'


def _with(**parts: bytes | str) -> bytes:
    named = {"sheet": "xl/worksheets/sheet1.xml", "strings": "xl/sharedStrings.xml",
             "styles": "xl/styles.xml", "book": "xl/workbook.xml"}  # fmt: skip
    start: dict[str, bytes | str] = PARTS | {"xl/worksheets/sheet1.xml": _sheet("")}
    return zipped(start | {named[key]: part for key, part in parts.items()}, 6)


@cache
def claims() -> dict[str, bytes]:
    """Return small workbooks that claim far more than they show."""
    lines = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10}">' for k in range(1, 10))
    entities = f'<!DOCTYPE x [<!ENTITY e0 "lol">{lines}]>'
    strings = f'<sst xmlns="{_MAIN}"><si><t>&e9;</t></si></sst>'
    return {
        "a last cell at XFD1048576": _with(
            sheet=_sheet('<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')),
        "a claim of all cells": _with(sheet=_sheet("", "").replace(
            "<sheetData>", '<dimension ref="A1:XFD1048576"/><sheetData>')),
        "a merge of all cells": _with(sheet=_sheet("",
        '<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>')),
        "a row of 16384 cells": _with(sheet=_sheet("<row>" + "<c><v>1</v></c>" * 16384 + "</row>")),
        "a thousand million laughs": _with(strings=entities + strings),
        "laughs in the sheet": _with(sheet=entities + _sheet(
            '<row><c t="inlineStr"><is><t>&e9;</t></is></c></row>')),
        "an external entity": _with(
            strings='<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>' + strings),
        "nested ten thousand deep": _with(sheet=_sheet("<row>" * 10_000 + "</row>" * 10_000)),
        "many merges": _with(sheet=_sheet("",
        "<mergeCells>" + '<mergeCell ref="A1:Z99"/>' * 50_000 + "</mergeCells>")),
        "a million styles": _with(styles=PARTS["xl/styles.xml"].replace("<xf/>",
        "<xf/>" * 500_000)),
        "twenty thousand sheets": _with(book=PARTS["xl/workbook.xml"].replace(
            "</sheets>",
            "".join(f'<sheet name="s{k}" sheetId="{k + 2}" r:id="rId1"/>' for k in range(20_000))
            + "</sheets>")),
    }  # fmt: skip


@cache
def bombs() -> dict[str, bytes]:
    """Return workbooks that hold far more than they show."""
    row = "<row>" + "<c><v>1</v></c>" * 1000 + "</row>"
    string = f'<sst xmlns="{_MAIN}"><si><t>{"x" * 300_000_000}</t></si></sst>'
    return {
        "ten million cells": _with(sheet=_sheet(row * 10_000)),
        "300 MB of blanks": _with(sheet=_sheet(" " * 300_000_000)),
        "300 MB of one string": _with(strings=string),
        "a million empty rows": _with(sheet=_sheet("<row/>" * 1_000_000)),
        "a zip of many parts": zipped(PARTS | {f"x{k}": "" for k in range(30_000)}),
    }
