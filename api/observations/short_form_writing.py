"""Write observations as pieces of the short form; `api.observations.short_form` reads them back unchanged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from api.observations.short_form import MORE_FIELDS
from api.schemas.requests import IdentifyRequest
from matcher.decision.posterior import PRIOR_ABSENT
from matcher.features import FEATURES, Kind, Remains
from matcher.plus_minus import LIMIT


def arguments_of(request: IdentifyRequest) -> list[str]:
    """The arguments of 'otherhalf identify' for a request; own figures of instruments have no short form."""
    options = jaws_options(request.closed_jaws)
    if request.prior_absent != PRIOR_ABSENT:
        options.append(f"--prior-absent={request.prior_absent}")
    if request.at_hand is not None:
        options.append(f"--at-hand={','.join(request.at_hand)}")
    if request.remains is not Remains.WHOLE:
        options.append(f"--remains={request.remains}")
    return [*options, *(piece_of(given.model_dump(exclude_defaults=True)) for given in request.observations)]


def jaws_options(closed_jaws: Mapping[str, Iterable[float]]) -> list[str]:
    """The options of 'otherhalf identify' for readings of closed jaws, by tool."""
    return [f"--closed-jaws={tool}={_listed(readings)}" for tool, readings in closed_jaws.items()]


def piece_of(observation: Mapping[str, Any]) -> str:
    """The piece for an observation; fields that are None are left out."""
    given = {name: value for name, value in observation.items() if value is not None}
    of = f"{given['of']}." if "of" in given else ""
    return f"{of}{given['feature']}={_numbers(given)}{_circumstances(given)}"


def in_words(observation: Mapping[str, Any]) -> str:
    """An observation in words: the label of the feature, then the figures as in the short form."""
    feature = FEATURES.get(str(observation.get("feature")))
    label = feature.label if feature else str(observation.get("feature"))
    whose = {"other": "the other half's ", "pair": "", "this": ""}.get(str(observation.get("of", "this")), "")
    said = piece_of(observation).partition("=")[2]
    if feature is None or feature.kind is not Kind.TEXT:
        said = said.replace("@", ", ").replace("+", ", ").replace("=", " ")
        said += f" (±: {LIMIT})" if "±" in said else ""
    return f"{whose}{label} {said}"


def _numbers(given: Mapping[str, Any]) -> str:
    value = given.get("value")
    if isinstance(value, Mapping):
        return f"{'mates' if value['mates'] else 'not'}:{value['half']}"
    if isinstance(value, str | list | tuple):
        return value if isinstance(value, str) else ",".join(value)
    if readings := given.get("readings"):
        return _listed(readings)
    if value is not None:
        return _decimal(value)
    return f"{_decimal(given['min']) if 'min' in given else ''}..{_decimal(given['max']) if 'max' in given else ''}"


def _circumstances(given: Mapping[str, Any]) -> str:
    parts = [given["unit"] if given.get("unit", "mm") != "mm" else ""]
    parts += [f"±{_decimal(given['plus_minus'])}" if "plus_minus" in given else ""]
    parts += [f"/{given['spans']}" if given.get("spans", 1) != 1 else ""]
    parts += [f"@{given['instrument']}" if "instrument" in given else ""]
    parts += [f":{given['image']}" if "image" in given else ""]
    parts += [f"+{name}={_decimal(given[name])}" for name in MORE_FIELDS if name in given]
    parts += [f"+plane={given['plane']}" if "plane" in given else ""]
    return "".join(parts)


def _listed(numbers: Iterable[float]) -> str:
    return ",".join(_decimal(number) for number in numbers)


def _decimal(number: float) -> str:
    """A number in full, without an exponent. Readings keep a decimal, so that no comma looks like a decimal one."""
    text = format(Decimal(repr(number)), "f")
    return text if isinstance(number, int) or "." in text else f"{text}.0"
