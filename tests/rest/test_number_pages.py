"""Pages of the calculations: every formula comes to the number beside it."""

import ast
import itertools
import math
import operator
import re
from html import unescape
from html.parser import HTMLParser
from urllib.parse import urlencode
from xml.etree import ElementTree

import pytest
from scipy.integrate import quad

from api import create_app
from api.pages.numbers.mathml import formula_markup, names_of, number_text, sides_of
from api.pages.numbers.page import WORKINGS
from api.pages.numbers.shown import code_place
from api.settings import Settings
from crib.store.migrate import open_store


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """The pages need no shop: one empty database does for all of them."""
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('pages') / 'crib.db'}")
    yield create_app(Settings(store.url), store).test_client()
    store.close()


class Reader(HTMLParser):
    """Texts of a page, and the fields below its header."""

    def __init__(self) -> None:
        super().__init__()
        self.below_header = False
        self.names: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.below_header |= tag == "main"
        if self.below_header and tag in ("input", "select", "textarea"):
            self.names.append(given["name"])

    def handle_data(self, data):
        self.texts.append(data)


def open_page(client, slug, status=200, **query):
    answer = client.get(f"/workings/{slug}" + (f"?{urlencode(query)}" if query else ""))
    text = answer.get_data(as_text=True)
    assert answer.status_code == status, text
    return text


def example(slug):
    working = WORKINGS[slug]
    return {entry.name: entry.read(entry.example) for entry in working.entries if entry.example}


WORDS = {
    "sqrt": math.sqrt,
    "exp": math.exp,
    "ln": math.log,
    "ceil": math.ceil,
    "floor": math.floor,
    "min": min,
    "max": max,
    "mod": math.fmod,
    "abs": abs,
    "tan_deg": lambda degrees: math.tan(math.radians(degrees)),
    "sin_deg": lambda degrees: math.sin(math.radians(degrees)),
}
SIGNS = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}


def worked_out(node, known, row=0):
    """A side of a formula by plain arithmetic; an integral by scipy's quadrature."""
    if isinstance(node, ast.Constant):
        return node.value
    if isinstance(node, ast.Name):
        value = {"pi": math.pi, "inf": math.inf}.get(node.id, known.get(node.id))
        return value[row] if isinstance(value, list | tuple) else value
    if isinstance(node, ast.UnaryOp):
        return -worked_out(node.operand, known, row)
    if isinstance(node, ast.BinOp):
        sides = (worked_out(side, known, row) for side in (node.left, node.right))
        return SIGNS[type(node.op)](*sides)
    name, args = ast.unparse(node.func), node.args
    if name == "total":
        return sum(worked_out(args[0], known, term) for term in range(terms_of(args[0], known)))
    if name == "integral":
        ends = (worked_out(end, known, row) for end in args[2:])
        return quad(
            lambda u: worked_out(args[0], known | {"u": u}, row), *ends, epsabs=0, limit=200
        )[0]
    return WORDS[name](*(worked_out(arg, known, row) for arg in args))


def terms_of(node, known):
    """How many figures the letters in a part of a formula have."""
    letters = {inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)}
    many = {len(known[n]) for n in letters & known.keys() if isinstance(known[n], list | tuple)}
    assert len(many) <= 1, ast.unparse(node)
    return max(many, default=1)


def check_lines(working, body, answer):
    """Both sides of every formula that has its figures are one number."""
    figures = working.figures(body, answer)
    known, checked = dict(figures.by_letter), 0
    for line in working.lines:
        if line.when and line.when not in figures.cases:
            continue
        if not names_of(line.text) <= known.keys():
            continue
        left, right = sides_of(line.text)
        for row in range(terms_of(left, known)):
            both = worked_out(left, known, row), worked_out(right, known, row)
            assert both[0] == pytest.approx(both[1], rel=1e-6, abs=1e-9), line.text
            checked += 1
    return checked


@pytest.mark.parametrize("slug", WORKINGS)
def test_every_formula_comes_to_the_number_that_the_code_gives(client, slug):
    working = WORKINGS[slug]
    with client.application.test_request_context(f"/workings/{slug}"):
        answer = working.work(example(slug))

        checked = check_lines(working, example(slug), answer)
        assert bool(checked) == bool(working.lines)


@pytest.mark.parametrize("text", ["SNMG120412", "TNMG160408", "WNMG080408", "RCMT0803M0"])
def test_the_edge_of_every_shape_follows_its_formula(client, text):
    working = WORKINGS["insert-designation"]
    with client.application.test_request_context("/workings/insert-designation"):
        assert check_lines(working, {"text": text}, working.work({"text": text})) == 1


STRAIGHT = {
    "kind": "turn", "start_diameter_mm": 12.0, "end_diameter_mm": 6.0, "length_mm": 20.0,
    "feed_mm_rev": 0.05, "depth_mm": 1.0, "cutting_speed_m_min": 90.0,
}  # fmt: skip
FACING = {"kind": "face", "start_diameter_mm": 20.0, "feed_mm_rev": 0.05}


AT_100 = FACING | {"cutting_speed_m_min": 100.0}
HOLE = {"start_diameter_mm": 3.0, "length_mm": 9.0, "feed_mm_rev": 0.03, "passes": 3}
THREAD = {"start_diameter_mm": 6.0, "end_diameter_mm": 4.772, "depth_mm": 0.15}


@pytest.mark.parametrize(
    "body",
    [
        STRAIGHT,
        STRAIGHT | {"station_max_rpm": 3_000.0, "contact_share": 0.6},
        STRAIGHT | {"spindle_rpm": 2_500.0},
        {"kind": "mill", "length_mm": 20.0, "feed_mm_rev": 0.05, "spindle_rpm": 2_000.0},
        {"kind": "drill", "cutting_speed_m_min": 60.0} | HOLE,
        STRAIGHT | THREAD | {"kind": "thread", "feed_mm_rev": 1.0, "spring_passes": 2},
        AT_100,
        AT_100 | {"end_diameter_mm": 8.0, "tool_max_rpm": 8_000.0},
        AT_100 | {"end_diameter_mm": 2.0, "tool_max_rpm": 8_000.0},
        AT_100 | {"holder_max_rpm": 900.0},
        FACING | {"spindle_rpm": 900.0, "passes": 2},
        FACING | {"engaged_s": 12.0},
    ],
)
def test_every_case_of_a_cut_has_a_formula_that_fits(client, body):
    working = WORKINGS["engaged-time"]
    with client.application.test_request_context("/workings/engaged-time"):
        answer = working.work(body)

        assert check_lines(working, body, answer)
        cases = working.figures(body, answer).cases
    assert any(line.text.startswith("t = ") and line.when in cases for line in working.lines)


@pytest.mark.parametrize("limit", [None, 100.0, 150.0, 8_000.0])
@pytest.mark.parametrize("diameter", [None, 100.0])
def test_every_case_of_an_economic_speed_has_formulas_that_fit(client, limit, diameter):
    """Least cost turns at 135 rpm, greatest output at 160: held are none, both or one."""
    working = WORKINGS["cutting-economics"]
    body = {"n": 0.125, "c_m_min": 70.0, "change_min": 2.0, "machine_rate_per_min": 0.5,
            "edge_cost": 3.0, "path_length_mm": 500.0, "feed_mm_rev": 0.25}  # fmt: skip
    body |= {"diameter_mm": diameter} if diameter else {}
    body |= {"holder_max_rpm": limit} if limit and diameter else {}
    with client.application.test_request_context("/workings/cutting-economics"):
        answer = working.work(body)

        assert check_lines(working, body, answer) == (9 if diameter else 4)


@pytest.mark.parametrize("given", [(), ("feed",), ("depth",), ("feed", "depth")])
def test_every_case_of_a_tool_life_has_a_formula_that_fits(client, given):
    working = WORKINGS["tool-life"]
    body = {"cutting_speed_m_min": 150.0, "n": 0.25, "c_m_min": 180.0}
    if "feed" in given:
        body |= {"feed_mm_rev": 0.05, "feed_exponent": 0.35, "reference_feed_mm_rev": 0.1}
    if "depth" in given:
        body |= {"depth_mm": 0.8, "depth_exponent": 0.15}
    with client.application.test_request_context("/workings/tool-life"):
        assert check_lines(working, body, working.work(body)) == 1


def test_edges_that_do_not_age_have_a_formula_too(client):
    working = WORKINGS["swap-point"]
    body = {"shape": 0.9, "scale": 100.0, "planned_cost": 1.0, "failure_cost": 10.0}
    with client.application.test_request_context("/workings/swap-point"):
        assert check_lines(working, body, working.work(body)) == 1


@pytest.mark.parametrize("slug", WORKINGS)
def test_every_page_shows_form_formula_result_source_and_code(client, slug):
    text = open_page(client, slug)
    reader = Reader()
    reader.feed(text)

    assert reader.names == [entry.name for entry in WORKINGS[slug].entries]
    maths = re.findall(r"<math display='block'>.*?</math>", text, re.DOTALL)
    assert len(maths) >= 2 or not WORKINGS[slug].lines
    for one in maths:
        ElementTree.fromstring(one)  # noqa: S314 - our own text, well formed or it throws
    assert '<h2 id="result-head">Result of the example' in text
    place = code_place(WORKINGS[slug].functions[0])
    assert f"{place.file} · {place.name}" in text
    assert f"def {place.name}(" in place.text
    source = WORKINGS[slug].source.replace(" %", "\u00a0%")  # no line break before it
    assert source in unescape(text)
    assert "<script" not in text
    assert "style=" not in text


def test_the_index_and_the_front_page_lead_to_every_page(client):
    index = client.get("/workings").get_data(as_text=True)

    for slug, working in WORKINGS.items():
        assert f'href="/workings/{slug}"' in index
        assert working.title in index
    assert 'href="/workings"' in client.get("/").get_data(as_text=True)
    assert 'href="/workings"' in client.get("/v1/docs").get_data(as_text=True)


def test_figures_in_the_address_are_worked_out_as_the_call_does(client):
    text = open_page(client, "tool-life", cutting_speed_m_min="50", n="0.125", c_m_min="70")

    assert "<strong>14.758</strong> min" in text
    assert "Result of the example" not in text


@pytest.mark.parametrize(
    ("slug", "query", "name", "told"),
    [
        ("tool-life", {"cutting_speed_m_min": "0,5", "n": "0.2", "c_m_min": "90"},
         "cutting_speed_m_min", "comma"),
        ("tool-life", {"cutting_speed_m_min": "fast", "n": "0.2", "c_m_min": "90"},
         "cutting_speed_m_min", "not a number"),
        ("tool-life", {"cutting_speed_m_min": "nan", "n": "0.2", "c_m_min": "90"},
         "cutting_speed_m_min", "finite"),
        ("tool-life", {"n": "0.2", "c_m_min": "90"}, "cutting_speed_m_min", "missing"),
        ("engaged-time", {"kind": "turn", "start_diameter_mm": "12", "length_mm": "20",
                          "feed_mm_rev": "0", "cutting_speed_m_min": "90"},
         "feed_mm_rev", "from 0.0001 to 50"),
        ("engaged-time", {"kind": "turn", "start_diameter_mm": "12", "length_mm": "20",
                          "feed_mm_rev": "1e-6", "cutting_speed_m_min": "90"},
         "feed_mm_rev", "from 0.0001 to 50"),
        ("part-size", {"wear_land_mm": "0.3", "clearance_deg": "91",
                       "on_diameter": "on diameter"}, "clearance_deg", "60"),
        ("life-fit", {"lives": "12 x 14"}, "lives", "not a number"),
        ("preset", {"readings_mm": "80.001 80.002", "tolerance_mm": "-1"},
         "tolerance_mm", "from 0.0001 to 20"),
        ("bench-order", {"jobs": "A 10"}, "jobs", "line 1"),
        ("check-character", {"text": "a-b"}, "text", "not a valid key"),
        ("roughness", {"feed_mm_rev": "2", "corner_radius_mm": "0.4"}, "feed_mm_rev", "0.8"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_beside_its_field(client, slug, query, name, told):
    text = open_page(client, slug, 422, **query)

    beside = re.search(rf'<p class="wrong" id="in-{name}-wrong">(.*?)</p>', text)
    assert beside, text
    assert told in beside.group(1)
    assert f'name="{name}"' in text
    assert 'aria-invalid="true"' in text
    # What was typed stays in its place.
    typed = query.get(name, "")
    assert typed in text


def test_what_fits_no_field_is_said_on_top(client):
    text = open_page(client, "tool-life", 422, cutting_sped="50")

    assert "does not know these fields: cutting_sped" in text


ODD = ("0", "-1", "1e308", "1e-300", "nan", "<script>alert(1)</script>", "٣", "A B C")


@pytest.mark.parametrize("slug", WORKINGS)
def test_whatever_is_typed_gives_a_page(client, slug):
    plain = {entry.name: entry.example for entry in WORKINGS[slug].entries}
    for name, typed in itertools.product(plain, ODD):
        answer = client.get(f"/workings/{slug}?{urlencode(plain | {name: typed})}")
        text = answer.get_data(as_text=True)
        assert answer.status_code in (200, 422), (name, typed)
        assert "<script" not in text
        shown = text.partition('<section id="result"')[2].partition("<details>")[0]
        assert not re.search(r"\b(nan|None|inf)\b", shown), (name, typed)


def test_a_calculation_that_is_none_is_a_problem(client):
    answer = client.get("/workings/lunch")

    assert answer.status_code == 404
    assert answer.get_json()["type"] == "/problems/no-such-address"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (5, "5"),
        (12732.395447, "12732"),
        (25.0012, "25.0012"),
        (-144.7926, "-144.7926"),
        (0.1 + 0.2, "0.3"),
        (0.05, "0.05"),
        (3.8197186342, "3.8197"),
        (-1.5, "-1.5"),
        (1234567.0, "1.2346 × 10<sup>6</sup>"),
        (7.5e-7, "7.5 × 10<sup>−7</sup>"),
        (999999.62341, "1 × 10<sup>6</sup>"),
        (math.inf, "∞"),
        (5e-324, "4.9407 × 10<sup>−324</sup>"),
    ],
)
def test_numbers_are_shown_to_five_digits_or_in_full(value, text):
    assert number_text(value) == text


def test_a_fraction_in_an_exponent_is_written_in_one_line():
    shown = formula_markup("T = (C / v) ** (1 / n)")

    assert shown.count("<mfrac>") == 1
    assert "<mn>1</mn><mo>/</mo><mi>n</mi>" in shown
    assert "<mfrac>" not in formula_markup("S = exp(-x / (2 * t))")
    assert "<mo>/</mo><mrow><mo>(</mo>" in formula_markup("S = exp(-x / (2 * t))")


def test_the_life_at_a_slower_cut_stands_beside_the_life_asked_for(client):
    """Ten per cent slower at n = 0.25 lasts (1/0.9)^4 = 1.524 times as long (derived)."""
    text = open_page(client, "tool-life", cutting_speed_m_min=100, n=0.25, c_m_min=200)
    cells = re.findall(r"<td.*?>(.*?)</td>", text)
    rows = [cells[i : i + 4] for i in range(0, len(cells), 4)]

    assert ["−10\u00a0%", "90", "24.39", "1.52"] in rows
    assert ["as typed", "100", "16", "1"] in rows


def test_a_speed_next_to_the_end_of_the_curve_leaves_out_what_lies_beyond(client):
    text = open_page(client, "tool-life", cutting_speed_m_min=0.21, n=0.25, c_m_min=200)

    assert re.findall(r"<td.*?>([+−]\d+\u00a0%)</td>", text) == ["+10\u00a0%", "+20\u00a0%"]


def test_values_of_positions_carry_no_idle_zeros(client):
    text = open_page(client, "holder-designation")

    assert ">12</td>" in text
    assert "12.0" not in text


def test_a_preset_that_is_not_accepted_shows_the_repeat_that_is_too_far_off(client):
    """U = 0.00334 mm: 4.53 s / sqrt(3), 2 * 0.001 and 2 * 0.0005 / sqrt(3), as root of squares.

    s is 0.001 mm; 4.53 is Student's t for 95.45 % at 2 degrees of freedom (JCGM 100, G.2). The
    gauge's 0.001 mm and the step of 0.001 mm are what the page starts from (derived).
    """
    wide = {"readings_mm": "80.0010 80.0020 80.0030", "tolerance_mm": 0.004}
    text = open_page(client, "preset", **wide)
    cells = re.findall(r"<td.*?>(.*?)</td>", text)
    rows = [cells[i : i + 4] for i in range(0, len(cells), 4)]

    assert [row[3] for row in rows] == ["no", "yes", "no"]
    assert rows[0][:3] == ["80.0010", "-0.00100", "0.00066"]
    assert "measure again" in open_page(client, "preset", readings_mm="80", tolerance_mm=0.01)
