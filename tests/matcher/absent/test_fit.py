"""The fit of *absent* agrees with the reference model, which was written independently from the same text."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.em_fit import Training, fit_absent
from matcher.absent.model import AbsentModel, start_model
from matcher.columns.columns import Columns
from tests.matcher.invented import invented_columns
from tests.matcher.random_catalogues import random_columns
from tests.matcher.reference_model import absence_fit


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
    widths = {"pitch": model.bandwidths.pitch, "allowance": model.bandwidths.allowance, **model.bandwidths.across}
    shares = {"weights": model.weights, "listed": model.listed_count, "other": model.other_kind}
    return {name: table.tolist() for name, table in (widths | shares).items()} | {"present": [model.present_share]}


@pytest.mark.parametrize("name", CATALOGUES)
def test_the_fit_agrees_with_the_reference_model(name: str) -> None:
    reference = absence_fit.fit(CATALOGUES[name])
    expected = reference.widths | {"weights": reference.weights, "listed": reference.listed, "other": reference.other}
    found = fitted(fit_absent(CATALOGUES[name]))
    assert found.keys() == expected.keys() | {"present"}
    for quantity, values in (expected | {"present": [reference.present]}).items():
        assert found[quantity] == pytest.approx(values, rel=1e-8), quantity


@pytest.mark.parametrize("name", CATALOGUES)
def test_halves_of_one_series_that_differ_only_by_rounding_share_a_profile(name: str) -> None:
    columns = CATALOGUES[name]
    model = start_model(columns)
    reference = absence_fit.profiles(columns)
    found = [np.flatnonzero(model.profile == number).tolist() for number in range(len(model.size))]
    assert sorted(found) == sorted(reference)
    assert model.size.tolist() == [len(members) for members in found]
    assert model.representative.tolist() == [members[0] for members in found]
    assert np.flatnonzero(model.profile < 0).tolist() == np.flatnonzero(columns.inferred).tolist()


@pytest.mark.parametrize(("halves", "weighed"), [(400, 400), (540, 400), (900, 277), (2600, 100)])
def test_at_most_400_halves_are_weighed_and_fewer_with_many_profiles(halves: int, weighed: int) -> None:
    """At most 250,000 pairs of half and profile, but at least 100 halves. Here each half has its own profile."""
    each = np.arange(halves)
    columns = repeated(invented_columns(2), each % 40, each, each)
    training = Training.of(columns, start_model(columns))
    assert training is not None
    assert sum(len(block.listed) for block in training.blocks) == weighed


@pytest.mark.parametrize(
    ("halves", "series", "fits"), [(20, 8, True), (19, 8, False), (20, 7, False), (40, 8, True), (40, 7, False)]
)
def test_a_fit_needs_twenty_halves_of_eight_series(halves: int, series: int, fits: bool) -> None:
    each = np.arange(halves)
    columns = repeated(invented_columns(4), each, each % series, each)
    assert (fitted(fit_absent(columns)) != fitted(start_model(columns))) is fits


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
    assert len(set(start_model(columns).profile[:2])) == 1
    assert len(set(start_model(columns).profile)) == 2
