import pytest

from doe.web.tokens import Tokens

KEY = "abcd-efgh-jk23"


@pytest.mark.parametrize(
    "typed", [KEY, "ABCD-EFGH-JK23", "abcd efgh jk23", "Abcdefghjk23", "  abcd–efgh–jk23. ", "abcd-efgh\n-jk23"]
)
def test_a_key_counts_by_its_letters_and_digits(typed):
    """A phone begins with a capital, ends with a full stop and makes dashes of hyphens."""
    assert Tokens(KEY, 5).is_key(typed)


@pytest.mark.parametrize("typed", ["", "-", "abcd-efgh-jk2", "abcd-efgh-jk233", "abcd-efgh-jk24", "jk23-efgh-abcd"])
def test_another_key_does_not(typed):
    assert not Tokens(KEY, 5).is_key(typed)
