"""The rows of a workbook (.xlsx) as cells of text, as a CSV file has them; openpyxl reads it."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

from lasersafe.errors import InputError
from lasersafe.typed import shown

MOST_BYTES = 200_000_000  # of what is in the workbook, unpacked
MOST_COLUMNS = 500
NOT_WORKED_OUT = "its formula has no result; open the workbook, let it be worked out, and save it"


def sheet_of(path: Path) -> tuple[list[list[str] | str], tuple[str, ...]]:
    """Return the lines of the first sheet, and remarks; a text in place of cells says why a line cannot be read.

    Parameters
    ----------
    path : Path
        The workbook. Untrusted.

    Returns
    -------
    list
        The cells of each line as text: numbers with a decimal point.
    tuple of str
        Remarks: other sheets, which are not read.

    Raises
    ------
    InputError
        If it cannot be read, or the reader is not installed.
    """
    try:
        from openpyxl import load_workbook
    except ImportError:
        message = (
            f"{path}: workbooks are read by openpyxl; install it with: pip install 'lasersafe[xlsx]', or save as CSV"
        )
        raise InputError(message) from None
    if not path.is_file():
        message = f"{path}: there is no such file"
        raise InputError(message)
    try:
        with zipfile.ZipFile(path) as packed:
            if sum(one.file_size for one in packed.infolist()) > MOST_BYTES:
                message = f"{path}: more than {MOST_BYTES // 10**6} MB in it; save the sheet as CSV"
                raise InputError(message)
        values, formulas = (load_workbook(path, read_only=True, data_only=own) for own in (True, False))
        first, *others = values.worksheets
        rows = zip(
            first.iter_rows(max_col=MOST_COLUMNS), formulas.worksheets[0].iter_rows(max_col=MOST_COLUMNS), strict=True
        )
        lines = [_line(cells, typed) for cells, typed in rows]
    except InputError:
        raise
    except Exception as error:  # whatever the reader raises on a file that is damaged
        message = (
            f"{path}: this is no workbook that can be read ({type(error).__name__}); save the sheet again, or as CSV"
        )
        raise InputError(message) from None
    names = ", ".join(shown(sheet.title) for sheet in others)
    return lines, (f"only the first sheet, {shown(first.title)}, is read; not: {names}",) if others else ()


def _line(cells: tuple[Any, ...], typed: tuple[Any, ...]) -> list[str] | str:
    for cell, formula in zip(cells, typed, strict=True):
        if cell.value is None and formula.value is not None:
            return f"cell {formula.coordinate}: {NOT_WORKED_OUT}"
    return [_text(cell) for cell in cells]


def _text(cell: Any) -> str:
    """Return a cell as text; a number as it is, of a share in percent with its sign."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        if "%" in str(cell.number_format):
            return f"{value * 100.0:.12g} %"
        text = f"{value:.15g}"
        return f"{text}0" if len(text.partition(".")[2]) == 3 else text  # 1.1250, which nobody takes for a thousand
    return str(value)
