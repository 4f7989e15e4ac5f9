"""Values with their uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

Vector3 = tuple[float, float, float]
Matrix3 = tuple[Vector3, Vector3, Vector3]


@dataclass(frozen=True, slots=True)
class Measured:
    """A number with its standard uncertainty.

    Attributes
    ----------
    value : float
    u : float, standard uncertainty (one sigma), same unit as `value`, >= 0
    unit : str, such as ``"level"`` or ``"L*"``
    dof : float, degrees of freedom behind `u`; infinite where it rests on stated limits
    """

    value: float
    u: float
    unit: str = ""
    dof: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0):
            raise ValueError(f"a measured value needs a finite value and uncertainty, got {self.value} and {self.u}")


@dataclass(frozen=True, slots=True)
class LabMeasured:
    """A CIELAB colour (D65, 2 degree observer) with its covariance.

    Attributes
    ----------
    lab : three floats, L* 0..100, a*, b*
    cov : 3 x 3 floats, covariance of the three, in squared CIELAB units
    dof : float, degrees of freedom behind `cov`
    """

    lab: Vector3
    cov: Matrix3
    dof: float = math.inf

    @property
    def u(self) -> Vector3:
        """Standard uncertainties of L*, a* and b*."""
        return (
            math.sqrt(max(self.cov[0][0], 0.0)),
            math.sqrt(max(self.cov[1][1], 0.0)),
            math.sqrt(max(self.cov[2][2], 0.0)),
        )

    @property
    def axes(self) -> tuple[Measured, ...]:
        """L*, a* and b*, each with its own uncertainty."""
        return tuple(Measured(*each, self.dof) for each in zip(self.lab, self.u, ("L*", "a*", "b*"), strict=True))


def vector3(values: object) -> Vector3:
    """Three plain floats from `values`, any sequence of three numbers."""
    x, y, z = (float(v) for v in values)  # type: ignore[attr-defined]
    return (x, y, z)


def matrix3(values: object) -> Matrix3:
    """Three rows of three plain floats from `values`, any 3 x 3 array."""
    first, second, third = (vector3(row) for row in values)  # type: ignore[attr-defined]
    return (first, second, third)
