"""The fit of *absent* agrees with the reference model, which was written independently from the same text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.em_fit import TRAINING_FEATURES, Specimen, fit_absent, improved, readings_of
from matcher.absent.model import AbsentModel, unfitted_model
from matcher.columns.columns import Columns
from matcher.likelihood.kinds import evidence_of
from matcher.observations import Reduced
from tests.matcher.invented import invented_columns
from tests.matcher.random_catalogues import random_columns
from tests.matcher.reference_model import absence_fit
from tests.matcher.reference_model.absence import in_order, neighbourhood


def random_catalogue(seed: int) -> Columns:
    """Halves with many missing or predicted sizes; some are inferred, some share one geometry across two series."""
    draw = np.random.default_rng([17, seed])
    columns = random_columns(draw, 70)
    return replace(columns, geometry=draw.integers(0, 50, 70).astype(np.int64))


def repeated(columns: Columns, again: np.ndarray, series: np.ndarray, geometry: np.ndarray) -> Columns:
    """The chosen halves, repeated under each of the series and geometries given."""
    return replace(
        columns,
        keys=tuple(f"half-{number}" for number in range(len(again))),
        series=series,
        geometry=geometry,
        inferred=columns.inferred[again],
        prior_weight=columns.prior_weight[again],
        dimensions={name: column.take(again) for name, column in columns.dimensions.items()},
        counts={name: numbers[again] for name, numbers in columns.counts.items()},
        categories={name: has[again] for name, has in columns.categories.items()},
    )


def twins() -> Columns:
    """Half of the series have a twin with the same sizes; some twins share a geometry, and some halves are inferred."""
    columns = invented_columns(8)
    again = np.concatenate([np.arange(160), np.arange(0, 120, 2)])
    series, geometry = columns.series[again], columns.geometry[again]
    series[160:] += int(series.max()) + 1
    geometry[160::3] += int(geometry.max()) + 1
    return replace(repeated(columns, again, series, geometry), inferred=np.arange(220) % 11 == 5)


CATALOGUES = {"twins": twins(), "random 0": random_catalogue(0), "random 1": random_catalogue(1)}


def fitted(model: AbsentModel) -> dict[str, list[float]]:
    """Every fitted quantity, by name."""
    return {"shares": model.shares.tolist()} | {name: model.copied[name].tolist() for name in TRAINING_FEATURES}


def specimens(columns: Columns, halves: Sequence[int]) -> list[Specimen]:
    """The halves as measured for the fit, with all training features."""
    draw, model = np.random.default_rng(5), unfitted_model(columns)
    return [
        Specimen.of(columns, model, half, list(readings_of(columns, half, draw, TRAINING_FEATURES))) for half in halves
    ]


def measurable(columns: Columns, number: int) -> list[int]:
    """Some halves that state pitch and length."""
    stated = [~np.isnan(columns.dimensions[name].stated) for name in ("pitch", "body_length")]
    return np.flatnonzero(stated[0] & stated[1] & ~columns.inferred)[:number].tolist()


@pytest.mark.parametrize("name", CATALOGUES)
def test_a_step_of_the_fit_agrees_with_the_reference_model(name: str) -> None:
    columns = CATALOGUES[name]
    found = specimens(columns, measurable(columns, 12))
    model = unfitted_model(columns)
    plain = [
        absence_fit.Measured(
            ratios={
                feature: [ratio if known else None for ratio, known in zip(ratios.tolist(), stated, strict=True)]
                for feature, ratios, stated in zip(each.features, each.ratio, each.stated, strict=True)
            },
            prior=each.prior.tolist(),
        )
        for each in found
    ]
    shares, copied = model.shares.tolist(), {n: both.tolist() for n, both in model.copied.items()}
    start, series = model, len(set(columns.series[~columns.inferred].tolist()))
    for _ in range(3):
        model = improved(model, found, start)
        shares, copied = absence_fit.step(shares, copied, plain, series)
        assert model.shares == pytest.approx(shares, rel=1e-9)
        for feature, both in copied.items():
            assert model.copied[feature] == pytest.approx(both, rel=1e-9), feature


def test_a_training_half_is_compared_with_halves_that_are_neither_of_its_series_nor_its_geometry() -> None:
    """a_k is that of the reference model, given the features before it in the feature table's order."""
    columns = CATALOGUES["twins"]
    for half in measurable(columns, 2):
        gone = (columns.series == columns.series[half]) | (columns.geometry == columns.geometry[half])
        rest = replace(columns, prior_weight=np.where(gone, 1e-290, columns.prior_weight))
        readings = list(readings_of(columns, half, np.random.default_rng(6), TRAINING_FEATURES))
        found = Specimen.of(columns, unfitted_model(columns), half, readings)
        whole = [_right(reading, rest) for reading in readings]
        parts = [[reading] for reading in readings]
        steps = in_order(parts)
        model = unfitted_model(columns).without(gone)
        log_n = [0.0, *(neighbourhood(model, rest, parts, whole, steps[:n]) for n in range(1, len(steps) + 1))]
        for place, (number, _) in enumerate(steps):
            stated = columns.dimensions.get(readings[number].feature)
            known = ~gone if stated is None else ~gone & ~np.isnan(stated.stated)
            expected = np.exp(np.array(whole[number]) - (log_n[place + 1] - log_n[place]))
            assert found.ratio[number][known] == pytest.approx(expected[known], rel=1e-8)
            assert np.all(found.ratio[number][~known & ~gone] == 1.0)
        assert found.prior[gone].max() < 1e-280


def _right(reading: Reduced, columns: Columns) -> list[float]:
    """Log-likelihood under each half; a length counts as right."""
    each = evidence_of(reading, columns)
    logs = np.log(each.of_halves()) if reading.value is None else each.log_right(np.arange(len(columns)))
    return [float(log) for log in logs]


def test_halves_that_are_left_out_to_save_time_hardly_change_a_step() -> None:
    columns = CATALOGUES["twins"]
    found, model = specimens(columns, measurable(columns, 40)), unfitted_model(columns)
    some = improved(model, [each.likely(model) for each in found], model)
    assert sum(len(each.likely(model).prior) for each in found) < 0.5 * 40 * len(columns)
    for name, values in fitted(improved(model, found, model)).items():
        assert fitted(some)[name] == pytest.approx(values, abs=2e-3), name


@pytest.mark.parametrize("name", CATALOGUES)
def test_halves_of_one_series_that_differ_only_by_rounding_share_a_profile(name: str) -> None:
    columns = CATALOGUES[name]
    model = unfitted_model(columns)
    reference = absence_fit.profiles(columns)
    found = [np.flatnonzero(model.profile == number).tolist() for number in range(len(model.size))]
    assert sorted(found) == sorted(reference)
    assert model.size.tolist() == [len(members) for members in found]
    assert model.representative.tolist() == [members[0] for members in found]
    assert np.flatnonzero(model.profile < 0).tolist() == np.flatnonzero(columns.inferred).tolist()


@pytest.mark.parametrize(
    ("halves", "series", "fits"), [(20, 8, True), (19, 8, False), (20, 7, False), (40, 8, True), (40, 7, False)]
)
def test_a_fit_needs_twenty_halves_of_eight_series(halves: int, series: int, fits: bool) -> None:
    each = np.arange(halves)
    columns = repeated(invented_columns(4), each, each % series, each)
    assert (fitted(fit_absent(columns)) != fitted(unfitted_model(columns))) is fits


@pytest.mark.parametrize(
    ("name", "near", "far"),
    [("pitch", 0.002, 0.02), ("body_width", 0.01, 0.06), ("land_span", 0.01, 0.06), ("height", 0.01, 0.06)],
)
def test_a_size_separates_profiles_when_it_differs_by_more_than_rounding(name: str, near: float, far: float) -> None:
    """0.01 mm for the pitch, 0.05 mm for other sizes: our own choice, no source. With one position, no span counts."""
    one = np.zeros(3, dtype=np.int64)
    columns = repeated(invented_columns(1), one, one, np.arange(3))
    counts = columns.counts | {"contact_count": columns.counts["rows"]}
    sizes = replace(columns.dimensions[name], centre=0.5 + np.array([0.0, near, far]))
    columns = replace(columns, counts=counts, dimensions={**columns.dimensions, name: sizes})
    assert len(set(unfitted_model(columns).profile[:2])) == 1
    assert len(set(unfitted_model(columns).profile)) == 2
