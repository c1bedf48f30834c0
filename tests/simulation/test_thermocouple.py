import pytest

from rigdata.simulation.thermocouple import emf_mv, meter_mv

# Type K against 0 degC, NIST Monograph 175 (ITS-90). [degC, mV]
TABLE = [
    (-20.0, -0.778),
    (25.0, 1.000),
    (50.0, 2.023),
    (100.0, 4.096),
    (150.0, 6.138),
    (200.0, 8.138),
    (250.0, 10.153),
    (300.0, 12.209),
    (350.0, 14.293),
    (400.0, 16.397),
]
FINE = [(100.0, 4.096230), (200.0, 8.138473), (300.0, 12.208566), (400.0, 16.397142)]


@pytest.mark.parametrize(("celsius", "millivolts"), TABLE)
def test_table(celsius, millivolts):
    assert emf_mv(celsius) == pytest.approx(millivolts, abs=5e-4)


@pytest.mark.parametrize(("celsius", "millivolts"), FINE)
def test_fine_table(celsius, millivolts):
    assert emf_mv(celsius) == pytest.approx(millivolts, abs=1e-6)


def test_reference_junction_subtracts_a_voltage():
    # 4.096 mV against a junction at 25 degC is 124.309948 degC, not 125.
    assert meter_mv(124.309948, 25.0) == pytest.approx(4.096, abs=3e-6)


def test_between_the_nodes():
    its90 = pytest.importorskip("thermocouple_its90")
    for celsius in (-33.3, 7.7, 64.5, 127.1, 186.2, 333.3, 455.5):
        assert emf_mv(celsius) == pytest.approx(its90.TypeK.emf(celsius), abs=3e-6)
