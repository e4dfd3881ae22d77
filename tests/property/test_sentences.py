"""A sentence is its English text, keeps what it was made of, and translates by its template."""

import copy
import json
import pickle

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.sentence import (
    BEGUN,
    CLAUSE,
    Figure,
    Instant,
    Sentence,
    as_kept,
    begun,
    clause,
    figure,
    from_kept,
    kept_beside,
    restored_sentence,
    sentence,
    together,
    word,
)

NAMES = st.sampled_from(["tool", "place", "parts", "why"])
TEXTS = st.text(max_size=12)
PLAIN = (
    TEXTS
    | st.integers()
    | st.booleans()
    | TEXTS.map(Figure)
    | st.just(Instant("2026-05-04T08:00:00Z"))
)


def sentences(values):
    """Sentences with a hole for each value, in any order, each perhaps twice."""
    return st.dictionaries(NAMES, values, max_size=4).flatmap(
        lambda chosen: st.tuples(
            st.lists(
                st.sampled_from([*(f"{{{name}}}" for name in chosen), "word ", "; ", "."]),
                max_size=6,
            ),
            st.sampled_from(["", CLAUSE, BEGUN]),
        ).map(lambda made: Sentence("".join(made[0]), chosen, made[1]))
    )


SENTENCES = st.recursive(sentences(PLAIN), sentences, max_leaves=4)


def pickled(made):
    return pickle.loads(pickle.dumps(made))  # noqa: S301 - our own


def kinds(value):
    """A value with its kind, and those of a sentence's values."""
    if isinstance(value, Sentence):
        parts = {name: kinds(inner) for name, inner in value.values.items()}
        return Sentence, str(value), value.template, value.form, parts
    return type(value), value


@given(SENTENCES)
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_a_sentence_keeps_template_and_values_wherever_it_goes(made):
    kept = json.loads(json.dumps(as_kept(made)))

    for again in (
        copy.copy(made), copy.deepcopy(made), pickled(made), from_kept(kept)
    ):  # fmt: skip
        assert kinds(again) == kinds(made)


@given(SENTENCES)
def test_everywhere_else_a_sentence_is_its_english_text(made):
    assert made == str(made)
    assert hash(made) == hash(str(made))
    assert json.dumps(made) == json.dumps(str(made))
    assert type(str(made)) is str


@given(
    st.lists(SENTENCES | TEXTS, min_size=1, max_size=4), TEXTS.filter(lambda t: "{" not in t)
)
def test_what_is_put_together_reads_as_joined_and_keeps_its_parts(parts, joint):
    whole = together(joint, parts)

    assert whole == joint.join(parts)
    assert [kinds(part) for part in whole.values.values()] == [kinds(part) for part in parts]


@given(SENTENCES, SENTENCES | TEXTS)
def test_a_sum_reads_as_one_and_keeps_its_parts(made, other):
    assert made + other == str(made) + str(other)
    assert other + made == str(other) + str(made)
    for whole in (made + other, other + made):
        assert any(kinds(part) == kinds(made) for part in whole.values.values())


@given(SENTENCES | TEXTS)
def test_within_another_a_sentence_may_lose_its_stop_or_gain_a_capital(made):
    assert clause(made) == str(made).rstrip(".")
    assert begun(made) == str(made)[:1].upper() + str(made)[1:]


def test_a_joint_may_be_a_word_that_translates():
    whole = together(sentence(" or "), ["T01", "T02", "T03"])

    assert whole == "T01 or T02 or T03"
    assert isinstance(whole.values["joint"], Sentence)


def test_a_value_that_looks_like_a_hole_stays_a_value():
    assert sentence("Tool {tool}", tool="{place}") == "Tool {place}"


def test_a_template_without_values_keeps_its_braces():
    assert sentence("Write {lf} where the length stands.") == (
        "Write {lf} where the length stands."
    )


def test_a_hole_without_a_value_is_a_fault():
    with pytest.raises(KeyError):
        sentence("Tool {tool} at {place}", tool="T01")


def test_a_figure_is_written_as_english_writes_it():
    assert figure(1234.567, ",.1f") == "1,234.6"
    # a space before the sign: SI Brochure, 9th edition, 5.4.7 (from memory)
    assert [figure(0.823, form) for form in (".0%", ".1%")] == ["82 %", "82.3 %"]
    assert isinstance(figure(0.5, ".0%"), Figure)


@pytest.mark.parametrize(
    "kept", [None, 5, [], {}, {"template": 5, "values": {}}, {"template": "x"}]
)
def test_what_was_no_kept_sentence_is_refused(kept):
    with pytest.raises(ValueError, match="no kept sentence"):
        from_kept(kept)


@given(SENTENCES)
def test_a_sentence_kept_beside_its_text_comes_back(made):
    assert kinds(restored_sentence(str(made), kept_beside(made))) == kinds(made)


@given(SENTENCES | TEXTS, SENTENCES)
def test_a_text_without_its_sentence_beside_it_stays_plain(told, other):
    text = str(told)
    damaged = [None, "", "null", "[]", "{", 5, '{"template": "{a}", "values": {}}']
    if other != text:
        damaged.append(kept_beside(other))

    for beside in damaged:
        assert kinds(restored_sentence(text, beside)) == (str, text)
    assert kept_beside(text) is None


def test_a_plain_text_is_kept_as_it_is():
    assert from_kept(json.loads(json.dumps(as_kept("left")))) == "left"
    assert as_kept(word("left")) == {"template": "left", "values": {}}
