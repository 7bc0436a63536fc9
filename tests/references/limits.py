"""Limits of strike rates and the standard error of a spread.

- Clopper-Pearson: statsmodels `proportion_confint(method="beta")`, real-valued trials SciPy's beta quantiles; 7 of 50 is
  published (0.0581917, 0.2673960).
- Korn-Graubard: svy, a general package for survey statistics, `ci_method="korn-graubard"` (after the macro of the US
  National Center for Health Statistics: n* = min(n, n_eff (t ratio)^2)), one stratum, passes as primary units, plants as
  elements, equal weights.
- Rare rates (fewer than ten passes with strikes, or worth fewer than ten plants struck by the design effect of a smaller
  clearance), and what a smaller clearance adds to the upper limit of the others, follow a rule of this project; written out
  with SciPy.
- Standard error of a standard deviation over clusters: statsmodels, covariance of the regression of (e - mean)^2 on a
  constant clustered by pass, without its small-sample factor, times m/(m-1); divided by 2 sd (delta method).
"""

import numpy as np
import polars as pl
import statsmodels.api as sm
import svy
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

LEVEL = 0.95


def beta_limits(successes, trials, level=LEVEL):
    tail = (1 - level) / 2
    low = stats.beta.ppf(tail, successes, trials - successes + 1) if successes > 0 else 0.0
    high = stats.beta.ppf(1 - tail, successes + 1, trials - successes) if successes < trials else 1.0
    return low, high


def clopper_pearson():
    cases = [(7, 50, 0.95)]
    for trials in (1, 2, 10, 50, 400, 5000, 100000, 3000000):
        for share in (0, 1e-3, 0.02, 0.3, 0.5, 0.9, 1):
            for level in (0.95, 0.8):
                cases.append((round(share * trials), trials, level))
    for successes, trials, level in sorted(set(cases)):
        low, high = proportion_confint(successes, trials, alpha=1 - level, method="beta")
        yield dict(
            successes=successes,
            trials=trials,
            level=level,
            lower=0.0 if successes == 0 else low,
            upper=1.0 if successes == trials else high,
        )
    for successes, trials in ((0.03, 0.4), (0.5, 7.3), (2.75, 31.6), (0.004, 812.5), (77.7, 1234.5)):
        low, high = beta_limits(successes, trials)
        yield dict(successes=successes, trials=trials, level=0.95, lower=low, upper=high)


def passes(rng, number, plants, rate, spread):
    """Struck and counted plants of passes whose own rates vary (beta law): a stand-in for clustered strikes."""
    counted = rng.integers(plants // 2, plants + 1, number)
    own = rng.beta(rate / spread, (1 - rate) / spread, number)
    return [(int(rng.binomial(n, p)), int(n)) for n, p in zip(counted, own)]


def survey_limits(rows):
    pass_number = np.concatenate([np.full(n, i) for i, (_, n) in enumerate(rows)])
    struck = np.concatenate([np.r_[np.ones(h, int), np.zeros(n - h, int)] for h, n in rows])
    frame = pl.DataFrame({"run": pass_number, "struck": struck, "weight": np.ones(len(struck))})
    sample = svy.Sample(frame, svy.Design(psu="run", wgt="weight"))
    found = sample.estimation.prop("struck", ci_method="korn-graubard", alpha=1 - LEVEL)
    row = next(r for r in found.to_polars().iter_rows(named=True) if str(r["struck"]) == "1")
    return row["est"], row["se"], row["lci"], row["uci"]


def korn_graubard():
    rng = np.random.default_rng(20010627)
    for number, plants, rate, spread in (
        (12, 60, 0.4, 0.3),
        (20, 400, 0.05, 0.05),
        (40, 120, 0.5, 1.0),
        (60, 200, 0.9, 0.2),
        (100, 300, 0.02, 0.004),
        (100, 50, 0.3, 1e-4),
        (200, 150, 0.15, 0.1),
    ):
        rows = passes(rng, number, plants, rate, spread)
        assert sum(h > 0 for h, _ in rows) >= 10
        est, se, low, high = survey_limits(rows)
        yield dict(passes=rows, rate=est, standard_error=se, lower=low, upper=high)


def moments(rows):
    h, n = (np.array(column, float) for column in zip(*rows))
    r, m = h.sum() / n.sum(), len(rows)
    variance = m / (m - 1) * ((h - r * n) ** 2).sum() / n.sum() ** 2
    return r, variance, n.sum(), m, int((h > 0).sum())


def rare():
    """Clearances in rising order; the last ones are struck too seldom to be resolved."""
    rng = np.random.default_rng(19340101)
    for factors in ((1.0, 0.3, 0.02, 0.004), (0.01, 0.002), (1.0, 0.9, 0.5, 0.3)):
        base = passes(rng, 80, 200, 0.1, 0.3)
        by_clearance, largest, out = [], None, []
        for factor in factors:
            base = [(int(rng.binomial(h, factor)), n) for h, n in base]
            by_clearance.append(base)
        for rows in by_clearance:
            r, variance, plants, m, with_strikes = moments(rows)
            worth = None if largest is None else plants / largest
            resolved = with_strikes >= 10 and bool(worth is None or r * worth >= 10)
            unseen = 0.0
            if resolved:
                ratio = stats.t.ppf(0.975, plants - 1) / stats.t.ppf(0.975, m - 1)
                size = min(plants, r * (1 - r) / variance * ratio**2)
                effect = variance * plants / (r * (1 - r))
                largest = max(effect, largest or 1.0)
                if worth is not None:
                    unseen = beta_limits(0.0, worth)[1]
            else:
                size = m if worth is None else worth
            low, high = beta_limits(r * size, size)
            upper = min(high + unseen, 1.0)
            out.append(dict(rate=r, size=size, lower=low, upper=upper, resolved=resolved))
        assert not out[-1]["resolved"]
        yield dict(by_clearance=by_clearance, estimates=out)


def spread():
    rng = np.random.default_rng(19770101)
    for number, samples, between, within, mean in (
        (8, 40, 0.004, 0.010, 0.003),
        (30, 25, 0.008, 0.006, -0.010),
        (15, 30, 0.0, 0.010, 0.0),
    ):
        counts = rng.integers(samples // 2, samples + 1, number)
        errors = [mean + between * rng.normal() + within * rng.normal(size=k) for k in counts]
        # Kept to the micrometre, so that the file stays small and says exactly what was analysed.
        errors = [np.round(row, 6) for row in errors]
        pooled, group = np.concatenate(errors), np.repeat(np.arange(number), counts)
        square = (pooled - pooled.mean()) ** 2
        fit = sm.OLS(square, np.ones_like(square)).fit(
            cov_type="cluster", cov_kwds={"groups": group, "use_correction": False}
        )
        se_variance = fit.bse[0] * np.sqrt(number / (number - 1))
        sd = np.sqrt(square.mean())
        yield dict(
            passes=[row.tolist() for row in errors],
            mean=pooled.mean(),
            sd=sd,
            sd_se=se_variance / (2 * sd),
        )


def values():
    return dict(
        clopper_pearson=list(clopper_pearson()),
        korn_graubard=list(korn_graubard()),
        rare=list(rare()),
        spread=list(spread()),
    )
