"""The same table, however a spreadsheet writes it, is read as the same values or refused."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.records.catalogue import TOOL_SPECS
from crib.records.plain_text import as_meant
from crib.shopfiles.errors import Problems
from crib.shopfiles.reading import ShopFile

HEADER = [
    "tool_spec", "description", "holder_type", "cutting_items", "nose_radius_mm",
    "lf_nominal_mm", "life_parts", "failure_cost", "items_per_tool",
]  # fmt: skip

text = st.text(
    st.characters(
        exclude_categories=("Cs", "Cc", "Cf", "Zl", "Zp", "Zs"), include_characters=",;\"'| "
    ),
    min_size=1,
    max_size=12,
).filter(lambda written: written == written.strip() and as_meant(written) == written)
name = text.filter(lambda written: "|" not in written)


def decimals(column: str, places: int) -> st.SearchStrategy[Decimal | None]:
    bounds = TOOL_SPECS.column(column).bounds
    return st.none() | st.builds(
        lambda digits, shift: Decimal(digits).scaleb(-shift),
        st.integers(1, int((bounds.most or 0) * 10**places)),
        st.integers(0, places),
    ).filter(lambda value: bounds.admits(float(value)))


rows = st.lists(
    st.tuples(
        name,
        st.none() | text,
        name,
        st.lists(name, min_size=1, max_size=3, unique=True),
        decimals("nose_radius_mm", 4),
        decimals("lf_nominal_mm", 4),
        decimals("life_parts", 3),
        decimals("failure_cost", 2),
        st.none() | st.integers(1, 100),
    ),
    min_size=1,
    max_size=6,
)
separators = st.sampled_from([",", ";", "\t"])
line_ends = st.sampled_from(["\n", "\r\n", "\r"])
encodings = st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])
quoting = st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("dialects")


def number(value: Decimal | int | None, mark: str, group: str) -> str:
    if value is None:
        return ""
    plain = f"{value:,f}" if isinstance(value, Decimal) else f"{value:,d}"
    return plain.replace(",", "\0").replace(".", mark).replace("\0", group)


def meant(row) -> dict[str, object]:
    spec, description, holder, items, nose, lf, life, cost, per_tool = row
    return {
        "tool_spec": spec,
        "description": description,
        "holder_type": holder,
        "cutting_items": tuple(items),
        "nose_radius_mm": None if nose is None else int(nose * 10_000),
        "lf_nominal_mm": None if lf is None else int(lf * 10_000),
        "life_parts": None if life is None else float(life),
        "failure_cost": None if cost is None else int(cost * 100),
        "items_per_tool": 1 if per_tool is None else per_tool,
    }


def write(path, rows, separator, line_end, encoding, quoting, mark, group, *, says_sep=False):
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=separator, lineterminator=line_end, quoting=quoting)
    if says_sep:
        stream.write(f"sep={separator}{line_end}")
    writer.writerow(HEADER)
    for spec, description, holder, items, *numbers in rows:
        writer.writerow(
            [spec, description or "", holder, "|".join(items)]
            + [number(value, mark, group) for value in numbers]
        )
    path.write_bytes(stream.getvalue().encode(encoding))


def read(path: Path) -> tuple[list[dict[str, object]], list[str]]:
    problems = Problems()
    values = [row.values for row in ShopFile(path, TOOL_SPECS, problems)]
    return values, [str(error) for error in problems.listed]


@given(rows, separators, line_ends, encodings, quoting, st.booleans())
def test_a_table_with_decimal_points_reads_the_same_in_every_dialect(
    folder, rows, separator, line_end, encoding, quoting, says_sep
):
    path = folder / "tool_specs.csv"
    write(path, rows, separator, line_end, encoding, quoting, ".", "", says_sep=says_sep)

    values, errors = read(path)

    if errors:  # the only excuse: nothing shows what the marks of the file mean
        assert separator != ","
        assert all("could be thousands or decimals" in error for error in errors)
    assert values == [meant(row) for row in rows]


@given(rows, st.sampled_from([";", "\t"]), line_ends, encodings, quoting)
def test_a_table_with_decimal_commas_reads_the_same_in_every_dialect(
    folder, rows, separator, line_end, encoding, quoting
):
    path = folder / "tool_specs.csv"
    write(path, rows, separator, line_end, encoding, quoting, ",", "")

    values, errors = read(path)

    assert all("could be thousands or decimals" in error for error in errors)
    assert values == [meant(row) for row in rows]


@given(
    rows,
    # (commas between cells and points between thousands would be 1.234 for 1234, which no
    # reader can tell from the plain number: where commas separate, the point is decimal)
    st.sampled_from(
        [(",", ".", ","), (",", ",", "")]
        + [(sep, mark, group) for sep in ";\t" for mark, group in (".,", ",.", ".'", ", ")]
    ),
    line_ends,
)
def test_grouped_thousands_are_refused_or_read_as_meant(folder, rows, dialect, line_end):
    separator, mark, group = dialect
    path = folder / "tool_specs.csv"
    write(path, rows, separator, line_end, "utf-8", csv.QUOTE_ALL, mark, group)

    values, errors = read(path)

    if not errors:
        assert values == [meant(row) for row in rows]
