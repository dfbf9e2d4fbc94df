"""The coefficients of a fitted model as a table: errors, ratios, limits and p-values, all terms shown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from audit.statistics.arguments import FloatArray
from audit.statistics.design import Design, to_original_scale
from audit.statistics.newton import Maximum
from audit.statistics.risk_sets import BoolArray

# Information below this (of standardised columns) is that of a direction in which the likelihood never ends.
NO_INFORMATION = 1e-5
NO_SHARE = 1e-3


@dataclass(frozen=True)
class Estimates:
    """Coefficients and covariance of the kept terms on their own scale; infinite where nothing bounds them."""

    coefficients: FloatArray
    covariance: FloatArray


def estimates(design: Design, maximum: Maximum) -> Estimates:
    """Return the maximum with its inverse information; all nan where none was found."""
    back = to_original_scale(design)
    if maximum.state == "lost":
        return Estimates(np.full(len(back), np.nan), np.full(back.shape, np.nan))
    if maximum.state == "found":
        return Estimates(back @ maximum.parameters, back @ np.linalg.inv(maximum.point.information) @ back.T)
    return _endless_estimates(design, maximum, back)


def _endless_estimates(design: Design, maximum: Maximum, back: FloatArray) -> Estimates:
    """Return what is known of each term when the likelihood rises without end in some direction."""
    size, vectors = np.linalg.eigh(maximum.point.information)
    empty = size < NO_INFORMATION
    inverse = np.where(empty, 0.0, 1 / np.where(empty, 1.0, size))
    covariance = back @ (vectors * inverse) @ vectors.T @ back.T
    # How far each term alone moves the linear predictor; the intercept's column is all ones.
    reach = np.abs(design.values).max(axis=0, initial=0.0) * design.scale[design.kept]
    moved = back @ maximum.direction * reach
    loose = (np.abs(back @ vectors[:, empty]) * reach[:, None]).max(axis=1, initial=0.0) > NO_SHARE
    unbounded = np.where(np.abs(moved) > NO_SHARE, np.copysign(np.inf, moved), np.nan)
    free = loose | (np.abs(moved) > NO_SHARE)
    covariance[free, :] = covariance[:, free] = np.nan
    return Estimates(np.where(free, unbounded, back @ maximum.parameters), covariance)


def coefficient_table(
    design: Design,
    fitted: Estimates,
    *,
    ratio: str,
    confidence: float,
    degrees_of_freedom: int | None = None,
) -> pd.DataFrame:
    """Return term, coefficient, standard_error, ratio, ci_lower, ci_upper (of the ratio) and p_value.

    Limits and p-values are Wald's: normal, or Student's t where degrees of freedom are given. A term not kept
    is nan throughout; an infinite one has here the limit that nothing bounds, 0 or infinity, and no other.
    """
    coefficient = _spread(fitted.coefficients, design.kept)
    error = _spread(np.sqrt(np.diag(fitted.covariance)), design.kept)
    quantile = _quantile((1 + confidence) / 2, degrees_of_freedom)
    finite = np.isfinite(coefficient)
    centre = np.where(finite, coefficient, np.nan)
    z = np.abs(centre) / np.where(error > 0, error, np.nan)
    return pd.DataFrame(
        {
            "term": list(design.terms),
            "coefficient": coefficient,
            "standard_error": error,
            ratio: exponential(coefficient),
            "ci_lower": np.where(coefficient == -np.inf, 0.0, exponential(centre - quantile * error)),
            "ci_upper": np.where(coefficient == np.inf, np.inf, exponential(centre + quantile * error)),
            "p_value": _two_sided(z, degrees_of_freedom),
        }
    )


def exponential(values: FloatArray) -> FloatArray:
    """Return e to the power of each value, infinity where that is beyond a float."""
    with np.errstate(over="ignore"):
        powers: FloatArray = np.exp(values)
    return powers


def covariance_table(design: Design, covariance: FloatArray) -> pd.DataFrame:
    """Return the covariance with a row and a column per term, nan for the terms not kept."""
    whole = np.full((len(design.terms), len(design.terms)), np.nan)
    whole[np.ix_(design.kept, design.kept)] = covariance
    return pd.DataFrame(whole, index=list(design.terms), columns=list(design.terms))


def joined(*cautions: str) -> str:
    """Return the cautions that say something, one after the other."""
    return " ".join(caution for caution in cautions if caution)


def _spread(values: FloatArray, kept: BoolArray) -> FloatArray:
    """Return one value per term, nan for the terms not kept."""
    whole = np.full(kept.size, np.nan)
    whole[kept] = values
    return whole


def _quantile(probability: float, degrees_of_freedom: int | None) -> float:
    """Return the quantile of the normal or Student's distribution."""
    if degrees_of_freedom is None:
        return float(special.ndtri(probability))
    return float(special.stdtrit(degrees_of_freedom, probability)) if degrees_of_freedom > 0 else np.nan


def _two_sided(z: FloatArray, degrees_of_freedom: int | None) -> FloatArray:
    """Return the two-sided p-values of the statistics."""
    if degrees_of_freedom is None:
        tail: FloatArray = 2 * special.ndtr(-z)
    elif degrees_of_freedom > 0:
        tail = 2 * special.stdtr(degrees_of_freedom, -z)
    else:
        tail = np.full_like(z, np.nan)
    return tail
