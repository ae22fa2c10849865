"""Waits and shortages in closed form: trucks that queue for stations, and batteries that are out of the stock.

Trucks ask again and again: each is a renewal process. Numbers out of the stock follow from how many renewals fall into
the time that a battery is away, waits for stations from the machine-interference chain. All functions take arrays.
"""

from typing import Any, NamedTuple

import numpy as np
from scipy.special import gammainc, gammaln, xlogy

Floats = np.ndarray[Any, np.dtype[np.float64]]

LEAST_CV = 1e-3
"""Below this spread a renewal process is taken as regular: the gamma law has its limits. [-]"""
TAIL_SDS = 9.0
"""Standard deviations beyond which a number out is taken as impossible. [-]"""
NODES = ((-np.sqrt(3.0), 1.0 / 6.0), (0.0, 2.0 / 3.0), (np.sqrt(3.0), 1.0 / 6.0))
"""Standard deviations and weights of three points that have the first five moments of a normal law. [-]"""


class Interference(NamedTuple):
    """Trucks at stations in the long run; arrays of one shape."""

    none_down_share: Floats
    """Probability that all trucks are at work."""
    down: Floats
    """Mean number of trucks waiting or at a station."""
    waiting: Floats
    """Mean number of trucks waiting."""
    per_min: Floats
    """Exchanges a minute."""
    wait_min: Floats
    """Mean wait of an exchange. [min]"""
    waited_share: Floats
    """Probability that an arriving truck has to wait."""


def machine_interference(trucks: int, servers: Floats, run_min: Floats, service_min: Floats) -> Interference:
    """Machine interference with exponential times, M/M/c//N: the finite-source queue.

    Parameters
    ----------
    trucks
        Number of trucks N. [-]
    servers
        Stations c, infinite where they are never short; shape (n,). [-]
    run_min, service_min
        Mean time from an exchange to the next call, and of the exchange; shape (n,). [min]

    Returns
    -------
    Interference
        Each of shape (n,).

    Notes
    -----
    p(n) ~ C(N, n) r^n for n <= c and C(N, n) n!/(c! c^(n-c)) r^n above, r = service/run. An arriving truck sees the
    chain of N - 1 trucks.

    References
    ----------
    Gross, D. & Harris, C. M., Fundamentals of Queueing Theory, section on finite-source queues (from memory).

    Examples
    --------
    Five trucks, one station, 10 h of work and 4 h of exchange: 2.674 trucks are down, 1.744 of them wait.

    >>> chain = machine_interference(5, np.array([1.0]), np.array([600.0]), np.array([240.0]))
    >>> [round(float(each[0]), 3) for each in (chain.down, chain.waiting)]
    [2.674, 1.744]
    """
    states = np.arange(trucks + 1.0)
    shares = _chain(trucks, servers, run_min, service_min)
    seen = _chain(trucks - 1, servers, run_min, service_min)
    down = shares @ states
    waiting = np.sum(shares * np.maximum(states - servers[:, None], 0.0), axis=1)
    per_min = (trucks - down) / run_min
    return Interference(
        none_down_share=shares[:, 0],
        down=down,
        waiting=waiting,
        per_min=per_min,
        wait_min=waiting / per_min,
        waited_share=np.sum(np.where(states[:-1] >= servers[:, None], seen, 0.0), axis=1),
    )


def _chain(trucks: int, servers: Floats, run_min: Floats, service_min: Floats) -> Floats:
    """Shares of time with 0 to N trucks down; shape (n, N + 1)."""
    down = np.arange(trucks + 1.0)
    most = np.minimum(servers, max(trucks, 1))[:, None]
    ways = gammaln(trucks + 1.0) - gammaln(trucks - down + 1.0)
    served = gammaln(np.minimum(down, most) + 1.0) + xlogy(np.maximum(down - most, 0.0), most)
    logs = ways + xlogy(down, (service_min / run_min)[:, None]) - served
    weights = np.exp(logs - np.max(logs, axis=1, keepdims=True))
    shares: Floats = weights / np.sum(weights, axis=1, keepdims=True)
    return shares


def renewal_counts(intervals: Floats, cv: Floats, most: int, *, since_one: bool = False) -> Floats:
    """How many renewals of a gamma renewal process fall into a window.

    Parameters
    ----------
    intervals
        Length of the window in mean times between renewals; shape (n,). [-]
    cv
        Spread of the time between renewals; shape (n,). [-]
    most
        Greatest count that is told apart.
    since_one
        Whether the window begins or ends with a renewal, which is not counted; else it lies anywhere.

    Returns
    -------
    array
        Probability of 0 to `most` renewals, shape (n, most + 1).

    Notes
    -----
    Anywhere: P(N >= j) = A(j-1) - A(j) with A(j) = integral over the window of P(sum of j times <= u) du / mean time
    (Cox, Renewal Theory, 1962, chapter 3, from memory); for gamma times A is an incomplete gamma function.
    A spread of 1 makes the counts Poisson, a spread of 0 the two whole numbers next to the window's length. With a
    renewal at its end: P(N >= j) = P(sum of j times <= window).

    Examples
    --------
    >>> renewal_counts(np.array([1.5]), np.array([0.0]), 3).round(3)
    array([[0. , 0.5, 0.5, 0. ]])
    """
    shape = 1.0 / np.maximum(cv, LEAST_CV)[:, None] ** 2
    counts = np.arange(1.0, most + 2.0)
    window = intervals[:, None]
    if since_one:
        at_least = gammainc(counts * shape, shape * window)
        shares = np.concatenate([np.ones_like(window), at_least[:, :-1]], axis=1) - at_least
        return _normed(shares)
    areas = window * gammainc(counts * shape, shape * window) - counts * gammainc(counts * shape + 1.0, shape * window)
    areas = np.concatenate([window, areas], axis=1)
    at_least = np.concatenate([np.ones_like(window), areas[:, :-1] - areas[:, 1:]], axis=1)
    return _normed(at_least[:, :-1] - at_least[:, 1:])


def _normed(shares: Floats) -> Floats:
    """Probabilities without what rounding has made of them; shape (n, m)."""
    shares = np.maximum(shares, 0.0)
    normed: Floats = shares / np.sum(shares, axis=1, keepdims=True)
    return normed


class Source(NamedTuple):
    """Trucks that ask alike; arrays of one shape (n,)."""

    trucks: int
    cycle_min: Floats
    """Mean time from one battery to the next. [min]"""
    cv: Floats
    """Its spread. [-]"""
    away_min: Floats
    """Time from taking a battery until the one left for it is ready. [min]"""
    away_sd_min: Floats
    """Its standard deviation. [min]"""


class NumberOut(NamedTuple):
    """How many batteries are out of the stock: a law for each of n cases."""

    first: "np.ndarray[Any, np.dtype[np.intp]]"
    """Least number told apart; shape (n,)."""
    mean: Floats
    variance: Floats
    """Of the number out; shape (n,)."""
    at_any_time: Floats
    """Probability of first, first + 1, ...; shape (n, m)."""
    seen: Floats
    """The same when a truck asks; shape (n, m)."""

    def shortage(self, spares: Floats, trucks: float = np.inf) -> tuple[Floats, Floats]:
        """Probability that a truck that asks finds all spares out, and the mean number asked for beyond them.

        Parameters
        ----------
        spares
            Whole numbers of spares, shape (s,).
        trucks
            Trucks in all, of which those that wait ask for nothing; infinite where waiting puts nobody off.

        Returns
        -------
        P(X >= S), E[(X - S)+]
            Both of shape (n, s); the second is Palm's mean number of trucks waiting.

        Notes
        -----
        Above S each state is less likely by the share of trucks that do not wait in the state before, to the power of
        mean over variance: exact for exponential run times, where the number out is a birth and death chain, and the
        density that Browne & Whitt (1995, from memory) give for a diffusion with another drift above S.
        """
        if np.isinf(trucks):
            return self._whatever_waits(np.floor(spares))
        counts = self.first[:, None] + np.arange(self.at_any_time.shape[1])
        power = (self.mean / np.maximum(self.variance, LEAST_CV))[:, None]
        none_ready, short = np.empty((2, self.mean.size, spares.size))
        for column, number in enumerate(np.floor(spares)):
            over = np.maximum(counts - number, 0.0)
            asking = np.maximum(1.0 - over / trucks, 0.0)
            kept = _thinning(over, trucks, power)
            law, seen = self.at_any_time * kept, self.seen * kept * asking
            least = np.clip(counts[:, 0] - number, 0.0, trucks)
            total, met = np.sum(law, axis=1), np.sum(seen, axis=1)
            with np.errstate(invalid="ignore", divide="ignore"):
                short[:, column] = np.where(total > 0.0, np.sum(law * over, axis=1) / total, least)
                share = np.sum(np.where(counts >= number, seen, 0.0), axis=1) / met
            none_ready[:, column] = np.where(met > 0.0, share, 1.0)
        return none_ready, short

    def _whatever_waits(self, spares: Floats) -> tuple[Floats, Floats]:
        """Work out `shortage` where waiting puts nobody off."""
        wanted = spares[None, :] - self.first[:, None]
        most = self.seen.shape[1] - 1
        bay = np.clip(wanted, 0, most).astype(int)
        found, tail = (np.cumsum(law[:, ::-1], axis=1)[:, ::-1] for law in (self.seen, self.at_any_time))
        beyond = np.cumsum(tail[:, ::-1], axis=1)[:, ::-1] - tail
        none_ready, short = (np.take_along_axis(each, bay, axis=1) for each in (found, beyond))
        none_ready = np.where(wanted > most, 0.0, np.where(wanted < 0.0, 1.0, np.minimum(none_ready, 1.0)))
        return none_ready, np.where(wanted > most, 0.0, short + np.maximum(-wanted, 0.0))


def _thinning(over: Floats, trucks: float, power: Floats) -> Floats:
    """Likelihood of so many trucks waiting over what it were if those still asked; shape of `over`."""
    steps = np.arange(int(trucks))
    logs = np.concatenate([[0.0], np.cumsum(np.log1p(-steps / trucks))])
    bay = np.minimum(over, trucks).astype(int)
    logs_each = power * logs[bay]
    # What all states have in common falls out when they are added up.
    kept: Floats = np.where(over > trucks, 0.0, np.exp(logs_each - np.max(logs_each, axis=1, keepdims=True)))
    return kept


def number_out(sources: list[Source]) -> NumberOut:
    """Batteries out of the stock: one for each time that a truck has asked within the time that a battery is away.

    Parameters
    ----------
    sources
        Trucks that ask alike; all ask independently of each other.

    Returns
    -------
    NumberOut
        Its law for each of the n cases.

    Notes
    -----
    Palm's theorem: with a spread of 1 of the times between calls, the number out is Poisson whatever the law of the
    time away. The more regular the calls, the less it varies; then at most the last call of a truck is in doubt, so the
    time away is taken as one for all batteries of a truck, less and less so towards a spread of 1.

    References
    ----------
    Palm, C. (1938), and Feeney, G. & Sherbrooke, C. (1966), Management Science 12, 391-411, for Poisson calls.
    The law for regular calls is worked out here from renewal theory.

    Examples
    --------
    One call a minute at random and a minute away: Poisson with mean 1, of which 36.8 % lie at 0.

    >>> one = np.array([1.0])
    >>> out = number_out([Source(1, cycle_min=one, cv=one, away_min=one, away_sd_min=0.0 * one)])
    >>> [each.round(3).tolist() for each in out.shortage(np.array([1.0, 2.0]))]
    [[[0.632, 0.264]], [[0.368, 0.104]]]
    """
    laws = [_counts(source) for source in sources]
    values = [np.arange(law.shape[1]) for law in laws]
    means = [law @ value for law, value in zip(laws, values, strict=True)]
    variances = [law @ value**2 - mean**2 for law, value, mean in zip(laws, values, means, strict=True)]
    fleet = np.array([source.trucks for source in sources], dtype=float)
    mean, variance = fleet @ np.array(means), fleet @ np.array(variances)
    reach = int(np.ceil(TAIL_SDS * (np.sqrt(np.max(variance)) + 1.0)))
    size = max(1 << int(each).bit_length() for each in (2 * reach + 1, *(law.shape[1] for law in laws)))
    waves = [np.fft.fft(law, n=size, axis=1) for law in laws]
    first = np.maximum(np.round(mean).astype(int) - size // 2, 0)
    at_any_time = _law(np.prod([wave**n.trucks for wave, n in zip(waves, sources, strict=True)], axis=0), first)
    rates = [source.trucks / source.cycle_min for source in sources]
    seen = np.zeros_like(waves[0])
    for number, source in enumerate(sources):
        own = np.fft.fft(_counts(source, asks=True), n=size, axis=1)
        others = [
            wave ** (each.trucks - (n == number)) for n, (wave, each) in enumerate(zip(waves, sources, strict=True))
        ]
        seen += (rates[number] / np.sum(rates, axis=0))[:, None] * own * np.prod(others, axis=0)
    return NumberOut(first, mean, variance, at_any_time, _law(seen, first))


def _law(waves: "np.ndarray[Any, np.dtype[np.complex128]]", first: "np.ndarray[Any, np.dtype[np.intp]]") -> Floats:
    """Probability of first, first + 1, ... from a Fourier transform of the law; shape (n, m)."""
    size = waves.shape[1]
    return _normed(
        np.take_along_axis(np.fft.ifft(waves, axis=1).real, (first[:, None] + np.arange(size)) % size, axis=1)
    )


def _counts(source: Source, *, asks: bool = False) -> Floats:
    """Law of the batteries that one truck has out at any time, or when it asks for one more; shape (n, most + 1)."""
    sd = source.away_sd_min * np.sqrt(np.maximum(0.0, 1.0 - source.cv**2))
    windows = [np.maximum(source.away_min + sds * sd, 0.0) / source.cycle_min for sds, _ in NODES]
    longest = float(np.max(windows[-1]))
    widest = max(1.0, float(np.max(source.cv)))
    most = int(np.ceil(longest + TAIL_SDS * widest * (np.sqrt(longest) + widest))) + 1
    weighted = [
        weight * renewal_counts(each, source.cv, most, since_one=asks)
        for each, (_, weight) in zip(windows, NODES, strict=True)
    ]
    law: Floats = np.sum(weighted, axis=0)
    return law
