"""Pages whose words are looked at, not their figures."""

import pytest

from rigdata.figures.svg import InlineSvg


def draw_nothing(patch: pytest.MonkeyPatch) -> None:
    """Give pages an empty drawing for each figure while `patch` lasts."""

    def drawn(pictures, **_):
        for picture in pictures:
            picture.has_been_drawn(InlineSvg("<svg></svg>"))

    patch.setattr("rigdata.report.page.draw_all", drawn)
