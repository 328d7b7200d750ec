"""The way from guesses and weights to what is said of a pruner's eye, in sentences and sums."""

from __future__ import annotations

from balance.formulas.guesses.agreement_factors import LIMITS
from balance.formulas.guesses.calibration import Agreement
from balance.formulas.guesses.eye_trust import NOT_TRUSTED, TRUSTED, PairsNeeded, Trust
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain, symbol


def calibration_steps(agreement: Agreement, unit: str) -> list[Working]:
    """Give the steps to bias, spread and limits of agreement; none below three pairs.

    Parameters
    ----------
    agreement : Agreement
        In ``unit``.
    unit : str
        UCUM code, or ``%``.

    Returns
    -------
    list of Working

    Examples
    --------
    >>> from balance.formulas.guesses.calibration import Differences, agreement_of
    >>> for step in calibration_steps(agreement_of(Differences(25, -0.1, 0.2, 1.0)), "kg"):
    ...     print(step.sentence)
    On the average of 25 vines the guess is 0.1 kg too light; with 95 % confidence it lies -0.183 to -0.017 kg off.
    That is -10 % of the mean weight: more than chance.
    From vine to vine the guesses differ by 0.2 kg; with 95 % confidence by 0.156 to 0.278 kg.
    So about 95 of 100 guesses lie between 0.492 kg too light and 0.292 kg too heavy.
    """
    if agreement.bias is None or agreement.spread is None:
        return []
    written = symbol(unit)
    bias, spread = plain(agreement.bias, 3), plain(agreement.spread, 3)
    half = plain((agreement.bias_high or 0) - agreement.bias, 3)
    confidence = f"with {100 * agreement.confidence:g} % confidence"
    return [
        Working(
            "bias",
            f"On the average of {agreement.pairs} vines the guess is {_off(agreement.bias, written)}; {confidence} it "
            f"lies {plain(agreement.bias_low or 0, 3)} to {plain(agreement.bias_high or 0, 3)} {written} off.",
            f"sum of (guess − weight) ÷ {agreement.pairs} = {bias}; ± t × {spread} ÷ √{agreement.pairs} = ± {half}",
            agreement.bias,
            unit,
        ),
        *_relative(agreement),
        Working(
            "spread",
            f"From vine to vine the guesses differ by {spread} {written}; {confidence} by "
            f"{plain(agreement.spread_low or 0, 3)} to {plain(agreement.spread_high or 0, 3)} {written}.",
            f"√(sum of (guess − weight − bias)² ÷ {agreement.pairs - 1}) = {spread}",
            agreement.spread,
            unit,
        ),
        Working(
            "limits of agreement",
            f"So about 95 of 100 guesses lie between {_off(agreement.low or 0, written)} and "
            f"{_off(agreement.high or 0, written)}.",
            f"{bias} ± {LIMITS:.2f} × {spread} = {plain(agreement.low or 0, 3)} to {plain(agreement.high or 0, 3)}",
            None,
            unit,
        ),
    ]


def _off(amount: float, written: str) -> str:
    """Say how far off, and to which side: ``0.1 kg too light``."""
    size = plain(abs(amount), 3)
    return "right" if size == "0" else f"{size} {written} too {'heavy' if amount > 0 else 'light'}"


def _relative(agreement: Agreement) -> list[Working]:
    if agreement.relative_bias is None:
        return []
    chance = "no more than chance" if agreement.leaning == "none_shown" else "more than chance"
    percent = plain(agreement.relative_bias, 2)
    sentence = f"That is {percent} % of the mean weight: {chance}."
    return [Working("relative bias", sentence, "100 × bias ÷ mean weight", agreement.relative_bias, "%")]


def trust_sentence(trust: Trust, agreement: Agreement, unit: str) -> str:
    """Say whether the eye can stand in for the scale, and what it takes to tell.

    Parameters
    ----------
    trust : Trust
    agreement : Agreement
        Of which it is, in ``unit``.
    unit : str
        UCUM code, or ``%``.

    Returns
    -------
    str

    Examples
    --------
    >>> from balance.formulas.guesses.calibration import Differences, agreement_of
    >>> from balance.formulas.guesses.eye_trust import trust_in
    >>> seen = agreement_of(Differences(25, -0.02, 0.05, 1.0))
    >>> print(trust_sentence(trust_in(seen, 0.15), seen, "kg"))
    25 weighings cannot tell yet whether the guesses keep within ±0.15 kg. If they go on as they are, 18 more will tell.
    """
    allowed = f"±{plain(trust.tolerance, 3)} {symbol(unit)}"
    if trust.verdict is None:
        return agreement.reason or ""
    if trust.verdict == TRUSTED:
        return f"The guesses keep within {allowed}: weigh a vine now and then, and trust the eye between."
    if trust.verdict == NOT_TRUSTED:
        corrected = _corrected(trust, agreement, unit)
        return f"The guesses do not keep within {allowed}: go on weighing every vine.{corrected}"
    cannot = f"{agreement.pairs} weighings cannot tell yet whether the guesses keep within {allowed}."
    if trust.more is None:
        return f"{cannot} They stand so close to it that no number of weighings that anybody makes will tell."
    return f"{cannot} If they go on as they are, {trust.more} more will tell."


def _corrected(trust: Trust, agreement: Agreement, unit: str) -> str:
    if not trust.once_corrected or agreement.bias is None:
        return ""
    return f" Allowing for the bias would do: take every guess for {_off(agreement.bias, symbol(unit))}."


def needed_sentence(needed: PairsNeeded, pairs: int, unit: str) -> str:
    """Say how many weighings make bias and spread known as closely as wanted.

    Parameters
    ----------
    needed : PairsNeeded
    pairs : int
        Pairs so far.
    unit : str
        UCUM code, or ``%``.

    Returns
    -------
    str

    Examples
    --------
    >>> from balance.formulas.guesses.eye_trust import pairs_needed
    >>> print(needed_sentence(pairs_needed(0.2, 0.1, 0.25), 25, "kg"))
    The bias to ±0.1 kg takes 18 weighings in all, none more; the spread to within 25 % takes 49, 24 more.
    """

    def said(wanted: int | None) -> str:
        if wanted is None:
            return "more weighings than anybody makes"
        more = max(0, wanted - pairs)
        return f"{wanted}, {more or 'none'} more"

    bias = said(needed.for_bias).replace(",", " weighings in all,", 1)
    within = f"±{plain(needed.bias_within, 3)} {symbol(unit)}"
    spread = f"{100 * needed.spread_within:g} %"
    return f"The bias to {within} takes {bias}; the spread to within {spread} takes {said(needed.for_spread)}."
