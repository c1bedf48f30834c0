"""Coefficients of the ITS-90 thermocouple reference functions.

NIST Monograph 175 (1993) and NIST Standard Reference Database 60, works of the
United States government and not subject to copyright; the same functions stand
in IEC 60584-1.  Voltage in mV against temperature in degC, junction at 0 degC.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Piece:
    """One range of a reference function.

    Attributes
    ----------
    low, high : float
        Range. [degC]
    coefficients : tuple of float
        Of 1, t, t^2, ... [mV/degC^i]
    bump : tuple of float
        a0, a1, a2 of the term ``a0 exp(a1 (t - a2)^2)`` that type K has above
        0 degC; zeros elsewhere.
    """

    low: float
    high: float
    coefficients: tuple[float, ...]
    bump: tuple[float, float, float] = (0.0, 0.0, 0.0)


PIECES: dict[str, tuple[Piece, ...]] = {
    "K": (
        Piece(
            -270.0,
            0.0,
            (
                0.0,
                3.9450128025e-2,
                2.3622373598e-5,
                -3.2858906784e-7,
                -4.9904828777e-9,
                -6.750905917300001e-11,
                -5.7410327428e-13,
                -3.1088872894e-15,
                -1.0451609365e-17,
                -1.9889266878e-20,
                -1.6322697486e-23,
            ),
        ),
        Piece(
            0.0,
            1372.0,
            (
                -1.7600413686e-2,
                3.8921204975e-2,
                1.8558770032e-5,
                -9.945759287400001e-8,
                3.1840945719e-10,
                -5.6072844889e-13,
                5.6075059059e-16,
                -3.2020720003e-19,
                9.715114715199999e-23,
                -1.2104721275e-26,
            ),
            (0.1185976, -0.0001183432, 126.9686),
        ),
    ),
    "N": (
        Piece(
            -270.0,
            0.0,
            (
                0.0,
                2.6159105962e-2,
                1.0957484228e-5,
                -9.3841111554e-8,
                -4.6412039759e-11,
                -2.6303357716e-12,
                -2.2653438003e-14,
                -7.6089300791e-17,
                -9.3419667835e-20,
            ),
        ),
        Piece(
            0.0,
            1300.0,
            (
                0.0,
                2.5929394601e-2,
                1.571014188e-5,
                4.3825627237e-8,
                -2.5261169794e-10,
                6.4311819339e-13,
                -1.0063471519e-15,
                9.974533899200001e-19,
                -6.0863245607e-22,
                2.0849229339e-25,
                -3.0682196151e-29,
            ),
        ),
    ),
    "J": (
        Piece(
            -210.0,
            760.0,
            (
                0.0,
                5.0381187815e-2,
                3.047583693e-5,
                -8.568106572e-8,
                1.3228195295e-10,
                -1.7052958337e-13,
                2.0948090697e-16,
                -1.2538395336e-19,
                1.5631725697e-23,
            ),
        ),
        Piece(
            760.0,
            1200.0,
            (
                2.9645625681e2,
                -1.4976127786e0,
                3.1787103924e-3,
                -3.1847686701e-6,
                1.5720819004e-9,
                -3.0691369056e-13,
            ),
        ),
    ),
    "T": (
        Piece(
            -270.0,
            0.0,
            (
                0.0,
                3.8748106364e-2,
                4.4194434347e-5,
                1.1844323105e-7,
                2.0032973554e-8,
                9.0138019559e-10,
                2.2651156593e-11,
                3.6071154205e-13,
                3.8493939883e-15,
                2.8213521925e-17,
                1.4251594779e-19,
                4.8768662286e-22,
                1.079553927e-24,
                1.3945027062e-27,
                7.979515392700001e-31,
            ),
        ),
        Piece(
            0.0,
            400.0,
            (
                0.0,
                3.8748106364e-2,
                3.329222788e-5,
                2.0618243404e-7,
                -2.1882256846e-9,
                1.0996880928e-11,
                -3.0815758772e-14,
                4.547913529e-17,
                -2.7512901673e-20,
            ),
        ),
    ),
}
