"""What is drawn of takes: responses with a reference, decays, a waterfall - read as the recipes of the outcomes read them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args

from doe.measuring.choice import chosen_outcomes
from doe.measuring.takes import Kept, kept_takes, look_at
from doe.model.change import find_variant
from doe.model.errors import DataError, UsageError
from doe.model.outcome import Outcome
from doe.signals.bands import bands_between
from doe.signals.curve import read_curve
from doe.signals.decay import Decay, measure_decay, measure_decays
from doe.signals.impulse import Impulse
from doe.signals.recipe_book import decay_of, reference_response
from doe.signals.recipe_keys import read_settings, response_keys
from doe.signals.recipes import check_recipe
from doe.signals.response import Response
from doe.signals.shape import deviation
from doe.signals.sound_format import sound_format
from doe.signals.sources import Said, average_responses, load_impulse, load_response
from doe.signals.waterfall import measure_waterfall
from doe.store import ProjectFile
from doe.store.snapshot import take_snapshot

What = Literal["response", "decay", "waterfall"]
SMOOTHING = 12
"""Of drawn responses whose recipe sets none, as a fraction of an octave."""
_BANDS = ("band", "relative_to", "to_band", "match_band")
_OCTAVES_HZ = (88.0, 11_500.0)
_ANY_HZ = (200.0, 2000.0)
_Drawn = TypeVar("_Drawn", Response, Decay)


@dataclass(frozen=True, slots=True)
class Picture:
    """What `doe.figure` takes.

    Attributes
    ----------
    result : object
        Responses, decays or a waterfall.
    options : mapping
        Of the chart.
    warnings : tuple of str
        What is to be said.
    """

    result: Any
    options: Mapping[str, Any]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Group:
    """Takes under one name; `variant` is whose, empty for a file of its own."""

    name: str
    paths: tuple[Path, ...]
    variant: str = ""


def picture(
    file: ProjectFile,
    files: Sequence[Path | str] = (),
    variants: Sequence[str] = (),
    outcomes: Sequence[str] = (),
    what: What = "response",
) -> Picture:
    """Prepare a drawing of files, and of the takes that variants have kept.

    Parameters
    ----------
    file : ProjectFile
        The project; the recipes of its outcomes say what the files hold.
    files : sequence of path
        Each drawn by itself.
    variants : sequence of str
        Their kept takes: in responses averaged, in decays each by itself.
    outcomes : sequence of str
        Whose recipes count; by default all.
    what : {"response", "decay", "waterfall"}
        What is drawn.

    Raises
    ------
    DataError
        If a variant is unknown or has no takes, a file cannot be drawn, or an outcome is unknown or has no recipe.
    UsageError
        If there is nothing to draw, or more than can be drawn.
    """
    if what not in get_args(What):
        raise UsageError(f"what is '{what}'; it must be response, decay or waterfall.")
    known = take_snapshot(file.path)
    defined = known.setup.outcomes
    chosen = chosen_outcomes(defined, outcomes) if outcomes else [item for item in defined if item.recipe]
    with kept_takes(file, chosen, known.variants) as kept:
        groups = [_Group(take.path.stem, (take.path,)) for take in (look_at(files) if files else [])]
        named = dict.fromkeys(find_variant(name, known.variants).name for name in variants)
        groups += [_kept_group(name, kept) for name in named]
        if not groups:
            raise UsageError("There is nothing to draw; give files, or variants with kept takes.")
        said = Said()
        drawn = {"response": _responses, "decay": _decays, "waterfall": _waterfall}[what](groups, chosen, kept, said)
    return replace(drawn, warnings=tuple(said.warnings))


def _kept_group(variant: str, kept: Kept) -> _Group:
    takes = kept.takes.get(variant, ())
    if not takes:
        raise DataError(f"Variant {variant} has no kept takes; measure it first.")
    return _Group(_called(variant), tuple(take.path for take in takes), variant)


def _called(variant: str) -> str:
    return f"variant {variant}" if variant.isdigit() else variant


def _responses(groups: Sequence[_Group], outcomes: Sequence[Outcome], kept: Kept, said: Said) -> Picture:
    settings, is_default = _settings_with(outcomes, "smoothing")
    band = _reach(settings)
    if is_default:
        return Picture(_told_apart([_plain_response(group, settings, kept, said) for group in groups]), {})
    has_reference = "match_band" in settings
    # what differs from a reference is told as it is read
    shown = settings if has_reference else {**settings, "smoothing": settings["smoothing"] or SMOOTHING}
    own = settings.get("reference_variant") or ""
    others = [group for group in groups if not group.variant or group.variant.casefold() != own.casefold()]
    responses = _told_apart([_response(group, shown, kept, said, band) for group in others or groups])
    if not has_reference:
        return Picture(responses, {})
    reference = reference_response(shown, kept.context, said, band)
    reference = replace(reference, name=_called(own) if own else Path(settings["reference"]).stem)
    low, high = settings["band"]
    match = settings["match_band"] or settings["band"]
    differences = {curve.name: deviation(curve, reference, low, high, match=match) for curve in responses}
    return Picture(responses, {"reference": reference, "differences": differences})


def _response(
    group: _Group, settings: Mapping[str, Any], kept: Kept, said: Said, band: tuple[float, float]
) -> Response:
    """Return the one response of a group: that of its take, or the mean of its takes."""
    takes = [load_response(path, settings, kept.context, said, band) for path in group.paths]
    if len(takes) == 1:
        return replace(takes[0], name=group.name)
    common = max(take.frequency[0] for take in takes), min(take.frequency[-1] for take in takes)
    return replace(average_responses(takes, settings["average"], common), name=group.name)


def _plain_response(group: _Group, settings: Mapping[str, Any], kept: Kept, said: Said) -> Response:
    """Return a response where no recipe says which band matters."""
    if len(group.paths) == 1 and sound_format(group.paths[0]) is None:
        return replace(read_curve(group.paths[0]).smoothed(SMOOTHING), name=group.name)
    return _response(group, settings, kept, said, _reach(settings))


def _decays(groups: Sequence[_Group], outcomes: Sequence[Outcome], kept: Kept, said: Said) -> Picture:
    settings, _ = _settings_with(outcomes, "octave", "sweep")
    paths = [(group.name, path) for group in groups for path in group.paths]
    impulses = [(name, load_impulse(path, settings, kept.context, said)) for name, path in paths]
    if len(impulses) == 1:
        return Picture(_by_octave(*impulses[0]), {})
    read = decay_of if "octave" in settings else lambda impulse, _: measure_decay(impulse)
    return Picture(_told_apart([replace(read(impulse, settings), name=name) for name, impulse in impulses]), {})


def _by_octave(name: str, impulse: Impulse) -> list[Decay]:
    """Return a decay for each octave that was measured; where there is none, that of all frequencies."""
    low, high = max(_OCTAVES_HZ[0], impulse.low_hz), min(_OCTAVES_HZ[1], impulse.high_hz)
    found = measure_decays(impulse, bands_between(low, high, 1)) if low < high else []
    return [replace(decay, name=name) for decay in found or [measure_decay(impulse)]]


def _told_apart(drawn: Sequence[_Drawn]) -> list[_Drawn]:
    """Give takes of one name a number each."""
    names = [item.name for item in drawn]
    return [
        item
        if names.count(item.name) == 1
        else replace(item, name=f"{item.name}, take {names[: place + 1].count(item.name)}")
        for place, item in enumerate(drawn)
    ]


def _waterfall(groups: Sequence[_Group], outcomes: Sequence[Outcome], kept: Kept, said: Said) -> Picture:
    paths = [path for group in groups for path in group.paths]
    if len(paths) != 1:
        raise UsageError(f"A waterfall shows one take; {len(paths)} were given.")
    settings, _ = _settings_with(outcomes, "sweep")
    impulse = load_impulse(paths[0], settings, kept.context, said)
    low, high = max(_OCTAVES_HZ[0], impulse.low_hz), min(_OCTAVES_HZ[1], impulse.high_hz)
    return Picture(replace(measure_waterfall(impulse, low, high), name=groups[0].name), {})


def _settings_with(outcomes: Sequence[Outcome], *keys: str) -> tuple[dict[str, Any], bool]:
    """Return the settings of the first recipe that has one of some keys (earlier keys first).

    A recipe that names a reference goes before the others. Where none has such a key, what is not set by a recipe that
    tells of the sweep is as by default; then the second is true.
    """
    found = [check_recipe(outcome.recipe)[1] for outcome in outcomes]
    found = [settings for settings in found if settings.get("input") not in ("recording",)]
    found.sort(key=lambda settings: "match_band" not in settings)
    for key in keys:
        for settings in found:
            if key in settings:
                return settings, False
    own = read_settings("The drawing", {}, response_keys(smoothing=SMOOTHING))
    known = next((settings for settings in found if "sweep" in settings), {})
    return {key: known.get(key, value) for key, value in own.items()}, True


def _reach(settings: Mapping[str, Any]) -> tuple[float, float]:
    """Return the band that a recipe looks at; where none is said, what any recording should hold, as far as it was played."""
    bands = [settings[key] for key in _BANDS if settings.get(key) is not None]
    if not bands:
        played = settings["sweep"]
        low, high = max(_ANY_HZ[0], played.start_hz), min(_ANY_HZ[1], played.stop_hz)
        return (low, high) if low < high else (played.start_hz, played.stop_hz)
    return min(band[0] for band in bands), max(band[1] for band in bands)
