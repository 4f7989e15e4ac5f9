"""How far photos scatter in one place: what is assumed of it, and what the studio's own repeats have taught.

The bench and the noted light say how large each part of the scatter is (`light`, `budget`). Here is only by how much
this studio's variances differ from that, and how well it is known. Own repeats are weighed against the assumption by
their degrees of freedom; nothing is ever replaced, so one afternoon teaches a little and ten days teach more.

References
----------
[GEL]  Gelman, Carlin, Stern, Dunson, Vehtari, Rubin 2013, Bayesian Data Analysis, 3rd edition, section 2.6: normal data
       with known mean and unknown variance; the scaled inverse chi-squared prior is conjugate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Factor:
    """How many times as large as assumed a variance is, by a scaled inverse chi-squared distribution.

    Attributes
    ----------
    value : float, > 0, its scale: 1 where nothing was learnt
    dof : float, > 0, degrees of freedom behind it
    """

    value: float
    dof: float

    def learnt(self, ratio: float, dof: float) -> Factor:
        """This factor after repeats whose mean square was `ratio` times the assumed variance [GEL].

        Parameters
        ----------
        ratio : float, >= 0
        dof : float, >= 0, of that mean square
        """
        together = self.dof + dof
        return Factor((self.dof * self.value + dof * ratio) / together, together)

    def learnt_through(self, mean_square: float, dof: float, assumed: float, noise: float) -> Factor:
        """This factor after a mean square that holds noise besides, such as that of the means of days.

        The mean square is expected to be ``value * assumed + noise``. Its likelihood times this factor's distribution
        is put on a grid, and the scaled inverse chi-squared distribution with the same mean and variance of the
        precision is given.

        Parameters
        ----------
        mean_square, assumed, noise : float, >= 0, in one unit; `assumed` > 0
        dof : float, >= 0, of the mean square
        """
        if dof <= 0:
            return self
        grid = self.value * np.exp(np.linspace(-7, 7, 1401))
        # densities by the logarithm of the factor, so that the grid's steps weigh alike
        prior = -self.dof / 2 * (np.log(grid) + self.value / grid)
        expected = grid * assumed + noise
        log_density = prior - dof / 2 * (np.log(expected) + mean_square / expected)
        weight = np.exp(log_density - log_density.max())
        weight /= weight.sum()
        precision = float(weight @ (1 / grid))
        variance = float(weight @ (1 / grid - precision) ** 2)
        return Factor(1 / precision, 2 * precision**2 / variance)


@dataclass(frozen=True, slots=True)
class Spot:
    """What is known of the scatter in one place beside what is assumed of it.

    Attributes
    ----------
    photo : Factor, of the variance of L* that each photo has anew: hair laid anew, the card taken up again
    occasion : Factor, of the variance of L* that the photos of one occasion share: where the light stands
    tone : Factor, of the variance of tone that each photo has anew: the phone's balance and look
    days : int, on which its own photos were taken; 0 where nothing was learnt
    """

    photo: Factor
    occasion: Factor
    tone: Factor
    days: int = 0


ASSUMED = Spot(Factor(1.0, 20.0), Factor(0.8, 8.0), Factor(1.0, 20.0))
"""What holds before any own repeat. On the bench's heads an occasion scatters a little less than `light` allows for.
The degrees of freedom say how far places with one note of the light differ: choices of our own, which the simulated
spots bear out."""
