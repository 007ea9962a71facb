import pickle
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from doe.advise import recommend
from doe.advise.choose import SHARE_TO_GO_ON, Session, choose, exchange_rate
from doe.advise.effort import change_cost
from doe.advise.gain import expected_improvement
from doe.advise.outlook import move_kind
from doe.advise.predicted import worth_expected
from doe.advise.present import as_believed
from doe.advise.question import ask
from doe.advise.remarks import remarks
from doe.advise.situation import look
from doe.model import wording
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.records import Unit
from tests.refusing import refused

BASE = {"vents": 2, "rings": 9, "wool": 20.0, "driver": "poly"}


def readings_of(variants, truth, outcomes, rng, sd=0.1, rounds=1, units=None):
    """Read variants once per round: truth(settings) -> one value per outcome, plus normal scatter."""
    rows = []
    for place, settings in enumerate(variants):
        for _ in range(rounds):
            for outcome, value in zip(outcomes, truth(settings), strict=True):
                read = value + sd * rng.standard_normal()
                unit = "A" if units is None else units[place]
                rows.append(
                    {"variant": str(place + 1), "outcome": outcome.name, "value": read, "unit": unit, **settings}
                )
    return pd.DataFrame(rows)


def wool_and_vents(settings):
    """Bass rises 3 dB over the range of wool from -3 at 0 %; echo falls from 5 to 2 over the range of vents."""
    return -3 + settings["wool"] / 60 * 3, 5 - settings["vents"] / 6 * 3


TEN = [
    {**BASE, "wool": float(wool), "vents": vents, "driver": driver}
    for wool, vents, driver in [
        (20, 0, "poly"), (0, 0, "poly"), (40, 1, "paper"), (10, 1, "paper"), (30, 2, "poly"), (0, 2, "bamboo"),
        (20, 3, "bamboo"), (40, 3, "poly"), (10, 4, "poly"), (30, 4, "paper"),
    ]
]  # fmt: skip


@pytest.fixture
def log(outcomes):
    return readings_of(TEN, wool_and_vents, outcomes, np.random.default_rng(4))


@pytest.fixture
def scattered(outcomes):
    """The same, read six times as badly, so that there is more to do."""
    return readings_of(TEN, wool_and_vents, outcomes, np.random.default_rng(4), sd=0.6)


def test_the_next_change_goes_where_the_truth_lies(log, factors, outcomes, effort):
    """Both effects are clear in the log: more wool and more vents, on the unit at hand, none of the idle factors."""
    advice = recommend(log, factors, outcomes, effort=effort, only="improve")
    row = advice.table.iloc[0]
    assert (row["unit"], row["rings"], row["kind"]) == ("A", 9, "improve")
    assert row["wool"] >= 50
    assert row["vents"] == 6
    assert row["chance_better"] > 0.9
    assert row["worth_expected"] > row["worth_now"] + 0.1


def test_minutes_are_those_of_the_real_change(log, factors, outcomes, effort):
    advice = recommend(log, factors, outcomes, effort=effort)
    row = advice.table.iloc[0]
    end = {factor.name: row[factor.name] for factor in factors}
    start = {factor.name: log[factor.name].iloc[-1] for factor in factors}
    change = change_cost(factors, start, end).minutes
    assert row["minutes"] == change + effort.session_minutes + row["readings"] * effort.reading_minutes


def test_a_level_is_paid_for_once_in_a_session(log, factors, outcomes, effort):
    """By hand: each new unit costs 20, and its driver 40 or 15 unless the log, or a suggestion before, has it already."""
    known = log[log["driver"] == "paper"]
    told = recommend(known, factors, outcomes, effort=effort, count=6, unit="new", only="learn").table
    bought, prices = {"paper"}, {"bamboo": 40, "poly": 15, "paper": 0}
    for driver, cost in zip(told["driver"], told["cost"], strict=True):
        assert cost == 20 + (0 if driver in bought else prices[driver])
        bought.add(driver)
    assert len(told) > len(bought) > 1  # one of those bought is used once more


def test_the_same_seed_gives_the_same_advice(log, factors, outcomes, effort):
    first, second = (recommend(log, factors, outcomes, effort=effort, count=2, seed=5) for _ in range(2))
    pd.testing.assert_frame_equal(first.table, second.table)


def test_advice_can_be_pickled_with_what_is_computed_late(log, factors, outcomes, effort):
    """It went to no other process: the frames that only pictures need are held as work to be done."""
    advice = recommend(log, factors, outcomes, effort=effort)
    back = pickle.loads(pickle.dumps(advice))
    assert str(back) == str(advice)
    for name, told in advice.to_tables().items():
        if isinstance(told, pd.DataFrame):
            pd.testing.assert_frame_equal(back.to_tables()[name], told)
        else:
            assert back.to_tables()[name] == told


def test_the_columns_are_those_promised(log, factors, outcomes, effort):
    table = recommend(log, factors, outcomes, effort=effort).table
    promised = ["vents", "rings", "wool", "driver", "unit", "readings", "minutes", "cost", "kind", "worth_now",
                "worth_expected", "chance_better", "worth_per_hour", "settles", "reason"]  # fmt: skip
    assert list(table.columns) == promised


def test_what_is_read_is_not_changed(log, factors, outcomes, effort):
    before = log.copy()
    recommend(log, factors, outcomes, effort=effort)
    pd.testing.assert_frame_equal(log, before)


def test_the_best_is_not_the_luckiest_reading(factors, effort):
    """Variant 2 had one reading far above what nine others at nearly the same settings say; variant 1 is good in eight."""
    outcome = Outcome("force", goal="raise", worst=0, best=10, matters=0.5)
    rng = np.random.default_rng(8)
    variants = [{**BASE, "wool": float(wool)} for wool in (60, 0, 5, 10, 15, 0, 5, 10)]
    frame = readings_of(variants, lambda settings: (3 + settings["wool"] / 60 * 3,), [outcome], rng, sd=0.3, rounds=4)
    lucky = (frame["variant"] == "2") & (frame.index == frame.index[frame["variant"] == "2"][0])
    frame.loc[lucky, "value"] = 9.0
    highest = frame.loc[frame["value"].idxmax(), "variant"]
    assert highest == "2"
    assert recommend(frame, factors, [outcome], effort=effort).best["variant"] == "1"


def test_limits_are_kept(log, factors, outcomes, effort):
    advice = recommend(log, factors, outcomes, effort=effort, limits=[Limit("wool + vents * 10 <= 70")], count=4)
    assert (advice.table["wool"] + advice.table["vents"] * 10 <= 70).all()


def test_the_best_is_not_made_once_more_where_a_later_limit_rules_it_out(log, factors, outcomes, effort):
    """The best of the log has 30 % of wool and 4 vents."""
    advice = recommend(log, factors, outcomes, effort=effort, limits=[Limit("wool + vents * 10 <= 69")])
    assert advice.best["variant"] == "10"
    assert "confirm" not in set(advice.candidates["kind"])


def test_the_unit_that_carries_the_best_is_the_last_choice(log, factors, outcomes, effort):
    """The last of the ten is the best; where two units take the same minutes the one that carries it is left alone."""
    units = [Unit("A", TEN[9]), Unit("B", {**BASE, "wool": 0.0})]
    found = look(ask(factors, outcomes, effort=effort), log, units, np.random.default_rng(1))
    assert found.reach.unit_names == ("B", "A", None)


def test_a_lone_variant_is_believed_to_be_what_was_read_of_it_in_each_outcome(factors, outcomes, effort):
    """Four readings each of 3 dB and of 5: worlds about their means, with the scatter of a mean of four, 0.08 of each range."""
    frame = readings_of([BASE], lambda settings: (3.0, 5.0), outcomes, np.random.default_rng(1), sd=0.0, rounds=4)
    belief = look(ask(factors, outcomes, effort=effort), frame, None, np.random.default_rng(1)).belief
    for values, read, span in zip(belief.variant_values, (3, 5), (12, 6), strict=True):
        assert values.mean() == pytest.approx(read, abs=0.08 * span / 2)


@pytest.mark.parametrize(("minutes", "rounds"), [(27, [2]), (26.9, [1]), (21, [1]), (20.9, [])])
def test_a_move_that_takes_the_hours_left_to_the_minute_fits(log, factors, outcomes, effort, minutes, rounds):
    """The least is to read the best again: 15 minutes of a session, and two rounds of 6 or the one for which there is time."""
    advice = recommend(log, factors, outcomes, effort=effort, hours=minutes / 60)
    assert advice.table["readings"].tolist() == rounds
    assert advice.table["kind"].tolist() == ["repeat"] * len(rounds)
    assert all(advice.table["minutes"] <= minutes)


def test_a_confirmation_may_come_after_a_change(log, factors, outcomes, effort):
    """The best is on unit A; once B is changed a fresh build of the best, on B or a new unit, is still among the moves."""
    units = [Unit("A", TEN[9]), Unit("B", {**BASE, "wool": 0.0})]
    question = ask(factors, outcomes, effort=effort, count=2)
    found = look(question, log, units, np.random.default_rng(1))
    session = choose(question, found, np.random.default_rng(1))
    first, second = session.choices
    assert first.moves.variant[first.place] < 0 and not first.moves.is_confirmation[first.place]
    (place,) = np.flatnonzero(second.moves.is_confirmation)
    assert second.reach.unit_names[second.moves.start[place]] != "A"
    assert second.minutes[place] > 0


@pytest.mark.parametrize(
    ("hours", "minutes", "rate"), [(None, 30, 12 / 16), (2, 30, 3 / 7), (0.5, 30, 0), (0.2, 30, 0), (1, 0, 59 / 63)]
)
def test_learning_counts_by_the_moves_that_are_left_after_it(hours, minutes, rate):
    """By n / (n + 4): of four moves of half an hour in two hours three are left; the last one teaches for nothing."""
    assert exchange_rate(hours, minutes) == pytest.approx(rate)


def test_only_one_unit_if_asked(log, factors, outcomes, effort):
    units = [Unit("A", {**BASE, "vents": 4, "wool": 30.0, "driver": "paper"}), Unit("B", {**BASE, "wool": 0.0})]
    assert set(recommend(log, factors, outcomes, units=units, effort=effort, unit="B", count=2).table["unit"]) == {"B"}
    assert set(recommend(log, factors, outcomes, units=units, effort=effort, unit="new").table["unit"]) == {"new"}


def test_an_unknown_unit_is_named_with_those_there_are(log, factors, outcomes, effort):
    message = "There is no unit 'body C'; there is only A."
    with pytest.raises(UsageError, match=re.escape(message)):
        recommend(log, factors, outcomes, effort=effort, unit="body C")


def test_only_learn_and_only_improve_look_at_one_side(log, factors, outcomes, effort):
    learn = recommend(log, factors, outcomes, effort=effort, only="learn").table.iloc[0]
    improve = recommend(log, factors, outcomes, effort=effort, only="improve").table.iloc[0]
    assert improve["kind"] == "improve"
    assert improve["chance_better"] >= learn["chance_better"]


def test_a_batch_shares_one_session_and_does_not_repeat_itself(scattered, factors, outcomes, effort):
    advice = recommend(scattered, factors, outcomes, effort=effort, count=3)
    table = advice.table
    assert len(table) == 3
    assert not table.duplicated([factor.name for factor in factors]).any()
    single = recommend(scattered, factors, outcomes, effort=effort).table
    assert table["minutes"].iloc[0] == single["minutes"].iloc[0]
    units = [Unit("A", {**BASE, "vents": 4, "wool": 30.0, "driver": "paper"})]
    state = dict(units[0].settings)
    for place, row in enumerate(table.to_dict("records")):
        end = {factor.name: row[factor.name] for factor in factors}
        if row["unit"] == "A":
            extra = effort.session_minutes if place == 0 else 0
            assert row["minutes"] == change_cost(factors, state, end).minutes + row["readings"] * 6 + extra
            state = end


def test_a_session_ends_where_a_further_move_would_bring_next_to_nothing(log, scattered, factors, outcomes, effort):
    """Both effects are clear: once the best is built there is nothing left on this unit, and that is said."""
    done = recommend(log, factors, outcomes, effort=effort, unit="A", count=3)
    assert len(done.table) == 1
    assert re.fullmatch(
        r"More than this is not worth doing before its readings are in: the next best move would bring "
        r"(?:less than 0\.001|0\.00\d+) of worth, and 0\.05\d* is what matters\.",
        done.notes[-1],
    )
    going_on = recommend(scattered, factors, outcomes, effort=effort, unit="A", count=3)
    assert len(going_on.table) == 3
    assert not any(note.startswith("More than this") for note in going_on.notes)


@pytest.mark.parametrize("sd", [0.1, 0.2, 0.4, 0.8])
def test_each_later_move_of_a_session_brings_its_share_of_what_matters(factors, outcomes, effort, sd):
    log = readings_of(TEN, wool_and_vents, outcomes, np.random.default_rng(4), sd=sd)
    question = ask(factors, outcomes, effort=effort, count=8)
    situation = look(question, log, None, np.random.default_rng(1))
    session = choose(question, situation, np.random.default_rng(1))
    least = SHARE_TO_GO_ON * situation.matters
    assert all(choice.judged.value[choice.place] >= least for choice in session.choices[1:])
    assert session.left_out < least if len(session.choices) < 8 else session.left_out is None


def test_a_session_goes_on_with_what_brings_enough_though_a_trifle_takes_fewer_minutes(
    factors, outcomes, effort, monkeypatch
):
    """A change of wool brings a sixteenth of what matters and has the best rate; a new unit brings a third, and is next."""
    log = readings_of(TEN, wool_and_vents, outcomes, np.random.default_rng(2), sd=0.3)
    table = recommend(log, factors, outcomes, effort=effort, count=3).table
    assert len(table) > 1
    monkeypatch.setattr("doe.advise.choose.SHARE_TO_GO_ON", 0.0)
    trifle = recommend(log, factors, outcomes, effort=effort, count=2).table.iloc[1]
    assert trifle["minutes"] < table["minutes"].iloc[1]
    assert trifle["worth_per_hour"] * trifle["minutes"] < table["worth_per_hour"].iloc[1] * table["minutes"].iloc[1]


def judged_moves(log, factors, outcomes, effort=None, only=None, **changes):
    """Look and choose as `recommend` does, the situation changed on the way; returns both."""
    question = ask(factors, outcomes, effort=effort, only=only)
    rng = np.random.default_rng(1)
    situation = replace(look(question, log, None, rng), **changes)
    return situation, choose(question, situation, rng).choices[0]


@pytest.mark.slow
def test_improve_is_said_only_of_what_is_expected_to_be_better(scattered, factors, outcomes, effort):
    """Every move compared, along a growing log: a build that is expected to be no better is there to learn from."""
    names, hopeful = list(dict.fromkeys(scattered["variant"])), 0
    for known in range(2, len(names) + 1):
        readings = scattered[scattered["variant"].isin(names[:known])]
        situation, choice = judged_moves(readings, factors, outcomes, effort)
        best = situation.belief.variant_worth()[:, situation.best].mean()
        for place in range(len(choice.minutes)):
            one = replace(choice, place=place)
            kind = move_kind(situation, one)
            assert kind != "improve" or worth_expected(situation, one)[0] > best
            hopeful += kind == "learn" and choice.judged.is_mainly_improving[place]
    assert hopeful > 0


def test_where_improving_is_asked_for_and_nothing_is_expected_to_it_is_said(factors, outcomes, effort):
    """The move with the best prospects is told all the same, under its right name; the note comes with it and never else."""
    kinds = set()
    for sd, known in ((0.1, 10), (0.6, 5), (1.5, 10)):
        log = readings_of(TEN[:known], wool_and_vents, outcomes, np.random.default_rng(4), sd=sd)
        advice = recommend(log, factors, outcomes, effort=effort, only="improve")
        kind = advice.table["kind"].iloc[0]
        assert any(f"hence '{kind}'" in note for note in advice.notes) == (kind != "improve")
        kinds.add(kind)
    assert kinds == {"improve", "learn"}


@pytest.mark.parametrize(("seed", "known", "is_any"), [(7, 8, True), (7, 5, False), (4, 8, False)])
def test_that_nothing_is_expected_to_be_better_is_said_only_where_it_is_so(
    factors, outcomes, effort, seed, known, is_any
):
    """Held against every build compared: more may be hoped for a move than for one that is expected to be better."""
    log = readings_of(TEN[:known], wool_and_vents, outcomes, np.random.default_rng(seed), sd=0.6)
    situation, choice = judged_moves(log, factors, outcomes, effort, "improve")
    assert move_kind(situation, choice) == "learn"
    best = situation.belief.variant_worth()[:, situation.best].mean()
    builds = np.flatnonzero(choice.moves.variant < 0)
    assert is_any == any(worth_expected(situation, replace(choice, place=place))[0] > best for place in builds)
    notes = remarks(ask(factors, outcomes, effort=effort, only="improve"), situation, Session([choice]))
    said = "Other builds are, but for its minutes more may be hoped for here."
    assert any(note.endswith(said) for note in notes) == is_any
    assert any(note.startswith("Nothing within reach is expected to be better") for note in notes) != is_any


def test_a_suggestion_that_is_no_improvement_is_named_beside_those_that_are(factors, outcomes, effort):
    log = readings_of(TEN[:8], wool_and_vents, outcomes, np.random.default_rng(7), sd=0.6)
    advice = recommend(log, factors, outcomes, effort=effort, only="improve", count=3)
    assert advice.table["kind"].tolist() == ["learn", "improve", "learn"]
    assert (
        "Suggestions 1 and 3 are not expected to be better than the best so far, hence 'learn'; they may turn out so."
        in advice.notes
    )


def test_building_the_best_again_improves_nothing(factors, outcomes):
    """On the unit it was built on a second build may turn out luckier than the first, but it is no better version."""
    variants = [{**BASE, "wool": wool} for wool in (0.0, 20.0, 60.0, 40.0, 10.0)]
    log = readings_of(variants, wool_and_vents, outcomes, np.random.default_rng(4), rounds=2)
    situation, choice = judged_moves(log, factors, outcomes, matters=0.0)
    best, moves = situation.best, choice.moves
    assert situation.belief.variants[best] == "3"
    again = (moves.codes == situation.belief.variant_codes[best]).all(axis=1) & (moves.variant < 0)
    assert choice.judged.improve[again].tolist() == [0.0]
    assert expected_improvement(moves.worth[:, again], situation.belief.variant_worth()[:, [best]]) > 0.001
    assert choice.judged.improve.max() > 0.05


def test_settings_that_are_there_improve_nothing_though_another_variant_was_lucky(factors, outcomes):
    """Variant 5, read 1 dB too high, is believed to be the best build; the settings of another are the better ones."""
    variants = [{**BASE, "vents": 3, "wool": wool} for wool in (0.0, 20.0, 60.0, 60.0, 40.0)]
    log = readings_of(variants, wool_and_vents, outcomes, np.random.default_rng(4), rounds=2)
    log.loc[(log["variant"] == "5") & (log["outcome"] == "bass"), "value"] += 1.0
    situation, choice = judged_moves(log, factors, outcomes, matters=0.0)
    belief, moves = situation.belief, choice.moves
    good = int(situation.designs.mean(axis=0).argmax())
    assert (belief.variants[situation.best], variants[good]["wool"]) == ("5", 60.0)
    again = (moves.codes == belief.variant_codes[good]).all(axis=1) & (moves.variant < 0)
    assert not choice.judged.improve[again].any()
    assert expected_improvement(situation.designs[:, [good]], situation.designs[:, [situation.best]]) > 0.01


def test_what_is_too_small_to_matter_does_not_count_as_improvement(log, factors, outcomes):
    """The same log and the same beliefs; only what matters is a tenth of the range, then a third, then all of it."""
    most = []
    for share in (0.1, 0.3, 1.0):
        wanted = [replace(outcome, matters=share * 5) for outcome in outcomes]
        most.append(judged_moves(log, factors, wanted)[1].judged.improve.max())
    assert most[0] > most[1] > most[2]


def test_where_nothing_counts_as_improvement_the_best_of_it_is_still_told(log, factors, outcomes):
    """Worth ends at 1, so that no improvement exceeds half of 2; and nothing but improving was asked for."""
    situation, choice = judged_moves(log, factors, outcomes, only="improve", matters=2.0)
    assert choice.judged.improve[choice.place] > 0
    assert choice.moves.worth[:, choice.place].mean() > situation.designs[:, situation.best].mean()


def test_later_suggestions_of_a_session_start_where_the_unit_is_left(scattered, factors, outcomes, effort):
    """One unit, three changes: each goes on from the one before, which has taken the variant it carried apart already."""
    table = recommend(scattered, factors, outcomes, effort=effort, unit="A", count=3).table
    assert table["reason"].str.startswith("Then, on unit A change").tolist() == [False, True, True]
    for (_, before), (_, after) in zip(table[:-1].iterrows(), table[1:].iterrows(), strict=True):
        for name in ("vents", "wool", "driver"):
            if before[name] != after[name]:
                assert f"{name} from " in after["reason"]
    assert not table["reason"][1:].str.contains("carries variant").any()


def test_hours_leave_out_what_does_not_fit(log, factors, outcomes, effort):
    table = recommend(log, factors, outcomes, effort=effort, hours=0.6, count=3).table
    assert table["minutes"].sum() <= 36


@pytest.mark.parametrize(
    ("hours", "said"),
    [
        (None, "Only 2 suggestions of 5: nothing else is within reach."),
        (3, "Only 2 suggestions of 5: nothing else is within reach."),
        (1.5, "Only 1 suggestion of 5 fits the hours left."),
    ],
)
def test_why_a_session_is_shorter_than_asked_for_is_said(outcomes, effort, hours, said):
    """There are two drivers, each on a new unit: 30 minutes, 25 to fit it and 6 to read it, beside 15 for the session."""
    driver = Factor("driver", kind="categorical", levels=["paper", "poly"], minutes=25)
    quick = replace(effort, new_unit_minutes=30)
    assert said in recommend(None, [driver], outcomes, effort=quick, hours=hours, count=5).notes


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"widen": {"bass": 0}}, "widen of bass is 0; it must be a number above 0."),
        ({"widen": {"bass": np.inf}}, "widen of bass is inf; it must be a number above 0."),
        ({"hours": np.inf}, "hours is inf; it must be a number above 0."),
    ],
)
def test_numbers_that_say_nothing_are_refused(factors, outcomes, asked, message):
    with refused(UsageError, message):
        ask(factors, outcomes, **asked)


def test_too_few_hours_for_any_move_is_said(log, factors, outcomes, effort):
    """To read again what is there takes 15 minutes and a round of 6; wool takes 8 more."""
    advice = recommend(log, factors, outcomes, effort=effort, hours=0.2)
    assert len(advice.table) == 0
    assert advice.chance_left is None
    best = advice.best["variant"]
    assert advice.stop.startswith(f"12 min left, and the cheapest move takes 21 min; keep variant {best}, worth ")
    nearly = recommend(log, factors, outcomes, effort=effort, hours=0.34)
    assert nearly.headline == "No move fits the hours left."
    assert nearly.stop.startswith("20 min left, and the cheapest move takes 21 min; ")


def test_without_readings_it_says_that_it_explores(factors, outcomes, effort):
    advice = recommend(None, factors, outcomes, units=[Unit("A", BASE)], effort=effort)
    assert advice.best == {}
    assert "this is exploration" in advice.table["reason"].iloc[0]
    assert (
        advice.notes[0]
        == "There are no readings to go by yet: these are first builds to explore with, not expected improvements."
    )
    assert advice.table["unit"].iloc[0] == "A"


def test_without_units_everything_is_new_and_said_so(factors, outcomes, effort):
    advice = recommend(pd.DataFrame(), factors, outcomes, effort=effort)
    assert set(advice.table["unit"]) == {"new"}
    assert "There is no unit on record, so everything is built new; record the units that exist." in advice.notes


def test_what_counts_as_no_time_is_said(factors, outcomes, effort):
    free = [replace(factor, minutes=0.0, minutes_per_step=0.0) for factor in factors]
    advice = recommend(None, free, outcomes)
    assert (
        "Nothing says how long anything takes, so all moves count as equally long; say what a change, a new unit and a round "
        "of readings take, and the advice goes by it."
    ) in advice.notes
    assert advice.runner_up == ""  # nothing is cheaper than nothing
    unsaid = "A new unit and a round of readings count as no time, since nothing says what they take."
    assert unsaid in recommend(None, factors, outcomes).notes
    only_units = Effort(reading_minutes=5, session_minutes=0)
    assert "A new unit counts as no time, since nothing says what it takes." in (
        recommend(None, factors, outcomes, effort=only_units).notes
    )
    assert not any("no time" in note for note in recommend(None, factors, outcomes, effort=effort).notes)


def test_a_change_that_takes_no_time_is_a_change_all_the_same(log, factors, outcomes, effort):
    """Vents and wool are changed in no time, as where nobody said what they take: no new unit is built for them."""
    free = [replace(factor, minutes=0.0) for factor in (factors[0], factors[2])]
    advice = recommend(log, free, outcomes, effort=effort)
    (label,) = advice.candidates.loc[advice.candidates["chosen"], "label"]
    assert advice.table["reason"][0].startswith(f"On unit A change {label}")


def test_one_variant_only_is_said(factors, outcomes, effort):
    frame = readings_of([BASE], wool_and_vents, outcomes, np.random.default_rng(1), rounds=3)
    advice = recommend(frame, factors, outcomes, effort=effort)
    assert (
        "Only one variant has been read, so nothing is known yet about any factor; a second one begins to tell."
        in advice.notes
    )
    assert advice.best["variant"] == "1"
    assert len(advice.table) == 1


def test_equal_readings_everywhere_still_give_advice(factors, outcomes, effort):
    variants = [{**BASE, "wool": wool} for wool in (0.0, 20.0, 40.0)]
    frame = readings_of(variants, lambda settings: (1.0, 4.0), outcomes, np.random.default_rng(1), sd=0.0)
    assert len(recommend(frame, factors, outcomes, effort=effort).table) == 1


def test_an_outcome_never_read_is_left_out_and_named(log, factors, outcomes, effort):
    advice = recommend(log[log["outcome"] == "bass"], factors, outcomes, effort=effort)
    assert "echo has no reading of a variant yet, so this advice goes by bass alone." in advice.notes


def test_what_says_nothing_of_a_goal_leaves_advice_to_explore(factors, effort):
    """A reference object alone in the outcome with a goal, and a variant in one without: no variant is the best so far."""
    empty = dict.fromkeys(BASE)
    frame = pd.DataFrame(
        [
            {"variant": "lamp", "outcome": "bass", "value": 2.0, **empty},
            {"variant": "1", "outcome": "mass", "value": 9.0, **BASE},
        ]
    )
    outcomes = [Outcome("bass", goal="hit", target=0, worst=6), Outcome("mass")]
    advice = recommend(frame, factors, outcomes, effort=effort)
    assert advice.best == {}
    assert advice.worth.empty
    assert advice.headline.startswith("To explore with first: ")


def test_what_was_read_in_part_only_is_not_the_one_to_keep(log, factors, outcomes, effort):
    """The best variant loses its echo readings: what is left is a guess, and one that was read in both is kept."""
    best = recommend(log, factors, outcomes, effort=effort).best["variant"]
    part = log[(log["variant"] != best) | (log["outcome"] == "bass")]
    advice = recommend(part, factors, outcomes, effort=effort)
    assert advice.worth["variant"].iloc[0] == best  # it is still believed to be the best
    assert advice.best["variant"] == advice.worth["variant"].iloc[1]
    only = part[part["outcome"] == "bass"]
    alone = recommend(only, factors, outcomes, effort=effort)  # where nothing was read in more, all are alike
    assert alone.best["variant"] == alone.worth["variant"].iloc[0]


def test_no_goal_at_all_is_refused(log, factors, effort):
    with pytest.raises(UsageError, match=re.escape("No outcome has a goal (bass), so no variant can be called better")):
        recommend(log, factors, [Outcome("bass")], effort=effort)


def test_settings_that_must_add_up_are_suggested_together():
    """Of ranges that differ, so that of even steps of each, thirteen, one combination adds up."""
    shares = [
        Factor(name, low=low, high=high) for name, low, high in (("a", 0, 0.61), ("b", 0.23, 0.7), ("c", 0.11, 0.564))
    ]
    level = [Outcome("level", goal="raise", worst=0, best=10, matters=0.5)]
    advice = recommend(None, shares, level, limits=[Limit("a + b + c == 1")], count=3)
    assert advice.table[["a", "b", "c"]].sum(axis=1).tolist() == pytest.approx([1.0] * 3, abs=1e-12)


def test_contradictory_limits_are_refused(log, factors, outcomes, effort):
    limits = [Limit("wool >= 50"), Limit("wool < 10")]
    with pytest.raises(DataError, match=re.escape("'wool >= 50' and 'wool < 10'")):
        recommend(log, factors, outcomes, effort=effort, limits=limits)


def test_nothing_within_reach_is_a_sentence_not_a_crash(log, factors, outcomes, effort):
    """Unit A stands at 4 vents, which only go up; a limit asks for 3 or fewer, and no new unit may be made."""
    advice = recommend(log, factors, outcomes, effort=effort, limits=[Limit("vents <= 3")], unit="A", hours=8)
    assert set(advice.table["kind"]) <= {"repeat"}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"count": 0}, "count is 0; it must be a whole number from 1 to 20."),
        ({"hours": -1}, "hours is -1; it must be a number above 0."),
        ({"only": "improving"}, "only is 'improving'; it must be improve or learn. Did you mean 'improve'?"),
    ],
)
def test_arguments_out_of_range_are_named(log, factors, outcomes, effort, change, message):
    with pytest.raises(UsageError, match=re.escape(message)):
        recommend(log, factors, outcomes, effort=effort, **change)


def test_a_missing_column_is_named(log, factors, outcomes, effort):
    with pytest.raises(DataError, match=re.escape("The readings have no column 'wool'.")):
        recommend(log.drop(columns="wool"), factors, outcomes, effort=effort)


def test_a_variant_with_two_settings_is_named(log, factors, outcomes, effort):
    bad = log.copy()
    bad.loc[bad.index[0], "wool"] = 55.0
    with pytest.raises(DataError, match=re.escape("Variant 1 has two settings of wool: 55.0 and 20.0")):
        recommend(bad, factors, outcomes, effort=effort)


def test_reference_objects_are_no_variants(log, factors, outcomes, effort):
    bought = pd.DataFrame({"variant": ["radio"], "outcome": ["bass"], "value": [0.1]})
    advice = recommend(pd.concat([log, bought], ignore_index=True), factors, outcomes, effort=effort)
    assert "radio" not in set(advice.worth["variant"])


def test_when_all_is_known_it_says_stop_and_what_to_keep():
    """One factor, two settings, both read often with little scatter: nothing is left to gain."""
    factor = Factor("tip", kind="ordered", levels=["short", "long"], minutes=10)
    outcome = Outcome("force", goal="raise", worst=0, best=10, matters=0.5)
    variants = [{"tip": level} for level in ("short", "long") * 4]
    rng = np.random.default_rng(2)
    frame = readings_of(
        variants, lambda settings: (8.0 if settings["tip"] == "long" else 4.0,), [outcome], rng, rounds=3
    )
    advice = recommend(frame, [factor], [outcome])
    assert advice.best["settings"] == {"tip": "long"}
    assert advice.chance_left < 0.1
    told = re.fullmatch(
        rf"(nothing within reach is likely to be worth building: keep variant {advice.best['variant']}, "
        r"worth 0\.8\d* \(0\.\d+ to 0\.\d+\)\.) "
        r"(The chance that anything within reach is better by 0.05 of worth is 10 %\.)",
        advice.stop,
    )
    what, figures = wording.capital(told[1]), told[2]
    assert (advice.headline, advice.told_to_stop) == (what, (what, figures))
    assert advice.summary().startswith(f"{what}\n\n{figures}\n\n1. ")  # first, and once
    assert advice._repr_html_().index(what) < advice._repr_html_().index(figures)


def test_summary_and_html_say_the_same(log, factors, outcomes, effort):
    advice = recommend(log, factors, outcomes, effort=effort)
    assert advice.table["reason"].iloc[0] in advice.summary()
    assert advice.headline in advice._repr_html_()
    assert repr(advice) == f"<Advice: {advice.headline}>"


def test_predictions_cover_what_truth_gives(log, factors, outcomes, effort):
    advice = recommend(log, factors, outcomes, effort=effort, only="improve")
    settings = {factor.name: advice.table[factor.name].iloc[0] for factor in factors}
    truth = dict(zip(("bass", "echo"), wool_and_vents(settings), strict=True))
    for row in advice.predictions.to_dict("records"):
        assert row["low"] < truth[row["outcome"]] < row["high"]


def test_a_cheap_runner_up_stands_beside_an_expensive_first_choice(log, factors, outcomes, effort):
    """Named exactly where some move with a gain takes at most 0.6 of the first choice's minutes."""
    advice = recommend(log, factors, outcomes, effort=effort)
    first = advice.table["minutes"].iloc[0]
    cheap = advice.candidates[(advice.candidates["minutes"] <= 0.6 * first) & (advice.candidates["gain"] > 0)]
    assert bool(advice.runner_up) == bool(len(cheap))
    if len(cheap):
        assert cheap.iloc[0]["label"] in advice.runner_up


def test_one_way_changes_are_marked(log, factors, outcomes, effort):
    row = recommend(log, factors, outcomes, effort=effort, only="improve").table.iloc[0]
    assert row["vents"] > 4
    assert "vents cannot go back on this unit" in row["reason"]


def test_a_large_constant_changes_nothing_but_the_level(factors, effort):
    """Readings a million higher, and a goal a million higher: the same suggestion and the same worth."""
    variants = [{**BASE, "wool": float(wool), "vents": vents} for vents, wool in enumerate((0, 40, 10, 60, 25, 50))]
    found = []
    for shift in (0.0, 1e6):
        outcome = Outcome("force", goal="raise", worst=shift, best=shift + 10, matters=0.5)
        frame = readings_of(variants, lambda s: (2 + s["wool"] / 12,), [outcome], np.random.default_rng(5), sd=0.2)
        frame["value"] += shift
        found.append(recommend(frame, factors, [outcome], effort=effort))
    assert found[0].best["worth"] == pytest.approx(found[1].best["worth"], abs=0.01)
    settings = [factor.name for factor in factors]
    assert found[0].table[settings].iloc[0].to_dict() == found[1].table[settings].iloc[0].to_dict()


def test_forty_factors_are_no_trouble():
    factors = [Factor(f"f{k}", low=0, high=10, step=1, minutes=5) for k in range(40)]
    outcome = Outcome("force", goal="raise", worst=0, best=10, matters=0.5)
    rng = np.random.default_rng(6)
    variants = [{factor.name: float(rng.integers(11)) for factor in factors} for _ in range(12)]
    frame = readings_of(variants, lambda s: (s["f3"] / 2,), [outcome], rng)
    assert len(recommend(frame, factors, [outcome]).table) == 1


def test_known_terms_are_believed_and_no_others(log, factors, outcomes, effort):
    """Told that wool alone moves bass and vents alone echo, the advice leaves driver and rings alone and is surer."""
    told = recommend(log, factors, outcomes, effort=effort, terms={"bass": ["wool"], "echo": ["vents"]}, only="improve")
    row = told.table.iloc[0]
    assert (row["unit"], row["rings"], row["driver"]) == ("A", 9, "paper")
    free = recommend(log, factors, outcomes, effort=effort, only="improve").table.iloc[0]
    assert row["chance_better"] >= free["chance_better"] - 0.02
    assert not row["settles"]


def test_terms_of_an_unknown_outcome_are_refused(log, factors, outcomes, effort):
    with pytest.raises(UsageError, match=re.escape("'bas' is no outcome of this project. Did you mean 'bass'?")):
        recommend(log, factors, outcomes, effort=effort, terms={"bas": ["wool"]})


def test_limits_may_use_quantities_built_on_quantities(log, factors, outcomes, effort):
    derived = [
        Derived("air", "rings * 42 - wool * 2.1"),
        Derived("litres", "air / 1000"),
        Derived("one", "rings * 0 + 1"),
    ]
    advice = recommend(
        log, factors, outcomes, effort=effort, limits=[Limit("litres >= 0.3"), Limit("one > 0")], derived=derived
    )
    assert (advice.table["rings"] * 42 - advice.table["wool"] * 2.1 >= 300).all()


def test_a_quantity_known_to_matter_is_learned_from_readings(factors, effort):
    """Bass is 20 dB a litre of air, which is written in another quantity: 3.36 dB from the middle of its range to an end."""
    derived = [Derived("air", "rings * 42 - wool * 2.1"), Derived("litres", "air / 1000")]
    bass = Outcome("bass", goal="lower", best=0, worst=10, matters=0.5)
    variants = [{**BASE, "rings": 7 + place % 6, "wool": 5.0 * place} for place in range(10)]

    def truth(settings):
        return (20 * (settings["rings"] * 42 - settings["wool"] * 2.1) / 1000,)

    frame = readings_of(variants, truth, [bass], np.random.default_rng(2))
    question = ask(factors, [bass], effort=effort, derived=derived, terms={"bass": ["litres"]})
    (draws,) = look(question, frame, None, np.random.default_rng(1)).belief.draws
    assert draws.coefficients[:, 1].mean() == pytest.approx(20 * (12 * 42 - (7 * 42 - 126)) / 2000, rel=0.05)


def test_a_quantity_known_to_matter_needs_a_number_everywhere(log, factors, outcomes, effort):
    asked = {"derived": [Derived("stuffing", "1 / wool")], "terms": {"bass": ["stuffing"]}}
    with refused(DataError, "Term stuffing cannot be computed for some settings; set a limit that rules them out."):
        recommend(log, factors, outcomes, effort=effort, **asked)
    ask_less = recommend(log[log["wool"] > 0], factors, outcomes, effort=effort, limits=[Limit("wool > 0")], **asked)
    assert ask_less.table["wool"].iloc[0] > 0


@pytest.mark.parametrize("with_readings", [True, False])
def test_knowing_that_nothing_matters_is_no_crash(log, factors, outcomes, effort, with_readings):
    terms = {"bass": [], "echo": []}
    advice = recommend(log if with_readings else None, factors, outcomes, effort=effort, terms=terms)
    assert len(advice.table) == 1


@pytest.mark.parametrize(("end", "terms"), [(1.0, ["gap^2"]), (1e-10, ["gap"])])
def test_knowing_what_the_settings_so_far_cannot_show_is_no_crash(end, terms):
    """A bend between two settings, and settings that are the same but for rounding."""
    frame = pd.DataFrame({"variant": ["1", "2"], "outcome": "hum", "value": [5.0, 4.0], "gap": [0.0, end]})
    hum = Outcome("hum", goal="lower", best=0, worst=6)
    assert len(recommend(frame, [Factor("gap", low=0, high=1)], [hum], terms={"hum": terms}).table) == 1


def test_a_later_suggestion_is_told_as_believed_now(factors, outcomes, effort):
    """Its interval knows nothing of what the suggestions before it will have shown: it lies where worth can lie, and one that
    is on record is as wide as if it stood alone.
    """
    frame = readings_of([BASE, {**BASE, "wool": 40.0}], wool_and_vents, outcomes, np.random.default_rng(1), rounds=2)
    question = ask(factors, outcomes, effort=effort, count=6)
    situation = look(question, frame, None, np.random.default_rng(1))
    choices = choose(question, situation, np.random.default_rng(1)).choices
    assert len(choices) == 6
    for choice in choices:
        told = as_believed(situation, choice)
        worth = told.moves.worth[:, told.place]
        assert worth.min() >= 0
        assert worth.max() <= 1
        alone = situation.belief.values_on(
            choice.moves.codes[[choice.place]], choice.reach.unit_names, choice.moves.start[[choice.place]]
        )
        if choice.moves.variant[choice.place] < 0:
            for value, mean, offset in zip(told.moves.values, alone, situation.belief.offsets, strict=True):
                expected = (mean[:, 0] + offset).std()
                assert value[:, told.place].std() == pytest.approx(expected, rel=1e-4)


def test_missing_settings_of_any_kind_make_a_reference(log, factors, outcomes, effort):
    """A reference object has no settings: None, nan, or pandas' own missing value in columns that can hold it."""
    none = {factor.name: None for factor in factors}
    reference = pd.DataFrame([{"variant": "shop", "outcome": "bass", "value": -1.0, "unit": None, **none}])
    frame = pd.concat([log.astype({"driver": object}), reference], ignore_index=True)
    plain = recommend(frame, factors, outcomes, effort=effort)
    nullable = recommend(frame.convert_dtypes(), factors, outcomes, effort=effort)
    assert "shop" not in list(plain.worth["variant"])
    pd.testing.assert_frame_equal(plain.table, nullable.table)


@pytest.mark.parametrize("grades", [(7, 7, 7, 7), (7, 7, 6, 4)])
def test_no_grade_beyond_the_scale_is_said_to_speak_against_a_change(grades):
    """Worlds are linear, so what would speak against it may lie beyond a grade of 7, or of 1."""
    grade = Outcome("smoke", kind="rated", scale=(1, 7), goal="lower", matters=0.5)
    log = pd.DataFrame(
        [{"variant": str(gap), "outcome": "smoke", "value": value, "gap": gap} for gap, value in enumerate(grades)]
    )
    advice = recommend(log, [Factor("gap", kind="count", low=0, high=9, minutes=5)], [grade])
    named = re.findall(r"smoke read (?:above|below) ([0-9.-]+)", advice.summary())
    assert all(1 < float(edge) < 7 for edge in named)
    assert ("would speak against it" in advice.summary()) == bool(named)
    assert "Expect a worth of" in advice.summary()
