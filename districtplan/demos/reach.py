"""Whom a demonstration plot would teach: demand, sites, and which site reaches which demand."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


class Reach(NamedTuple):
    """Which sites reach which rows of demand.

    Attributes
    ----------
    weight : numpy.ndarray
        Farmers that a row stands for, weighted as the plan says, above 0, shape (rows,).
    first : numpy.ndarray
        Where the sites of each row begin, and one past the last, shape (rows + 1,).
    site : numpy.ndarray
        Sites by number, rising within a row, shape (links,).
    sites : int
        How many sites there are.
    """

    weight: Floats
    first: Ints
    site: Ints
    sites: int

    @classmethod
    def of(cls, weight: Floats, row: Ints, site: Ints, sites: int) -> Reach:
        """Put links together.

        Parameters
        ----------
        weight : numpy.ndarray
            Weight of each row, shape (rows,).
        row : numpy.ndarray
            Row of each link, in any order, shape (links,).
        site : numpy.ndarray
            Its site, shape (links,).
        sites : int
            How many sites there are.

        Returns
        -------
        Reach
            The same, in order, each link once.
        """
        linked = np.unique(np.asarray(row, np.int64) * sites + np.asarray(site, np.int64))
        count = np.bincount(linked // max(sites, 1), minlength=len(weight))
        first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
        return cls(np.asarray(weight, np.float64), first, linked % max(sites, 1), sites)

    def merged(self) -> Reach:
        """Make one row of all that the same sites reach; leave out what none reaches.

        Nothing is lost: whatever is chosen, such rows are reached together or not at all.

        Returns
        -------
        Reach
            Rows in the order of the first of each.
        """
        known: dict[bytes, int] = {}
        into = np.full(len(self.weight), -1, np.int64)
        for row, (begin, end) in enumerate(zip(self.first[:-1], self.first[1:], strict=True)):
            if begin < end and self.weight[row] > 0:
                into[row] = known.setdefault(self.site[begin:end].tobytes(), len(known))
        used = into >= 0
        weight: Floats = np.bincount(into[used], self.weight[used], len(known)).astype(float)
        sites = [np.frombuffer(key, np.int64) for key in known]
        first = np.concatenate([[0], np.cumsum([len(one) for one in sites])]).astype(np.int64)
        return Reach(weight, first, np.concatenate([np.empty(0, np.int64), *sites]), self.sites)

    def by_site(self) -> tuple[Ints, Ints]:
        """Turn the links round.

        Returns
        -------
        first : numpy.ndarray
            Where the rows of each site begin, and one past the last, shape (sites + 1,).
        row : numpy.ndarray
            Rows by number, rising within a site, shape (links,).
        """
        order = np.argsort(self.site, kind="stable")
        row = np.repeat(np.arange(len(self.weight)), np.diff(self.first))[order]
        count = np.bincount(self.site, minlength=self.sites)
        return np.concatenate([[0], np.cumsum(count)]).astype(np.int64), row

    def value(self, chosen: Ints) -> float:
        """Sum the weight that some sites reach together.

        Parameters
        ----------
        chosen : numpy.ndarray
            Sites by number.

        Returns
        -------
        float
            Each row counted once.
        """
        return float(self.weight[self.reached(chosen) > 0].sum())

    def reached(self, chosen: Ints) -> Ints:
        """Count the chosen sites that reach each row.

        Parameters
        ----------
        chosen : numpy.ndarray
            Sites by number.

        Returns
        -------
        numpy.ndarray
            How many, shape (rows,).
        """
        taken = np.zeros(self.sites, np.int64)
        taken[chosen] = 1
        return np.diff(np.concatenate([[0], np.cumsum(taken[self.site])])[self.first])

    def without(self, covered: NDArray[np.bool_], kept: Ints) -> Reach:
        """Leave out rows that are reached anyway, and sites that are out of question.

        Parameters
        ----------
        covered : numpy.ndarray
            Rows to leave out, shape (rows,).
        kept : numpy.ndarray
            Sites to keep, rising; they are numbered anew in this order.

        Returns
        -------
        Reach
            What is left, merged.
        """
        left = self.only(kept)
        return left._replace(weight=np.where(covered, 0.0, left.weight)).merged()

    def only(self, kept: Ints) -> Reach:
        """Leave out sites that are out of question.

        Parameters
        ----------
        kept : numpy.ndarray
            Sites to keep, rising; they are numbered anew in this order.

        Returns
        -------
        Reach
            All rows, with these sites.
        """
        number = np.full(self.sites, -1, np.int64)
        number[kept] = np.arange(len(kept))
        site = number[self.site]
        first = np.concatenate([[0], np.cumsum(site >= 0)])[self.first]
        return Reach(self.weight, first, site[site >= 0], len(kept))
