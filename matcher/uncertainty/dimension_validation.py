"""Validation of a dimension: numbers, units, instruments, gaps, planes, uncertainties."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from matcher.errors import ObservationError
from matcher.features import FEATURES, Feature, Plane
from matcher.observations import MAX_READINGS, Observation
from matcher.uncertainty.instruments import LARGEST_REL, Instrument
from matcher.uncertainty.measuring_setup import default_instrument, instrument_of, limits_of, mm_per_unit, net_mm
from matcher.vocabulary import MAX_TEXT, PIXEL, canonical_unit, closest, is_number, is_text, remedy_for

MAX_SPANS = 1000
"""Most gaps that a pitch can be measured over: no row has more contacts."""

SMALLEST_U = 1e-6
"""Smallest standard uncertainty that is accepted, mm (or px): a nanometre, the floor of the likelihood."""

SMALLEST_REL = 1e-6
"""Smallest relative standard uncertainty of a scale that is accepted: a millionth, beyond any bench."""


@dataclass(frozen=True, kw_only=True)
class Checked:
    """An observation under validation, with its feature, its place in the list and the instruments."""

    index: int
    given: Observation
    feature: Feature
    instruments: Mapping[str, Instrument]

    def fault(self, part: str, value: object, message: str, remedy: str) -> ObservationError:
        """Error at one part of the observation."""
        return ObservationError(message, field=path(self.index, part), value=value, remedy=remedy)


def path(index: int, part: str) -> str:
    """Path of a part in the list of observations, e.g. ``observations[2].unit``."""
    return f"observations[{index}].{part}"


def not_number(checked: Checked, part: str, value: object) -> ObservationError:
    """Error for a part that should be a number."""
    message = f"{str(value)[:MAX_TEXT]!r} is not a finite number"
    return checked.fault(part, value, message, "give a plain finite number, without its unit")


def order_faults(checked: Checked) -> Iterator[ObservationError]:
    """Faults of bounds in the wrong order."""
    low, high = checked.given.min, checked.given.max
    if is_number(low) and is_number(high) and low > high:
        yield checked.fault("min", low, f"the smallest ({low}) is above the largest ({high})", "swap min and max")


def dimension_faults(checked: Checked) -> Iterator[ObservationError]:
    """All faults of a dimension; its size is checked once unit, instrument and gaps are right."""
    setup = [*_setup_faults(checked), *_spans_faults(checked)]
    yield from setup
    yield from _plane_faults(checked)
    numbers, faulty = _numbers(checked)
    faulty += [*_less_faults(checked, numbers), *([] if setup else _relative_faults(checked))]
    yield from faulty
    if setup or faulty:
        return
    sized = list(_size_faults(checked, numbers))
    yield from sized or order_faults(checked)
    if not sized and numbers:
        less = checked.given.less or 0.0
        yield from _own_uncertainty_faults(checked, min(value - less for _, value in numbers))


def _numbers(checked: Checked) -> tuple[list[tuple[str, float]], list[ObservationError]]:
    """Every number of a dimension with its place, and faults for values that are not numbers."""
    given = checked.given
    if len(given.readings) > MAX_READINGS:
        remedy = f"give at most {MAX_READINGS}; more do not improve the mean"
        return [], [checked.fault("readings", len(given.readings), "there are too many readings", remedy)]
    places = [(part, value) for part in ("value", "min", "max") if (value := getattr(given, part)) is not None]
    places += [(f"readings[{i}]", value) for i, value in enumerate(given.readings)]
    faulty = [not_number(checked, part, value) for part, value in places if not is_number(value)]
    return [(part, value) for part, value in places if is_number(value)], faulty


def _size_faults(checked: Checked, numbers: list[tuple[str, float]]) -> Iterator[ObservationError]:
    given, feature = checked.given, checked.feature
    instrument = instrument_of(given, checked.instruments)
    low, high, unit = limits_of(feature, instrument)
    for part, value in numbers:
        if value <= 0.0:
            remedy = "give the length itself, or leave the feature out"
            yield checked.fault(part, value, "a length must be above 0", remedy)
            continue
        size = net_mm(given, instrument, value) / given.spans
        if not low <= size <= high:
            message = f"{size:.6g} {unit} cannot be a {feature.label}: far outside {low:.3g} to {high:.6g} {unit}"
            remedy = f"check the unit ({given.unit!r}) and the decimal point"
            yield checked.fault(part, value, message, remedy)


def _own_uncertainty_faults(checked: Checked, smallest: float) -> Iterator[ObservationError]:
    given = checked.given
    if given.u is not None and given.plus_minus is not None:
        remedy = "give u (standard uncertainty) or plus_minus (limit), not both"
        yield checked.fault("plus_minus", given.plus_minus, "the uncertainty is given twice", remedy)
    for part in ("u", "plus_minus", "less_u"):
        value = getattr(given, part)
        if value is None:
            continue
        if not is_number(value):
            yield not_number(checked, part, value)
        elif value <= 0.0:
            remedy = f"leave {part} out; the instrument's is then used"
            yield checked.fault(part, value, "no reading is without error", remedy)
        elif value * mm_per_unit(given, instrument_of(given, checked.instruments)) < SMALLEST_U:
            remedy = f"check its unit: it counts as {given.unit!r}, like the reading"
            yield checked.fault(part, value, "the uncertainty is below a nanometre", remedy)
        elif value >= smallest:
            remedy = f"check its unit: it counts as {given.unit!r}, like the reading; or give bounds (min, max)"
            yield checked.fault(part, value, "the uncertainty is as large as the reading itself", remedy)


def _less_faults(checked: Checked, numbers: list[tuple[str, float]]) -> Iterator[ObservationError]:
    """The width subtracted must be a length below every number that it is subtracted from."""
    given, less = checked.given, checked.given.less
    if less is None:
        if given.less_u is not None:
            remedy = "give the width to subtract as less, or leave less_u out"
            yield checked.fault("less_u", given.less_u, "nothing is subtracted from this reading", remedy)
    elif not is_number(less):
        yield not_number(checked, "less", less)
    elif less <= 0.0:
        remedy = "give the width itself, measured with the same tool, or leave less out"
        yield checked.fault("less", less, "the width to subtract must be above 0", remedy)
    elif numbers and less >= min(value for _, value in numbers):
        remedy = f"check its unit: it counts as {given.unit!r}, like the reading"
        yield checked.fault("less", less, "the width to subtract is as large as the reading", remedy)


def _relative_faults(checked: Checked) -> Iterator[ObservationError]:
    """Relative uncertainties must be below 1; a scale's needs a stated scale, and a plane's needs a picture."""
    given = checked.given
    instrument = instrument_of(given, checked.instruments)
    if given.scale_rel is not None and given.px_per_mm is None:
        remedy = "give the scale as px_per_mm with the reading in px, or leave scale_rel out"
        yield checked.fault("scale_rel", given.scale_rel, "this reading has no scale", remedy)
    if given.plane_rel is not None and (instrument is None or not instrument.optical):
        remedy = "name the instrument that took the picture, or leave plane_rel out"
        yield checked.fault("plane_rel", given.plane_rel, "this reading is not from a picture", remedy)
    for part, least in (("scale_rel", SMALLEST_REL), ("plane_rel", 0.0)):
        value = getattr(given, part)
        if value is not None and not (is_number(value) and least <= value < LARGEST_REL):
            remedy = f"give a fraction, e.g. 0.01 for 1 %: at least {least:g} and below {LARGEST_REL:g}"
            yield checked.fault(part, value, "it is not a relative standard uncertainty", remedy)


def _setup_faults(checked: Checked) -> Iterator[ObservationError]:
    try:
        unit = canonical_unit(checked.given.unit, field=path(checked.index, "unit"))
    except ObservationError as error:
        yield error
        return
    unknown = list(_instrument_faults(checked))
    yield from unknown or _pixel_faults(checked, unit, instrument_of(checked.given, checked.instruments))


def _pixel_faults(checked: Checked, unit: str, instrument: Instrument | None) -> Iterator[ObservationError]:
    given, scale = checked.given, checked.given.px_per_mm
    unscaled = instrument is not None and instrument.unscaled
    if scale is not None and (not is_number(scale) or scale <= 0.0):
        yield checked.fault(
            "px_per_mm", scale, "a picture's scale must be a finite number above 0", "give pixels per mm"
        )
    elif scale is not None and (unit != PIXEL or unscaled):
        remedy = "give it with unit px and a scaled instrument, or leave it out"
        yield checked.fault("px_per_mm", scale, "this reading cannot have a picture's scale", remedy)
    if unit != PIXEL:
        pass
    elif instrument is not None and not instrument.takes_pixels:
        remedy = "give mm, in, mil or um, or name the instrument photo or unscaled_photo"
        yield checked.fault("unit", given.unit, f"a {instrument.label} does not read pixels", remedy)
    elif not unscaled and scale is None:
        remedy = "give px_per_mm, convert to mm, or name the instrument unscaled_photo"
        yield checked.fault("unit", given.unit, "pixels have no length without the picture's scale", remedy)
    if unscaled and (given.min is not None or given.max is not None):
        part = "min" if given.min is not None else "max"
        remedy = "give the reading as a value; only ratios of a picture without scale count"
        yield checked.fault(part, getattr(given, part), "a bound in a picture without scale cannot be used", remedy)


def _instrument_faults(checked: Checked) -> Iterator[ObservationError]:
    given, known = checked.given, checked.instruments
    name = given.instrument if given.instrument is not None else default_instrument(given)
    if name is not None and name not in known:
        remedy = remedy_for(known, closest(str(name)[:MAX_TEXT], known))
        yield checked.fault("instrument", name, f"the instrument {str(name)[:MAX_TEXT]!r} is not known", remedy)
    elif name is not None and known[name].outside_only and checked.feature.inside:
        usable = ", ".join(each for each in checked.feature.instruments if each in known)
        message = f"an {known[name].label} cannot take the {checked.feature.label}, which lies between walls"
        yield checked.fault("instrument", name, message, f"name what it was measured with: {usable}")
    if given.image is not None and not is_text(given.image):
        yield checked.fault("image", given.image, "a picture needs a name", f"give 1 to {MAX_TEXT} characters")


def _plane_faults(checked: Checked) -> Iterator[ObservationError]:
    plane = checked.given.plane
    if plane is not None and plane not in list(Plane):
        remedy = remedy_for(list(Plane), closest(str(plane)[:MAX_TEXT], list(Plane)))
        yield checked.fault("plane", plane, f"the plane {str(plane)[:MAX_TEXT]!r} is not known", remedy)


def _spans_faults(checked: Checked) -> Iterator[ObservationError]:
    spans = checked.given.spans
    if isinstance(spans, bool) or not isinstance(spans, int) or not 1 <= spans <= MAX_SPANS:
        remedy = f"give the number of gaps (not contacts) measured over, 1 to {MAX_SPANS}"
        yield checked.fault("spans", spans, "gaps are counted in whole numbers from 1", remedy)
    elif spans > 1 and not checked.feature.repeats:
        spanned = ", ".join(feature.name for feature in FEATURES.values() if feature.repeats)
        remedy = f"leave spans out; it belongs to {spanned}"
        yield checked.fault("spans", spans, f"{checked.feature.label} is not measured over gaps", remedy)
