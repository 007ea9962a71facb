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


def test_wrong_keys_count_for_a_minute_by_address_and_for_all_addresses_together(monkeypatch):
    """Two from one address and sixteen from all; what is counted for all stays when the addresses become too many."""
    clock = [100.0]
    monkeypatch.setattr("doe.web.tokens.time.monotonic", lambda: clock[0])
    monkeypatch.setattr("doe.web.tokens._MOST_CALLERS", 10)
    tokens = Tokens(KEY, 2)
    for _ in range(2):
        assert tokens.may_try("a")
        tokens.count_wrong("a")
    assert (tokens.may_try("a"), tokens.may_try("b")) == (False, True)
    clock[0] += 61
    assert tokens.may_try("a")
    for number in range(16):
        assert tokens.may_try("new")
        tokens.count_wrong(str(number))
    assert not tokens.may_try("new")
