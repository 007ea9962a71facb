from __future__ import annotations

import keyword
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import UsageError
from doe.model.expression import Expression
from doe.model.names import RESERVED, check_label, check_name, same_name
from tests.refusing import refused
from tests.strategies import labels, names


@given(st.one_of(names(), st.text(max_size=12)))
def test_a_name_that_is_taken_can_be_used_in_a_rule(name: str) -> None:
    """Whatever passes as a name is found again by the parser of rules, in any script."""
    try:
        taken = check_name("Factor name", name)
    except UsageError:
        return
    assert Expression(f"{taken} >= 1").names == {taken}
    assert Expression(f"{name} >= 1").names == {taken}
    assert check_name("Factor name", taken) == taken == same_name(name)


@pytest.mark.parametrize(
    "name", ["tip gap", "2nd", "tip-gap", "", "_gap", "a" * 61, "a.b", "x²y!", "A²", None, 3, "a\n", "½x"]
)
def test_a_name_is_letters_digits_and_underscores(name: object) -> None:
    shown = str(name).replace("\n", " ")
    message = (
        f"Factor name '{shown}' must be 1 to 60 letters, digits or underscores, starting with a letter: 'tip_gap'."
    )
    with refused(UsageError, message):
        check_name("Factor name", name)


def test_a_micro_sign_becomes_the_letter_that_rules_read() -> None:
    assert check_name("Factor name", "\N{MICRO SIGN}_r") == "\N{GREEK SMALL LETTER MU}_r"


@pytest.mark.parametrize("name", ["variant", "Value", "min", "new", "id", "lambda", "class", "None"])
def test_words_that_mean_something_already_are_refused(name: str) -> None:
    message = f"Factor name '{name}' is a word that Fettle uses itself; choose another, such as '{name}_1'."
    with refused(UsageError, message):
        check_name("Factor name", name)
    assert check_name("Factor name", f"{name}_1") == f"{name}_1"


def test_no_name_trips_the_parser_of_rules() -> None:
    assert {word.casefold() for word in keyword.kwlist} <= RESERVED


@given(labels())
def test_a_label_keeps_its_text(label: str) -> None:
    assert check_label("Variant", f"  {label} ") == label


@pytest.mark.parametrize(
    "label", ["", "  ", None, 3, "a\nb", "a\tb", "a\x00b", "a\x7fb", "a\u2028b", "a\x85b", "\ud800", "x" * 81]
)
def test_a_label_is_text_on_one_line(label: object) -> None:
    """Line breaks of any kind, control characters and halves of characters cannot be stored or shown."""
    with pytest.raises(UsageError, match=r"\AVariant '.*' must be text on one line, 1 to 80 characters\.\Z") as caught:
        check_label("Variant", label, 80)
    assert str(caught.value).isprintable()


def test_the_message_quotes_the_beginning_of_a_long_label() -> None:
    with refused(UsageError, f"Variant '{'x' * 37}...' must be text on one line, 1 to 80 characters."):
        check_label("Variant", "x" * 100, 80)


@given(st.text())
def test_a_stored_label_is_printable_text(text: str) -> None:
    try:
        label = check_label("Level", text)
    except UsageError:
        return
    assert label == label.strip() != ""
    assert len(label.splitlines()) == 1
    assert not any(unicodedata.category(sign) in ("Cc", "Cs") for sign in label)
    label.encode("utf-8")
