"""The slope of mu over slip speed in the report: where it falls, and by how much."""

from __future__ import annotations

from rigdata.figures.slopes import speed_slopes
from rigdata.friction.conditions import Conditions
from rigdata.friction.diagnostics.diagnose import speed_ranges
from rigdata.friction.results import FrictionFit
from rigdata.friction.slopes import slopes_by_temperature, speed_slope
from rigdata.report.blocks import figure, items, table
from rigdata.report.coefficients import round_places
from rigdata.report.html import Content
from rigdata.report.model import ReportInput
from rigdata.report.numbers import plain, rounded, typeset


def slope_blocks(report: ReportInput) -> list[Content]:
    """Show the slope over all slip speeds tested; empty where no law follows the speed."""
    found = {group: slopes_by_temperature(fit) for group, fit in report.ordered_fits.items()}
    found = {group: slopes for group, slopes in found.items() if slopes}
    if not found:
        return []
    told = [f"{group}: {speed_ranges(report.fits[group])[0].words}" for group in found]
    rows = []
    for speed in round_places(report, "slip_speed_m_s"):
        cells = [_slope_cell(report.fits[group], speed) for group in found]
        rows.append((plain(speed), *cells))
    return [
        figure(
            speed_slopes(found),
            name="speed-slopes",
            title="Change of the coefficient with slip speed, cold and hot",
            caption="The slope times the slip speed, per doubling; the table below gives the "
            "slope itself. In the grey below zero the coefficient falls and feeds chatter, and "
            "the line is thick where it does so beyond doubt.",
            description=f"Change of mu per doubling of slip speed. {'; '.join(told)}.",
        ),
        items(typeset(f"{words}.") for words in told),
        table(
            "Slope of the coefficient over slip speed at the reference temperature and pressure, "
            "with half the width of its 95 % interval. A star marks a condition outside the "
            "envelope.",
            ("Slip speed [m/s]", *(f"{group} [s/m]" for group in found)),
            rows,
        ),
    ]


def _slope_cell(fit: FrictionFit, speed: float) -> str:
    at_reference = fit.reference
    where = Conditions(speed, at_reference.temperature_c, at_reference.pressure_mpa)
    slope = speed_slope(fit, where)
    value, half = float(slope.value[0]), float(slope.high[0] - slope.value[0])
    star = "" if fit.envelope.contains(where)[0] else "*"
    return f"{star}{rounded(value, half)} \N{PLUS-MINUS SIGN} {rounded(half, half)}"
